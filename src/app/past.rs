//! A policy tried on the past: what it would have said at each dispatch and each reading, beside the one in force, and what came
//! of the loans.
//!
//! Each pack's story is walked once, entry by entry in the order of the fold, and the judge is asked on the facts as they stood just
//! before each loan and right after each reading. Corrections count as if they had been known. Makes, draws of players and
//! their names are those of now. Left out is what came later: the model (it has learnt from what it would foretell) and safety notices.
//! Cost is one pass over the entries of packs and cartons, with a question to the judge for each policy at each loan and reading;
//! held in memory are an identity for each pack and the story of one pack and one carton.
//!
//! What this cannot tell: the past was shaped by the policies that ruled then. A pack that they kept here has no loan to count.

mod tally;
mod walk;

use jiff::civil::Date;
use serde::Serialize;

use crate::domain::event::Origin;
use crate::domain::moment::Moment;
use crate::domain::units::{MilliampHours, PlayHours};
use crate::ledger::Ledger;
use crate::ledger::settings::Settings;
use crate::policy::limits::{limit, thirstiest};
use crate::policy::rules::{Limit, OriginLimits, Policy};

use super::answer::hours;
use super::error::AppError;
pub use tally::{Change, Column, Truths};
use walk::Walk;

/// Service limits of the curve, in per cent of the one in force.
const CURVE_PERCENT: std::ops::RangeInclusive<u32> = 60..=140;
/// Distance of two of them.
const STEP_PERCENT: usize = 5;

/// What is asked about the past.
#[derive(Debug, Clone, Copy)]
pub struct Asked {
    /// Loans and readings from this day on; else all.
    pub since: Option<Date>,
    /// Now.
    pub now: Moment,
    /// Which limits are tried.
    pub limits: Limits,
}

/// Which limits are tried.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Limits {
    /// The policy's own.
    Own,
    /// Its own, and a range of service limits in its place.
    Curve,
}

/// What the service limit of a policy means for a make.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MakeLimit {
    /// The make.
    pub make: String,
    /// The charge that a pack of it must hold in service, in the thirstiest player that it fits.
    pub limit_mah: u32,
    /// The same in hours of play: `limit / draw`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit_h: Option<f64>,
}

/// One limit of the curve.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Point {
    /// The service limit, both as stated and as a share of the rated capacity, in per cent of the one in force.
    pub limit_percent: u32,
    /// What it means for each make that was lent, the most lent first.
    pub limits: Vec<MakeLimit>,
    /// Loans stopped that cut out early or came back short.
    pub failures_stopped: u32,
    /// Loans stopped that kept their promise.
    pub kept_stopped: u32,
    /// Rounds that it would have asked for.
    pub rounds: u32,
    /// Packs whose first RECYCLE falls into the time.
    pub packs_recycled: u32,
}

/// A policy tried on the past.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Trial {
    /// The policy in force.
    pub policy_in_force: String,
    /// The one that was tried.
    pub policy_tried: String,
    /// The first day that counts; none when all do.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub since: Option<Date>,
    /// The last day.
    pub until: Date,
    /// Packs that were lent in that time.
    pub packs_lent: u32,
    /// What came of the loans.
    pub loans: Truths,
    /// Readings taken in that time.
    pub readings: u32,
    /// What the policy in force would have said.
    pub in_force: Column,
    /// What the tried one would have said.
    pub tried: Column,
    /// When packs would have been recycled.
    pub recycling: Change,
    /// The limits that were asked for; empty without a curve.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub curve: Vec<Point>,
    /// What these figures cannot tell.
    pub beware: Vec<&'static str>,
}

/// What the figures cannot tell, in plain sentences.
const BEWARE: [&str; 4] = [
    "The past was shaped by the policies that ruled then: a pack that they kept here has no loan to count, \
     and a loan that is stopped here might have gone out with another pack.",
    "A round that only one policy asks for was not always done: what would be recycled after it is not counted.",
    "Verdicts go by the facts just before each loan and right after each reading; without the model, which has \
     learnt from what came later, and without safety notices.",
    "Makes and the draws of players are those of now; what was corrected counts as corrected.",
];

/// Tries a policy on the past.
///
/// # Errors
/// When the time begins in the future, or a fault of the ledger.
pub fn tried(ledger: &mut Ledger, policy: &Policy, asked: Asked) -> Result<Trial, AppError> {
    let zone = ledger.zone().clone();
    let until = asked.now.day(&zone);
    if let Some(since) = asked.since.filter(|&since| since > until) {
        return Err(AppError::input(
            format!("{since} lies ahead: today is {until}"),
            "give a day of the past: --since 2026-01-01",
        ));
    }
    let settings = ledger.settings()?.clone();
    let mut policies = vec![settings.policy.clone(), policy.clone()];
    let percents: Vec<u32> = match asked.limits {
        Limits::Own => Vec::new(),
        Limits::Curve => CURVE_PERCENT.step_by(STEP_PERCENT).collect(),
    };
    for &percent in &percents {
        policies.push(Policy { service: scaled(&settings.policy, policy, percent), ..policy.clone() });
    }
    let since = asked.since.map_or(Moment::from_millis(i64::MIN), |day| Moment::start_of(day, &zone));
    let mut walk = Walk::new(ledger, &settings, &policies, since)?;
    walk.all(ledger)?;
    let done = walk.done();
    let makes = done.makes;
    let mut columns = done.tallies.iter();
    let mut next = |policy: &Policy| {
        columns.next().map_or_else(Column::default, |tally| Column::of(tally, done.loans, policy))
    };
    let (in_force, column) = (next(&settings.policy), next(policy));
    let curve = percents.iter().zip(policies.iter().skip(2)).map(|(&limit_percent, policy)| {
        let column = next(policy);
        Point {
            limit_percent,
            limits: makes.iter().filter_map(|make| make_limit(&settings, policy, *make)).collect(),
            failures_stopped: column.stopped.failed(),
            kept_stopped: column.stopped.kept,
            rounds: column.rounds,
            packs_recycled: column.packs_recycled,
        }
    });
    Ok(Trial {
        curve: curve.collect(),
        policy_in_force: settings.policy.id.clone(),
        policy_tried: policy.id.clone(),
        since: asked.since,
        until,
        packs_lent: done.packs_lent,
        loans: done.loans,
        readings: done.readings,
        in_force,
        tried: column,
        recycling: done.change,
        beware: BEWARE.to_vec(),
    })
}

/// The service limits of a tried policy, with a share of the limit in force in their place.
///
/// Both the stated limit and the share of the rated capacity are scaled, since the stricter of the two counts; each is rounded
/// to its own step.
fn scaled(in_force: &Policy, tried: &Policy, percent: u32) -> OriginLimits {
    let share = |value: u32| value.saturating_mul(percent).saturating_add(50) / 100;
    let limit = match in_force.service.limit {
        Limit::Hours(hours) => Limit::Hours(PlayHours::new(share(hours.raw()))),
        Limit::Charge(charge) => Limit::Charge(MilliampHours::new(share(charge.raw()))),
    };
    OriginLimits { limit, percent_of_rated: share(in_force.service.percent_of_rated), ..tried.service }
}

fn make_limit(settings: &Settings, policy: &Policy, make: crate::domain::ids::MakeId) -> Option<MakeLimit> {
    let make = settings.makes.get(&make)?;
    let player = thirstiest(make, &settings.players);
    let limit = limit(policy, Origin::Service, make, player)?;
    Some(MakeLimit {
        make: make.name.clone(),
        limit_mah: limit.raw(),
        limit_h: player.and_then(|player| limit.play(player.draw)).map(hours),
    })
}
