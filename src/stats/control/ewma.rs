//! The exponentially weighted moving average chart: each point leans on the reading before it, and less on each one further back.
//!
//! `value_i = lambda x_i + (1 - lambda) value_(i-1)`, from the target on. Limits lie
//! `width sigma sqrt(lambda / (2 - lambda) (1 - (1 - lambda)^(2 i)))` to either side of the target: narrow at first, soon as wide as
//! they get (NIST/SEMATECH e-Handbook 6.3.2.4; Lucas and Saccucci, Technometrics 32, 1990; from memory). Readings are taken as
//! independent and sigma as known. The chart does not start anew after an alarm, and says nothing of the shift's size.

use super::error::ControlError;

/// An EWMA chart, for raw readings or, with target 0 and sigma 1, for standardised ones.
///
/// ```
/// use packmuster::stats::control::ewma::Ewma;
/// let chart = Ewma::new(50.0, 2.0, 0.3, 3.0)?;
/// let points = chart.run(&[52.0, 47.0, 58.0, 60.0])?;
/// assert_eq!(points[0].value, 50.6);
/// assert!(!points[1].out && points[3].out);
/// assert!(points[0].high < chart.limits_at_last().high, "limits are narrower at first");
/// # Ok::<(), packmuster::stats::control::error::ControlError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ewma {
    target: f64,
    sigma: f64,
    lambda: f64,
    width: f64,
}

/// The chart after one reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EwmaPoint {
    /// The moving average, in the unit of the readings.
    pub value: f64,
    /// The lower limit at this reading.
    pub low: f64,
    /// The upper limit at this reading.
    pub high: f64,
    /// Whether the average lies beyond a limit. On a limit is within.
    pub out: bool,
}

/// The limits at one reading, in the unit of the readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// The lower limit.
    pub low: f64,
    /// The upper limit.
    pub high: f64,
}

impl Ewma {
    /// Makes a chart from the target and standard deviation of a reading, the newest reading's weight, and the limits' width in
    /// standard deviations of the average.
    ///
    /// # Errors
    /// [`ControlError::Setting`] when the target is not finite, sigma or the width not above 0, or lambda not above 0 and up to 1.
    pub fn new(target: f64, sigma: f64, lambda: f64, width: f64) -> Result<Self, ControlError> {
        Ok(Self {
            target: ControlError::check("the target", "a finite number", target, |_| true)?,
            sigma: ControlError::check("sigma", "above 0", sigma, |sigma| sigma > 0.0)?,
            lambda: ControlError::check("lambda", "above 0 and at most 1", lambda, |lambda| {
                lambda > 0.0 && lambda <= 1.0
            })?,
            width: ControlError::check("the width", "above 0", width, |width| width > 0.0)?,
        })
    }

    /// Runs the chart over readings in time order: one point each, with the exact limits at that point.
    ///
    /// # Errors
    /// [`ControlError::NotFinite`] for the first reading that is no number.
    pub fn run(&self, readings: &[f64]) -> Result<Vec<EwmaPoint>, ControlError> {
        let mut value = self.target;
        let mut points = Vec::with_capacity(readings.len());
        for (index, reading) in readings.iter().enumerate() {
            if !reading.is_finite() {
                return Err(ControlError::NotFinite { index });
            }
            value = self.next(value, *reading);
            let Limits { low, high } = self.limits_at(index + 1);
            points.push(EwmaPoint { value, low, high, out: value < low || value > high });
        }
        Ok(points)
    }

    /// The average after one more reading.
    pub fn next(&self, value: f64, reading: f64) -> f64 {
        self.lambda * reading + (1.0 - self.lambda) * value
    }

    /// The exact limits at a reading, counted from 1; no width at 0, where the average is the target itself.
    pub fn limits_at(&self, reading: usize) -> Limits {
        let count = u32::try_from(reading).map_or(f64::INFINITY, f64::from);
        self.limits(1.0 - (1.0 - self.lambda).powf(2.0 * count))
    }

    /// The limits that the chart comes to in the long run.
    pub fn limits_at_last(&self) -> Limits {
        self.limits(1.0)
    }

    /// The newest reading's weight.
    pub fn lambda(&self) -> f64 {
        self.lambda
    }

    /// The limits' width in standard deviations of the average.
    pub fn width(&self) -> f64 {
        self.width
    }

    /// The limits when the average has come to a share of its last variance.
    fn limits(&self, share: f64) -> Limits {
        let reach = self.width * self.sigma * (self.lambda / (2.0 - self.lambda) * share).sqrt();
        Limits { low: self.target - reach, high: self.target + reach }
    }
}
