//! `packmuster pick`.

use std::path::PathBuf;

use crate::app::answer::count;
use crate::app::pick::{self, List, Loan, Picked};
use crate::app::session::Here;
use crate::ledger::Ledger;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::paper::{self, Paper};
use super::{ahead, output};

/// Which packs to send out for a list of loans: for each the weakest that still keeps it
///
/// Loans are served longest first, each by the weakest free pack here that is FIT for that make of player and that due date. So as
/// many loans as can be are served, weak packs go on short loans, and the strongest stay for later. Nothing is entered:
/// `dispatch` judges again. The exit code is 1 when a loan could not be served.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: packmuster pick --for Wren:56:3 --for Lapwing:14 --list ferry --sheet ferry.pdf"
)]
pub(super) struct Args {
    /// Player make, length and how many: Wren:56:3, Wren:8weeks, or Wren:2026-12-24
    #[arg(long = "for", value_name = "MAKE:DAYS[:COUNT]", id = "loans")]
    loans: Vec<String>,
    /// Keep what is picked as a list of this name, to be worked off with `dispatch --list`; without --for, look at that list
    #[arg(long, value_name = "NAME")]
    list: Option<String>,
    /// Write the list as a dispatch sheet, PDF
    #[arg(long, value_name = "FILE", requires = "list")]
    sheet: Option<PathBuf>,
    /// Its size
    #[arg(long, value_enum, default_value = "a4")]
    paper: Paper,
}

#[derive(serde::Serialize)]
struct Report<'a> {
    pick: &'a Picked,
}

#[derive(serde::Serialize)]
struct Listed<'a> {
    list: &'a List,
}

pub(super) fn run(context: &mut Context, args: &Args) -> Result<Exit, CliError> {
    if args.loans.is_empty() {
        let Some(name) = &args.list else {
            return Err(CliError::bad(
                "no loan is named",
                "give loans with --for, such as Wren:56:3; or look at a list: pick --list NAME",
            ));
        };
        return listed(context, &mut context.look()?, name, args);
    }
    let mut ledger = if args.list.is_some() { context.write()? } else { context.look()? };
    let now = context.clock()();
    let picked = ledger.transact(|ledger| {
        let today = now.day(ledger.zone());
        let wishes: Result<Vec<_>, _> =
            args.loans.iter().map(|text| pick::wish(ledger, text, today)).collect();
        Ok::<_, CliError>(pick::pick(ledger, &wishes?, now)?)
    })?;
    let served = if picked.unserved == 0 { Exit::Yes } else { Exit::No };
    if let Some(name) = &args.list {
        args.sheet.as_deref().map(paper::must_be_free).transpose()?;
        let mut desk = context.staffed_desk(&mut ledger)?;
        let answer = pick::enter(&mut Here { ledger: &mut ledger, desk: &mut desk }, name, &picked)?;
        if !context.globals.json {
            output::line(&text(context, &picked))?;
            super::tell(context, &answer)?;
        }
        return Ok(served.max(listed(context, &mut ledger, name, args)?));
    }
    if context.globals.json {
        output::json(&Report { pick: &picked })?;
    } else {
        output::line(&text(context, &picked))?;
    }
    Ok(served)
}

/// Tells of a list, and prints it where that is wanted.
fn listed(context: &Context, ledger: &mut Ledger, name: &str, args: &Args) -> Result<Exit, CliError> {
    let list = pick::show(ledger, Some(name), context.clock()())?;
    if let Some(path) = &args.sheet {
        let bytes = crate::print::pick::paper(&list, args.paper.into())
            .map_err(|error| CliError::fault(error.to_string()))?;
        paper::write(path, &bytes)?;
    }
    if context.globals.json {
        output::json(&Listed { list: &list })?;
        return Ok(Exit::Yes);
    }
    let rows: Vec<Vec<String>> = list
        .lines
        .iter()
        .map(|line| {
            let player = line.player.clone().unwrap_or_else(|| format!("any {}", line.player_make));
            let state = line.verdict.map_or_else(|| "out".to_owned(), |verdict| verdict.to_string());
            vec![line.place.clone(), line.pack.clone(), state, player, line.due.to_string()]
        })
        .collect();
    let head = format!("LIST {}, made {}: {} of {} are out", list.name, list.made, list.done, rows.len());
    output::line(&head)?;
    output::line(&output::table(context, &["where", "pack", "verdict", "into player", "due"], &rows, &[]))?;
    Ok(Exit::Yes)
}

/// The row of a loan that is served.
fn row(loan: &Loan) -> Option<Vec<String>> {
    let pack = loan.pack.as_ref()?;
    let back = pack.at_return;
    Some(vec![
        pack.tag.clone(),
        pack.place.clone(),
        pack.play_h.map_or_else(String::new, |hours| format!("{hours:.1}")),
        back.map_or_else(|| "unknown".to_owned(), |back| back.expected_mah.to_string()),
        back.map_or_else(String::new, |back| format!("{}-{}", back.low_mah, back.high_mah)),
        back.map_or_else(String::new, |back| ahead::chance(back.chance_percent)),
    ])
}

fn text(context: &Context, picked: &Picked) -> String {
    let mut parts = vec![format!("PICK, as of {}, longest loan first", picked.as_of)];
    if !picked.by_model {
        let line = "no model is learnt (packmuster model learn): by readings alone, so whether a pack keeps a \
                    long loan is not known";
        parts.push(output::wrap(line, context.width));
    }
    for loans in picked.loans.chunk_by(|a, b| (&a.player_make, a.due) == (&b.player_make, b.due)) {
        let rows: Vec<Vec<String>> = loans.iter().filter_map(row).collect();
        if let Some(loan) = loans.first().filter(|_| !rows.is_empty()) {
            let days = count(usize::try_from(loan.days).unwrap_or(usize::MAX), "day", "days");
            let head = format!("{}, due {}, {days}: {}", loan.player_make, loan.due, rows.len());
            let heads = ["pack", "where", "hours now", "mAh back", "90 %", "chance short"];
            parts.push(format!("{head}\n{}", output::table(context, &heads, &rows, &[2, 3, 4, 5])));
        }
    }
    let mut unserved: Vec<(String, usize)> = Vec::new();
    for loan in &picked.loans {
        if let Some(why) = &loan.unserved {
            let line = format!("{} due {}: {why}", loan.player_make, loan.due);
            match unserved.last_mut().filter(|(last, _)| *last == line) {
                Some((_, times)) => *times += 1,
                None => unserved.push((line, 1)),
            }
        }
    }
    if !unserved.is_empty() {
        let lines = unserved.iter().map(|(line, times)| {
            output::wrap(&format!(" {} for {line}", count(*times, "loan", "loans")), context.width)
        });
        let lines: Vec<String> = lines.collect();
        parts.push(format!("NOT SERVED: {}\n{}", picked.unserved, lines.join("\n")));
    }
    parts.join("\n\n")
}
