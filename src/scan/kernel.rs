//! Loops over pixels: local contrast, finder patterns, sampling.
//!
//! A contrast picture holds 128 plus what a pixel is lighter than its surroundings, so that shadow and gradient fall
//! away; a dark pixel is one clearly below 128.
#![expect(
    clippy::indexing_slicing,
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "loops over every pixel, with bounds taken from the picture itself"
)]

use image::{GrayAlphaImage, GrayImage, Luma};

use super::matrix::{self, Text};
use super::picture::Point;
use super::place::covers;

/// Contrast below which a pixel is dark.
pub(super) const DARK: u8 = 125;
/// The most finder patterns that are kept of one picture: noise can look like thousands.
pub(super) const MOST: usize = 600;

/// A place that looks like the 1:1:3:1:1 rings of a finder pattern.
#[derive(Debug, Clone, Copy)]
pub(super) struct Finder {
    /// Its middle, pixels.
    pub(super) x: f32,
    /// Its middle, pixels.
    pub(super) y: f32,
    /// The width of its seven modules along a row or column of pixels: more than its true width when it lies askew.
    pub(super) span: f32,
    /// How many rows of pixels show it.
    pub(super) rows: u32,
}

/// One number divided by another.
pub(super) fn quotient(above: u32, below: u32) -> f32 {
    above as f32 / below as f32
}

/// Lays a picture with transparent parts on white paper.
pub(super) fn on_white(image: &GrayAlphaImage) -> GrayImage {
    let pixels = image.as_raw().chunks_exact(2).map(|pair| {
        let (grey, alpha) = (u32::from(pair[0]), u32::from(pair[1]));
        ((grey * alpha + 255 * (255 - alpha) + 127) / 255) as u8
    });
    let (width, height) = image.dimensions();
    GrayImage::from_raw(width, height, pixels.collect()).unwrap_or_default()
}

/// The contrast picture: 128 + pixel - mean over a square of `2 radius + 1`, by running sums.
pub(super) fn contrast(image: &GrayImage, radius: usize) -> GrayImage {
    let (w, h) = (image.width() as usize, image.height() as usize);
    let pixels = image.as_raw();
    let mut out = vec![128_u8; w * h];
    let (mut column, mut sums, mut shares) = (vec![0_u32; w], vec![0_f32; w], vec![0_f32; w]);
    let (mut rows, mut shared) = (0, 0);
    let mut next = 0;
    for y in 0..h {
        while next < h && next <= y + radius {
            column.iter_mut().zip(&pixels[next * w..]).for_each(|(sum, &p)| *sum += u32::from(p));
            next += 1;
            rows += 1;
        }
        if y > radius {
            let gone = (y - radius - 1) * w;
            column.iter_mut().zip(&pixels[gone..]).for_each(|(sum, &p)| *sum -= u32::from(p));
            rows -= 1;
        }
        let mut sum: u32 = column[..radius.min(w)].iter().sum();
        for x in 0..w {
            if x + radius < w {
                sum += column[x + radius];
            }
            if x > radius {
                sum -= column[x - radius - 1];
            }
            sums[x] = sum as f32;
        }
        if rows != shared {
            // One by the count of pixels, a trace too large: a product cut off is the quotient for up to 4,096 pixels.
            for (x, share) in shares.iter_mut().enumerate() {
                let columns = (x + radius).min(w - 1) - x.saturating_sub(radius) + 1;
                *share = (1.0 + f32::EPSILON * 2.0) / (columns * rows) as f32;
            }
            shared = rows;
        }
        let line = y * w..(y + 1) * w;
        let means = sums.iter().zip(&shares).map(|(&sum, &share)| (sum * share) as i32);
        for ((out, &pixel), mean) in out[line.clone()].iter_mut().zip(&pixels[line]).zip(means) {
            *out = (128 + i32::from(pixel) - mean).clamp(0, 255) as u8;
        }
    }
    GrayImage::from_raw(image.width(), image.height(), out).unwrap_or_default()
}

/// Paints a symbol over as light paper, with a little around it.
pub(super) fn paint_over(image: &mut GrayImage, corners: &[Point; 4]) {
    let (xs, ys) = (corners.map(|corner| corner.x), corners.map(|corner| corner.y));
    let low = |values: [f32; 4]| values.into_iter().fold(f32::MAX, f32::min);
    let high = |values: [f32; 4]| values.into_iter().fold(f32::MIN, f32::max);
    let edge = |value: f32, most: u32| (value.max(0.0) as u32).min(most);
    let margin = 0.04 * corners[0].distance(corners[2]);
    let (w, h) = image.dimensions();
    for y in edge(low(ys) - margin, h)..edge(high(ys) + margin, h) {
        for x in edge(low(xs) - margin, w)..edge(high(xs) + margin, w) {
            if covers(corners, Point { x: x as f32 + 0.5, y: y as f32 + 0.5 }) {
                image.put_pixel(x, y, Luma([200]));
            }
        }
    }
}

