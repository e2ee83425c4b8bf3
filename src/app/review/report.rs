//! The report itself: where packs are, the lines of its lists, and all of it together.

use std::collections::BTreeMap;

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use crate::app::ahead::Ahead;
use crate::app::listed::Listed;
use crate::app::slots::Check;
use crate::app::waste::Waste;
use crate::domain::pack::PackFacts;
use crate::domain::verdict::{Rule, Verdict};

use super::complaints::Complaint;
use super::deeds::Deed;
use super::figures::Figures;
use super::fleet::{CanGo, Capacity};
use super::lists::{CartonLine, Coming, Fan, Lost, RollLine, RoundLine};
use super::lives::Lives;

/// Where a pack is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Whereabouts {
    /// With a borrower.
    Out,
    /// In a player on the shelf.
    InPlayer,
    /// In a slot of the bench.
    OnBench,
    /// Loose in the workshop.
    InWorkshop,
    /// Not found where it should be.
    Missing,
    /// It never came back from its loan, and was given up.
    WrittenOff,
    /// At its end, and waiting for a recycler.
    Waste,
    /// It left with a consignment.
    Left,
}

impl Whereabouts {
    /// Every whereabouts, in the order of the table.
    pub const ALL: [Self; 8] = [
        Self::Out,
        Self::InPlayer,
        Self::OnBench,
        Self::InWorkshop,
        Self::Missing,
        Self::Waste,
        Self::WrittenOff,
        Self::Left,
    ];

    /// The words for people.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Out => "with borrowers",
            Self::InPlayer => "in a player here",
            Self::OnBench => "on the bench",
            Self::InWorkshop => "loose here",
            Self::Missing => "missing",
            Self::WrittenOff => "written off",
            Self::Waste => "waste, still here",
            Self::Left => "left as waste",
        }
    }

    /// True where a pack is part of the fleet: the others are told as waste, or nobody can do anything with them.
    pub(crate) const fn active(self) -> bool {
        !matches!(self, Self::WrittenOff | Self::Left | Self::Waste)
    }

    /// True where a pack serves, or may.
    pub(crate) const fn in_use(self) -> bool {
        self.active() && !matches!(self, Self::Missing)
    }

    /// Where a pack is by its facts.
    pub fn of(pack: &PackFacts) -> Self {
        if pack.left().is_some() {
            Self::Left
        } else if pack.written_off.is_some() {
            Self::WrittenOff
        } else if pack.missing.is_some() {
            Self::Missing
        } else if pack.loan.is_some() {
            Self::Out
        } else if pack.run.is_some() {
            Self::OnBench
        } else if pack.retired.is_some() || pack.consigned.is_some() {
            Self::Waste
        } else if pack.ride.is_some() {
            Self::InPlayer
        } else {
            Self::InWorkshop
        }
    }
}

/// One line about one pack: the rule, the value, the limit and the margin.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Line {
    /// The pack's tag.
    pub pack: String,
    /// Its make.
    pub make: String,
    /// Where it is.
    #[serde(rename = "where")]
    pub place: Whereabouts,
    /// The rule that speaks.
    pub rule: Rule,
    /// What was found.
    pub found: String,
    /// The limit that it was held against.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit: Option<String>,
    /// By how much.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub margin: Option<String>,
    /// Hours of play by its last reading.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub play_h: Option<f64>,
    /// When it is due back.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub due: Option<Date>,
    /// What it holds now and when it is expected to reach its end, by the fleet's model.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub coming: Option<Coming>,
}

/// One row of the table of the fleet.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Standing {
    /// Where.
    #[serde(rename = "where")]
    pub place: Whereabouts,
    /// How many packs of each verdict, in the order of [`Verdict::ALL`].
    pub counts: BTreeMap<Verdict, u32>,
}

