//! Are the slots of the bench to be trusted? Each is watched by what its readings are off what was foretold of their packs, from
//! readings in other slots; and by studies, in which the same packs were read in every slot.
//!
//! With a model of the fleet, the model foretells; without one, the pack's last reading in another slot does. Only a slot's last
//! readings are watched, and none from before it was serviced. What a slot out of control has read is in doubt: packs that it failed,
//! or passed narrowly, are listed for a second reading. Nothing is changed: the ledger keeps what was read.

mod foretell;

use std::cmp::Reverse;
use std::collections::{BTreeMap, BinaryHeap, HashMap};
use std::ops::Range;

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use crate::domain::facts::{Facts, SlotFacts};
use crate::domain::ids::{PackId, SlotId, ThingKind};
use crate::domain::moment::Moment;
use crate::domain::pack::PackFacts;
use crate::ledger::settings::Settings;
use crate::ledger::{Ledger, LedgerError};
use crate::policy::limits::{limit, thirstiest};
use crate::stats::control::slots::bench::{self, BenchReading, LastReading, SlotRecord};
use crate::stats::control::slots::bias::{Bias, Spread};
use crate::stats::control::slots::watch::{SlotRules, Verdict};
use crate::stats::interval::Interval;

use super::error::AppError;
use super::{lookup, study};
use foretell::{ByModel, Only, Past};

/// Readings of each slot that are watched.
const WATCHED: usize = 400;
/// Fewer readings than this do not tell whether a slot is in control.
const FEW: usize = 8;

/// What is to be thought of a slot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Trust {
    /// Nothing speaks against it.
    InControl,
    /// It reads too much.
    ReadsHigh,
    /// It reads too little.
    ReadsLow,
    /// Too few readings of packs that were read elsewhere before.
    Unknown,
}

impl Trust {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::InControl => "in control",
            Self::ReadsHigh => "reads high",
            Self::ReadsLow => "reads low",
            Self::Unknown => "too little is known",
        }
    }
}

/// The bench under watch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Check {
    /// The day.
    pub as_of: Date,
    /// True when the fleet's model foretells; else each pack's last reading in another slot.
    pub by_model: bool,
    /// The slots, in the order of the bench.
    pub slots: Vec<SlotCheck>,
    /// Packs whose last reading is in doubt.
    pub again: Vec<Again>,
}

/// One slot under watch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SlotCheck {
    /// Its name.
    pub slot: String,
    /// What is to be thought of it.
    pub trust: Trust,
    /// Readings that were watched.
    pub watched: usize,
    /// The day of the first reading of which that holds.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub since: Option<Date>,
    /// The day of the reading that raised the alarm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub alarm: Option<Date>,
    /// What it reads too much, since then.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bias_mah: Option<f64>,
    /// The lower end of the 95 % interval.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bias_low_mah: Option<f64>,
    /// The upper end.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bias_high_mah: Option<f64>,
    /// Its bias by the latest study that it was part of.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub study: Option<(String, study::Bias)>,
    /// When it was last serviced: readings before are not watched.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub serviced: Option<Date>,
    /// The charts, reading by reading.
    pub charts: Vec<Point>,
}

/// The charts of a slot after one reading; in spreads of what was foretold.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Point {
    /// The day.
    pub day: Date,
    /// What was read.
    pub read_mah: f64,
    /// What was foretold.
    pub foretold_mah: f64,
    /// How far off, in spreads.
    pub off: f64,
    /// The moving average (EWMA).
    pub average: f64,
    /// The upper sum (CUSUM).
    pub high: f64,
    /// The lower sum.
    pub low: f64,
}

/// A pack whose last reading is in doubt.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Again {
    /// Its tag.
    pub pack: String,
    /// The slot.
    pub slot: String,
    /// The day of the reading.
    pub day: Date,
    /// What was read: this is what the ledger keeps.
    pub read_mah: u32,
    /// The same, freed of the slot's bias.
    pub corrected_mah: u32,
    /// What it must hold.
    pub limit_mah: u32,
    /// Why it should be read again.
    pub why: String,
}

