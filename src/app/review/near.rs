//! Which packs near their end: those that the model expects to fall below their limit within half a year, and those within the policy's
//! margin of a limit.

use crate::domain::event::Origin;
use crate::domain::ids::PackId;
use crate::domain::moment::{day_after, days_between, years_after};
use crate::domain::pack::PackFacts;
use crate::domain::units::Cycles;
use crate::domain::verdict::{Rule, Verdict};
use crate::policy::reason::Reason;

use super::lists::Coming;
use super::work::Work;
use super::{Line, Whereabouts};

/// What is expected within so many days is near.
const SOON_DAYS: i64 = 183;

impl Work {
    /// The nearest limit that the pack is within the policy's margin of, if any, or near which it is foretold to be.
    pub(super) fn near(&self, (id, pack): (PackId, &PackFacts), place: Whereabouts) -> Option<Line> {
        let percent = i64::from(self.settings.policy.near_percent);
        let coming = self.ends.get(&id).filter(|_| pack.origin() == Origin::Service);
        let soon = day_after(self.as_of.day(&self.zone), SOON_DAYS);
        let candidates = [self.near_capacity(pack), self.near_cycles(pack), self.near_age(pack)];
        let (nearness, reason) = candidates.into_iter().flatten().min_by_key(|(nearness, _)| *nearness)?;
        let within_margin = nearness <= percent * 10;
        (within_margin || coming.is_some_and(|coming| coming.expected <= soon)).then(|| Line {
            nearness,
            within_margin,
            id,
            coming: coming.map(Coming::of),
            ..self.line(pack, place, &reason)
        })
    }

    fn near_capacity(&self, pack: &PackFacts) -> Option<(i64, Reason)> {
        self.settings.policy.rules.capacity?;
        let reading = pack.readings.last()?;
        // The end of a life in service: a new pack near the stricter limit for new ones is not near its end.
        let limit = self.limit_of(pack, Origin::Service)?;
        let spare = i64::from(reading.capacity.raw()) - i64::from(limit.raw());
        let nearness = spare * 1000 / i64::from(limit.raw().max(1));
        let day = reading.at.day(&self.zone);
        let reason =
            Reason::new(Rule::Capacity, Verdict::Measure, format!("read {} on {day}", reading.capacity))
                .limit(limit.to_string())
                .margin(if spare >= 0 {
                    format!("{spare} mAh to spare")
                } else {
                    format!("{} mAh short", -spare)
                });
        Some((nearness, reason))
    }

    fn near_cycles(&self, pack: &PackFacts) -> Option<(i64, Reason)> {
        let most = self.settings.policy.rules.cycles?;
        let cycles = pack.cycles();
        let spare = i64::from(most) * 1000 - i64::from(cycles.raw());
        let nearness = spare / i64::from(most.max(1));
        let how = if pack.cycles_estimated() { ", partly estimated" } else { "" };
        let left = Cycles::new(u32::try_from(spare.max(0)).unwrap_or(0));
        let reason = Reason::new(Rule::Cycles, Verdict::Recycle, format!("{cycles}{how}"))
            .limit(format!("{most} cycles"))
            .margin(format!("{left} to go"));
        Some((nearness, reason))
    }

    fn near_age(&self, pack: &PackFacts) -> Option<(i64, Reason)> {
        let most = self.settings.policy.rules.age_years?;
        let made = pack.made?;
        let end = years_after(made, most);
        let spare = days_between(self.as_of.day(&self.zone), end);
        let nearness = spare * 1000 / days_between(made, end).max(1);
        let reason = Reason::new(Rule::Age, Verdict::Recycle, format!("made on {made}"))
            .limit(format!("{most} years, until {end}"))
            .margin(format!("{spare} days to go"));
        Some((nearness, reason))
    }
}
