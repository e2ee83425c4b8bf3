//! The watch itself: rules, readings in time order, and where the slot stands after each.
//!
//! It keeps all readings, and says what it thinks after the last one. It forgets nothing that it was told and takes nothing back: a
//! slot that has been repaired is better given a new watch than left to the return that this one waits for.

use std::ops::Range;

use super::bias::{Bias, SlotReading, Spread};
use crate::stats::control::cusum::{Cusum, Side, Sum, Sums};
use crate::stats::control::error::ControlError;
use crate::stats::control::ewma::Ewma;

/// How a slot is watched.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SlotRules {
    /// The CUSUM's allowance `k`, in spreads: half of the shift that is to be found soonest.
    pub reference: f64,
    /// The CUSUM's decision limit `h`, in spreads.
    pub decision: f64,
    /// The EWMA's weight of the newest reading.
    pub lambda: f64,
    /// The EWMA's width, in standard deviations of the average.
    pub width: f64,
    /// How many spreads off a reading may be and still count in full; above the allowance.
    pub cap: f64,
    /// The level of the bias's interval.
    pub level: f64,
}

impl Default for SlotRules {
    /// `k` 0.5, `h` 5.3, lambda 0.2, width 3.05, cap 4, level 0.95.
    fn default() -> Self {
        Self { reference: 0.5, decision: 5.3, lambda: 0.2, width: 3.05, cap: 4.0, level: 0.95 }
    }
}

/// What is to be thought of a slot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Nothing speaks against it; little does so after few readings.
    InControl,
    /// It reads higher than it should.
    BiasedUp,
    /// It reads lower than it should.
    BiasedDown,
}

/// The charts after one reading, for drawing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SlotPoint {
    /// The difference beyond what is tolerated, in spreads, not cut.
    pub z: f64,
    /// The CUSUM's upper sum.
    pub high: f64,
    /// The CUSUM's lower sum.
    pub low: f64,
    /// The moving average.
    pub average: f64,
    /// The verdict after this reading.
    pub verdict: Verdict,
}

/// Where a slot stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Standing {
    /// The verdict after the last reading.
    pub verdict: Verdict,
    /// The reading from which on it holds, from 0: of a biased slot the likeliest start of the shift.
    pub since: usize,
    /// The reading that raised the alarm, for a biased slot.
    pub alarm: Option<usize>,
    /// The bias since then; none where there is no reading.
    pub bias: Option<Bias>,
}

/// A slot under watch.
///
/// ```
/// use packmuster::stats::control::slots::bias::{SlotReading, Spread};
/// use packmuster::stats::control::slots::watch::{SlotRules, SlotWatch, Verdict};
/// let mut watch = SlotWatch::new(&SlotRules::default())?;
/// for reading_mah in [2008.0, 1985.0, 2011.0, 1950.0, 1966.0, 1958.0, 1962.0, 1949.0] {
///     watch.take(SlotReading { reading_mah, foretold_mah: 2000.0, spread_mah: 21.0, tolerated_mah: 0.0 })?;
/// }
/// let standing = watch.standing(Spread::Known);
/// assert_eq!((standing.verdict, standing.since), (Verdict::BiasedDown, 3));
/// let bias = standing.bias.unwrap();
/// assert!((bias.mah + 43.0).abs() < 1e-9);
/// assert!(bias.limits_mah.unwrap().high < 0.0);
/// # Ok::<(), packmuster::stats::control::error::ControlError>(())
/// ```
#[derive(Debug, Clone)]
pub struct SlotWatch {
    cusum: Cusum,
    ewma: Ewma,
    cap: f64,
    level: f64,
    readings: Vec<SlotReading>,
    points: Vec<SlotPoint>,
    sums: Sums,
    average: f64,
    phase: Phase,
    stretches: Vec<Range<usize>>,
}

/// What the watch waits for.
#[derive(Debug, Clone, Copy)]
enum Phase {
    /// For a shift, since a reading.
    Good { since: usize },
    /// For the return from one.
    Biased { side: Side, since: usize, alarm: usize, back: Sum },
}

