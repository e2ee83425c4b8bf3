//! Studies of the bench: some packs are read so often in every slot, in an order that is laid out beforehand, and the readings tell
//! what the bench itself adds to them.
//!
//! Readings are taken and entered as always. Of a study count the first readings of each of its packs in each of its slots since
//! it was planned; what is missing is told, and nothing is worked out before all of them are there.

use std::collections::BTreeMap;

use jiff::civil::Date;
use rand::{Rng as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use serde::{Deserialize, Serialize};

use crate::domain::event::StudyPlanned;
use crate::domain::facts::{SlotFacts, StudyFacts};
use crate::domain::ids::{PackId, SlotId, StudyId, Thing, ThingKind};
use crate::domain::pack::{PackFacts, ReadingFact};
use crate::ledger::{Ledger, LedgerError};
use crate::stats::control::gauge::components::{Gauge, Model};
use crate::stats::control::gauge::layout;
use crate::stats::control::gauge::study::{Crossed, Design, Row};

use super::error::AppError;
use super::lookup;
use super::session::Here;

/// Runs of a study at most: a slip of the keyboard must not plan years.
const MOST_RUNS: usize = 10_000;
/// An interaction of packs and slots with a larger chance than this counts as noise: the usual choice (AIAG, "Measurement Systems
/// Analysis", from memory).
const POOLED_ABOVE: f64 = 0.25;
/// The level at which all biases together are held.
const LEVEL: f64 = 0.95;

/// A study, with what is read and what came of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Report {
    /// Its name.
    pub name: String,
    /// When it was planned.
    pub planned: Date,
    /// What its order follows from.
    pub seed: u64,
    /// Its packs, by tag.
    pub packs: Vec<String>,
    /// Its slots, by name, with their tags.
    pub slots: Vec<(String, String)>,
    /// How often each pack is read in each slot.
    pub repeats: u32,
    /// Readings that it needs.
    pub runs: usize,
    /// Readings that are there.
    pub read: usize,
    /// What is done at each visit to the bench.
    pub visits: Vec<Vec<Run>>,
    /// What speaks against its readings.
    pub warnings: Vec<String>,
    /// What came of it, once all is read.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub result: Option<Outcome>,
}

/// One pack in one slot.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Run {
    /// The slot's name.
    pub slot: String,
    /// The pack's tag.
    pub pack: String,
    /// What it read.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub read_mah: Option<u32>,
}

/// What a study says of the bench. Deviations are standard deviations.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Outcome {
    /// Of one pack read again in one slot.
    pub repeatability_mah: f64,
    /// From slot to slot.
    pub slots_mah: f64,
    /// Of packs that some slots read otherwise than others; none where it counts as noise.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub interaction_mah: Option<f64>,
    /// The chance of an interaction as large by noise alone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub interaction_p: Option<f64>,
    /// The bench in all.
    pub bench_mah: f64,
    /// From pack to pack.
    pub packs_mah: f64,
    /// The bench's share of the variance of readings, in per cent.
    pub bench_of_variance_percent: f64,
    /// The bench's deviation over that of readings, in per cent.
    pub bench_of_deviation_percent: f64,
    /// How many classes of packs the bench tells apart.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub classes: Option<f64>,
    /// The chance of slots that differ as much by noise alone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub slots_p: Option<f64>,
    /// Each slot's bias against the mean of all.
    pub biases: Vec<Bias>,
}

/// A slot's bias.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Bias {
    /// The slot.
    pub slot: String,
    /// What it reads too much, against the mean of all slots of the study.
    pub bias_mah: f64,
    /// The lower end of an interval; all of them together hold with 95 %.
    pub low_mah: f64,
    /// The upper end.
    pub high_mah: f64,
    /// True when the interval leaves zero out.
    pub off: bool,
}

