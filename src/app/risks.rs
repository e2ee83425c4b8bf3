//! The risks of a wrong verdict under the policy in force, for each make and origin, by what the fleet's model says of every pack.
//!
//! After JCGM 106:2012, 9.5 (global risks) and 7.2 (a reading with what was known before), and ILAC-G8:09/2019, 4.2 (guard bands),
//! from memory. The true capacities of the packs that come to the bench are the model's outlooks for today: a mixture of one normal
//! for each pack. Packs whose verdict is RECYCLE or ISOLATE, and those written off, are left out: they are not read again. A reading's
//! standard uncertainty is `sqrt(residual + slot variance)` of the model, as it may be taken in any slot.

use std::collections::{BTreeMap, HashMap};

use jiff::civil::Date;
use serde::Serialize;

use crate::domain::event::Origin;
use crate::domain::facts::{CartonFacts, Facts};
use crate::domain::ids::{CartonId, MakeId, PackId, ThingKind};
use crate::domain::moment::Moment;
use crate::domain::pack::PackFacts;
use crate::domain::verdict::Verdict;
use crate::ledger::settings::Settings;
use crate::ledger::{Ledger, LedgerError};
use crate::policy::limits::{limit, thirstiest};
use crate::policy::rules::DoubtRule;
use crate::stats::fade::bend::Outlook;
use crate::stats::guard::global::{Part, Risks, acceptance_given, fails_given};
use crate::stats::guard::{GuardError, Normal, Range, guard_band};

use super::error::AppError;
use super::judging;

/// Packs of a make and origin at most; of more, each second one is taken, or each fourth, and so on.
const MOST_PACKS: usize = 2048;

/// The risks of the policy in force.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PolicyRisks {
    /// The policy.
    pub policy: String,
    /// The day for which the model tells what packs hold.
    pub day: Date,
    /// When the model was learnt.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub learnt: Option<Date>,
    /// Standard uncertainty of one reading in any slot: `u = sqrt(residual + slot variance)`.
    pub uncertainty_mah: f64,
    /// Standard deviation of one reading beside its slot's bias.
    pub residual_mah: f64,
    /// Standard deviation of the slots' biases.
    pub slots_mah: f64,
    /// The policy's rule `doubt`, where it is on: the most specific risk of a pass, in per cent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wrong_pass_percent: Option<f64>,
    /// The same of a fail.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wrong_fail_percent: Option<f64>,
    /// For each make and origin of which the model knows packs.
    pub risks: Vec<GroupRisks>,
}

/// The risks for packs of one make and origin.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GroupRisks {
    /// The make.
    pub make: String,
    /// Their origin.
    pub origin: Origin,
    /// Packs that the fleet's spread was taken from.
    pub packs: u32,
    /// What they must hold, in the thirstiest player: a reading of this much or more is accepted.
    pub limit_mah: u32,
    /// Mean of what they truly hold.
    pub fleet_mean_mah: f64,
    /// Standard deviation of what they truly hold, from pack to pack and by what is not known of each.
    pub fleet_sd_mah: f64,
    /// Share of them that truly hold less than the limit.
    pub below_limit_percent: f64,
    /// Global consumer's risk (JCGM 106, 9.5): share of all packs read that hold less and are accepted.
    pub consumer_percent: f64,
    /// Global producer's risk: share of all packs read that hold the limit and are rejected.
    pub producer_percent: f64,
    /// Share of the accepted packs that hold less: `consumer / accepted`.
    pub wrong_of_accepted_percent: f64,
    /// Specific consumer's risk of a reading just at the limit, with the fleet as what was known before. By the reading alone it is 50 %.
    pub at_limit_percent: f64,
    /// What the rule `doubt` makes of it, where it is on.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub doubt: Option<Doubt>,
}

/// What second readings do to the risks.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Doubt {
    /// Guard band above the limit by the reading alone (ILAC-G8, 4.2): `-z(wrong_pass) u`.
    pub guard_mah: f64,
    /// Guard band with the fleet as what was known before: the lowest reading whose specific risk is at most `wrong_pass`, less the
    /// limit; below 0 where even a reading below the limit is more likely right. None where no reading near the limit is that sure.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub guard_in_fleet_mah: Option<f64>,
    /// Readings from here up to below `passes_from_mah` are taken again: by the reading alone, `limit + z(wrong_fail) u`.
    pub again_from_mah: f64,
    /// Readings from here on pass at once: the limit and the guard band by the reading alone, or the limit where the band is below 0.
    pub passes_from_mah: f64,
    /// Share of all readings that are taken again.
    pub again_percent: f64,
    /// Share of all packs read that hold less and pass at once.
    pub consumer_at_once_percent: f64,
    /// Share of all packs read that hold the limit and fail at once.
    pub producer_at_once_percent: f64,
}

