//! A symbol as a lattice of places: what is seen there, what should be.
//!
//! Places lie in the middles of the modules and half way between them, from the middle of the quiet ring around the symbol on. A
//! module is taken for dark or light by the levels around it, and what is known of every symbol of its size is not asked
//! at all; from the modules follows what each place should show.
#![expect(
    clippy::indexing_slicing,
    clippy::as_conversions,
    clippy::cast_precision_loss,
    reason = "loops over a lattice whose side follows from the symbol's"
)]

use super::kernel;
use super::model::{Bend, Model, TERMS, must_show};
use super::picture::Point;

/// Half the side of the window in which levels of dark and light are taken as even, half modules.
const WINDOW: usize = 5;
/// Share of a neighbour that blur puts into a module.
const BLUR: f32 = 0.12;
/// How much modules are sharpened before they are decided.
const SHARPENING: f32 = 1.6;

/// The lattice of a symbol: the middles of its modules and half way between them, from the middle of the quiet ring around it on.
pub(super) struct Lattice {
    /// Modules a side, with the quiet ring.
    pub(super) modules: usize,
    /// Places a side.
    pub(super) side: usize,
    /// What is known of each module: 1 light, -1 dark, 0 unknown.
    pub(super) known: Vec<f32>,
    /// The places in pixels, before anything is bent.
    flat: Vec<Point>,
    /// The same in the terms' own coordinate, for columns and rows alike.
    pub(super) along: Vec<f32>,
}

impl Lattice {
    pub(super) fn of(model: &Model) -> Self {
        let (n, map) = (usize::from(model.modules), model.map());
        let (modules, side) = (n + 2, 2 * n + 3);
        let at = |place: usize| place as f32 / 2.0 - 0.5;
        let flat = (0..side * side).map(|place| map.flat(at(place % side), at(place / side))).collect();
        let along = (0..side).map(|place| map.term(at(place))).collect();
        Self { modules, side, known: known(model.modules), flat, along }
    }

    /// The places in pixels.
    pub(super) fn places(&self, bend: &Bend) -> Vec<Point> {
        let mut places = Vec::with_capacity(self.flat.len());
        for (row, &b) in self.flat.chunks_exact(self.side).zip(&self.along) {
            let [x, y] = bend.map(|bend| along_row(&bend, b));
            places.extend(
                row.iter()
                    .zip(&self.along)
                    .map(|(flat, &a)| Point { x: flat.x + horner(x, a), y: flat.y + horner(y, a) }),
            );
        }
        places
    }
}

/// The terms of one direction at a row, as a polynomial in the column.
fn along_row([one, a, b, ab, aa, bb, aaa, bbb]: &[f32; TERMS], row: f32) -> [f32; 4] {
    [one + row * (b + row * (bb + row * bbb)), a + row * ab, *aa, *aaa]
}

fn horner([zero, one, two, three]: [f32; 4], at: f32) -> f32 {
    zero + at * (one + at * (two + at * three))
}

/// What every symbol of a size shows, with the quiet ring around it and the light separators of the finders.
fn known(modules: u8) -> Vec<f32> {
    let n = usize::from(modules);
    let side = n + 2;
    let mut known = vec![0.0; side * side];
    for place in 0..side {
        for edge in [place, place + side * (side - 1), place * side, place * side + side - 1] {
            known[edge] = 1.0;
        }
    }
    for (left, top) in [(0, 0), (n - 7, 0), (0, n - 7)] {
        for y in top..top + 9 {
            known[y * side + left..y * side + left + 9].fill(1.0);
        }
    }
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "from -0.7 to a side and a little"
    )]
    let spot = |at: f32| (at + 1.0) as usize;
    for (u, v, light) in must_show(modules) {
        known[spot(v) * side + spot(u)] = light;
    }
    known
}

/// Sums over a window around every place, cut off at the border.
fn windowed(values: &[f32], side: usize) -> Vec<f32> {
    let pass = |values: &[f32]| {
        let mut out = vec![0.0; values.len()];
        // Along rows, written down columns: twice, and all is as it was.
        for (y, row) in values.chunks_exact(side).enumerate() {
            let mut sum: f32 = row[..WINDOW].iter().sum();
            for x in 0..side {
                if x + WINDOW < side {
                    sum += row[x + WINDOW];
                }
                if x > WINDOW {
                    sum -= row[x - WINDOW - 1];
                }
                out[x * side + y] = sum;
            }
        }
        out
    };
    pass(&pass(values))
}

