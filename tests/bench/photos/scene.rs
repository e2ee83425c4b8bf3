//! Hard pictures of labels on packs, drawn: each label lies on a flat or round pack, is seen through a lens at some slant, lit
//! from a side, with shadows, glare, wear, blur, noise and the losses of a JPEG.
//!
//! A label is cut into modules; each pixel of the picture asks along its ray which module it sees (four rays a pixel). The numbers
//! are our own guesses at a workshop and a telephone, not measurements of any.
#![expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    clippy::indexing_slicing,
    reason = "pixel arithmetic on pictures of known size"
)]

use image::codecs::jpeg::JpegEncoder;
use image::{GrayImage, Luma, imageops};
use packmuster::domain::tag::{Tag, TagKind};
use packmuster::print::qr::Symbol;
use rand::{Rng, RngExt};
use rand_chacha::ChaCha12Rng;

use crate::Outcome;

/// How hard a picture is.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Trouble {
    /// Its name.
    pub(crate) name: &'static str,
    /// Pixels a module, from and to.
    pub(crate) module: (f32, f32),
    /// Slant in degrees, from and to.
    pub(crate) slant: (f32, f32),
    /// Radius of the pack in widths of the label, from and to; none for flat ones.
    pub(crate) radius: Option<(f32, f32)>,
    /// Ink and paper, from and to each.
    pub(crate) ink: ((f32, f32), (f32, f32)),
    /// Share of light at the dark end.
    pub(crate) light: f32,
    /// Share of light in the shadow.
    pub(crate) shadow: f32,
    /// Chance of glare on a label.
    pub(crate) glare: f32,
    /// Scratches on a label.
    pub(crate) scratches: u32,
    /// Blur in modules, from and to.
    pub(crate) blur: (f32, f32),
    /// Noise in steps of grey, from and to.
    pub(crate) noise: (f32, f32),
    /// Quality of the JPEG, from and to.
    pub(crate) quality: (f32, f32),
}

const GOOD: Trouble = Trouble {
    name: "plain",
    module: (3.5, 6.5),
    slant: (0.0, 12.0),
    radius: None,
    ink: ((15.0, 45.0), (195.0, 235.0)),
    light: 0.9,
    shadow: 1.0,
    glare: 0.0,
    scratches: 0,
    blur: (0.05, 0.15),
    noise: (1.0, 3.0),
    quality: (75.0, 92.0),
};

/// Kinds of pictures of one label.
pub(crate) const SINGLES: [Trouble; 9] = [
    GOOD,
    Trouble { name: "round", radius: Some((0.6, 1.0)), ..GOOD },
    Trouble { name: "slanted", slant: (35.0, 50.0), ..GOOD },
    Trouble { name: "blurred", blur: (0.4, 0.7), ..GOOD },
    Trouble { name: "noisy", noise: (10.0, 25.0), quality: (30.0, 50.0), ..GOOD },
    Trouble { name: "shadowed", light: 0.3, shadow: 0.35, ..GOOD },
    Trouble { name: "scratched, glare", scratches: 3, glare: 0.7, ..GOOD },
    Trouble { name: "far", module: (2.0, 2.8), ..GOOD },
    // The label fills the picture.
    Trouble { name: "very close", module: (22.0, 40.0), ..GOOD },
];

/// Kinds of trays.
pub(crate) const TRAYS: [Trouble; 3] = [
    Trouble { name: "easy", radius: Some((1.2, 3.0)), light: 0.7, shadow: 1.0, ..GOOD },
    Trouble {
        name: "medium",
        module: (3.0, 4.2),
        slant: (5.0, 28.0),
        radius: Some((0.8, 1.6)),
        ink: ((30.0, 70.0), (150.0, 220.0)),
        light: 0.5,
        shadow: 0.5,
        glare: 0.15,
        scratches: 1,
        blur: (0.15, 0.35),
        noise: (2.0, 6.0),
        quality: (55.0, 85.0),
    },
    Trouble {
        name: "hard",
        module: (2.4, 3.6),
        slant: (10.0, 42.0),
        radius: Some((0.6, 1.1)),
        ink: ((40.0, 90.0), (140.0, 200.0)),
        light: 0.4,
        shadow: 0.45,
        glare: 0.3,
        scratches: 1,
        blur: (0.2, 0.42),
        noise: (4.0, 8.0),
        quality: (40.0, 70.0),
    },
];

