//! What is to come: how many packs retire month by month, what to buy and by when, and which packs now out will not keep the promise.
//!
//! A pack retires in the month in which it first holds less than its limit in service. Packs that were read are foretold by the
//! fleet's model, others by the law of wear-out of their make (`ahead::past`). Two walks through the packs: the first gathers what the
//! fleet's past teaches, the second foretells. Nothing is entered.
//!
//! Not foretold: the packs that the judge would recycle or keep apart, those that are missing, written off or joined to another. A
//! pack that waits for a round counts by what it holds now: a round may bring it back, and then it retires later than is said here.

pub mod buying;
mod course;
mod past;
mod risk;
mod tally;

use std::collections::{BTreeMap, HashMap};

use jiff::civil::Date;
use serde::Serialize;

use crate::domain::event::Origin;
use crate::domain::facts::{CartonFacts, Facts, PlayerFacts};
use crate::domain::ids::{CartonId, MakeId, PackId, PlayerId, PlayerMakeId, ThingKind};
use crate::domain::make::PlayerMake;
use crate::domain::moment::{Moment, days_between};
use crate::domain::pack::PackFacts;
use crate::domain::units::MilliampHours;
use crate::domain::verdict::Verdict;
use crate::ledger::settings::Settings;
use crate::ledger::{Ledger, LedgerError};
use crate::policy::foresight::Holding;
use crate::policy::judge::Target;
use crate::policy::limits::{limit, thirstiest};

use super::foresight::Sight;
use super::judging;
use super::review::{Month, Whereabouts};
use buying::Order;
use course::along;
use past::Past;
pub use risk::AtRisk;
use tally::Tally;
pub use tally::{Band, MonthAhead};

/// What is to come of one make, or of all.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MakeAhead {
    /// The make; none for all together.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub make: Option<String>,
    /// Packs that are foretold.
    pub packs: u32,
    /// Of those, fit and here.
    pub fit_here: u32,
    /// Packs of which nothing can be said: never read, and too few of their make have failed. They are in no other figure but
    /// the stock that buying goes by.
    pub not_enough_data: u32,
    /// How many are expected to hold less than their limit already: `sum p(now)`.
    pub below_now_expected: f64,
    /// How many more will till the end: `sum p(end) - p(now)`.
    pub expected: f64,
    /// The months.
    pub months: Vec<MonthAhead>,
}

/// By what chances were widened.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Doubt {
    /// Readings of the last twelve months below the limit, of packs that held it before.
    pub observed: u32,
    /// How many of them the model expects, each from what was known before it: `sum p`.
    pub expected: f64,
    /// Coefficient of variation of the factor by which all hazards may be off together.
    pub variation_percent: f64,
}

/// Orders of one make.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Buy {
    /// The make.
    pub make: String,
    /// The orders, first first.
    pub orders: Vec<Order>,
}

/// What is to come.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Ahead {
    /// The day.
    pub as_of: Date,
    /// When the model was learnt.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub model_learnt: Option<Date>,
    /// All makes together.
    pub all: MakeAhead,
    /// Each make.
    pub makes: Vec<MakeAhead>,
    /// By what the bands are widened.
    pub doubt: Doubt,
    /// Share of the days since they came that packs were out: `sum of days on loan / sum of days in the ledger`.
    pub days_out_percent: f64,
    /// What to buy.
    pub buy: Vec<Buy>,
    /// The settings of buying, in words.
    pub buying: String,
    /// Days beyond their due date by which most loans are back.
    pub overrun_days: u32,
    /// The chance from which a pack that is out is listed, in per cent; none where the policy has the rule off.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at_risk_above_percent: Option<f64>,
    /// Packs out that are too likely to be below their limit when they come back, worst first.
    pub at_risk: Vec<AtRisk>,
}

/// What is to come, and the ends of those packs that will have reached theirs.
pub(crate) type Looked = (Ahead, HashMap<PackId, Ends>);

/// When a pack will have reached its end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Ends {
    /// The first day of the month by whose end it is more likely than not.
    pub(crate) expected: Date,
    /// The month by whose end the chance is one in ten.
    pub(crate) first: Date,
    /// The month by whose end it is nine in ten; none when that lies beyond the time looked at.
    pub(crate) last: Option<Date>,
    /// What it holds now.
    pub(crate) holds: Holding,
}

/// A look ahead in the making.
struct Work<'a> {
    settings: &'a Settings,
    zone: &'a jiff::tz::TimeZone,
    now: Moment,
    today: Date,
    /// First day of each month, and days from now to its end.
    months: Vec<(Date, u32)>,
    cartons: HashMap<CartonId, CartonFacts>,
    players: HashMap<PlayerId, PlayerMakeId>,
    past: Past,
    tallies: BTreeMap<MakeId, Tally>,
    at_risk: Vec<risk::Found>,
    ends: HashMap<PackId, Ends>,
}

