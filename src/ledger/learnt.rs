//! The fleet's model as the ledger keeps it: one JSON text, which names makes, lots and slots where the statistics only number them.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use serde_json::Error as JsonError;

use crate::domain::ids::{LotId, MakeId, PackId, SlotId};
use crate::domain::moment::Moment;
use crate::domain::pack::PackFacts;
use crate::stats::fade::NO_SLOT;
use crate::stats::fade::fleet::{History, Reading};
use crate::stats::fade::model::{Model, Predictor};

/// Milliseconds of a day.
const DAY: i64 = 86_400_000;

/// What is stored.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Learnt {
    /// The groups of the model, by number: make, and lot where it has lines of its own.
    pub groups: Vec<(MakeId, Option<LotId>)>,
    /// The slots of the model, by number.
    pub slots: Vec<SlotId>,
    /// Days after its first due date by which four of five loans are back; none where too few have ended.
    pub overrun: Option<u32>,
    /// The risk, in millionths, from which bench hours suffice for second readings.
    pub worth_doubting: u32,
    /// What is kept for a fleet of a few packs that are read often.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub few: Option<Few>,
    /// The model.
    pub model: Model,
}

/// A few packs, each read often: their readings, since each is foretold from all others.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Few {
    /// Each pack's readings: clock and capacity.
    pub packs: Vec<(PackId, Vec<(f64, f64)>)>,
    /// How straight lines, and this, foretold the second halves: interval scores.
    pub scores: (f64, f64),
}

/// A stored model ready for use.
#[derive(Debug, Clone)]
pub struct Seer {
    /// It foretells.
    pub predictor: Predictor,
    /// When it was learnt.
    pub learnt: Option<Moment>,
    /// Days after its first due date by which a loan is likely back.
    pub overrun: u32,
    /// The risk, in millionths, from which bench hours suffice for second readings.
    pub worth_doubting: u32,
    /// What is kept for a fleet of a few packs that are read often.
    pub few: Option<Few>,
    /// The numbers of groups and slots.
    pub numbers: Numbers,
}

/// The numbers of groups and slots.
#[derive(Debug, Clone, Default)]
pub struct Numbers {
    groups: BTreeMap<(MakeId, Option<LotId>), u16>,
    slots: BTreeMap<SlotId, u16>,
}

impl Numbers {
    /// Numbers for groups and slots in order.
    pub fn new(groups: &[(MakeId, Option<LotId>)], slots: &[SlotId]) -> Self {
        let number = |place: usize| u16::try_from(place).unwrap_or(NO_SLOT);
        Self {
            groups: groups.iter().enumerate().map(|(place, &group)| (group, number(place))).collect(),
            slots: slots.iter().enumerate().map(|(place, &slot)| (slot, number(place))).collect(),
        }
    }

    /// The group of a pack: its lot's, else its make's.
    pub fn group(&self, pack: &PackFacts) -> Option<u16> {
        let make = pack.make?;
        let lot = pack.lot.and_then(|lot| self.groups.get(&(make, Some(lot))));
        lot.or_else(|| self.groups.get(&(make, None))).copied()
    }

    /// The number of a make's own group.
    pub fn make(&self, make: MakeId) -> Option<u16> {
        self.groups.get(&(make, None)).copied()
    }

    /// For each group, the number of its make's own.
    pub fn makes_of(&self, groups: &[(MakeId, Option<LotId>)]) -> Vec<u16> {
        let own = |(group, &(make, _)): (usize, &(MakeId, _))| {
            self.make(make).unwrap_or_else(|| u16::try_from(group).unwrap_or(u16::MAX))
        };
        groups.iter().enumerate().map(own).collect()
    }

    /// The number of a slot, and a new one for a slot that has none.
    pub fn slot(&mut self, slot: SlotId) -> u16 {
        let next = u16::try_from(self.slots.len()).unwrap_or(NO_SLOT);
        *self.slots.entry(slot).or_insert(next)
    }