/// Plans a study.
///
/// # Errors
/// When a name is taken, a code names no pack or slot, something is named twice, or the study is too small or too large.
pub fn plan(
    here: &mut Here<'_>,
    name: &str,
    (packs, slots): (&[String], &[String]),
    repeats: u32,
) -> Result<Report, AppError> {
    let name = name.trim();
    if name.is_empty() || !here.ledger.named(ThingKind::Study, name)?.is_empty() {
        return Err(AppError::input(
            format!("`{name}` is no name for a study, or one has it"),
            "choose another name",
        ));
    }
    let packs = found(here.ledger, packs, ThingKind::Pack)?;
    let slots =
        if slots.is_empty() { every_slot(here.ledger)? } else { found(here.ledger, slots, ThingKind::Slot)? };
    let runs = packs.len().saturating_mul(slots.len()).saturating_mul(usize::try_from(repeats).unwrap_or(0));
    if packs.len() < 2 || slots.len() < 2 || repeats < 2 {
        return Err(AppError::input(
            format!("{} packs, {} slots, {repeats} times are too few for a study", packs.len(), slots.len()),
            "give two packs, two slots and two times at least; ten packs tell much more",
        ));
    }
    if runs > MOST_RUNS {
        return Err(AppError::input(
            format!("{runs} runs are too many"),
            format!("{MOST_RUNS} are the most"),
        ));
    }
    let at = here.desk.now();
    let study = StudyId::draw(at, &mut here.desk.random);
    let seed = here.desk.random.next_u64() >> 11;
    let event = StudyPlanned {
        study,
        name: name.to_owned(),
        packs: packs.iter().filter_map(|thing| thing.pack()).collect(),
        slots: slots.iter().filter_map(|thing| thing.slot()).collect(),
        repeats,
        seed,
        at,
    };
    here.desk.record(here.ledger, vec![event.into()])?;
    tell(here.ledger, study.into())
}

/// Tells of a study by its name, or of the only one.
///
/// # Errors
/// When there is none of that name, or a fault of the ledger.
pub fn show(ledger: &mut Ledger, name: Option<&str>) -> Result<Report, AppError> {
    if ledger.all(ThingKind::Study)?.is_empty() {
        return Err(AppError::input("no study is planned yet", "plan one: packmuster study plan"));
    }
    let study = lookup::by_name(ledger, ThingKind::Study, name, "study")?;
    tell(ledger, study)
}

/// The latest study that is wholly read and names a slot: its bias there.
///
/// # Errors
/// A fault of the ledger.
pub fn biases(ledger: &mut Ledger) -> Result<BTreeMap<SlotId, (String, Bias)>, AppError> {
    let mut studies: Vec<(Thing, StudyFacts)> = Vec::new();
    for (thing, facts) in ledger.all(ThingKind::Study)? {
        studies.extend(StudyFacts::try_from(facts).ok().map(|facts| (thing, facts)));
    }
    studies.sort_by_key(|(_, facts)| facts.planned);
    let mut all = BTreeMap::new();
    for (thing, facts) in studies {
        let report = tell(ledger, thing)?;
        let Some(result) = report.result else { continue };
        for (slot, bias) in facts.slots.iter().zip(result.biases) {
            let of: SlotFacts = ledger.facts((*slot).into())?.unwrap_or_default();
            // What was known of a slot before it was serviced no longer holds.
            if of.serviced.is_none_or(|(_, at)| facts.planned.is_some_and(|planned| at < planned)) {
                all.insert(*slot, (report.name.clone(), bias));
            }
        }
    }
    Ok(all)
}

fn every_slot(ledger: &mut Ledger) -> Result<Vec<Thing>, AppError> {
    let mut slots: Vec<(String, Thing)> = ledger
        .all(ThingKind::Slot)?
        .into_iter()
        .filter_map(|(thing, facts)| Some((facts.name()?.to_owned(), thing)))
        .collect();
    slots.sort_by(|(a, _), (b, _)| (a.len(), a).cmp(&(b.len(), b)));
    Ok(slots.into_iter().map(|(_, thing)| thing).collect())
}

fn found(ledger: &mut Ledger, codes: &[String], kind: ThingKind) -> Result<Vec<Thing>, AppError> {
    let mut things = Vec::new();
    for code in codes {
        let mut thing = lookup::find(ledger, code)?;
        if let Some(pack) = thing.pack() {
            thing = ledger.joined_to(pack)?.into();
        }
        if thing.kind != kind {
            return Err(AppError::input(
                format!("`{code}` is {}, and {} is wanted", thing.kind.one(), kind.one()),
                format!("give the tag of {}", kind.one()),
            ));
        }
        if things.contains(&thing) {
            return Err(AppError::input(format!("`{code}` is named twice"), "name each of them once"));
        }
        things.push(thing);
    }
    Ok(things)
}

