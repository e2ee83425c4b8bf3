//! `packmuster pick`.

use crate::app::answer::count;
use crate::app::pick::{self, Loan, Picked};

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::{ahead, output};

/// Which packs to send out for a list of loans: for each the weakest that still keeps it
///
/// Loans are served longest first, each by the weakest free pack here that is FIT for that make of player and that due date. So as
/// many loans as can be are served, weak packs go on short loans, and the strongest stay for later. Nothing is entered:
/// `dispatch` judges again. The exit code is 1 when a loan could not be served.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster pick --for Wren:56:3 --for Lapwing:14")]
pub(super) struct Args {
    /// Player make, length and how many: Wren:56:3, Wren:8weeks, or Wren:2026-12-24
    #[arg(long = "for", required = true, value_name = "MAKE:DAYS[:COUNT]", id = "loans")]
    loans: Vec<String>,
}

#[derive(serde::Serialize)]
struct Report<'a> {
    pick: &'a Picked,
}

pub(super) fn run(context: &mut Context, args: &Args) -> Result<Exit, CliError> {
    let mut ledger = context.look()?;
    let now = context.clock()();
    let picked = ledger.transact(|ledger| {
        let today = now.day(ledger.zone());
        let wishes: Result<Vec<_>, _> =
            args.loans.iter().map(|text| pick::wish(ledger, text, today)).collect();
        Ok::<_, CliError>(pick::pick(ledger, &wishes?, now)?)
    })?;
    if context.globals.json {
        output::json(&Report { pick: &picked })?;
    } else {
        output::line(&text(context, &picked))?;
    }
    Ok(if picked.unserved == 0 { Exit::Yes } else { Exit::No })
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
