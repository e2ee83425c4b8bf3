//! What a round of reconditioning brings in this fleet: how far the first reading after it lies above what the readings before
//! foretold.

use super::super::bend::Lift;
use super::super::fleet::Fleet;
use super::super::kernel::count;
use super::super::model::{Model, Predictor, Seen, When};

/// Rounds that are looked at, at most.
const MOST: usize = 4_000;
/// How many rounds' worth it counts that nothing is known of them.
const PRIOR_ROUNDS: f64 = 3.0;
/// The spread of what a round brings when nothing is known, as a share of the mean capacity.
const PRIOR_SPREAD: f64 = 0.06;
/// How many times the usual deviation makes a round's reading a gross error.
const TOO_FAR: f64 = 5.0;
/// Relative variances of the slope after a round that are tried.
const SLOPES: [f64; 5] = [0.0, 0.03, 0.1, 0.3, 0.6];

/// Learns it. Without rounds, it may be anything small.
pub(super) fn learn(fleet: &Fleet, model: &Model) -> Lift {
    let places: Vec<usize> =
        (0..fleet.packs()).filter(|&place| !fleet.pack(place).rounds.is_empty()).take(MOST).collect();
    let unknown = (PRIOR_SPREAD * model.bend.origin).powi(2);
    let mut lift = Lift { mean: 0.0, variance: unknown, slope: 0.0, rounds: 0 };
    let bare = Model { bend: super::Bend { lift, ..model.bend.clone() }, ..model.clone() };
    let mut offs = rises(fleet, &places, &Predictor::new(bare), unknown);
    let middle = median(offs.iter().map(|(off, _)| *off).collect());
    let usual = 1.4826 * median(offs.iter().map(|(off, _)| (off - middle).abs()).collect());
    offs.retain(|(off, _)| (off - middle).abs() <= TOO_FAR * usual);
    if offs.is_empty() {
        return lift;
    }
    let n = count(offs.len());
    lift.mean = offs.iter().map(|(off, _)| off).sum::<f64>() / (n + PRIOR_ROUNDS);
    // Method of moments: what spreads beyond the forecasts' own variance is the rounds' (DerSimonian and Laird, 1986, from memory).
    let beyond = offs.iter().map(|(off, own)| (off - lift.mean).powi(2) - own).sum::<f64>();
    lift.variance = ((beyond + PRIOR_ROUNDS * unknown) / (n + PRIOR_ROUNDS)).max(0.1 * model.bend.residual);
    lift.rounds = u32::try_from(offs.len()).unwrap_or(u32::MAX);
    lift.slope = best_slope(fleet, &places, model, lift);
    lift
}

/// How far the first reading after each round lies above what was foretold, and the variance of that forecast.
fn rises(fleet: &Fleet, places: &[usize], predictor: &Predictor, unknown: f64) -> Vec<(f64, f64)> {
    let mut seen = Seen::default();
    let mut rises = Vec::new();
    for pack in places.iter().map(|&place| fleet.pack(place)) {
        for (place, pair) in pack.readings.windows(2).enumerate() {
            let [before, next] = pair else { continue };
            if next.rounds == before.rounds {
                continue;
            }
            predictor.see(&pack.up_to(place + 1), &mut seen);
            let when = When { day: next.day, cycles: f64::from(next.cycles) };
            let (mean, variance) = predictor.moments(&seen, when);
            let own = (variance - unknown).max(0.0) + predictor.model().bend.residual;
            rises.push((predictor.model().level(next) - mean, own));
        }
    }
    rises
}

/// The relative variance of slopes after a round under which the readings after it are most likely.
fn best_slope(fleet: &Fleet, places: &[usize], model: &Model, lift: Lift) -> f64 {
    let mut best = (f64::NEG_INFINITY, 0.0);
    let mut seen = Seen::default();
    for slope in SLOPES {
        let bend = super::Bend { lift: Lift { slope, ..lift }, ..model.bend.clone() };
        let predictor = Predictor::new(Model { bend, ..model.clone() });
        let likelihood: f64 = places.iter().map(|&place| predictor.see(&fleet.pack(place), &mut seen)).sum();
        if likelihood > best.0 {
            best = (likelihood, slope);
        }
    }
    best.1
}

pub(super) fn median(mut values: Vec<f64>) -> f64 {
    let middle = values.len() / 2;
    if values.is_empty() { 0.0 } else { *values.select_nth_unstable_by(middle, f64::total_cmp).1 }
}
