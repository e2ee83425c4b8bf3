//! A carton that was received: how it is sampled, which packs are the sample, and what came of it.
//!
//! By the house rule of the policy, or by a plan of the standard, which is settled when the carton is opened: its severity follows from
//! what the cartons of the same make before it did, by the standard's switching rules.

use serde::Serialize;

use crate::domain::carton::{SamplePlan, SampleStep, Severity};
use crate::domain::event::Origin;
use crate::domain::facts::{CartonFacts, LotFacts};
use crate::domain::ids::{CartonId, LotId, MakeId, PackId, ThingKind};
use crate::domain::units::MilliampHours;
use crate::ledger::settings::Settings;
use crate::ledger::{Ledger, LedgerError};
use crate::policy::judge::carton::{Standing, plan, standing};
use crate::policy::limits::{limit, thirstiest};
use crate::policy::rules::{self, CartonRule, IfShort, PointsRule, Rest, SettledRule, StandardRule};
use crate::stats::sampling::design::{self, Points};
use crate::stats::sampling::plan::{Double, Plan, Single};
use crate::stats::sampling::tables::{self, Level, Switching};
use crate::stats::sampling::variables::{self, Variables};

use super::super::error::AppError;
use super::super::lookup;
use super::{Wish, packs, risks, told};

/// The sample of a carton that was received.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sample {
    /// The carton.
    pub carton: String,
    /// Packs that it holds, as far as is known.
    pub holds: u32,
    /// What to do, in words.
    pub plan: Vec<String>,
    /// How severely it is sampled, by a plan of the standard.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub severity: Option<Severity>,
    /// The packs that were drawn and are in, in the order in which they are drawn: tag, and the first reading if there is one.
    pub packs: Vec<(String, Option<u32>)>,
    /// Packs that were drawn and are not in yet.
    pub missing: usize,
    /// What the sample says, in words.
    pub verdict: String,
    /// What may be wrong all the same, in words.
    pub risks: Vec<String>,
}

/// What new packs of a carton's make must hold.
fn must(
    ledger: &mut Ledger,
    lot: Option<LotId>,
    settings: &Settings,
) -> Result<Option<MilliampHours>, LedgerError> {
    let Some(lot) = lot else { return Ok(None) };
    let lot: LotFacts = ledger.facts(lot.into())?.unwrap_or_default();
    let make = lot.make.and_then(|make| settings.makes.get(&make));
    Ok(make.and_then(|make| limit(&settings.policy, Origin::New, make, thirstiest(make, &settings.players))))
}

/// The plan as the statistics take it.
fn as_plan(sample: &SamplePlan) -> Plan {
    let single = |draw: SampleStep| Single { sample: draw.take, accept: draw.accept, reject: draw.reject };
    match sample.second {
        None => Plan::Single(single(sample.first)),
        Some(second) => Plan::Double(Double { first: single(sample.first), second: single(second) }),
    }
}

fn level(level: rules::Level) -> Level {
    match level {
        rules::Level::S1 => Level::S1,
        rules::Level::S2 => Level::S2,
        rules::Level::S3 => Level::S3,
        rules::Level::S4 => Level::S4,
        rules::Level::I => Level::I,
        rules::Level::II => Level::II,
        rules::Level::III => Level::III,
    }
}

/// What the policy's rule asks of a carton, at normal severity.
pub fn of_policy(rule: CartonRule, lot: u32) -> Wish {
    match rule.settled {
        Some(SettledRule::Points(points) | SettledRule::Variables(points)) => {
            Wish::Points(two_points(points))
        }
        Some(SettledRule::Standard(standard)) => Wish::Standard {
            quality: f64::from(standard.quality_thousandths) / 1000.0,
            level: level(standard.level),
            severity: tables::Severity::Normal,
            double: standard.double,
        },
        None => Wish::Take { sample: rule.sample.min(lot), accept: rule.accept },
    }
}

/// What a carton is to be sampled by that is opened now, and whether inspection of its make should have stopped.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Settled {
    /// The plan; none by the house rule, which is that of the policy in force.
    pub plan: Option<SamplePlan>,
    /// Ten cartons in a row were sampled tightened: the supplier has to act first.
    pub stopped: bool,
}

