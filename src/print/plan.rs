//! The bench plan as a sheet to pin at the bench.

use jiff::civil::Date;

use crate::app::plan::{Done, Report, Visit};

use super::paper::Paper;
use super::table::{Column, Table};
use super::{PageSize, PrintError};

/// Visits on the sheet; later ones are planned anew before they come.
const VISITS: usize = 7;

/// Prints a plan: the next visits, slot by slot, with a box to tick.
///
/// # Errors
/// [`PrintError`] when the embedded typeface is damaged or the file cannot be made.
pub fn paper(plan: &Report, size: PageSize) -> Result<Vec<u8>, PrintError> {
    let subtitle = format!("as of {}; people are there {}", plan.as_of, plan.attended.join("; "));
    let mut paper = Paper::new(size, "Plan for the bench", &subtitle)?;
    let (tests, rounds) = plan.waiting;
    let waiting = format!("{tests} tests, {rounds} rounds");
    let (good, arrival) =
        (format!("{:.1}", plan.good_in_week), format!("{:.1}", plan.good_in_week_by_arrival));
    let done = plan.done.as_deref().map_or_else(|| "nothing waits".to_owned(), str::to_owned);
    paper.figures(&[("wait for the bench", &waiting), ("all done", &done)]);
    paper.figures(&[("good packs expected in a week", &good), ("the same in order of arrival", &arrival)]);
    for need in &plan.needs {
        let line = format!(
            "{} packs for {} by {}: {} stand ready, {:.1} good ones are expected from the bench in time.",
            need.packs, need.player_make, need.by, need.ready, need.expected
        );
        if f64::from(need.ready) + need.expected + 0.5 < f64::from(need.packs) {
            paper.callout(&format!("Not enough: {line}"));
        } else {
            paper.paragraph(&line);
        }
    }
    for visit in plan.visits.iter().take(VISITS) {
        put(&mut paper, visit);
    }
    if plan.visits.len() > VISITS {
        paper.note(&format!(
            "and {} more visits: print the plan again before they come",
            plan.visits.len() - VISITS
        ));
    }
    list(
        &mut paper,
        "Only to be charged, in a player or charger: a slot is too precious",
        "where",
        &plan.charge,
    );
    list(&mut paper, "Not planned", "why", &plan.left_over);
    paper.finish()
}

/// One row for each slot: what comes out, what goes in.
fn put(paper: &mut Paper, visit: &Visit) {
    paper.heading(&weekday(&visit.at));
    let mut table = Table::new(vec![
        Column::text("", 0.5),
        Column::text("slot", 1.3),
        Column::text("take out, enter the result", 2.6),
        Column::text("put in", 2.6),
        Column::text("from", 1.5),
        Column::text("for", 1.7),
        Column::text("until", 1.5),
    ]);
    for slot in visit.steps.chunk_by(|a, b| a.slot == b.slot) {
        let out = slot.iter().find(|step| step.act == Done::TakeOut);
        let next = slot.iter().find(|step| step.act != Done::TakeOut);
        let name = slot.first().map(|step| step.slot.clone()).unwrap_or_default();
        let put_in = next.map(|step| match step.act {
            Done::BeginNext => format!("({} stays)", step.pack),
            _ => step.pack.clone(),
        });
        let work = next.and_then(|step| {
            let loan = if step.for_a_loan { ", for a loan" } else { "" };
            step.work.as_ref().map(|work| format!("{work}{loan}"))
        });
        let until = next.and_then(|step| step.ends.as_deref()).map(|ends| {
            match (ends.split_once(' '), visit.at.split_once(' ')) {
                (Some((day, time)), Some((today, _))) if day == today => time.to_owned(),
                _ => weekday(ends),
            }
        });
        table.row([
            "[_]".to_owned(),
            name,
            out.map(|step| step.pack.clone()).unwrap_or_default(),
            put_in.unwrap_or_default(),
            next.and_then(|step| step.place.clone()).unwrap_or_default(),
            work.unwrap_or_default(),
            until.unwrap_or_default(),
        ]);
    }
    paper.table(&table);
}

/// A local time with its day of the week: "Fri 2026-10-30 09:00".
pub fn weekday(local: &str) -> String {
    let day = local.split_once(' ').and_then(|(day, _)| day.parse::<Date>().ok());
    day.map_or_else(|| local.to_owned(), |day| format!("{} {local}", day.strftime("%a")))
}

fn list(paper: &mut Paper, title: &str, what: &str, lines: &[(String, String)]) {
    if lines.is_empty() {
        return;
    }
    paper.heading(&format!("{title}: {}", lines.len()));
    let mut table = Table::new(vec![Column::text("pack", 2.0), Column::text(what, 4.0)]);
    for (pack, text) in lines {
        table.row([pack.clone(), text.clone()]);
    }
    paper.table(&table);
}
