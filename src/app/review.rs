//! The monthly review: what a month's end looked like, worked out from the entries recorded by then.
//!
//! A past month prints the same again: facts, settings and heads are taken as all entries up to its end gave them, and what was
//! entered or taken back later does not change it.

use std::collections::{BTreeMap, HashMap};

use jiff::civil::Date;
use serde::Serialize;

use crate::domain::event::Origin;
use crate::domain::facts::{CartonFacts, Facts, PlayerFacts, SlotFacts};
use crate::domain::ids::{CartonId, PackId, SlotId, Thing, ThingKind};
use crate::domain::moment::{Moment, days_between, years_after};
use crate::domain::pack::{Oddity, PackFacts, ReadingFact};
use crate::domain::units::{Cycles, MilliampHours};
use crate::domain::verdict::{Rule, Step, Verdict};
use crate::ledger::entry::clock_before;
use crate::ledger::settings::Settings;
use crate::ledger::{Ledger, LedgerError};
use crate::policy::judge::{Case, Question, judge};
use crate::policy::limits::{limit, thirstiest};
use crate::policy::reason::{Reason, Ruling};

use super::answer::hours;
use super::error::AppError;
use super::lookup;

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
}

impl Whereabouts {
    /// Every whereabouts, in the order of the table.
    pub const ALL: [Self; 5] = [Self::Out, Self::InPlayer, Self::OnBench, Self::InWorkshop, Self::Missing];

