//! `packmuster undo`.

use serde::Serialize;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;

/// Take back the last scan of this desk
///
/// A voiding entry is written; nothing is deleted. Refused when the pack or player was scanned again since.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster undo")]
pub(super) struct Args {}

#[derive(Serialize)]
struct Report {
    taken_back: Vec<&'static str>,
}

pub(super) fn run(context: &mut Context, _args: Args) -> Result<Exit, CliError> {
    let mut ledger = context.write()?;
    let mut desk = context.staffed_desk(&mut ledger)?;
    let act = desk.act(Vec::new());
    let entries = ledger.undo(act)?;
    let report = Report { taken_back: entries.iter().map(|entry| entry.event.kind()).collect() };
    if context.globals.json {
        output::json(&report)?;
    } else {
        output::line(&format!("taken back: {}", report.taken_back.join(", ")))?;
    }
    Ok(Exit::Yes)
}
