//! What fade goes by: cycles or years, and how fast it goes at first; for a whole fleet, and for makes that go by another.

use std::collections::BTreeMap;
use std::fmt;

use serde::{Deserialize, Serialize};

/// Days of a year.
pub(super) const YEAR: f64 = 365.25;
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

/// The clocks of a fleet.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Clocks {
    /// The clock of most groups.
    pub base: Clock,
    /// Groups that go by another.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub own: BTreeMap<u16, Own>,
}

/// The clock of a group that does not go by the fleet's.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Own {
    /// The clock.
    pub clock: Clock,
    /// What it, and the measure that it does not go by, are multiplied with, so that the group's packs come as far as by the
    /// fleet's: what is learnt of bends along the clock is shared by all groups.
    pub scale: [f64; 2],
}

impl Clocks {
    /// One clock for all.
    pub const fn all(base: Clock) -> Self {
        Self { base, own: BTreeMap::new() }
    }

    /// The clock of a group.
    pub fn of(&self, group: u16) -> Clock {
        self.own.get(&group).map_or(self.base, |own| own.clock)
    }

    /// A group's clock after so many cycles and days, and the measure that it does not go by, in the units of the fleet's.
    pub fn at(&self, group: u16, cycles: f64, days: f64) -> (f64, f64) {
        match self.own.get(&group) {
            None => self.base.at(cycles, days),
            Some(own) => {
                let (clock, other) = own.clock.at(cycles, days);
                (own.scale[0] * clock, own.scale[1] * other)
            }
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
