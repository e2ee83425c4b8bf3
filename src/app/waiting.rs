//! The morning page: everything that waits for somebody, and what stands ready.

use std::collections::{BTreeMap, HashMap};

use jiff::civil::Date;
use serde::Serialize;

use crate::domain::event::Origin;
use crate::domain::facts::{CartonFacts, Facts, LoanFacts, LotFacts, PlayerFacts, SlotFacts};
use crate::domain::ids::{CartonId, LotId, MakeId, PackId, PlaceId, Thing, ThingKind};
use crate::domain::moment::{Moment, days_between};
use crate::domain::pack::PackFacts;
use crate::domain::verdict::{Rule, Verdict};
use crate::ledger::settings::Settings;
use crate::ledger::{Ledger, LedgerError};
use crate::policy::judge::carton::{Standing, standing};
use crate::policy::limits::{limit, thirstiest};
use crate::policy::notice::covers;

use super::ahead;
use super::answer;
use super::judging;
use super::lookup;
use super::review::Whereabouts;
use super::waste;

/// Days over which the dispatches of a make are counted.
const LOOK_BACK: i64 = 56;

/// One thing that waits.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Item {
    /// What it is: a tag or name.
    pub what: String,
    /// Where it is, if that matters.
    #[serde(rename = "where", skip_serializing_if = "String::is_empty")]
    pub place: String,
    /// Why it waits, or since when.
    pub why: String,
}

/// Fit packs of a make, and how long they last.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Ready {
    /// The make.
    pub make: String,
    /// Fit packs in the workshop, loose or in a player.
    pub fit: u32,
    /// Dispatches of the make in the last eight weeks.
    pub dispatches: u32,
    /// Weeks of dispatches that they cover at that rate; unknown when there were none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub weeks: Option<f64>,
}

/// Everything that waits.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Waiting {
    /// The day.
    pub as_of: Date,
    /// Open runs, those that should be done first.
    pub runs: Vec<Item>,
    /// Slots that are closed until they are serviced.
    pub closed: Vec<Item>,
    /// Packs to measure, longest waiting first.
    pub measure: Vec<Item>,
    /// Packs to recondition.
    pub recondition: Vec<Item>,
    /// Cartons whose sample is not read yet.
    pub samples: Vec<Item>,
    /// Intakes that were begun and not finished.
    pub intakes: Vec<Item>,
    /// Packs that wait, and for what.
    pub waits: Vec<Item>,
    /// Loans overdue, longest first.
    pub overdue: Vec<Item>,
    /// Loans of which the borrower complained.
    pub complaints: Vec<Item>,
    /// Packs under a safety notice, those with borrowers first.
    pub notices: Vec<Item>,
    /// Packs whose whereabouts are unknown.
    pub missing: Vec<Item>,
    /// Packs that lie in a tray for another verdict.
    pub misplaced: Vec<Item>,
    /// Fit packs that lie in no place.
    pub unplaced: Vec<Item>,
    /// What waste must do soon: leave, or be less.
    pub waste: Vec<Item>,
    /// What stands ready, by make.
    pub ready: Vec<Ready>,
}

struct Look<'a> {
    settings: &'a Settings,
    zone: &'a jiff::tz::TimeZone,
    now: Moment,
    cartons: HashMap<CartonId, CartonFacts>,
    waiting: Waiting,
    /// Packs to measure and overdue loans, with what they are ordered by.
    measure: Vec<(Moment, Item)>,
    notices: Vec<(bool, Item)>,
    fit: BTreeMap<MakeId, u32>,
    waste: waste::Tally,
    /// Places are in use: some pack lies in one.
    places: bool,
}

