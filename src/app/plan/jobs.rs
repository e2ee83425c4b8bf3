//! What waits for the bench, and what the bench is.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use jiff::civil::Date;

use crate::domain::event::Origin;
use crate::domain::facts::{CartonFacts, Facts, SlotFacts};
use crate::domain::ids::{CartonId, MakeId, PackId, PlayerMakeId, ThingKind, WriterId};
use crate::domain::make::{PackMake, PlayerMake};
use crate::domain::moment::{Moment, day_after};
use crate::domain::pack::PackFacts;
use crate::domain::verdict::{Rule, Verdict};
use crate::ledger::Ledger;
use crate::ledger::settings::Settings;
use crate::policy::foresight::Foresight as _;
use crate::policy::limits::{limit, thirstiest};
use crate::policy::reason::Ruling;
use crate::policy::rules::Rest;
use crate::stats::queue::QueueError;
use crate::stats::queue::hours::Attended;
use crate::stats::queue::job::{Bench, Job, Slot, Takes};
use crate::stats::queue::plan::Plan;

use super::Needed;
use crate::app::error::AppError;
use crate::app::review::Whereabouts;
use crate::app::{ahead, judging, lookup, sampling};

const HOUR: u32 = 60;

/// Packs that loans need: so many for a make of player by a day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Need {
    /// The make of player.
    pub player: PlayerMakeId,
    /// How many.
    pub packs: u32,
    /// By when: in the morning of that day they must be there.
    pub by: Date,
}

impl Need {
    /// Reads a need: `MAKE:COUNT:DATE`.
    ///
    /// # Errors
    /// When a part makes no sense, naming it.
    pub fn read(ledger: &mut Ledger, text: &str, today: Date) -> Result<Self, AppError> {
        const HINT: &str = "give MAKE:COUNT:DATE, such as Wren:12:2026-12-04";
        let parts: Vec<&str> = text.split(':').map(str::trim).collect();
        let &[make, packs, by] = parts.as_slice() else {
            return Err(AppError::input(format!("`{text}` says no need"), HINT));
        };
        let packs =
            packs.parse().ok().filter(|packs| (1..=10_000).contains(packs)).ok_or_else(|| {
                AppError::input(format!("`{packs}` in `{text}` is no number of packs"), HINT)
            })?;
        let by: Date = by
            .parse()
            .ok()
            .filter(|by| *by > today && *by <= day_after(today, 365))
            .ok_or_else(|| AppError::input(format!("`{by}` in `{text}` is no day to come"), HINT))?;
        Ok(Self { player: lookup::player_make(ledger, Some(make))?, packs, by })
    }
}

/// What a pack waits for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Work {
    /// A test.
    Test,
    /// A round of so many cycles, and then its test.
    Round(u32),
}

/// A pack that waits.
#[derive(Debug, Clone)]
pub(super) struct Waits {
    pub(super) tag: String,
    pub(super) place: String,
    pub(super) work: Work,
    pub(super) stages: Vec<u32>,
    pub(super) chance: f64,
    pub(super) weight: f64,
    pub(super) needed_by: Option<u32>,
    /// Which of the needs it is for.
    need: usize,
    make: MakeId,
    since: Moment,
    form: String,
}

impl Waits {
    /// What one of its runs is, in words.
    pub(super) fn stage(&self, stage: usize) -> String {
        match (self.work, stage) {
            (Work::Round(cycles), 0) => format!("a round of {cycles} cycles"),
            _ => "a test".to_owned(),
        }
    }
}

/// A slot that takes packs.
#[derive(Debug, Clone)]
pub(super) struct Place {
    pub(super) name: String,
    /// The pack in it, and the minute from which it can be taken out.
    pub(super) holds: Option<(String, u32)>,
    takes: Vec<MakeId>,
}

/// Packs that are planned at most; the search looks no further, and no bench comes to them within the time.
const MOST: usize = 3_000;

/// All that a plan is made of.
#[derive(Debug, Default)]
pub(super) struct Gathered {
    pub(super) jobs: Vec<Waits>,
    pub(super) slots: Vec<Place>,
    pub(super) closed: Vec<String>,
    pub(super) charge: Vec<(String, String)>,
    pub(super) unplanned: Vec<(String, String)>,
    needs: Vec<(Need, PlayerMake, u32, u32)>,
}

/// How packs of a make have fared: readings, and how many of them reached the limit of today.
type Record = BTreeMap<MakeId, (u32, u32)>;

