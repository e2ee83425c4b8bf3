//! `packmuster place`.

use crate::app::session::Here;
use crate::app::{lookup, setup};
use crate::domain::facts::PlaceFacts;
use crate::domain::verdict::Verdict;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;

/// Shelves, trays and crates, and which verdict's packs each takes
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster place add 'red tray' --tray isolate --tag TB4E-1HWQ-7ZK0-8")]
pub(super) struct Args {
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, clap::Subcommand)]
enum Action {
    /// Add a place
    #[command(after_help = "Example: packmuster place add 'blue tray' --tray measure")]
    Add {
        /// Its name
        name: String,
        /// The verdict whose packs it takes: fit, measure, recondition, recycle, wait or isolate
        #[arg(long, value_name = "VERDICT")]
        tray: Option<Verdict>,
        /// A fresh place tag for it
        #[arg(long, value_name = "CODE")]
        tag: Option<String>,
    },
    /// List the places
    #[command(after_help = "Example: packmuster place list")]
    List,
}

#[derive(serde::Serialize)]
struct Report {
    places: Vec<Row>,
}

#[derive(serde::Serialize)]
struct Row {
    name: String,
    code: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    tray: Option<Verdict>,
}

pub(super) fn run(context: &mut Context, args: Args) -> Result<Exit, CliError> {
    match args.action {
        Action::Add { name, tray, tag } => {
            let mut ledger = context.write()?;
            let mut desk = context.staffed_desk(&mut ledger)?;
            let here = &mut Here { ledger: &mut ledger, desk: &mut desk };
            let answer = setup::add_place(here, &name, tray, tag.as_deref())?;
            super::tell(context, &answer)?;
        }
        Action::List => {
            let mut ledger = context.look()?;
            let row = |facts: &PlaceFacts| Row {
                name: facts.name.clone(),
                code: lookup::label(&facts.codes),
                tray: facts.tray,
            };
            let report = Report { places: ledger.settings()?.places.values().map(row).collect() };
            if context.globals.json {
                output::json(&report)?;
            } else {
                let row = |row: Row| {
                    vec![row.name, row.code, row.tray.map(|tray| tray.to_string()).unwrap_or_default()]
                };
                let rows: Vec<Vec<String>> = report.places.into_iter().map(row).collect();
                output::line(&output::table(context, &["place", "tag", "takes"], &rows, &[]))?;
            }
        }
    }
    Ok(Exit::Yes)
}
