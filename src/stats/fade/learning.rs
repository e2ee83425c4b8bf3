//! Learning a fleet's model: the clock by fit, lines and slots by the robust mixed model, bends by expectation and maximisation, and
//! whether bends are believed at all by what the past foretold of itself.

pub mod dense;

mod clocks;
mod lift;
mod lines;
mod rises;
mod trial;
mod warmth;

use super::FadeError;
use super::bend::Along;
use super::clock::{Clock, Clocks};
use super::fleet::Fleet;
use super::model::{Model, Warmth};

use lines::Lines;
use trial::Trial;

/// Packs on which ways in which bends come are compared, and bends are learnt.
const WAY_SAMPLE: usize = 4_000;
const BEND_SAMPLE: usize = 20_000;
/// Rounds of learning for a comparison, and for keeps.
const FEW_ROUNDS: usize = 7;
const ROUNDS: usize = 14;
/// The fewest packs that bends are learnt from.
const FEWEST_PACKS: usize = 200;
/// What learning is about to do, for a progress bar.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    /// Comparing clocks: which of how many.
    Clocks(usize, usize),
    /// Fitting lines, slots and gross errors on all readings.
    Lines,
    /// Learning bends: which of how many ways.
    Bends(usize, usize),
    /// Trying the models on the latest readings.
    Trial,
    /// Correcting the chances.
    Chances,
}

/// Learns a fleet's model.
///
/// # Errors
/// [`FadeError`] when there are not enough data for a line.
pub fn learn(fleet: &Fleet, threads: usize, mut tell: impl FnMut(Stage)) -> Result<Model, FadeError> {
    let clocks = clocks::choose(fleet, threads, &mut tell)?;
    tell(Stage::Lines);
    let warmth = warmth::learn(fleet, &clocks, threads)?;
    let lines = Lines::fit(fleet, &clocks, warmth, threads)?;
    let straight = lines.straight(fleet);
    let mut model = straight.clone();
    if fleet.packs() >= FEWEST_PACKS {
        let sample = fleet.thinned(BEND_SAMPLE, i32::MAX);
        let along = choose_way(&lines, &sample, threads, &mut tell);
        model.bend = lines.learn(&sample, Some(along), ROUNDS, threads).0.pruned();
        tell(Stage::Trial);
        let trial = Trial::run(&sample, (&clocks, along, warmth), threads);
        let believed = trial.as_ref().is_some_and(Trial::believes_bends);
        if !believed {
            model = straight;
        }
        if let Some(trial) = trial {
            model.evidence.tried = (trial.cases, trial.failures);
            model.evidence.trial = Some(trial.losses);
        }
    }
    tell(Stage::Chances);
    model.bend.lift = lift::learn(fleet, &model);
    model.calibration = trial::calibrate(fleet, &model, threads);
    Ok(model)
}

/// The model of straight lines in cycles alone: what a fleet's model is held against.
///
/// # Errors
/// [`FadeError`] when there are not enough data for a line.
pub fn straight(fleet: &Fleet, threads: usize) -> Result<Model, FadeError> {
    Ok(Lines::fit(fleet, &Clocks::all(Clock::CYCLES), Warmth::NONE, threads)?.straight(fleet))
}

/// The way along which bends come under which a sample is most likely.
fn choose_way(lines: &Lines, sample: &Fleet, threads: usize, tell: &mut impl FnMut(Stage)) -> Along {
    let few = sample.thinned(WAY_SAMPLE, i32::MAX);
    let mut best = (f64::NEG_INFINITY, Along::Clock);
    let ways = [Along::Clock, Along::Other, Along::Fade];
    for (k, way) in ways.into_iter().enumerate() {
        tell(Stage::Bends(k, ways.len()));
        let (_, likelihood) = lines.learn(&few, Some(way), FEW_ROUNDS, threads);
        if likelihood > best.0 {
            best = (likelihood, way);
        }
    }
    best.1
}