/// Works out what is to come in so many months; none while no model is learnt. `seen` is told how many packs were looked at.
///
/// # Errors
/// A fault of the ledger.
pub fn ahead(
    ledger: &mut Ledger,
    now: Moment,
    months: u32,
    seen: impl FnMut(u64),
) -> Result<Option<Ahead>, LedgerError> {
    let settings = ledger.settings()?.clone();
    let told = ahead_until(ledger, &settings, (now, i64::MAX), months, seen)?;
    Ok(told.map(|(ahead, _)| ahead))
}

/// The same by what all entries up to a clock value said, with the ends of those packs that will have reached theirs, more likely
/// than not, in the time that is looked at.
///
/// # Errors
/// A fault of the ledger.
pub(crate) fn ahead_until(
    ledger: &mut Ledger,
    settings: &Settings,
    (now, clock): (Moment, i64),
    months: u32,
    mut seen: impl FnMut(u64),
) -> Result<Option<Looked>, LedgerError> {
    if settings.seer.is_none() {
        return Ok(None);
    }
    let zone = ledger.zone().clone();
    let mut looked = 0;
    let mut step = || {
        looked += 1;
        seen(looked);
    };
    let past = Past::gather(ledger, settings, (now, clock), &mut step)?;
    let today = now.day(&zone);
    let mut work = Work {
        settings,
        zone: &zone,
        now,
        today,
        months: month_ends(today, months),
        cartons: cartons_until(ledger, clock)?,
        players: players_out(ledger, clock)?,
        past,
        tallies: BTreeMap::new(),
        at_risk: Vec::new(),
        ends: HashMap::new(),
    };
    ledger.each_until(ThingKind::Pack, clock, |thing, facts| {
        step();
        if let Facts::Pack(pack) = facts {
            work.pack(PackId::new(thing.id), &pack);
        }
        Ok::<(), LedgerError>(())
    })?;
    let at_risk = risk::named(ledger, std::mem::take(&mut work.at_risk))?;
    let ends = std::mem::take(&mut work.ends);
    Ok(Some((work.finish(at_risk), ends)))
}

/// The months from this one on, and days from today to the end of each.
fn month_ends(today: Date, months: u32) -> Vec<(Date, u32)> {
    let mut first = today.first_of_month();
    let mut ends = Vec::new();
    for _ in 0..months {
        let next = Month::of(first).next();
        ends.push((first, u32::try_from(days_between(today, next)).unwrap_or(0)));
        first = next;
    }
    ends
}

/// Cartons, by identity.
pub(super) fn cartons(ledger: &mut Ledger) -> Result<HashMap<CartonId, CartonFacts>, LedgerError> {
    cartons_until(ledger, i64::MAX)
}

/// Cartons as all entries up to a clock value gave them, by identity.
pub(super) fn cartons_until(
    ledger: &mut Ledger,
    clock: i64,
) -> Result<HashMap<CartonId, CartonFacts>, LedgerError> {
    let mut all = HashMap::new();
    ledger.each_until(ThingKind::Carton, clock, |thing, facts| {
        all.extend(facts.try_into().ok().map(|carton| (CartonId::new(thing.id), carton)));
        Ok::<(), LedgerError>(())
    })?;
    Ok(all)
}

/// Makes of the players that are out.
fn players_out(ledger: &mut Ledger, clock: i64) -> Result<HashMap<PlayerId, PlayerMakeId>, LedgerError> {
    let mut players = HashMap::new();
    ledger.each_until(ThingKind::Player, clock, |thing, facts| {
        if let Ok(player) = PlayerFacts::try_from(facts)
            && player.loan.is_some()
            && let Some(make) = player.make
        {
            players.insert(PlayerId::new(thing.id), make);
        }
        Ok::<(), LedgerError>(())
    })?;
    Ok(players)
}

/// What a pack must hold in service, in a player or in the thirstiest that it fits.
fn service_limit(
    settings: &Settings,
    pack: &PackFacts,
    player: Option<&PlayerMake>,
) -> Option<MilliampHours> {
    let make = settings.makes.get(&pack.make?)?;
    let player = player.or_else(|| thirstiest(make, &settings.players));
    limit(&settings.policy, Origin::Service, make, player)
}