/// Works out what waits now.
///
/// # Errors
/// A fault of the ledger.
pub fn waiting(ledger: &mut Ledger, now: Moment) -> Result<Waiting, LedgerError> {
    let settings = ledger.settings()?.clone();
    let zone = ledger.zone().clone();
    let cartons = ahead::cartons(ledger)?;
    let mut look = Look {
        settings: &settings,
        zone: &zone,
        now,
        cartons,
        waiting: Waiting::empty(now.day(&zone)),
        measure: Vec::new(),
        notices: Vec::new(),
        fit: BTreeMap::new(),
        waste: waste::Tally::new(&settings, now.day(&zone), zone.clone()),
        places: false,
    };
    ledger.each(ThingKind::Pack, |thing, _, facts| {
        if let Facts::Pack(pack) = facts {
            look.pack(PackId::new(thing.id), &pack);
        }
        Ok::<(), LedgerError>(())
    })?;
    look.slots(ledger)?;
    look.players(ledger)?;
    let lots = ledger.all(ThingKind::Lot)?.into_iter().filter_map(|(thing, facts)| {
        let lot = LotFacts::try_from(facts).ok()?;
        Some((LotId::new(thing.id), lot.make?))
    });
    look.samples(&lots.collect());
    let sent = dispatches(ledger, now)?;
    Ok(look.finish(&sent))
}

/// Dispatches of each pack's make in the last weeks.
fn dispatches(ledger: &mut Ledger, now: Moment) -> Result<BTreeMap<MakeId, u32>, LedgerError> {
    let since = now.plus_days(-LOOK_BACK);
    let mut packs: Vec<PackId> = Vec::new();
    ledger.each(ThingKind::Loan, |_, _, facts| {
        let loan = LoanFacts::try_from(facts).ok().filter(|loan| loan.began.is_some_and(|at| at >= since));
        packs.extend(loan.and_then(|loan| loan.pack));
        Ok::<(), LedgerError>(())
    })?;
    let mut sent = BTreeMap::new();
    for pack in packs {
        let facts: PackFacts = ledger.facts(pack.into())?.unwrap_or_default();
        if let Some(make) = facts.make {
            *sent.entry(make).or_default() += 1;
        }
    }
    Ok(sent)
}

impl Waiting {
    const fn empty(as_of: Date) -> Self {
        Self {
            as_of,
            runs: Vec::new(),
            closed: Vec::new(),
            measure: Vec::new(),
            recondition: Vec::new(),
            samples: Vec::new(),
            intakes: Vec::new(),
            waits: Vec::new(),
            overdue: Vec::new(),
            complaints: Vec::new(),
            notices: Vec::new(),
            missing: Vec::new(),
            misplaced: Vec::new(),
            unplaced: Vec::new(),
            waste: Vec::new(),
            ready: Vec::new(),
        }
    }
}

/// A count of days.
fn days(count: i64) -> String {
    if count == 1 { "1 day".to_owned() } else { format!("{count} days") }
}

