//! `packmuster judge`.

use jiff::civil::Date;
use serde::Serialize;

use crate::app::answer::Told;
use crate::app::foretold::{self, Foretold};
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
/// The exit code is 0 for FIT and 1 otherwise. With --player the pack is judged for that player. With --due, and once a model is
/// learnt, it is also told what the pack will hold when it comes back; whether it may go out for so long is the verdict of
/// `dispatch`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster judge P7K3-Q9M2-DXWT-8 --due 2027-03-01")]
pub(super) struct Args {
    /// The pack's tag or another code of it
    pack: String,
    /// The player that it is meant for
    #[arg(long, value_name = "CODE")]
    player: Option<String>,
    /// Tell what it will hold at the end of a loan that is due then
    #[arg(long, value_name = "YYYY-MM-DD")]
    due: Option<Date>,
}

#[derive(Serialize)]
struct Report {
    verdict: Told,
    #[serde(skip_serializing_if = "Option::is_none")]
    at_return: Option<Foretold>,
}

pub(super) fn run(context: &mut Context, args: &Args) -> Result<Exit, CliError> {
    let mut ledger = context.look()?;
    let now = context.clock()();
    // One transaction: one look at the file, and one state of it.
    let (ruling, told, at_return) = ledger.transact(|ledger| {
        let today = now.day(ledger.zone());
        if let Some(due) = args.due.filter(|due| *due < today) {
            return Err(CliError::bad(format!("--due {due} is past"), format!("today is {today}")));
        }
        let ask = ask(ledger, args, now)?;
        let (ruling, told) = judging::look(ledger, ask)?;
        let at_return = match args.due {
            Some(due) => foretold::foretold(ledger, (ask.pack, ask.player), due, now)?,
            None => None,
        };
        Ok((ruling, told, at_return))
    })?;
    if context.globals.json {
        output::json(&Report { verdict: told, at_return })?;
    } else {
        let mut lines = told.lines();
        match (args.due, at_return) {
            (Some(_), Some(at_return)) => lines.push(format!("  {}", at_return.text)),
            (Some(_), None) => lines.push("  no model foretells it yet: packmuster model learn".to_owned()),
            (None, _) => {}
        }
        let lines: Vec<String> = lines.iter().map(|line| output::wrap(line, context.width)).collect();
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