/// Packs of one make and origin, thinned as they come.
#[derive(Default)]
struct Group {
    parts: Vec<Part>,
    /// Packs seen, and of how many one is taken.
    seen: usize,
    every: usize,
}

impl Group {
    /// True when the next pack is to be taken.
    fn wants(&mut self) -> bool {
        let wanted = self.seen.is_multiple_of(self.every.max(1));
        self.seen += 1;
        wanted
    }

    fn take(&mut self, part: Part) {
        self.parts.push(part);
        if self.parts.len() > MOST_PACKS {
            let mut place = 0_usize;
            self.parts.retain(|_| {
                place += 1;
                !place.is_multiple_of(2)
            });
            self.every = self.every.max(1) * 2;
        }
    }
}

/// Works the risks out; `None` while no model is learnt.
///
/// # Errors
/// A fault of the ledger, or a model whose numbers make no sense.
pub fn risks(ledger: &mut Ledger, now: Moment) -> Result<Option<PolicyRisks>, AppError> {
    let zone = ledger.zone().clone();
    let settings = ledger.settings()?.clone();
    let Some(seer) = &settings.seer else { return Ok(None) };
    let mut cartons: HashMap<CartonId, CartonFacts> = HashMap::new();
    ledger.each(ThingKind::Carton, |thing, _last, facts| {
        if let Facts::Carton(facts) = facts {
            cartons.insert(CartonId::new(thing.id), facts);
        }
        Ok::<(), LedgerError>(())
    })?;
    let mut groups: BTreeMap<(MakeId, Origin), Group> = BTreeMap::new();
    ledger.each(ThingKind::Pack, |thing, _last, facts| {
        let Facts::Pack(pack) = facts else { return Ok::<(), LedgerError>(()) };
        let Some(make) = pack.make.filter(|_| is_read(&pack)) else { return Ok(()) };
        let ruling = judging::loose((PackId::new(thing.id), &pack), &settings, &cartons, (now, &zone));
        if matches!(ruling.verdict, Verdict::Recycle | Verdict::Isolate) {
            return Ok(());
        }
        let group = groups.entry((make, pack.origin())).or_default();
        if group.wants()
            && let Some(part) = judging::sight(&settings, (PackId::new(thing.id), &pack), None, now)
                .and_then(|sight| part(&sight.outlook(0)))
        {
            group.take(part);
        }
        Ok(())
    })?;
    let model = seer.predictor.model();
    let uncertainty = model.reading_variance(false).sqrt();
    let rule = settings.policy.rules.doubt;
    let mut all = Vec::new();
    for ((make, origin), group) in &groups {
        all.extend(
            of_group(&settings, (*make, *origin), &group.parts, (uncertainty, rule))
                .map_err(|error| no_sense(&error))?,
        );
    }
    all.sort_by(|a: &GroupRisks, b| (&a.make, a.origin).cmp(&(&b.make, b.origin)));
    Ok(Some(PolicyRisks {
        policy: settings.policy.id.clone(),
        day: now.day(&zone),
        learnt: seer.learnt.map(|at| at.day(&zone)),
        uncertainty_mah: tenth(uncertainty),
        residual_mah: tenth(model.bend.residual.sqrt()),
        slots_mah: tenth(model.bend.slot.sqrt()),
        wrong_pass_percent: rule.map(|rule| percent(share(rule.wrong_pass.raw()))),
        wrong_fail_percent: rule.map(|rule| percent(share(rule.wrong_fail.raw()))),
        risks: all,
    }))
}

/// One that may come to the bench again, and that was read before.
fn is_read(pack: &PackFacts) -> bool {
    pack.added.is_some() && pack.joined.is_none() && pack.written_off.is_none() && !pack.readings.is_empty()
}

