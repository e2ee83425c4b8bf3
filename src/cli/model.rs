//! `packmuster model`.

use crate::app::model;
use crate::app::session::Here;
use crate::stats::fade::learning::Stage;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;
use super::progress::Progress;

/// The fleet's model of fade: learn it from the ledger, or say what it is
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster model learn")]
pub(super) struct Args {
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, clap::Subcommand)]
enum Action {
    /// Say what the model is, and from how much it was learnt
    #[command(after_help = "Example: packmuster model show")]
    Show,
    /// Learn it anew from everything in the ledger; verdicts foretell by it from then on
    ///
    /// Do so every month or so. What each later reading teaches of its own pack counts at once.
    #[command(after_help = "Example: packmuster model learn")]
    Learn {
        /// Threads at most; the model is the same with any
        #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..=256))]
        threads: u16,
    },
}

pub(super) fn run(context: &mut Context, args: &Args) -> Result<Exit, CliError> {
    match args.action {
        Action::Show => {
            let mut ledger = context.look()?;
            let zone = ledger.zone().clone();
            let Some(seer) = ledger.settings()?.seer.clone() else {
                output::line("no model is learnt yet: packmuster model learn")?;
                return Ok(Exit::No);
            };
            if context.globals.json {
                output::json(seer.predictor.model())?;
            } else {
                let day = seer.learnt.map_or_else(String::new, |at| format!(" on {}", at.day(&zone)));
                let mut lines = vec![format!("learnt{day}")];
                lines.extend(model::about(seer.predictor.model(), &seer.numbers, ledger.settings()?));
                lines.extend(model::about_rounds(seer.predictor.model(), &seer.numbers, ledger.settings()?));
                lines.extend(seer.few.as_ref().map(model::about_few));
                output::lines(&lines)?;
            }
        }
        Action::Learn { threads } => {
            let mut ledger = context.write()?;
            let mut desk = context.staffed_desk(&mut ledger)?;
            let bar = Progress::new("packs");
            let stage = Progress::steps();
            let answer = model::learn(
                &mut Here { ledger: &mut ledger, desk: &mut desk },
                usize::from(threads),
                |packs| bar.at(packs),
                |now| {
                    bar.end();
                    stage.say(words(now));
                },
            )?;
            stage.end();
            super::tell(context, &answer)?;
        }
    }
    Ok(Exit::Yes)
}

/// What is being done, in words.
fn words(stage: Stage) -> String {
    match stage {
        Stage::Clocks(done, all) => format!("what fade goes by: {} of {all}", done + 1),
        Stage::Lines => "lines, slots and gross errors".to_owned(),
        Stage::Bends(done, all) => format!("how packs bend: {} of {all}", done + 1),
        Stage::Trial => "trying the model on the latest readings".to_owned(),
        Stage::Chances => "how true its chances were".to_owned(),
    }
}
