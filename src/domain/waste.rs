//! Packs at their end: in which condition they leave, and what they weigh in watt-hours.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::make::PackMake;
use super::units::WattHours;

/// In which condition a dead pack leaves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Condition {
    /// Whole: at its end, and nothing dangerous was seen on it.
    Sound,
    /// Swollen, leaking, cracked or hot, or under a safety notice: it is packed apart, and by other rules.
    Damaged,
}

impl Condition {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Sound, Self::Damaged];
}

impl fmt::Display for Condition {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Sound => "sound",
            Self::Damaged => "damaged",
        })
    }
}

impl PackMake {
    /// Rated energy of the pack: rated capacity times nominal voltage, rounded up so that no limit is passed unseen.
    ///
    /// 49 CFR 173.185 and UN 38.3 define the watt-hour rating so (from memory).
    ///
    /// ```
    /// use packmuster::domain::make::{Chemistry, PackMake};
    /// use packmuster::domain::units::{MilliampHours, Millivolts, WattHours};
    /// let make = PackMake {
    ///     name: "Kestrel 1100".into(), chemistry: Chemistry::NiMh, rated: MilliampHours::new(1100),
    ///     nominal: Millivolts::new(3600), cells: 3, mass: None, end: Millivolts::new(3000),
    ///     max_resistance: None, form: "slim".into(),
    /// };
    /// assert_eq!(make.energy(), WattHours::new(3960));
    /// assert_eq!(make.energy().to_string(), "3.96 Wh");
    /// ```
    pub fn energy(&self) -> WattHours {
        let microwatt_hours = u64::from(self.rated.raw()) * u64::from(self.nominal.raw());
        WattHours::new(u32::try_from(microwatt_hours.div_ceil(1000)).unwrap_or(u32::MAX))
    }

    /// Rated energy of one of its cells, rounded up.
    pub fn cell_energy(&self) -> WattHours {
        WattHours::new(self.energy().raw().div_ceil(self.cells.max(1)))
    }
}
