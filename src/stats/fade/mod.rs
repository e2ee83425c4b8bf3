//! How capacity fades with use: a model of the whole fleet, and what follows from it for one pack.
//!
//! [`mixed`] is the straight line: one for each pack, around the lines of its make and lot, with a bias for each slot. [`robust`] keeps gross
//! errors from bending it. Clocks are in any unit, all alike (cycles, or years); capacities in mAh.

pub mod bend;
pub mod calibrate;
pub mod clock;
pub mod few;
pub mod fleet;
pub mod learning;
pub mod mixed;
pub mod model;
pub mod robust;

mod descent;
mod kernel;
mod mixing;

use std::ops::Range;

use thiserror::Error;

/// Readings of a slot that is not known.
pub const NO_SLOT: u16 = u16::MAX;

/// Why a fleet's past says nothing about fade.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum FadeError {
    /// Too few packs were read often enough.
    #[error("not enough data: {packs} packs were read {times} times or more, and {needed} are needed")]
    FewPacks {
        /// Packs read so often.
        packs: usize,
        /// How often a pack must be read.
        times: usize,
        /// What is needed.
        needed: usize,
    },
    /// There are not more readings than numbers to be found out.
    #[error("not enough data: {readings} readings for {unknowns} unknowns")]
    FewReadings {
        /// Readings that count.
        readings: usize,
        /// Lines of packs, fixed effects and slots.
        unknowns: usize,
    },
    /// The equations have no single solution, or the search for the spreads found no end.
    #[error("not enough data: the readings do not tell packs, makes and slots apart")]
    Singular,
}

/// The readings of a fleet, pack by pack, oldest first.
///
/// Kept in single precision: a reading is a whole number of mAh, and a million packs are to fit into memory.
#[derive(Debug, Clone, Default)]
pub struct Readings {
    /// Where each pack's readings start, and where the last one's end.
    starts: Vec<u32>,
    groups: Vec<u16>,
    clock: Vec<f32>,
    capacity: Vec<f32>,
    slot: Vec<u16>,
    /// How much a reading counts, 0 to 1.
    weight: Vec<f32>,
    group_count: usize,
    slot_count: usize,
}

impl Readings {
    /// No readings yet.
    pub fn new() -> Self {
        Self { starts: vec![0], ..Self::default() }
    }

    /// Room for so many packs and readings.
    pub fn with_capacity(packs: usize, readings: usize) -> Self {
        let mut empty = Self::new();
        empty.starts.reserve(packs);
        empty.groups.reserve(packs);
        empty.clock.reserve(readings);
        empty.capacity.reserve(readings);
        empty.slot.reserve(readings);
        empty.weight.reserve(readings);
        empty
    }

    /// Adds a pack of a group (its make, or make and lot) with its readings: clock, capacity in mAh, slot or [`NO_SLOT`].
    ///
    /// A pack without readings is left out. Groups and slots are numbered from 0 without large gaps.
    pub fn push(&mut self, group: u16, readings: impl IntoIterator<Item = (f32, f32, u16)>) {
        let before = self.clock.len();
        for (clock, capacity, slot) in readings {
            self.clock.push(clock);
            self.capacity.push(capacity);
            self.slot.push(slot);
            self.weight.push(1.0);
            if slot != NO_SLOT {
                self.slot_count = self.slot_count.max(usize::from(slot) + 1);
            }
        }
        if self.clock.len() > before {
            self.starts.push(u32::try_from(self.clock.len()).unwrap_or(u32::MAX));
            self.groups.push(group);
            self.group_count = self.group_count.max(usize::from(group) + 1);
        }
    }

    /// Packs with readings.
    pub fn packs(&self) -> usize {
        self.groups.len()
    }

    /// Readings of all packs.
    pub fn len(&self) -> usize {
        self.clock.len()
    }

    /// True when there is none.
    pub fn is_empty(&self) -> bool {
        self.clock.is_empty()
    }

    /// Every `step`-th pack, so that about `most` are left: for first guesses.
    #[must_use]
    pub fn thinned(&self, most: usize) -> Self {
        let step = self.packs().div_ceil(most.max(1)).max(1);
        let mut few = Self::new();
        for pack in (0..self.packs()).step_by(step) {
            few.push(self.groups.get(pack).copied().unwrap_or(0), self.of(pack));
        }
        few.group_count = self.group_count;
        few.slot_count = self.slot_count;
        few
    }

    /// The readings of one pack, by its place: clock, capacity, slot.
    pub fn of(&self, pack: usize) -> impl Iterator<Item = (f32, f32, u16)> + '_ {
        let range = self.range(pack);
        let clocks = self.clock.get(range.clone()).unwrap_or_default();
        let capacities = self.capacity.get(range.clone()).unwrap_or_default();
        let slots = self.slot.get(range).unwrap_or_default();
        let columns = clocks.iter().zip(capacities).zip(slots);
        columns.map(|((&clock, &capacity), &slot)| (clock, capacity, slot))
    }

    /// The group of a pack, by its place.
    pub fn group(&self, pack: usize) -> u16 {
        self.groups.get(pack).copied().unwrap_or(0)
    }

    /// The readings of one pack as [`Self::of`] gives them, and how much each counts.
    fn weighted(&self, pack: usize) -> impl Iterator<Item = ((f32, f32, u16), f32)> + '_ {
        self.of(pack).zip(self.weight.get(self.range(pack)).unwrap_or_default().iter().copied())
    }

    fn range(&self, pack: usize) -> Range<usize> {
        let at = |place: usize| self.starts.get(place).and_then(|&at| usize::try_from(at).ok());
        match (at(pack), at(pack + 1)) {
            (Some(start), Some(end)) => start..end,
            _ => 0..0,
        }
    }
}