/// A pack's outlook as one normal: its mean, and `sum of w (v + m^2) - mean^2`.
fn part(outlook: &Outlook) -> Option<Part> {
    let mean: f64 = outlook.normals.iter().map(|part| part.weight * part.mean).sum();
    let apart = |m: f64| (m - mean) * (m - mean);
    let variance: f64 =
        outlook.normals.iter().map(|part| part.weight * (part.variance + apart(part.mean))).sum();
    let values = Normal::new(outlook.origin + mean, variance.sqrt()).ok()?;
    Some(Part { weight: 1.0, values })
}

fn of_group(
    settings: &Settings,
    (make, origin): (MakeId, Origin),
    fleet: &[Part],
    (uncertainty, rule): (f64, Option<DoubtRule>),
) -> Result<Option<GroupRisks>, GuardError> {
    let Some(make) = settings.makes.get(&make).filter(|_| !fleet.is_empty()) else { return Ok(None) };
    let player = thirstiest(make, &settings.players);
    let Some(limit) = limit(&settings.policy, origin, make, player) else { return Ok(None) };
    let lowest = f64::from(limit.raw());
    let conforming = Range::at_least(lowest)?;
    let risks = Risks::of(fleet, uncertainty, conforming, conforming)?;
    let weight: f64 = fleet.iter().map(|part| part.weight).sum();
    let mean_of = |value: &dyn Fn(&Part) -> f64| {
        fleet.iter().map(|part| part.weight * value(part)).sum::<f64>() / weight
    };
    let mean = mean_of(&|part| part.values.mean());
    let variance = mean_of(&|part| part.values.sd().powi(2) + (part.values.mean() - mean).powi(2));
    let doubt = rule.map(|rule| of_doubt(fleet, uncertainty, (lowest, conforming), rule)).transpose()?;
    Ok(Some(GroupRisks {
        make: make.name.clone(),
        origin,
        packs: u32::try_from(fleet.len()).unwrap_or(u32::MAX),
        limit_mah: limit.raw(),
        fleet_mean_mah: tenth(mean),
        fleet_sd_mah: tenth(variance.sqrt()),
        below_limit_percent: percent(mean_of(&|part| conforming.fails(part.values))),
        consumer_percent: percent(risks.consumer),
        producer_percent: percent(risks.producer),
        wrong_of_accepted_percent: percent(risks.consumer_of_accepted()),
        at_limit_percent: percent(fails_given(fleet, Normal::new(lowest, uncertainty)?, conforming)),
        doubt,
    }))
}

/// What is taken again, and what is left at the first reading. The judge itself weighs a pack's whole past, and stops asking when the
/// policy's bench hours are spent: this is the rule by the reading alone, with hours enough.
fn of_doubt(
    fleet: &[Part],
    uncertainty: f64,
    (lowest, conforming): (f64, Range),
    rule: DoubtRule,
) -> Result<Doubt, GuardError> {
    let wrong_pass = share(rule.wrong_pass.raw());
    let guard = guard_band(uncertainty, wrong_pass)?;
    let below = guard_band(uncertainty, share(rule.wrong_fail.raw()))?;
    let (from, to) = (lowest - below.max(0.0), lowest + guard.max(0.0));
    let upper = Risks::of(fleet, uncertainty, conforming, Range::at_least(to)?)?;
    let lower = Risks::of(fleet, uncertainty, conforming, Range::at_least(from)?)?;
    let in_fleet = acceptance_given(fleet, uncertainty, lowest, wrong_pass)?;
    Ok(Doubt {
        guard_mah: tenth(guard),
        guard_in_fleet_mah: in_fleet.map(|reading| tenth(reading - lowest)),
        again_from_mah: tenth(from),
        passes_from_mah: tenth(to),
        again_percent: percent(lower.accepted - upper.accepted),
        consumer_at_once_percent: percent(upper.consumer),
        producer_at_once_percent: percent(lower.producer),
    })
}

fn no_sense(error: &GuardError) -> AppError {
    AppError::input(
        format!("the model's numbers make no sense: {error}"),
        "learn it anew: packmuster model learn",
    )
}

fn share(millionths: u32) -> f64 {
    f64::from(millionths) / 1e6
}

/// A share in per cent, to a thousandth.
fn percent(share: f64) -> f64 {
    (share * 1e5).round() / 1e3 + 0.0
}

/// To a tenth.
fn tenth(value: f64) -> f64 {
    (value * 10.0).round() / 10.0 + 0.0
}
