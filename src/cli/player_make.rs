//! `packmuster player-make`.

use crate::app::session::Here;
use crate::app::setup;
use crate::domain::make::PlayerMake;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;

/// Makes of player
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster player-make add Wren --draw '650 mAh in 16 h'")]
pub(super) struct Args {
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, clap::Subcommand)]
enum Action {
    /// Declare a make, or new figures for one
    #[command(after_help = "Example: packmuster player-make add Wren --draw '41 mA'")]
    Add {
        /// Its name
        name: String,
        /// Mean draw: "41 mA", or a known pair "650 mAh in 16 h"
        #[arg(long)]
        draw: String,
        /// Its battery bay, a word of your own
        #[arg(long, value_name = "WORD", default_value = "standard")]
        form: String,
    },
    /// List the makes
    #[command(after_help = "Example: packmuster player-make list")]
    List,
}

#[derive(serde::Serialize)]
struct Report {
    player_makes: Vec<PlayerMake>,
}

pub(super) fn run(context: &mut Context, args: Args) -> Result<Exit, CliError> {
    match args.action {
        Action::Add { name, draw, form } => {
            let spec = PlayerMake { name, draw: setup::draw(&draw)?, form };
            let mut ledger = context.write()?;
            let mut desk = context.staffed_desk(&mut ledger)?;
            let answer = setup::declare_player(&mut Here { ledger: &mut ledger, desk: &mut desk }, spec)?;
            super::tell(context, &answer)?;
        }
        Action::List => {
            let mut ledger = context.look()?;
            let report = Report { player_makes: ledger.settings()?.players.clone() };
            if context.globals.json {
                output::json(&report)?;
            } else {
                let row =
                    |make: &PlayerMake| vec![make.name.clone(), make.draw.to_string(), make.form.clone()];
                let rows: Vec<Vec<String>> = report.player_makes.iter().map(row).collect();
                output::line(&output::table(context, &["player make", "draw", "form"], &rows, &[1]))?;
            }
        }
    }
    Ok(Exit::Yes)
}
