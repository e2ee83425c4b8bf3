//! `packmuster review`.

mod rows;

pub(super) use rows::csv;

use std::path::PathBuf;

use crate::app::listed::Listed;
use crate::app::review::{
    self, Asked, Brief, CartonLine, Complaint, Figure, Figures, Head, LIVES_NOTE, Line, Lives, Lost, Month,
    Review, RollLine, RoundLine, Whereabouts,
};
use crate::app::waste::Item;
use crate::domain::finding::CAUTIONS;
use crate::domain::verdict::Verdict;

use crate::ledger::Ledger;
use crate::ledger::kept::Kept;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;
use super::progress::Progress;

/// The monthly review: what can go out, what nears its end, what to buy, what is wrong, and the lists behind it
///
/// A month that is over prints the same again whenever it is asked for. What is worked out of each pack of the current month is kept in a
/// file beside the ledger (its name with .kept behind it), so that the next review works out only what changed; the file may be deleted
/// at any time. The slots of the bench are looked at once a day.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster review 2026-10 --pdf october.pdf --page october.html")]
pub(super) struct Args {
    /// The month, as 2026-10; else this month so far
    month: Option<String>,
    /// Print CSV instead of tables: one line a row, the list's name first
    #[arg(long, conflicts_with = "json")]
    csv: bool,
    /// Write a PDF to this file
    #[arg(long, value_name = "FILE")]
    pdf: Option<PathBuf>,
    /// Write one HTML page to this file: it needs nothing beside it
    #[arg(long, value_name = "FILE")]
    page: Option<PathBuf>,
    /// The figures alone, of this month so far and of the one before
    #[arg(long, conflicts_with_all = ["month", "csv", "pdf", "page"])]
    figures: bool,
    /// Work everything out anew
    #[arg(long)]
    anew: bool,
    /// The PDF's paper
    #[arg(long, value_enum, default_value_t = super::paper::Paper::A4)]
    paper: super::paper::Paper,
}

pub(super) fn run(context: &mut Context, args: &Args) -> Result<Exit, CliError> {
    let mut ledger = context.look()?;
    let now = context.clock()();
    let month = match &args.month {
        Some(text) => Month::parse(text)?,
        None => Month::of(now.day(ledger.zone())),
    };
    let kept = keep(&ledger, args.anew)?;
    let bar = Progress::new("packs");
    if args.figures {
        let brief = ledger.transact(|ledger| review::brief(ledger, now, &kept, |packs| bar.at(packs)))?;
        bar.end();
        if context.globals.json {
            output::json(&brief)?;
        } else {
            output::line(&figures(context, &brief))?;
        }
        return Ok(Exit::Yes);
    }
    let asked = Asked { month, now, all_lines: args.csv || context.globals.json, kept: Some(&kept) };
    let review = ledger.transact(|ledger| review::review(ledger, &asked, |packs| bar.at(packs)))?;
    bar.end();
    if let Some(path) = &args.pdf {
        let bytes = crate::print::review::paper(&review, args.paper.into())
            .map_err(|error| CliError::fault(error.to_string()))?;
        super::paper::write(path, &bytes)?;
    }
    if let Some(path) = &args.page {
        let page = crate::print::review::page(&review).map_err(|error| CliError::fault(error.to_string()))?;
        super::paper::write(path, page.as_bytes())?;
    }
    if context.globals.json {
        output::json(&review)?;
    } else if args.csv {
        output::line(csv(&review)?.trim_end())?;
    } else {
        output::line(&text(context, &review))?;
    }
    Ok(Exit::Yes)
}

/// What is kept beside the ledger; where nothing can be, it is kept in memory, and the next review works it all out again.
fn keep(ledger: &Ledger, anew: bool) -> Result<Kept, CliError> {
    let path = ledger.kept_path();
    let kept = match Kept::open(&path) {
        Ok(kept) => kept,
        Err(error) => {
            output::talk(&format!("note: {} cannot be kept ({error})", path.display()));
            Kept::scratch()?
        }
    };
    if anew {
        kept.forget()?;
    }
    Ok(kept)
}

/// The figures alone.
fn figures(context: &Context, brief: &Brief) -> String {
    let mut text = vec![format!("FIGURES {}, as of {}", brief.figures.month, brief.as_of), String::new()];
    text.push(beside(context, &brief.figures, brief.before.as_ref()));
    text.extend(made_from(&brief.heads));
    text.join("\n")
}

fn made_from(heads: &[Head]) -> Vec<String> {
    let mut text = vec![String::new()];
    for head in heads {
        text.push(format!("made from entry {} of {}", head.number, head.writer));
        text.push(format!("  hash {}", head.hash));
    }
    text
}

