//! How many things count alike: what the figures of a review are made of.

use std::collections::BTreeMap;

use crate::domain::verdict::Verdict;
use crate::ledger::kept::Counted;

use super::{Raw, Reckoned};
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
pub(super) fn bits(pack: &Reckoned) -> u32 {
    let flag = |set: bool, bit: u32| if set { bit } else { 0 };
    place_of(&Whereabouts::ALL, &pack.place)
        | place_of(&Verdict::ALL, &pack.verdict) << 3
        | flag(pack.near.is_some_and(|near| near.within_margin), NEAR)
        | flag(pack.lost, LOST)
        | flag(pack.rule.is_some(), TOLD)
        | flag(pack.waste.is_some(), WASTE)
}

/// What a player counts as.
pub(super) const fn player_bits(here: bool) -> u32 {
    if here { HERE } else { 0 }
}

impl Counts {
    /// Adds so many packs that count alike; `counted` holds the sums over all of them.
    pub(crate) fn packs(&mut self, many: u32, counted: Counted) {
        let bits = counted.bits;
        let (Some(place), Some(verdict)) =
            (at(&Whereabouts::ALL, bits & 7), at(&Verdict::ALL, bits >> 3 & 7))
        else {
            return;
        };
        *self.fleet.entry((place, verdict)).or_default() += many;
        self.readings += counted.readings;
        self.rounds += counted.rounds;
        self.odd += counted.odd;
        if bits & WASTE != 0 {
            *self.waste.entry(counted.make).or_default() += many;
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
            *self.fit.entry(counted.make).or_default() += many;
        }
    }

    /// Adds so many players that count alike.
    pub(crate) fn players(&mut self, many: u32, counted: Counted) {
        self.odd += counted.odd;
        if let Some(make) = counted.make.filter(|_| counted.bits & HERE != 0) {
            *self.players.entry(make).or_default() += many;
        }
    }

    /// Packs that could go out: fit, and not out already.
    pub(crate) fn ready(&self) -> u32 {
        self.fit.values().sum()
    }
}
