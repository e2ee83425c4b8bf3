//! `packmuster slot`.

use crate::app::session::Here;
use crate::app::{lookup, setup};
use crate::domain::facts::SlotFacts;
use crate::domain::ids::ThingKind;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;

/// Slots of the test bench
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster slot add 'bench A, 1' --tag SB4E-1HWQ-7ZK0-C")]
pub(super) struct Args {
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, clap::Subcommand)]
enum Action {
    /// Add a slot; scanning a fresh slot tag at the bench adds one too
    #[command(after_help = "Example: packmuster slot add 'bench A, 1' --tag SB4E-1HWQ-7ZK0-C")]
    Add {
        /// Its name
        name: String,
        /// A fresh slot tag for it
        #[arg(long, value_name = "CODE")]
        tag: Option<String>,
    },
    /// Say which makes a slot takes; without --make, every make
    #[command(after_help = "Example: packmuster slot takes 'bench A, 1' --make 'Kestrel 1100'")]
    Takes {
        /// Its tag or name
        slot: String,
        /// A make that it takes; may be given several times
        #[arg(long = "make", value_name = "NAME")]
        makes: Vec<String>,
    },
    /// List the slots, with the pack in each
    #[command(after_help = "Example: packmuster slot list")]
    List,
}

#[derive(serde::Serialize)]
struct Report {
    slots: Vec<Row>,
}

#[derive(serde::Serialize)]
struct Row {
    name: String,
    code: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pack: Option<String>,
    readings: u32,
    no_results: u32,
}

pub(super) fn run(context: &mut Context, args: Args) -> Result<Exit, CliError> {
    match args.action {
        Action::Add { name, tag } => {
            let mut ledger = context.write()?;
            let mut desk = context.staffed_desk(&mut ledger)?;
            let here = &mut Here { ledger: &mut ledger, desk: &mut desk };
            let answer = setup::add_slot(here, &name, tag.as_deref())?;
            super::tell(context, &answer)?;
        }
        Action::Takes { slot, makes } => {
            let mut ledger = context.write()?;
            let mut desk = context.staffed_desk(&mut ledger)?;
            let here = &mut Here { ledger: &mut ledger, desk: &mut desk };
            let answer = setup::slot_takes(here, &slot, &makes)?;
            super::tell(context, &answer)?;
        }
        Action::List => {
            let mut ledger = context.look()?;
            let mut slots = Vec::new();
            for (_, facts) in ledger.all(ThingKind::Slot)? {
                let Ok(facts) = SlotFacts::try_from(facts) else { continue };
                let pack = match facts.run {
                    Some((_, pack, _)) => Some(lookup::pack_name(&mut ledger, pack)?),
                    None => None,
                };
                slots.push(Row {
                    name: facts.name,
                    code: lookup::label(&facts.codes),
                    pack,
                    readings: facts.readings,
                    no_results: facts.no_results,
                });
            }
            let report = Report { slots };
            if context.globals.json {
                output::json(&report)?;
            } else {
                let row = |row: Row| {
                    let pack = row.pack.unwrap_or_else(|| "free".to_owned());
                    vec![row.name, row.code, pack, row.readings.to_string(), row.no_results.to_string()]
                };
                let rows: Vec<Vec<String>> = report.slots.into_iter().map(row).collect();
                let heads = ["slot", "tag", "pack", "readings", "no result"];
                output::line(&output::table(context, &heads, &rows, &[3, 4]))?;
            }
        }
    }
    Ok(Exit::Yes)
}