/// Settles how a carton of a make is sampled that is opened now.
///
/// # Errors
/// When the standard has no plan for it, or a fault of the ledger.
pub fn settle(ledger: &mut Ledger, make: MakeId, size: u32) -> Result<Settled, AppError> {
    let settings = ledger.settings()?.clone();
    let rule = settings.policy.rules.carton.and_then(|rule| Some((rule, rule.settled?)));
    // A carton of one pack is read whole, whatever is said of larger ones.
    let Some((rule, settled)) = rule.filter(|_| size > 1) else {
        return Ok(Settled { plan: None, stopped: false });
    };
    match settled {
        SettledRule::Standard(standard) => by_the_standard(ledger, make, size, (rule, standard), &settings),
        SettledRule::Points(points) => {
            let single =
                design::single_for_lot(size, &two_points(points)).map_err(|error| super::fault(&error))?;
            Ok(Settled { plan: Some(one(single)), stopped: false })
        }
        SettledRule::Variables(points) => {
            let found =
                variables::unknown_deviation(&two_points(points)).map_err(|error| super::fault(&error))?;
            let single = Single::of(found.sample.min(size), 0);
            let k_thousandths = Some(thousandths(found.k));
            Ok(Settled { plan: Some(SamplePlan { k_thousandths, ..one(single) }), stopped: false })
        }
    }
}

/// One sample.
const fn one(single: Single) -> SamplePlan {
    let first = SampleStep { take: single.sample, accept: single.accept, reject: single.reject };
    SamplePlan { first, second: None, severity: None, k_thousandths: None }
}

fn two_points(rule: PointsRule) -> Points {
    let share = |hundredths: u32| f64::from(hundredths) / 10_000.0;
    Points {
        good: share(rule.good),
        producer: share(rule.producer),
        bad: share(rule.bad),
        consumer: share(rule.consumer),
    }
}

#[expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a k is a few deviations: held within what the unit takes"
)]
fn thousandths(k: f64) -> u32 {
    (k * 1000.0).ceil().clamp(0.0, 1e6) as u32
}

fn by_the_standard(
    ledger: &mut Ledger,
    make: MakeId,
    size: u32,
    (rule, standard): (CartonRule, StandardRule),
    settings: &Settings,
) -> Result<Settled, AppError> {
    let switching = history(ledger, make, rule, settings)?;
    let severity = switching.severity();
    let of = |severity: tables::Severity| match severity {
        tables::Severity::Normal => Severity::Normal,
        tables::Severity::Tightened => Severity::Tightened,
        tables::Severity::Reduced => Severity::Reduced,
    };
    let draw = |single: Single| one(single).first;
    let (first, second) = match look_up(size, standard, severity)? {
        Plan::Single(single) => (draw(single), None),
        Plan::Double(double) => (draw(double.first), Some(draw(double.second))),
    };
    let plan = SamplePlan { first, second, severity: Some(of(severity)), k_thousandths: None };
    Ok(Settled { plan: Some(plan), stopped: switching.is_stopped() })
}

fn look_up(size: u32, rule: StandardRule, severity: tables::Severity) -> Result<Plan, AppError> {
    let quality = f64::from(rule.quality_thousandths) / 1000.0;
    let look_up = if rule.double { tables::double } else { tables::single };
    let found = look_up(size, level(rule.level), quality, severity).map_err(|error| super::fault(&error))?;
    Ok(found.plan)
}

