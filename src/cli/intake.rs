//! `packmuster intake`.

use crate::app::intake::{Intake, Makes};

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::session::{self, Scans};

/// Take players and their packs in: scan a player, then the pack in it
///
/// The ride and the loan end, and the verdict says what to do with the pack. Findings follow the pack ("swollen"); the
/// player's own count of hours goes before it ("37 h"). Then scan a fit pack into the same player. A fresh tag adopts the thing.
/// NOPACK says that a player came empty; UNREADABLE asks by the last ride which pack it is; a place after a pack puts it there.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster intake D3QH-2KXW-9FT0-J P7K3-Q9M2-DXWT-8 swollen")]
pub(super) struct Args {
    #[command(flatten)]
    scans: Scans,
    /// The make of packs that are adopted here
    #[arg(long, value_name = "NAME")]
    make: Option<String>,
    /// The make of players that are adopted here
    #[arg(long, value_name = "NAME")]
    player_make: Option<String>,
    /// The packs come without players, as from a shelf: each one that is scanned is taken in alone
    #[arg(long)]
    loose: bool,
}

pub(super) fn run(context: &mut Context, args: Args) -> Result<Exit, CliError> {
    let mut ledger = context.write()?;
    let mut desk = context.staffed_desk(&mut ledger)?;
    let work = Intake::new(Makes { pack: args.make, player: args.player_make }).loose(args.loose);
    session::run(context, &mut ledger, &mut desk, work, &args.scans)
}
