//! `packmuster waiting`.

use std::fmt::Write as _;

use crate::app::waiting::{self, Item, Waiting};

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;

/// Items of a list that are shown unless all are asked for.
const SHOWN: usize = 12;

/// Everything that waits for somebody: the first look each morning, and a successor's first page
///
/// Open runs and when they should be done, packs to measure, samples owed, unfinished intakes, packs that wait and why, loans
/// overdue, complaints, packs under notice or missing or in the wrong tray, and how far the fit packs reach.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster waiting")]
pub(super) struct Args {
    /// Show every item of long lists
    #[arg(long)]
    all: bool,
}

#[derive(serde::Serialize)]
struct Report<'a> {
    waiting: &'a Waiting,
}

pub(super) fn run(context: &mut Context, args: &Args) -> Result<Exit, CliError> {
    let mut ledger = context.look()?;
    let now = context.clock()();
    let waiting = ledger.transact(|ledger| waiting::waiting(ledger, now))?;
    if context.globals.json {
        output::json(&Report { waiting: &waiting })?;
        return Ok(Exit::Yes);
    }
    output::line(&text(context, &waiting, args.all))?;
    Ok(Exit::Yes)
}

/// A list as a table; without a column of places when there is none to tell.
fn table(context: &Context, items: &[Item]) -> String {
    if items.iter().all(|item| item.place.is_empty()) {
        let rows: Vec<Vec<String>> =
            items.iter().map(|item| vec![item.what.clone(), item.why.clone()]).collect();
        return output::table(context, &["what", "why"], &rows, &[]);
    }
    let row = |item: &Item| vec![item.what.clone(), item.place.clone(), item.why.clone()];
    let rows: Vec<Vec<String>> = items.iter().map(row).collect();
    output::table(context, &["what", "where", "why"], &rows, &[])
}

/// The page; empty lists are left out.
fn text(context: &Context, waiting: &Waiting, all: bool) -> String {
    let lists: [(&str, &[Item]); 14] = [
        ("ON THE BENCH", &waiting.runs),
        ("SLOTS CLOSED", &waiting.closed),
        ("INTAKES NOT FINISHED", &waiting.intakes),
        ("SAMPLES OWED", &waiting.samples),
        ("TO MEASURE, longest waiting first", &waiting.measure),
        ("TO RECONDITION", &waiting.recondition),
        ("WAIT", &waiting.waits),
        ("UNDER A SAFETY NOTICE, with borrowers first", &waiting.notices),
        ("COMPLAINTS, still out", &waiting.complaints),
        ("LOANS OVERDUE, longest first", &waiting.overdue),
        ("WHEREABOUTS UNKNOWN", &waiting.missing),
        ("IN THE WRONG TRAY", &waiting.misplaced),
        ("WASTE THAT MUST LEAVE", &waiting.waste),
        ("FIT, AND IN NO PLACE", &waiting.unplaced),
    ];
    let mut parts = vec![format!("WAITING, as of {}", waiting.as_of)];
    for (heading, items) in lists {
        if items.is_empty() {
            continue;
        }
        let shown = if all { items.len() } else { SHOWN.min(items.len()) };
        let mut part = format!("{heading}: {}\n", items.len());
        let items_shown = items.get(..shown).unwrap_or(items);
        part.push_str(&table(context, items_shown));
        if shown < items.len() {
            let more = items.len() - shown;
            let _infallible = write!(part, "\n ... and {more} more: packmuster waiting --all");
        }
        parts.push(part);
    }
    if parts.len() == 1 {
        parts.push("nothing waits".to_owned());
    }
    let row = |ready: &waiting::Ready| {
        let weeks = ready.weeks.map_or_else(|| "unknown".to_owned(), |weeks| format!("{weeks:.1} weeks"));
        vec![ready.make.clone(), ready.fit.to_string(), ready.dispatches.to_string(), weeks]
    };
    let rows: Vec<Vec<String>> = waiting.ready.iter().map(row).collect();
    let heads = ["make", "fit here", "sent in 8 weeks", "lasts"];
    parts.push(format!("READY\n{}", output::table(context, &heads, &rows, &[1, 2, 3])));
    parts.join("\n\n")
}
