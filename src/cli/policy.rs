//! `packmuster policy`.

mod risks;
mod trial;

use std::path::PathBuf;

use crate::app::session::Here;
use crate::app::setup;
use crate::domain::facts::PolicyFacts;
use crate::domain::ids::Thing;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;

/// The policy: show, check, try or adopt it, and its risks
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster policy adopt skerrow.policy.toml")]
pub(super) struct Args {
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, clap::Subcommand)]
enum Action {
    /// Print the policy in force, as text
    #[command(after_help = "Example: packmuster policy show > new.policy.toml")]
    Show,
    /// Check a policy file; nothing is entered
    #[command(after_help = "Example: packmuster policy check new.policy.toml")]
    Check {
        /// The file; else the one beside the ledger
        file: Option<PathBuf>,
    },
    /// Try a policy file on the past, beside the one in force; nothing is entered
    ///
    /// Tells for every loan and reading of the past what both policies would have said, and what came of the loans.
    #[command(after_help = "Example: packmuster policy try new.policy.toml --curve")]
    Try(trial::Args),
    /// How likely the policy in force passes weak packs, and fails good ones
    ///
    /// Consumer's and producer's risk of each make, by the fleet's model: learn it first.
    #[command(after_help = "Example: packmuster policy risks")]
    Risks,
    /// Put a policy file in force
    #[command(after_help = "Example: packmuster policy adopt")]
    Adopt {
        /// The file; else the one beside the ledger
        file: Option<PathBuf>,
    },
}

#[derive(serde::Serialize)]
struct Shown {
    policy: String,
    adopted: Option<String>,
    text: String,
}

pub(super) fn run(context: &mut Context, args: Args) -> Result<Exit, CliError> {
    match args.action {
        Action::Show => {
            let mut ledger = context.look()?;
            let facts: PolicyFacts = ledger.facts(Thing::POLICY)?.unwrap_or_default();
            let policy = ledger.settings()?.policy.id.clone();
            if context.globals.json {
                let adopted = facts.adopted.map(|at| at.to_string());
                output::json(&Shown { policy, adopted, text: facts.text })?;
            } else {
                output::line(facts.text.trim_end())?;
            }
        }
        Action::Check { file } => {
            let (path, text) = read(context, file)?;
            let policy = setup::parse(&text)?;
            output::line(&format!("{} is a sound policy; its id is {}", path.display(), policy.id))?;
        }
        Action::Try(args) => return trial::run(context, args),
        Action::Risks => return risks::run(context),
        Action::Adopt { file } => {
            let (_, text) = read(context, file)?;
            let policy = setup::parse(&text)?;
            let mut ledger = context.write()?;
            let mut desk = context.staffed_desk(&mut ledger)?;
            let answer = setup::adopt(&mut Here { ledger: &mut ledger, desk: &mut desk }, &text, &policy)?;
            super::tell(context, &answer)?;
        }
    }
    Ok(Exit::Yes)
}

/// The named file, or the one beside the ledger.
fn read(context: &Context, file: Option<PathBuf>) -> Result<(PathBuf, String), CliError> {
    let path = match file {
        Some(path) => path,
        None => context.ledger_path()?.with_extension("policy.toml"),
    };
    let text = std::fs::read_to_string(&path).map_err(|error| CliError::file(&path, &error))?;
    Ok((path, text))
}
