//! `packmuster review`.

use std::path::PathBuf;

use crate::app::review::{self, LIVES_NOTE, Line, Lives, Month, Review, Whereabouts};
use crate::domain::verdict::Verdict;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;

/// The monthly review: the fleet, packs near their end, what to recondition and recycle
///
/// A month that is over prints the same again whenever it is asked for.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster review 2026-10 --pdf review-2026-10.pdf")]
pub(super) struct Args {
    /// The month, as 2026-10; else this month so far
    month: Option<String>,
    /// Print CSV instead of tables: one line a row, the list's name first
    #[arg(long, conflicts_with = "json")]
    csv: bool,
    /// Write a PDF to this file
    #[arg(long, value_name = "FILE")]
    pdf: Option<PathBuf>,
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
    let review = review::review(&mut ledger, month, now)?;
    if let Some(path) = &args.pdf {
        let bytes = crate::print::review::paper(&review, args.paper.into())
            .map_err(|error| CliError::fault(error.to_string()))?;
        super::paper::write(path, &bytes)?;
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

/// The review as tables.
pub(super) fn text(context: &Context, review: &Review) -> String {
    let mut text = vec![
        format!("REVIEW {}, as of {}, policy {}", review.month, review.as_of, review.policy),
        String::new(),
        format!("{} packs, {} fit and here", review.packs, review.ready),
        format!("{} readings, {} rounds in the month", review.readings.len(), review.rounds),
        output::wrap(&deeds(review), context.width),
        String::new(),
        fleet(context, review),
    ];
    let lists = [
        ("NEARING THE END", &review.near_end),
        ("TO RECONDITION", &review.recondition),
        ("TO RECYCLE", &review.recycle),
        ("TO KEEP APART", &review.isolate),
        ("OUT, AND WOULD NOT PASS TODAY", &review.out_at_risk),
    ];
    for (title, lines) in lists {
        text.push(String::new());
        text.push(format!("{title}: {}", lines.len()));
        if !lines.is_empty() {
            text.push(list(context, lines));
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
    text.push(format!("READINGS OF THE MONTH: {}", review.readings.len()));
    if !review.readings.is_empty() {
        text.push(readings(context, review));
    }
    text.push(String::new());
    text.push(format!("DOES NOT ADD UP: {}", review.odd.len()));
    for odd in &review.odd {
        let day = odd.day.map(|day| format!("{day} ")).unwrap_or_default();
        text.push(output::wrap(&format!("{day}{}: {}", odd.thing, odd.text), context.width));
    }
    text.push(String::new());
    for head in &review.heads {
        text.push(format!("made from entry {} of {}", head.number, head.writer));
        text.push(format!("  hash {}", head.hash));
    }
    text.join("\n")
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

/// The lists as one CSV: list, pack, make, where, rule, found, limit, margin, `play_h`, due.
pub(super) fn csv(review: &Review) -> Result<String, CliError> {
    let mut out = csv::Writer::from_writer(Vec::new());
    let fault = |error: csv::Error| CliError::fault(error.to_string());
    let heads = ["list", "pack", "make", "where", "rule", "found", "limit", "margin", "play_h", "day"];
    out.write_record(heads).map_err(fault)?;
    for standing in &review.fleet {
        for (verdict, count) in &standing.counts {
            let (place, count) = (standing.place.words(), count.to_string());
            out.write_record(["fleet", "", "", place, verdict.word(), &count, "", "", "", ""])
                .map_err(fault)?;
        }
    }
    let lists = [
        ("near_end", &review.near_end),
        ("recondition", &review.recondition),
        ("recycle", &review.recycle),
        ("isolate", &review.isolate),
        ("out_at_risk", &review.out_at_risk),
    ];
    for (name, lines) in lists {
        for line in lines {
            let play = line.play_h.map(|hours| hours.to_string()).unwrap_or_default();
            let due = line.due.map(|due| due.to_string()).unwrap_or_default();
            let (limit, margin) = (line.limit.as_deref().unwrap_or(""), line.margin.as_deref().unwrap_or(""));
            let rule = line.rule.name();
            let place = line.place.words();
            out.write_record([
                name,
                &line.pack,
                &line.make,
                place,
                rule,
                &line.found,
                limit,
                margin,
                &play,
                &due,
            ])
            .map_err(fault)?;
        }
    }
    for line in &review.readings {
        let (found, day) = (format!("{} mAh", line.capacity_mah), line.day.to_string());
        let limit = line.limit_mah.map(|limit| format!("{limit} mAh")).unwrap_or_default();
        let play = line.play_h.map(|hours| hours.to_string()).unwrap_or_default();
        let slot = line.slot.as_deref().unwrap_or("");
        out.write_record(["reading", &line.pack, &line.make, slot, "", &found, &limit, "", &play, &day])
            .map_err(fault)?;
    }
    for lives in &review.lives {
        let (found, p) = (
            format!("{} of {} failed", lives.failed, lives.packs),
            lives.probability.map(|p| format!("p {p}")).unwrap_or_default(),
        );
        let expected =
            lives.expected_failures.map(|failures| format!("{failures} expected")).unwrap_or_default();
        let median = lives.median();
        let median = if median.is_empty() { median } else { format!("median {median} years") };
        let rule = if lives.early { "early" } else { "" };
        let margin = [p, median].into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join("; ");
        let what = lives.label();
        out.write_record(["lives", &what, &lives.make, "", rule, &found, &expected, &margin, "", ""])
            .map_err(fault)?;
    }
    for odd in &review.odd {
        let day = odd.day.map(|day| day.to_string()).unwrap_or_default();
        out.write_record(["odd", &odd.thing, "", "", "", &odd.text, "", "", "", &day]).map_err(fault)?;
    }
    let bytes = out.into_inner().map_err(|error| CliError::fault(error.to_string()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}