/// One reading of the month.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReadingLine {
    /// The day.
    pub day: Date,
    /// The pack's tag.
    pub pack: String,
    /// Its make.
    pub make: String,
    /// What it gave.
    pub capacity_mah: u32,
    /// The limit for the pack, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit_mah: Option<u32>,
    /// Hours of play.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub play_h: Option<f64>,
    /// State of health: share of the rated capacity, in per cent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub health_percent: Option<f64>,
    /// The slot.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub slot: Option<String>,
}

/// Something that does not add up.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Odd {
    /// The day.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub day: Option<Date>,
    /// What it is about.
    pub thing: String,
    /// In words.
    pub text: String,
}

/// The head of a chain when the month ended.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Head {
    /// The writer.
    pub writer: String,
    /// Number of its last entry.
    pub number: u64,
    /// Hash of that entry, in hex.
    pub hash: String,
}

/// The monthly review.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Review {
    /// The month.
    pub month: String,
    /// The day as of which packs are judged.
    pub as_of: Date,
    /// The policy in force then.
    pub policy: String,
    /// The heads of the chains then: they tell what this review was made from.
    pub heads: Vec<Head>,
    /// Packs in the ledger, but for those that are waste, have left or are written off.
    pub packs: u32,
    /// Packs that could go out: fit, and not out already.
    pub ready: u32,
    /// The fleet by whereabouts and verdict.
    pub fleet: Vec<Standing>,
    /// Within the policy's margin of a limit, nearest first.
    pub near_end: Listed<Line>,
    /// To recondition.
    pub recondition: Listed<Line>,
    /// To recycle.
    pub recycle: Listed<Line>,
    /// To keep apart.
    pub isolate: Listed<Line>,
    /// With borrowers, and would not pass today by what they hold.
    pub out_at_risk: Listed<Line>,
    /// Readings of the month.
    pub readings: Listed<ReadingLine>,
    /// What does not add up.
    pub odd: Listed<Odd>,
    /// Rounds done in the month.
    pub rounds: u32,
    /// What else was done in the month.
    pub deeds: Vec<Deed>,
    /// How long packs last: each make, with the references and lots of it.
    pub lives: Vec<Lives>,
    /// Players that can go out: those here for which a fit pack is here.
    pub can_go: u32,
    /// The same by make of player.
    pub players: Vec<CanGo>,
    /// The figures of this month.
    pub figures: Figures,
    /// Those of the month before; none where the ledger is younger.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub before: Option<Figures>,
    /// What is wrong, in sentences, gravest first.
    pub wrong: Vec<String>,
    /// What is to come; none without a model.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ahead: Option<Ahead>,
    /// The slots of the bench, as far as there are any.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub slots: Option<Check>,
    /// What the packs hold, make by make.
    pub capacities: Vec<Capacity>,
    /// Packs near their end, with what is foreseen of them.
    pub fans: Vec<Fan>,
    /// Rounds of the month.
    pub round_lines: Listed<RoundLine>,
    /// Cartons that were sampled in the month, or whose sample is owed.
    pub cartons: Vec<CartonLine>,
    /// Packs that cut out early, and what would have kept them here.
    pub complaints: Listed<Complaint>,
    /// Roll calls of the month.
    pub rolls: Vec<RollLine>,
    /// Packs that are missing, or that nobody saw for long.
    pub lost: Listed<Lost>,
    /// Waste on hand.
    pub waste: Waste,
    /// Packs with borrowers that will hardly keep the promise: by the judge today or by the model until they are back; those that may be
    /// dangerous are told apart.
    pub at_risk: usize,
    /// Packs with borrowers that may be dangerous.
    pub isolate_out: usize,
    /// Rows of each list on paper.
    #[serde(skip)]
    pub rows: usize,
}

/// The figures alone.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Brief {
    /// The day as of which packs are judged.
    pub as_of: Date,
    /// The heads of the chains: they tell what this was made from.
    pub heads: Vec<Head>,
    /// The figures of this month.
    pub figures: Figures,
    /// Those of the month before; none where the ledger is younger.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub before: Option<Figures>,
}
