//! What is left of a charge on the shelf.
//!
//! Cells lose charge by themselves: by a share for each day, so that a fixed share is left after any four weeks. The share is the policy's.

use crate::domain::make::Chemistry;
use crate::domain::moment::Moment;
use crate::domain::units::MilliampHours;
use crate::domain::verdict::{Rule, Verdict};
use crate::policy::reason::Reason;
use crate::policy::rules::ChargeRule;

use super::View;

/// Days after which standards say what must be left: IEC 61951-2 and IEC 61960-3 store a charged cell for 28 days at 20 degrees (from memory).
const STORED_DAYS: f64 = 28.0;
const ADVICE: &str = "Charge it in a player or charger, not in a slot, then scan CHARGED.";

impl ChargeRule {
    /// Per cent of a charge that a chemistry keeps over 28 days; none where the policy says nothing of it.
    const fn keeps(&self, chemistry: Chemistry) -> Option<u32> {
        match chemistry {
            Chemistry::NiMh | Chemistry::NiCd => Some(self.nickel_keeps),
            Chemistry::LiIon => Some(self.lithium_keeps),
            Chemistry::LeadAcid => None,
        }
    }
}

/// What is left of a full charge after days: `capacity * share ^ (days / 28)`, mAh, rounded down.
#[expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a share of a whole number of mAh"
)]
fn left(capacity: MilliampHours, keeps_percent: u32, days: u32) -> MilliampHours {
    let share = libm::pow(f64::from(keeps_percent) / 100.0, f64::from(days) / STORED_DAYS);
    MilliampHours::new((f64::from(capacity.raw()) * share.min(1.0)).floor() as u32)
}

/// Asked last, and only of a pack that nothing else holds back: what must be measured is charged on the bench anyway.
pub(super) fn charge(view: &View<'_>) -> Option<Reason> {
    let rule = view.policy.rules.charge?;
    let wait = |found: String| Reason::new(Rule::Charge, Verdict::Wait, found).advice(ADVICE);
    let most = format!("{} days", rule.days);
    let Some(at) = view.case.pack.last_charge() else {
        return Some(wait("not known when it was last charged".to_owned()).limit(most));
    };
    let days = view.question.now.days_since(at);
    let over = days - i64::from(rule.days);
    if over > 0 {
        let found = format!("last charged {days} days ago");
        return Some(wait(found).limit(most).margin(format!("{over} days over")));
    }
    let (reading, limit) = (view.reading?, view.limit?);
    let left = left(reading.capacity, keeps(view, rule)?, u32::try_from(days).unwrap_or(0));
    (left < limit && reading.capacity >= limit).then(|| {
        let found = format!("charged {days} days ago, about {left} of {} are left of it", reading.capacity);
        let short = limit.raw().saturating_sub(left.raw());
        wait(found).limit(limit.to_string()).margin(format!("{short} mAh short"))
    })
}

/// The last day on which a charge is neither too old nor too little.
pub(super) fn until(view: &View<'_>) -> Option<Moment> {
    let rule = view.policy.rules.charge?;
    let at = view.case.pack.last_charge()?;
    let enough = |days: u32| {
        let known = view.reading.zip(view.limit).zip(keeps(view, rule));
        known.is_none_or(|((reading, limit), keeps)| {
            reading.capacity < limit || left(reading.capacity, keeps, days) >= limit
        })
    };
    // What is left only falls: the last day is found by halving.
    let (mut good, mut bad) = (0, rule.days.saturating_add(1));
    while bad > good + 1 {
        let middle = good + (bad - good) / 2;
        if enough(middle) { good = middle } else { bad = middle }
    }
    Some(at.plus_days(i64::from(good)))
}

fn keeps(view: &View<'_>, rule: ChargeRule) -> Option<u32> {
    rule.keeps(view.case.make?.chemistry)
}
