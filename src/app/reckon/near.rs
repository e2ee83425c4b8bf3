//! Which packs near their end: those that the model expects to fall below their limit within half a year, and those within the policy's
//! margin of a limit by the end of the month.

use serde::{Deserialize, Serialize};

use crate::domain::event::Origin;
use crate::domain::moment::{days_between, years_after};
use crate::domain::pack::PackFacts;
use crate::domain::units::Cycles;
use crate::domain::verdict::{Rule, Verdict};
use crate::policy::reason::Reason;

use super::{CERTAIN, Foreseen, Frame};

/// What is expected by the end of so many months after this one is near.
const SOON: u8 = 6;

/// How near a pack is to its nearest limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub(crate) struct Near {
    /// How far it is from the limit, in tenths of a per cent.
    pub(crate) nearness: i32,
    /// It lies within the policy's margin of the limit, whatever is foretold of it.
    pub(crate) within_margin: bool,
}

/// When a pack reaches its end, in months after this one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Ends {
    /// By the end of that month it is more likely than not.
    pub(crate) expected: u8,
    /// By the end of that month the chance is one in ten.
    pub(crate) first: u8,
    /// By the end of that month it is nine in ten; none when that lies beyond the time looked at.
    pub(crate) last: Option<u8>,
}

impl Ends {
    /// None when it is not likely to have ended in the time looked at.
    pub(crate) fn of(foreseen: &Foreseen) -> Option<Self> {
        let Foreseen::Course(_, months) = foreseen else { return None };
        let by = |least: f64| {
            let place = months.iter().position(|&chance| f64::from(chance) >= least * CERTAIN)?;
            u8::try_from(place).ok()
        };
        let expected = by(0.5)?;
        Some(Self { expected, first: by(0.1).unwrap_or(expected), last: by(0.9) })
    }
}

impl Frame {
    /// How near a pack is to the nearest limit, and which, if it is within the policy's margin of it or near its end by what is
    /// foretold.
    pub(crate) fn near(&self, pack: &PackFacts, ends: Option<Ends>) -> Option<(Near, Reason)> {
        let percent = i64::from(self.settings.policy.near_percent);
        let candidates = [self.near_capacity(pack), self.near_cycles(pack), self.near_age(pack)];
        let (nearness, reason) = candidates.into_iter().flatten().min_by_key(|(nearness, _)| *nearness)?;
        let within_margin = nearness <= percent * 10;
        let nearness = i32::try_from(nearness).unwrap_or(i32::MAX);
        (within_margin || ends.is_some_and(|ends| ends.expected <= SOON))
            .then_some((Near { nearness, within_margin }, reason))
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
        let spare = days_between(self.today(), end);
        // By the end of the month, so that it does not change from day to day.
        let then = days_between(self.today().last_of_month(), end);
        let nearness = then * 1000 / days_between(made, end).max(1);
        let reason = Reason::new(Rule::Age, Verdict::Recycle, format!("made on {made}"))
            .limit(format!("{most} years, until {end}"))
            .margin(format!("{spare} days to go"));
        Some((nearness, reason))
    }
}
