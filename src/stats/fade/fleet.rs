//! A fleet's past in columns, as the model is learnt from it.

use std::ops::Range;

use super::NO_SLOT;

/// One reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Day, in any count of days that all readings share.
    pub day: i32,
    /// Use so far, cycles.
    pub cycles: f32,
    /// Capacity, mAh.
    pub capacity: f32,
    /// Slot, or [`NO_SLOT`].
    pub slot: u16,
    /// Rounds of reconditioning done before it.
    pub rounds: u16,
    /// Temperature, degrees Celsius; not a number where it is not known.
    pub celsius: f32,
}

/// One pack.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct History {
    /// Its group: make, or make and lot.
    pub group: u16,
    /// The day from which its age counts.
    pub born: i32,
    /// The capacity that it must hold, mAh.
    pub limit: f32,
    /// Its readings, oldest first.
    pub readings: Vec<Reading>,
    /// Days and cycles of its rounds of reconditioning, oldest first.
    pub rounds: Vec<(i32, f32)>,
}

/// All packs of a fleet that were ever read.
#[derive(Debug, Clone, Default)]
pub struct Fleet {
    starts: Vec<u32>,
    groups: Vec<u16>,
    group_count: usize,
    born: Vec<i32>,
    limits: Vec<f32>,
    readings: Vec<Reading>,
    /// Rounds, by place of the pack.
    rounds: std::collections::BTreeMap<u32, Vec<(i32, f32)>>,
    /// The group of the make of each group; a group that is not named is a make's own.
    makes: Vec<u16>,
}

impl Fleet {
    /// Adds a pack; one without readings is left out.
    pub fn push(&mut self, history: &History) {
        if history.readings.is_empty() {
            return;
        }
        if self.starts.is_empty() {
            self.starts.push(0);
        }
        let place = u32::try_from(self.groups.len()).unwrap_or(u32::MAX);
        self.readings.extend_from_slice(&history.readings);
        self.starts.push(u32::try_from(self.readings.len()).unwrap_or(u32::MAX));
        self.groups.push(history.group);
        self.group_count = self.group_count.max(usize::from(history.group) + 1);
        self.born.push(history.born);
        self.limits.push(history.limit);
        if !history.rounds.is_empty() {
            self.rounds.insert(place, history.rounds.clone());
        }
    }

    /// Says which group is the make's own, for each group by number: lots that have lines of their own are groups too.
    pub fn set_makes(&mut self, makes: Vec<u16>) {
        self.makes = makes;
    }

    /// The group of a group's make.
    pub fn make(&self, group: usize) -> u16 {
        self.makes.get(group).copied().unwrap_or_else(|| u16::try_from(group).unwrap_or(u16::MAX))
    }

    /// Packs with readings.
    pub fn packs(&self) -> usize {
        self.groups.len()
    }

    /// Readings of all packs.
    pub fn len(&self) -> usize {
        self.readings.len()
    }

    /// True when nothing was read.
    pub fn is_empty(&self) -> bool {
        self.readings.is_empty()
    }

    /// One pack, by its place.
    pub fn pack(&self, place: usize) -> Pack<'_> {
        let key = u32::try_from(place).unwrap_or(u32::MAX);
        Pack {
            group: self.groups.get(place).copied().unwrap_or(0),
            born: self.born.get(place).copied().unwrap_or(0),
            limit: self.limits.get(place).copied().unwrap_or(0.0),
            readings: self.readings.get(self.range(place)).unwrap_or_default(),
            rounds: self.rounds.get(&key).map_or(&[], Vec::as_slice),
        }
    }

    /// Every pack.
    pub fn iter(&self) -> impl Iterator<Item = Pack<'_>> {
        (0..self.packs()).map(|place| self.pack(place))
    }

    /// Every so many-th pack, so that at most `most` are left, with what was known before a day.
    #[must_use]
    pub fn thinned(&self, most: usize, before: i32) -> Self {
        let step = self.packs().div_ceil(most.max(1)).max(1);
        let mut few = Self { makes: self.makes.clone(), group_count: self.group_count, ..Self::default() };
        for pack in self.iter().step_by(step) {
            few.push(&pack.before(before).owned());
        }
        few
    }

    /// The packs of one make, of whatever lot.
    #[must_use]
    pub fn only(&self, make: u16) -> Self {
        let mut only = Self::default();
        for pack in self.iter().filter(|pack| self.make(usize::from(pack.group)) == make) {
            only.push(&History { group: 0, ..pack.owned() });
        }
        only
    }

    /// The day of the last reading.
    pub fn last_day(&self) -> Option<i32> {
        self.readings.iter().map(|reading| reading.day).max()
    }

    /// Groups: one more than the highest number, also of a part of a fleet that lacks some.
    pub fn groups(&self) -> usize {
        self.group_count
    }

    fn range(&self, place: usize) -> Range<usize> {
        let at = |place: usize| self.starts.get(place).and_then(|&at| usize::try_from(at).ok());
        match (at(place), at(place + 1)) {
            (Some(start), Some(end)) => start..end,
            _ => 0..0,
        }
    }
}

/// One pack's past.
#[derive(Debug, Clone, Copy)]
pub struct Pack<'a> {
    /// Its group.
    pub group: u16,
    /// The day from which its age counts.
    pub born: i32,
    /// The capacity that it must hold, mAh.
    pub limit: f32,
    /// Its readings, oldest first.
    pub readings: &'a [Reading],
    /// Its rounds, oldest first.
    pub rounds: &'a [(i32, f32)],
}

impl Pack<'_> {
    /// What was known of it before a day.
    #[must_use]
    pub fn before(self, day: i32) -> Self {
        let readings = self.readings.partition_point(|reading| reading.day < day);
        let rounds = self.rounds.partition_point(|&(at, _)| at < day);
        Self {
            readings: self.readings.get(..readings).unwrap_or_default(),
            rounds: self.rounds.get(..rounds).unwrap_or_default(),
            ..self
        }
    }

    /// Its readings before any round.
    pub fn first_line(&self) -> &[Reading] {
        let end = self.readings.partition_point(|reading| reading.rounds == 0);
        self.readings.get(..end).unwrap_or_default()
    }

    /// What was known of it when its `place`-th reading was about to be taken.
    #[must_use]
    pub fn up_to(self, place: usize) -> Self {
        let rounds = self.readings.get(place).map_or(self.rounds.len(), |next| usize::from(next.rounds));
        Self {
            readings: self.readings.get(..place).unwrap_or_default(),
            rounds: self.rounds.get(..rounds).unwrap_or_default(),
            ..self
        }
    }

    /// A copy.
    pub fn owned(&self) -> History {
        History {
            group: self.group,
            born: self.born,
            limit: self.limit,
            readings: self.readings.to_vec(),
            rounds: self.rounds.to_vec(),
        }
    }
}

impl History {
    /// The pack, borrowed.
    pub fn pack(&self) -> Pack<'_> {
        Pack {
            group: self.group,
            born: self.born,
            limit: self.limit,
            readings: &self.readings,
            rounds: &self.rounds,
        }
    }
}

impl Reading {
    /// A reading without slot and temperature.
    pub const fn bare(day: i32, cycles: f32, capacity: f32) -> Self {
        Self { day, cycles, capacity, slot: NO_SLOT, rounds: 0, celsius: f32::NAN }
    }
}
