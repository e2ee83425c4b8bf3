//! The monthly review: what a month's end looked like, worked out from the entries recorded by then.
//!
//! A past month prints the same again: facts, settings and heads are taken as all entries up to its end gave them, and what was
//! entered or taken back later does not change it.

mod complaints;
mod deeds;
mod figures;
mod fleet;
mod lists;
mod lives;
mod near;
mod report;
mod work;

use std::collections::{BTreeMap, HashMap, HashSet};

use jiff::civil::Date;

use crate::domain::event::Origin;
use crate::domain::facts::{Facts, SlotFacts};
use crate::domain::ids::{CartonId, LotId, PackId, SlotId, Thing, ThingKind};
use crate::domain::moment::Moment;
use crate::domain::pack::PackFacts;
use crate::domain::units::MilliampHours;
use crate::domain::verdict::Rule;
use crate::ledger::entry::clock_before;
use crate::ledger::{Ledger, LedgerError};
use crate::policy::limits::{limit, thirstiest};

use super::ahead;
use super::error::AppError;
use super::slots::{self, Trust};
use super::waste;
pub use complaints::Complaint;
pub use deeds::Deed;
pub use figures::{Figure, Figures};
pub use fleet::{Bin, CanGo, Capacity};
pub use lists::{CartonLine, Coming, Fan, Lost, RollLine, RoundLine};
use lives::Gathered;
pub use lives::{Alike, LIVES_NOTE, Lives};
pub use report::{Head, Line, Odd, ReadingLine, Review, Standing, Whereabouts};
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

    /// The month before.
    #[must_use]
    pub fn before(self) -> Self {
        self.0.yesterday().map_or(self, Self::of)
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

/// What a review is to tell beyond its figures and lists.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Depth {
    /// All of it.
    Whole,
    /// The figures alone, for the month after.
    Figures,
}

/// Months that are looked ahead.
const MONTHS: u32 = 24;
/// Packs that are drawn with what is foreseen of them, at most.
const FANS: usize = 4;

/// Works the review of a month out.
///
/// A month that is not over is judged as of now.
///
/// # Errors
/// When the month lies ahead, there was no policy yet, or a fault of the ledger.
pub fn review(ledger: &mut Ledger, month: Month, now: Moment) -> Result<Review, AppError> {
    let mut review = look(ledger, month, now, Depth::Whole)?;
    review.before = match look(ledger, month.before(), now, Depth::Figures) {
        Ok(before) => Some(before.figures),
        Err(AppError::Input { .. }) => None, // the ledger is younger than that
        Err(error) => return Err(error),
    };
    Ok(review)
}

fn look(ledger: &mut Ledger, month: Month, now: Moment, depth: Depth) -> Result<Review, AppError> {
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
    let done = deeds::read(ledger, clock_before(begin), clock)?;
    let looked = match depth {
        Depth::Whole => ahead::ahead_until(ledger, &settings, (as_of, clock), MONTHS, |_| ())?,
        Depth::Figures => None,
    };
    let (ahead, ends) = looked.map_or_else(|| (None, HashMap::new()), |(ahead, ends)| (Some(ahead), ends));
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
        deeds: done.count(),
        lives: Vec::new(),
        can_go: 0,
        players: Vec::new(),
        figures: Figures { month: month.text(), rows: Vec::new() },
        before: None,
        wrong: Vec::new(),
        ahead: None,
        slots: None,
        capacities: Vec::new(),
        fans: Vec::new(),
        round_lines: Vec::new(),
        cartons: Vec::new(),
        complaints: Vec::new(),
        rolls: lists::rolls(ledger, &done)?,
        lost: Vec::new(),
        waste: waste::Tally::new(&settings, as_of.day(&zone), zone.clone()).finish(),
        rows: usize::try_from(settings.policy.review_rows).unwrap_or(usize::MAX),
    };
    let cartons = until(ledger, ThingKind::Carton, clock)?;
    let slots = until(ledger, ThingKind::Slot, clock)?;
    let lots = until(ledger, ThingKind::Lot, clock)?;
    let tally = waste::Tally::new(&settings, as_of.day(&zone), zone.clone());
    let mut work = Work {
        review,
        waste: tally,
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
        read: BTreeMap::new(),
        fit: BTreeMap::new(),
        ends,
        sampled: HashSet::new(),
        lots: lots
            .into_iter()
            .filter_map(|(thing, facts)| Some((LotId::new(thing.id), facts.try_into().ok()?)))
            .collect(),
    };
    ledger.each_until(ThingKind::Pack, clock, |thing, facts| {
        if let Facts::Pack(pack) = facts {
            work.take(PackId::new(thing.id), &pack);
        }
        Ok::<(), LedgerError>(())
    })?;
    let players = until(ledger, ThingKind::Player, clock)?;
    work.compare_players(players);
    let complaints = complaints::of(ledger, &work.settings, &work.cartons, &done)?;
    work.review.complaints = complaints;
    work.review.ahead = ahead;
    if depth == Depth::Whole {
        let check = slots::check_until(ledger, &work.settings, (as_of, clock))?;
        work.review.slots = Some(check).filter(|check| !check.slots.is_empty());
    }
    let (settings, zone) = (work.settings.clone(), work.zone.clone());
    let mut review = work.finish();
    if depth == Depth::Whole {
        fans(ledger, &mut review, &settings, (as_of, clock, &zone))?;
        review.wrong = wrong(&review);
    }
    review.figures = Figures::of(&review);
    Ok(review)
}

