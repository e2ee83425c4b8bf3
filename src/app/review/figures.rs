//! The figures of a month, so that the month before can stand beside it.

use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::app::reckon::{Counts, Raw};
use crate::domain::ids::{MakeId, PlayerMakeId};
use crate::domain::units::Grams;
use crate::ledger::settings::Settings;

use super::deeds::Done;
use super::{CanGo, Month, fleet};

/// The figures of a month.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Figures {
    /// The month.
    pub month: String,
    /// What each is, and its value.
    pub rows: Vec<Figure>,
}

/// One figure.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Figure {
    /// What it is.
    pub what: String,
    /// Its value.
    pub value: u64,
}

pub(super) fn make_id(raw: Raw) -> MakeId {
    MakeId::new(Uuid::from_bytes(raw))
}

/// Players that can go out, by make.
pub(super) fn can_go(settings: &Settings, counts: &Counts) -> Vec<CanGo> {
    let fit = counts.fit.iter().filter_map(|(make, &many)| Some((make_id((*make)?), many))).collect();
    let players =
        counts.players.iter().map(|(&make, &many)| (PlayerMakeId::new(Uuid::from_bytes(make)), many));
    fleet::can_go(settings, &fit, &players.collect())
}

impl Figures {
    /// The figures of a month, by what was counted and done in it.
    pub(super) fn of(month: Month, settings: &Settings, counts: &Counts, done: &Done) -> Self {
        let deeds = done.count();
        let deed = |what: &str| {
            let found = deeds.iter().find(|deed| deed.what == what);
            u64::from(found.map_or(0, |deed| deed.count))
        };
        let mass = |(make, &many): (&Option<Raw>, &u32)| {
            let make = make.and_then(|make| settings.makes.get(&make_id(make)));
            u64::from(many) * u64::from(make.and_then(|make| make.mass).map_or(0, Grams::raw))
        };
        let can_go: u32 = can_go(settings, counts).iter().map(|row| row.can_go).sum();
        let rows = [
            ("packs", u64::from(counts.packs)),
            ("fit and here", u64::from(counts.ready())),
            ("players that can go out", u64::from(can_go)),
            // What is foretold looks ahead from its own day: only what lies near a limit is alike in both months.
            ("within the margin of a limit", u64::from(counts.near)),
            ("out, would not pass today", u64::from(counts.out_at_risk)),
            ("to recondition", u64::from(counts.recondition)),
            ("to recycle", u64::from(counts.recycle)),
            ("to keep apart", u64::from(counts.isolate)),
            ("lost or missing", u64::from(counts.lost)),
            ("waste on hand, packs", u64::from(counts.waste.values().sum::<u32>())),
            ("waste on hand, g", counts.waste.iter().map(mass).sum()),
            ("readings", u64::from(counts.readings)),
            ("rounds", u64::from(counts.rounds)),
            ("players sent out", deed("players sent out")),
            ("players come back", deed("players come back")),
            ("complaints", u64::try_from(done.cut_out()).unwrap_or(u64::MAX)),
            ("does not add up", u64::from(counts.odd)),
        ];
        let rows = rows.map(|(what, value)| Figure { what: what.to_owned(), value }).to_vec();
        Self { month: month.text(), rows }
    }

    /// The value of a figure.
    pub fn value(&self, what: &str) -> Option<u64> {
        self.rows.iter().find(|figure| figure.what == what).map(|figure| figure.value)
    }
}
