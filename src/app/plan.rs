//! The bench plan: which pack goes into which slot now and at the next visits, and when all will be done.
//!
//! What waits for a test or a round is gathered as the judge says it, with the chance that each pack comes out good: by the fleet's
//! model, or without one by how its make has fared. Shortest expected work for the most expected good packs first, and before that the
//! packs that promised loans need; long work goes in before the night. A slot is never spent on mere charging: what only
//! needs a charge is told apart. Nothing is entered.

mod jobs;

use jiff::civil::Date;
use serde::Serialize;

use crate::domain::ids::WriterId;
use crate::domain::moment::Moment;
use crate::ledger::Ledger;
use crate::policy::attended::stretches;
use crate::stats::queue::hours::{Attended, Window};
use crate::stats::queue::job::Bench;
use crate::stats::queue::plan::{Plan, Reason};
use crate::stats::queue::{arrange, rules};

use super::error::AppError;
pub use jobs::Need;
use jobs::{Gathered, Work, gather};

/// Days that are planned.
const HORIZON: u16 = 42;
/// Minutes of a week, over which good packs are counted.
const WEEK: u32 = 7 * 24 * 60;
const MINUTE_MS: i64 = 60_000;

/// A plan for the bench.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Report {
    /// Now, local time.
    pub as_of: String,
    /// When people are there.
    pub attended: Vec<String>,
    /// Slots that take packs.
    pub slots: usize,
    /// Slots that are closed until they are serviced.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub closed: Vec<String>,
    /// Packs that wait for a test, and for a round.
    pub waiting: (usize, usize),
    /// What is done at each visit.
    pub visits: Vec<Visit>,
    /// When the last pack is ready, local time.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub done: Option<String>,
    /// The end of a week from now, local time.
    pub week_ends: String,
    /// Good packs that are expected to be ready by then.
    pub good_in_week: f64,
    /// The same if packs went in as they came.
    pub good_in_week_by_arrival: f64,
    /// What loans need.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub needs: Vec<Needed>,
    /// Packs that only need a charge, in a player or a charger, and where they are.
    pub charge: Vec<(String, String)>,
    /// Packs that are not planned, and why.
    pub left_over: Vec<(String, String)>,
}

/// One visit to the bench.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Visit {
    /// Local time.
    pub at: String,
    /// What is done, slot by slot.
    pub steps: Vec<Step>,
}

/// Something that is done at a visit.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Step {
    /// The slot.
    pub slot: String,
    /// What is done.
    pub act: Done,
    /// The pack.
    pub pack: String,
    /// What runs from then on: a test, or a round; nothing where the pack is taken out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub work: Option<String>,
    /// When that ends, local time.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ends: Option<String>,
    /// The chance that the pack comes out good, in per cent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub chance_percent: Option<f64>,
    /// A loan waits for it.
    pub for_a_loan: bool,
    /// Where the pack lies, for one that is put in.
    #[serde(rename = "where", skip_serializing_if = "Option::is_none")]
    pub place: Option<String>,
}

/// What is done with a pack.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Done {
    /// It is taken out, and its result entered.
    TakeOut,
    /// Its next run begins in the same slot.
    BeginNext,
    /// It is put in.
    PutIn,
}

impl Done {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::TakeOut => "take out",
            Self::BeginNext => "begin next",
            Self::PutIn => "put in",
        }
    }
}

/// Packs that loans need by a day.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Needed {
    /// For which make of player.
    pub player_make: String,
    /// By when.
    pub by: Date,
    /// How many.
    pub packs: u32,
    /// Fit ones that stand ready.
    pub ready: u32,
    /// Good ones that are expected from the bench by then.
    pub expected: f64,
}

