//! Frees modules of what blur puts into them of their neighbours.
//!
//! How light a module is, is taken as a weighted sum of the places in it and around it. The weights are learnt from the symbol
//! itself, once its modules are known or guessed: they are those that come nearest to dark and light, held to
//! a plain sharpening by so much that a few wrong guesses do not bend them (a linear equaliser trained by its own decisions:
//! Lucky, Bell System Technical Journal 45, 1966; from memory).
#![expect(
    clippy::indexing_slicing,
    clippy::as_conversions,
    clippy::cast_precision_loss,
    reason = "loops over a lattice whose side follows from the symbol's"
)]

use nalgebra::{SMatrix, SVector};

use super::lattice::{Lattice, Levels, decided, levels, predicted};

/// How far a module's surroundings reach, half modules, and how many places that makes.
const REACH: usize = 3;
const SIDE: usize = 2 * REACH + 1;
const TAPS: usize = SIDE * SIDE;
/// How strongly the weights are held to a plain sharpening.
const HOLD: f32 = 0.4;
/// That sharpening.
const SHARPENING: f32 = 6.0;
/// How much a guessed module counts beside a known one.
const GUESSED: f32 = 0.7;

/// The weights of a plain sharpening: a module, less what the four beside it have more than it.
fn plain() -> SVector<f32, TAPS> {
    let mut weights = SVector::zeros();
    let mut add = |column: usize, row: usize, weight: f32| {
        for (down, high) in [(0, 1.0), (1, 2.0), (2, 1.0)] {
            for (across, wide) in [(0, 1.0), (1, 2.0), (2, 1.0)] {
                weights[(row + down) * SIDE + column + across] += weight * high * wide / 16.0;
            }
        }
    };
    add(2, 2, 1.0 + SHARPENING);
    for (column, row) in [(0, 2), (4, 2), (2, 0), (2, 4)] {
        add(column, row, -SHARPENING / 4.0);
    }
    weights
}

/// How light each module of a symbol is, in grey values: below zero dark. Without the quiet ring.
pub(super) fn equalised(seen: &[f32], lattice: &Lattice, before: &Levels) -> Vec<f32> {
    let (n, side) = (lattice.modules, lattice.side);
    let meant = decided(seen, lattice, Some(before), 1.0);
    let Levels { middle, half } = levels(seen, &predicted(&meant, lattice), side);
    let even: Vec<f32> = (0..seen.len()).map(|at| (seen[at] - middle[at]) / half[at]).collect();
    let around = |module: usize| -> SVector<f32, TAPS> {
        let (x, y) = (2 * (module % n), 2 * (module / n));
        SVector::from_fn(|tap, _| {
            let at = |middle: usize, off: usize| (middle + off).saturating_sub(REACH).min(side - 1);
            even[at(y, tap / SIDE) * side + at(x, tap % SIDE)]
        })
    };
    let hold = HOLD * (n * n) as f32;
    let plain = plain();
    let mut matrix = SMatrix::<f32, TAPS, TAPS>::identity() * hold;
    let mut right = plain * hold;
    for (module, &meant) in meant.iter().enumerate() {
        let around = around(module);
        let weight = if lattice.known[module] == 0.0 { GUESSED } else { 1.0 };
        matrix.syger(weight, &around, &around, 1.0);
        right.axpy(weight * meant, &around, 1.0);
    }
    let weights = matrix.cholesky().map_or(plain, |whole| whole.solve(&right));
    let mut light = Vec::with_capacity((n - 2) * (n - 2));
    for y in 1..n - 1 {
        for x in 1..n - 1 {
            light.push(weights.dot(&around(y * n + x)) * half[2 * y * side + 2 * x]);
        }
    }
    light
}