    /// The words for people.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Out => "with borrowers",
            Self::InPlayer => "in a player here",
            Self::OnBench => "on the bench",
            Self::InWorkshop => "loose here",
            Self::Missing => "missing",
        }
    }

    /// Where a pack is by its facts.
    pub const fn of(pack: &PackFacts) -> Self {
        if pack.missing.is_some() {
            Self::Missing
        } else if pack.loan.is_some() {
            Self::Out
        } else if pack.run.is_some() {
            Self::OnBench
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
    /// Packs in the ledger.
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
    /// Loans begun and ended in the month by packs of the ledger.
    pub loans_begun: u32,
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
        loans_begun: 0,
    };
    let cartons = until(ledger, ThingKind::Carton, clock)?;
    let slots = until(ledger, ThingKind::Slot, clock)?;
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

struct Work {
    review: Review,
    settings: Settings,
    zone: jiff::tz::TimeZone,
    begin: Moment,
    as_of: Moment,
    cartons: HashMap<CartonId, CartonFacts>,
    slots: HashMap<SlotId, String>,
    /// Which pack says that it rides in which player.
    riding: HashMap<PackId, (Thing, String)>,
}

impl Work {
    fn take(&mut self, id: PackId, pack: &PackFacts) {
        if pack.added.is_none() {
            return; // its act was taken back
        }
        let place = Whereabouts::of(pack);
        let mut ruling = self.judge(id, pack);
        if place == Whereabouts::Out {
            // Stale readings and old charges matter when a pack goes out, not while it is out.
            ruling.reasons.retain(|reason| !matches!(reason.rule, Rule::Stale | Rule::Charge));
            ruling.verdict = ruling.reasons.first().map_or(Verdict::Fit, |reason| reason.verdict);
        }
        self.review.packs += 1;
        if ruling.verdict == Verdict::Fit && matches!(place, Whereabouts::InPlayer | Whereabouts::InWorkshop)
        {
            self.review.ready += 1;
        }
        if let Some(standing) = self.review.fleet.iter_mut().find(|standing| standing.place == place) {
            *standing.counts.entry(ruling.verdict).or_default() += 1;
        }
        if let Some(ride) = pack.ride {
            self.riding.insert(id, (ride.player.into(), lookup::label(&pack.codes)));
        }
        self.list(pack, place, &ruling);
        self.month(pack);
    }

    fn judge(&self, id: PackId, pack: &PackFacts) -> Ruling {
        let case = Case {
            id,
            pack,
            make: pack.make.and_then(|make| self.settings.makes.get(&make)),
            carton: pack.carton.and_then(|carton| self.cartons.get(&carton)),
            notices: &self.settings.notices,
            players: &self.settings.players,
            target: None,
        };
        let question = Question { step: Step::Look, now: self.as_of, zone: &self.zone };
        judge(&case, &self.settings.policy, &question)
    }

    fn list(&mut self, pack: &PackFacts, place: Whereabouts, ruling: &Ruling) {
        let grave = ruling.reasons.first();
        match (ruling.verdict, grave) {
            (Verdict::Recondition, Some(reason)) => {
                let line = self.line(pack, place, reason);
                self.review.recondition.push(line);
            }
            (Verdict::Recycle, Some(reason)) => {
                let line = self.line(pack, place, reason);
                self.review.recycle.push(line);
            }
            (Verdict::Isolate, Some(reason)) => {
                let line = self.line(pack, place, reason);
                self.review.isolate.push(line);
            }
            _ => {
                let near = self.near(pack, place);
                self.review.near_end.extend(near);
            }
        }
        if let (Whereabouts::Out, Some(reason)) = (place, grave) {
            let line = self.line(pack, place, reason);
            self.review.out_at_risk.push(line);
        }
    }

    fn line(&self, pack: &PackFacts, place: Whereabouts, reason: &Reason) -> Line {
        Line {
            pack: lookup::label(&pack.codes),
            make: self.make_name(pack),
            place,
            rule: reason.rule,
            found: reason.found.clone(),
            limit: reason.limit.clone(),
            margin: reason.margin.clone(),
            play_h: self.play(pack, pack.readings.last()),
            due: pack.loan.map(|loan| loan.due),
            nearness: 0,
        }
    }

    fn make_name(&self, pack: &PackFacts) -> String {
        let make = pack.make.and_then(|make| self.settings.makes.get(&make));
        make.map_or_else(|| "unknown".to_owned(), |make| make.name.clone())
    }

    fn play(&self, pack: &PackFacts, reading: Option<&ReadingFact>) -> Option<f64> {
        let make = self.settings.makes.get(&pack.make?)?;
        let player = thirstiest(make, &self.settings.players)?;
        reading?.capacity.play(player.draw).map(hours)
    }

    fn limit_of(&self, pack: &PackFacts, origin: Origin) -> Option<MilliampHours> {
        let make = self.settings.makes.get(&pack.make?)?;
        limit(&self.settings.policy, origin, make, thirstiest(make, &self.settings.players))
    }

    /// The nearest limit that the pack is within the policy's margin of, if any.
    fn near(&self, pack: &PackFacts, place: Whereabouts) -> Option<Line> {
        let percent = i64::from(self.settings.policy.near_percent);
        let candidates = [self.near_capacity(pack), self.near_cycles(pack), self.near_age(pack)];
        let (nearness, reason) = candidates.into_iter().flatten().min_by_key(|(nearness, _)| *nearness)?;
        (nearness <= percent * 10).then(|| Line { nearness, ..self.line(pack, place, &reason) })
    }

    fn near_capacity(&self, pack: &PackFacts) -> Option<(i64, Reason)> {
        self.settings.policy.rules.capacity?;
        let reading = pack.readings.last()?;
        // The end of a life in service: a new pack near the stricter limit for new ones is not near its end.
        let limit = self.limit_of(pack, Origin::Service)?;
        let spare = i64::from(reading.capacity.raw()) - i64::from(limit.raw());
        let nearness = spare * 1000 / i64::from(limit.raw().max(1));
        let day = reading.at.day(&self.zone);
        let reason =
            Reason::new(Rule::Capacity, Verdict::Measure, format!("read {} on {day}", reading.capacity))
                .limit(limit.to_string())
                .margin(if spare >= 0 {
                    format!("{spare} mAh to spare")
                } else {
                    format!("{} mAh short", -spare)
                });
        Some((nearness, reason))
    }

    fn near_cycles(&self, pack: &PackFacts) -> Option<(i64, Reason)> {
        let most = self.settings.policy.rules.cycles?;
        let cycles = pack.cycles();
        let spare = i64::from(most) * 1000 - i64::from(cycles.raw());
        let nearness = spare / i64::from(most.max(1));
        let how = if pack.cycles_estimated() { ", partly estimated" } else { "" };
        let left = Cycles::new(u32::try_from(spare.max(0)).unwrap_or(0));
        let reason = Reason::new(Rule::Cycles, Verdict::Recycle, format!("{cycles}{how}"))
            .limit(format!("{most} cycles"))
            .margin(format!("{left} to go"));
        Some((nearness, reason))
    }

    fn near_age(&self, pack: &PackFacts) -> Option<(i64, Reason)> {
        let most = self.settings.policy.rules.age_years?;
        let made = pack.made?;
        let end = years_after(made, most);
        let spare = days_between(self.as_of.day(&self.zone), end);
        let nearness = spare * 1000 / days_between(made, end).max(1);
        let reason = Reason::new(Rule::Age, Verdict::Recycle, format!("made on {made}"))
            .limit(format!("{most} years, until {end}"))
            .margin(format!("{spare} days to go"));
        Some((nearness, reason))
    }

    /// What the month brought to a pack.
    fn month(&mut self, pack: &PackFacts) {
        let (begin, end) = (self.begin, self.as_of);
        let within = move |at: Moment| at >= begin && at <= end;
        let label = lookup::label(&pack.codes);
        let limit = self.limit_of(pack, pack.origin());
        let rated = pack.make.and_then(|make| self.settings.makes.get(&make)).map(|make| make.rated);
        for reading in pack.readings.iter().filter(|reading| within(reading.at)) {
            let health = rated.and_then(|rated| reading.capacity.per_mille_of(rated));
            self.review.readings.push(ReadingLine {
                day: reading.at.day(&self.zone),
                pack: label.clone(),
                make: self.make_name(pack),
                capacity_mah: reading.capacity.raw(),
                limit_mah: limit.map(MilliampHours::raw),
                play_h: self.play(pack, Some(reading)),
                health_percent: health.map(|per_mille| f64::from(per_mille) / 10.0),
                slot: reading.slot.and_then(|slot| self.slots.get(&slot).cloned()),
            });
        }
        let count = |moments: usize| u32::try_from(moments).unwrap_or(u32::MAX);
        self.review.rounds += count(pack.rounds.iter().filter(|&&at| within(at)).count());
        self.review.loans_begun += count(pack.loan.iter().filter(|loan| within(loan.since)).count());
        for (oddity, at) in
            pack.oddities.iter().filter(|(oddity, at)| within(*at) || *oddity == Oddity::Missing)
        {
            if *oddity == Oddity::Missing && pack.missing.is_none() {
                continue; // it was found again
            }
            self.review.odd.push(Odd {
                day: Some(at.day(&self.zone)),
                thing: format!("pack {label}"),
                text: oddity.to_string(),
            });
        }
    }

    /// A player that says it holds a pack which says otherwise does not add up.
    fn compare_players(&mut self, players: Vec<(Thing, Facts)>) {
        for (thing, facts) in players {
            let Ok(player) = PlayerFacts::try_from(facts) else { continue };
            let Some((_, pack)) = player.ride else { continue };
            let label = lookup::label(&player.codes);
            let text = match self.riding.get(&pack) {
                Some((other, _)) if *other == thing => continue,
                Some((_, pack)) => format!("pack {pack} should be in it, and rides in another player"),
                None => "a pack should be in it that rides in no player".to_owned(),
            };
            self.review.odd.push(Odd { day: None, thing: format!("player {label}"), text });
        }
    }

    fn finish(mut self) -> Review {
        let review = &mut self.review;
        review.near_end.sort_by(|a, b| (a.nearness, &a.pack).cmp(&(b.nearness, &b.pack)));
        for list in
            [&mut review.recondition, &mut review.recycle, &mut review.isolate, &mut review.out_at_risk]
        {
            list.sort_by(|a, b| (a.due, a.rule, &a.pack).cmp(&(b.due, b.rule, &b.pack)));
        }
        review.readings.sort_by(|a, b| (a.day, &a.pack).cmp(&(b.day, &b.pack)));
        review.odd.sort_by(|a, b| (a.day, &a.thing, &a.text).cmp(&(b.day, &b.thing, &b.text)));
        self.review
    }
}