    /// Slots in the order of their numbers.
    pub fn slots(&self) -> Vec<SlotId> {
        let mut slots: Vec<(u16, SlotId)> =
            self.slots.iter().map(|(&slot, &number)| (number, slot)).collect();
        slots.sort_unstable();
        slots.into_iter().map(|(_, slot)| slot).collect()
    }

    fn known(&self, slot: Option<SlotId>) -> u16 {
        slot.and_then(|slot| self.slots.get(&slot)).copied().unwrap_or(NO_SLOT)
    }
}

impl Learnt {
    /// Reads a stored text.
    ///
    /// # Errors
    /// When it is none.
    pub fn parse(text: &str) -> Result<Self, JsonError> {
        serde_json::from_str(text)
    }

    /// The text to store.
    ///
    /// # Errors
    /// When a number has no JSON form.
    pub fn text(&self) -> Result<String, JsonError> {
        serde_json::to_string(self)
    }

    /// Makes it ready.
    pub fn ready(self, learnt: Option<Moment>) -> Seer {
        Seer {
            numbers: Numbers::new(&self.groups, &self.slots),
            predictor: Predictor::new(self.model),
            learnt,
            overrun: self.overrun.unwrap_or(0),
            worth_doubting: self.worth_doubting,
            few: self.few,
        }
    }
}

impl Seer {
    /// What the model takes a slot to read too much, mAh; none for a slot that it does not know.
    pub fn bias(&self, slot: SlotId) -> Option<f64> {
        let number = self.numbers.known(Some(slot));
        self.predictor.model().slots.get(usize::from(number)).copied()
    }

    /// A pack's past as the model takes it; none for a make that it knows nothing of.
    pub fn history(&self, pack: &PackFacts) -> Option<History> {
        let group = self.numbers.group(pack)?;
        Some(history(pack, group, |slot| self.numbers.known(slot)))
    }
}

/// A pack's past as the statistics take it.
pub fn history(pack: &PackFacts, group: u16, mut number: impl FnMut(Option<SlotId>) -> u16) -> History {
    let first = pack.readings.first().map(|reading| reading.at);
    let born = pack.made.map_or_else(
        || pack.added.into_iter().chain(first).map(day).min().unwrap_or(0),
        |made| made.since(jiff::civil::date(1970, 1, 1)).map_or(0, |span| span.get_days()),
    );
    let readings = pack.readings.iter().map(|reading| Reading {
        day: day(reading.at),
        cycles: thousandths(reading.cycles.raw()),
        capacity: single(reading.capacity.raw()),
        slot: number(reading.slot),
        rounds: u16::try_from(pack.rounds.partition_point(|&round| round <= reading.at)).unwrap_or(u16::MAX),
        celsius: reading.temperature.map_or(f32::NAN, |temperature| tenths(temperature.raw())),
    });
    let rounds = pack.rounds.iter().map(|&round| {
        let next = pack.readings.iter().find(|reading| reading.at > round);
        (day(round), thousandths(next.map_or(pack.cycles(), |reading| reading.cycles).raw()))
    });
    History { group, born, limit: 0.0, readings: readings.collect(), rounds: rounds.collect() }
}

/// The day of a moment, counted from 1970.
pub fn day(at: Moment) -> i32 {
    i32::try_from(at.millis().div_euclid(DAY)).unwrap_or(0)
}

#[expect(
    clippy::as_conversions,
    clippy::cast_precision_loss,
    reason = "whole mAh are exact in single precision"
)]
const fn single(value: u32) -> f32 {
    value as f32
}

#[expect(
    clippy::as_conversions,
    clippy::cast_precision_loss,
    reason = "cycles to a thousandth fit single precision"
)]
const fn thousandths(value: u32) -> f32 {
    value as f32 / 1000.0
}

#[expect(
    clippy::as_conversions,
    clippy::cast_precision_loss,
    reason = "degrees to a tenth are small numbers"
)]
const fn tenths(value: i32) -> f32 {
    value as f32 / 10.0
}