/// Draws the packs that are nearest to their end, by the model.
fn fans(
    ledger: &mut Ledger,
    review: &mut Review,
    settings: &crate::ledger::settings::Settings,
    (now, clock, zone): (Moment, i64, &jiff::tz::TimeZone),
) -> Result<(), LedgerError> {
    let share = review.ahead.as_ref().map_or(1.0, |ahead| ahead.days_out_percent / 100.0);
    let near: Vec<PackId> =
        review.near_end.iter().filter(|line| line.coming.is_some()).map(|line| line.id).take(FANS).collect();
    for id in near {
        let Some(pack) = ledger.facts_until::<PackFacts>(id.into(), clock)? else { continue };
        let make = pack.make.and_then(|make| settings.makes.get(&make));
        let limit = make.and_then(|make| {
            limit(&settings.policy, Origin::Service, make, thirstiest(make, &settings.players))
        });
        review.fans.extend(lists::fan(
            settings,
            (id, &pack),
            limit.map(MilliampHours::raw),
            share,
            (now, zone),
        ));
    }
    Ok(())
}

/// Packs with borrowers that will hardly keep the promise: by the judge today or by the model until they are back; those that may be
/// dangerous are told apart.
pub fn at_risk(review: &Review) -> usize {
    let mut packs: HashSet<&str> = review
        .out_at_risk
        .iter()
        .filter(|line| !matches!(line.rule, Rule::Notice | Rule::Finding))
        .map(|line| line.pack.as_str())
        .collect();
    packs.extend(review.ahead.iter().flat_map(|ahead| &ahead.at_risk).map(|line| line.pack.as_str()));
    packs.len()
}

/// What is wrong, in sentences, gravest first.
fn wrong(review: &Review) -> Vec<String> {
    let mut wrong = Vec::new();
    let mut say = |many: usize, one: &str, several: &str| match many {
        0 => {}
        1 => wrong.push(format!("1 {one}")),
        many => wrong.push(format!("{many} {several}")),
    };
    say(
        review.isolate.len(),
        "pack may be dangerous: keep it apart",
        "packs may be dangerous: keep them apart",
    );
    let called = review.isolate.iter().filter(|line| line.place == Whereabouts::Out).count();
    say(called, "of them is with a borrower: call it back", "of them are with borrowers: call them back");
    say(
        at_risk(review),
        "pack is with a borrower and will hardly keep the promise until it is back",
        "packs are with borrowers and will hardly keep the promise until they are back",
    );
    say(review.complaints.len(), "pack cut out early in the month", "packs cut out early in the month");
    say(
        review.lost.len(),
        "pack is missing or was not seen for long",
        "packs are missing or were not seen for long",
    );
    say(review.odd.len(), "entry does not add up", "entries do not add up");
    wrong.extend(review.waste.warnings.iter().cloned());
    wrong.extend(review.lives.iter().filter(|lives| lives.early).map(Lives::warning));
    let slots: Vec<String> = review
        .slots
        .iter()
        .flat_map(|check| &check.slots)
        .filter(|slot| matches!(slot.trust, Trust::ReadsHigh | Trust::ReadsLow))
        .map(|slot| format!("{} {}", slot.slot, slot.trust.words()))
        .collect();
    if !slots.is_empty() {
        wrong.push(format!("slots of the bench: {}; have them serviced", slots.join(", ")));
    }
    wrong
}

fn heads(ledger: &Ledger, clock: i64) -> Result<Vec<Head>, LedgerError> {
    let heads = ledger.heads_until(clock)?;
    Ok(heads.into_iter().map(|(writer, number, hash)| Head { writer, number, hash }).collect())
}

/// All things of a kind, as entries up to a clock value gave them.
fn until(ledger: &mut Ledger, kind: ThingKind, clock: i64) -> Result<Vec<(Thing, Facts)>, LedgerError> {
    let mut all = Vec::new();
    ledger.each_until(kind, clock, |thing, facts| {
        all.push((thing, facts));
        Ok::<(), LedgerError>(())
    })?;
    Ok(all)
}
