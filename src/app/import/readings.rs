//! Importing readings: past ones, and results of the bench.
//!
//! A reading that was taken while its pack was in a slot, at or after the run's begin, is the result of that run and
//! settles it. A day without a time is its noon, or now if noon is still to come; on the day on which the run began it
//! counts as after the begin.

use std::collections::{BTreeMap, HashMap, HashSet};

use jiff::tz::TimeZone;
use serde::Serialize;

use crate::domain::event::{Event, Method, ReadingTaken};
use crate::domain::facts::Facts;
use crate::domain::ids::{PackId, RunId, SlotId, ThingKind};
use crate::domain::make::PackMake;
use crate::domain::moment::Moment;
use crate::domain::pack::{OpenRun, PackFacts};
use crate::domain::units::MilliampHours;
use crate::domain::verdict::Verdict;
use crate::exchange::cells::{Cells, Code, When};
use crate::exchange::fault::Fault;
use crate::exchange::layout::Shape;
use crate::exchange::readings::{self, ReadingRow};
use crate::ledger::query::Named;
use crate::ledger::settings::Settings;
use crate::ledger::{Ledger, LedgerError};

use super::super::bench;
use super::super::error::AppError;
use super::super::lookup::{self, Scanned};
use super::super::session::Here;
use super::{Import, Refusal, verdicts};

/// What becomes of readings that the policy finds implausible.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Implausible {
    /// Their rows are bad.
    Refused,
    /// They are taken.
    Accepted,
}

/// What an import of readings did.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Summary {
    /// Readings taken over.
    pub readings: u64,
    /// Packs that they are of.
    pub packs: usize,
    /// Runs that were settled.
    pub runs_settled: u64,
    /// The lowest reading.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lowest_mah: Option<MilliampHours>,
    /// The highest reading.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub highest_mah: Option<MilliampHours>,
    /// These packs by what the judge says of them now.
    pub packs_by_verdict: BTreeMap<Verdict, u64>,
}

/// An import of readings.
#[derive(Debug)]
pub struct Readings {
    implausible: Implausible,
    settings: Settings,
    zone: TimeZone,
    slots: HashMap<String, Option<SlotId>>,
    /// Codes that were looked up already.
    codes: HashMap<String, PackId>,
    packs: HashSet<PackId>,
    count: u64,
    runs_settled: u64,
    range: Option<(MilliampHours, MilliampHours)>,
}

/// A moment, and how exactly it is known.
#[derive(Debug, Clone, Copy)]
struct Taken {
    at: Moment,
    when: When,
}

impl Readings {
    /// Begins an import.
    ///
    /// # Errors
    /// A fault of the ledger.
    pub fn new(ledger: &mut Ledger, implausible: Implausible) -> Result<Self, AppError> {
        Ok(Self {
            implausible,
            settings: ledger.settings()?.clone(),
            zone: ledger.zone().clone(),
            slots: HashMap::new(),
            codes: HashMap::new(),
            packs: HashSet::new(),
            count: 0,
            runs_settled: 0,
            range: None,
        })
    }

    /// The slot that a row names.
    fn slot(
        &mut self,
        ledger: &mut Ledger,
        cells: &Cells<'_>,
        name: Option<&str>,
    ) -> Result<Option<SlotId>, Refusal> {
        let Some(name) = name else { return Ok(None) };
        if !self.slots.contains_key(name) {
            let slot = find_slot(ledger, name)?;
            self.slots.insert(name.to_owned(), slot);
        }
        match self.slots.get(name).copied().flatten() {
            Some(slot) => Ok(Some(slot)),
            None => Err(cells.fault(readings::SLOT, "the name or tag of a slot").into()),
        }
    }

    /// The pack of a row: by its code, or the one in the slot.
    fn pack(
        &mut self,
        ledger: &mut Ledger,
        cells: &Cells<'_>,
        code: Option<&Code>,
        held: Option<(RunId, PackId, Moment)>,
    ) -> Result<PackId, Refusal> {
        let Some(code) = code.map(Code::text) else {
            let expected = "a slot with an open run, since the row names no pack";
            return held.map(|(_, pack, _)| pack).ok_or_else(|| cells.fault(readings::SLOT, expected).into());
        };
        if let Some(&pack) = self.codes.get(code) {
            return Ok(pack);
        }
        // An old record may name a tag that was replaced since.
        let expected = match ledger.resolve(code)? {
            None => "a code of a pack that is in the ledger".to_owned(),
            Some(Named::Now(thing) | Named::Once(thing)) => match thing.pack() {
                Some(pack) => {
                    self.codes.insert(code.to_owned(), pack);
                    return Ok(pack);
                }
                None => format!("a code of a pack, and this names a {}", thing.kind),
            },
        };
        Err(cells.fault(readings::PACK, expected).into())
    }

    fn odd(&self, facts: &PackFacts, capacity: MilliampHours, at: Moment) -> Option<String> {
        let make: &PackMake = facts.make.and_then(|make| self.settings.makes.get(&make))?;
        bench::odd(&self.settings.policy.plausible, make, facts, capacity, at)
    }

