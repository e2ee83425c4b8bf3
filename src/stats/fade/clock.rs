//! What fade goes by: cycles or years, and how fast it goes at first.

use std::fmt;

use serde::{Deserialize, Serialize};

/// Days of a year.
const YEAR: f64 = 365.25;
/// Cycles that make one unit of the clock.
const HUNDRED: f64 = 100.0;

/// What is counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Measure {
    /// Equivalent full cycles, in hundreds.
    Cycles,
    /// Years.
    Age,
}

/// A clock: a measure to a power. With a power below one, packs fade fast at first.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Clock {
    /// What is counted.
    pub measure: Measure,
    /// To which power.
    pub power: f64,
}

impl Clock {
    /// Cycles as they are.
    pub const CYCLES: Self = Self { measure: Measure::Cycles, power: 1.0 };

    /// The clocks that are tried.
    pub const ALL: [Self; 7] = [
        Self::CYCLES,
        Self { measure: Measure::Cycles, power: 0.7 },
        Self { measure: Measure::Cycles, power: 0.5 },
        Self { measure: Measure::Cycles, power: 1.4 },
        Self { measure: Measure::Age, power: 1.0 },
        Self { measure: Measure::Age, power: 0.7 },
        Self { measure: Measure::Age, power: 0.5 },
    ];

    /// The clock after so many cycles and days, and the measure that it does not go by.
    pub fn at(self, cycles: f64, days: f64) -> (f64, f64) {
        let (cycles, years) = (cycles.max(0.0) / HUNDRED, days.max(0.0) / YEAR);
        match self.measure {
            Measure::Cycles => (raised(cycles, self.power), years),
            Measure::Age => (raised(years, self.power), cycles),
        }
    }
}

fn raised(value: f64, power: f64) -> f64 {
    if (power - 1.0).abs() < f64::EPSILON { value } else { value.powf(power) }
}

impl fmt::Display for Clock {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let measure = match self.measure {
            Measure::Cycles => "cycles",
            Measure::Age => "age",
        };
        if (self.power - 1.0).abs() < f64::EPSILON {
            f.write_str(measure)
        } else {
            write!(f, "{measure} to the power {}", self.power)
        }
    }
}
