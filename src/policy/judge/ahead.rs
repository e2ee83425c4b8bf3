//! The rules that look ahead, and what the statistics say of a reading's truth.

use crate::domain::moment::{day_after, days_between};
use crate::domain::units::MilliampHours;
use crate::domain::verdict::{Rule, Step, Verdict};
use crate::policy::foresight::{Chance, Foresight};
use crate::policy::reason::{Keeps, Reason};

use super::View;

/// Readings after which a pack is judged by what they say together, however near the limit.
const ENOUGH_READINGS: usize = 3;
/// The shortest loan that is spoken of, days.
const SHORTEST_LOAN: u32 = 7;

/// A pack passed, but is too likely to hold less than its limit. The risk is the specific consumer's risk of JCGM 106:2012, 8.2: the share below
/// the limit of what is known of the pack's true capacity.
pub(super) fn doubt(view: &View<'_>) -> Option<Reason> {
    let rule = view.policy.rules.doubt?;
    let (reading, limit, sight) = (view.reading?, view.limit?, view.case.foresight?);
    if reading.capacity < limit || view.case.pack.counting().count() >= ENOUGH_READINGS {
        return None;
    }
    let risk = sight.below(limit, 0);
    let most = rule.wrong_pass.max(sight.worth_doubting());
    (risk > most).then(|| {
        let found = format!(
            "read {}, but the chance is {risk} that it holds less than {limit} now",
            reading.capacity
        );
        Reason::new(Rule::Doubt, Verdict::Measure, found)
            .limit(rule.wrong_pass.to_string())
            .advice("Measure it again, in another slot.")
    })
}

/// The chance that a pack that failed truly holds its limit, where that is more than the policy wants to risk.
pub(super) fn wrongly_failed(view: &View<'_>, limit: MilliampHours) -> Option<Chance> {
    let rule = view.policy.rules.doubt?;
    let sight = view.case.foresight?;
    if view.case.pack.counting().count() >= ENOUGH_READINGS {
        return None;
    }
    let risk = sight.below(limit, 0).not();
    (risk > rule.wrong_fail.max(sight.worth_doubting())).then_some(risk)
}

/// A pack is to go out for a loan that it is too likely not to last.
pub(super) fn forecast(view: &View<'_>) -> Option<Reason> {
    let most = view.policy.rules.forecast?;
    let (reading, limit, sight) = (view.reading?, view.limit?, view.case.foresight?);
    let due = view.question.due.filter(|_| view.question.step == Step::Dispatch)?;
    if reading.capacity < limit {
        return None;
    }
    let today = view.day(view.question.now);
    let days = u32::try_from(days_between(today, due)).unwrap_or(0);
    let back = days.saturating_add(sight.overrun());
    let chance = sight.below(limit, back);
    (chance > most).then(|| {
        let back = day_after(today, i64::from(back));
        let found = format!(
            "the chance is {chance} that it holds less than {limit} when it comes back about {back} ({})",
            sight.holds(days.saturating_add(sight.overrun()))
        );
        let advice = match keeps_days(sight, limit, most, days) {
            Some(days) => format!("Good for a loan until {}.", day_after(today, i64::from(days))),
            None => "Not good for any loan of a week: keep it here, or measure it again.".to_owned(),
        };
        Reason::new(Rule::Forecast, Verdict::Wait, found).limit(most.to_string()).advice(advice)
    })
}

/// How long a loan the pack is likely to last.
pub(super) fn keeps(view: &View<'_>) -> Option<Keeps> {
    let most = view.policy.rules.forecast?;
    let (limit, sight) = (view.limit?, view.case.foresight?);
    view.reading?;
    Some(match keeps_days(sight, limit, most, view.policy.longest_loan_days) {
        Some(days) => Keeps::Until(day_after(view.day(view.question.now), i64::from(days))),
        None => Keeps::NoLoan,
    })
}

/// The longest loan up to a number of days that the pack is likely to keep: by halving, as the chance only grows with time.
fn keeps_days(sight: &dyn Foresight, limit: MilliampHours, most: Chance, longest: u32) -> Option<u32> {
    let keeps = |days: u32| sight.below(limit, days.saturating_add(sight.overrun())) <= most;
    if !keeps(SHORTEST_LOAN) {
        return None;
    }
    if keeps(longest) {
        return Some(longest);
    }
    let (mut good, mut bad) = (SHORTEST_LOAN, longest);
    while bad > good + 1 {
        let middle = good + (bad - good) / 2;
        if keeps(middle) { good = middle } else { bad = middle }
    }
    Some(good)
}

/// Why a round is not worth its hours, if so: a new pack costs less than what the round costs for each pack that it saves.
pub(super) fn not_worth_a_round(view: &View<'_>, limit: MilliampHours, cycles: u32) -> Option<String> {
    let rule = view.policy.rules.worth?;
    let lifted = view.case.foresight?.lifted_to(limit)?;
    // In millionths of a hundredth of the money.
    let gain = u64::from(lifted.chance.raw()) * u64::from(rule.price) * 100;
    let hours = u64::from(view.policy.bench.cycle_hours) * u64::from(cycles);
    let cost = hours * u64::from(rule.hour_hundredths) * 1_000_000;
    (gain < cost).then(|| {
        format!(
            "A round of {hours} h lifts it over its limit with a chance of {lifted}: not worth the hours."
        )
    })
}