    /// Refuses a reading that the pack's facts speak against.
    fn check(
        &self,
        cells: &Cells<'_>,
        facts: &PackFacts,
        (taken, capacity): (Taken, MilliampHours),
    ) -> Result<(), Fault> {
        let day = match taken.when {
            When::Day(day) => day,
            When::Time(time) => time.date(),
        };
        if let Some(made) = facts.made.filter(|&made| day < made) {
            let expected = format!("a date not before the pack was made, {made}");
            return Err(cells.fault(readings::AT, expected));
        }
        let same = |at: Moment| match taken.when {
            When::Time(_) => at == taken.at,
            When::Day(day) => at.day(&self.zone) == day,
        };
        if facts.readings.iter().any(|reading| reading.capacity == capacity && same(reading.at)) {
            let expected = format!("a reading that is not there yet; the pack has {capacity} at that time");
            return Err(cells.fault(readings::AT, expected));
        }
        if self.implausible == Implausible::Accepted {
            return Ok(());
        }
        match self.odd(facts, capacity, taken.at) {
            Some(odd) => {
                let expected = format!("a plausible reading, and {odd}; --accept-implausible takes it");
                Err(cells.fault(readings::CAPACITY, expected))
            }
            None => Ok(()),
        }
    }
}

impl Import for Readings {
    type Summary = Summary;
    const SHAPE: Shape = readings::SHAPE;

    fn take(
        &mut self,
        here: &mut Here<'_>,
        now: Moment,
        cells: &Cells<'_>,
        events: &mut Vec<Event>,
    ) -> Result<(), Refusal> {
        let row = ReadingRow::read(cells)?;
        let ledger = &mut *here.ledger;
        let slot = self.slot(ledger, cells, row.slot)?;
        let held = match slot {
            Some(slot) => held(ledger, slot)?,
            None => None,
        };
        let pack = self.pack(ledger, cells, row.pack.as_ref(), held)?;
        let mut taken = moment(&self.zone, cells, row.at, now)?;
        let (open, carton) = match ledger.peek(pack.into())? {
            Some(Facts::Pack(facts)) => {
                if let (When::Day(day), Some(run)) = (taken.when, facts.run)
                    && run.since.day(&self.zone) == day
                {
                    taken.at = taken.at.max(run.since);
                }
                self.check(cells, facts, (taken, row.capacity))?;
                (facts.run, facts.sampled_carton())
            }
            _ => (None, None),
        };
        let run = run(ledger, cells, open.map(|run| (run, slot)), taken.at)?;
        if let (None, Some((_, other, since))) = (run, held)
            && other != pack
            && taken.at >= since
        {
            let other = lookup::pack_name(ledger, other)?;
            let expected = format!("another slot; it holds pack {other} since {}", since.local(&self.zone));
            return Err(cells.fault(readings::SLOT, expected).into());
        }
        let past = taken.at.day(&self.zone) < now.day(&self.zone);
        events.push(
            ReadingTaken {
                pack,
                slot: run.map(|(_, slot)| slot).or(slot),
                run: run.map(|(run, _)| run),
                carton,
                capacity: row.capacity,
                method: if past && run.is_none() { Method::Record } else { Method::Discharge },
                resistance: row.resistance,
                temperature: row.temperature,
                took: row.took,
                at: taken.at,
            }
            .into(),
        );
        self.packs.insert(pack);
        self.count += 1;
        self.runs_settled += u64::from(run.is_some());
        let (low, high) = self.range.unwrap_or((row.capacity, row.capacity));
        self.range = Some((low.min(row.capacity), high.max(row.capacity)));
        Ok(())
    }

    fn summary(&mut self, ledger: &mut Ledger, now: Moment) -> Result<Summary, LedgerError> {
        let mut packs: Vec<PackId> = self.packs.drain().collect();
        // In key order, so that the table is walked once.
        packs.sort_unstable();
        Ok(Summary {
            readings: self.count,
            packs: packs.len(),
            runs_settled: self.runs_settled,
            lowest_mah: self.range.map(|(low, _)| low),
            highest_mah: self.range.map(|(_, high)| high),
            packs_by_verdict: verdicts::count(ledger, &packs, now)?,
        })
    }
}

fn find_slot(ledger: &mut Ledger, name: &str) -> Result<Option<SlotId>, LedgerError> {
    if let Scanned::Known(thing) | Scanned::Retired(thing) = lookup::scanned(ledger, name)? {
        return Ok(thing.slot());
    }
    let named = ledger.named(ThingKind::Slot, name)?;
    Ok(match named.as_slice() {
        [only] => only.slot(),
        _ => None,
    })
}

/// The run that is open in a slot, the pack in it, and since when.
fn held(ledger: &mut Ledger, slot: SlotId) -> Result<Option<(RunId, PackId, Moment)>, LedgerError> {
    Ok(match ledger.peek(slot.into())? {
        Some(Facts::Slot(facts)) => facts.run,
        _ => None,
    })
}

/// The moment that a row means.
fn moment(zone: &TimeZone, cells: &Cells<'_>, when: When, now: Moment) -> Result<Taken, Fault> {
    let at = match when {
        When::Day(day) if day <= now.day(zone) => Some(Moment::noon_of(day, zone).min(now)),
        When::Day(_) => None,
        When::Time(time) => zone.to_timestamp(time).ok().map(Moment::from_timestamp).filter(|&at| at <= now),
    };
    let expected = || format!("a time not after now, {}", now.local(zone));
    at.map(|at| Taken { at, when }).ok_or_else(|| cells.fault(readings::AT, expected()))
}

/// The run that a reading settles, with its slot.
fn run(
    ledger: &mut Ledger,
    cells: &Cells<'_>,
    open: Option<(OpenRun, Option<SlotId>)>,
    at: Moment,
) -> Result<Option<(RunId, SlotId)>, Refusal> {
    let Some((run, named)) = open.filter(|(run, _)| at >= run.since) else { return Ok(None) };
    if named.is_none_or(|slot| slot == run.slot) {
        return Ok(Some((run.run, run.slot)));
    }
    let slot = lookup::name_of(ledger, run.slot.into())?;
    let since = run.since.local(ledger.zone());
    Err(cells.fault(readings::SLOT, format!("{slot}, where the pack is since {since}")).into())
}
