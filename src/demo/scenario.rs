//! The scenario file.

use jiff::civil::Date;
use serde::Deserialize;

use crate::app::setup;
use crate::domain::make::{PackMake, PlayerMake};
use crate::domain::units::{Grams, MilliampHours, Milliohms, Millivolts};
use crate::domain::verdict::Verdict;

use super::error::DemoError;

/// The scenario that is built in.
pub const TEXT: &str = include_str!("../../demo/scenario.toml");
/// The policy of the scenario.
pub const POLICY: &str = include_str!("../../demo/policy.toml");

/// A scenario.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Scenario {
    /// The service's name.
    pub service: String,
    /// Where all randomness comes from.
    pub seed: u64,
    /// Time zone of all sites.
    pub zone: String,
    /// The first day at the bench.
    pub first_day: Date,
    /// The day of the pictures.
    pub demo_day: Date,
    /// Lengths of loans, in days.
    pub loan_days: Vec<u32>,
    /// Up to so many days late.
    pub late_days: i64,
    /// People.
    pub operator: Vec<Person>,
    /// Makes of player.
    pub player_make: Vec<PlayerKind>,
    /// Makes of pack.
    pub make: Vec<PackKind>,
    /// Workshops.
    pub site: Vec<Site>,
    /// Deliveries.
    pub lot: Vec<Lot>,
    /// A safety notice that arrives on the demo's day.
    pub notice: Notice,
    /// Trays.
    pub place: Vec<Place>,
}

/// A safety notice on a lot.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Notice {
    /// The lot's name.
    pub lot: String,
    /// The verdict that it gives at least.
    pub verdict: Verdict,
    /// What it says.
    pub text: String,
}

/// Somebody at the bench.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Person {
    /// Initials.
    pub initials: String,
    /// May overrule.
    pub may_overrule: bool,
}

/// A make of player.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlayerKind {
    /// Name.
    pub name: String,
    /// Draw, as `app::setup::draw` reads it.
    pub draw: String,
    /// Battery bay.
    pub form: String,
}

/// A make of pack.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PackKind {
    /// Name.
    pub name: String,
    /// Chemistry.
    pub chemistry: String,
    /// Rated capacity.
    pub rated_mah: u32,
    /// Cells in series.
    pub cells: u32,
    /// Mass.
    pub mass_g: u32,
    /// Resistance at which it is worn out.
    pub max_resistance_mohm: u32,
    /// Battery bay.
    pub form: String,
}

/// A workshop.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Site {
    /// Name.
    pub name: String,
    /// Slots of its bench.
    pub slots: u32,
    /// Players of each make.
    pub players: Vec<u32>,
    /// Players that came in unlabelled, with an unlabelled pack.
    pub adopted: u32,
}

/// A delivery.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Lot {
    /// Name.
    pub name: String,
    /// Where.
    pub site: String,
    /// Make of pack.
    pub make: String,
    /// The supplier's reference.
    pub reference: String,
    /// When.
    pub day: Date,
    /// The maker's date.
    pub made: Date,
    /// Cartons.
    pub cartons: u32,
    /// Packs in each.
    pub count: u32,
    /// How fast it ages, in per cent of the usual.
    pub fade: i64,
}

/// A tray.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Place {
    /// Name.
    pub name: String,
    /// The verdict whose packs it takes.
    pub tray: Verdict,
}

impl Scenario {
    /// Reads a scenario.
    ///
    /// # Errors
    /// When it does not read.
    pub fn parse(text: &str) -> Result<Self, DemoError> {
        toml::from_str(text).map_err(|error| DemoError::Scenario(error.to_string()))
    }
}

impl PlayerKind {
    /// As the ledger declares it.
    ///
    /// # Errors
    /// When the draw does not read.
    pub fn spec(&self) -> Result<PlayerMake, DemoError> {
        Ok(PlayerMake { name: self.name.clone(), draw: setup::draw(&self.draw)?, form: self.form.clone() })
    }
}

impl PackKind {
    /// As the ledger declares it.
    ///
    /// # Errors
    /// When the chemistry does not read.
    pub fn spec(&self) -> Result<PackMake, DemoError> {
        let chemistry: crate::domain::make::Chemistry = self
            .chemistry
            .parse()
            .map_err(|error: crate::domain::make::ChemistryError| DemoError::Scenario(error.to_string()))?;
        let times = |each: Millivolts| Millivolts::new(each.raw().saturating_mul(self.cells));
        Ok(PackMake {
            name: self.name.clone(),
            chemistry,
            rated: MilliampHours::new(self.rated_mah),
            nominal: times(chemistry.nominal_voltage_per_cell()),
            cells: self.cells,
            mass: Some(Grams::new(self.mass_g)),
            end: times(chemistry.end_voltage_per_cell()),
            max_resistance: Some(Milliohms::new(self.max_resistance_mohm.saturating_mul(100))),
            form: self.form.clone(),
        })
    }
}
