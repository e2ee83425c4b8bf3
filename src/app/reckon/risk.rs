//! Packs that are out and will hardly keep the promise till they come back.

use jiff::civil::Date;

use crate::domain::ids::PackId;
use crate::domain::moment::{Moment, days_between};
use crate::domain::pack::PackFacts;
use crate::domain::units::{Draw, MilliampHours};
use crate::policy::foresight::Holding;
use crate::policy::limits::thirstiest;

use super::{Frame, time};
use crate::app::foresight::Sight;

/// What is foretold of a pack that is out and at risk.
#[derive(Debug)]
pub(crate) struct Risk {
    pub(crate) due: Date,
    pub(crate) limit: MilliampHours,
    pub(crate) holds: Holding,
    pub(crate) draw: Option<Draw>,
    pub(crate) chance: f64,
}

impl Frame {
    /// The risk of a pack whose last entry has a clock value; none when it is low enough.
    pub(crate) fn risk_of(&self, id: PackId, pack: &PackFacts, last: i64) -> Option<Risk> {
        let one = self.one(id, last, pack)?;
        let from = self.from(last)?;
        self.risk(pack, from, &one.sight_from(from)?)
    }

    pub(super) fn risk(&self, pack: &PackFacts, from: Moment, sight: &Sight<'_>) -> Option<Risk> {
        let loan = pack.loan?;
        let most = self.settings.policy.rules.forecast?;
        let limit = self.service_limit(pack)?;
        let make = self.settings.makes.get(&pack.make?)?;
        let overrun = self.settings.seer.as_ref().map_or(0, |seer| seer.overrun);
        let due = days_between(from.day(&self.zone), loan.due);
        let days = u32::try_from(due).unwrap_or(0).saturating_add(overrun);
        let cycles = time::lag(pack, sight.pace(), from) + sight.pace() * f64::from(days);
        let chance = sight.chance_then(limit, days, cycles);
        let player = self.player_of(pack).or_else(|| thirstiest(make, &self.settings.players));
        (chance > f64::from(most.raw()) / 1e6).then(|| Risk {
            due: loan.due,
            limit,
            holds: sight.holds_then(days, cycles),
            draw: player.map(|player| player.draw),
            chance,
        })
    }

    /// What a pack whose last entry has a clock value holds, as from when it is foretold.
    pub(crate) fn holds(&self, id: PackId, pack: &PackFacts, last: i64) -> Option<Holding> {
        let from = self.from(last)?;
        let one = self.one(id, last, pack)?;
        let sight = one.sight_from(from)?;
        Some(sight.holds_then(0, time::lag(pack, sight.pace(), from)))
    }
}