/// The module width of five runs dark-light-dark-light-dark in the ratio 1:1:3:1:1, loosely.
fn ratio(runs: [u32; 5]) -> Option<f32> {
    let total: u32 = runs.iter().sum();
    if total < 9 {
        return None;
    }
    // A core of 1.9 to 4.3 modules, and rings of 0.35 modules less 0.3 pixels to 1.8 modules and 0.5 pixels, in whole numbers.
    let core = 70 * runs[2];
    let fits = |run: u32| 20 * run + 6 >= total && 70 * run <= 18 * total + 35;
    let alike = core >= 19 * total
        && core <= 43 * total
        && [runs[0], runs[1], runs[3], runs[4]].into_iter().all(fits);
    alike.then(|| total as f32 / 7.0)
}

/// Follows the five runs through a dark pixel both ways; the middle relative to the pixel, and the module width.
/// `before` and `after` are how many steps of `stride` the picture has on each side.
fn cross(contrast: &[u8], at: usize, stride: usize, before: usize, after: usize) -> Option<(f32, f32)> {
    let mut runs = [0_u32; 5];
    let dark = |steps: usize, back: bool| {
        let place = if back { at - steps * stride } else { at + steps * stride };
        contrast[place] < DARK
    };
    let (mut up, mut down) = (0, 1);
    for (run, want) in [(2, true), (1, false), (0, true)] {
        while up <= before && dark(up, true) == want {
            runs[run] += 1;
            up += 1;
        }
    }
    for (run, want) in [(2, true), (3, false), (4, true)] {
        while down <= after && dark(down, false) == want {
            runs[run] += 1;
            down += 1;
        }
    }
    let core_back = up as f32 - (runs[0] + runs[1]) as f32 - 1.0;
    let middle = (runs[2] as f32 - 1.0) / 2.0 - core_back;
    ratio(runs).map(|module| (middle, module))
}

/// Confirms a row's hit across rows, then along the row through the middle found there.
fn confirm(contrast: &[u8], w: usize, h: usize, x: usize, y: usize, module: f32) -> Option<Finder> {
    if contrast[y * w + x] >= DARK {
        return None;
    }
    let (dy, tall) = cross(contrast, y * w + x, w, y, h - 1 - y)?;
    let cy = (y as f32 + dy).round().clamp(0.0, (h - 1) as f32);
    let row = cy as usize;
    if contrast[row * w + x] >= DARK {
        return None;
    }
    let (dx, wide) = cross(contrast, row * w + x, 1, x, w - 1 - x)?;
    let alike = wide.max(tall) / wide.min(tall) < 1.7 && wide.max(module) / wide.min(module) < 1.7;
    let (x, y) = (x as f32 + dx + 0.5, y as f32 + dy + 0.5);
    alike.then_some(Finder { x, y, span: 3.5 * (wide + tall), rows: 1 })
}

/// Finder patterns met so far while going down a picture.
struct Seeker<'a> {
    contrast: &'a [u8],
    w: usize,
    h: usize,
    found: Vec<Finder>,
    /// Those that the present row may still meet, by index: keeps noisy pictures from costing a square.
    near: Vec<usize>,
}

impl Seeker<'_> {
    fn begin_row(&mut self, y: usize) {
        let found = &self.found;
        self.near.retain(|&index| y as f32 - found[index].y < found[index].span * 0.5);
    }

    fn near(&self, x: f32, y: f32, share: f32) -> Option<usize> {
        self.near.iter().copied().find(|&index| {
            let old = self.found[index];
            (old.x - x).powi(2) + (old.y - y).powi(2) < (old.span * share).powi(2)
        })
    }

    /// Takes a row's hit: counts it for a finder that is known, or confirms it as a new one.
    fn hit(&mut self, x: usize, y: usize, module: f32) {
        let mut known = self.near(x as f32, y as f32, 0.2);
        if known.is_none()
            && let Some(new) = confirm(self.contrast, self.w, self.h, x, y, module)
        {
            known = self.near(new.x, new.y, 0.3);
            if known.is_none() {
                self.near.push(self.found.len());
                self.found.push(new);
            }
        }
        if let Some(index) = known {
            self.found[index].rows += 1;
        }
    }
}

