//! The policy: promise, limits and rules, read from the TOML text that the service keeps and the ledger adopts.
//!
//! Reading is strict: an unknown key or a value that makes no sense is an error that names the key and the value, since
//! a misspelt rule that is silently off would let packs out.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use serde::Deserialize;
use sha2::{Digest, Sha256};
use thiserror::Error;

use crate::domain::event::Origin;
use crate::domain::finding::Finding;
use crate::domain::units::{MilliampHours, PlayHours};
use crate::domain::verdict::Verdict;

use super::bench::BenchRule;
use super::file::File;
use super::foresight::Chance;
use super::waste::WasteRule;

/// Why a text is not a policy.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum PolicyError {
    /// Not TOML, an unknown key, or a value of the wrong type.
    #[error("{0}")]
    Toml(String),
    /// A value that makes no sense.
    #[error("`{key}` is {value}: {expected}")]
    Value {
        /// The key, with its table.
        key: String,
        /// What stands there.
        value: String,
        /// What was expected.
        expected: &'static str,
    },
}

/// A validated policy.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Policy {
    /// The first 16 hex digits of the SHA-256 of its text: verdicts name it.
    pub id: String,
    /// Limits for packs that were never dispatched.
    pub new: OriginLimits,
    /// Limits for packs that were.
    pub service: OriginLimits,
    /// The rules.
    pub rules: Rules,
    /// How use is estimated.
    pub hours_per_day: PlayHours,
    /// When a reading is asked for again.
    pub plausible: Plausible,
    /// Within how many per cent of a limit a pack is near its end.
    pub near_percent: u32,
    /// A pack here that nobody saw for more days than this counts as lost.
    pub lost_after_days: u32,
    /// Rows of each list of the review on paper and as a page; the rest is counted.
    pub review_rows: u32,
    /// Longest loan, in days.
    pub longest_loan_days: u32,
    /// Days for which the reference of a loan that has ended is kept.
    pub keep_reference_days: u32,
    /// How the bench is run.
    pub bench: BenchRule,
    /// How new packs are bought.
    pub buying: Buying,
    /// How waste is kept and marked.
    pub waste: WasteRule,
}

/// How new packs are bought.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Buying {
    /// Days from an order until its packs may go out.
    pub lead_days: u32,
    /// By how much the lending grows in a year, in per cent of what it is now.
    pub growth_percent_per_year: u32,
    /// The chance that there are packs enough, in per cent.
    pub service_level_percent: u32,
    /// Packs of each make that are to stand ready beside those in use.
    pub ready_stock: u32,
}

/// What a pack of one origin must hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OriginLimits {
    /// The limit itself.
    pub limit: Limit,
    /// At least this share of the rated capacity, in per cent; zero for none.
    pub percent_of_rated: u32,
    /// Rounds of reconditioning at most.
    pub rounds: u32,
    /// Full charge/discharge cycles in a round.
    pub cycles_per_round: u32,
}

/// A limit as promised hours or as charge.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Limit {
    /// Hours of play; the charge follows from the player's draw.
    Hours(PlayHours),
    /// Charge outright.
    Charge(MilliampHours),
}

/// How long a charge counts, and what of it is left.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ChargeRule {
    /// Days for which a charge counts at all.
    pub days: u32,
    /// Per cent of a full charge that nickel cells keep over 28 days; 100 where nothing is said of it.
    pub nickel_keeps: u32,
    /// The same of lithium ion cells.
    pub lithium_keeps: u32,
}

/// The settings of the rules; `None` where a rule is off.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rules {
    /// What each finding leads to.
    pub finding: BTreeMap<Finding, Verdict>,
    /// Safety notices are heeded.
    pub notice: bool,
    /// How cartons are sampled.
    pub carton: Option<CartonRule>,
    /// A reading is needed at all.
    pub unmeasured: bool,
    /// Days for which a reading counts.
    pub stale_days: Option<u32>,
    /// How long a charge counts, and what of it is left.
    pub charge: Option<ChargeRule>,
    /// Capacity is held against the limit, and how near the limit one reading alone does not condemn, in per cent.
    pub capacity: Option<u32>,
    /// Within which risks a reading is believed.
    pub doubt: Option<DoubtRule>,
    /// The chance of falling below the limit before a loan ends from which a pack does not go out for it.
    pub forecast: Option<Chance>,
    /// When a round is worth its hours.
    pub worth: Option<WorthRule>,
    /// Cycles at most.
    pub cycles: Option<u32>,
    /// Years from the maker's date at most.
    pub age_years: Option<u32>,
    /// Resistance at most, as per cent of the make's figure.
    pub resistance_percent: Option<u32>,
    /// A pack that cut out early needs a new reading.
    pub reported: bool,
    /// In how many different slots a pack may give no result before it is condemned.
    pub refused: Option<u32>,
}