/// Packs of which a reading is watched, and all their readings in time order.
struct Gathered {
    pasts: Vec<Past>,
    /// (when, past, reading), in time order.
    order: Vec<(Moment, usize, usize)>,
}

/// Checks every slot.
///
/// # Errors
/// A fault of the ledger.
pub fn check(ledger: &mut Ledger, now: Moment) -> Result<Check, AppError> {
    let settings = ledger.settings()?.clone();
    check_until(ledger, &settings, (now, i64::MAX))
}

/// The same by what all entries up to a clock value said.
///
/// # Errors
/// A fault of the ledger.
pub(crate) fn check_until(
    ledger: &mut Ledger,
    settings: &Settings,
    (now, clock): (Moment, i64),
) -> Result<Check, AppError> {
    let zone = ledger.zone().clone();
    let mut slots: Vec<(SlotId, SlotFacts)> = Vec::new();
    ledger.each_until(ThingKind::Slot, clock, |thing, _, facts| {
        slots.extend(thing.slot().zip(SlotFacts::try_from(facts).ok()));
        Ok::<(), LedgerError>(())
    })?;
    slots.sort_by(|(_, a), (_, b)| (a.name.len(), &a.name).cmp(&(b.name.len(), &b.name)));
    let number: HashMap<SlotId, usize> = slots.iter().enumerate().map(|(n, (id, _))| (*id, n)).collect();
    let gathered = gather(ledger, settings, &slots, clock)?;
    let (readings, watched) = line_up(&gathered, &slots, &number);
    let rules = SlotRules::crossed();
    let watch = |foretell: &mut dyn bench::Foretell| bench::watch(&readings, slots.len(), &rules, foretell);
    let records = match &settings.seer {
        Some(seer) => watch(&mut Only::new(ByModel::new(seer, &gathered.pasts, &gathered.order), watched)),
        None => watch(&mut Only::new(LastReading::new(&readings), watched)),
    };
    let records = records
        .map_err(|error| AppError::input(error.to_string(), "this should not be: readings are numbers"))?;
    let studied = study::biases(ledger)?;
    let mut checks = Vec::new();
    let mut again = Vec::new();
    for ((id, facts), record) in slots.iter().zip(&records) {
        let day = |place: usize| gathered.order.get(place).map(|(at, ..)| at.day(&zone));
        let told = tell(facts, record, day);
        again.extend(doubtful(ledger, settings, (*id, &facts.name), record, (&gathered, clock))?);
        checks.push(SlotCheck {
            study: studied.get(id).cloned(),
            serviced: facts.serviced.map(|(_, at)| at.day(&zone)),
            ..told
        });
    }
    again.sort_by(|a: &Again, b| (&a.slot, a.day, &a.pack).cmp(&(&b.slot, b.day, &b.pack)));
    Ok(Check { as_of: now.day(&zone), by_model: settings.seer.is_some(), slots: checks, again })
}

/// A reading by when it was taken, its pack, and which of the pack's readings it is.
type Taking = (Moment, PackId, usize);

/// The packs of which a reading is watched: each slot's last, since it was serviced.
#[derive(Default)]
struct Latest {
    /// Of each slot its last readings.
    slots: HashMap<SlotId, BinaryHeap<Reverse<Taking>>>,
    /// Of each pack, how many of its readings are among them.
    packs: BTreeMap<PackId, (usize, Option<Past>)>,
}

