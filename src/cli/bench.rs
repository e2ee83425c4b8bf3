//! `packmuster bench`.

use crate::app::bench::Bench;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::session::{self, Scans};

/// Work at the bench: packs into slots, results out of them
///
/// Scan a slot, then a pack: the run begins. Later scan the slot and give its mAh ("812", or "812 mAh 95 mOhm 23 C 410 min"),
/// or why there is none ("powercut", "sloterror", "refused", "takenout"). ROUND enters a reconditioning round, CHARGED a charge.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster bench SB4E-1HWQ-7ZK0-C 812")]
pub(super) struct Args {
    #[command(flatten)]
    scans: Scans,
}

pub(super) fn run(context: &mut Context, args: &Args) -> Result<Exit, CliError> {
    let mut ledger = context.write()?;
    let mut desk = context.staffed_desk(&mut ledger)?;
    session::run(context, &mut ledger, &mut desk, Bench::default(), &args.scans)
}