/// Plans the bench of a site. A pack is where it was last heard of.
///
/// # Errors
/// When it is not clear which site, the policy's hours make no plan, or a fault of the ledger.
pub fn plan(
    ledger: &mut Ledger,
    site: Option<&str>,
    needs: &[Need],
    now: Moment,
) -> Result<Report, AppError> {
    let here = at(ledger, site)?;
    let zone = ledger.zone().clone();
    let rule = ledger.settings()?.policy.bench.clone();
    let windows = stretches(&rule.attended, now, &zone, HORIZON);
    let windows = windows.into_iter().map(|(from, until)| Window { from, until });
    let attended = Attended::new(windows).map_err(|error| hours(&error.to_string()))?;
    let gathered = gather(ledger, here, needs, now, &attended)?;
    let bench = gathered.bench(attended).map_err(|error| hours(&error.to_string()))?;
    let local = |minute: u32| now.plus_millis(i64::from(minute) * MINUTE_MS).local(&zone);
    let best = arrange(&bench);
    let good = |plan: &Plan| gathered.good(&bench, plan, WEEK);
    let left_over = best.left_over().iter().filter_map(|left| {
        let job = gathered.jobs.get(left.job)?;
        let why = match left.reason {
            Reason::NoSlot => "no slot takes its make",
            Reason::NoHours => "it would not be done within six weeks",
        };
        Some((job.tag.clone(), why.to_owned()))
    });
    let tests = gathered.jobs.iter().filter(|job| job.work == Work::Test).count();
    Ok(Report {
        as_of: now.local(&zone),
        attended: rule.attended.iter().map(ToString::to_string).collect(),
        slots: gathered.slots.len(),
        closed: gathered.closed.clone(),
        waiting: (tests, gathered.jobs.len() - tests),
        visits: visits(&gathered, &bench, &best, local),
        done: (best.score().end() > 0).then(|| local(best.score().end())),
        week_ends: local(WEEK),
        good_in_week: good(&best),
        good_in_week_by_arrival: good(&rules::first_come(&bench)),
        needs: gathered.needed(&bench, &best),
        charge: gathered.charge.clone(),
        left_over: left_over.chain(gathered.unplanned.iter().cloned()).collect(),
    })
}

/// The chain of the site whose bench is planned: the one named, or the only one.
fn at(ledger: &mut Ledger, site: Option<&str>) -> Result<Option<WriterId>, AppError> {
    let sites = ledger.sites()?;
    let names = || sites.iter().map(|(_, name, _)| name.clone()).collect::<Vec<_>>().join(", ");
    match (site, sites.as_slice()) {
        (_, [_] | []) => Ok(None),
        (Some(site), several) => {
            let found = several.iter().find(|(_, name, _)| name.eq_ignore_ascii_case(site));
            let hint = format!("known: {}", names());
            found
                .map(|(.., writer)| Some(*writer))
                .ok_or_else(|| AppError::input(format!("no site is named `{site}`"), hint))
        }
        (None, _) => Err(AppError::input(
            "the ledger has several sites, and none was named",
            format!("say whose bench is planned: --site; known: {}", names()),
        )),
    }
}

fn hours(text: &str) -> AppError {
    AppError::input(text.to_owned(), "mend `attended` in the policy's [bench]")
}

/// Steps by the minute at which they are done, with what is in the slots already.
fn visits(gathered: &Gathered, bench: &Bench, plan: &Plan, local: impl Fn(u32) -> String) -> Vec<Visit> {
    let mut steps: Vec<(u32, usize, Step)> = Vec::new();
    for (number, slot) in gathered.slots.iter().enumerate() {
        if let Some((pack, ends)) = &slot.holds
            && let Some(at) = bench.attended().next(*ends)
        {
            let step = Step {
                slot: slot.name.clone(),
                act: Done::TakeOut,
                pack: pack.clone(),
                work: None,
                ends: None,
                chance_percent: None,
                for_a_loan: false,
                place: None,
            };
            steps.push((at, number, step));
        }
        for run in plan.runs(number) {
            let Some(job) = gathered.jobs.get(run.job) else { continue };
            let starts = std::iter::once(run.put_in).chain(run.moved_on.iter().copied());
            for (stage, (at, minutes)) in starts.zip(&job.stages).enumerate() {
                let act = if stage == 0 { Done::PutIn } else { Done::BeginNext };
                steps.push((
                    at,
                    number,
                    Step {
                        slot: slot.name.clone(),
                        act,
                        pack: job.tag.clone(),
                        work: Some(job.stage(stage)),
                        ends: Some(local(at + minutes)),
                        chance_percent: Some(100.0 * job.chance),
                        for_a_loan: job.needed_by.is_some(),
                        place: (stage == 0).then(|| job.place.clone()),
                    },
                ));
            }
            let out = Step {
                slot: slot.name.clone(),
                act: Done::TakeOut,
                pack: job.tag.clone(),
                work: None,
                ends: None,
                chance_percent: None,
                for_a_loan: job.needed_by.is_some(),
                place: None,
            };
            steps.push((run.taken_out, number, out));
        }
    }
    steps.sort_by_key(|(at, slot, step)| (*at, *slot, step.act));
    let mut visits: Vec<(u32, Visit)> = Vec::new();
    for (at, _, step) in steps {
        match visits.last_mut() {
            Some((last, visit)) if *last == at => visit.steps.push(step),
            _ => visits.push((at, Visit { at: local(at), steps: vec![step] })),
        }
    }
    visits.into_iter().map(|(_, visit)| visit).collect()
}