impl Work<'_> {
    fn pack(&mut self, id: PackId, pack: &PackFacts) {
        let place = Whereabouts::of(pack);
        if pack.added.is_none()
            || pack.joined.is_some()
            || matches!(
                place,
                Whereabouts::WrittenOff | Whereabouts::Missing | Whereabouts::Waste | Whereabouts::Left
            )
        {
            return;
        }
        let Some(make) = pack.make.filter(|make| self.settings.makes.contains_key(make)) else { return };
        let settings = self.settings;
        let player = pack.ride.and_then(|ride| self.players.get(&ride.player));
        let player = player.and_then(|make| settings.player_makes.get(make));
        let sight = judging::sight(settings, (id, pack), player, self.now);
        let Some(fit) = self.verdict((id, pack), (place, player), sight.as_ref()) else { return };
        let months = self.months.len();
        let tally = self.tallies.entry(make).or_insert_with(|| Tally::new(months));
        tally.packs += 1;
        tally.fit_here += u32::from(fit);
        let chances = match (&sight, service_limit(settings, pack, player)) {
            (Some(sight), Some(limit)) => {
                let lag = self.past.lag(pack, sight.pace(), self.now);
                let pace = self.past.pace(pack, sight.pace(), self.now);
                let chance =
                    |days: u32| sight.chance_then(limit, days, lag + pace * f64::from(days)).clamp(0.0, 1.0);
                Some(along(&self.months, chance))
            }
            (None, Some(_)) => {
                let chance = self.past.worn(make, pack, self.now);
                chance.map(|chance| along(&self.months, chance))
            }
            _ => None,
        };
        match chances {
            Some((now, months)) => {
                tally.add(now, &months);
                let month = |least: f64| {
                    let place = months.iter().position(|&chance| chance >= least)?;
                    self.months.get(place).map(|&(first, _)| first)
                };
                if let (Some(expected), Some(sight)) = (month(0.5), &sight) {
                    let holds = sight.holds_then(0, self.past.lag(pack, sight.pace(), self.now));
                    let ends =
                        Ends { expected, first: month(0.1).unwrap_or(expected), last: month(0.9), holds };
                    self.ends.insert(id, ends);
                }
            }
            None => tally.unknown += 1,
        }
        if let (Some(loan), Some(sight), Some(most), Some(limit)) =
            (pack.loan, &sight, settings.policy.rules.forecast, service_limit(settings, pack, player))
        {
            let lag = self.past.lag(pack, sight.pace(), self.now);
            let make = settings.makes.get(&make);
            let draw = player.or_else(|| thirstiest(make?, &settings.players)).map(|player| player.draw);
            let overrun = settings.seer.as_ref().map_or(0, |seer| seer.overrun);
            let days = u32::try_from(days_between(self.today, loan.due)).unwrap_or(0).saturating_add(overrun);
            let cycles = lag + sight.pace() * f64::from(days);
            let chance = sight.chance_then(limit, days, cycles);
            if chance > f64::from(most.raw()) / 1e6 {
                self.at_risk.push(risk::Found {
                    codes: pack.codes.clone(),
                    player: pack.ride.map(|ride| ride.player),
                    due: loan.due,
                    limit,
                    holds: sight.holds_then(days, cycles),
                    draw,
                    chance,
                });
            }
        }
    }

    /// None for a pack that the judge would recycle or keep apart; else whether it is fit and here.
    fn verdict(
        &self,
        (id, pack): (PackId, &PackFacts),
        (place, player): (Whereabouts, Option<&PlayerMake>),
        sight: Option<&Sight<'_>>,
    ) -> Option<bool> {
        let own = pack.ride.map_or(PlayerId::new(uuid::Uuid::nil()), |ride| ride.player);
        let make = pack.make.and_then(|make| self.settings.makes.get(&make));
        let make = player.or_else(|| thirstiest(make?, &self.settings.players));
        let target = Target { player: own, make, holds: None, lent: false };
        let ruling = judging::for_loan(
            (id, pack),
            (self.settings, &self.cartons),
            (target, sight),
            (self.now, self.zone, None),
        );
        let ends = |verdict| matches!(verdict, Verdict::Recycle | Verdict::Isolate);
        if ruling.reasons.iter().any(|reason| ends(reason.verdict)) {
            return None;
        }
        let here = matches!(place, Whereabouts::InPlayer | Whereabouts::InWorkshop);
        Some(here && ruling.verdict == Verdict::Fit)
    }

    fn finish(self, at_risk: Vec<AtRisk>) -> Ahead {
        let rules = self.settings.policy.buying;
        let spread = self.past.spread();
        let level = f64::from(rules.service_level_percent) / 100.0;
        let mut all = Tally::new(self.months.len());
        let (mut makes, mut buy) = (Vec::new(), Vec::new());
        for (id, tally) in &self.tallies {
            let name = self.settings.makes.get(id).map(|make| make.name.clone()).unwrap_or_default();
            let stock = buying::Stock {
                packs: tally.packs,
                fit_here: tally.fit_here,
                retired: tally.retired(&self.months, &spread, level),
            };
            buy.push(Buy { make: name.clone(), orders: buying::orders(&stock, rules, self.today) });
            makes.push(tally.report(Some(name), &self.months, &spread));
            all.merge(tally);
        }
        makes.sort_by(|a, b| a.make.cmp(&b.make));
        buy.sort_by(|a, b| a.make.cmp(&b.make));
        let forecast = self.settings.policy.rules.forecast;
        Ahead {
            as_of: self.today,
            model_learnt: self
                .settings
                .seer
                .as_ref()
                .and_then(|seer| seer.learnt)
                .map(|at| at.day(self.zone)),
            all: all.report(None, &self.months, &spread),
            makes,
            doubt: self.past.doubt(),
            days_out_percent: 100.0 * self.past.days_out(),
            buy,
            buying: format!(
                "{} days from order to use, growth {} % a year, {} ready of each make, enough with a chance of {} %",
                rules.lead_days,
                rules.growth_percent_per_year,
                rules.ready_stock,
                rules.service_level_percent
            ),
            overrun_days: self.settings.seer.as_ref().map_or(0, |seer| seer.overrun),
            at_risk_above_percent: forecast.map(|chance| f64::from(chance.raw()) / 1e4),
            at_risk,
        }
    }
}
