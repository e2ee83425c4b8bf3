//! What is to come: how many packs retire month by month, what to buy and by when, and which packs now out will not keep the promise.
//!
//! A pack retires in the month in which it first holds less than its limit in service. Packs that were read are foretold by the
//! fleet's model, others by the law of wear-out of their make. What is reckoned of each pack (`app::reckon`) is put together here.
//! Nothing is entered.
//!
//! Not foretold: the packs that the judge would recycle or keep apart, those that are missing, written off or joined to another. A
//! pack that waits for a round counts by what it holds now: a round may bring it back, and then it retires later than is said here.

pub mod buying;
mod past;
mod risk;
mod tally;

use std::cmp::Reverse;
use std::collections::{BTreeMap, HashMap};

use jiff::civil::Date;
use serde::Serialize;
use uuid::Uuid;

use crate::domain::facts::{CartonFacts, PlayerFacts};
use crate::domain::ids::{CartonId, MakeId, PackId, PlayerId, PlayerMakeId, ThingKind};
use crate::domain::moment::{Moment, days_between};
use crate::ledger::{Ledger, LedgerError};

use super::listed::{Listed, Top};
use super::reckon::{Foreseen, Foretell, Frame, Raw, Reckoned, Share, kept, number};
use super::review::Month;
use buying::Order;
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
    pub at_risk: Listed<AtRisk>,
}

/// What is gathered of the packs.
pub(crate) struct Gather {
    months: Vec<Date>,
    past: Past,
    tallies: BTreeMap<Raw, Tally>,
    /// Packs that were never read: how many of each make and of each day from which their age counts.
    worn: BTreeMap<(Raw, i32), u32>,
    at_risk: Top<(Reverse<u16>, Option<Date>, String, PackId)>,
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
    if settings.seer.is_none() {
        return Ok(None);
    }
    let zone = ledger.zone().clone();
    let mut frame = Frame {
        begin: Moment::start_of(now.day(&zone).first_of_month(), &zone),
        as_of: now,
        foretell: Some(Foretell::months(now, months, Share::default(), &zone)),
        cartons: HashMap::new(),
        players: HashMap::new(),
        settings,
        zone,
    };
    let mut gather = Gather::new(&frame, None);
    let reckon =
        |frame: &Frame, kept::Taken { id, last, pack }: kept::Taken| (id, frame.pack(id, last, &pack));
    kept::walk(ledger, &mut frame, i64::MAX, seen, reckon, |(id, pack)| {
        if let Some(pack) = pack {
            gather.take(id, &pack);
        }
        Ok(())
    })?;
    gather.finish(ledger, &frame, i64::MAX)
}

/// Cartons, by identity.
pub(super) fn cartons(ledger: &mut Ledger) -> Result<HashMap<CartonId, CartonFacts>, LedgerError> {
    cartons_until(ledger, i64::MAX)
}

/// Cartons as all entries up to a clock value gave them, by identity.
pub(crate) fn cartons_until(
    ledger: &mut Ledger,
    clock: i64,
) -> Result<HashMap<CartonId, CartonFacts>, LedgerError> {
    let mut all = HashMap::new();
    ledger.each_until(ThingKind::Carton, clock, |thing, _, facts| {
        all.extend(facts.try_into().ok().map(|carton| (CartonId::new(thing.id), carton)));
        Ok::<(), LedgerError>(())
    })?;
    Ok(all)
}

