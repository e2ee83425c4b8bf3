//! `packmuster make`.

use crate::app::session::Here;
use crate::app::setup;
use crate::domain::make::{Chemistry, PackMake};
use crate::domain::units::{Grams, MilliampHours, Milliohms, Millivolts};

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;

/// Makes of pack
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: packmuster make add 'Heron 1400' --chemistry NiMH --rated '1400 mAh' --cells 3"
)]
pub(super) struct Args {
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, clap::Subcommand)]
enum Action {
    /// Declare a make, or new figures for one
    #[command(
        override_usage = "packmuster make add [OPTIONS] --chemistry WORD --rated MAH --cells N NAME",
        after_help = "Example: packmuster make add 'Heron 1400' --chemistry NiMH --rated '1400 mAh' --cells 3"
    )]
    Add {
        /// Its name
        name: String,
        /// NiMH, NiCd, Li-ion or lead-acid
        #[arg(long)]
        chemistry: Chemistry,
        /// Rated capacity, with its unit
        #[arg(long, value_name = "MAH")]
        rated: MilliampHours,
        /// Cells in series
        #[arg(long, value_name = "N")]
        cells: u32,
        /// Nominal voltage, with its unit; else by chemistry and cells
        #[arg(long, value_name = "MV")]
        nominal: Option<Millivolts>,
        /// End voltage, with its unit; else by chemistry and cells
        #[arg(long, value_name = "MV")]
        end: Option<Millivolts>,
        /// Mass, with its unit
        #[arg(long, value_name = "G")]
        mass: Option<Grams>,
        /// Internal resistance above which a pack is worn out, with its unit
        #[arg(long, value_name = "MOHM")]
        max_resistance: Option<Milliohms>,
        /// The battery bay that it fits, a word of your own
        #[arg(long, value_name = "WORD", default_value = "standard")]
        form: String,
    },
    /// List the makes
    #[command(after_help = "Example: packmuster make list")]
    List,
}

#[derive(serde::Serialize)]
struct Report {
    makes: Vec<PackMake>,
}

pub(super) fn run(context: &mut Context, args: Args) -> Result<Exit, CliError> {
    match args.action {
        Action::Add { name, chemistry, rated, cells, nominal, end, mass, max_resistance, form } => {
            let times = |each: Millivolts| Millivolts::new(each.raw().saturating_mul(cells));
            let spec = PackMake {
                name,
                chemistry,
                rated,
                nominal: nominal.unwrap_or_else(|| times(chemistry.nominal_voltage_per_cell())),
                cells,
                mass,
                end: end.unwrap_or_else(|| times(chemistry.end_voltage_per_cell())),
                max_resistance,
                form,
            };
            let mut ledger = context.write()?;
            let mut desk = context.staffed_desk(&mut ledger)?;
            let answer = setup::declare_pack(&mut Here { ledger: &mut ledger, desk: &mut desk }, spec)?;
            super::tell(context, &answer)?;
        }
        Action::List => {
            let mut ledger = context.look()?;
            let report = Report { makes: ledger.settings()?.makes.values().cloned().collect() };
            if context.globals.json {
                output::json(&report)?;
            } else {
                let row = |make: &PackMake| {
                    vec![
                        make.name.clone(),
                        make.chemistry.to_string(),
                        make.rated.to_string(),
                        make.cells.to_string(),
                        make.end.to_string(),
                        make.form.clone(),
                    ]
                };
                let rows: Vec<Vec<String>> = report.makes.iter().map(row).collect();
                let heads = ["make", "chemistry", "rated", "cells", "end", "form"];
                output::line(&output::table(context, &heads, &rows, &[2, 3, 4]))?;
            }
        }
    }
    Ok(Exit::Yes)
}
