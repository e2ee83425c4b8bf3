//! The two-sided tabular CUSUM: what readings lie above the target, less an allowance, is summed up, and the same below.
//!
//! `high_i = max(0, high_(i-1) + z_i - k)` and `low_i = max(0, low_(i-1) - z_i - k)`; a sum above `h` is a signal (Page, Biometrika
//! 41, 1954; Montgomery, "Introduction to Statistical Quality Control", chapter 9; NIST/SEMATECH e-Handbook 6.3.2.3; all from memory).
//! `k` is half of the shift that is to be found soonest. A head start puts both sums above 0 at first, so that a process that is
//! off from the beginning is found sooner (Lucas and Crosier, Technometrics 24, 1982; from memory).
//!
//! Readings are standardised: target 0 and standard deviation 1. For raw readings, [`Cusum::run_raw`] takes the target, and `k`,
//! `h` and the head start are then in the unit of the readings. Sums are not set back after a signal: they go on, and every later
//! point with a sum above `h` signals too. Who wants a new start makes a new [`Sums`].

use super::error::ControlError;

/// A two-sided tabular CUSUM.
///
/// ```
/// use packmuster::stats::control::cusum::{Cusum, Side};
/// let chart = Cusum::new(0.5, 5.0)?;
/// let points = chart.run(&[0.3, -0.7, 2.0, 2.5, 2.2, 1.9])?;
/// assert_eq!(points[3].signal, None);
/// let signal = points[4].signal.unwrap();
/// assert_eq!((signal.side, signal.since), (Side::Up, 2));
/// assert!((signal.size - 6.7 / 3.0).abs() < 1e-12, "k + C / N, the mean of the readings since the shift");
/// # Ok::<(), packmuster::stats::control::error::ControlError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cusum {
    reference: f64,
    decision: f64,
    head_start: f64,
}

/// To which side a process has shifted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Readings lie higher than they should.
    Up,
    /// Readings lie lower than they should.
    Down,
}

/// The chart after one reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CusumPoint {
    /// The sum of what lies above the target; 0 or more.
    pub high: f64,
    /// The sum of what lies below the target; 0 or more.
    pub low: f64,
    /// The signal, when a sum is above the decision limit.
    pub signal: Option<Signal>,
}

/// What a signal says of the shift.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Signal {
    /// To which side.
    pub side: Side,
    /// The reading from which on the sum has been above 0, from 0: the likeliest start of the shift.
    pub since: usize,
    /// The shift's size, with its sign: `k + C / N`, where the sum has been above 0 for `N` readings. It is the mean of those
    /// readings, and tends to be too large, since it is looked at when it is large.
    pub size: f64,
}

/// One sum, how long it has been above 0, and what it started from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Sum {
    pub(super) value: f64,
    pub(super) run: usize,
    origin: f64,
}

/// Both sums, and how many readings they have seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sums {
    pub(super) high: Sum,
    pub(super) low: Sum,
    seen: usize,
}

impl Cusum {
    /// Makes a chart from the allowance `k` and the decision limit `h`, both in standard deviations of a reading.
    ///
    /// # Errors
    /// [`ControlError::Setting`] when either is not above 0.
    pub fn new(reference: f64, decision: f64) -> Result<Self, ControlError> {
        Ok(Self {
            reference: ControlError::check("the reference", "above 0", reference, |k| k > 0.0)?,
            decision: ControlError::check("the decision limit", "above 0", decision, |h| h > 0.0)?,
            head_start: 0.0,
        })
    }

    /// Puts both sums at a value at first; half of the decision limit is usual.
    ///
    /// # Errors
    /// [`ControlError::Setting`] when it is not at least 0 and below the decision limit.
    pub fn with_head_start(self, head_start: f64) -> Result<Self, ControlError> {
        let is_fine = |start| start >= 0.0 && start < self.decision;
        let head_start = ControlError::check(
            "the head start",
            "at least 0 and below the decision limit",
            head_start,
            is_fine,
        )?;
        Ok(Self { head_start, ..self })
    }

    /// Runs the chart over standardised readings in time order: one point each.
    ///
    /// # Errors
    /// [`ControlError::NotFinite`] for the first reading that is no number.
    pub fn run(&self, readings: &[f64]) -> Result<Vec<CusumPoint>, ControlError> {
        self.run_raw(0.0, readings)
    }

    /// Runs the chart over raw readings about a target; `k`, `h`, the head start and the shift's size are in their unit.
    ///
    /// # Errors
    /// [`ControlError::NotFinite`] for the first reading that is no number.
    pub fn run_raw(&self, target: f64, readings: &[f64]) -> Result<Vec<CusumPoint>, ControlError> {
        let mut sums = self.start();
        readings.iter().map(|reading| self.step(&mut sums, reading - target)).collect()
    }

    /// The sums before the first reading.
    pub fn start(&self) -> Sums {
        let sum = Sum { value: self.head_start, run: 0, origin: self.head_start };
        Sums { high: sum, low: sum, seen: 0 }
    }

    /// Takes one more standardised reading into the sums.
    ///
    /// # Errors
    /// [`ControlError::NotFinite`] when it is no number; the sums are then as they were.
    pub fn step(&self, sums: &mut Sums, z: f64) -> Result<CusumPoint, ControlError> {
        if !z.is_finite() {
            return Err(ControlError::NotFinite { index: sums.seen });
        }
        sums.high.add(z - self.reference);
        sums.low.add(-z - self.reference);
        sums.seen += 1;
        let signal = [(Side::Up, sums.high), (Side::Down, sums.low)]
            .into_iter()
            .filter(|(_, sum)| sum.value > self.decision)
            .max_by(|(_, one), (_, other)| one.value.total_cmp(&other.value))
            .map(|(side, sum)| {
                let size = self.reference + sum.rise() / count(sum.run);
                let size = if side == Side::Up { size } else { -size };
                Signal { side, since: sums.seen - sum.run, size }
            });
        Ok(CusumPoint { high: sums.high.value, low: sums.low.value, signal })
    }

    /// The allowance `k`.
    pub fn reference(&self) -> f64 {
        self.reference
    }

    /// The decision limit `h`.
    pub fn decision(&self) -> f64 {
        self.decision
    }

    /// What both sums start from.
    pub fn head_start(&self) -> f64 {
        self.head_start
    }
}

impl Sum {
    /// A sum at 0.
    pub(super) const ZERO: Self = Self { value: 0.0, run: 0, origin: 0.0 };

    /// Takes one more excess over the allowance.
    pub(super) fn add(&mut self, excess: f64) {
        self.value += excess;
        self.run += 1;
        if self.value <= 0.0 {
            *self = Self::ZERO;
        }
    }

    /// How far the sum has risen since its run began: less the head start, which no reading has brought.
    fn rise(&self) -> f64 {
        self.value - self.origin
    }
}

/// A count as a number.
pub(super) fn count(count: usize) -> f64 {
    u32::try_from(count).map_or(f64::INFINITY, f64::from)
}