impl SlotWatch {
    /// Begins a watch.
    ///
    /// # Errors
    /// [`ControlError::Setting`] when the rules make no chart, the cap is not above `k`, or the level not
    /// between 0 and 1.
    pub fn new(rules: &SlotRules) -> Result<Self, ControlError> {
        let cusum = Cusum::new(rules.reference, rules.decision)?;
        Ok(Self {
            cusum,
            ewma: Ewma::new(0.0, 1.0, rules.lambda, rules.width)?,
            cap: ControlError::check("the cap", "above the reference", rules.cap, |cap| {
                cap > rules.reference
            })?,
            level: ControlError::check("the level", "between 0 and 1", rules.level, |level| {
                level > 0.0 && level < 1.0
            })?,
            readings: Vec::new(),
            points: Vec::new(),
            sums: cusum.start(),
            average: 0.0,
            phase: Phase::Good { since: 0 },
            stretches: Vec::new(),
        })
    }

    /// Takes the next reading in time order, and says how the charts stand.
    ///
    /// # Errors
    /// [`ControlError::NotFinite`] for what is no number, [`ControlError::Spread`] for a spread not above 0; the watch is then as it was.
    pub fn take(&mut self, reading: SlotReading) -> Result<SlotPoint, ControlError> {
        let index = self.readings.len();
        let spread_mah = reading.spread_mah;
        if !(spread_mah > 0.0 && spread_mah.powi(-2).is_normal()) {
            return Err(ControlError::Spread { index, spread_mah });
        }
        let z = reading.z();
        if !z.is_finite() {
            return Err(ControlError::NotFinite { index });
        }
        let cut = z.clamp(-self.cap, self.cap);
        let chart = self.cusum.step(&mut self.sums, cut)?;
        self.average = self.ewma.next(self.average, cut);
        let average = self.average;
        let before = self.phase;
        self.phase = match self.phase {
            Phase::Good { since } => self.look(index, chart.signal.map(|signal| signal.side), since),
            Phase::Biased { side, since, alarm, back } => {
                self.look_back(index, cut, side, since, alarm, back)
            }
        };
        match (before, self.phase) {
            (Phase::Good { .. }, Phase::Biased { since, .. }) => self.stretches.push(since..usize::MAX),
            (Phase::Biased { .. }, Phase::Good { since }) => {
                if let Some(stretch) = self.stretches.last_mut() {
                    stretch.end = since;
                }
            }
            _ => {}
        }
        self.readings.push(reading);
        let point = SlotPoint { z, high: chart.high, low: chart.low, average, verdict: self.phase.verdict() };
        self.points.push(point);
        Ok(point)
    }

    /// Where the slot stands after the last reading.
    pub fn standing(&self, spread: Spread) -> Standing {
        let (since, alarm) = match self.phase {
            Phase::Good { since } => (since, None),
            Phase::Biased { since, alarm, .. } => (since, Some(alarm)),
        };
        let bias = Bias::since(&self.readings, since, spread, self.cap, self.level);
        Standing { verdict: self.phase.verdict(), since, alarm, bias }
    }

    /// The stretches of readings, from 0, in which the slot was biased; the last is open, to the largest number, while it is.
    pub fn stretches(&self) -> &[Range<usize>] {
        &self.stretches
    }

    /// The charts after each reading.
    pub fn points(&self) -> &[SlotPoint] {
        &self.points
    }

    /// Looks for a shift: the CUSUM's signal first, then the average's limits.
    fn look(&self, index: usize, signal: Option<Side>, since: usize) -> Phase {
        let limits = self.ewma.limits_at_last();
        let beyond = match self.average {
            average if average > limits.high => Some(Side::Up),
            average if average < limits.low => Some(Side::Down),
            _ => None,
        };
        match signal.or(beyond) {
            None => Phase::Good { since },
            Some(side) => {
                let run = if side == Side::Up { self.sums.high.run } else { self.sums.low.run };
                Phase::Biased {
                    side,
                    since: (index + 1).saturating_sub(run.max(1)),
                    alarm: index,
                    back: Sum::ZERO,
                }
            }
        }
    }

    /// Looks for the return from a shift.
    fn look_back(
        &mut self,
        index: usize,
        z: f64,
        side: Side,
        since: usize,
        alarm: usize,
        mut back: Sum,
    ) -> Phase {
        let outward = if side == Side::Up { z } else { -z };
        back.add(self.cusum.reference() - outward);
        if back.value <= self.cusum.decision() {
            return Phase::Biased { side, since, alarm, back };
        }
        self.sums = self.cusum.start();
        self.average = 0.0;
        Phase::Good { since: index + 1 - back.run }
    }
}

impl Phase {
    fn verdict(self) -> Verdict {
        match self {
            Self::Good { .. } => Verdict::InControl,
            Self::Biased { side: Side::Up, .. } => Verdict::BiasedUp,
            Self::Biased { side: Side::Down, .. } => Verdict::BiasedDown,
        }
    }
}