fn between(random: &mut ChaCha12Rng, (low, high): (f32, f32)) -> f32 {
    low + (high - low) * random.random::<f32>()
}

/// A fresh tag.
pub(crate) fn tag(random: &mut ChaCha12Rng) -> Tag {
    Tag::draw(TagKind::ALL[usize::try_from(random.next_u32() % 6).unwrap_or(0)], random)
}

/// A label as it is printed, with its quiet zone, flat.
pub(crate) fn label(tag: &Tag, module: u32) -> GrayImage {
    let Ok(symbol) = Symbol::of_tag(tag) else { return GrayImage::new(1, 1) };
    let side = 29 * module;
    GrayImage::from_fn(side, side, |x, y| {
        let at = |pixel: u32| (pixel / module) as i16 - 4;
        Luma([if symbol.is_dark(at(x), at(y)) { 20 } else { 235 }])
    })
}

/// A label where it lies: what a ray sees of it.
struct Laid {
    modules: GrayImage,
    middle: (f32, f32),
    /// Pixels of a module, and the distance of the camera in modules.
    module: f32,
    distance: f32,
    /// From the picture to the label: rotation by rows.
    turn: [[f32; 3]; 3],
    radius: Option<f32>,
    ink: f32,
    paper: f32,
    body: f32,
    glare: Option<(f32, f32, f32)>,
    scratches: Vec<(f32, f32, f32, f32, f32)>,
}

impl Laid {
    fn draw(
        text: &Tag,
        middle: (f32, f32),
        module: f32,
        trouble: &Trouble,
        random: &mut ChaCha12Rng,
    ) -> Self {
        let whole = 29.0;
        let (about, slant, side) = (
            between(random, (0.0, std::f32::consts::TAU)),
            between(random, trouble.slant).to_radians(),
            between(random, (0.0, std::f32::consts::TAU)),
        );
        let glare = random.random::<f32>() < trouble.glare;
        let scratches = (0..trouble.scratches)
            .map(|_| {
                let at = |random: &mut ChaCha12Rng| between(random, (-11.0, 11.0));
                let (u, v) = (at(random), at(random));
                let turn = between(random, (0.0, std::f32::consts::PI));
                (u, v, turn, between(random, (2.0, 9.0)), between(random, (0.15, 0.5)))
            })
            .collect();
        Self {
            modules: label(text, 1),
            middle,
            module,
            distance: between(random, (7.0, 14.0)) * whole,
            turn: rotation(about, slant, side),
            radius: trouble.radius.map(|radius| between(random, radius) * whole),
            ink: between(random, trouble.ink.0),
            paper: between(random, trouble.ink.1),
            body: between(random, (20.0, 150.0)),
            glare: glare.then(|| {
                let at = |random: &mut ChaCha12Rng| between(random, (-12.0, 12.0));
                (at(random), at(random), between(random, (2.0, 5.0)))
            }),
            scratches,
        }
    }