impl Latest {
    /// `serviced` tells of each slot when it last was.
    fn take(
        &mut self,
        id: PackId,
        pack: &PackFacts,
        settings: &Settings,
        serviced: &HashMap<SlotId, Option<Moment>>,
    ) {
        for (n, reading) in pack.readings.iter().enumerate() {
            let Some((slot, since)) = reading.slot.and_then(|slot| Some((slot, serviced.get(&slot)?))) else {
                continue;
            };
            if since.is_some_and(|since| reading.at < since) {
                continue;
            }
            let last = self.slots.entry(slot).or_default();
            last.push(Reverse((reading.at, id, n)));
            self.packs.entry(id).or_default().0 += 1;
            let gone = if last.len() > WATCHED { last.pop() } else { None };
            if let Some(Reverse((_, gone, _))) = gone
                && let Some((left, _)) = self.packs.get_mut(&gone)
            {
                *left -= 1;
                if *left == 0 {
                    self.packs.remove(&gone);
                }
            }
        }
        if let Some((_, past)) = self.packs.get_mut(&id) {
            *past = Some(Past::of(id, pack, settings));
        }
    }
}

fn gather(
    ledger: &mut Ledger,
    settings: &Settings,
    slots: &[(SlotId, SlotFacts)],
    clock: i64,
) -> Result<Gathered, LedgerError> {
    let since = |facts: &SlotFacts| facts.serviced.map(|(_, at)| at);
    let serviced: HashMap<SlotId, Option<Moment>> =
        slots.iter().map(|(id, slot)| (*id, since(slot))).collect();
    let mut latest = Latest::default();
    ledger.each_until(ThingKind::Pack, clock, |thing, _, facts| {
        if let (Facts::Pack(pack), Some(id)) = (facts, thing.pack())
            && pack.joined.is_none()
        {
            latest.take(id, &pack, settings, &serviced);
        }
        Ok::<(), LedgerError>(())
    })?;
    let pasts: Vec<Past> = latest.packs.into_values().filter_map(|(_, past)| past).collect();
    let mut order: Vec<(Moment, usize, usize)> = pasts
        .iter()
        .enumerate()
        .flat_map(|(pack, past)| {
            past.readings.iter().enumerate().map(move |(n, reading)| (reading.at, pack, n))
        })
        .collect();
    order.sort_unstable();
    Ok(Gathered { pasts, order })
}

/// The readings as the watch takes them, and which of them are watched: each slot's last, since it was serviced.
fn line_up(
    gathered: &Gathered,
    slots: &[(SlotId, SlotFacts)],
    number: &HashMap<SlotId, usize>,
) -> (Vec<BenchReading>, Vec<bool>) {
    let mut groups = BTreeMap::new();
    let mut readings = Vec::new();
    for &(_, pack, n) in &gathered.order {
        let Some(past) = gathered.pasts.get(pack) else { continue };
        let Some(reading) = past.readings.get(n) else { continue };
        let next = groups.len();
        readings.push(BenchReading {
            pack,
            // A reading in no known slot is one of a slot that nobody watches.
            slot: reading.slot.and_then(|slot| number.get(&slot)).copied().unwrap_or(usize::MAX),
            group: *groups.entry(past.make).or_insert(next),
            line: reading.rounds,
            cycles: reading.cycles,
            capacity_mah: reading.capacity_mah,
            tolerated_mah: past.tolerated_mah,
        });
    }
    let mut left = vec![WATCHED; slots.len()];
    let mut watched = vec![false; readings.len()];
    for ((reading, &(at, ..)), mark) in readings.iter().zip(&gathered.order).zip(&mut watched).rev() {
        let serviced = slots.get(reading.slot).and_then(|(_, facts)| facts.serviced);
        if let Some(left) = left.get_mut(reading.slot).filter(|left| **left > 0)
            && serviced.is_none_or(|(_, since)| at >= since)
        {
            *left -= 1;
            *mark = true;
        }
    }
    (readings, watched)
}

