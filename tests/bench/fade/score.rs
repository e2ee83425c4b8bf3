//! Scores of forecasts: chances of events against what happened.
//!
//! Packs are withheld from the highest chance down. Among equal chances every order is as good, so that events are counted there
//! in proportion. Without events, shares of events are not numbers.
#![expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "counts to floats, and floats of 0 to 10 to bins"
)]

use std::fmt::{self, Display};

/// Chances are taken for the logarithm as at least this far from 0 and 1.
pub(crate) const CLAMP: f64 = 1e-4;
/// Equal bins of the calibration error.
const BINS: usize = 10;
/// Share of failures to catch.
const CAUGHT: f64 = 0.9;
/// Packs with a higher chance of failing are withheld.
pub(crate) const WITHHELD_ABOVE: f64 = 0.10;

/// The scores of one method.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Score {
    /// The method's name.
    pub(crate) method: String,
    /// How many forecasts.
    pub(crate) cases: usize,
    /// How many events.
    pub(crate) events: usize,
    /// Mean of minus the logarithm of the chance given to what happened.
    pub(crate) log_loss: f64,
    /// Mean distance of chance and share of events in ten equal bins, weighted by cases.
    pub(crate) calibration: f64,
    /// Share of packs to withhold so that 90 % of failures are caught.
    pub(crate) to_catch: f64,
    /// How many packs have a chance above 0.10.
    pub(crate) withheld: usize,
    /// Share of failures among the others.
    pub(crate) missed: f64,
}

impl Score {
    /// The columns of the rows.
    pub(crate) const HEADER: &str =
        "method                                log-loss   calib.  catch 90%  P > .10    missed";

    /// Scores chances.
    pub(crate) fn of(method: &str, chances: &[f64], events: &[bool]) -> Self {
        let ranking = Ranking::of(chances, events);
        let withheld = chances.iter().filter(|chance| **chance > WITHHELD_ABOVE).count();
        Self {
            method: method.to_owned(),
            cases: chances.len(),
            events: events.iter().filter(|event| **event).count(),
            log_loss: log_loss(chances, events),
            calibration: calibration_error(chances, events),
            to_catch: ranking.to_catch(CAUGHT) / chances.len() as f64,
            withheld,
            missed: ranking.missed(withheld),
        }
    }
}

impl Display for Score {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{:36}  {:>8.4} {:>8.4} {:>8.1} % {:>6.1} % {:>7.1} %",
            self.method,
            self.log_loss,
            self.calibration,
            100.0 * self.to_catch,
            100.0 * self.withheld as f64 / self.cases as f64,
            100.0 * self.missed,
        )
    }
}

/// Mean of minus the logarithm of the chance given to what happened.
pub(crate) fn log_loss(chances: &[f64], events: &[bool]) -> f64 {
    mean(losses(chances, events))
}

/// Share of failures missed when so many packs are withheld, as by another method.
pub(crate) fn missed_at(chances: &[f64], events: &[bool], withheld: usize) -> f64 {
    Ranking::of(chances, events).missed(withheld)
}

/// How much higher one method's log-loss is than another's, over the same cases.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Gap {
    /// The first's log-loss less the second's.
    pub(crate) mean: f64,
    /// Its standard error, by the spread of the differences between cases.
    pub(crate) error: f64,
}

impl Gap {
    /// Compares two methods case by case.
    pub(crate) fn between(first: &[f64], second: &[f64], events: &[bool]) -> Self {
        let gaps = || losses(first, events).zip(losses(second, events)).map(|(first, second)| first - second);
        let mean_gap = mean(gaps());
        let variance = mean(gaps().map(|gap| (gap - mean_gap).powi(2)));
        Self { mean: mean_gap, error: (variance / first.len() as f64).sqrt() }
    }
}

impl Display for Gap {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:+.5} (standard error {:.5})", self.mean, self.error)
    }
}

fn losses(chances: &[f64], events: &[bool]) -> impl Iterator<Item = f64> {
    chances.iter().zip(events).map(|(chance, event)| {
        let chance = chance.clamp(CLAMP, 1.0 - CLAMP);
        -(if *event { chance } else { 1.0 - chance }).ln()
    })
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (count, sum) = values.fold((0_usize, 0.0), |(count, sum), value| (count + 1, sum + value));
    sum / count as f64
}

fn calibration_error(chances: &[f64], events: &[bool]) -> f64 {
    let mut excess = [0.0; BINS];
    for (chance, event) in chances.iter().zip(events) {
        let bin = ((chance * BINS as f64) as usize).min(BINS - 1);
        if let Some(excess) = excess.get_mut(bin) {
            *excess += chance - f64::from(u8::from(*event));
        }
    }
    excess.iter().map(|excess| excess.abs()).sum::<f64>() / chances.len() as f64
}

/// Packs of equal chance.
struct Tie {
    packs: f64,
    events: f64,
}

/// Ties, from the highest chance down.
struct Ranking {
    ties: Vec<Tie>,
    events: f64,
}

impl Ranking {
    fn of(chances: &[f64], events: &[bool]) -> Self {
        let mut pairs: Vec<(f64, bool)> = chances.iter().copied().zip(events.iter().copied()).collect();
        pairs.sort_unstable_by(|(first, _), (second, _)| second.total_cmp(first));
        let count = |pairs: &[(f64, bool)]| pairs.iter().filter(|(_, event)| *event).count() as f64;
        let ties = pairs
            .chunk_by(|(first, _), (second, _)| first.total_cmp(second).is_eq())
            .map(|tie| Tie { packs: tie.len() as f64, events: count(tie) })
            .collect();
        Self { ties, events: count(&pairs) }
    }

    /// How many packs to withhold so that a share of the events is among them.
    fn to_catch(&self, share: f64) -> f64 {
        let mut left = share * self.events;
        let mut withheld = 0.0;
        for tie in &self.ties {
            if tie.events >= left {
                return withheld + (left / tie.events * tie.packs).ceil();
            }
            left -= tie.events;
            withheld += tie.packs;
        }
        withheld
    }

    /// Share of the events that is not among so many packs withheld.
    fn missed(&self, withheld: usize) -> f64 {
        let mut left = withheld as f64;
        let mut caught = 0.0;
        for tie in &self.ties {
            let taken = tie.packs.min(left);
            caught += tie.events * taken / tie.packs;
            left -= taken;
        }
        1.0 - caught / self.events
    }
}
