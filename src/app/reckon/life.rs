//! One pack's life: how old it came under watch, how old it was when it failed or was last seen good.

use crate::domain::event::Origin;
use crate::domain::moment::Moment;
use crate::domain::pack::PackFacts;
use crate::domain::units::MilliampHours;
use crate::domain::verdict::{Rule, Verdict};
use crate::policy::reason::Reason;

/// Milliseconds of a day.
const DAY: i64 = 86_400_000;

/// Ages in days at entering and leaving, and whether it failed; `None` for a pack that was never under watch.
pub(super) fn life(pack: &PackFacts, limit: MilliampHours, reasons: &[Reason]) -> Option<(u32, u32, bool)> {
    let first = pack.readings.first()?;
    let begun = pack.added?.min(first.at);
    let born = match (pack.entered_as, pack.made) {
        (Some(Origin::New), _) | (_, None) => begun,
        (_, Some(made)) => Moment::start_of(made, &jiff::tz::TimeZone::UTC).min(begun),
    };
    let good = pack.readings.iter().rev().find(|reading| reading.capacity >= limit);
    let weak = pack.readings.iter().rev().take_while(|reading| reading.capacity < limit).last();
    let wants = |verdict| matches!(verdict, Verdict::Recondition | Verdict::Measure);
    let hoped = reasons.iter().any(|reason| reason.rule == Rule::Capacity && wants(reason.verdict));
    if good.is_none() && pack.entered_as != Some(Origin::New) {
        return None;
    }
    let age = |at: Moment| u32::try_from((at.millis() - born.millis()).div_euclid(DAY)).unwrap_or(0);
    let entered = age(begun);
    match weak.filter(|_| !hoped) {
        Some(weak) => Some((entered, age(weak.at).max(entered + 1), true)),
        None => Some((entered, age(good?.at), false)).filter(|&(entered, left, _)| left > entered),
    }
}