/// Gathers what waits now.
pub(super) fn gather(
    ledger: &mut Ledger,
    site: Option<WriterId>,
    needs: &[Need],
    now: Moment,
    attended: &Attended,
) -> Result<Gathered, AppError> {
    let settings = ledger.settings()?.clone();
    let zone = ledger.zone().clone();
    let cartons = ahead::cartons(ledger)?;
    let mut members: BTreeMap<CartonId, MakeId> = BTreeMap::new();
    let mut record = Record::new();
    let mut fit: BTreeMap<String, u32> = BTreeMap::new();
    let mut found: Vec<(PackId, PackFacts, Ruling)> = Vec::new();
    ledger.each(ThingKind::Pack, |thing, _, facts| {
        let (Facts::Pack(pack), Some(id)) = (facts, thing.pack()) else { return Ok(()) };
        members.extend(pack.carton.zip(pack.make));
        if pack.added.is_none()
            || pack.joined.is_some()
            || pack.written_off.is_some()
            || pack.missing.is_some()
        {
            return Ok(());
        }
        fared(&settings, &pack, &mut record);
        if matches!(
            Whereabouts::of(&pack),
            Whereabouts::Out | Whereabouts::OnBench | Whereabouts::Waste | Whereabouts::Left
        ) {
            return Ok(());
        }
        let ruling = judging::loose((id, &pack), &settings, &cartons, (now, &zone));
        match ruling.verdict {
            Verdict::Fit | Verdict::Measure | Verdict::Recondition | Verdict::Wait => {
                found.push((id, pack, ruling));
            }
            Verdict::Recycle | Verdict::Isolate => {}
        }
        Ok::<(), AppError>(())
    })?;
    let samples = samples(&settings, &cartons, &members);
    let mut gathered = Gathered::default();
    for (id, pack, ruling) in found {
        if site.is_some() && ledger.last_home_of(id.into())? != site {
            continue;
        }
        if ruling.verdict == Verdict::Fit {
            if let Some(make) = pack.make.and_then(|make| settings.makes.get(&make)) {
                *fit.entry(make.form.clone()).or_default() += 1;
            }
            continue;
        }
        gathered.add(&settings, (id, &pack, &ruling), (&samples, &record), now);
    }
    // As they came.
    gathered.jobs.sort_by(|a, b| (a.since, &a.tag).cmp(&(b.since, &b.tag)));
    gathered.charge.sort();
    gathered.bench_of(ledger, &settings, site, now)?;
    for need in needs {
        let Some(player) = settings.player_makes.get(&need.player) else { continue };
        let minute = |moment: Moment| {
            u32::try_from((moment.millis() - now.millis()).max(0) / 60_000).unwrap_or(u32::MAX)
        };
        let by = minute(Moment::start_of(need.by, &zone)).min(attended.end());
        let ready = fit.get_mut(&player.form).map_or(0, |left| {
            let ready = need.packs.min(*left);
            *left -= ready;
            ready
        });
        gathered.want(gathered.needs.len(), player, need.packs - ready, by);
        gathered.needs.push((need.clone(), player.clone(), ready, by));
    }
    gathered.keep_the_likeliest();
    Ok(gathered)
}

/// Packs of samples that are not read whole yet, with how many packs each of their readings frees.
fn samples(
    settings: &Settings,
    cartons: &HashMap<CartonId, CartonFacts>,
    members: &BTreeMap<CartonId, MakeId>,
) -> BTreeMap<PackId, f64> {
    let mut found = BTreeMap::new();
    let Some(rule) = settings.policy.rules.carton else { return found };
    for (id, make) in members {
        let carton = cartons.get(id).filter(|carton| carton.dangerous.is_empty());
        let (Some(carton), Some(make)) = (carton, settings.makes.get(make)) else { continue };
        let player = thirstiest(make, &settings.players);
        let Some(must) = limit(&settings.policy, Origin::New, make, player) else { continue };
        let (next, missing) = sampling::carton::to_read(carton, rule, must);
        let read = u32::try_from(carton.readings.len()).unwrap_or(u32::MAX);
        let waiting = f64::from(carton.packs.saturating_sub(read));
        let frees = if rule.rest == Rest::CartonsWord { waiting / f64::from(missing.max(1)) } else { 1.0 };
        found.extend(next.into_iter().map(|pack| (pack, frees.max(1.0))));
    }
    found
}

/// Counts a pack's latest reading for its make.
fn fared(settings: &Settings, pack: &PackFacts, record: &mut Record) {
    let Some((id, make)) = pack.make.and_then(|id| Some((id, settings.makes.get(&id)?))) else { return };
    let Some(must) = limit(&settings.policy, pack.origin(), make, thirstiest(make, &settings.players)) else {
        return;
    };
    if let Some(last) = pack.readings.last() {
        let (read, good) = record.entry(id).or_default();
        *read += 1;
        *good += u32::from(last.capacity >= must);
    }
}

