//! `packmuster join`.

use crate::app::join;
use crate::app::session::Here;

use super::Exit;
use super::context::Context;
use super::error::CliError;

/// Join two records that turn out to be one pack
///
/// As when a pack was adopted anew since its tag could not be read, and the old tag turns up later; also across sites. The older
/// record stays, and every code of both names it.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster join P7K3-Q9M2-DXWT-8 PB4E-1HWQ-7ZK0-M")]
pub(super) struct Args {
    /// A code of one record
    one: String,
    /// A code of the other
    other: String,
}

pub(super) fn run(context: &mut Context, args: &Args) -> Result<Exit, CliError> {
    let mut ledger = context.write()?;
    let mut desk = context.staffed_desk(&mut ledger)?;
    let answer = join::join(&mut Here { ledger: &mut ledger, desk: &mut desk }, &args.one, &args.other)?;
    super::tell(context, &answer)?;
    Ok(Exit::Yes)
}