/// How many places a window has along one side, at each place.
fn counts(side: usize) -> Vec<f32> {
    (0..side).map(|x| ((x + WINDOW).min(side - 1) - x.saturating_sub(WINDOW) + 1) as f32).collect()
}

/// Levels around every place: the middle between dark and light, and half of what is between them.
pub(super) struct Levels {
    pub(super) middle: Vec<f32>,
    pub(super) half: Vec<f32>,
}

/// The regression of what is seen on what is predicted, window by window.
pub(super) fn levels(seen: &[f32], predicted: &[f32], side: usize) -> Levels {
    let product = |a: &[f32], b: &[f32]| a.iter().zip(b).map(|(a, b)| a * b).collect::<Vec<f32>>();
    let [seen_sum, predicted_sum, both, square] = [
        windowed(seen, side),
        windowed(predicted, side),
        windowed(&product(seen, predicted), side),
        windowed(&product(predicted, predicted), side),
    ];
    let counts = counts(side);
    let (mut middle, mut half) = (Vec::with_capacity(seen.len()), Vec::with_capacity(seen.len()));
    for place in 0..seen.len() {
        let count = counts[place % side] * counts[place / side];
        let (seen, predicted) = (seen_sum[place] / count, predicted_sum[place] / count);
        let covariance = both[place] / count - seen * predicted;
        let variance = square[place] / count - predicted * predicted;
        let slope = (covariance / (variance + 0.02)).max(1.0);
        half.push(slope);
        middle.push(seen - slope * predicted);
    }
    Levels { middle, half }
}

/// The modules' own values out of the lattice: the middle of each, and half way to its neighbours.
pub(super) fn modules(seen: &[f32], lattice: &Lattice) -> Vec<f32> {
    let (side, last) = (lattice.side, lattice.side - 1);
    let mut values = Vec::with_capacity(lattice.modules * lattice.modules);
    for y in (0..side).step_by(2) {
        let rows = [(y.saturating_sub(1), 1.0), (y, 2.0), ((y + 1).min(last), 1.0)];
        for x in (0..side).step_by(2) {
            let (left, right) = (x.saturating_sub(1), (x + 1).min(last));
            let sum: f32 = rows
                .iter()
                .map(|&(row, weight)| {
                    let row = row * side;
                    weight * (seen[row + left] + 2.0 * seen[row + x] + seen[row + right])
                })
                .sum();
            values.push(sum / 16.0);
        }
    }
    values
}

/// What each module is taken for, -1 dark to 1 light: what is known, or what it seems by the levels around it.
pub(super) fn decided(seen: &[f32], lattice: &Lattice, levels: Option<&Levels>, soft: f32) -> Vec<f32> {
    let n = lattice.modules;
    let sharp = kernel::sharpened(&modules(seen, lattice), n, SHARPENING);
    let lightness: Vec<f32> = if let Some(levels) = levels {
        let lightness = |place: usize| {
            let at = 2 * (place / n) * lattice.side + 2 * (place % n);
            (sharp[place] - levels.middle[at]) / levels.half[at]
        };
        (0..n * n).map(lightness).collect()
    } else {
        let light = kernel::lightness(&sharp, n, 0.0);
        let usual = light.iter().map(|value| value.abs()).sum::<f32>() / (n * n) as f32;
        light.iter().map(|value| value / usual.max(1e-3)).collect()
    };
    let seems = |(&light, &known): (&f32, &f32)| {
        if known == 0.0 { (1.6 * light / soft).tanh() } else { known }
    };
    lightness.iter().zip(&lattice.known).map(seems).collect()
}

/// What the lattice should show: the modules, blurred a little, with straight lines between them.
pub(super) fn predicted(decided: &[f32], lattice: &Lattice) -> Vec<f32> {
    let (n, side) = (lattice.modules, lattice.side);
    let pass = |values: &[f32]| {
        let mut out = vec![0.0; n * n];
        for (y, row) in values.chunks_exact(n).enumerate() {
            for x in 0..n {
                let (left, right) = (row[x.saturating_sub(1)], row[(x + 1).min(n - 1)]);
                out[x * n + y] = row[x] + BLUR * (left + right - 2.0 * row[x]);
            }
        }
        out
    };
    let blurred = pass(&pass(decided));
    let mut out = vec![0.0; side * side];
    for y in 0..side {
        let (upper, lower) = (y / 2 * n, y.div_ceil(2) * n);
        for x in 0..side {
            let (left, right) = (x / 2, x.div_ceil(2));
            out[y * side + x] = (blurred[upper + left]
                + blurred[upper + right]
                + blurred[lower + left]
                + blurred[lower + right])
                / 4.0;
        }
    }
    out
}
