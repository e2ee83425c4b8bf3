//! The monthly review: what a month's end looked like, worked out from the entries recorded by then.
//!
//! A past month prints the same again: facts, settings and heads are taken as all entries up to its end gave them, and what was
//! entered or taken back later does not change it.

mod deeds;
mod lives;
mod near;
mod work;

use std::collections::{BTreeMap, HashMap};

use jiff::civil::Date;
use serde::Serialize;

use crate::domain::facts::{Facts, SlotFacts};
use crate::domain::ids::{CartonId, LotId, PackId, SlotId, Thing, ThingKind};
use crate::domain::moment::Moment;
use crate::domain::pack::PackFacts;
use crate::domain::verdict::{Rule, Verdict};
use crate::ledger::entry::clock_before;
use crate::ledger::{Ledger, LedgerError};

use super::error::AppError;
pub use deeds::Deed;
use lives::Gathered;
pub use lives::{Alike, LIVES_NOTE, Lives};
use work::Work;

/// A month, by its first day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Month(Date);

impl Month {
    /// The month that a day lies in.
    pub fn of(day: Date) -> Self {
        Self(day.first_of_month())
    }

    /// Reads "2026-11".
    ///
    /// # Errors
    /// When it is no month.
    pub fn parse(text: &str) -> Result<Self, AppError> {
        format!("{}-01", text.trim()).parse().map(Self).map_err(|_no_date| {
            AppError::input(format!("`{text}` is no month"), "give a month such as 2026-11")
        })
    }

    /// The first day of the next month.
    pub fn next(self) -> Date {
        self.0.last_of_month().tomorrow().unwrap_or(self.0)
    }

    /// "2026-11".
    pub fn text(self) -> String {
        self.0.strftime("%Y-%m").to_string()
    }
}

/// Where a pack is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
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
    /// How far it is from its limit, in tenths of a per cent, for the order of the list.
    #[serde(skip)]
    nearness: i64,
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
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
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
    pub near_end: Vec<Line>,
    /// To recondition.
    pub recondition: Vec<Line>,
    /// To recycle.
    pub recycle: Vec<Line>,
    /// To keep apart.
    pub isolate: Vec<Line>,
    /// With borrowers, and would not pass today by what they hold.
    pub out_at_risk: Vec<Line>,
    /// Readings of the month.
    pub readings: Vec<ReadingLine>,
    /// What does not add up.
    pub odd: Vec<Odd>,
    /// Rounds done in the month.
    pub rounds: u32,
    /// What else was done in the month.
    pub deeds: Vec<Deed>,
    /// How long packs last: each make, with the references and lots of it.
    pub lives: Vec<Lives>,
}

/// Works the review of a month out.
///
/// A month that is not over is judged as of now.
///
/// # Errors
/// When the month lies ahead, there was no policy yet, or a fault of the ledger.
pub fn review(ledger: &mut Ledger, month: Month, now: Moment) -> Result<Review, AppError> {
    let zone = ledger.zone().clone();
    let begin = Moment::start_of(month.0, &zone);
    let end = Moment::start_of(month.next(), &zone);
    if begin > now {
        return Err(AppError::input(format!("{} lies ahead", month.text()), "give a month that has begun"));
    }
    // The last moment of the month, or now.
    let as_of = end.plus_millis(-1).min(now);
    let clock = clock_before(as_of.plus_millis(1));
    let settings = match ledger.settings_until(clock) {
        Ok(settings) => settings,
        Err(LedgerError::NoPolicy) => {
            return Err(AppError::input(
                format!("the ledger had no policy in {}", month.text()),
                "give a month after the ledger was begun",
            ));
        }
        Err(error) => return Err(error.into()),
    };
    let review = Review {
        month: month.text(),
        as_of: as_of.day(&zone),
        policy: settings.policy.id.clone(),
        heads: heads(ledger, clock)?,
        packs: 0,
        ready: 0,
        fleet: Whereabouts::ALL.map(|place| Standing { place, counts: BTreeMap::new() }).to_vec(),
        near_end: Vec::new(),
        recondition: Vec::new(),
        recycle: Vec::new(),
        isolate: Vec::new(),
        out_at_risk: Vec::new(),
        readings: Vec::new(),
        odd: Vec::new(),
        rounds: 0,
        deeds: deeds::count(ledger, clock_before(begin), clock)?,
        lives: Vec::new(),
    };
    let cartons = until(ledger, ThingKind::Carton, clock)?;
    let slots = until(ledger, ThingKind::Slot, clock)?;
    let lots = until(ledger, ThingKind::Lot, clock)?;
    let mut work = Work {
        review,
        settings,
        zone,
        begin,
        as_of,
        cartons: cartons
            .into_iter()
            .filter_map(|(thing, facts)| Some((CartonId::new(thing.id), facts.try_into().ok()?)))
            .collect(),
        slots: slots
            .into_iter()
            .filter_map(|(thing, facts)| Some((SlotId::new(thing.id), SlotFacts::try_from(facts).ok()?.name)))
            .collect(),
        riding: HashMap::new(),
        lives: Gathered::default(),
        lots: lots
            .into_iter()
            .filter_map(|(thing, facts)| Some((LotId::new(thing.id), facts.try_into().ok()?)))
            .collect(),
    };
    let mut later = Vec::new();
    ledger.each(ThingKind::Pack, |thing, last, facts| {
        match facts {
            Facts::Pack(pack) if last <= clock => work.take(PackId::new(thing.id), &pack),
            _ => later.push(thing),
        }
        Ok::<(), LedgerError>(())
    })?;
    for thing in later {
        if let Some(pack) = ledger.facts_until::<PackFacts>(thing, clock)? {
            work.take(PackId::new(thing.id), &pack);
        }
    }
    let players = until(ledger, ThingKind::Player, clock)?;
    work.compare_players(players);
    Ok(work.finish())
}

fn heads(ledger: &Ledger, clock: i64) -> Result<Vec<Head>, LedgerError> {
    let heads = ledger.heads_until(clock)?;
    Ok(heads.into_iter().map(|(writer, number, hash)| Head { writer, number, hash }).collect())
}

/// All things of a kind, as entries up to a clock value gave them.
fn until(ledger: &mut Ledger, kind: ThingKind, clock: i64) -> Result<Vec<(Thing, Facts)>, LedgerError> {
    let mut all = Vec::new();
    let mut later = Vec::new();
    ledger.each(kind, |thing, last, facts| {
        if last <= clock {
            all.push((thing, facts));
        } else {
            later.push(thing);
        }
        Ok::<(), LedgerError>(())
    })?;
    for thing in later {
        if let Some(facts) = ledger.facts_until::<Facts>(thing, clock)? {
            all.push((thing, facts));
        }
    }
    Ok(all)
}
