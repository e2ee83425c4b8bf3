//! Why a symbol that was seen could not be read, or why nothing was seen: measured in the picture, never guessed.

use image::GrayImage;

use super::kernel;
use super::model::Model;
use super::picture::{Advice, Point};

/// Pixels a module below which a symbol is too small.
const SMALL: f32 = 2.0;
/// Grey below which the lightest of what is seen is dark.
const DARK: f32 = 60.0;
/// Modules over which a step from dark to light may spread.
const BLURRED: f32 = 1.1;
/// The same in pixels, where no symbol gives a measure.
const BLURRED_PIXELS: f32 = 7.0;
/// Grey from which a pixel is blown out.
const BLOWN: f32 = 245.0;
/// Modules a side of a patch that is light in no symbol, unless it was blown out.
const PATCH: usize = 5;
/// Samples a module.
const FINE: usize = 4;

/// What is wrong where a symbol of so many modules a side lies.
pub(super) fn of_symbol(grey: &GrayImage, corners: &[Point; 4], modules: u8) -> Vec<Advice> {
    let [a, b, c, d] = *corners;
    // The shortest way across counts: a label seen aslant is small one way.
    let across = f32::midpoint(a.distance(b), d.distance(c)).min(f32::midpoint(a.distance(d), b.distance(c)));
    let pixels = across / f32::from(modules);
    let n = usize::from(modules) * FINE;
    // A model over the corners themselves: its places like finders are the corners.
    let map = Model::over([a, b, c, d], modules + 7).map();
    let mut values = Vec::with_capacity(n * n);
    for row in 0..modules {
        for fine in 0..FINE {
            for column in 0..modules {
                for step in 0..FINE {
                    let at = map.pixel(part(column, step) + 3.5, part(row, fine) + 3.5);
                    values.push(kernel::sample(grey, at.x, at.y));
                }
            }
        }
    }
    let (low, high) = ends(&values, 5);
    let mut steps: Vec<f32> = Vec::with_capacity(2 * values.len());
    for (place, &value) in values.iter().enumerate() {
        let right = (place % n + 1 < n).then(|| values.get(place + 1)).flatten();
        steps.extend([right, values.get(place + n)].into_iter().flatten().map(|next| (next - value).abs()));
    }
    let (_, steepest) = ends(&steps, 2);
    let spread = (high - low) / (steepest.max(0.1) * quarter());
    let mut advice = Vec::new();
    if pixels < SMALL {
        advice.push(Advice::Small { pixels_a_module: (pixels * 10.0).round() / 10.0 });
    }
    if high < DARK {
        advice.push(Advice::Dark);
    }
    if pixels >= SMALL && spread > BLURRED {
        advice.push(Advice::Blurred);
    }
    if is_blown(&values, n) {
        advice.push(Advice::Glare);
    }
    advice
}

/// What is wrong with a picture in which nothing was seen.
pub(super) fn of_picture(grey: &GrayImage) -> Vec<Advice> {
    let width = usize::try_from(grey.width()).unwrap_or(1).max(1);
    let (low, high) = ends_of_picture(grey);
    if high < DARK {
        return vec![Advice::Dark];
    }
    let steps = |row: &[u8]| row.iter().zip(row.iter().skip(1)).map(|(one, next)| one.abs_diff(*next)).max();
    let steepest = f32::from(grey.as_raw().chunks_exact(width).filter_map(steps).max().unwrap_or(0));
    // Plain paper has no edges: nothing is said of it.
    if high - low > DARK && (high - low) / steepest.max(0.1) > BLURRED_PIXELS {
        return vec![Advice::Blurred];
    }
    Vec::new()
}

/// The place of a sample, in modules.
fn part(module: u8, step: usize) -> f32 {
    f32::from(module) + (f32::from(u8::try_from(step).unwrap_or(0)) + 0.5) / quarter()
}

fn quarter() -> f32 {
    f32::from(u8::try_from(FINE).unwrap_or(1))
}

/// The values below and above which so many in a hundred lie.
fn ends(values: &[f32], percent: usize) -> (f32, f32) {
    let mut values = values.to_vec();
    let count = values.len();
    let cut = count * percent / 100;
    let mut ranked = |place: Option<usize>| {
        let place = place.filter(|&place| place < count);
        place.map_or(0.0, |place| *values.select_nth_unstable_by(place, f32::total_cmp).1)
    };
    (ranked(Some(cut)), ranked(count.checked_sub(cut + 1)))
}

/// The same of all pixels, one in a hundred.
fn ends_of_picture(grey: &GrayImage) -> (f32, f32) {
    let mut counts = [0_usize; 256];
    for &value in grey.as_raw() {
        if let Some(count) = counts.get_mut(usize::from(value)) {
            *count += 1;
        }
    }
    let cut = grey.as_raw().len() / 100;
    let levels = || (0..=u8::MAX).zip(counts);
    (beyond(levels(), cut), beyond(levels().rev(), cut))
}

/// The first level with more than so many pixels up to it.
fn beyond(levels: impl Iterator<Item = (u8, usize)>, cut: usize) -> f32 {
    let mut met = 0;
    for (level, count) in levels {
        met += count;
        if met > cut {
            return f32::from(level);
        }
    }
    0.0
}

/// Whether a patch that must hold something dark is blown out.
fn is_blown(values: &[f32], n: usize) -> bool {
    let side = PATCH * FINE;
    (0..n.saturating_sub(side)).step_by(FINE).any(|top| {
        (0..n.saturating_sub(side)).step_by(FINE).any(|left| {
            (top..top + side).all(|row| {
                let line = values.get(row * n + left..row * n + left + side).unwrap_or_default();
                line.iter().all(|&value| value >= BLOWN)
            })
        })
    })
}
