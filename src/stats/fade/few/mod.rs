//! A few packs, each read often: when will this one read below a limit, learnt from others of its kind?
//!
//! [`super::mixed`] and [`super::learning`] want many packs with a few readings each, whose errors know nothing of each other. Here
//! it is the other way round: two to a dozen packs, tens or hundreds of readings each, and a reading that is high is followed by
//! others that are high (a rest between discharges brings some capacity back for a while). The model, for pack `i` at clock `n`:
//!
//! ```text
//! reading = a_i + b_i x + r_i U_i(n) + e,   x = (n / N)^p
//! ```
//!
//! with pack lines `(a_i, b_i) ~ N(m, S)`, a wandering `U_i` of variance `wander^2` and correlation `exp(-|dn| / memory)` (Uhlenbeck
//! and Ornstein, "On the theory of the Brownian motion", Physical Review 36, 1930, from memory) and independent errors `e`. `N` is
//! the length of a typical learner's record. `r_i` says how fast a pack fades against the learners over the target's own
//! clocks: who fades fast also wanders more.
//!
//! [`Past`] checks the readings, leaves gross errors out and takes the scales from the rest; `filter` has the likelihood, `search`
//! its peak and draws about it, `paths` the future. Clocks are in any unit, all alike; so are capacities. Randomness is handed in:
//! the same seed gives the same answer. A bend that no learner has shown cannot be foreseen.

mod filter;
mod paths;
mod search;

pub use filter::Parameters;
pub use paths::{Foresight, Level};

use std::fmt;

use rand::Rng;
use thiserror::Error;

use super::kernel::count;
use filter::Pack;

/// The fewest readings of a pack: about the memory that is expected of serial errors (six steps), so that a pack's level and its
/// wandering begin to come apart.
pub const FEWEST_READINGS: usize = 8;
/// The fewest readings from which a pack's own rate of fade is believed.
const RATE_READINGS: usize = 10;
/// First readings: their mean is where a pack starts.
const FIRST: usize = 5;
/// Readings that a running median is taken of, and how far off it a reading may be.
const WINDOW: usize = 11;
const GROSS: f64 = 0.1;
/// The least fade of a typical learner, as a share of its first capacity; and the least of a pack, as a share of the typical.
const LEAST_FADE: f64 = 0.02;
const LEAST_RATE: f64 = 0.05;
/// How much slower or faster than the learners a pack may be.
const FASTEST: f64 = 3.0;

/// One reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// When: cycles, days, or anything else that grows; from zero on.
    pub clock: f64,
    /// What was read.
    pub capacity: f64,
}

/// What is to be foreseen.
#[derive(Debug, Clone, PartialEq)]
pub struct Ask {
    /// The capacity below which a pack is no longer good.
    pub limit: f64,
    /// The clocks at which it will be read, oldest first, all after its last reading; the last one is the horizon.
    pub clocks: Vec<f64>,
    /// The share of futures that the limits of a level enclose, such as 0.8.
    pub within: f64,
}

/// Whose reading it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Whose {
    /// A pack that is learnt from, by its place.
    Learner(usize),
    /// The pack that is asked about.
    Target,
}

impl fmt::Display for Whose {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Learner(place) => write!(f, "learner {}", place + 1),
            Self::Target => f.write_str("the pack asked about"),
        }
    }
}

/// Why nothing can be foreseen.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum FewError {
    /// Nobody to learn from.
    #[error(
        "not enough data: none of {given} packs to learn from has {FEWEST_READINGS} good readings over some time"
    )]
    NoLearner {
        /// Packs that were handed in.
        given: usize,
    },
    /// The pack itself was read too seldom.
    #[error("not enough data: the pack has {readings} good readings, and {FEWEST_READINGS} are needed")]
    FewReadings {
        /// Readings that are left without gross errors.
        readings: usize,
    },
    /// A clock or a capacity that is negative or not a finite number.
    #[error("reading {} of {whose} is no use: clock {clock}, capacity {capacity}", place + 1)]
    NotANumber {
        /// Whose it is.
        whose: Whose,
        /// Its place, from zero.
        place: usize,
        /// Its clock.
        clock: f64,
        /// Its capacity.
        capacity: f64,
    },
    /// Readings that are not oldest first.
    #[error("reading {} of {whose} is out of order: clock {clock} after {before}", place + 1)]
    OutOfOrder {
        /// Whose it is.
        whose: Whose,
        /// Its place, from zero.
        place: usize,
        /// Its clock.
        clock: f64,
        /// The clock of the reading before it.
        before: f64,
    },
    /// A limit that is not a finite number, or a share that is not between 0 and 1.
    #[error("{value} is neither a limit nor a share")]
    NoQuestion {
        /// What was asked for.
        value: f64,
    },
    /// A horizon that does not go on from the last reading.
    #[error("no horizon: clock {clock} does not come after {before}")]
    NoHorizon {
        /// The clock that was asked for, or the last reading's when none was.
        clock: f64,
        /// What it has to come after.
        before: f64,
    },
    /// The likelihood cannot be worked out where the search begins.
    #[error("the readings are beyond what can be reckoned with")]
    NoPeak,
}