/// Says how many lines of a list are not shown, if any.
fn more_of<T>(list: &Listed<T>) -> Option<String> {
    let more = list.more();
    (more > 0).then(|| format!("... and {more} more: packmuster review --csv lists all"))
}

/// The list beside which the cautions stand.
const KEEP_APART: &str = "TO KEEP APART";

/// The review as tables.
pub(super) fn text(context: &Context, review: &Review) -> String {
    let mut text = vec![
        format!("REVIEW {}, as of {}, policy {}", review.month, review.as_of, review.policy),
        String::new(),
        format!(
            "{} packs, {} fit and here; {} players can go out",
            review.packs, review.ready, review.can_go
        ),
        format!("{} readings, {} rounds in the month", review.readings.all(), review.rounds),
        output::wrap(&deeds(review), context.width),
        String::new(),
        fleet(context, review),
    ];
    if !review.wrong.is_empty() {
        text.push(String::new());
        text.push("WHAT IS WRONG".to_owned());
        text.extend(review.wrong.iter().map(|line| output::wrap(&format!("- {line}"), context.width)));
    }
    if let Some(before) = &review.before {
        text.push(String::new());
        text.push(beside(context, &review.figures, Some(before)));
    }
    let lists = [
        ("NEARING THE END", &review.near_end),
        ("TO RECONDITION", &review.recondition),
        ("TO RECYCLE", &review.recycle),
        (KEEP_APART, &review.isolate),
        ("OUT, AND WOULD NOT PASS TODAY", &review.out_at_risk),
    ];
    for (title, lines) in lists {
        text.push(String::new());
        text.push(format!("{title}: {}", lines.all()));
        if !lines.is_empty() {
            text.push(list(context, lines.lines()));
            text.extend(more_of(lines));
        }
        if title == KEEP_APART && !lines.is_empty() {
            text.push(output::wrap(CAUTIONS, context.width));
        }
    }
    text.push(String::new());
    let early: Vec<&Lives> = review.lives.iter().filter(|lives| lives.early).collect();
    text.push(format!("LIVES BY LOT: {} die early", early.len()));
    text.extend(early.iter().map(|lives| output::wrap(&lives.warning(), context.width)));
    if !review.lives.is_empty() {
        text.push(output::wrap(LIVES_NOTE, context.width));
        text.push(lives(context, review));
    }
    text.push(String::new());
    text.extend(more(context, review));
    text.push(String::new());
    text.push(format!("READINGS OF THE MONTH: {}", review.readings.all()));
    if !review.readings.is_empty() {
        text.push(readings(context, review));
        text.extend(more_of(&review.readings));
    }
    text.push(String::new());
    text.push(format!("DOES NOT ADD UP: {}", review.odd.all()));
    for odd in &review.odd {
        let day = odd.day.map(|day| format!("{day} ")).unwrap_or_default();
        text.push(output::wrap(&format!("{day}{}: {}", odd.thing, odd.text), context.width));
    }
    text.extend(more_of(&review.odd));
    text.extend(made_from(&review.heads));
    text.join("\n")
}

/// The figures of this month beside those of the month before.
fn beside(context: &Context, now: &Figures, before: Option<&Figures>) -> String {
    let row = |figure: &Figure| {
        let was = before.and_then(|before| before.value(&figure.what));
        vec![
            figure.what.clone(),
            was.map(|was| was.to_string()).unwrap_or_default(),
            figure.value.to_string(),
        ]
    };
    let rows: Vec<Vec<String>> = now.rows.iter().map(row).collect();
    let name = before.map_or("", |before| before.month.as_str());
    output::table(context, &["", name, now.month.as_str()], &rows, &[1, 2])
}