/// What the cartons of a make that were sampled by the standard did, in the order in which they were opened.
fn history(
    ledger: &mut Ledger,
    make: MakeId,
    rule: CartonRule,
    settings: &Settings,
) -> Result<Switching, LedgerError> {
    let mut cartons: Vec<(CartonId, CartonFacts)> = Vec::new();
    for (thing, facts) in ledger.all(ThingKind::Carton)? {
        if let Ok(facts) = CartonFacts::try_from(facts)
            && facts.plan.is_some_and(|plan| plan.severity.is_some())
        {
            cartons.push((CartonId::new(thing.id), facts));
        }
    }
    // Identities carry the time.
    cartons.sort_by_key(|(id, _)| *id);
    let mut switching = Switching::default();
    for (_, carton) in cartons {
        let Some(lot) = carton.lot else { continue };
        let of: LotFacts = ledger.facts(lot.into())?.unwrap_or_default();
        let (true, Some(limit)) = (of.make == Some(make), must(ledger, Some(lot), settings)?) else {
            continue;
        };
        let first = plan(&carton, rule).first;
        let single = Single { sample: first.take, accept: first.accept, reject: first.reject };
        match standing(&carton, rule, limit) {
            // What decides is whether it was accepted outright: of two samples, by either.
            Standing::Accepted { bad, .. } if carton.plan.is_some_and(|plan| plan.second.is_none()) => {
                switching.enter(single, bad);
            }
            Standing::Accepted { .. } => switching.enter(single, 0),
            Standing::Short { .. } => switching.enter(single, first.reject.max(first.accept + 1)),
            Standing::Waits { .. } => {}
        }
    }
    Ok(switching)
}

/// Tells the sample of a carton, and what came of it.
///
/// # Errors
/// When no carton or more than one has the name, the policy samples none, or a fault of the ledger.
pub fn sample(ledger: &mut Ledger, name: &str) -> Result<Sample, AppError> {
    let found = ledger.named(ThingKind::Carton, name)?;
    let [thing] = found.as_slice() else {
        let text = match found.len() {
            0 => format!("no carton is named `{name}`"),
            many => format!("{many} cartons are named `{name}`"),
        };
        return Err(AppError::input(
            text,
            "cartons are named by their lot and number, as `receive` tells them",
        ));
    };
    let facts: CartonFacts = ledger.facts(*thing)?.unwrap_or_default();
    let settings = ledger.settings()?.clone();
    let Some(rule) = settings.policy.rules.carton else {
        return Err(AppError::input(
            "the policy samples no cartons: its rule `carton` is off",
            "adopt one that does",
        ));
    };
    let sampled = plan(&facts, rule);
    let holds = facts.holds();
    let must = must(ledger, facts.lot, &settings)?;
    let standing = must.map(|limit| standing(&facts, rule, limit));
    let second = matches!(standing, Some(Standing::Waits { second: true, .. }))
        || sampled.second.is_some_and(|_| read_of(&facts) > sampled.first.take);
    let take = sampled.first.take + sampled.second.filter(|_| second).map_or(0, |draw| draw.take);
    let mut drawn = Vec::new();
    let mut missing = 0;
    for pack in facts.drawn().into_iter().take(usize::try_from(take).unwrap_or(usize::MAX)) {
        match pack {
            Some(pack) => {
                let reading = facts.readings.get(&pack).map(|reading| reading.raw());
                drawn.push((lookup::pack_name(ledger, pack)?, reading));
            }
            None => missing += 1,
        }
    }
    Ok(Sample {
        carton: facts.name,
        holds,
        plan: plan_words(holds, &sampled),
        severity: facts.plan.and_then(|plan| plan.severity),
        packs: drawn,
        missing,
        verdict: verdict(standing.as_ref(), rule),
        risks: risk_words(holds, &sampled),
    })
}

/// What to do with a carton, in words.
fn plan_words(holds: u32, sampled: &SamplePlan) -> Vec<String> {
    let Some(k) = sampled.k_thousandths else { return told(holds, &as_plan(sampled)) };
    vec![format!(
        "read {}, drawn at random; accept the carton when the mean of what they hold lies {:.3} of their standard deviations above the limit",
        packs(sampled.first.take),
        f64::from(k) / 1000.0
    )]
}

/// What may be wrong all the same, in words.
fn risk_words(holds: u32, sampled: &SamplePlan) -> Vec<String> {
    let Some(k) = sampled.k_thousandths else { return risks(holds, &as_plan(sampled)) };
    let plan = Variables { sample: sampled.first.take, k: f64::from(k) / 1000.0 };
    // The most bad packs that pass in half of all cases, as for plans by number.
    let share = |bad: u32| f64::from(bad) / f64::from(holds.max(1));
    let passes = (1..holds).take_while(|bad| plan.accepts_share(share(*bad)) >= 0.5).last();
    passes
        .map(|bad| {
            format!(
                "Where {bad} of {holds} are bad, the carton is accepted all the same {:.0} times in 100, if capacities are normal.",
                100.0 * plan.accepts_share(share(bad))
            )
        })
        .into_iter()
        .collect()
}

