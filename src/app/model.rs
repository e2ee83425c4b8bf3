//! Learning the fleet's model from the ledger, and entering it.

use std::collections::{BTreeMap, BTreeSet};

use rand::SeedableRng as _;
use rand_chacha::ChaCha12Rng;

use crate::domain::event::ModelLearnt;
use crate::domain::facts::{Facts, LoanFacts};
use crate::domain::ids::{LotId, MakeId, PackId, ThingKind};
use crate::domain::moment::days_between;
use crate::domain::pack::PackFacts;
use crate::ledger::learnt::{Few, Learnt, Numbers, history};
use crate::ledger::settings::Settings;
use crate::ledger::{Ledger, LedgerError};
use crate::policy::foresight::FEW_ROUNDS;
use crate::policy::limits::{limit, thirstiest};
use crate::policy::rules::Policy;
use crate::stats::fade::clock::Measure;
use crate::stats::fade::fleet::Fleet;
use crate::stats::fade::learning::{self, Stage, dense};
use crate::stats::fade::model::{Model, Predictor, Seen, When};

use super::answer::{Answer, count};
use super::error::AppError;
use super::session::Here;

/// Packs read three times or more from which a lot gets lines of its own, and how many lots do at most.
const LOT_ENOUGH: usize = 50;
const LOTS: usize = 40;
/// Ended loans from which it is learnt how late they come back.
const LOANS_ENOUGH: usize = 20;
/// Days and weeks of a quarter of a year.
const QUARTER: i32 = 91;
const WEEKS: u32 = 13;
/// In so many of ten cases a loan is back by then.
const BACK_OF_TEN: usize = 8;

/// A fleet's past as it was gathered from a ledger.
#[derive(Debug, Default)]
pub struct Gathered {
    /// The packs that were ever read, in columns.
    pub fleet: Fleet,
    /// Which packs those are.
    pub packs: Vec<PackId>,
    /// Groups, by number.
    pub groups: Vec<(MakeId, Option<LotId>)>,
    /// Numbers of groups and slots.
    pub numbers: Numbers,
}

/// Gathers every pack that was ever read. `seen` is told how many packs were looked at.
///
/// # Errors
/// A fault of the ledger.
pub fn gather(ledger: &mut Ledger, mut seen: impl FnMut(u64)) -> Result<Gathered, LedgerError> {
    let settings = ledger.settings()?.clone();
    let groups = groups(ledger)?;
    let mut gathered = Gathered { numbers: Numbers::new(&groups, &[]), groups, ..Gathered::default() };
    gathered.fleet.set_makes(gathered.numbers.makes_of(&gathered.groups));
    let mut looked = 0;
    ledger.each(ThingKind::Pack, |thing, _last, facts| {
        looked += 1;
        seen(looked);
        let Facts::Pack(pack) = facts else { return Ok::<(), LedgerError>(()) };
        let Some(group) = gathered.numbers.group(&pack).filter(|_| pack.joined.is_none()) else {
            return Ok(());
        };
        let numbers = &mut gathered.numbers;
        let mut history =
            history(&pack, group, |slot| slot.map_or(crate::stats::fade::NO_SLOT, |slot| numbers.slot(slot)));
        history.limit = service_limit(&settings, &pack);
        if !history.readings.is_empty() {
            gathered.fleet.push(&history);
            gathered.packs.push(PackId::new(thing.id));
        }
        Ok(())
    })?;
    Ok(gathered)
}

/// Makes that were read, and their largest lots.
fn groups(ledger: &mut Ledger) -> Result<Vec<(MakeId, Option<LotId>)>, LedgerError> {
    let mut makes = BTreeSet::new();
    let mut lots: BTreeMap<(MakeId, LotId), usize> = BTreeMap::new();
    ledger.each(ThingKind::Pack, |_thing, _last, facts| {
        let Facts::Pack(pack) = facts else { return Ok::<(), LedgerError>(()) };
        if let Some(make) = pack.make.filter(|_| !pack.readings.is_empty()) {
            makes.insert(make);
            if let Some(lot) = pack.lot.filter(|_| pack.readings.len() >= 3) {
                *lots.entry((make, lot)).or_default() += 1;
            }
        }
        Ok(())
    })?;
    let mut large: Vec<_> = lots.into_iter().filter(|&(_, packs)| packs >= LOT_ENOUGH).collect();
    large.sort_by_key(|&(key, packs)| (std::cmp::Reverse(packs), key));
    let mut groups: Vec<(MakeId, Option<LotId>)> = makes.into_iter().map(|make| (make, None)).collect();
    groups.extend(large.into_iter().take(LOTS).map(|((make, lot), _)| (make, Some(lot))));
    Ok(groups)
}

