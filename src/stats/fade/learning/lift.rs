//! What a round of reconditioning brings in this fleet: how far the first reading after it lies above what the readings before
//! foretold, and on what that hangs.

use std::collections::BTreeMap;

use super::super::bend::{Bend, Lift};
use super::super::fleet::{Fleet, Pack};
use super::super::model::{Model, Predictor, Seen, When};
use super::rises::{self, Measured};

/// Packs that are looked at, at most; makes have equal shares in them.
const MOST: usize = 4_000;
/// The spread of what a round brings when nothing is known, as a share of the mean capacity.
const PRIOR_SPREAD: f64 = 0.06;
/// Relative variances of the slope after a round that are tried.
const SLOPES: [f64; 5] = [0.0, 0.03, 0.1, 0.3, 0.6];

/// Learns it. Without rounds, it may be anything small.
pub(super) fn learn(fleet: &Fleet, model: &Model) -> Lift {
    let places = places(fleet);
    let unknown = (PRIOR_SPREAD * model.bend.origin).powi(2);
    let bare = with(model, Lift::unknown(unknown));
    let measured = measured(fleet, &places, &bare, unknown);
    if measured.is_empty() {
        return Lift::unknown(unknown);
    }
    let makes: Vec<u16> =
        (0..fleet.groups().max(model.bend.groups.len())).map(|group| fleet.make(group)).collect();
    let lift = rises::fit(&measured, &makes, &model.bend);
    best_slope(fleet, &places, model, lift)
}

fn with(model: &Model, lift: Lift) -> Predictor {
    Predictor::new(Model { bend: Bend { lift, ..model.bend.clone() }, ..model.clone() })
}

/// Packs that had rounds: of each make as many as it has, or its share, spread evenly over all that it has.
fn places(fleet: &Fleet) -> Vec<usize> {
    let mut of_make: BTreeMap<u16, Vec<usize>> = BTreeMap::new();
    for place in 0..fleet.packs() {
        let pack = fleet.pack(place);
        if !pack.rounds.is_empty() {
            of_make.entry(fleet.make(usize::from(pack.group))).or_default().push(place);
        }
    }
    let share = (MOST / of_make.len().max(1)).max(1);
    let thin = |places: Vec<usize>| {
        let step = places.len().div_ceil(share).max(1);
        places.into_iter().step_by(step)
    };
    let mut places: Vec<usize> = of_make.into_values().flat_map(thin).collect();
    places.sort_unstable();
    places
}

/// What the first reading after each round says; `unknown` is the variance of a round under the predictor.
fn measured(fleet: &Fleet, places: &[usize], predictor: &Predictor, unknown: f64) -> Vec<Measured> {
    let mut seen = Seen::default();
    let mut all = Vec::new();
    let model = predictor.model();
    for pack in places.iter().map(|&place| fleet.pack(place)) {
        for (place, pair) in pack.readings.windows(2).enumerate() {
            let [before, next] = pair else { continue };
            let last = usize::from(next.rounds).checked_sub(1).and_then(|last| pack.rounds.get(last));
            let Some(&(day, cycles)) = last.filter(|_| next.rounds != before.rounds) else { continue };
            let known = pack.up_to(place + 1);
            let done = known.rounds.get(..usize::from(before.rounds)).unwrap_or_default();
            predictor.see(&Pack { rounds: done, ..known }, &mut seen);
            let (years, depth) = predictor.depth(&seen, When { day, cycles: f64::from(cycles) });
            predictor.see(&known, &mut seen);
            let when = When { day: next.day, cycles: f64::from(next.cycles) };
            let (mean, variance) = predictor.moments(&seen, when);
            let known_slot = model.slots.get(usize::from(next.slot)).is_some();
            let own = (variance - unknown).max(0.0) + model.reading_variance(known_slot);
            all.push(Measured { group: pack.group, years, depth, rise: model.level(next) - mean, own });
        }
    }
    all
}

/// The lift with the relative variance of slopes after a round under which the readings after it are most likely.
fn best_slope(fleet: &Fleet, places: &[usize], model: &Model, lift: Lift) -> Lift {
    let mut best = (f64::NEG_INFINITY, 0.0);
    let mut seen = Seen::default();
    for slope in SLOPES {
        let predictor = with(model, Lift { slope, ..lift.clone() });
        let likelihood: f64 = places.iter().map(|&place| predictor.see(&fleet.pack(place), &mut seen)).sum();
        if likelihood > best.0 {
            best = (likelihood, slope);
        }
    }
    Lift { slope: best.1, ..lift }
}