/// Which of up to 64 pixels are dark, the first in the lowest bit.
fn dark_pixels(pixels: &[u8]) -> u64 {
    // Eight bytes of nought or one, brought together in the highest byte.
    const GATHER: u64 = 0x0102_0408_1020_4080;
    let mut bits = 0;
    for (byte, pixels) in pixels.chunks(8).enumerate() {
        let mut eight = [u8::MAX; 8];
        eight[..pixels.len()].copy_from_slice(pixels);
        let dark = eight.map(|pixel| u8::from(pixel < DARK));
        bits |= u64::from_le_bytes(dark).wrapping_mul(GATHER) >> 56 << (8 * byte);
    }
    bits
}

/// Looks for finder patterns row by row, best shown first.
pub(super) fn finders(contrast: &GrayImage) -> Vec<Finder> {
    let (w, h) = (contrast.width() as usize, contrast.height() as usize);
    let mut seeker = Seeker { contrast: contrast.as_raw(), w, h, found: Vec::new(), near: Vec::new() };
    for (y, line) in contrast.as_raw().chunks_exact(w.max(1)).enumerate() {
        seeker.begin_row(y);
        let (mut runs, mut edge, mut dark) = ([0_u32; 5], 0, 0);
        // A light pixel behind the last one closes a dark run at the border.
        let words = line.chunks(64).map(dark_pixels).chain((w % 64 == 0).then_some(0));
        for (word, pixels) in words.enumerate() {
            let mut edges = pixels ^ (pixels << 1 | dark);
            dark = pixels >> 63;
            while edges != 0 {
                let bit = edges.trailing_zeros();
                edges &= edges - 1;
                let x = 64 * word + bit as usize;
                runs = [runs[1], runs[2], runs[3], runs[4], (x - edge) as u32];
                edge = x;
                let is_light = pixels >> bit & 1 == 0;
                if is_light && let Some(module) = ratio(runs) {
                    let back = (runs[4] + runs[3] + runs[2] / 2 + 1) as usize;
                    seeker.hit(x.saturating_sub(back), y, module);
                }
            }
        }
    }
    let mut found = seeker.found;
    found.sort_by(|a, b| b.rows.cmp(&a.rows).then(a.y.total_cmp(&b.y)).then(a.x.total_cmp(&b.x)));
    found.truncate(MOST);
    found
}

/// The value at a place, between the middles of four pixels; the border goes on outside.
#[inline]
pub(super) fn sample(image: &GrayImage, x: f32, y: f32) -> f32 {
    let (w, h) = (image.width() as usize, image.height() as usize);
    let (x, y) = ((x - 0.5).clamp(0.0, (w - 1) as f32), (y - 0.5).clamp(0.0, (h - 1) as f32));
    let (left, top) = (x as usize, y as usize);
    let (across, down) = (x - left as f32, y - top as f32);
    let pixels = image.as_raw();
    // Two pixels of each of two rows; at the right and lower border the last ones twice.
    let at = top * w + left;
    let below = if top + 1 < h { at + w } else { at };
    let next = usize::from(left + 1 < w);
    let upper = &pixels[at..=at + next];
    let lower = &pixels[below..=below + next];
    let (a, b) = (f32::from(upper[0]), f32::from(upper[upper.len() - 1]));
    let (c, d) = (f32::from(lower[0]), f32::from(lower[lower.len() - 1]));
    let (upper, lower) = (a + (b - a) * across, c + (d - c) * across);
    upper + (lower - upper) * down
}

/// The same over a place as wide as a part of a module that has so many pixels: where modules are large, one pixel says too little of
/// where their edges lie.
pub(super) fn sample_part(image: &GrayImage, at: Point, module: f32) -> f32 {
    const LARGE: f32 = 4.5;
    const PART: f32 = 0.25;
    if module < LARGE {
        return sample(image, at.x, at.y);
    }
    let r = PART * module;
    let sum = sample(image, at.x - r, at.y)
        + sample(image, at.x + r, at.y)
        + sample(image, at.x, at.y - r)
        + sample(image, at.x, at.y + r);
    sum / 4.0
}

/// Sharpens a square of modules: each by what it differs from the four beside it.
pub(super) fn sharpened(values: &[f32], n: usize, sharpening: f32) -> Vec<f32> {
    (0..n * n)
        .map(|place| {
            let (x, y) = (place % n, place / n);
            let around = [
                (x > 0).then(|| values[place - 1]),
                (x + 1 < n).then(|| values[place + 1]),
                (y > 0).then(|| values[place - n]),
                (y + 1 < n).then(|| values[place + n]),
            ];
            let (sum, count) = around.iter().flatten().fold((0.0, 0.0), |(s, c), v| (s + v, c + 1.0));
            values[place] + sharpening * (values[place] - sum / count)
        })
        .collect()
}

