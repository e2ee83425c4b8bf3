//! What the fleet holds, make by make, and how many players can go out.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::domain::ids::{MakeId, PlayerMakeId};
use crate::domain::units::MilliampHours;
use crate::ledger::settings::Settings;

/// What the packs of a make gave at their last readings.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Capacity {
    /// The make.
    pub make: String,
    /// Packs that were read.
    pub packs: u32,
    /// What a pack in service must hold, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit_mah: Option<u32>,
    /// Packs whose last reading is below that.
    pub below: u32,
    /// Packs by what they gave, from the lowest bin that holds one to the highest.
    pub bins: Vec<Bin>,
}

/// Packs that gave so much: from one value on, and less than another.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Bin {
    /// The lower end.
    pub from_mah: u32,
    /// The upper end.
    pub to_mah: u32,
    /// How many packs.
    pub packs: u32,
}

/// Players of a make, and packs for them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CanGo {
    /// The make of player.
    pub player_make: String,
    /// Players here.
    pub players: u32,
    /// Fit packs here that fit it, riding in it or loose.
    pub packs: u32,
    /// How many can go out: the lesser of both, where makes of one form share their packs.
    pub can_go: u32,
}

/// Last readings of one make.
#[derive(Debug, Default)]
pub(super) struct Read {
    packs: u32,
    below: u32,
    limit: Option<u32>,
    bins: BTreeMap<u32, u32>,
}

/// The width of a bin: a twentieth of the rated capacity, as a round number.
fn width(rated: MilliampHours) -> u32 {
    let aim = rated.raw() / 20;
    [10, 20, 25, 50, 100, 200, 250, 500, 1000].into_iter().rev().find(|&width| width <= aim).unwrap_or(10)
}

impl Read {
    pub(super) fn take(&mut self, capacity: u32, rated: MilliampHours, limit: Option<u32>) {
        self.packs += 1;
        self.limit = limit;
        self.below += u32::from(limit.is_some_and(|limit| capacity < limit));
        *self.bins.entry(capacity / width(rated)).or_default() += 1;
    }

    pub(super) fn finish(self, make: String, rated: MilliampHours) -> Capacity {
        let width = width(rated);
        let (first, last) = (self.bins.keys().next().copied(), self.bins.keys().next_back().copied());
        let bins = first.zip(last).map_or_else(Vec::new, |(first, last)| {
            let bin = |place: u32| Bin {
                from_mah: place.saturating_mul(width),
                to_mah: place.saturating_add(1).saturating_mul(width),
                packs: self.bins.get(&place).copied().unwrap_or(0),
            };
            // A reading far off would make thousands of empty bins: those between are told by their ends alone.
            if last - first > 400 {
                self.bins.keys().map(|&place| bin(place)).collect()
            } else {
                (first..=last).map(bin).collect()
            }
        });
        Capacity { make, packs: self.packs, limit_mah: self.limit, below: self.below, bins }
    }
}

/// How many players can go out: fit packs of each form, given to the makes of player of that form in the order of their names.
pub(super) fn can_go(
    settings: &Settings,
    fit: &BTreeMap<MakeId, u32>,
    players: &BTreeMap<PlayerMakeId, u32>,
) -> Vec<CanGo> {
    let mut packs: BTreeMap<&str, u32> = BTreeMap::new();
    for (make, count) in fit {
        if let Some(make) = settings.makes.get(make) {
            *packs.entry(make.form.as_str()).or_default() += count;
        }
    }
    let mut left = packs.clone();
    let mut makes: Vec<(&PlayerMakeId, &crate::domain::make::PlayerMake)> =
        settings.player_makes.iter().collect();
    makes.sort_by(|a, b| a.1.name.cmp(&b.1.name));
    let mut rows = Vec::new();
    for (id, make) in makes {
        let here = players.get(id).copied().unwrap_or(0);
        let left = left.entry(make.form.as_str()).or_default();
        let can_go = here.min(*left);
        *left -= can_go;
        let packs = packs.get(make.form.as_str()).copied().unwrap_or(0);
        rows.push(CanGo { player_make: make.name.clone(), players: here, packs, can_go });
    }
    rows
}
