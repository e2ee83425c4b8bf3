//! What a reading's uncertainty means for a verdict: risks of a wrong one, and guard bands against it.
//!
//! After JCGM 106:2012, "The role of measurement uncertainty in conformity assessment" (from memory), and ILAC-G8:09/2019,
//! "Guidelines on decision rules and statements of conformity". True values, readings and limits are in any unit, all alike (mAh,
//! or hours). What is normal here is the spread of the reading around the true value, and of the true values around the mean of
//! each part of the fleet.
//!
//! Here are the risks of one verdict on one reading; [`global`] has those of a rule for a whole fleet.

pub mod global;

use thiserror::Error;

use super::normal;

/// Why a risk has no value.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum GuardError {
    /// A mean is not a number, or a spread is not a number of 0 or more.
    #[error("no normal distribution has mean {mean} and standard deviation {sd}")]
    NotNormal {
        /// The mean.
        mean: f64,
        /// The standard deviation, or standard uncertainty.
        sd: f64,
    },
    /// A lower limit is not below its upper limit.
    #[error("no value lies between {low} and {high}")]
    Empty {
        /// The lower limit.
        low: f64,
        /// The upper limit.
        high: f64,
    },
    /// A risk is not between 0 and 1.
    #[error("a risk lies between 0 and 1, and {0} does not")]
    Risk(f64),
    /// The parts of a fleet have no weight, or one below 0.
    #[error("the parts of a fleet have weights of 0 or more, and some weight together")]
    Weights,
}

/// What is known of one true value: its mean and standard deviation.
///
/// Of a reading, these are what was read and its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Normal {
    mean: f64,
    sd: f64,
}

/// The values that conform, or that are accepted: both ends belong to them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    low: f64,
    high: f64,
}

impl Normal {
    /// A normal distribution.
    ///
    /// # Errors
    /// [`GuardError::NotNormal`] unless both are finite and the standard deviation is 0 or more.
    pub fn new(mean: f64, sd: f64) -> Result<Self, GuardError> {
        if mean.is_finite() && sd.is_finite() && sd >= 0.0 {
            Ok(Self { mean, sd })
        } else {
            Err(GuardError::NotNormal { mean, sd })
        }
    }

    /// The mean.
    pub fn mean(self) -> f64 {
        self.mean
    }

    /// The standard deviation, or standard uncertainty.
    pub fn sd(self) -> f64 {
        self.sd
    }

    /// What is known of a true value after a reading of it, where this was known before (the fleet's spread, say).
    ///
    /// Mean and reading, each weighted by `1 / sd^2`; standard deviation `1 / sqrt(1 / sd^2 + 1 / u^2)` (JCGM 106, 7.2). Where
    /// both are 0, the reading counts.
    ///
    /// ```
    /// use packmuster::stats::guard::Normal;
    /// let known = Normal::new(1750.0, 80.0)?.updated(Normal::new(1650.0, 20.0)?);
    /// assert!((known.mean() - 1655.882).abs() < 1e-3 && (known.sd() - 19.403).abs() < 1e-3);
    /// # Ok::<(), packmuster::stats::guard::GuardError>(())
    /// ```
    #[must_use]
    pub fn updated(self, reading: Self) -> Self {
        let both = self.sd.hypot(reading.sd);
        if both <= 0.0 {
            return reading;
        }
        let trust = (self.sd / both).powi(2);
        Self { mean: self.mean + trust * (reading.mean - self.mean), sd: self.sd * reading.sd / both }
    }

    fn below(self, limit: f64) -> f64 {
        if self.sd > 0.0 {
            normal::below((limit - self.mean) / self.sd)
        } else if self.mean < limit {
            1.0
        } else {
            0.0
        }
    }

    fn above(self, limit: f64) -> f64 {
        Self { mean: -self.mean, sd: self.sd }.below(-limit)
    }
}

impl Range {
    /// Values of a lower limit or more.
    ///
    /// # Errors
    /// [`GuardError::Empty`] when the limit is not a number.
    pub fn at_least(low: f64) -> Result<Self, GuardError> {
        Self::between(low, f64::INFINITY)
    }

    /// Values of an upper limit or less.
    ///
    /// # Errors
    /// [`GuardError::Empty`] when the limit is not a number.
    pub fn at_most(high: f64) -> Result<Self, GuardError> {
        Self::between(f64::NEG_INFINITY, high)
    }

    /// Values between two limits.
    ///
    /// # Errors
    /// [`GuardError::Empty`] unless the lower is below the upper.
    pub fn between(low: f64, high: f64) -> Result<Self, GuardError> {
        if low < high { Ok(Self { low, high }) } else { Err(GuardError::Empty { low, high }) }
    }

    /// The probability that a true value of which this is known conforms (JCGM 106, 7.3).
    ///
    /// ```
    /// use packmuster::stats::guard::{Normal, Range};
    /// let reading = Normal::new(1640.0, 20.0)?;
    /// assert!((Range::at_least(1600.0)?.holds(reading) - 0.977_25).abs() < 1e-5);
    /// # Ok::<(), packmuster::stats::guard::GuardError>(())
    /// ```
    pub fn holds(self, value: Normal) -> f64 {
        (1.0 - self.fails(value)).max(0.0)
    }

    /// The probability that it does not: the specific consumer's risk of accepting it, exact however small.
    ///
    /// Its complement, [`Range::holds`], is the specific producer's risk of rejecting it.
    pub fn fails(self, value: Normal) -> f64 {
        value.below(self.low) + value.above(self.high)
    }
}

/// The width between a limit and the acceptance limit that keeps the specific consumer's risk of a reading at it to `risk`: `-z
/// u`, with `z` the normal quantile of the risk and `u` the standard uncertainty (JCGM 106, 8.3; ILAC-G8, 4.2).
///
/// Below 0 for a risk above 0.5: acceptance that gives the pack the benefit of the doubt. One-sided: where two limits lie within
/// a few `u` of each other, the other one adds to the risk.
///
/// # Errors
/// [`GuardError`] unless the risk is above 0 and below 1, and the uncertainty is 0 or more.
pub fn guard_band(uncertainty: f64, risk: f64) -> Result<f64, GuardError> {
    let reading = Normal::new(0.0, uncertainty)?;
    if risk > 0.0 && risk < 1.0 {
        Ok(-normal::quantile(risk) * reading.sd)
    } else {
        Err(GuardError::Risk(risk))
    }
}

/// The lowest reading to accept against a lower limit: the limit and the [`guard_band`].
///
/// ```
/// use packmuster::stats::guard;
/// assert!((guard::acceptance_limit(1600.0, 20.0, 0.05)? - 1632.897).abs() < 1e-3);
/// # Ok::<(), packmuster::stats::guard::GuardError>(())
/// ```
///
/// # Errors
/// As for [`guard_band`].
pub fn acceptance_limit(lower: f64, uncertainty: f64, risk: f64) -> Result<f64, GuardError> {
    Ok(lower + guard_band(uncertainty, risk)?)
}
