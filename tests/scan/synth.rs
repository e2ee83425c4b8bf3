//! Draws pictures of tags and spoils them the way cameras do.
#![expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "pixel arithmetic on pictures of known size"
)]

use std::io::Cursor;
use std::time::Duration;

use image::codecs::jpeg::JpegEncoder;
use image::{GrayImage, ImageFormat, Luma, imageops};
use packmuster::domain::tag::{Tag, TagKind};
use packmuster::scan::picture::{self, Limits, Picture, Want};
use qrcodegen::{Mask, QrCode, QrCodeEcc, QrSegment, Version};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha12Rng;

/// Enough time that a loaded machine changes no result.
pub(crate) const PATIENT: Limits =
    Limits { pixels: 64_000_000, budget: Duration::from_secs(60), want: Want::All };

/// Seeded randomness.
pub(crate) fn random(seed: u64) -> ChaCha12Rng {
    ChaCha12Rng::seed_from_u64(seed)
}

/// A number from 0 to 1.
pub(crate) fn share(random: &mut impl Rng) -> f32 {
    (random.next_u32() >> 8) as f32 / (1_u32 << 24) as f32
}

/// Fresh tag texts of every kind.
pub(crate) fn tags(count: usize, random: &mut impl Rng) -> Vec<String> {
    (0..count).map(|n| Tag::draw(TagKind::ALL[n % 6], random).text().to_owned()).collect()
}

/// A label as the product prints it (version 1, error correction Q), `module` pixels a module, on white with the quiet
/// zone of four modules, ink at 20 and paper at 235.
pub(crate) fn label(text: &str, module: u32) -> GrayImage {
    let segments = QrSegment::make_segments(text);
    let (low, high) = (Version::new(1), Version::new(1));
    let code =
        QrCode::encode_segments_advanced(&segments, QrCodeEcc::Quartile, low, high, None::<Mask>, false)
            .unwrap();
    let side = (code.size() as u32 + 8) * module;
    GrayImage::from_fn(side, side, |x, y| {
        let at = |v: u32| (v / module).cast_signed() - 4;
        Luma([if code.get_module(at(x), at(y)) { 20 } else { 235 }])
    })
}

/// Paper of one grey.
pub(crate) fn paper(width: u32, height: u32, grey: u8) -> GrayImage {
    GrayImage::from_pixel(width, height, Luma([grey]))
}

/// Turns a picture by an angle about its middle, enlarging it so that nothing is lost.
pub(crate) fn turned(image: &GrayImage, degrees: f32, around: u8) -> GrayImage {
    let (sin, cos) = degrees.to_radians().sin_cos();
    let (w, h) = (image.width() as f32, image.height() as f32);
    let (nw, nh) = ((w * cos).abs() + (h * sin).abs(), (w * sin).abs() + (h * cos).abs());
    warped(image, nw.ceil() as u32, nh.ceil() as u32, around, |x, y| {
        let (x, y) = (x - nw / 2.0, y - nh / 2.0);
        (x * cos + y * sin + w / 2.0, y * cos - x * sin + h / 2.0)
    })
}

/// Looks at a picture aslant: the far edge is drawn `shrink` (0 to 1) narrower.
pub(crate) fn aslant(image: &GrayImage, shrink: f32, around: u8) -> GrayImage {
    let (w, h) = (image.width() as f32, image.height() as f32);
    warped(image, image.width(), image.height(), around, |x, y| {
        let depth = 1.0 - shrink * (1.0 - y / h);
        (w / 2.0 + (x - w / 2.0) / depth, h * (1.0 - (1.0 - y / h) / depth))
    })
}

/// Draws a picture whose pixels come from places of another, bilinear; `around` outside of it.
fn warped(
    image: &GrayImage,
    width: u32,
    height: u32,
    around: u8,
    from: impl Fn(f32, f32) -> (f32, f32),
) -> GrayImage {
    let at = |x: i64, y: i64| {
        let inside = x >= 0 && y >= 0 && x < i64::from(image.width()) && y < i64::from(image.height());
        f32::from(if inside { image.get_pixel(x as u32, y as u32).0[0] } else { around })
    };
    GrayImage::from_fn(width, height, |x, y| {
        let (u, v) = from(x as f32 + 0.5, y as f32 + 0.5);
        let (u, v) = (u - 0.5, v - 0.5);
        let (left, top) = (u.floor(), v.floor());
        let (i, j, fx, fy) = (left as i64, top as i64, u - left, v - top);
        let upper = at(i, j) * (1.0 - fx) + at(i + 1, j) * fx;
        let lower = at(i, j + 1) * (1.0 - fx) + at(i + 1, j + 1) * fx;
        Luma([(upper * (1.0 - fy) + lower * fy).round() as u8])
    })
}

