//! Whether a few packs, each read often, are foretold better by [`few`] than by straight lines.

use rand::Rng;

use super::super::bend::Outlook;
use super::super::clock::Measure;
use super::super::few::{self, Ask};
use super::super::fleet::{Fleet, Pack};
use super::super::kernel::count;
use super::super::model::{Model, Predictor, Seen, When};
use super::Lines;

/// How many packs are few, how many of them must be read often, and what that means.
const MOST_PACKS: usize = 30;
const FEWEST_DENSE: usize = 3;
const DENSE: usize = 24;
/// Packs whose second half is foretold, at most.
const TRIED: usize = 6;
/// The share of readings that an interval is to enclose.
const WITHIN: f64 = 0.8;

/// The mean interval scores of straight lines and of the model for few packs on the second half of each pack's readings, lower
/// being better (Gneiting and Raftery, "Strictly proper scoring rules", JASA 102, 2007, equation 43, from memory); none for a fleet that
/// is not of that kind.
pub fn scores(fleet: &Fleet, model: &Model, random: &mut impl Rng) -> Option<(f64, f64)> {
    let dense: Vec<usize> =
        (0..fleet.packs()).filter(|&place| fleet.pack(place).first_line().len() >= DENSE).collect();
    if fleet.packs() > MOST_PACKS || dense.len() < FEWEST_DENSE {
        return None;
    }
    let (mut straight, mut few) = (Vec::new(), Vec::new());
    for &place in dense.iter().take(TRIED) {
        let target = fleet.pack(place);
        let half = target.first_line().len() / 2;
        let learners: Vec<Vec<few::Reading>> = dense
            .iter()
            .filter(|&&other| other != place)
            .map(|&other| series(model, &fleet.pack(other)))
            .collect();
        let whole = series(model, &target);
        let (known, coming) = whole.split_at(half);
        let mut clocks: Vec<f64> = coming.iter().map(|reading| reading.clock).collect();
        clocks.dedup();
        let ask = Ask { limit: f64::from(target.limit), clocks, within: WITHIN };
        let Ok(foreseen) = few::foresee(&learners, known, &ask, random) else { continue };
        let lines = by_lines(fleet, model, place, half)?;
        for (reading, (low, high)) in coming.iter().zip(lines) {
            let Some(level) = foreseen.levels.iter().find(|level| level.clock >= reading.clock) else {
                continue;
            };
            few.push(score(level.low, level.high, reading.capacity));
            straight.push(score(low, high, reading.capacity));
        }
    }
    let mean = |scores: &[f64]| scores.iter().sum::<f64>() / count(scores.len());
    (!few.is_empty()).then(|| (mean(&straight), mean(&few)))
}

/// A pack's readings before any round in the measure that fade goes by, freed of slot and temperature.
pub fn series(model: &Model, pack: &Pack<'_>) -> Vec<few::Reading> {
    pack.first_line()
        .iter()
        .map(|reading| few::Reading {
            clock: measured(
                model.clocks.of(pack.group).measure,
                f64::from(reading.cycles),
                reading.day.saturating_sub(pack.born),
            ),
            capacity: model.bend.origin + model.level(reading),
        })
        .collect()
}

/// Cycles, or days: the measure that fade goes by.
pub fn measured(measure: Measure, cycles: f64, days: i32) -> f64 {
    match measure {
        Measure::Cycles => cycles.max(0.0),
        Measure::Age => f64::from(days.max(0)),
    }
}

/// The intervals of straight lines for the second half of one pack, learnt from its first half and all others.
fn by_lines(fleet: &Fleet, model: &Model, place: usize, half: usize) -> Option<Vec<(f64, f64)>> {
    let mut known = Fleet::default();
    for (other, pack) in fleet.iter().enumerate() {
        known.push(&if other == place { pack.up_to(half).owned() } else { pack.owned() });
    }
    let lines = Lines::fit(&known, &model.clocks, model.warmth, 1).ok()?;
    let predictor = Predictor::new(lines.straight(&known));
    let pack = fleet.pack(place);
    let mut seen = Seen::default();
    predictor.see(&pack.up_to(half), &mut seen);
    let noise = predictor.model().bend.residual;
    let ends =
        |outlook: &Outlook| (outlook.quantile(0.5 - 0.5 * WITHIN), outlook.quantile(0.5 + 0.5 * WITHIN));
    let coming = pack.first_line().get(half..)?;
    Some(
        coming
            .iter()
            .map(|reading| {
                let when = When { day: reading.day, cycles: f64::from(reading.cycles) };
                let mut outlook = predictor.outlook(&seen, when);
                for part in &mut outlook.normals {
                    part.variance += noise;
                }
                ends(&outlook)
            })
            .collect(),
    )
}

/// The interval score: its width, and what the reading lies outside, over half of what the interval may leave out.
fn score(low: f64, high: f64, read: f64) -> f64 {
    let outside = (low - read).max(0.0) + (read - high).max(0.0);
    high - low + 2.0 / (1.0 - WITHIN) * outside
}