fn tell(ledger: &mut Ledger, thing: Thing) -> Result<Report, AppError> {
    let study: StudyFacts = ledger.facts(thing)?.unwrap_or_default();
    let planned = study.planned.unwrap_or_default();
    let mut warnings = Vec::new();
    let mut packs = Vec::new();
    let mut last_read = planned;
    let mut readings: Vec<Vec<Vec<u32>>> = Vec::new();
    for &id in &study.packs {
        let pack = pack(ledger, id)?;
        let tag = lookup::label(&pack.codes);
        let of_study = |reading: &&ReadingFact| {
            reading.at >= planned && reading.slot.is_some_and(|slot| study.slots.contains(&slot))
        };
        let last = pack.readings.iter().filter(of_study).map(|reading| reading.at).max();
        last_read = last_read.max(last.unwrap_or(planned));
        if pack.rounds.iter().any(|&round| round >= planned && last.is_none_or(|last| round < last)) {
            warnings.push(format!(
                "pack {tag} was reconditioned since the study was planned: it is another pack now"
            ));
        }
        let cells = study.slots.iter().map(|&slot| {
            let of_slot =
                pack.readings.iter().filter(|reading| reading.at >= planned && reading.slot == Some(slot));
            of_slot.map(|reading| reading.capacity.raw()).collect()
        });
        readings.push(cells.collect());
        packs.push(tag);
    }
    let mut slots = Vec::new();
    for &slot in &study.slots {
        let facts: SlotFacts = ledger.facts(slot.into())?.unwrap_or_default();
        if facts.serviced.is_some_and(|(_, at)| at >= planned && at < last_read) {
            warnings.push(format!(
                "{} was serviced since the study was planned: it is another slot now",
                facts.name
            ));
        }
        slots.push((facts.name, lookup::label(&facts.codes)));
    }
    let repeats = usize::try_from(study.repeats).unwrap_or(0);
    let design = Design { parts: packs.len(), operators: slots.len(), repeats };
    let cell = |part: usize, operator: usize| readings.get(part).and_then(|cells| cells.get(operator));
    let mut visits = Vec::new();
    let mut met: BTreeMap<(usize, usize), usize> = BTreeMap::new();
    let mut rows = Vec::new();
    for visit in layout::visits(design, &mut ChaCha8Rng::seed_from_u64(study.seed)) {
        let mut runs = Vec::new();
        for (part, operator) in visit {
            let time = met.entry((part, operator)).or_default();
            let read_mah = cell(part, operator).and_then(|cell| cell.get(*time)).copied();
            *time += 1;
            rows.extend(read_mah.map(|value| Row { part, operator, value: f64::from(value) }));
            let (Some(pack), Some((slot, _))) = (packs.get(part), slots.get(operator)) else { continue };
            runs.push(Run { slot: slot.clone(), pack: pack.clone(), read_mah });
        }
        visits.push(runs);
    }
    let runs = design.parts * design.operators * design.repeats;
    let mut result = None;
    if rows.len() == runs && runs > 0 {
        match Crossed::from_rows(design, &rows).and_then(|crossed| crossed.judge(POOLED_ABOVE)) {
            Ok(gauge) => result = Some(outcome(&gauge, &slots)),
            Err(error) => warnings.push(error.to_string()),
        }
    }
    Ok(Report {
        name: study.name,
        planned: planned.day(ledger.zone()),
        seed: study.seed,
        packs,
        slots,
        repeats: study.repeats,
        runs,
        read: rows.len(),
        visits,
        warnings,
        result,
    })
}

fn pack(ledger: &mut Ledger, id: PackId) -> Result<PackFacts, LedgerError> {
    let id = ledger.joined_to(id)?;
    Ok(ledger.facts(id.into())?.unwrap_or_default())
}

fn outcome(gauge: &Gauge, slots: &[(String, String)]) -> Outcome {
    let parts = gauge.components();
    let interaction = gauge.anova.interaction.against(&gauge.anova.repeatability);
    let counts = gauge.model == Model::WithInteraction;
    let biases = gauge.biases(LEVEL).into_iter().filter_map(|bias| {
        let (slot, _) = slots.get(bias.operator)?;
        Some(Bias {
            slot: slot.clone(),
            bias_mah: bias.bias,
            low_mah: bias.limits.low,
            high_mah: bias.limits.high,
            off: !bias.limits.holds(0.0),
        })
    });
    Outcome {
        repeatability_mah: parts.repeatability.sqrt(),
        slots_mah: parts.operators.sqrt(),
        interaction_mah: counts.then(|| parts.interaction.sqrt()),
        interaction_p: interaction.map(|test| test.p),
        bench_mah: parts.gauge().sqrt(),
        packs_mah: parts.parts.sqrt(),
        bench_of_variance_percent: parts.contribution().gauge,
        bench_of_deviation_percent: parts.study_variation().gauge,
        classes: Some(parts.categories()).filter(|classes| classes.is_finite()),
        slots_p: gauge.anova.operators.against(&gauge.error()).map(|test| test.p),
        biases: biases.collect(),
    }
}
