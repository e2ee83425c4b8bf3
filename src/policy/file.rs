//! The policy file as it stands in TOML, and its checks.
//!
//! A table or key that came with a later packmuster has a default: a policy that is older says nothing of it, and means that.

use std::collections::BTreeMap;

use serde::Deserialize;

use crate::domain::finding::Finding;
use crate::domain::units::{MilliampHours, PlayHours};
use crate::domain::verdict::Verdict;

use super::bench::BenchTable;
use super::carton::CartonTable;
use super::foresight::Chance;
use super::rules::{
    Buying, ChargeRule, DoubtRule, Limit, OriginLimits, Plausible, Policy, PolicyError, Rules, WorthRule,
};
use super::waste::WasteTable;

/// Longest time that a rule waits: a policy says `on = false` instead, and every date stays within the calendar.
const DAYS: u32 = 36_500;
const YEARS: u32 = 100;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct File {
    limits: LimitsTable,
    rules: RulesTable,
    #[serde(rename = "use")]
    usage: UseTable,
    plausible: PlausibleTable,
    review: ReviewTable,
    loans: LoansTable,
    #[serde(default)]
    bench: BenchTable,
    #[serde(default)]
    buying: BuyingTable,
    #[serde(default)]
    waste: WasteTable,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct LimitsTable {
    new: OriginTable,
    service: OriginTable,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct OriginTable {
    hours: Option<f64>,
    #[serde(rename = "mAh")]
    mah: Option<u32>,
    #[serde(default)]
    percent_of_rated: u32,
    rounds: u32,
    cycles_per_round: u32,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RulesTable {
    finding: BTreeMap<Finding, Verdict>,
    notice: Switch,
    carton: CartonTable,
    unmeasured: Switch,
    stale: DaysTable,
    charge: ChargeTable,
    capacity: CapacityTable,
    #[serde(default)]
    doubt: DoubtTable,
    #[serde(default)]
    forecast: ForecastTable,
    #[serde(default)]
    worth: WorthTable,
    cycles: CyclesTable,
    age: AgeTable,
    resistance: ResistanceTable,
    reported: Switch,
    #[serde(default)]
    refused: RefusedTable,
}

/// Came with a later packmuster: a policy that is older says nothing of it.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RefusedTable {
    on: bool,
    slots: u32,
}

impl Default for RefusedTable {
    fn default() -> Self {
        Self { on: true, slots: 2 }
    }
}

/// Came with a later packmuster: a policy that is older says nothing of it.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct DoubtTable {
    on: bool,
    wrong_pass_percent: u32,
    wrong_fail_percent: u32,
    hours_per_week: u32,
}

impl Default for DoubtTable {
    fn default() -> Self {
        Self { on: true, wrong_pass_percent: 25, wrong_fail_percent: 25, hours_per_week: 40 }
    }
}

/// Came with a later packmuster: a policy that is older says nothing of it.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ForecastTable {
    on: bool,
    chance_percent: u32,
}

impl Default for ForecastTable {
    fn default() -> Self {
        Self { on: true, chance_percent: 10 }
    }
}

/// Came with a later packmuster: a policy that is older says nothing of it.
#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
struct WorthTable {
    on: bool,
    price: u32,
    hour_hundredths: u32,
    /// Where older policies said it; now it is `bench.cycle_hours`.
    #[serde(default)]
    hours_per_cycle: Option<u32>,
}

/// Came with a later packmuster: a policy that is older says nothing of it, and a file may give only what it wants otherwise.
#[derive(Deserialize)]
#[serde(deny_unknown_fields, default)]
struct BuyingTable {
    lead_days: u32,
    growth_percent_per_year: u32,
    service_level_percent: u32,
    ready_stock: u32,
}

impl Default for BuyingTable {
    fn default() -> Self {
        Self { lead_days: 42, growth_percent_per_year: 0, service_level_percent: 95, ready_stock: 5 }
    }
}