/// Sharpens a square of modules, and says of each how much lighter it is than the cut of its neighbourhood of seven by seven.
pub(super) fn lightness(values: &[f32], n: usize, sharpening: f32) -> Vec<f32> {
    let sharp = sharpened(values, n, sharpening);
    (0..n * n)
        .map(|place| {
            let (x, y) = (place % n, place / n);
            let (mut low, mut high, mut sum, mut count) = (f32::MAX, f32::MIN, 0.0, 0.0);
            for row in y.saturating_sub(3)..=(y + 3).min(n - 1) {
                for &value in &sharp[row * n + x.saturating_sub(3)..=row * n + (x + 3).min(n - 1)] {
                    low = low.min(value);
                    high = high.max(value);
                    sum += value;
                    count += 1.0;
                }
            }
            sharp[place] - 0.5 * (sum / count) - 0.25 * (low + high)
        })
        .collect()
}

/// A symbol by the decoder library's own search.
#[derive(Debug)]
pub(super) struct Grid {
    /// Modules a side.
    pub(super) modules: usize,
    /// Clockwise from the symbol's own upper left corner, pixels.
    pub(super) corners: [(f32, f32); 4],
    /// What stands in it, if it could be read.
    pub(super) text: Option<Text>,
}

/// Who decides what is dark in the decoder library's own search.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Threshold {
    /// We do: the picture is a contrast picture.
    Contrast,
    /// The library does, by a running mean along rows.
    Library,
}

/// The decoder library's own search. May panic, and may take for ever: call it inside the fence.
pub(super) fn search(image: &GrayImage, threshold: Threshold) -> Vec<Grid> {
    let (w, h) = (image.width() as usize, image.height() as usize);
    let pixels = image.as_raw();
    let mut prepared = match threshold {
        Threshold::Contrast => {
            rqrr::PreparedImage::prepare_from_bitmap(w, h, |x, y| pixels[y * w + x] < DARK)
        }
        Threshold::Library => rqrr::PreparedImage::prepare_from_greyscale(w, h, |x, y| pixels[y * w + x]),
    };
    let grids = prepared.detect_grids();
    grids
        .iter()
        .map(|grid| {
            let modules = rqrr::BitGrid::size(&grid.grid);
            // The library's bounds reach one module too far to the right and down.
            let share = modules as f32 / (modules as f32 + 1.0);
            let [a, b, c, d] = grid.bounds.map(|point| (point.x as f32, point.y as f32));
            let short = |to: (f32, f32)| (a.0 + (to.0 - a.0) * share, a.1 + (to.1 - a.1) * share);
            let text = matrix::text_of(grid);
            Grid { modules, corners: [a, short(b), short(c), short(d)], text }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn contrast_is_the_pixel_less_the_whole_quotient_of_its_square() {
        // Extremes, and squares whose sums divide evenly, where a share cut off a trace too low would show.
        let pictures = [
            GrayImage::from_pixel(60, 50, Luma([255])),
            GrayImage::from_fn(60, 50, |x, y| Luma([((x * 37 + y * 91) % 256) as u8])),
            GrayImage::from_fn(7, 90, |x, y| Luma([if (x + y) % 3 == 0 { 255 } else { 0 }])),
        ];
        for picture in &pictures {
            for radius in [0, 4, 22] {
                let seen = contrast(picture, radius as usize);
                for (x, y, &Luma([value])) in seen.enumerate_pixels() {
                    let across = x.saturating_sub(radius)..=(x + radius).min(picture.width() - 1);
                    let down = y.saturating_sub(radius)..=(y + radius).min(picture.height() - 1);
                    let around = down.flat_map(|y| across.clone().map(move |x| (x, y)));
                    let (sum, count) = around.fold((0, 0), |(sum, count), (x, y)| {
                        (sum + u32::from(picture.get_pixel(x, y).0[0]), count + 1)
                    });
                    let pixel = i32::from(picture.get_pixel(x, y).0[0]);
                    let expected = (128 + pixel - (sum / count).cast_signed()).clamp(0, 255);
                    assert_eq!(i32::from(value), expected, "{x} {y} radius {radius}");
                }
            }
        }
    }

    #[test]
    fn finders_are_met_at_every_border_of_64_pixels() {
        let ring = |at: u32, middle: u32| at.abs_diff(middle) / 3;
        for middle in 20..150 {
            let drawn = GrayImage::from_fn(192, 48, |x, y| {
                let ring = ring(x, middle).max(ring(y, 24));
                Luma([if ring == 0 || ring == 2 { 100 } else { 150 }])
            });
            let found = finders(&drawn);
            assert_eq!(found.len(), 1, "{middle}: {found:?}");
            assert!((found[0].x - 0.5 - middle as f32).abs() < 1.0, "{middle}: {found:?}");
        }
    }
}
