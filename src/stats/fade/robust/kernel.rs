//! Loops over all readings: how much each counts, pack by pack.
#![expect(
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::as_conversions,
    reason = "loops over millions of readings, with bounds taken from the readings' own counts"
)]

use super::super::Readings;
use super::super::kernel::{PIECES, Square, pieces, solve, spread};
use super::super::mixed::Fit;

/// Turns at most in which a pack's line and the weights of its readings are worked out from each other, and the change of a weight that
/// is not worth another turn.
const TURNS: usize = 30;
const STEADY: f32 = 1e-3;

/// Gives every reading a new weight, by its residual off the lines of group, slot and pack. `weigh` is told the square of the residual
/// and the uncertainty of the pack's line there, in units of the residual variance; it gives the weight, 0 to 1, and how likely the
/// reading is a gross error, of which the sum is given back.
pub(super) fn reweigh(
    readings: &mut Readings,
    fit: &Fit,
    threads: usize,
    weigh: impl Fn(f64, f64) -> (f64, f64) + Sync,
) -> f64 {
    let t = fit.pack.map(|value| value / fit.residual);
    // The weights are lent out piece by piece, while the rest is read.
    let mut weights = std::mem::take(&mut readings.weight);
    let whole = &*readings;
    let mut lent = Vec::with_capacity(PIECES);
    let mut rest = weights.as_mut_slice();
    for packs in pieces(whole.packs()) {
        let count = packs.clone().map(|pack| whole.range(pack).len()).sum();
        let (own, others) = rest.split_at_mut(count);
        lent.push((packs, own));
        rest = others;
    }
    let sums = spread(lent, threads, |(packs, mut weights)| {
        let mut sum = 0.0;
        let mut residuals: Vec<(f64, f64)> = Vec::with_capacity(64);
        for pack in packs {
            let line = fit.line(whole.groups[pack]);
            residuals.clear();
            residuals.extend(whole.of(pack).map(|(clock, capacity, slot)| {
                let x = f64::from(clock);
                (x, f64::from(capacity) - line.at(x) - fit.bias(slot))
            }));
            let (own, others) = weights.split_at_mut(residuals.len());
            sum += settle(own, &residuals, (&t, fit.residual), &weigh);
            weights = others;
        }
        sum
    });
    readings.weight = weights;
    sums.into_iter().sum()
}

/// Weighs a pack's readings by its line and finds its line by their weights, in turn until neither moves: `residuals` are clocks and what
/// is left of readings beside group and slot (mAh). Gives the sum of how likely they are gross errors.
fn settle(
    weights: &mut [f32],
    residuals: &[(f64, f64)],
    (t, s2): (&Square, f64),
    weigh: impl Fn(f64, f64) -> (f64, f64),
) -> f64 {
    let (mut sum, per_s2) = (0.0, 1.0 / s2);
    for _ in 0..TURNS {
        let (mut a, mut r) = ([0.0; 3], [0.0; 2]);
        for (&weight, &(x, e)) in weights.iter().zip(residuals) {
            let weight = f64::from(weight);
            a = [a[0] + weight, a[1] + weight * x, a[2] + weight * x * x];
            r = [r[0] + weight * e, r[1] + weight * x * e];
        }
        let k = solve(t, &a).covariance;
        let b = [k[0] * r[0] + k[1] * r[1], k[1] * r[0] + k[2] * r[1]];
        let mut change = 0.0_f32;
        sum = 0.0;
        for (weight, &(x, e)) in weights.iter_mut().zip(residuals) {
            let off = e - b[0] - b[1] * x;
            let (new, outlying) = weigh(off * off * per_s2, k[0] + 2.0 * k[1] * x + k[2] * x * x);
            let before = std::mem::replace(weight, new as f32);
            change = change.max((*weight - before).abs());
            sum += outlying;
        }
        if change < STEADY {
            break;
        }
    }
    sum
}
