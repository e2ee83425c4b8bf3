//! The product's model on simulated fleets: what it takes in, and what it foretells.

use packmuster::stats::fade::fleet::{Fleet, History, Reading};
use packmuster::stats::fade::model::{Model, Predictor, Seen, When};

use super::split::{Case, Known, Split};

/// Whether rounds of reconditioning are recorded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Rounds {
    /// They are.
    Recorded,
    /// Nobody wrote them down.
    Unrecorded,
}

/// What was known of a pack before a day, as the model takes it; rounds up to that day are known.
fn history(known: &Known<'_>, limit: f64, rounds: Rounds, until: i32) -> History {
    let days: Vec<i32> = match rounds {
        Rounds::Recorded => known.rounds.iter().copied().filter(|day| *day <= until).collect(),
        Rounds::Unrecorded => Vec::new(),
    };
    let use_on =
        |day: i32| known.reads.iter().rev().find(|read| read.day <= day).map_or(0.0, |read| read.use_);
    let readings = known.reads.iter().map(|read| Reading {
        slot: read.slot,
        rounds: u16::try_from(days.iter().filter(|day| **day <= read.day).count()).unwrap_or(u16::MAX),
        ..Reading::bare(read.day, single(100.0 * read.use_), single(read.mah))
    });
    History {
        group: known.make,
        born: known.reads.first().map_or(0, |read| read.day),
        limit: single(limit),
        readings: readings.collect(),
        rounds: days.iter().map(|&day| (day, single(100.0 * use_on(day)))).collect(),
    }
}

/// The known fleet in columns.
pub(crate) fn fleet(split: &Split<'_>, rounds: Rounds) -> Fleet {
    let mut fleet = Fleet::default();
    for known in &split.known {
        fleet.push(&history(known, split.limit, rounds, split.cut - 1));
    }
    fleet
}

/// The chance of each case to be below the limit.
pub(crate) fn forecasts(
    split: &Split<'_>,
    world: &super::world::World,
    model: &Model,
    rounds: Rounds,
) -> Vec<f64> {
    let predictor = Predictor::new(model.clone());
    let mut seen = Seen::default();
    let all = rounds_of(split, world);
    let forecast = |case: &Case| {
        let Some(known) = split.known.get(case.pack) else { return f64::NAN };
        let known = Known { rounds: all.get(case.pack).copied().unwrap_or_default(), ..*known };
        let past = history(&known, split.limit, rounds, case.day);
        predictor.see(&past.pack(), &mut seen);
        predictor.chance_read_below(&seen, When { day: case.day, cycles: 100.0 * case.use_ }, split.limit)
    };
    split.cases.iter().map(forecast).collect()
}

/// All rounds of each known pack: one done between what was known and the case is known when the case is foretold.
fn rounds_of<'a>(split: &Split<'_>, world: &'a super::world::World) -> Vec<&'a [i32]> {
    let known = |pack: &&super::world::Pack| pack.reads.first().is_some_and(|read| read.day < split.cut);
    world.packs.iter().filter(known).map(|pack| pack.rounds.as_slice()).collect()
}

#[expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    reason = "the model takes single precision"
)]
pub(crate) fn single(value: f64) -> f32 {
    value as f32
}