    /// Grey and share of what a ray through a place of the picture sees; nothing beside the pack.
    fn seen(&self, x: f32, y: f32) -> Option<f32> {
        let focal = self.module * self.distance;
        let ray = [(x - self.middle.0) / focal, (y - self.middle.1) / focal, 1.0];
        let back = |v: [f32; 3]| -> [f32; 3] {
            [0, 1, 2].map(|k| self.turn[0][k] * v[0] + self.turn[1][k] * v[1] + self.turn[2][k] * v[2])
        };
        let (from, ray) = (back([0.0, 0.0, -self.distance]), back(ray));
        let (u, v, facing) = match self.radius {
            None => {
                let far = -from[2] / ray[2];
                (from[0] + far * ray[0], from[1] + far * ray[1], 1.0)
            }
            Some(radius) => {
                let a = ray[0] * ray[0] + ray[2] * ray[2];
                let depth = from[2] - radius;
                let b = from[0] * ray[0] + depth * ray[2];
                let c = from[0] * from[0] + depth * depth - radius * radius;
                let far = (-b - (b * b - a * c).max(0.0).sqrt()) / a;
                if b * b < a * c {
                    return None;
                }
                let turned = (from[0] + far * ray[0]).atan2(radius - from[2] - far * ray[2]);
                (radius * turned, from[1] + far * ray[1], turned.cos())
            }
        };
        let half = 14.5;
        if u.abs() > half * 1.3 || v.abs() > half * 1.3 || facing < 0.05 {
            return None;
        }
        let mut grey = if u.abs() < half && v.abs() < half {
            let pixel = self.modules.get_pixel(((u + half) as u32).min(28), ((v + half) as u32).min(28));
            let scratched = self.scratches.iter().any(|&(su, sv, turn, long, wide)| {
                let (along, off) = turned(u - su, v - sv, turn);
                along.abs() < long && off.abs() < wide
            });
            if pixel.0[0] < 128 && !scratched { self.ink } else { self.paper }
        } else {
            self.body
        };
        grey *= 0.55 + 0.45 * facing;
        if let Some((gu, gv, wide)) = self.glare {
            let off = ((u - gu).powi(2) + (v - gv).powi(2)) / (wide * wide);
            grey += 130.0 * (-off).exp();
        }
        Some(grey)
    }
}

fn turned(u: f32, v: f32, by: f32) -> (f32, f32) {
    let (sin, cos) = by.sin_cos();
    (u * cos + v * sin, v * cos - u * sin)
}

/// A turn in the plane, then a slant about an axis in it (Rodrigues).
fn rotation(about: f32, slant: f32, side: f32) -> [[f32; 3]; 3] {
    let ((sa, ca), (ss, cs)) = (about.sin_cos(), slant.sin_cos());
    let (x, y) = (side.cos(), side.sin());
    let lean = [
        [cs + x * x * (1.0 - cs), x * y * (1.0 - cs), y * ss],
        [x * y * (1.0 - cs), cs + y * y * (1.0 - cs), -x * ss],
        [-y * ss, x * ss, cs],
    ];
    let plane = [[ca, -sa, 0.0], [sa, ca, 0.0], [0.0, 0.0, 1.0]];
    lean.map(|row| [0, 1, 2].map(|k| row[0] * plane[0][k] + row[1] * plane[1][k] + row[2] * plane[2][k]))
}

/// A picture of so many labels, as a JPEG, with their texts.
pub(crate) fn picture(
    (columns, rows): (u32, u32),
    trouble: &Trouble,
    random: &mut ChaCha12Rng,
) -> Outcome<(Vec<u8>, Vec<String>)> {
    let module = between(random, trouble.module);
    let close = module > 20.0;
    let cell = module * if close { 33.0 } else { 50.0 };
    let (width, height) = ((cell * columns as f32) as u32, (cell * rows as f32) as u32);
    let table = between(random, (60.0, 190.0));
    let mut greys: Vec<f32> = vec![table; (width * height) as usize];
    let mut texts = Vec::new();
    for row in 0..rows {
        for column in 0..columns {
            let tag = tag(random);
            let at = |place: u32, random: &mut ChaCha12Rng| {
                cell * (place as f32 + 0.5 + if close { 0.0 } else { between(random, (-0.03, 0.03)) })
            };
            let middle = (at(column, random), at(row, random));
            let laid = Laid::draw(&tag, middle, module * between(random, (0.95, 1.05)), trouble, random);
            lay(&mut greys, (width, height), &laid, cell);
            texts.push(tag.text().to_owned());
        }
    }
    light(&mut greys, (width, height), trouble, random);
    let image = GrayImage::from_fn(width, height, |x, y| {
        Luma([greys[(y * width + x) as usize].clamp(0.0, 255.0) as u8])
    });
    let blurred = imageops::blur(&image, (between(random, trouble.blur) * module).max(0.45));
    let sigma = between(random, trouble.noise);
    let noisy = GrayImage::from_fn(width, height, |x, y| {
        let draw: f32 = (0..3).map(|_| random.random::<f32>() - 0.5).sum::<f32>() * 2.0;
        Luma([(f32::from(blurred.get_pixel(x, y).0[0]) + sigma * draw).clamp(0.0, 255.0) as u8])
    });
    let mut bytes = Vec::new();
    noisy.write_with_encoder(JpegEncoder::new_with_quality(
        &mut bytes,
        between(random, trouble.quality) as u8,
    ))?;
    Ok((bytes, texts))
}

