//! Lines, shapes and plates on a raster picture: loops over pixels, kept apart.
#![expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "pixel coordinates: clamped to the picture before they are cut to whole numbers"
)]

use std::f32::consts::TAU;

use image::{Rgb, RgbImage};

use crate::scan::picture::Point;

/// A colour.
pub(super) type Ink = Rgb<u8>;

/// The pixels of a picture within a box around a point.
fn within(picture: &RgbImage, at: Point, half: (f32, f32)) -> impl Iterator<Item = (u32, u32)> + use<> {
    let range = |middle: f32, half: f32, most: u32| {
        let low = (middle - half).floor().clamp(0.0, most as f32) as u32;
        let high = (middle + half).ceil().clamp(0.0, most as f32) as u32;
        low..high
    };
    let (xs, ys) = (range(at.x, half.0, picture.width()), range(at.y, half.1, picture.height()));
    ys.flat_map(move |y| xs.clone().map(move |x| (x, y)))
}

/// A line of some width; a broken one has gaps as long as its dashes.
pub(super) fn line(picture: &mut RgbImage, (from, to): (Point, Point), wide: f32, ink: Ink, broken: bool) {
    let length = from.distance(to).max(1.0);
    let (ux, uy) = ((to.x - from.x) / length, (to.y - from.y) / length);
    let middle = Point { x: f32::midpoint(from.x, to.x), y: f32::midpoint(from.y, to.y) };
    let half = ((to.x - from.x).abs() / 2.0 + wide, (to.y - from.y).abs() / 2.0 + wide);
    for (x, y) in within(picture, middle, half) {
        let (dx, dy) = (x as f32 + 0.5 - from.x, y as f32 + 0.5 - from.y);
        let (along, across) = (dx * ux + dy * uy, (dy * ux - dx * uy).abs());
        let dash = !broken || (along / (wide * 3.0)).floor().rem_euclid(2.0) < 1.0;
        if across <= wide / 2.0 && along >= -wide / 2.0 && along <= length + wide / 2.0 && dash {
            picture.put_pixel(x, y, ink);
        }
    }
}

/// A regular shape with so many corners around a point, one of them on top.
pub(super) fn disc(picture: &mut RgbImage, at: Point, radius: f32, corners: u32, ink: Ink) {
    let sector = TAU / corners.max(3) as f32;
    let inner = radius * (sector / 2.0).cos();
    for (x, y) in within(picture, at, (radius, radius)) {
        let (dx, dy) = (x as f32 + 0.5 - at.x, y as f32 + 0.5 - at.y);
        // The angle from the nearest middle of a side.
        let angle = (dx.atan2(-dy) + sector / 2.0).rem_euclid(sector) - sector / 2.0;
        let off = sector / 2.0 - angle.abs();
        if dx.hypot(dy) * off.cos() <= inner {
            picture.put_pixel(x, y, ink);
        }
    }
}

/// A plate of a width and height around a point.
pub(super) fn plate(picture: &mut RgbImage, at: Point, (wide, high): (f32, f32), ink: Ink) {
    for (x, y) in within(picture, at, (wide / 2.0, high / 2.0)) {
        picture.put_pixel(x, y, ink);
    }
}

/// Lays ink on one pixel, as much as covers it.
pub(super) fn blend(picture: &mut RgbImage, from: (f32, f32), (dx, dy): (u32, u32), cover: f32, ink: Ink) {
    let (x, y) = (from.0 + dx as f32, from.1 + dy as f32);
    if x < 0.0 || y < 0.0 {
        return;
    }
    if let Some(pixel) = picture.get_pixel_mut_checked(x as u32, y as u32) {
        let cover = cover.clamp(0.0, 1.0);
        for (old, new) in pixel.0.iter_mut().zip(ink.0) {
            *old = (f32::from(*old) * (1.0 - cover) + f32::from(new) * cover).round() as u8;
        }
    }
}
