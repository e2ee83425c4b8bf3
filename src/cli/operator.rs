//! `packmuster operator`.

use crate::app::people;
use crate::app::session::Here;
use crate::domain::facts::OperatorFacts;
use crate::domain::ids::ThingKind;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;

/// People at the bench, and who may overrule the judge
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster operator add MK --tag NB4E-1HWQ-7ZK0-1 --may-overrule")]
pub(super) struct Args {
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, clap::Subcommand)]
enum Action {
    /// Enrol somebody, or change their rights
    #[command(after_help = "Example: packmuster operator add MK --tag NB4E-1HWQ-7ZK0-1 --may-overrule")]
    Add {
        /// Their initials
        initials: String,
        /// A fresh operator tag for them
        #[arg(long, value_name = "CODE")]
        tag: Option<String>,
        /// They may overrule the judge
        #[arg(long)]
        may_overrule: bool,
    },
    /// List everybody
    #[command(after_help = "Example: packmuster operator list")]
    List,
}

#[derive(serde::Serialize)]
struct Report {
    operators: Vec<Row>,
}

#[derive(serde::Serialize)]
struct Row {
    initials: String,
    may_overrule: bool,
}

pub(super) fn run(context: &mut Context, args: Args) -> Result<Exit, CliError> {
    match args.action {
        Action::Add { initials, tag, may_overrule } => {
            let mut ledger = context.write()?;
            let mut desk = context.staffed_desk(&mut ledger)?;
            let here = &mut Here { ledger: &mut ledger, desk: &mut desk };
            let answer = people::enrol(here, &initials, may_overrule, tag.as_deref())?;
            super::tell(context, &answer)?;
        }
        Action::List => {
            let mut ledger = context.look()?;
            let mut operators = Vec::new();
            for (_, facts) in ledger.all(ThingKind::Operator)? {
                if let Ok(facts) = OperatorFacts::try_from(facts) {
                    operators.push(Row { initials: facts.initials, may_overrule: facts.may_overrule });
                }
            }
            let report = Report { operators };
            if context.globals.json {
                output::json(&report)?;
            } else {
                let may = |yes: bool| if yes { "yes" } else { "no" }.to_owned();
                let rows: Vec<Vec<String>> = report
                    .operators
                    .into_iter()
                    .map(|row| vec![row.initials, may(row.may_overrule)])
                    .collect();
                output::line(&output::table(context, &["initials", "may overrule"], &rows, &[]))?;
            }
        }
    }
    Ok(Exit::Yes)
}
