//! `packmuster muster`.

use crate::app::muster::{self, Muster, Report};
use crate::app::session::Here;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;
use super::session::{self, Scans};

/// The roll call of a place: scan all that is there; missing and unexpected packs come out
///
/// Give packs, players (for the pack that rides in them) or pictures of trays. Several desks may scan at once: all add to the same
/// roll call. ENTER says what is not seen yet; YES after it, or --done, ends the roll call, and what nobody saw is missing. The exit
/// code is 1 when something is missing or was not expected.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster muster 'ready shelf' P7K3-Q9M2-DXWT-8 tray.jpg --done")]
pub(super) struct Args {
    /// The place, by name or tag
    place: String,
    #[command(flatten)]
    scans: Scans,
    /// All is scanned: end the roll call and tell what it found
    #[arg(long, conflicts_with = "look")]
    done: bool,
    /// Scan nothing: tell of the latest roll call
    #[arg(long, conflicts_with_all = ["scans", "watch"])]
    look: bool,
}

#[derive(serde::Serialize)]
struct Answer<'a> {
    muster: &'a Report,
}

pub(super) fn run(context: &Context, args: &Args) -> Result<Exit, CliError> {
    if args.look {
        let mut ledger = context.look()?;
        let place = muster::place(&mut ledger, &args.place)?;
        return tell(context, &muster::latest(&mut ledger, place)?);
    }
    let mut ledger = context.write()?;
    let mut desk = context.staffed_desk(&mut ledger)?;
    let mut exit = Exit::Yes;
    if !args.done || !args.scans.scans.is_empty() || args.scans.watch.is_some() {
        let work = Muster::new(&mut ledger, &args.place)?;
        exit = session::run(context, &mut ledger, &mut desk, work, &args.scans)?;
    }
    if !args.done {
        return Ok(exit);
    }
    let place = muster::place(&mut ledger, &args.place)?;
    let report = muster::end(&mut Here { ledger: &mut ledger, desk: &mut desk }, place)?;
    Ok(exit.max(tell(context, &report)?))
}

fn tell(context: &Context, report: &Report) -> Result<Exit, CliError> {
    if context.globals.json {
        output::json(&Answer { muster: report })?;
    } else {
        output::line(&text(context, report))?;
    }
    let clean = report.missing.is_empty() && report.unexpected.is_empty();
    Ok(if clean { Exit::Yes } else { Exit::No })
}

fn text(context: &Context, report: &Report) -> String {
    let ended = report.ended.as_ref().map(|ended| format!(", ended {ended}")).unwrap_or_default();
    let head = format!("{}; begun {}{ended}", report.summary(), report.began);
    let mut parts = vec![output::wrap(&head, context.width)];
    if !report.missing.is_empty() {
        let rows: Vec<Vec<String>> = report
            .missing
            .iter()
            .map(|line| {
                let seen = line.seen.map_or_else(|| "never".to_owned(), |day| day.to_string());
                vec![line.pack.clone(), line.make.clone(), seen, line.place.clone()]
            })
            .collect();
        let table = output::table(context, &["pack", "make", "last seen", "where"], &rows, &[]);
        parts.push(format!("MISSING: {}\n{table}", rows.len()));
    }
    if !report.unexpected.is_empty() {
        let rows: Vec<Vec<String>> = report
            .unexpected
            .iter()
            .map(|line| vec![line.pack.clone(), line.why.clone(), line.todo.clone()])
            .collect();
        let table = output::table(context, &["pack", "why", "what to do"], &rows, &[]);
        parts.push(format!("NOT EXPECTED: {}\n{table}", rows.len()));
    }
    parts.join("\n\n")
}