/// Foresees when a pack first reads below a limit, and how good it is at each clock until then.
///
/// Takes about a tenth of a second for four packs of 150 readings and as many clocks to come.
///
/// # Errors
/// [`FewError`] when a series is out of order or has impossible values, when the pack or all learners have too few good readings,
/// or when the question makes no sense.
pub fn foresee(
    learners: &[Vec<Reading>],
    target: &[Reading],
    ask: &Ask,
    random: &mut impl Rng,
) -> Result<Foresight, FewError> {
    if !ask.limit.is_finite() {
        return Err(FewError::NoQuestion { value: ask.limit });
    }
    if !(ask.within > 0.0 && ask.within < 1.0) {
        return Err(FewError::NoQuestion { value: ask.within });
    }
    let past = Past::new(learners, target)?;
    let last = target.last().map_or(0.0, |reading| reading.clock);
    ahead(last, &ask.clocks)?;
    let draws = search::draws(&past, random).ok_or(FewError::NoPeak)?;
    paths::follow(&past, &draws, ask, random).ok_or(FewError::NoPeak)
}

/// Refuses clocks to come that do not go on from the last one.
fn ahead(last: f64, clocks: &[f64]) -> Result<(), FewError> {
    if clocks.is_empty() {
        return Err(FewError::NoHorizon { clock: last, before: last });
    }
    let mut before = last;
    for &clock in clocks {
        if !(clock.is_finite() && clock > before) {
            return Err(FewError::NoHorizon { clock, before });
        }
        before = clock;
    }
    Ok(())
}

/// The readings that count, and the scales that they set.
#[derive(Debug, Clone)]
pub struct Past {
    /// Learners that were read often enough.
    pub learners: usize,
    /// Gross errors left out, of the learners that count and of the pack itself.
    pub left_out: usize,
    /// `N`: the median of the learners' last clocks.
    pub whole: f64,
    /// What a typical learner loses over `N`.
    pub fade: f64,
    /// The mean of what learners started with.
    pub start: f64,
    /// The median step between readings.
    pub step: f64,
    /// `r_i`: the target's, then the learners' that count.
    pub rates: Vec<f64>,
    /// The target first.
    packs: Vec<Pack>,
}

impl Past {
    /// Checks readings, leaves gross errors out, and takes the scales from the rest.
    ///
    /// # Errors
    /// [`FewError`] as for [`foresee`].
    pub fn new(learners: &[Vec<Reading>], target: &[Reading]) -> Result<Self, FewError> {
        let own = good(Whose::Target, target)?;
        if own.len() < FEWEST_READINGS {
            return Err(FewError::FewReadings { readings: own.len() });
        }
        let (mut series, mut left_out) = (vec![], target.len() - own.len());
        for (place, learner) in learners.iter().enumerate() {
            let kept = good(Whose::Learner(place), learner)?;
            if kept.len() >= FEWEST_READINGS && last(&kept) > kept.first().map_or(0.0, |first| first.clock) {
                left_out += learner.len() - kept.len();
                series.push(kept);
            }
        }
        let first = series.first().ok_or(FewError::NoLearner { given: learners.len() })?;
        let whole = median(series.iter().map(|kept| last(kept)));
        let least = LEAST_FADE * median(first.iter().take(FIRST).map(|reading| reading.capacity));
        let fade = median(series.iter().map(|kept| -slope(kept) * whole)).max(least);
        let start =
            mean(series.iter().map(|kept| mean(kept.iter().take(FIRST).map(|reading| reading.capacity))));
        let rates = rates(&own, &series, LEAST_RATE * fade / whole);
        let all = || std::iter::once(&own).chain(&series);
        let step = median(all().flat_map(|kept| steps(kept)).filter(|&step| step > 0.0));
        let packs = all().zip(&rates).map(|(kept, &rate)| Pack::new(kept, whole, rate)).collect();
        Ok(Self { learners: series.len(), left_out, whole, fade, start, step, rates, packs })
    }
}

