//! `packmuster ledger`.

use std::io::Write as _;
use std::path::PathBuf;

use crate::domain::ids::{ActId, WriterId};
use crate::ledger::Ledger;
use crate::ledger::export::ExportError;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;
use super::progress::Progress;

/// Check, rebuild, back up, restore or export the ledger
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster ledger check")]
pub(super) struct Args {
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, clap::Subcommand)]
enum Action {
    /// Check every chain and every projection; the exit code is 1 if something is wrong
    #[command(after_help = "Example: packmuster ledger check")]
    Check,
    /// Make all projections anew from the entries
    #[command(after_help = "Example: packmuster ledger rebuild")]
    Rebuild,
    /// Copy the ledger to a new file while it stays in use
    #[command(after_help = "Example: packmuster ledger backup /media/stick/skerrow-2026-11-25.muster")]
    Backup {
        /// The new file
        to: PathBuf,
    },
    /// Make a ledger from a backup; it goes on in a new chain that names the head of the old one
    #[command(
        after_help = "Example: packmuster ledger restore /media/stick/skerrow-2026-11-25.muster skerrow.muster"
    )]
    Restore {
        /// The backup
        from: PathBuf,
        /// The new ledger
        to: PathBuf,
    },
    /// Print every entry
    #[command(after_help = "Example: packmuster ledger export --format csv > entries.csv")]
    Export {
        /// csv, or jsonl: one JSON object a line
        #[arg(long, value_enum, default_value_t = Format::Jsonl)]
        format: Format,
    },
}

#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum Format {
    Csv,
    Jsonl,
}

#[derive(serde::Serialize)]
struct Done {
    done: String,
}

pub(super) fn run(context: &mut Context, args: Args) -> Result<Exit, CliError> {
    match args.action {
        Action::Check => return check(context),
        Action::Rebuild => {
            let mut ledger = context.write_any()?;
            let progress = Progress::new("rebuilding");
            let entries = ledger.rebuild(|done| progress.at(done))?;
            ledger.settle()?;
            progress.end();
            done(context, format!("projections made anew from {entries} entries"))?;
        }
        Action::Backup { to } => {
            context.look()?.backup(&to)?;
            done(context, format!("copied to {}", to.display()))?;
        }
        Action::Restore { from, to } => {
            let mut desk = context.desk()?;
            let now = desk.now();
            let draw = || (WriterId::draw(now, &mut desk.random), ActId::draw(now, &mut desk.random));
            Ledger::restore(&from, &to, now, draw)?.settle()?;
            done(context, format!("{} stands on {}", to.display(), from.display()))?;
        }
        Action::Export { format } => {
            let ledger = context.look()?;
            let mut out = std::io::BufWriter::new(std::io::stdout().lock());
            let written = match format {
                Format::Csv => ledger.export_csv(&mut out),
                Format::Jsonl => ledger.export_jsonl(&mut out),
            };
            written.map_err(|error| match error {
                ExportError::Ledger(error) => error.into(),
                ExportError::Io(error) => output::gone(&error),
            })?;
            out.flush().map_err(|error| output::gone(&error))?;
        }
    }
    Ok(Exit::Yes)
}

fn check(context: &Context) -> Result<Exit, CliError> {
    let mut ledger = context.look()?;
    let progress = Progress::new("checking");
    let report = ledger.check(|done| progress.at(done))?;
    progress.end();
    if context.globals.json {
        output::json(&report)?;
    } else {
        let mut lines: Vec<String> = report.faults.iter().map(|fault| format!("FAULT {fault}")).collect();
        let verdict =
            if report.is_sound() { "sound".to_owned() } else { format!("{} faults", report.fault_count) };
        lines.push(format!(
            "{verdict}: {} entries in {} chains, {} things",
            report.entries, report.chains, report.things
        ));
        output::lines(&lines)?;
    }
    Ok(if report.is_sound() { Exit::Yes } else { Exit::No })
}

fn done(context: &Context, text: String) -> Result<(), CliError> {
    if context.globals.json { output::json(&Done { done: text }) } else { output::line(&text) }
}
