//! Learning a fleet's model: the clock by fit, lines and slots by the robust mixed model, bends by expectation and maximisation, and
//! whether bends are believed at all by what the past foretold of itself.

pub mod dense;

mod clocks;
mod lift;
mod rises;
mod trial;
mod warmth;

use super::bend::{self, Along, Bend, COMPONENTS, Component, Learning, Lift, Past, SHARPNESS, Tail};
use super::calibrate::Calibration;
use super::clock::{Clock, Clocks};
use super::fleet::{Fleet, Pack, Reading};
use super::kernel::count;
use super::mixed::Way;
use super::model::{Evidence, Model, Warmth};
use super::robust::{self, Robust, WIDER};
use super::{FadeError, Readings};

use trial::Trial;

/// Packs on which ways in which bends come are compared, and bends are learnt.
const WAY_SAMPLE: usize = 4_000;
const BEND_SAMPLE: usize = 20_000;
/// Rounds of learning for a comparison, and for keeps.
const FEW_ROUNDS: usize = 7;
const ROUNDS: usize = 14;
/// The fewest packs that bends are learnt from.
const FEWEST_PACKS: usize = 200;
/// Days beyond the last reading for which forecasts will be asked.
const AHEAD_DAYS: f64 = 1_000.0;

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

/// The straight part: lines of groups, packs' spread, slots, errors.
struct Lines {
    clocks: Clocks,
    robust: Robust,
    origin: f64,
    warmth: Warmth,
}

impl Lines {
    fn fit(fleet: &Fleet, clocks: &Clocks, warmth: Warmth, threads: usize) -> Result<Self, FadeError> {
        let mut readings = first_lines(fleet, clocks, warmth);
        let robust = robust::fit(&mut readings, &Way::restricted(threads))?;
        let origin = robust.fit.groups.first().map_or(0.0, |line| line.level);
        Ok(Self { clocks: clocks.clone(), robust, origin, warmth })
    }

    /// The model of straight lines alone.
    fn straight(&self, fleet: &Fleet) -> Model {
        let fit = &self.robust.fit;
        let nothing = Component { weight: 0.0, mean: [0.0; 2], spread: [1.0, 0.0, 1.0] };
        let groups = fit.groups.iter().map(|line| {
            let spread = regular(fit.pack);
            let mut mixture = [nothing; COMPONENTS];
            if let Some(first) = mixture.first_mut() {
                *first = Component { weight: 1.0, mean: [line.level - self.origin, line.slope], spread };
            }
            mixture
        });
        let wide = (WIDER * fit.residual).sqrt();
        let bend = Bend {
            origin: self.origin,
            gross: self.robust.gross,
            tails: [Tail { share: 0.5, mean: 0.0, spread: wide }; 2],
            residual: fit.residual,
            slot: fit.slot,
            groups: groups.collect(),
            step: 1.0,
            places: 0,
            along: Along::Clock,
            width: 1.0,
            hazard: Vec::new(),
            sharpness: [0.0; SHARPNESS.len()],
            lift: Lift::default(),
        };
        let slopes = fit.groups.iter().map(|line| line.slope).sum::<f64>() / count(fit.groups.len().max(1));
        Model {
            clocks: self.clocks.clone(),
            bend,
            slots: fit.slots.clone(),
            islands: fit.islands,
            warmth: self.warmth,
            calibration: Calibration::NONE,
            evidence: Evidence {
                packs: fleet.packs(),
                readings: fleet.len(),
                mean_fade: slopes,
                ..Evidence::default()
            },
        }
    }

    /// Learns lines with bends (or, without a way along which they come, mixtures of straight ones) on a sample.
    fn learn(&self, sample: &Fleet, along: Option<Along>, rounds: usize, threads: usize) -> (Bend, f64) {
        let fit = &self.robust.fit;
        let straight = self.straight(sample);
        let mut past = Past::default();
        let mut until: f64 = 0.0;
        for pack in sample.iter() {
            let line = pack.first_line().iter().map(|reading| {
                let (clock, other) = clock_of(&self.clocks, &pack, reading);
                (clock, other, straight.level(reading))
            });
            past.push(pack.group, line);
            if let Some(last) = pack.readings.last() {
                let days = f64::from(last.day.saturating_sub(pack.born)).max(1.0);
                let pace = 1.0 + AHEAD_DAYS / days.max(AHEAD_DAYS);
                let then = self.clocks.at(pack.group, f64::from(last.cycles) * pace, days + AHEAD_DAYS);
                until = until.max(then.0);
            }
        }
        let learning = Learning {
            origin: self.origin,
            lines: fit.groups.iter().map(|line| [line.level - self.origin, line.slope]).collect(),
            spread: regular(fit.pack),
            residual: fit.residual,
            slot: fit.slot,
            gross: self.robust.gross,
            along,
            until,
            rounds,
            threads,
        };
        bend::learn(&past, &learning)
    }
}

/// A covariance that can be inverted: a spread that the data do not show is small, not nothing.
fn regular([level, across, slope]: [f64; 3]) -> [f64; 3] {
    let (level, slope) = (level.max(1e-6), slope.max(1e-6));
    let most = 0.99 * (level * slope).sqrt();
    [level, across.clamp(-most, most), slope]
}

/// Readings before any round, in a clock, freed of temperature.
fn first_lines(fleet: &Fleet, clocks: &Clocks, warmth: Warmth) -> Readings {
    let mut readings = Readings::with_capacity(fleet.packs(), fleet.len());
    for pack in fleet.iter() {
        readings.push(
            pack.group,
            pack.first_line().iter().map(|reading| {
                let capacity = f64::from(reading.capacity) - warmth.of(reading.celsius);
                (single(clock_of(clocks, &pack, reading).0), single(capacity), reading.slot)
            }),
        );
    }
    readings
}

fn clock_of(clocks: &Clocks, pack: &Pack<'_>, reading: &Reading) -> (f64, f64) {
    let days = f64::from(reading.day.saturating_sub(pack.born));
    clocks.at(pack.group, f64::from(reading.cycles), days)
}

#[expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    reason = "readings are kept in single precision"
)]
const fn single(value: f64) -> f32 {
    value as f32
}