impl Gathered {
    fn add(
        &mut self,
        settings: &Settings,
        (id, pack, ruling): (PackId, &PackFacts, &Ruling),
        (samples, record): (&BTreeMap<PackId, f64>, &Record),
        now: Moment,
    ) {
        let tag = lookup::label(&pack.codes);
        let lies =
            pack.place.and_then(|(place, _)| settings.places.get(&place)).map(|place| place.name.clone());
        let place = lies.unwrap_or_else(|| Whereabouts::of(pack).words().to_owned());
        let rule = ruling.reasons.first().map(|reason| reason.rule);
        let mut weight = 1.0;
        match (ruling.verdict, rule) {
            (Verdict::Wait, Some(Rule::Charge)) => {
                self.charge.push((tag, place));
                return;
            }
            (Verdict::Wait, Some(Rule::Carton)) => match samples.get(&id) {
                Some(frees) => weight = *frees,
                None => return,
            },
            (Verdict::Wait, _) => return,
            _ => {}
        }
        let Some((make_id, make)) = pack.make.and_then(|id| Some((id, settings.makes.get(&id)?))) else {
            self.unplanned.push((tag, "its make is not known".to_owned()));
            return;
        };
        let rule = &settings.policy.bench;
        let test = rule.test_hours * HOUR;
        let cycles = settings.policy.limits(pack.origin()).cycles_per_round;
        let (work, stages) = if ruling.verdict == Verdict::Recondition {
            (Work::Round(cycles), vec![(cycles * rule.cycle_hours * HOUR).max(HOUR), test])
        } else {
            (Work::Test, vec![test])
        };
        let chance = chance(settings, (id, pack, make), work, record, now);
        self.jobs.push(Waits {
            tag,
            place,
            work,
            stages,
            chance,
            weight,
            needed_by: None,
            need: usize::MAX,
            make: make_id,
            since: pack.counts_from().or(pack.added).unwrap_or_default(),
            form: make.form.clone(),
        });
    }

    /// The slots, in the order of the bench.
    fn bench_of(
        &mut self,
        ledger: &mut Ledger,
        settings: &Settings,
        site: Option<WriterId>,
        now: Moment,
    ) -> Result<(), AppError> {
        let mut slots = Vec::new();
        for (thing, facts) in ledger.all(ThingKind::Slot)? {
            if site.is_none() || ledger.home_of(thing)? == site {
                slots.extend(SlotFacts::try_from(facts));
            }
        }
        slots.sort_by(|a, b| (a.name.len(), &a.name).cmp(&(b.name.len(), &b.name)));
        for slot in slots {
            if slot.failures >= settings.policy.bench.close_slot_after {
                self.closed.push(slot.name);
                continue;
            }
            let holds = match slot.run {
                Some((_, pack, since)) => {
                    let facts: PackFacts = ledger.facts(pack.into())?.unwrap_or_default();
                    let ends = ends(settings, &facts, since);
                    let minutes = (ends.millis() - now.millis()).max(0) / 60_000;
                    Some((lookup::pack_name(ledger, pack)?, u32::try_from(minutes).unwrap_or(0)))
                }
                None => None,
            };
            self.slots.push(Place { name: slot.name, holds, takes: slot.takes });
        }
        Ok(())
    }

    /// Of too many packs keeps those that loans need, and the most expected good ones an hour.
    fn keep_the_likeliest(&mut self) {
        if self.jobs.len() <= MOST {
            return;
        }
        let pace = |job: &Waits| job.weight * job.chance / f64::from(job.stages.iter().sum::<u32>().max(1));
        self.jobs.sort_by(|a, b| {
            b.needed_by.is_some().cmp(&a.needed_by.is_some()).then(pace(b).total_cmp(&pace(a)))
        });
        let rest = self.jobs.split_off(MOST);
        self.unplanned.extend(rest.into_iter().map(|job| (job.tag, "too many wait".to_owned())));
        self.jobs.sort_by(|a, b| (a.since, &a.tag).cmp(&(b.since, &b.tag)));
    }

    /// Marks the packs that are likeliest to serve a need, until as many good ones are expected as are wanted.
    fn want(&mut self, need: usize, player: &PlayerMake, packs: u32, by: u32) {
        let mut fitting: Vec<&mut Waits> = self
            .jobs
            .iter_mut()
            .filter(|job| job.form == player.form && job.needed_by.is_none() && job.chance > 0.0)
            .collect();
        let pace = |job: &Waits| job.chance / f64::from(job.stages.iter().sum::<u32>().max(1));
        fitting.sort_by(|a, b| pace(b).total_cmp(&pace(a)));
        let mut expected = 0.0;
        for job in fitting {
            if expected >= f64::from(packs) {
                break;
            }
            expected += job.chance;
            job.needed_by = Some(by);
            job.need = need;
        }
    }