/// Out of focus by a Gaussian of `sigma` pixels.
pub(crate) fn blurred(image: &GrayImage, sigma: f32) -> GrayImage {
    if sigma > 0.0 { imageops::blur(image, sigma) } else { image.clone() }
}

/// Light that falls off to `dark` (share) across the picture, and a hard shadow of half light over the lower right.
pub(crate) fn shadowed(image: &GrayImage, dark: f32, edge: f32) -> GrayImage {
    let (w, h) = (image.width() as f32, image.height() as f32);
    GrayImage::from_fn(image.width(), image.height(), |x, y| {
        let along = f32::midpoint(x as f32 / w, y as f32 / h);
        let light = (1.0 - (1.0 - dark) * along) * if along > edge { 0.55 } else { 1.0 };
        Luma([(f32::from(image.get_pixel(x, y).0[0]) * light).round() as u8])
    })
}

/// Sensor noise of about `sigma` grey steps (sum of uniform draws).
pub(crate) fn noisy(image: &GrayImage, sigma: f32, random: &mut impl Rng) -> GrayImage {
    let mut out = image.clone();
    for pixel in out.pixels_mut() {
        let draw: f32 = (0..3).map(|_| share(random) - 0.5).sum::<f32>() * 2.0;
        pixel.0[0] = (f32::from(pixel.0[0]) + sigma * draw).clamp(0.0, 255.0) as u8;
    }
    out
}

/// Lays a picture into another.
pub(crate) fn lay(onto: &mut GrayImage, image: &GrayImage, x: u32, y: u32) {
    imageops::replace(onto, image, i64::from(x), i64::from(y));
}

/// As a JPEG file of usual quality.
pub(crate) fn jpeg(image: &GrayImage) -> Vec<u8> {
    let mut bytes = Vec::new();
    image.write_with_encoder(JpegEncoder::new_with_quality(&mut bytes, 85)).unwrap();
    bytes
}

/// As a PNG file.
pub(crate) fn png(image: &GrayImage) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    image.write_to(&mut bytes, ImageFormat::Png).unwrap();
    bytes.into_inner()
}

/// What is found in a picture that is saved as a JPEG.
pub(crate) fn photographed(image: &GrayImage) -> Picture {
    picture::read_bytes(&jpeg(image), "photo.jpg", &PATIENT).unwrap()
}

/// The texts found, in order.
pub(crate) fn texts(picture: &Picture) -> Vec<&str> {
    picture.found.iter().map(|found| found.text.as_str()).collect()
}

/// Fails when a text that parses as a tag was not drawn.
pub(crate) fn assert_no_invention(picture: &Picture, drawn: &[String]) {
    for text in texts(picture) {
        assert!(
            drawn.iter().any(|tag| tag == text) || text.parse::<Tag>().is_err(),
            "`{text}` was never drawn"
        );
    }
}

/// Labels on a shelf, in reading order.
pub(crate) fn shelf(tags: &[String]) -> GrayImage {
    let mut shelf = paper(760, 520, 180);
    for (n, tag) in (0_u32..).zip(tags) {
        // A little up and down, as a hand lays them.
        let wave = 17 * (n % 3);
        lay(&mut shelf, &label(tag, 5), 30 + 240 * (n % 3), 30 + 230 * (n / 3) + wave);
    }
    shelf
}

/// The picture with every column moved down: by `deep` pixels at the column `middle`, by nothing `half` columns from it.
pub(crate) fn bowed(image: &GrayImage, deep: f32, middle: f32, half: f32) -> GrayImage {
    warped(image, image.width(), image.height(), 180, |x, y| {
        let off = (x - middle) / half;
        (x, y - deep * (1.0 - off * off).max(-1.5))
    })
}
