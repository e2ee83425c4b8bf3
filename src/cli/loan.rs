//! `packmuster loan`.

use jiff::civil::Date;

use crate::app::session::Here;
use crate::app::{input, loan};
use crate::domain::moment::day_after;
use crate::domain::units::PlayHours;

use super::Exit;
use super::context::Context;
use super::error::CliError;

/// Loans that are out: renew, mend the date, complaints, write off
///
/// A loan is found by its player, its pack, or the reference that the lending desk knows it by.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster loan renew D3QH-2KXW-9FT0-J --for '4 weeks'")]
pub(super) struct Args {
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, clap::Subcommand)]
enum Action {
    /// Renew a loan
    #[command(after_help = "Example: packmuster loan renew L-20817 --for '4 weeks'")]
    Renew {
        /// The player, its pack, or the loan's reference
        loan: String,
        /// The new day on which it is due
        #[arg(long, value_name = "DATE", conflicts_with = "length", required_unless_present = "length")]
        due: Option<Date>,
        /// Its length from today: "4 weeks", "10 days"
        #[arg(long = "for", value_name = "LENGTH", id = "length")]
        length: Option<String>,
    },
    /// Correct a due date that was entered wrong
    #[command(after_help = "Example: packmuster loan due D3QH-2KXW-9FT0-J 2026-12-20")]
    Due {
        /// The player, its pack, or the loan's reference
        loan: String,
        /// The day on which it is due
        due: Date,
    },
    /// Enter a complaint: it stops too early
    #[command(after_help = "Example: packmuster loan complaint D3QH-2KXW-9FT0-J --after '6 h'")]
    Complaint {
        /// The player, its pack, or the loan's reference
        loan: String,
        /// After how many hours it stops, if the borrower knows
        #[arg(long, value_name = "HOURS")]
        after: Option<PlayHours>,
    },
    /// Write off a player and pack that never came back
    #[command(after_help = "Example: packmuster loan write-off D3QH-2KXW-9FT0-J")]
    WriteOff {
        /// The player, its pack, or the loan's reference
        loan: String,
    },
    /// Note the reference by which the lending desk knows a loan; no name, no address
    #[command(after_help = "Example: packmuster loan refer D3QH-2KXW-9FT0-J L-20817")]
    Refer {
        /// The player or its pack
        loan: String,
        /// The reference
        reference: String,
    },
    /// Erase the references of loans that ended long ago, as the policy says
    #[command(after_help = "Example: packmuster loan erase")]
    Erase,
}

pub(super) fn run(context: &mut Context, args: Args) -> Result<Exit, CliError> {
    let mut ledger = context.write()?;
    let mut desk = context.staffed_desk(&mut ledger)?;
    let today = desk.now().day(ledger.zone());
    let here = &mut Here { ledger: &mut ledger, desk: &mut desk };
    let answer = match args.action {
        Action::Renew { loan, due, length } => {
            let due = match (due, length) {
                (Some(due), _) => due,
                (None, length) => {
                    let text = length.unwrap_or_default();
                    let days = input::length(&text).ok_or_else(|| {
                        CliError::bad(
                            format!("--for is `{text}`"),
                            "give a length such as '4 weeks' or '10 days'",
                        )
                    })?;
                    day_after(today, i64::from(days))
                }
            };
            loan::due(here, &loan, due, true)?
        }
        Action::Due { loan, due } => loan::due(here, &loan, due, false)?,
        Action::Complaint { loan, after } => loan::complain(here, &loan, after)?,
        Action::WriteOff { loan } => loan::write_off(here, &loan)?,
        Action::Refer { loan, reference } => loan::refer(here, &loan, &reference)?,
        Action::Erase => loan::erase(here)?,
    };
    super::tell(context, &answer)?;
    Ok(Exit::Yes)
}