    /// The same as a problem of a queue.
    pub(super) fn bench(&self, attended: Attended) -> Result<Bench, QueueError> {
        let makes: BTreeSet<MakeId> = self
            .jobs
            .iter()
            .map(|job| job.make)
            .chain(self.slots.iter().flat_map(|slot| slot.takes.clone()))
            .collect();
        let kinds: BTreeMap<MakeId, u32> = makes.into_iter().zip(0..).collect();
        let kind = |make: &MakeId| kinds.get(make).copied().unwrap_or(0);
        let slots = self.slots.iter().map(|slot| Slot {
            free_from: slot.holds.as_ref().map_or(0, |(_, ends)| *ends),
            takes: if slot.takes.is_empty() {
                Takes::Any
            } else {
                Takes::Only(slot.takes.iter().map(kind).collect())
            },
        });
        let jobs = self.jobs.iter().map(|job| Job {
            kind: kind(&job.make),
            stages: job.stages.clone(),
            chance: job.chance,
            weight: job.weight,
            needed_by: job.needed_by,
        });
        Bench::new(attended, slots.collect(), jobs.collect())
    }

    /// Good packs that are expected to be ready by a minute.
    pub(super) fn good(&self, bench: &Bench, plan: &Plan, by: u32) -> f64 {
        let runs = (0..bench.slots().len()).flat_map(|slot| plan.runs(slot));
        let ready = runs.filter(|run| run.taken_out <= by).filter_map(|run| self.jobs.get(run.job));
        ready.fold(0.0, |sum, job| sum + job.chance)
    }

    /// What comes of each need.
    pub(super) fn needed(&self, bench: &Bench, plan: &Plan) -> Vec<Needed> {
        let expected = |number: usize, by: u32| {
            let runs = (0..bench.slots().len()).flat_map(|slot| plan.runs(slot));
            let ready = runs.filter(|run| run.taken_out <= by).filter_map(|run| self.jobs.get(run.job));
            ready.filter(|job| job.need == number).fold(0.0, |sum, job| sum + job.chance)
        };
        let told = self.needs.iter().enumerate().map(|(number, (need, player, ready, by))| Needed {
            player_make: player.name.clone(),
            by: need.by,
            packs: need.packs,
            ready: *ready,
            expected: expected(number, *by),
        });
        told.collect()
    }
}

/// When the run of a pack that lies in a slot ends: a round and its test for one that is to be reconditioned, a test for any other.
fn ends(settings: &Settings, pack: &PackFacts, since: Moment) -> Moment {
    const HOUR_MS: i64 = 3_600_000;
    let rule = &settings.policy.bench;
    let test = i64::from(rule.test_hours) * HOUR_MS;
    if let Some(round) = pack.rounds.last().filter(|&&round| round >= since) {
        return round.plus_millis(test);
    }
    let make = pack.make.and_then(|make| settings.makes.get(&make));
    let must = make
        .and_then(|make| limit(&settings.policy, pack.origin(), make, thirstiest(make, &settings.players)));
    let weak = pack.counting().next_back().zip(must).is_some_and(|(reading, must)| reading.capacity < must);
    let gains = make.is_some_and(|make| make.chemistry.gains_from_reconditioning());
    let cycles = if weak && gains { settings.policy.limits(pack.origin()).cycles_per_round } else { 0 };
    since.plus_millis(i64::from(cycles * rule.cycle_hours) * HOUR_MS + test)
}

/// The chance that a pack comes out of its work good: by the model, or by how its make has fared so far.
fn chance(
    settings: &Settings,
    (id, pack, make): (PackId, &PackFacts, &PackMake),
    work: Work,
    record: &Record,
    now: Moment,
) -> f64 {
    let must = limit(&settings.policy, pack.origin(), make, thirstiest(make, &settings.players));
    if let (Some(sight), Some(must)) = (judging::sight(settings, (id, pack), None, now), must) {
        let of = |millionths: u32| f64::from(millionths) / 1e6;
        match work {
            Work::Test => return 1.0 - of(sight.below(must, 0).raw()),
            Work::Round(_) => {
                if let Some(lifted) = sight.lifted_to(must) {
                    return of(lifted.chance.raw());
                }
            }
        }
    }
    let (read, good) = pack.make.and_then(|make| record.get(&make)).copied().unwrap_or_default();
    // Laplace's rule of succession: with nothing known, an even chance.
    let fared = (f64::from(good) + 1.0) / (f64::from(read) + 2.0);
    match work {
        Work::Test => fared,
        // What a round brings is not known without a model; half of what a test of any pack gives is a guess, and told as one.
        Work::Round(_) => 0.5 * fared,
    }
}
