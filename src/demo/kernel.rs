//! The pixel loops of the demo's pictures.
#![expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "pixel loops turn places into grey values and back; every value is clamped to 0..=255 or to the picture first"
)]

use image::{GrayImage, Luma};

/// A label as it lies in a picture.
pub(super) struct Patch<'a> {
    /// Tells whether a place on the label, in mm from its upper left corner, is dark.
    pub(super) dark: &'a dyn Fn(f32, f32) -> bool,
    /// Size of the label, mm.
    pub(super) size_mm: (f32, f32),
    /// Where its middle lies in the picture, pixels.
    pub(super) middle: (f32, f32),
    /// How far it is turned, radians.
    pub(super) turned: f32,
    /// Pixels in a millimetre.
    pub(super) scale: f32,
}

/// A bench top: grey, lighter to one side.
pub(super) fn bench_top(width: u32, height: u32) -> GrayImage {
    GrayImage::from_fn(width, height, |x, y| {
        Luma([(112 + x * 40 / width.max(1) + (x * 7 + y * 13) % 5) as u8])
    })
}

/// Lays a label into the picture, with four samples a pixel.
pub(super) fn lay(picture: &mut GrayImage, patch: &Patch<'_>) {
    let (sin, cos) = patch.turned.sin_cos();
    let (width, height) = patch.size_mm;
    for (x, y, pixel) in picture.enumerate_pixels_mut() {
        let mut sum = 0.0;
        let mut hits = 0.0;
        for (dx, dy) in [(0.25, 0.25), (0.75, 0.25), (0.25, 0.75), (0.75, 0.75)] {
            let (px, py) = (x as f32 + dx - patch.middle.0, y as f32 + dy - patch.middle.1);
            let across = (px * cos + py * sin) / patch.scale + width / 2.0;
            let down = (py * cos - px * sin) / patch.scale + height / 2.0;
            if (0.0..width).contains(&across) && (0.0..height).contains(&down) {
                hits += 0.25;
                sum += if (patch.dark)(across, down) { 28.0 } else { 238.0 };
            }
        }
        if hits > 0.0 {
            let under = f32::from(pixel.0[0]) * (1.0 - hits);
            pixel.0[0] = (under + sum * 0.25).clamp(0.0, 255.0) as u8;
        }
    }
}

/// A shadow with a straight edge across the picture.
pub(super) fn shadow(picture: &mut GrayImage, at: f32) {
    let width = picture.width() as f32;
    for (x, y, pixel) in picture.enumerate_pixels_mut() {
        let edge = width * at + y as f32 * 0.35 - x as f32;
        let dim = if edge > 0.0 { 0.45 } else { 1.0 - 0.55 * (-(edge * edge) / 900.0).exp() };
        pixel.0[0] = (f32::from(pixel.0[0]) * dim).clamp(0.0, 255.0) as u8;
    }
}

/// A thumb's width of grime.
pub(super) fn smudge(picture: &mut GrayImage, middle: (f32, f32), radius: f32) {
    for (x, y, pixel) in picture.enumerate_pixels_mut() {
        let (dx, dy) = (x as f32 - middle.0, (y as f32 - middle.1) * 1.6);
        if dx.hypot(dy) < radius {
            pixel.0[0] = 60 + ((x * 5 + y * 3) % 9) as u8;
        }
    }
}
