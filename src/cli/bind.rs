//! `packmuster bind`.

use crate::app::people;
use crate::app::session::Here;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;

/// Bind a further code to a thing, or replace its worn tag
///
/// The code may be a foreign one (a serial number, a library barcode) or a fresh tag of ours. With --replace, a fresh tag takes
/// the place of the worn one, which then names nothing.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster bind P7K3-Q9M2-DXWT-8 4006381333931")]
pub(super) struct Args {
    /// A code of the thing
    thing: String,
    /// The further code
    code: String,
    /// The further code replaces the thing's worn tag
    #[arg(long)]
    replace: bool,
}

pub(super) fn run(context: &mut Context, args: &Args) -> Result<Exit, CliError> {
    let mut ledger = context.write()?;
    let mut desk = context.staffed_desk(&mut ledger)?;
    let mut here = Here { ledger: &mut ledger, desk: &mut desk };
    let answer = if args.replace {
        people::replace_tag(&mut here, &args.thing, &args.code)?
    } else {
        people::bind(&mut here, &args.thing, &args.code)?
    };
    if context.globals.json {
        output::json(&answer)?;
    } else {
        output::lines(&answer.lines())?;
    }
    Ok(Exit::Yes)
}