impl Look<'_> {
    fn place_name(&self, place: Option<PlaceId>) -> String {
        let place = place.and_then(|place| self.settings.places.get(&place));
        place.map(|place| place.name.clone()).unwrap_or_default()
    }

    fn pack(&mut self, id: PackId, pack: &PackFacts) {
        if pack.added.is_none() || pack.joined.is_some() || pack.written_off.is_some() {
            return;
        }
        self.waste.take(self.settings, pack);
        if Whereabouts::of(pack) == Whereabouts::Left {
            return;
        }
        let what = lookup::label(&pack.codes);
        let place = Whereabouts::of(pack);
        for notice in self.settings.notices.iter().filter(|notice| covers(&notice.scope, pack)) {
            let out = pack.loan.map(|loan| format!("with a borrower, due {}", loan.due));
            let here = out.clone().unwrap_or_else(|| place.words().to_owned());
            let item = Item { what: what.clone(), place: here, why: notice.text.clone() };
            self.notices.push((out.is_none(), item));
        }
        if place == Whereabouts::Waste {
            return;
        }
        if let Some(since) = pack.missing {
            let why = format!("not found where it should be since {}", since.day(self.zone));
            self.waiting.missing.push(Item { what, place: String::new(), why });
            return;
        }
        if matches!(place, Whereabouts::Out | Whereabouts::OnBench) {
            if let (Some((after, at)), Some(loan)) = (pack.complaint, pack.loan) {
                let after = after.map_or_else(|| "early".to_owned(), |hours| format!("after {hours}"));
                let why = format!("stops {after}, said on {}", at.day(self.zone));
                let place = format!("with a borrower, due {}", loan.due);
                self.waiting.complaints.push(Item { what, place, why });
            }
            return;
        }
        self.places |= pack.place.is_some();
        let ruling = judging::loose((id, pack), self.settings, &self.cartons, (self.now, self.zone));
        let why = ruling.reasons.first().map(ToString::to_string).unwrap_or_default();
        let lies = self.place_name(pack.place.map(|(place, _)| place));
        let item = Item { what: what.clone(), place: lies.clone(), why };
        match ruling.verdict {
            Verdict::Fit => {
                if let Some(make) = pack.make {
                    *self.fit.entry(make).or_default() += 1;
                }
                if place == Whereabouts::InWorkshop && pack.place.is_none() {
                    let why = ruling.basis.clone().unwrap_or_default();
                    self.waiting.unplaced.push(Item { why, ..item.clone() });
                }
            }
            Verdict::Measure => {
                let since = pack.counts_from().or(pack.added).unwrap_or_default();
                self.measure.push((since, item.clone()));
            }
            Verdict::Recondition => self.waiting.recondition.push(item.clone()),
            // A carton's packs wait together: the carton is listed once, with what its sample needs.
            Verdict::Wait if ruling.reasons.first().is_some_and(|reason| reason.rule == Rule::Carton) => {}
            Verdict::Wait => self.waiting.waits.push(item.clone()),
            Verdict::Recycle | Verdict::Isolate => {}
        }
        let tray =
            pack.place.and_then(|(place, _)| self.settings.places.get(&place)).and_then(|place| place.tray);
        if let Some(tray) = tray.filter(|tray| *tray != ruling.verdict) {
            let why = format!("{} in a tray for {tray}", ruling.verdict);
            self.waiting.misplaced.push(Item { what, place: lies, why });
        }
    }

    fn slots(&mut self, ledger: &mut Ledger) -> Result<(), LedgerError> {
        let hours = i64::from(self.settings.policy.bench.test_hours);
        let mut runs: Vec<(Moment, Item)> = Vec::new();
        for (_, facts) in ledger.all(ThingKind::Slot)? {
            let Ok(slot) = SlotFacts::try_from(facts) else { continue };
            if let Some((_, pack, since)) = slot.run {
                let done = since.plus_millis(hours * 3_600_000);
                let state = if done <= self.now { "should be done since" } else { "should be done by" };
                let why = format!("{state} {}", done.local(self.zone));
                let what = lookup::pack_name(ledger, pack)?;
                runs.push((done, Item { what, place: slot.name.clone(), why }));
            }
            if slot.failures >= self.settings.policy.bench.close_slot_after {
                let why = format!("{} runs in a row gave no result: have it serviced", slot.failures);
                self.waiting.closed.push(Item { what: slot.name, place: String::new(), why });
            }
        }
        runs.sort_by(|a, b| (a.0, &a.1.place).cmp(&(b.0, &b.1.place)));
        self.waiting.runs = runs.into_iter().map(|(_, item)| item).collect();
        Ok(())
    }

    fn players(&mut self, ledger: &mut Ledger) -> Result<(), LedgerError> {
        let today = self.waiting.as_of;
        let mut overdue: Vec<(Date, Item)> = Vec::new();
        let mut out: Vec<(Thing, PlayerFacts)> = Vec::new();
        ledger.each(ThingKind::Player, |thing, _, facts| {
            if let Ok(player) = PlayerFacts::try_from(facts)
                && player.written_off.is_none()
                && (player.loan.is_some() || player.arrived.is_some())
            {
                out.push((thing, player));
            }
            Ok::<(), LedgerError>(())
        })?;
        for (_, player) in out {
            let what = lookup::label(&player.codes);
            if let Some((at, desk)) = &player.arrived {
                let why = format!("begun on {} at {desk}: scan it again, then its pack", at.local(self.zone));
                self.waiting.intakes.push(Item { what, place: String::new(), why });
            } else if let Some((_, pack, _, due)) = player.loan.filter(|(.., due)| *due < today) {
                let why = format!("due {due}, {} overdue", days(days_between(due, today)));
                let place = format!("with pack {}", lookup::pack_name(ledger, pack)?);
                overdue.push((due, Item { what, place, why }));
            }
        }
        overdue.sort_by(|a, b| (a.0, &a.1.what).cmp(&(b.0, &b.1.what)));
        self.waiting.overdue = overdue.into_iter().map(|(_, item)| item).collect();
        Ok(())
    }

    fn samples(&mut self, lots: &HashMap<LotId, MakeId>) {
        let Some(rule) = self.settings.policy.rules.carton else { return };
        for carton in self.cartons.values().filter(|carton| carton.packs > 0 && carton.dangerous.is_empty()) {
            let make =
                carton.lot.and_then(|lot| lots.get(&lot)).and_then(|make| self.settings.makes.get(make));
            let must = make.and_then(|make| {
                limit(&self.settings.policy, Origin::New, make, thirstiest(make, &self.settings.players))
            });
            let Some(Standing::Waits { read, of, second, .. }) =
                must.map(|limit| standing(carton, rule, limit))
            else {
                continue;
            };
            let sample = if second { "second sample" } else { "sample" };
            let why = format!(
                "{read} of {of} {sample} packs read: measure {} more (packmuster sampling --carton {} names them)",
                of - read,
                carton.name
            );
            self.waiting.samples.push(Item { what: carton.name.clone(), place: String::new(), why });
        }
        self.waiting.samples.sort_by(|a, b| a.what.cmp(&b.what));
    }

    fn finish(mut self, sent: &BTreeMap<MakeId, u32>) -> Waiting {
        self.measure.sort_by(|a, b| (a.0, &a.1.what).cmp(&(b.0, &b.1.what)));
        self.notices.sort_by(|a, b| (a.0, &a.1.place, &a.1.what).cmp(&(b.0, &b.1.place, &b.1.what)));
        let mut waiting = self.waiting;
        let waste = self.waste.finish();
        for why in waste.warnings {
            let what = answer::count(usize::try_from(waste.packs).unwrap_or(usize::MAX), "pack", "packs");
            waiting.waste.push(Item { what, place: String::new(), why });
        }
        if !self.places {
            // A workshop that scans no places need not be told so of every pack.
            waiting.unplaced.clear();
        }
        waiting.measure = self.measure.into_iter().map(|(_, item)| item).collect();
        waiting.notices = self.notices.into_iter().map(|(_, item)| item).collect();
        for list in [
            &mut waiting.recondition,
            &mut waiting.waits,
            &mut waiting.complaints,
            &mut waiting.missing,
            &mut waiting.misplaced,
            &mut waiting.unplaced,
            &mut waiting.intakes,
            &mut waiting.closed,
        ] {
            list.sort_by(|a, b| (&a.what, &a.why).cmp(&(&b.what, &b.why)));
        }
        for (id, make) in &self.settings.makes {
            let (fit, dispatches) =
                (self.fit.get(id).copied().unwrap_or(0), sent.get(id).copied().unwrap_or(0));
            let weeks = (dispatches > 0).then(|| {
                let tenths = u64::from(fit) * 10 * LOOK_BACK.unsigned_abs() / 7 / u64::from(dispatches);
                f64::from(u32::try_from(tenths).unwrap_or(u32::MAX)) / 10.0
            });
            waiting.ready.push(Ready { make: make.name.clone(), fit, dispatches, weeks });
        }
        waiting.ready.sort_by(|a, b| a.make.cmp(&b.make));
        waiting
    }
}
