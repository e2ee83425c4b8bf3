//! `packmuster bench`.

use crate::app::bench::{self, Bench};
use crate::app::session::Here;
use crate::domain::command::Command;
use crate::domain::finding::NoResult;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::session::{self, Scans};

/// Work at the bench: packs into slots, results out of them
///
/// Scan a slot, then a pack: the run begins. Later scan the slot and give its mAh ("812", or "812 mAh 95 mOhm 23 C 410 min"),
/// or why there is none ("powercut", "sloterror", "refused", "takenout"). ROUND enters a reconditioning round, CHARGED a charge.
/// A slot that gives no result again and again is closed until SERVICED or ADAPTER is scanned.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster bench SB4E-1HWQ-7ZK0-C 812")]
pub(super) struct Args {
    #[command(flatten)]
    scans: Scans,
    /// End every open run of this site without a result: powercut, sloterror, refused or takenout
    #[arg(long, value_name = "REASON", conflicts_with = "scans", value_parser = reason)]
    end_all: Option<NoResult>,
}

fn reason(text: &str) -> Result<NoResult, String> {
    match Command::from_word(text) {
        Some(Command::NoResult(reason)) => Ok(reason),
        _ => Err("expected powercut, sloterror, refused or takenout".to_owned()),
    }
}

pub(super) fn run(context: &mut Context, args: &Args) -> Result<Exit, CliError> {
    let mut ledger = context.write()?;
    let mut desk = context.staffed_desk(&mut ledger)?;
    if let Some(reason) = args.end_all {
        let here = &mut Here { ledger: &mut ledger, desk: &mut desk };
        let answer = bench::end_all(here, reason)?;
        super::tell(context, &answer)?;
        return Ok(Exit::Yes);
    }
    session::run(context, &mut ledger, &mut desk, Bench::default(), &args.scans)
}
