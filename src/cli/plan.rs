//! `packmuster plan`.

use std::path::PathBuf;

use crate::app::answer::count;
use crate::app::plan::{self, Done, Need, Report, Visit};
use crate::print;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;
use super::paper::{self, Paper};

/// Visits that are shown unless all are asked for.
const SHOWN: usize = 4;
/// Packs of a list that are shown unless all are asked for.
const LISTED: usize = 12;

/// Plan the bench: which pack goes into which slot now and at the next visits, and when all will be done
///
/// Shortest expected work for the most expected good packs goes first, before that the packs that loans need (`--need`); long work
/// goes in before the night. The policy's [bench] says how long tests and cycles take and when people are there. What only needs a
/// charge is told apart: a slot is too precious for it. Nothing is entered; plan anew whenever something has changed.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster plan --need Wren:12:2026-12-04 --sheet plan.pdf")]
pub(super) struct Args {
    /// Packs that loans need: a make of player, how many, and the day on which they go out
    #[arg(long = "need", value_name = "MAKE:COUNT:DATE")]
    needs: Vec<String>,
    /// Show every visit, and whole lists
    #[arg(long)]
    all: bool,
    /// Write a sheet to pin at the bench, as PDF
    #[arg(long, value_name = "FILE")]
    sheet: Option<PathBuf>,
    /// Its size
    #[arg(long, value_enum, default_value = "a4")]
    paper: Paper,
}

#[derive(serde::Serialize)]
struct Answer<'a> {
    plan: &'a Report,
}

pub(super) fn run(context: &Context, args: &Args) -> Result<Exit, CliError> {
    let mut ledger = context.look()?;
    let now = context.clock()();
    let today = now.day(ledger.zone());
    let mut needs = Vec::new();
    for text in &args.needs {
        needs.push(Need::read(&mut ledger, text, today)?);
    }
    let site = context.globals.site.as_deref();
    let report = ledger.transact(|ledger| plan::plan(ledger, site, &needs, now))?;
    if let Some(path) = &args.sheet {
        let bytes = print::plan::paper(&report, args.paper.into());
        paper::write(path, &bytes.map_err(|error| CliError::fault(error.to_string()))?)?;
    }
    if context.globals.json {
        output::json(&Answer { plan: &report })?;
    } else {
        output::line(&text(context, &report, args.all))?;
    }
    Ok(Exit::Yes)
}

fn text(context: &Context, plan: &Report, all: bool) -> String {
    let wrap = |line: &str| output::wrap(line, context.width);
    let (tests, rounds) = plan.waiting;
    let mut parts = vec![
        format!("PLAN for the bench, as of {}", plan.as_of),
        wrap(&format!(
            "{} and {} wait for {}; people are there {}",
            count(tests, "test", "tests"),
            count(rounds, "round", "rounds"),
            count(plan.slots, "slot", "slots"),
            plan.attended.join("; ")
        )),
    ];
    if plan.slots == 0 {
        parts.push(
            "no slot takes packs: packmuster slot add, or scan a fresh slot tag at the bench".to_owned(),
        );
    }
    if let Some(done) = &plan.done {
        parts.push(wrap(&format!(
            "all done by {done}; by {} {:.1} good packs are expected, in the order of arrival {:.1}",
            plan.week_ends, plan.good_in_week, plan.good_in_week_by_arrival
        )));
    }
    if !plan.closed.is_empty() {
        parts.push(wrap(&format!("closed until they are serviced: {}", plan.closed.join(", "))));
    }
    for need in &plan.needs {
        parts.push(wrap(&format!(
            "{} for {} by {}: {} ready, {:.1} good ones expected from the bench in time",
            need.packs, need.player_make, need.by, need.ready, need.expected
        )));
    }
    let shown = if all { plan.visits.len() } else { SHOWN };
    for visit in plan.visits.iter().take(shown) {
        parts.push(String::new());
        parts.push(told(context, visit));
    }
    if plan.visits.len() > shown {
        parts.push(format!("... and {} more visits: packmuster plan --all", plan.visits.len() - shown));
    }
    let lists = [
        ("only to be charged, in a player or charger", "where", &plan.charge),
        ("not planned", "why", &plan.left_over),
    ];
    for (title, what, lines) in lists.into_iter().filter(|(_, _, lines)| !lines.is_empty()) {
        parts.push(String::new());
        parts.push(format!("{title}: {}", lines.len()));
        let listed = if all { lines.len() } else { LISTED };
        let rows: Vec<Vec<String>> =
            lines.iter().take(listed).map(|(pack, text)| vec![pack.clone(), text.clone()]).collect();
        parts.push(output::table(context, &["pack", what], &rows, &[]));
        if lines.len() > listed {
            parts.push(format!("... and {} more: packmuster plan --all", lines.len() - listed));
        }
    }
    parts.join("\n")
}

fn told(context: &Context, visit: &Visit) -> String {
    let rows: Vec<Vec<String>> = visit
        .steps
        .iter()
        .map(|step| {
            let loan = if step.for_a_loan && step.act != Done::TakeOut { ", for a loan" } else { "" };
            let chance = step.chance_percent.map(|chance| format!("{chance:.0} %")).unwrap_or_default();
            vec![
                step.slot.clone(),
                step.act.words().to_owned(),
                step.pack.clone(),
                step.work
                    .as_ref()
                    .map_or_else(|| "enter its result".to_owned(), |work| format!("{work}{loan}")),
                chance,
                step.place.clone().unwrap_or_default(),
            ]
        })
        .collect();
    let heads = ["slot", "", "pack", "for", "good", "from"];
    format!("{}\n{}", print::plan::weekday(&visit.at), output::table(context, &heads, &rows, &[4]))
}
