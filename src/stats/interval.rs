//! What lies between two limits: of an estimate, or of a chart.

/// An estimate's limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// The lower limit.
    pub low: f64,
    /// The upper limit.
    pub high: f64,
}

impl Interval {
    /// The limits that lie so far to either side of an estimate.
    pub fn around(estimate: f64, reach: f64) -> Self {
        Self { low: estimate - reach, high: estimate + reach }
    }

    /// Whether a value lies within, limits included.
    pub fn holds(&self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }
}