/// Kinds of pictures without a tag.
pub(crate) const EMPTY: [&str; 4] = ["a table", "print", "noise", "a chessboard"];

/// A picture of two megapixels without a tag, as a JPEG.
pub(crate) fn empty(kind: &str, random: &mut ChaCha12Rng) -> Outcome<Vec<u8>> {
    let (width, height) = (1632, 1224);
    let grain = 1 + random.next_u32() % 3;
    let seed = random.next_u32();
    let noise = |x: u32, y: u32| {
        let mut value = x.wrapping_mul(0x9E37_79B1) ^ y.wrapping_mul(0x85EB_CA77) ^ seed;
        value = (value ^ (value >> 15)).wrapping_mul(0x2C1B_3C6D);
        ((value ^ (value >> 12)).wrapping_mul(0x297A_2D39) >> 24) as u8
    };
    let image = GrayImage::from_fn(width, height, |x, y| {
        Luma([match kind {
            "noise" => noise(x / grain, y / grain),
            "a chessboard" => 30 + 190 * u8::from((x / (12 * grain) + y / (12 * grain)).is_multiple_of(2)),
            // Lines of words: blocks of strokes.
            "print" if y % 30 < 16 && noise(x / 90, y / 30) > 60 => {
                if noise(x / 3, y / 4) < 110 {
                    40
                } else {
                    220
                }
            }
            "print" => 225,
            _ => 120 + noise(x / 5, y / 5) / 12 + (x / 40) as u8,
        }])
    });
    let mut bytes = Vec::new();
    imageops::blur(&image, 0.8).write_with_encoder(JpegEncoder::new_with_quality(&mut bytes, 80))?;
    Ok(bytes)
}

fn lay(greys: &mut [f32], (width, height): (u32, u32), laid: &Laid, cell: f32) {
    let reach = cell * 0.62;
    let edge = |at: f32, most: u32| (at.max(0.0) as u32).min(most);
    for y in edge(laid.middle.1 - reach, height)..edge(laid.middle.1 + reach, height) {
        for x in edge(laid.middle.0 - reach, width)..edge(laid.middle.0 + reach, width) {
            let rays = [(0.25, 0.25), (0.75, 0.25), (0.25, 0.75), (0.75, 0.75)];
            let place = (y * width + x) as usize;
            let behind = greys[place];
            let seen = rays.map(|(dx, dy)| laid.seen(x as f32 + dx, y as f32 + dy).unwrap_or(behind));
            greys[place] = seen.iter().sum::<f32>() / 4.0;
        }
    }
}

/// Light that falls off along a direction, and a shadow with a soft edge over one side.
fn light(greys: &mut [f32], (width, height): (u32, u32), trouble: &Trouble, random: &mut ChaCha12Rng) {
    let (fall, edge) =
        (between(random, (0.0, std::f32::consts::TAU)), between(random, (0.0, std::f32::consts::TAU)));
    let (place, soft) = (between(random, (-0.2, 0.2)), between(random, (0.004, 0.03)));
    for y in 0..height {
        for x in 0..width {
            let (u, v) = (x as f32 / width as f32 - 0.5, y as f32 / height as f32 - 0.5);
            let along = (turned(u, v, fall).0 + 0.6) / 1.2;
            let in_shadow = 1.0 / (1.0 + (-(turned(u, v, edge).0 - place) / soft).exp());
            let share = trouble.light + (1.0 - trouble.light) * along;
            greys[(y * width + x) as usize] *= share * (1.0 - (1.0 - trouble.shadow) * in_shadow);
        }
    }
}
