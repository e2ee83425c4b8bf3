//! `packmuster site`.

use crate::app::setup;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;

/// Workshops that share this ledger, each with a chain of its own
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster site add Tarvay --zone Europe/London")]
pub(super) struct Args {
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, clap::Subcommand)]
enum Action {
    /// Open a further site
    #[command(after_help = "Example: packmuster site add Tarvay")]
    Add {
        /// Its name
        name: String,
        /// Its time zone; else that of this ledger's first site
        #[arg(long, value_name = "IANA NAME")]
        zone: Option<String>,
    },
    /// List the sites
    #[command(after_help = "Example: packmuster site list")]
    List,
}

#[derive(serde::Serialize)]
struct Report {
    sites: Vec<Row>,
}

#[derive(serde::Serialize)]
struct Row {
    name: String,
    writer: String,
}

pub(super) fn run(context: &mut Context, args: Args) -> Result<Exit, CliError> {
    match args.action {
        Action::Add { name, zone } => {
            let mut ledger = context.write_any()?;
            let mut desk = context.desk()?;
            let zone = zone.unwrap_or_else(|| ledger.zone().iana_name().unwrap_or("UTC").to_owned());
            let answer = setup::open_site(&mut ledger, &mut desk, &name, &zone)?;
            super::tell(context, &answer)?;
        }
        Action::List => {
            let mut ledger = context.look()?;
            let row = |(_, name, writer): (_, String, crate::domain::ids::WriterId)| Row {
                name,
                writer: writer.to_string(),
            };
            let report = Report { sites: ledger.sites()?.into_iter().map(row).collect() };
            if context.globals.json {
                output::json(&report)?;
            } else {
                let rows: Vec<Vec<String>> =
                    report.sites.into_iter().map(|row| vec![row.name, row.writer]).collect();
                output::line(&output::table(context, &["site", "writer"], &rows, &[]))?;
            }
        }
    }
    Ok(Exit::Yes)
}