fn tell(facts: &SlotFacts, record: &SlotRecord, day: impl Fn(usize) -> Option<Date>) -> SlotCheck {
    let standing = &record.standing;
    let trust = match standing.verdict {
        Verdict::InControl if record.places.len() < FEW => Trust::Unknown,
        Verdict::InControl => Trust::InControl,
        Verdict::BiasedUp => Trust::ReadsHigh,
        Verdict::BiasedDown => Trust::ReadsLow,
    };
    let day_of = |reading: usize| record.places.get(reading).and_then(|&place| day(place));
    let limits = standing.bias.as_ref().and_then(|bias| bias.limits_mah);
    let charts = record.places.iter().zip(&record.readings).zip(record.watch.points());
    let points = charts.filter_map(|((&place, reading), point)| {
        Some(Point {
            day: day(place)?,
            read_mah: reading.reading_mah,
            foretold_mah: reading.foretold_mah,
            off: point.z,
            average: point.average,
            high: point.high,
            low: point.low,
        })
    });
    SlotCheck {
        slot: facts.name.clone(),
        trust,
        watched: record.places.len(),
        since: day_of(standing.since),
        alarm: standing.alarm.and_then(day_of),
        bias_mah: standing.bias.as_ref().map(|bias| bias.mah),
        bias_low_mah: limits.map(|limits| limits.low),
        bias_high_mah: limits.map(|limits| limits.high),
        study: None,
        serviced: None,
        charts: points.collect(),
    }
}

/// Packs whose last reading was taken in a slot while it was out of control, and that it failed or passed wrongly, perhaps.
fn doubtful(
    ledger: &mut Ledger,
    settings: &Settings,
    (slot, name): (SlotId, &str),
    record: &SlotRecord,
    (gathered, clock): (&Gathered, i64),
) -> Result<Vec<Again>, LedgerError> {
    let mut again = Vec::new();
    let stretches: Vec<(Moment, Moment, Bias)> = stretches(record, gathered);
    for past in &gathered.pasts {
        let Some(last) = past.readings.last().filter(|last| last.slot == Some(slot)) else { continue };
        let Some((.., bias)) = stretches.iter().find(|(from, to, _)| (*from..*to).contains(&last.at)) else {
            continue;
        };
        let limits = bias.limits_mah.unwrap_or(Interval::around(bias.mah, bias.mah.abs()));
        let pack: PackFacts = ledger.facts_until(past.id.into(), clock)?.unwrap_or_default();
        let gone = pack.loan.is_some() || pack.written_off.is_some() || pack.retired.is_some();
        if gone || pack.rounds.last().is_some_and(|&round| round > last.at) {
            continue;
        }
        let Some(make) = pack.make.and_then(|make| settings.makes.get(&make)) else { continue };
        let player = thirstiest(make, &settings.players);
        let Some(limit) = limit(&settings.policy, pack.origin(), make, player) else { continue };
        let (must, read) = (f64::from(limit.raw()), last.capacity_mah);
        let why = if read < must && read - limits.low >= must {
            "failed: freed of the slot's bias it may hold its limit"
        } else if read >= must && read - limits.high < must {
            "passed narrowly: freed of the slot's bias it may hold less"
        } else {
            continue;
        };
        again.push(Again {
            pack: lookup::label(&pack.codes),
            slot: name.to_owned(),
            day: last.at.day(ledger.zone()),
            read_mah: whole(read),
            corrected_mah: whole(read - bias.mah),
            limit_mah: limit.raw(),
            why: why.to_owned(),
        });
    }
    Ok(again)
}

/// From when to when a slot was out of control, and by how much it read off.
fn stretches(record: &SlotRecord, gathered: &Gathered) -> Vec<(Moment, Moment, Bias)> {
    let rules = SlotRules::crossed();
    let at = |reading: usize| {
        let place = record.places.get(reading)?;
        gathered.order.get(*place).map(|(at, ..)| *at)
    };
    let of = |stretch: &Range<usize>| {
        let readings = record.readings.get(..stretch.end.min(record.readings.len()))?;
        let bias = Bias::since(readings, stretch.start, Spread::Known, rules.cap, rules.level)?;
        Some((at(stretch.start)?, at(stretch.end).unwrap_or(Moment::from_millis(i64::MAX)), bias))
    };
    record.watch.stretches().iter().filter_map(of).collect()
}

#[expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "held within what the unit takes"
)]
fn whole(mah: f64) -> u32 {
    mah.round().clamp(0.0, f64::from(u32::MAX)) as u32
}