/// What a pack must hold in service, in the thirstiest player that it fits.
#[expect(
    clippy::as_conversions,
    clippy::cast_precision_loss,
    reason = "whole mAh are exact in single precision"
)]
fn service_limit(settings: &Settings, pack: &PackFacts) -> f32 {
    let Some(make) = pack.make.and_then(|make| settings.makes.get(&make)) else { return 0.0 };
    let player = thirstiest(make, &settings.players);
    let limit = limit(&settings.policy, crate::domain::event::Origin::Service, make, player);
    limit.map_or(0.0, |limit| limit.raw() as f32)
}

/// Days after its first due date by which most loans are back.
fn overrun(ledger: &mut Ledger) -> Result<Option<u32>, LedgerError> {
    let zone = ledger.zone().clone();
    let mut late: Vec<i64> = Vec::new();
    ledger.each(ThingKind::Loan, |_thing, _last, facts| {
        if let Facts::Loan(LoanFacts { first_due: Some(due), ended: Some(ended), .. }) = facts {
            late.push(days_between(due, ended.day(&zone)).max(0));
        }
        Ok::<(), LedgerError>(())
    })?;
    if late.len() < LOANS_ENOUGH {
        return Ok(None);
    }
    late.sort_unstable();
    let place = late.len() * BACK_OF_TEN / 10;
    Ok(late.get(place).and_then(|&days| u32::try_from(days).ok()))
}

/// Learns the model from all that is in the ledger, and enters it.
///
/// # Errors
/// When the ledger does not hold enough to learn from, and faults of it.
pub fn learn(
    here: &mut Here<'_>,
    threads: usize,
    seen: impl FnMut(u64),
    tell: impl FnMut(Stage),
) -> Result<Answer, AppError> {
    let gathered = gather(here.ledger, seen)?;
    let overrun = overrun(here.ledger)?;
    let model = learning::learn(&gathered.fleet, threads, tell).map_err(|error| {
        AppError::input(
            error.to_string(),
            "verdicts go by readings alone until packs were read more often; nothing was entered",
        )
    })?;
    let few = few(&gathered, &model);
    let mut lines = about(&model, &gathered.numbers, here.ledger.settings()?);
    lines.extend(about_rounds(&model, &gathered.numbers, here.ledger.settings()?));
    lines.extend(few.as_ref().map(about_few));
    let worth_doubting = worth_doubting(&gathered.fleet, &model, &here.ledger.settings()?.policy);
    let learnt = Learnt {
        groups: gathered.groups,
        slots: gathered.numbers.slots(),
        overrun,
        worth_doubting,
        few,
        model,
    };
    let at = here.desk.now();
    let text = learnt.text().map_err(|source| LedgerError::Json { what: "the model".to_owned(), source })?;
    here.desk.record(here.ledger, vec![ModelLearnt { text, at }.into()])?;
    let mut answer = Answer::done("the model is learnt, and verdicts foretell by it");
    answer.text.extend(lines);
    Ok(answer)
}

/// The risk, in millionths, above which second readings fit into the policy's bench hours: the most doubtful readings of the latest
/// quarter come first, and this is the risk of the first that finds no hour left.
#[expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a chance in millionths"
)]
fn worth_doubting(fleet: &Fleet, model: &Model, policy: &Policy) -> u32 {
    let (Some(rule), Some(last)) = (policy.rules.doubt, fleet.last_day()) else { return 0 };
    let predictor = Predictor::new(model.clone());
    let mut seen = Seen::default();
    let mut risks: Vec<f64> = Vec::new();
    for pack in fleet.iter() {
        let Some(reading) = pack.readings.last().filter(|reading| reading.day > last.saturating_sub(QUARTER))
        else {
            continue;
        };
        predictor.see(&pack, &mut seen);
        let when = When { day: reading.day, cycles: f64::from(reading.cycles) };
        let below = predictor.chance_below(&predictor.outlook(&seen, when), f64::from(pack.limit));
        risks.push(if reading.capacity < pack.limit { 1.0 - below } else { below });
    }
    risks.sort_by(|a, b| b.total_cmp(a));
    let tests = rule.hours_per_week.saturating_mul(WEEKS) / policy.bench.test_hours.max(1);
    let first_left_over = usize::try_from(tests).ok().and_then(|tests| risks.get(tests)).copied();
    (first_left_over.unwrap_or(0.0) * 1e6) as u32
}

