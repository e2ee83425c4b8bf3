//! New cartons: where a carton stands with its sample, and what that means for its packs.

use crate::domain::carton::SamplePlan;
use crate::domain::facts::CartonFacts;
use crate::domain::ids::PackId;
use crate::domain::units::MilliampHours;
use crate::domain::verdict::{Rule, Verdict};
use crate::policy::reason::Reason;
use crate::policy::rules::{CartonRule, IfShort, Rest};

use super::View;

/// Where a carton stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Standing {
    /// Packs of its sample are still to be read.
    Waits {
        /// Read of this sample.
        read: u32,
        /// Packs of this sample.
        of: u32,
        /// It is the second sample: the first decided nothing.
        second: bool,
        /// Those drawn that are in and not read yet; none where any pack will do.
        next: Vec<PackId>,
    },
    /// The sample is good enough.
    Accepted {
        /// Packs read of the sample.
        read: u32,
        /// Bad ones among them.
        bad: u32,
    },
    /// It is not.
    Short {
        /// Packs read of the sample.
        read: u32,
        /// Bad ones among them.
        bad: u32,
        /// Packs on which something dangerous was seen.
        dangerous: u32,
    },
}

/// The plan of a carton: the one that was settled when it was opened, or the house rule of today.
pub fn plan(carton: &CartonFacts, rule: CartonRule) -> SamplePlan {
    carton.plan.unwrap_or(SamplePlan::house(rule.sample, rule.accept))
}

/// Where a carton stands with its sample, when a pack must hold a limit.
pub fn standing(carton: &CartonFacts, rule: CartonRule, limit: MilliampHours) -> Standing {
    let plan = plan(carton, rule);
    let holds = carton.holds();
    let count = |packs: usize| u32::try_from(packs).unwrap_or(u32::MAX);
    let dangerous = count(carton.dangerous.len());
    let is_bad = |pack: &PackId| carton.readings.get(pack).is_some_and(|reading| *reading < limit);
    if carton.plan.is_none() && !rule.only_drawn {
        let (read, bad) =
            (count(carton.readings.len()), count(carton.readings.keys().filter(|p| is_bad(p)).count()));
        let of = plan.first.take.min(holds);
        return match (bad > rule.accept || dangerous > 0, read >= of) {
            (true, _) => Standing::Short { read, bad, dangerous },
            (false, true) => Standing::Accepted { read, bad },
            (false, false) => Standing::Waits { read, of, second: false, next: Vec::new() },
        };
    }
    let order = carton.drawn();
    let (mut read, mut bad, mut passed) = (0, 0, 0_usize);
    for (number, draw) in std::iter::once(plan.first).chain(plan.second).enumerate() {
        let of = draw.take.min(holds.saturating_sub(count(passed)));
        let sample: Vec<Option<PackId>> =
            order.iter().skip(passed).take(usize::try_from(of).unwrap_or(usize::MAX)).copied().collect();
        let taken: Vec<PackId> =
            sample.iter().flatten().filter(|pack| carton.readings.contains_key(pack)).copied().collect();
        passed += sample.len();
        read += count(taken.len());
        bad += count(taken.iter().filter(|pack| is_bad(pack)).count());
        let by_number = plan.k_thousandths.is_none();
        if (by_number && bad >= draw.reject) || dangerous > 0 {
            return Standing::Short { read, bad, dangerous };
        }
        if count(taken.len()) < of {
            let next =
                sample.into_iter().flatten().filter(|pack| !carton.readings.contains_key(pack)).collect();
            return Standing::Waits { read: count(taken.len()), of, second: number > 0, next };
        }
        if let Some(k) = plan.k_thousandths {
            let held = taken.iter().filter_map(|pack| carton.readings.get(pack)).map(|reading| reading.raw());
            return if lies_above(held, limit, k) {
                Standing::Accepted { read, bad }
            } else {
                Standing::Short { read, bad, dangerous }
            };
        }
        // In reduced inspection a gap may lie between: the carton is accepted, and the next one sampled normally.
        if bad <= draw.accept || plan.second.is_none() {
            return Standing::Accepted { read, bad };
        }
    }
    Standing::Short { read, bad, dangerous }
}

/// True when the mean of capacities lies `k` thousandths of their standard deviation (by `n - 1`) or more above the limit.
///
/// With `d` what each lies above the limit: `S^2 (n - 1) >= k^2 n (n Q - S^2)` for `S = sum d >= 0`, `Q = sum d^2`, in whole numbers.
fn lies_above(held: impl Iterator<Item = u32>, limit: MilliampHours, k_thousandths: u32) -> bool {
    let (mut n, mut sum, mut squares) = (0_i128, 0_i128, 0_i128);
    for mah in held {
        let above = i128::from(mah) - i128::from(limit.raw());
        n += 1;
        sum += above;
        squares += above * above;
    }
    let k = i128::from(k_thousandths);
    n > 1 && sum >= 0 && sum * sum * (n - 1) * 1_000_000 >= k * k * n * (n * squares - sum * sum)
}

/// The carton's word for a pack that needs no reading of its own.
pub(super) fn word(view: &View<'_>) -> Option<String> {
    let rule = view.policy.rules.carton?;
    let carton = view.new_carton()?;
    let limit = view.limit?;
    if view.reading.is_some() || rule.rest != Rest::CartonsWord {
        return None;
    }
    let Standing::Accepted { read, bad } = standing(carton, rule, limit) else { return None };
    let found = if bad == 0 && carton.plan.is_none() && !rule.only_drawn {
        let lowest = carton.readings.values().min()?;
        format!("lowest {lowest}")
    } else {
        format!("{bad} of them below")
    };
    Some(format!("unread, on the word of carton {}: {read} read, {found}, limit {limit}", carton.name))
}

pub(super) fn carton(view: &View<'_>) -> Option<Reason> {
    let rule = view.policy.rules.carton?;
    let carton = view.new_carton()?;
    let limit = view.limit?;
    match standing(carton, rule, limit) {
        Standing::Accepted { .. } => None,
        Standing::Short { read, bad, dangerous } => {
            let found = match (bad, dangerous) {
                (_, 0) if plan(carton, rule).k_thousandths.is_some() => {
                    format!(
                        "carton {} fell short: what its {read} read packs hold lies too near {limit}",
                        carton.name
                    )
                }
                (0, found) => {
                    format!("carton {} fell short: a danger was seen on {found} of its packs", carton.name)
                }
                _ => format!("carton {} fell short: {bad} of {read} read are below {limit}", carton.name),
            };
            match rule.if_short {
                IfShort::SendBack => Some(
                    Reason::new(Rule::Carton, Verdict::Wait, found)
                        .advice("It is to be sent back: keep its packs together."),
                ),
                IfShort::TestAll if view.reading.is_some() => None,
                IfShort::TestAll => Some(
                    Reason::new(Rule::Carton, Verdict::Measure, found)
                        .advice("Every pack of it is measured."),
                ),
            }
        }
        Standing::Waits { read, of, second, .. } => {
            let sample = if second { "second sample" } else { "sample" };
            let found = format!("carton {}: {read} of {of} {sample} packs read", carton.name);
            let missing = of - read;
            let packs = if missing == 1 { "pack" } else { "packs" };
            Some(
                Reason::new(Rule::Carton, Verdict::Wait, found)
                    .advice(format!("Measure {missing} {packs} more of its {sample}.")),
            )
        }
    }
}
