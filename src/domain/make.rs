//! Makes: what kind of pack or player a thing is.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::units::{Draw, Grams, MilliampHours, Milliohms, Millivolts};

/// The chemistry of a pack.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Chemistry {
    /// Nickel-metal hydride.
    NiMh,
    /// Nickel-cadmium.
    NiCd,
    /// Lithium ion.
    LiIon,
    /// Sealed lead-acid.
    LeadAcid,
}

impl Chemistry {
    /// Every chemistry.
    pub const ALL: [Self; 4] = [Self::NiMh, Self::NiCd, Self::LiIon, Self::LeadAcid];

    /// True where full charge/discharge cycles are known to lift a capacity that was lost to disuse or shallow use.
    ///
    /// Nickel cells gain from it; lithium ion and lead-acid cells only wear (trade knowledge, from memory).
    pub const fn gains_from_reconditioning(self) -> bool {
        matches!(self, Self::NiMh | Self::NiCd)
    }

    /// The usual end-of-discharge voltage of one cell.
    ///
    /// IEC 61951-2: 1.0 V a cell for nickel-metal hydride (seen in a public copy); others from memory.
    pub const fn end_voltage_per_cell(self) -> Millivolts {
        Millivolts::new(match self {
            Self::NiMh | Self::NiCd => 1000,
            Self::LiIon => 2750,
            Self::LeadAcid => 1750,
        })
    }

    /// The nominal voltage of one cell (from memory).
    pub const fn nominal_voltage_per_cell(self) -> Millivolts {
        Millivolts::new(match self {
            Self::NiMh | Self::NiCd => 1200,
            Self::LiIon => 3600,
            Self::LeadAcid => 2000,
        })
    }
}

impl fmt::Display for Chemistry {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NiMh => "NiMH",
            Self::NiCd => "NiCd",
            Self::LiIon => "Li-ion",
            Self::LeadAcid => "lead-acid",
        })
    }
}

/// A text that names no chemistry.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("`{0}` is no chemistry; known are NiMH, NiCd, Li-ion and lead-acid")]
pub struct ChemistryError(String);

impl FromStr for Chemistry {
    type Err = ChemistryError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let plain = |s: &str| s.to_lowercase().replace(['-', ' ', '_'], "");
        Self::ALL
            .into_iter()
            .find(|chemistry| plain(&chemistry.to_string()) == plain(text))
            .ok_or_else(|| ChemistryError(text.trim().to_owned()))
    }
}

/// A make of pack.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PackMake {
    /// What people call it.
    pub name: String,
    /// What is inside.
    pub chemistry: Chemistry,
    /// Rated capacity.
    pub rated: MilliampHours,
    /// Nominal voltage of the pack.
    pub nominal: Millivolts,
    /// Cells in series.
    pub cells: u32,
    /// Mass of the pack, if known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mass: Option<Grams>,
    /// Voltage of the pack at which a discharge ends.
    pub end: Millivolts,
    /// Internal resistance above which a pack is worn out, if the maker or experience gives one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub max_resistance: Option<Milliohms>,
    /// The shape of the battery bay that it fits, a word of the workshop's own.
    pub form: String,
}

/// A make of player.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlayerMake {
    /// What people call it.
    pub name: String,
    /// Mean current while playing.
    pub draw: Draw,
    /// The shape of its battery bay.
    pub form: String,
}