/// Within which risks a reading is believed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DoubtRule {
    /// The most risk that a pack that passed truly holds less than its limit.
    pub wrong_pass: Chance,
    /// The most risk that a pack that failed truly holds its limit.
    pub wrong_fail: Chance,
    /// Hours of the bench that second readings may take in a week.
    pub hours_per_week: u32,
}

/// When a round is worth its hours.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WorthRule {
    /// What a new pack costs, in any money.
    pub price: u32,
    /// What an hour of a slot costs, in hundredths of the same money.
    pub hour_hundredths: u32,
}

/// How cartons are sampled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CartonRule {
    /// Packs to read of each carton, where the standard does not say it.
    pub sample: u32,
    /// Bad ones among them that are borne.
    pub accept: u32,
    /// Only readings of the packs that were drawn count for the carton.
    pub only_drawn: bool,
    /// A plan that is settled when a carton is opened takes the place of the house rule.
    pub settled: Option<SettledRule>,
    /// What becomes of a carton that falls short.
    pub if_short: IfShort,
    /// What the rest needs when the sample is good enough.
    pub rest: Rest,
}

/// By which rule the plan of a carton is settled when it is opened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SettledRule {
    /// By the standard.
    Standard(StandardRule),
    /// The smallest sample that keeps two risks, by counting bad packs.
    Points(PointsRule),
    /// The same by what each pack holds (k method).
    Variables(PointsRule),
}

/// Two points that a plan is to keep; all in hundredths of a per cent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PointsRule {
    /// So many bad packs are good enough.
    pub good: u32,
    /// How often a carton that good may be stopped.
    pub producer: u32,
    /// So many are not.
    pub bad: u32,
    /// How often a carton that bad may be accepted.
    pub consumer: u32,
}

/// A plan of MIL-STD-105E (ISO 2859-1).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StandardRule {
    /// Acceptance quality, in thousandths of a per cent.
    pub quality_thousandths: u32,
    /// Inspection level.
    pub level: Level,
    /// Two samples.
    pub double: bool,
}

/// Inspection levels of the standard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[expect(missing_docs, reason = "the standard's own names")]
pub enum Level {
    #[serde(rename = "S-1")]
    S1,
    #[serde(rename = "S-2")]
    S2,
    #[serde(rename = "S-3")]
    S3,
    #[serde(rename = "S-4")]
    S4,
    I,
    II,
    III,
}

/// What becomes of a carton that falls short.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum IfShort {
    /// Every pack of it is measured.
    #[default]
    TestAll,
    /// It goes back to its supplier.
    SendBack,
}

/// What the rest of a carton needs after a good sample.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Rest {
    /// They may go out on the carton's word.
    CartonsWord,
    /// Each needs a reading of its own.
    ReadingEach,
}

/// When a reading is asked for again before it counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Plausible {
    /// Above this share of the rated capacity, in per cent.
    pub above_rated_percent: u32,
    /// Below this share of the rated capacity, in per cent.
    pub below_rated_percent: u32,
    /// Further than this from the pack's last reading, in per cent of the rated capacity.
    pub jump_percent: u32,
}

impl Policy {
    /// The limits of an origin.
    pub const fn limits(&self, origin: Origin) -> &OriginLimits {
        match origin {
            Origin::New => &self.new,
            Origin::Service => &self.service,
        }
    }

    /// Reads and checks a policy text.
    ///
    /// # Errors
    /// [`PolicyError`], naming the key and the value.
    pub fn parse(text: &str) -> Result<Self, PolicyError> {
        let file: File =
            toml::from_str(text).map_err(|error| PolicyError::Toml(error.to_string().trim().to_owned()))?;
        file.validate(identity(text))
    }
}

/// The name of a policy text: the first 16 hex digits of its SHA-256.
fn identity(text: &str) -> String {
    let mut id = String::with_capacity(16);
    for byte in Sha256::digest(text.as_bytes()).iter().take(8) {
        let _infallible = write!(id, "{byte:02x}");
    }
    id
}
