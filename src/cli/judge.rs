//! `packmuster judge`.

use serde::Serialize;

use crate::app::answer::Told;
use crate::app::judging::{self, Ask};
use crate::app::lookup;
use crate::domain::moment::Moment;
use crate::domain::verdict::{Step, Verdict};
use crate::ledger::Ledger;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;

/// Ask for a pack's verdict; nothing is entered
///
/// The exit code is 0 for FIT and 1 otherwise. With --player the pack is judged for that player.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster judge P7K3-Q9M2-DXWT-8")]
pub(super) struct Args {
    /// The pack's tag or another code of it
    pack: String,
    /// The player that it is meant for
    #[arg(long, value_name = "CODE")]
    player: Option<String>,
}

#[derive(Serialize)]
struct Report {
    verdict: Told,
}

pub(super) fn run(context: &mut Context, args: &Args) -> Result<Exit, CliError> {
    let mut ledger = context.look()?;
    let now = context.clock()();
    // One transaction: one look at the file, and one state of it.
    let (ruling, told) = ledger.transact(|ledger| {
        let ask = ask(ledger, args, now)?;
        Ok::<_, CliError>(judging::look(ledger, ask)?)
    })?;
    if context.globals.json {
        output::json(&Report { verdict: told })?;
    } else {
        let lines: Vec<String> = told.lines().iter().map(|line| output::wrap(line, context.width)).collect();
        output::lines(&lines)?;
    }
    Ok(if ruling.verdict == Verdict::Fit { Exit::Yes } else { Exit::No })
}

fn ask(ledger: &mut Ledger, args: &Args, now: Moment) -> Result<Ask, CliError> {
    let thing = lookup::find(ledger, &args.pack)?;
    let pack = thing.pack().ok_or_else(|| {
        CliError::bad(format!("`{}` is {}", args.pack, thing.kind.one()), "give the tag of a pack")
    })?;
    let Some(code) = &args.player else {
        return Ok(Ask { pack, step: Step::Look, player: None, due: None, now });
    };
    let thing = lookup::find(ledger, code)?;
    let player = thing.player().ok_or_else(|| {
        CliError::bad(format!("`{code}` is {}", thing.kind.one()), "give the tag of a player")
    })?;
    Ok(Ask { pack, step: Step::Look, player: Some(player), due: None, now })
}
