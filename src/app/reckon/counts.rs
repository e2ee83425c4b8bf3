//! How many things count alike: what the figures of a review are made of.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::domain::verdict::Verdict;

use super::time::{TimeSums, add};
use super::{Player, Raw, Reckoned};
use crate::app::review::Whereabouts;

const NEAR: u32 = 1 << 6;
const LOST: u32 = 1 << 7;
const TOLD: u32 = 1 << 8;
const WASTE: u32 = 1 << 9;
/// Of a player: it could go out today.
const HERE: u32 = 1;

/// Counts of packs and players.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Counts {
    /// Packs by whereabouts and verdict, each in the order of its `ALL`.
    pub(crate) fleet: BTreeMap<(Whereabouts, Verdict), u32>,
    /// Packs, but for those that are waste, have left or are written off.
    pub(crate) packs: u32,
    /// Fit and here, by make.
    pub(crate) fit: BTreeMap<Option<Raw>, u32>,
    pub(crate) near: u32,
    pub(crate) lost: u32,
    pub(crate) out_at_risk: u32,
    pub(crate) recondition: u32,
    pub(crate) recycle: u32,
    pub(crate) isolate: u32,
    /// Waste on hand, by make.
    pub(crate) waste: BTreeMap<Option<Raw>, u32>,
    /// Players here, by make.
    pub(crate) players: BTreeMap<Raw, u32>,
    pub(crate) readings: u32,
    pub(crate) rounds: u32,
    pub(crate) odd: u32,
}

fn place_of<T: PartialEq>(all: &[T], one: &T) -> u32 {
    let place = all.iter().position(|other| other == one).unwrap_or(0);
    u32::try_from(place).unwrap_or(0)
}

fn at<T: Copy>(all: &[T], place: u32) -> Option<T> {
    usize::try_from(place).ok().and_then(|place| all.get(place)).copied()
}

/// What a pack counts as.
fn bits(pack: &Reckoned) -> u32 {
    let flag = |set: bool, bit: u32| if set { bit } else { 0 };
    place_of(&Whereabouts::ALL, &pack.place)
        | place_of(&Verdict::ALL, &pack.verdict) << 3
        | flag(pack.near.is_some_and(|near| near.within_margin), NEAR)
        | flag(pack.lost, LOST)
        | flag(pack.rule.is_some(), TOLD)
        | flag(pack.waste.is_some(), WASTE)
}

/// How many things count alike, and the readings, rounds and oddities of all of them.
type Alike = BTreeMap<(u32, Option<Raw>), [i64; 4]>;

/// Sums over all that was reckoned: what is reckoned again is taken off before it is added, so that they need no second look at the rest.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub(crate) struct Sums {
    packs: Alike,
    players: Alike,
    pub(super) times: TimeSums,
}

/// Whether something is added or taken off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Sign {
    Add,
    Take,
}

impl Sign {
    pub(super) const fn of(self, number: i64) -> i64 {
        match self {
            Self::Add => number,
            Self::Take => -number,
        }
    }
}

fn alike(all: &mut Alike, key: (u32, Option<Raw>), sign: Sign, counts: [usize; 4]) {
    let sums = all.entry(key).or_default();
    for (sum, count) in sums.iter_mut().zip(counts) {
        *sum += sign.of(i64::try_from(count).unwrap_or(i64::MAX));
    }
    if *sums == [0; 4] {
        all.remove(&key);
    }
}

impl Sums {
    pub(super) fn pack(&mut self, pack: &Reckoned, sign: Sign) {
        let counts = [1, pack.readings.len(), pack.rounds.len(), pack.odd.len()];
        alike(&mut self.packs, (bits(pack), pack.make), sign, counts);
        if let Some(times) = pack.times {
            add(&mut self.times, times, sign);
        }
    }

    pub(super) fn player(&mut self, player: &Player, sign: Sign) {
        let bits = if player.here { HERE } else { 0 };
        alike(&mut self.players, (bits, player.make), sign, [1, 0, 0, usize::from(player.odd.is_some())]);
    }

    /// How many packs are in use.
    pub(super) const fn in_use(&self) -> i64 {
        self.times.came.0
    }

    /// What the figures are made of.
    pub(crate) fn counts(&self) -> Counts {
        let mut counts = Counts::default();
        for (&(bits, make), sums) in &self.packs {
            counts.packs(bits, make, sums.map(whole));
        }
        for (&(bits, make), sums) in &self.players {
            counts.players(bits, make, sums.map(whole));
        }
        counts
    }
}

fn whole(sum: i64) -> u32 {
    u32::try_from(sum).unwrap_or(0)
}

impl Counts {
    /// Adds packs that count alike.
    fn packs(&mut self, bits: u32, make: Option<Raw>, [many, readings, rounds, odd]: [u32; 4]) {
        let (Some(place), Some(verdict)) =
            (at(&Whereabouts::ALL, bits & 7), at(&Verdict::ALL, bits >> 3 & 7))
        else {
            return;
        };
        *self.fleet.entry((place, verdict)).or_default() += many;
        self.readings += readings;
        self.rounds += rounds;
        self.odd += odd;
        if bits & WASTE != 0 {
            *self.waste.entry(make).or_default() += many;
        }
        let told = bits & TOLD != 0;
        if verdict == Verdict::Isolate && told && (place.active() || place == Whereabouts::Waste) {
            self.isolate += many;
        }
        if !place.active() {
            return;
        }
        let some = |set: bool| if set { many } else { 0 };
        self.packs += many;
        self.near += some(bits & NEAR != 0);
        self.lost += some(bits & LOST != 0);
        self.recondition += some(told && verdict == Verdict::Recondition);
        self.recycle += some(told && verdict == Verdict::Recycle);
        self.out_at_risk += some(told && place == Whereabouts::Out);
        if verdict == Verdict::Fit && matches!(place, Whereabouts::InPlayer | Whereabouts::InWorkshop) {
            *self.fit.entry(make).or_default() += many;
        }
    }

    /// Adds players that count alike.
    fn players(&mut self, bits: u32, make: Option<Raw>, [many, _, _, odd]: [u32; 4]) {
        self.odd += odd;
        if let Some(make) = make.filter(|_| bits & HERE != 0) {
            *self.players.entry(make).or_default() += many;
        }
    }

    /// Packs that could go out: fit, and not out already.
    pub(crate) fn ready(&self) -> u32 {
        self.fit.values().sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_taken_off_again_leaves_nothing() {
        let mut sums = Sums::default();
        let key = (place_of(&Verdict::ALL, &Verdict::Wait) << 3 | TOLD, Some([7; 16]));
        alike(&mut sums.packs, key, Sign::Add, [1, 2, 0, 1]);
        alike(&mut sums.packs, key, Sign::Add, [1, 1, 1, 0]);
        let counts = sums.counts();
        assert_eq!(
            (counts.packs, counts.out_at_risk, counts.readings, counts.rounds, counts.odd),
            (2, 2, 3, 1, 1)
        );
        alike(&mut sums.packs, key, Sign::Take, [1, 2, 0, 1]);
        alike(&mut sums.packs, key, Sign::Take, [1, 1, 1, 0]);
        assert_eq!(sums, Sums::default());
        assert_eq!(sums.counts(), Counts::default());
    }
}