/// What is kept of a few packs that are read often, where that foretells better than straight lines.
fn few(gathered: &Gathered, model: &Model) -> Option<Few> {
    // The same numbers every time: a model learnt twice from the same past is the same.
    let mut random = ChaCha12Rng::seed_from_u64(1);
    let scores = dense::scores(&gathered.fleet, model, &mut random)?;
    let pack = |(place, &id): (usize, &PackId)| {
        let series = dense::series(model, &gathered.fleet.pack(place));
        (id, series.into_iter().map(|reading| (reading.clock, reading.capacity)).collect())
    };
    (scores.1 < scores.0)
        .then(|| Few { packs: gathered.packs.iter().enumerate().map(pack).collect(), scores })
}

/// The same in plain words.
pub fn about_few(few: &Few) -> String {
    format!(
        "few packs, read often: each is foretold from all others, which on their second halves did better than straight lines (interval score {:.0} against {:.0})",
        few.scores.1, few.scores.0
    )
}

/// What fade goes by, and which makes go by another measure.
fn about_clocks(model: &Model, numbers: &Numbers, settings: &Settings) -> Vec<String> {
    let unit = match model.clocks.base.measure {
        Measure::Cycles => "100 cycles",
        Measure::Age => "year",
    };
    let mut lines = vec![format!(
        "fade goes by {}: {:.1} mAh for each {unit} at first",
        model.clocks.base, -model.evidence.mean_fade
    )];
    for (id, make) in &settings.makes {
        if let Some(own) = numbers.make(*id).and_then(|group| model.clocks.own.get(&group)) {
            let name = &make.name;
            lines.push(format!("that of {name} goes by {}: its own readings say so clearly", own.clock));
        }
    }
    lines
}

/// What a round of reconditioning brings, in plain words: of the fleet, and of each make that gains from rounds or had some.
pub fn about_rounds(model: &Model, numbers: &Numbers, settings: &Settings) -> Vec<String> {
    let lift = &model.bend.lift;
    let Some(first) = lift.groups.first() else {
        return vec![
            "what a round of reconditioning brings is a guess: no round was measured yet".to_owned(),
        ];
    };
    let rounds = |rounds: u32| format!("{rounds} {}", if rounds == 1 { "round" } else { "rounds" });
    let ([years, depth], [_, of_year, of_depth]) = (lift.centre, first.mean);
    let mut lines = vec![format!(
        "what a round of reconditioning brings, from {}: {of_year:+.1} mAh for each year of age, {:+.1} mAh for each 100 mAh lost; two rounds of a kind differ by {:.0} mAh (standard deviation about their mean)",
        rounds(lift.rounds),
        100.0 * of_depth,
        lift.variance.sqrt()
    )];
    for (id, make) in &settings.makes {
        let Some(group) = numbers.make(*id).map(usize::from) else { continue };
        let known = lift.rounds_of(group);
        if known == 0 && !make.chemistry.gains_from_reconditioning() {
            continue;
        }
        let (brings, _) = lift.of(group, years, depth);
        let trust = match known {
            0 => "a guess by other makes: none of its own was measured".to_owned(),
            few if few < FEW_ROUNDS => format!("from {}, leaning on the fleet", rounds(few)),
            enough => format!("from {}", rounds(enough)),
        };
        lines.push(format!(
            "a round of {} brings {brings:.0} mAh at an age of {years:.1} years and {depth:.0} mAh lost ({trust})",
            make.name
        ));
    }
    lines
}

/// A model in plain words.
pub fn about(model: &Model, numbers: &Numbers, settings: &Settings) -> Vec<String> {
    let evidence = &model.evidence;
    let mut lines = vec![format!(
        "from {} of {}",
        count(evidence.readings, "reading", "readings"),
        count(evidence.packs, "pack", "packs")
    )];
    lines.extend(about_clocks(model, numbers, settings));
    lines.push(match (model.bends(), evidence.trial) {
        (true, Some((straight, bent))) => format!(
            "packs bend down late: on {} later readings this foretold better than straight lines (log-loss {bent:.4} against {straight:.4})",
            evidence.tried.0
        ),
        (false, Some((straight, bent))) => format!(
            "straight lines: on {} later readings, bends foretold no better (log-loss {bent:.4} against {straight:.4})",
            evidence.tried.0
        ),
        _ => "straight lines: too few packs or failures so far to learn how packs bend".to_owned(),
    });
    lines.push(format!(
        "a reading is off by {:.0} mAh (standard deviation) beside its slot's bias; gross errors: {:.1} %",
        model.bend.residual.sqrt(),
        100.0 * model.bend.gross
    ));
    lines.push(if model.slots.is_empty() {
        "slots cannot be told from the packs in them: no pack was read in two".to_owned()
    } else if model.islands > 1 {
        format!(
            "slots differ by {:.0} mAh, but fall into {} groups that no pack connects",
            model.bend.slot.sqrt(),
            model.islands
        )
    } else {
        format!("slots differ by {:.0} mAh (standard deviation)", model.bend.slot.sqrt())
    });
    lines
}