/// Packs of the sample that are read.
fn read_of(carton: &CartonFacts) -> u32 {
    u32::try_from(carton.readings.len()).unwrap_or(u32::MAX)
}

/// What a sample says, in words.
fn verdict(standing: Option<&Standing>, rule: CartonRule) -> String {
    match standing {
        None => "WAIT: what its packs must hold is not known".to_owned(),
        Some(Standing::Waits { read, of, second, .. }) => {
            let which = if *second { "second sample" } else { "sample" };
            format!("WAIT: {read} of {of} packs of its {which} are read")
        }
        Some(Standing::Accepted { read, bad }) => {
            let rest = match rule.rest {
                Rest::CartonsWord => "the rest goes out unread",
                Rest::ReadingEach => "the rest is measured pack by pack",
            };
            format!("ACCEPT: {bad} bad among {} read; {rest}", packs(*read))
        }
        Some(Standing::Short { read, bad, dangerous }) => {
            let found = if *dangerous == 0 && *bad == 0 {
                format!("what {} hold lies too near the limit", packs(*read))
            } else if *dangerous > 0 {
                format!("a danger was seen on {}", packs(*dangerous))
            } else {
                format!("{bad} bad among {} read", packs(*read))
            };
            match rule.if_short {
                IfShort::TestAll => format!("TEST ALL: {found}"),
                IfShort::SendBack => format!("SEND BACK: {found}"),
            }
        }
    }
}

/// What a reading has decided for the carton of its pack, in words; nothing where it decides nothing. `before` is the carton as it
/// stood before the reading.
///
/// # Errors
/// A fault of the ledger.
pub(crate) fn decided(
    ledger: &mut Ledger,
    carton: CartonId,
    before: &CartonFacts,
) -> Result<Option<String>, LedgerError> {
    let settings = ledger.settings()?.clone();
    let Some(rule) = settings.policy.rules.carton else { return Ok(None) };
    let after: CartonFacts = ledger.facts(carton.into())?.unwrap_or_default();
    let Some(limit) = must(ledger, after.lot, &settings)? else { return Ok(None) };
    let waits = |standing: &Standing| matches!(standing, Standing::Waits { .. });
    let now = standing(&after, rule, limit);
    if !waits(&standing(before, rule, limit)) || waits(&now) {
        return Ok(None);
    }
    let risk = match now {
        Standing::Accepted { .. } => risk_words(after.holds(), &plan(&after, rule)).into_iter().next(),
        _ => None,
    };
    let risk = risk.map(|risk| format!(". {risk}")).unwrap_or_default();
    Ok(Some(format!("carton {}: {}{risk}", after.name, verdict(Some(&now), rule))))
}

/// Packs of a carton's sample that are in and not read yet, with how many are still to be read.
pub(crate) fn to_read(carton: &CartonFacts, rule: CartonRule, limit: MilliampHours) -> (Vec<PackId>, u32) {
    match standing(carton, rule, limit) {
        Standing::Waits { read, of, .. } if carton.plan.is_none() && !rule.only_drawn => {
            let drawn = carton.drawn().into_iter().flatten();
            let unread = drawn.filter(|pack| !carton.readings.contains_key(pack));
            let missing = of - read;
            (unread.take(usize::try_from(missing).unwrap_or(0)).collect(), missing)
        }
        Standing::Waits { read, of, next, .. } => (next, of - read),
        _ => (Vec::new(), 0),
    }
}

/// True when a pack that comes out of a carton at a place is of its first sample.
pub(crate) fn is_drawn(carton: CartonId, size: u32, sampled: &SamplePlan, place: u32) -> bool {
    let take = usize::try_from(sampled.first.take).unwrap_or(usize::MAX);
    crate::domain::carton::drawn(carton.uuid(), size).into_iter().take(take).any(|drawn| drawn == place)
}