/// The lists that are short: what cut out early, cartons, rounds, waste, roll calls, lost packs.
fn more(context: &Context, review: &Review) -> Vec<String> {
    let mut text = Vec::new();
    let mut say = |title: &str, all: usize, lines: Vec<String>, more: Option<String>| {
        text.push(String::new());
        text.push(format!("{title}: {all}"));
        text.extend(lines.iter().map(|line| output::wrap(line.trim_end(), context.width)));
        text.extend(more);
    };
    let complaint = |line: &Complaint| format!("{} {}: {}", line.day, line.pack, line.why);
    let lines = &review.complaints;
    say("CUT OUT EARLY", lines.all(), lines.iter().map(complaint).collect(), more_of(lines));
    let carton = |line: &CartonLine| {
        format!("{} ({}): {} read, {} bad: {}", line.carton, line.make, line.read, line.bad, line.result)
    };
    say("CARTONS", review.cartons.len(), review.cartons.iter().map(carton).collect(), None);
    let round = |line: &RoundLine| {
        let mah = |mah: Option<u32>| mah.map_or_else(|| "unknown".to_owned(), |mah| format!("{mah} mAh"));
        format!("{} {}: {} before, {} after", line.day, line.pack, mah(line.before_mah), mah(line.after_mah))
    };
    let lines = &review.round_lines;
    say("RECONDITIONED", lines.all(), lines.iter().map(round).collect(), more_of(lines));
    let item = |item: &Item| format!("{} since {}, {}", item.pack, item.since, item.place);
    let lines = &review.waste.items;
    say("WASTE ON HAND", lines.all(), lines.iter().map(item).collect(), more_of(lines));
    let roll = |line: &RollLine| {
        format!(
            "{} on {}: {} there, {} missing, {} not expected",
            line.place, line.ended, line.present, line.missing, line.unexpected
        )
    };
    say("ROLL CALLS", review.rolls.len(), review.rolls.iter().map(roll).collect(), None);
    let lost = |line: &Lost| format!("{}: {} {}", line.pack, line.why, line.place);
    let lines = &review.lost;
    say("LOST, OR NOT SEEN FOR LONG", lines.all(), lines.iter().map(lost).collect(), more_of(lines));
    text
}

/// What else was done, in one line.
fn deeds(review: &Review) -> String {
    let deeds: Vec<String> =
        review.deeds.iter().map(|deed| format!("{} {}", deed.count, deed.what)).collect();
    if deeds.is_empty() { "nothing else was done".to_owned() } else { deeds.join(", ") }
}

fn fleet(context: &Context, review: &Review) -> String {
    let mut heads = vec!["where"];
    heads.extend(Verdict::ALL.map(Verdict::word));
    heads.push("all");
    let mut totals = [0_u32; 7];
    let mut rows = Vec::new();
    for standing in &review.fleet {
        let mut counts: Vec<u32> =
            Verdict::ALL.iter().map(|verdict| standing.counts.get(verdict).copied().unwrap_or(0)).collect();
        counts.push(counts.iter().sum());
        for (total, count) in totals.iter_mut().zip(&counts) {
            *total += count;
        }
        let mut row = vec![standing.place.words().to_owned()];
        row.extend(counts.iter().map(ToString::to_string));
        rows.push(row);
    }
    let mut row = vec!["all".to_owned()];
    row.extend(totals.iter().map(ToString::to_string));
    rows.push(row);
    output::table(context, &heads, &rows, &[1, 2, 3, 4, 5, 6, 7])
}

fn list(context: &Context, lines: &[Line]) -> String {
    let row = |line: &Line| {
        let mut found = line.found.clone();
        if let Some(limit) = &line.limit {
            found = format!("{found}; limit {limit}");
        }
        if let Some(margin) = &line.margin {
            found = format!("{found}; {margin}");
        }
        let place = match (line.place, line.due) {
            (Whereabouts::Out, Some(due)) => format!("due {due}"),
            (place, _) => place.words().to_owned(),
        };
        let play = line.play_h.map(|hours| format!("{hours:.1}")).unwrap_or_default();
        vec![line.pack.clone(), play, place, line.rule.to_string(), found]
    };
    let rows: Vec<Vec<String>> = lines.iter().map(row).collect();
    output::table(context, &["pack", "h", "where", "rule", "found"], &rows, &[1])
}

fn lives(context: &Context, review: &Review) -> String {
    let row = |lives: &Lives| {
        let expected = lives.expected_failures.map(|failures| format!("{failures:.1}"));
        vec![
            lives.make.clone(),
            lives.label(),
            lives.packs.to_string(),
            lives.failed.to_string(),
            expected.unwrap_or_default(),
            lives.chance(),
            lives.median(),
        ]
    };
    let rows: Vec<Vec<String>> = review.lives.iter().map(row).collect();
    let heads = ["make", "packs of", "packs", "failed", "expected", "p", "median years"];
    output::table(context, &heads, &rows, &[2, 3, 4, 5, 6])
}

fn readings(context: &Context, review: &Review) -> String {
    let number = |value: Option<f64>| value.map(|value| format!("{value:.1}")).unwrap_or_default();
    let rows: Vec<Vec<String>> = review
        .readings
        .iter()
        .map(|line| {
            vec![
                line.day.to_string(),
                line.pack.clone(),
                line.capacity_mah.to_string(),
                line.limit_mah.map(|limit| limit.to_string()).unwrap_or_default(),
                number(line.play_h),
                number(line.health_percent),
                line.slot.clone().unwrap_or_default(),
            ]
        })
        .collect();
    output::table(context, &["day", "pack", "mAh", "limit", "h", "%", "slot"], &rows, &[2, 3, 4, 5])
}