impl BuyingTable {
    fn validate(&self) -> Result<Buying, PolicyError> {
        if self.lead_days > 1000 {
            return value("buying.lead_days", &self.lead_days, "expected 0 to 1000");
        }
        if self.growth_percent_per_year > 1000 {
            let key = "buying.growth_percent_per_year";
            return value(key, &self.growth_percent_per_year, "expected 0 to 1000");
        }
        if !(50..=99).contains(&self.service_level_percent) {
            let key = "buying.service_level_percent";
            return value(key, &self.service_level_percent, "expected 50 to 99");
        }
        if self.ready_stock > 1_000_000 {
            return value("buying.ready_stock", &self.ready_stock, "expected 0 to 1000000");
        }
        Ok(Buying {
            lead_days: self.lead_days,
            growth_percent_per_year: self.growth_percent_per_year,
            service_level_percent: self.service_level_percent,
            ready_stock: self.ready_stock,
        })
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Switch {
    on: bool,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct DaysTable {
    on: bool,
    days: u32,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ChargeTable {
    on: bool,
    days: u32,
    /// These came with a later packmuster.
    #[serde(default = "all_of_it")]
    nickel_keeps_percent: u32,
    #[serde(default = "all_of_it")]
    lithium_keeps_percent: u32,
}

const fn all_of_it() -> u32 {
    100
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CapacityTable {
    on: bool,
    second_reading_within_percent: u32,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CyclesTable {
    on: bool,
    cycles: u32,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct AgeTable {
    on: bool,
    years: u32,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ResistanceTable {
    on: bool,
    percent_of_make: u32,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct UseTable {
    hours_per_day: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(clippy::struct_field_names, reason = "the names are the keys of the policy file")]
struct PlausibleTable {
    above_rated_percent: u32,
    below_rated_percent: u32,
    jump_percent: u32,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ReviewTable {
    near_percent: u32,
    /// Came with a later packmuster.
    #[serde(default = "lost_after_days")]
    lost_after_days: u32,
    /// Came with a later packmuster.
    #[serde(default = "review_rows")]
    rows: u32,
}

const fn lost_after_days() -> u32 {
    180
}

const fn review_rows() -> u32 {
    200
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct LoansTable {
    longest_days: u32,
    /// Came with a later packmuster.
    #[serde(default = "keep_reference_days")]
    keep_reference_days: u32,
}

const fn keep_reference_days() -> u32 {
    90
}

pub(super) fn value<T>(key: &str, value: &dyn ToString, expected: &'static str) -> Result<T, PolicyError> {
    Err(PolicyError::Value { key: key.to_owned(), value: value.to_string(), expected })
}

/// Takes a TOML number of hours to hundredths, within 0 to `most` hours.
fn hours(key: &str, given: f64, most: u32) -> Result<PlayHours, PolicyError> {
    let expected =
        "expected hours of play above zero, with at most two decimals and no more than a few hundred";
    match PlayHours::parse_bare(&given.to_string()) {
        Ok(hours) if hours.raw() > 0 && hours.raw() <= most.saturating_mul(100) => Ok(hours),
        _ => value(key, &given, expected),
    }
}

impl OriginTable {
    fn validate(&self, key: &str) -> Result<OriginLimits, PolicyError> {
        let limit = match (self.hours, self.mah) {
            (Some(given), None) => Limit::Hours(hours(&format!("{key}.hours"), given, 500)?),
            (None, Some(mah)) if (1..=100_000).contains(&mah) => Limit::Charge(MilliampHours::new(mah)),
            (None, Some(mah)) => return value(&format!("{key}.mAh"), &mah, "expected 1 to 100000"),
            (Some(_), Some(mah)) => {
                return value(&format!("{key}.mAh"), &mah, "give the limit in hours or in mAh, not both");
            }
            (None, None) => return value(key, &"without a limit", "give hours or mAh"),
        };
        if self.percent_of_rated > 110 {
            return value(&format!("{key}.percent_of_rated"), &self.percent_of_rated, "expected 0 to 110");
        }
        if self.rounds > 20 {
            return value(&format!("{key}.rounds"), &self.rounds, "expected 0 to 20");
        }
        if !(1..=20).contains(&self.cycles_per_round) {
            return value(&format!("{key}.cycles_per_round"), &self.cycles_per_round, "expected 1 to 20");
        }
        Ok(OriginLimits {
            limit,
            percent_of_rated: self.percent_of_rated,
            rounds: self.rounds,
            cycles_per_round: self.cycles_per_round,
        })
    }
}

impl RulesTable {
    fn validate(self) -> Result<Rules, PolicyError> {
        for finding in Finding::ALL {
            match self.finding.get(&finding) {
                None if finding == Finding::CutOutEarly => {}
                Some(verdict) if finding == Finding::CutOutEarly => {
                    return value(
                        "rules.finding.cut_out_early",
                        &verdict,
                        "this finding is the rule `reported`",
                    );
                }
                None => {
                    let key = format!("rules.finding ({finding})");
                    return value(
                        &key,
                        &"missing",
                        "every finding needs a verdict; this rule cannot be switched off",
                    );
                }
                Some(Verdict::Fit) => {
                    let key = format!("rules.finding ({finding})");
                    return value(&key, &"fit", "a finding cannot make a pack fit");
                }
                Some(_) => {}
            }
        }
        for (key, days) in [("rules.stale.days", self.stale.days), ("rules.charge.days", self.charge.days)] {
            if !(1..=DAYS).contains(&days) {
                return value(key, &days, "expected 1 to 36500; switch the rule off with on = false");
            }
        }
        for (key, percent) in [
            ("rules.charge.nickel_keeps_percent", self.charge.nickel_keeps_percent),
            ("rules.charge.lithium_keeps_percent", self.charge.lithium_keeps_percent),
        ] {
            if !(1..=100).contains(&percent) {
                return value(key, &percent, "expected 1 to 100; 100 where nothing is lost");
            }
        }
        if !(1..=YEARS).contains(&self.age.years) {
            let key = "rules.age.years";
            return value(key, &self.age.years, "expected 1 to 100; switch the rule off with on = false");
        }
        if !(2..=100).contains(&self.refused.slots) {
            let key = "rules.refused.slots";
            return value(key, &self.refused.slots, "expected 2 to 100; switch the rule off with on = false");
        }
        for (key, percent) in [
            ("rules.doubt.wrong_pass_percent", self.doubt.wrong_pass_percent),
            ("rules.doubt.wrong_fail_percent", self.doubt.wrong_fail_percent),
            ("rules.forecast.chance_percent", self.forecast.chance_percent),
        ] {
            if !(1..=99).contains(&percent) {
                return value(key, &percent, "expected 1 to 99; switch the rule off with on = false");
            }
        }
        if self.worth.on && self.worth.price == 0 {
            let expected = "expected a price above zero; switch the rule off with on = false";
            return value("rules.worth.price", &self.worth.price, expected);
        }
        if self.capacity.second_reading_within_percent > 50 {
            let key = "rules.capacity.second_reading_within_percent";
            return value(key, &self.capacity.second_reading_within_percent, "expected 0 to 50");
        }
        Ok(Rules {
            finding: self.finding,
            notice: self.notice.on,
            carton: self.carton.validate()?,
            unmeasured: self.unmeasured.on,
            stale_days: self.stale.on.then_some(self.stale.days),
            charge: self.charge.on.then_some(ChargeRule {
                days: self.charge.days,
                nickel_keeps: self.charge.nickel_keeps_percent,
                lithium_keeps: self.charge.lithium_keeps_percent,
            }),
            capacity: self.capacity.on.then_some(self.capacity.second_reading_within_percent),
            doubt: self.doubt.on.then_some(DoubtRule {
                wrong_pass: Chance::percent(self.doubt.wrong_pass_percent),
                wrong_fail: Chance::percent(self.doubt.wrong_fail_percent),
                hours_per_week: self.doubt.hours_per_week,
            }),
            forecast: self.forecast.on.then_some(Chance::percent(self.forecast.chance_percent)),
            worth: self.worth.on.then_some(WorthRule {
                price: self.worth.price,
                hour_hundredths: self.worth.hour_hundredths,
            }),
            cycles: self.cycles.on.then_some(self.cycles.cycles),
            age_years: self.age.on.then_some(self.age.years),
            resistance_percent: self.resistance.on.then_some(self.resistance.percent_of_make),
            reported: self.reported.on,
            refused: self.refused.on.then_some(self.refused.slots),
        })
    }
}

impl File {
    pub(super) fn validate(self, id: String) -> Result<Policy, PolicyError> {
        let plausible = Plausible {
            above_rated_percent: self.plausible.above_rated_percent,
            below_rated_percent: self.plausible.below_rated_percent,
            jump_percent: self.plausible.jump_percent,
        };
        if plausible.above_rated_percent <= plausible.below_rated_percent {
            let key = "plausible.above_rated_percent";
            return value(key, &plausible.above_rated_percent, "expected more than below_rated_percent");
        }
        if !(1..=3660).contains(&self.loans.longest_days) {
            return value("loans.longest_days", &self.loans.longest_days, "expected 1 to 3660");
        }
        if self.loans.keep_reference_days > DAYS {
            let key = "loans.keep_reference_days";
            return value(key, &self.loans.keep_reference_days, "expected 0 to 36500");
        }
        if self.review.near_percent > 100 {
            return value("review.near_percent", &self.review.near_percent, "expected 0 to 100");
        }
        for (key, given, most) in [
            ("review.lost_after_days", self.review.lost_after_days, DAYS),
            ("review.rows", self.review.rows, 1_000_000),
        ] {
            if !(1..=most).contains(&given) {
                return value(key, &given, "expected 1 to 36500 days, or 1 to 1000000 rows");
            }
        }
        let older_cycle_hours = self.rules.worth.hours_per_cycle;
        Ok(Policy {
            id,
            new: self.limits.new.validate("limits.new")?,
            service: self.limits.service.validate("limits.service")?,
            rules: self.rules.validate()?,
            hours_per_day: hours("use.hours_per_day", self.usage.hours_per_day, 24)?,
            plausible,
            near_percent: self.review.near_percent,
            lost_after_days: self.review.lost_after_days,
            review_rows: self.review.rows,
            longest_loan_days: self.loans.longest_days,
            keep_reference_days: self.loans.keep_reference_days,
            bench: self.bench.validate(older_cycle_hours)?,
            buying: self.buying.validate()?,
            waste: self.waste.validate()?,
        })
    }
}