/// The readings without gross errors: those within 10 % of the median of the last eleven, themselves among them. The first five
/// have too little before them, and are held against each other. Nothing later is looked at: what is a gross error today is one
/// tomorrow.
fn good(whose: Whose, readings: &[Reading]) -> Result<Vec<Reading>, FewError> {
    let (mut kept, mut before) = (Vec::with_capacity(readings.len()), 0.0);
    for (place, &Reading { clock, capacity }) in readings.iter().enumerate() {
        if !(clock.is_finite() && clock >= 0.0 && capacity.is_finite() && capacity >= 0.0) {
            return Err(FewError::NotANumber { whose, place, clock, capacity });
        }
        if clock < before {
            return Err(FewError::OutOfOrder { whose, place, clock, before });
        }
        before = clock;
    }
    for (place, &reading) in readings.iter().enumerate() {
        let end = (place + 1).max(FIRST).min(readings.len());
        let window = readings.get(end.saturating_sub(WINDOW)..end).unwrap_or_default();
        let middle = median(window.iter().map(|reading| reading.capacity));
        if (reading.capacity - middle).abs() < GROSS * middle {
            kept.push(reading);
        }
    }
    Ok(kept)
}

/// How fast each pack fades against the learners' median, over the clocks of the target: the target's first. All alike when
/// the target has too few readings to say; 1 for a learner that has too few by then.
fn rates(own: &[Reading], series: &[Vec<Reading>], least: f64) -> Vec<f64> {
    let until = last(own);
    let rate = |readings: &[Reading]| {
        let early: Vec<_> = readings.iter().copied().take_while(|reading| reading.clock <= until).collect();
        (early.len() >= RATE_READINGS).then(|| (-slope(&early)).max(least))
    };
    let learners: Vec<_> = series.iter().map(|readings| rate(readings)).collect();
    let typical = median(learners.iter().flatten().copied());
    let Some(target) = rate(own).filter(|_| typical > 0.0) else { return vec![1.0; 1 + series.len()] };
    let against = |rate: f64| (rate / typical).clamp(1.0 / FASTEST, FASTEST);
    std::iter::once(against(target)).chain(learners.iter().map(|rate| rate.map_or(1.0, against))).collect()
}

/// The slope of the straight line by least squares; zero where the clock stands still.
fn slope(readings: &[Reading]) -> f64 {
    let clock = mean(readings.iter().map(|reading| reading.clock));
    let (mut across, mut along) = (0.0, 0.0);
    for reading in readings {
        across += (reading.clock - clock) * reading.capacity;
        along += (reading.clock - clock).powi(2);
    }
    if along > 0.0 { across / along } else { 0.0 }
}

fn last(readings: &[Reading]) -> f64 {
    readings.last().map_or(0.0, |reading| reading.clock)
}

fn steps(readings: &[Reading]) -> impl Iterator<Item = f64> {
    readings.iter().zip(readings.iter().skip(1)).map(|(one, next)| next.clock - one.clock)
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (mut sum, mut number) = (0.0, 0);
    for value in values {
        sum += value;
        number += 1;
    }
    sum / count(number)
}

/// The middle value, or half way between the two; not a number when there is none.
fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut sorted: Vec<f64> = values.collect();
    sorted.sort_by(f64::total_cmp);
    let half = sorted.len() / 2;
    let upper = sorted.get(half).copied().unwrap_or(f64::NAN);
    if sorted.len().is_multiple_of(2) {
        sorted.get(half.wrapping_sub(1)).map_or(f64::NAN, |lower| 0.5 * (lower + upper))
    } else {
        upper
    }
}
