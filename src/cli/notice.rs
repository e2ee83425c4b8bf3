//! `packmuster notice`.

use crate::app::answer::count;
use crate::app::notice::{self, Named};
use crate::app::review::Whereabouts;
use crate::app::session::Here;
use crate::domain::facts::NoticeFacts;
use crate::domain::finding::CAUTIONS;
use crate::domain::verdict::Verdict;
use crate::ledger::Ledger;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;

/// Safety notices on a make, a lot or a range of serials
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: packmuster notice issue --lot 2024-03 'cells may leak, supplier letter of 2026-11-20'"
)]
pub(super) struct Args {
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, clap::Subcommand)]
enum Action {
    /// Issue a notice: it bites at the next scan of every pack that it covers
    #[command(after_help = "Example: packmuster notice issue --lot 2024-03 'cells may leak'")]
    Issue {
        /// What is wrong, in a few words
        text: String,
        /// Packs of this make
        #[arg(long, value_name = "NAME")]
        make: Option<String>,
        /// Packs of this lot
        #[arg(long, value_name = "NAME")]
        lot: Option<String>,
        /// Packs whose serial is in this range
        #[arg(long, num_args = 2, value_names = ["FIRST", "LAST"])]
        serials: Option<Vec<String>>,
        /// What to do with them: isolate, or wait
        #[arg(long, default_value = "isolate")]
        verdict: Verdict,
    },
    /// Lift a notice
    #[command(after_help = "Example: packmuster notice lift 019aa1c2-7d5e-7c33-a6cd-1f60f1b0c2ab")]
    Lift {
        /// Its number, as `notice list` shows it
        notice: String,
    },
    /// Show a notice with every pack that it covers, those with borrowers first
    #[command(after_help = "Example: packmuster notice show 019aa1c2-7d5e-7c33-a6cd-1f60f1b0c2ab")]
    Show {
        /// Its number, as `notice list` shows it
        notice: String,
    },
    /// List the notices
    #[command(after_help = "Example: packmuster notice list")]
    List,
}

#[derive(serde::Serialize)]
struct Report {
    notices: Vec<Row>,
}

#[derive(serde::Serialize)]
struct Row {
    notice: String,
    verdict: Option<Verdict>,
    lifted: bool,
    text: String,
}

#[derive(serde::Serialize)]
struct Covers {
    text: String,
    lifted: bool,
    packs: Vec<notice::Covered>,
}

fn show(context: &Context, ledger: &mut Ledger, facts: &NoticeFacts) -> Result<(), CliError> {
    let packs = notice::packs(ledger, facts)?;
    if context.globals.json {
        return output::json(&Covers { text: facts.text.clone(), lifted: facts.lifted, packs });
    }
    let out = packs.iter().filter(|pack| pack.place == Whereabouts::Out).count();
    let state = if facts.lifted { ", lifted" } else { "" };
    let mut lines = vec![
        format!(
            "covers {}, {out} of them with borrowers{state}: {}",
            count(packs.len(), "pack", "packs"),
            facts.text
        ),
        CAUTIONS.to_owned(),
    ]
    .into_iter()
    .map(|line| output::wrap(&line, context.width))
    .collect::<Vec<_>>();
    let row = |pack: &notice::Covered| {
        let due = pack.due.map(|due| format!("due {due}")).unwrap_or_default();
        vec![pack.pack.clone(), pack.place.words().to_owned(), due]
    };
    let rows: Vec<Vec<String>> = packs.iter().map(row).collect();
    if !rows.is_empty() {
        lines.push(output::table(context, &["pack", "where", "due"], &rows, &[]));
    }
    output::lines(&lines)
}

pub(super) fn run(context: &mut Context, args: Args) -> Result<Exit, CliError> {
    match args.action {
        Action::Issue { text, make, lot, serials, verdict } => {
            let serials = serials.and_then(|range| match <[String; 2]>::try_from(range) {
                Ok([first, last]) => Some((first, last)),
                Err(_) => None,
            });
            let mut ledger = context.write()?;
            let mut desk = context.staffed_desk(&mut ledger)?;
            let here = &mut Here { ledger: &mut ledger, desk: &mut desk };
            let answer = notice::issue(here, &Named { make, lot, serials }, verdict, &text)?;
            super::tell(context, &answer)?;
            let issued = notice::list(&mut ledger)?.into_iter().max_by_key(|(id, _)| *id);
            if let Some((_, facts)) = issued.filter(|_| !context.globals.json) {
                show(context, &mut ledger, &facts)?;
            }
        }
        Action::Lift { notice } => {
            let mut ledger = context.write()?;
            let mut desk = context.staffed_desk(&mut ledger)?;
            let answer = notice::lift(&mut Here { ledger: &mut ledger, desk: &mut desk }, &notice)?;
            super::tell(context, &answer)?;
        }
        Action::Show { notice } => {
            let mut ledger = context.look()?;
            let known = notice::list(&mut ledger)?;
            let (_, facts) = known.into_iter().find(|(id, _)| id.to_string() == notice).ok_or_else(|| {
                CliError::bad(format!("there is no notice `{notice}`"), "see `packmuster notice list`")
            })?;
            show(context, &mut ledger, &facts)?;
        }
        Action::List => {
            let mut ledger = context.look()?;
            let row = |(id, facts): (crate::domain::ids::NoticeId, NoticeFacts)| Row {
                notice: id.to_string(),
                verdict: facts.verdict,
                lifted: facts.lifted,
                text: facts.text,
            };
            let report = Report { notices: notice::list(&mut ledger)?.into_iter().map(row).collect() };
            if context.globals.json {
                output::json(&report)?;
            } else {
                let row = |row: Row| {
                    let verdict = row.verdict.map(|verdict| verdict.to_string()).unwrap_or_default();
                    let state = if row.lifted { "lifted" } else { "in force" };
                    vec![row.notice, state.to_owned(), verdict, row.text]
                };
                let rows: Vec<Vec<String>> = report.notices.into_iter().map(row).collect();
                output::line(&output::table(context, &["notice", "state", "verdict", "text"], &rows, &[]))?;
            }
        }
    }
    Ok(Exit::Yes)
}
