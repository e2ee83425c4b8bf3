//! `packmuster dispatch`.

use jiff::civil::Date;

use crate::app::answer::Outcome;
use crate::app::dispatch::Dispatch;
use crate::app::input;
use crate::app::session::Here;
use crate::domain::moment::day_after;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::session::{self, Scans};

/// Send players out: scan a pack and a player, or a player whose pack is known
///
/// FIT enters the loan; anything else says why not, enters no loan, and the exit code is 1. Somebody with the right may scan
/// OVERRULE and a reason. After a player has gone out, "ref L-20817" notes the lending desk's own number for the loan, in a file
/// that can be erased. The due date comes from an option, or is scanned (digits, then WEEKS) and holds for all that follow.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster dispatch --for '8 weeks' P7K3-Q9M2-DXWT-8 D3QH-2KXW-9FT0-J")]
pub(super) struct Args {
    #[command(flatten)]
    scans: Scans,
    /// The day on which the players are due back
    #[arg(long, value_name = "DATE", conflicts_with = "length")]
    due: Option<Date>,
    /// Work a list off that `pick --list` made: it says what goes into which player and when it is due
    #[arg(long, value_name = "NAME", conflicts_with_all = ["due", "length"])]
    list: Option<String>,
    /// The length of the loans: "8 weeks", "10 days"
    #[arg(long = "for", value_name = "LENGTH", id = "length")]
    length: Option<String>,
}

pub(super) fn run(context: &mut Context, args: &Args) -> Result<Exit, CliError> {
    let mut ledger = context.write()?;
    let mut desk = context.staffed_desk(&mut ledger)?;
    let today = desk.now().day(ledger.zone());
    let due = match (&args.due, &args.length) {
        (Some(due), _) => Some(*due),
        (None, Some(length)) => {
            Some(input::length(length).map(|days| day_after(today, i64::from(days))).ok_or_else(|| {
                CliError::bad(format!("--for is `{length}`"), "give a length such as '8 weeks' or '10 days'")
            })?)
        }
        (None, None) => None,
    };
    let mut work = match &args.list {
        Some(name) => Dispatch::of_list(&mut ledger, Some(name))?,
        None => Dispatch::default(),
    };
    if let Some(due) = due {
        let answer = work.set_due(&mut Here { ledger: &mut ledger, desk: &mut desk }, due)?;
        if answer.outcome != Outcome::Yes {
            return Err(CliError::bad(answer.text.join(" "), answer.next));
        }
    }
    session::run(context, &mut ledger, &mut desk, work, &args.scans)
}
