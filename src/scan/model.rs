//! Where the modules of one symbol lie in a picture, and what stands in them.
//!
//! A projective map, bent for labels on round packs; how well it shows what every symbol of a size must show: finder rings, timing
//! lines, alignment pattern, quiet zone. Each module is sampled in grey, cut into dark and light in a few ways, and read.

use image::GrayImage;

use super::kernel;
use super::matrix::Text;
use super::picture::Point;
use super::soft;

/// How many places of each finder `must_show` gives before all others: upper left, upper right, lower left.
pub(super) const RING: usize = 49;

/// What a skew of one module costs.
const SKEW_COST: f32 = 0.02;

/// A picture in grey and in contrast, same size.
#[derive(Debug, Clone, Copy)]
pub(super) struct Views<'a> {
    /// Plain grey.
    pub(super) grey: &'a GrayImage,
    /// Grey less its surroundings.
    pub(super) contrast: &'a GrayImage,
}

/// Where four modules of a symbol lie: the middles of the three finders and of the fourth place like them.
#[derive(Debug, Clone, Copy)]
pub(super) struct Model {
    pub(super) modules: u8,
    at: [Point; 4],
    /// By how much modules lie off the flat map.
    pub(super) bend: Bend,
}

/// How many terms a bend has in each direction.
pub(super) const TERMS: usize = 8;
/// By how much modules lie off a flat map, to the right and downwards, pixels: factors of 1, a, b, ab, a2, b2, a3 and b3, where a and
/// b are a module's column and row, from -1 at one edge of the symbol to 1 at the other.
pub(super) type Bend = [[f32; TERMS]; 2];

/// A projective map from modules to pixels, bent.
pub(super) struct Map {
    flat: [f32; 8],
    bend: Bend,
    /// Half of a side, modules.
    half: f32,
}

impl Map {
    /// Where a module would lie on a flat label.
    pub(super) fn flat(&self, u: f32, v: f32) -> Point {
        let [a, b, c, d, e, f, g, h] = self.flat;
        let w = g * u + h * v + 1.0;
        Point { x: (a * u + b * v + c) / w, y: (d * u + e * v + f) / w }
    }

    /// A column or row, from -1 at one edge to 1 at the other.
    pub(super) fn term(&self, t: f32) -> f32 {
        t / self.half - 1.0
    }

    pub(super) fn pixel(&self, u: f32, v: f32) -> Point {
        let flat = self.flat(u, v);
        let (a, b) = (self.term(u), self.term(v));
        let off = |[one, x, y, xy, xx, yy, xxx, yyy]: [f32; TERMS]| {
            one + a * (x + a * (xx + a * xxx)) + b * (y + b * (yy + b * yyy)) + a * b * xy
        };
        let [right, down] = self.bend.map(off);
        Point { x: flat.x + right, y: flat.y + down }
    }
}

/// What a symbol must show: module coordinates and +1 for light, -1 for dark.
pub(super) fn must_show(modules: u8) -> Vec<(f32, f32, f32)> {
    let mut shown = Vec::new();
    let far = modules - 7;
    let mut put = |x: u8, y: u8, light: bool| {
        shown.push((f32::from(x) + 0.5, f32::from(y) + 0.5, if light { 1.0 } else { -1.0 }));
    };
    for (left, top) in [(0, 0), (far, 0), (0, far)] {
        for y in 0..7_u8 {
            for x in 0..7_u8 {
                put(left + x, top + y, x.abs_diff(3).max(y.abs_diff(3)) == 2);
            }
        }
    }
    for along in 7..far {
        put(along, 6, along % 2 == 1);
        put(6, along, along % 2 == 1);
    }
    if modules > 21 {
        for y in 0..5_u8 {
            for x in 0..5_u8 {
                put(modules - 9 + x, modules - 9 + y, x.abs_diff(2).max(y.abs_diff(2)) == 1);
            }
        }
    }
    // The quiet zone is light all around.
    let far = f32::from(modules);
    for along in 0..modules {
        let along = f32::from(along) + 0.5;
        shown.extend(
            [(along, far + 0.7), (far + 0.7, along), (along, -0.7), (-0.7, along)].map(|(u, v)| (u, v, 1.0)),
        );
    }
    shown
}

impl Model {
    /// A flat symbol with three finders at these points: upper left, upper right, lower left.
    pub(super) fn flat([a, b, c]: [Point; 3], modules: u8) -> Self {
        Self::over([a, b, Point { x: b.x + c.x - a.x, y: b.y + c.y - a.y }, c], modules)
    }

    /// A symbol whose finders, and the fourth place like them, lie at these points.
    pub(super) fn over(at: [Point; 4], modules: u8) -> Self {
        Self { modules, at, bend: [[0.0; TERMS]; 2] }
    }

    /// The projective map of the unit square to a quadrilateral (Heckbert, "Fundamentals of Texture Mapping and Image
    /// Warping", 1989, section 2.2.3; from memory), with modules in place of the unit square.
    pub(super) fn map(&self) -> Map {
        let [p0, p1, p2, p3] = self.at;
        let (dx1, dx2, sx) = (p1.x - p2.x, p3.x - p2.x, p0.x - p1.x + p2.x - p3.x);
        let (dy1, dy2, sy) = (p1.y - p2.y, p3.y - p2.y, p0.y - p1.y + p2.y - p3.y);
        let den = dx1 * dy2 - dx2 * dy1;
        let (g, h) = ((sx * dy2 - dx2 * sy) / den, (dx1 * sy - sx * dy1) / den);
        let (a, b, c) = (p1.x - p0.x + g * p1.x, p3.x - p0.x + h * p3.x, p0.x);
        let (d, e, f) = (p1.y - p0.y + g * p1.y, p3.y - p0.y + h * p3.y, p0.y);
        // The unit square's corner is module 3.5, its side is all modules but seven.
        let (k, o) = (1.0 / (f32::from(self.modules) - 7.0), 3.5);
        let w = 1.0 - (g + h) * k * o;
        let shift = |u: f32, v: f32, t: f32| [u * k / w, v * k / w, (t - (u + v) * k * o) / w];
        let ([a, b, c], [d, e, f]) = (shift(a, b, c), shift(d, e, f));
        Map {
            flat: [a, b, c, d, e, f, g * k / w, h * k / w],
            bend: self.bend,
            half: f32::from(self.modules) / 2.0,
        }
    }