/// Makes of the players that are out.
pub(crate) fn players_out(
    ledger: &mut Ledger,
    clock: i64,
) -> Result<HashMap<PlayerId, PlayerMakeId>, LedgerError> {
    let mut players = HashMap::new();
    ledger.each_until(ThingKind::Player, clock, |thing, _, facts| {
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

impl Gather {
    /// Nothing yet; of packs at risk so many are told at most, if a number is given.
    pub(crate) fn new(frame: &Frame, most: Option<usize>) -> Self {
        let months = frame.foretell.as_ref().map(|foretell| foretell.months.clone()).unwrap_or_default();
        Self {
            months,
            past: Past::default(),
            tallies: BTreeMap::new(),
            worn: BTreeMap::new(),
            at_risk: Top::of(most),
        }
    }

    /// Takes a pack.
    pub(crate) fn take(&mut self, id: PackId, pack: &Reckoned) {
        self.past.take(pack);
        let Some(make) = pack.make.filter(|_| pack.foreseen != Foreseen::Nothing) else { return };
        let months = self.months.len();
        let tally = self.tallies.entry(make).or_insert_with(|| Tally::new(months));
        tally.packs += 1;
        tally.fit_here += u32::from(pack.fit_here());
        match &pack.foreseen {
            Foreseen::Course(now, months) => tally.add(*now, months),
            Foreseen::Worn(born) => *self.worn.entry((make, *born)).or_default() += 1,
            Foreseen::Nothing | Foreseen::Unknown => tally.unknown += 1,
        }
        if let Some(chance) = pack.risk {
            self.at_risk.push((Reverse(chance), pack.due, pack.label.clone(), id));
        }
    }

    /// Packs that were never read, by the law of their make.
    fn wear(&mut self, from: Date) {
        let ends: Vec<u32> = self
            .months
            .iter()
            .map(|&first| u32::try_from(days_between(from, Month::of(first).next())).unwrap_or(0))
            .collect();
        let from = number(from);
        for ((make, born), many) in std::mem::take(&mut self.worn) {
            let Some(tally) = self.tallies.get_mut(&make) else { continue };
            match self.past.worn(make, from.saturating_sub(born)) {
                Some(chance) => {
                    let (now, months) =
                        (chance(0), ends.iter().map(|&days| chance(days)).collect::<Vec<f64>>());
                    (0..many).for_each(|_| tally.add_worn(now, &months));
                }
                None => tally.unknown += many,
            }
        }
    }

    /// Puts all together; none where nothing is foretold. The packs at risk are told as entries up to a clock value gave them.
    ///
    /// # Errors
    /// A fault of the ledger.
    pub(crate) fn finish(
        mut self,
        ledger: &mut Ledger,
        frame: &Frame,
        clock: i64,
    ) -> Result<Option<Ahead>, LedgerError> {
        let (Some(foretell), Some(seer)) = (&frame.foretell, &frame.settings.seer) else { return Ok(None) };
        self.past.fit();
        self.wear(foretell.from.day(&frame.zone));
        let at_risk = std::mem::take(&mut self.at_risk);
        let at_risk = at_risk.listed(|(.., id)| risk::line(ledger, frame, *id, clock))?;
        let today = frame.today();
        let learnt = seer.learnt.map(|at| at.day(&frame.zone));
        Ok(Some(self.told(frame, (today, learnt), at_risk)))
    }

    fn told(self, frame: &Frame, (today, learnt): (Date, Option<Date>), at_risk: Listed<AtRisk>) -> Ahead {
        let settings = &frame.settings;
        let rules = settings.policy.buying;
        let spread = self.past.spread();
        let level = f64::from(rules.service_level_percent) / 100.0;
        let mut all = Tally::new(self.months.len());
        let (mut makes, mut buy) = (Vec::new(), Vec::new());
        for (&id, tally) in &self.tallies {
            let make = settings.makes.get(&MakeId::new(Uuid::from_bytes(id)));
            let name = make.map(|make| make.name.clone()).unwrap_or_default();
            let stock = buying::Stock {
                packs: tally.packs,
                fit_here: tally.fit_here,
                retired: tally.retired(&self.months, &spread, level),
            };
            buy.push(Buy { make: name.clone(), orders: buying::orders(&stock, rules, today) });
            makes.push(tally.report(Some(name), &self.months, &spread));
            all.merge(tally);
        }
        makes.sort_by(|a, b| a.make.cmp(&b.make));
        buy.sort_by(|a, b| a.make.cmp(&b.make));
        let forecast = settings.policy.rules.forecast;
        Ahead {
            as_of: today,
            model_learnt: learnt,
            all: all.report(None, &self.months, &spread),
            makes,
            doubt: self.past.doubt(),
            days_out_percent: 100.0 * self.past.days_out(frame.as_of),
            buy,
            buying: format!(
                "{} days from order to use, growth {} % a year, {} ready of each make, enough with a chance of {} %",
                rules.lead_days,
                rules.growth_percent_per_year,
                rules.ready_stock,
                rules.service_level_percent
            ),
            overrun_days: settings.seer.as_ref().map_or(0, |seer| seer.overrun),
            at_risk_above_percent: forecast.map(|chance| f64::from(chance.raw()) / 1e4),
            at_risk,
        }
    }
}