    /// By how many modules the fourth place lies off the parallelogram of the other three.
    fn skew(&self) -> f32 {
        let [a, b, fourth, d] = self.at;
        let flat = Point { x: b.x + d.x - a.x, y: b.y + d.y - a.y };
        flat.distance(fourth) * (f32::from(self.modules) - 7.0) / a.distance(b)
    }

    /// How much of what must be shown is shown, -1 to 1; `full` is the contrast that counts in full.
    ///
    /// A small symbol shows little near its fourth corner, so a skew costs something: without that, the fit of a sharp
    /// picture drifts where nothing holds it.
    pub(super) fn score(&self, contrast: &GrayImage, shown: &[(f32, f32, f32)], full: f32) -> f32 {
        let map = self.map();
        let (sum, count) = shown.iter().fold((0.0, 0.0), |(sum, count), &(u, v, sign)| {
            let at = map.pixel(u, v);
            (sum + sign * (kernel::sample(contrast, at.x, at.y) - 128.0).clamp(-full, full), count + full)
        });
        if count > 0.0 { sum / count - SKEW_COST * self.skew() } else { 0.0 }
    }

    /// Moves the fourth corner about to where the symbol shows best.
    pub(super) fn search_fourth(
        &mut self,
        views: Views<'_>,
        shown: &[(f32, f32, f32)],
        full: f32,
        module: f32,
    ) {
        let (mut best, start) = (self.score(views.contrast, shown, full), *self);
        let [a, b, fourth, d] = start.at;
        for down in -4_i8..=4 {
            for across in -4_i8..=4 {
                let x = fourth.x + f32::from(across) * 0.9 * module;
                let y = fourth.y + f32::from(down) * 0.9 * module;
                let moved = Self { at: [a, b, Point { x, y }, d], ..start };
                let score = moved.score(views.contrast, shown, full);
                if score > best {
                    (best, *self) = (score, moved);
                }
            }
        }
    }

    /// The middles of the finders, and of the fourth place like them.
    pub(super) fn finders(&self) -> [Point; 4] {
        let (map, far) = (self.map(), f32::from(self.modules) - 3.5);
        [map.pixel(3.5, 3.5), map.pixel(far, 3.5), map.pixel(far, far), map.pixel(3.5, far)]
    }

    pub(super) fn corners(&self) -> [Point; 4] {
        let (map, n) = (self.map(), f32::from(self.modules));
        [map.pixel(0.0, 0.0), map.pixel(n, 0.0), map.pixel(n, n), map.pixel(0.0, n)]
    }

    /// Samples every module, and tries a few cuts into dark and light; what is doubtful is erased only where `equalised` says how
    /// light the modules are, freed of their neighbours.
    pub(super) fn decode(&self, views: Views<'_>, equalised: &[f32]) -> Option<Text> {
        const SHARPENINGS: [f32; 5] = [0.0, 0.4, 0.9, 1.6, 2.5];
        let n = usize::from(self.modules);
        let grey = self.sampled(views.grey);
        let light = SHARPENINGS.map(|sharpening| kernel::lightness(&grey, n, sharpening));
        if let Some(text) = light.iter().find_map(|light| soft::read(light, n, false)) {
            return Some(text);
        }
        if equalised.len() != n * n {
            return None;
        }
        let [.., sharp, _] = &light;
        let evened = |values: &[f32]| {
            let usual = values.iter().map(|value| value.abs()).sum::<f32>().max(1e-3);
            values.iter().map(|value| value / usual).collect::<Vec<f32>>()
        };
        let equalised = evened(equalised);
        let both: Vec<f32> = equalised.iter().zip(evened(sharp)).map(|(one, other)| one + other).collect();
        // Where light falls off within the symbol, its surroundings judge better than its own neighbours.
        let contrast = self.sampled(views.contrast);
        let around = [0.0, 0.5].map(|sharpening| {
            let sharp = kernel::sharpened(&contrast, n, sharpening);
            sharp.iter().map(|&value| value - 128.0).collect::<Vec<f32>>()
        });
        [&both, &equalised]
            .into_iter()
            .chain(&light)
            .chain(&around)
            .find_map(|light| soft::read(light, n, true))
    }

    /// The value of every module: the mean of nine places in it, the middle ones weighing more.
    fn sampled(&self, image: &GrayImage) -> Vec<f32> {
        const ASIDE: [(f32, f32); 3] = [(-0.3, 1.0), (0.0, 2.0), (0.3, 1.0)];
        let (map, n) = (self.map(), usize::from(self.modules));
        let mut values = Vec::with_capacity(n * n);
        for row in 0..self.modules {
            for column in 0..self.modules {
                let (u, v) = (f32::from(column) + 0.5, f32::from(row) + 0.5);
                let mut sum = 0.0;
                for (du, wide) in ASIDE {
                    for (dv, high) in ASIDE {
                        let at = map.pixel(u + du, v + dv);
                        sum += wide * high * kernel::sample(image, at.x, at.y);
                    }
                }
                values.push(sum / 16.0);
            }
        }
        values
    }
}
