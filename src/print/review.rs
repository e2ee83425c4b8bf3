//! The monthly review on paper: one page of figures and the fleet, then the lists.

use crate::app::review::{LIVES_NOTE, Line, Lives, Review, Whereabouts};
use crate::domain::finding::CAUTIONS;
use crate::domain::verdict::Verdict;

use super::paper::Paper;
use super::table::{Column, Table};
use super::{PageSize, PrintError};

/// Prints a review.
///
/// # Errors
/// [`PrintError`] when the embedded typeface is damaged or the file cannot be made.
pub fn paper(review: &Review, size: PageSize) -> Result<Vec<u8>, PrintError> {
    let subtitle = format!("{}, as of {}", review.month, review.as_of);
    let mut paper = Paper::new(size, "Monthly review of the packs", &subtitle)?;
    figures(&mut paper, review);
    fleet(&mut paper, review);
    if !review.isolate.is_empty() {
        paper.callout(&format!("To keep apart: {}. {CAUTIONS}", review.isolate.len()));
    }
    let lists = [
        ("Nearing the end", "Within the policy's margin of a limit, nearest first.", &review.near_end),
        ("Out, and would not pass today", "By what they hold; soonest due first.", &review.out_at_risk),
        ("To recondition", "Weak, and a round may bring them back.", &review.recondition),
        ("To recycle", "At their end.", &review.recycle),
        ("To keep apart", "They may be dangerous.", &review.isolate),
    ];
    for (title, note, lines) in lists {
        list(&mut paper, title, note, lines);
    }
    lives(&mut paper, review);
    deeds(&mut paper, review);
    readings(&mut paper, review);
    odd(&mut paper, review);
    sources(&mut paper, review);
    paper.finish()
}

fn figures(paper: &mut Paper, review: &Review) {
    let count = |length: usize| length.to_string();
    let (packs, ready) = (review.packs.to_string(), review.ready.to_string());
    let (near, risk) = (count(review.near_end.len()), count(review.out_at_risk.len()));
    paper.figures(&[
        ("packs", &packs),
        ("fit and here", &ready),
        ("nearing the end", &near),
        ("out, at risk", &risk),
    ]);
    let (weak, dead) = (count(review.recondition.len()), count(review.recycle.len()));
    let (apart, read) = (count(review.isolate.len()), count(review.readings.len()));
    paper.figures(&[
        ("to recondition", &weak),
        ("to recycle", &dead),
        ("to keep apart", &apart),
        ("readings in the month", &read),
    ]);
}

fn fleet(paper: &mut Paper, review: &Review) {
    paper.heading("The fleet");
    let mut columns = vec![Column::text("where", 2.2)];
    columns.extend(Verdict::ALL.map(|verdict| Column::number(&verdict.word().to_lowercase(), 1.5)));
    columns.push(Column::number("all", 0.9));
    let mut table = Table::new(columns);
    for standing in &review.fleet {
        let counts = Verdict::ALL.map(|verdict| standing.counts.get(&verdict).copied().unwrap_or(0));
        let mut row = vec![standing.place.words().to_owned()];
        row.extend(counts.iter().map(ToString::to_string));
        row.push(counts.iter().sum::<u32>().to_string());
        table.row(row);
    }
    paper.table(&table);
}

/// How long packs last, and which lots die early.
fn lives(paper: &mut Paper, review: &Review) {
    paper.heading("Lives by lot");
    let early: Vec<String> = review.lives.iter().filter(|lives| lives.early).map(Lives::warning).collect();
    for warning in &early {
        paper.callout(warning);
    }
    if early.is_empty() {
        paper.note("No lot dies earlier than the others of its make.");
    }
    paper.note(LIVES_NOTE);
    let mut table = Table::new(vec![
        Column::text("make", 1.8),
        Column::text("packs of", 2.1),
        Column::number("packs", 0.9),
        Column::number("failed", 1.0),
        Column::number("expected", 1.4),
        Column::number("p", 1.1),
        Column::number("median years", 2.4),
        Column::number("shape", 1.0),
    ]);
    let number = |value: Option<f64>, places: usize| {
        value.map(|value| format!("{value:.places$}")).unwrap_or_default()
    };
    for lives in &review.lives {
        table.row([
            lives.make.clone(),
            lives.label(),
            lives.packs.to_string(),
            lives.failed.to_string(),
            number(lives.expected_failures, 1),
            lives.chance(),
            lives.median(),
            number(lives.shape, 1),
        ]);
    }
    paper.table(&table);
}

/// What else was done in the month.
fn deeds(paper: &mut Paper, review: &Review) {
    paper.heading("Done in the month");
    let mut table = Table::new(vec![Column::text("what", 6.0), Column::number("how often", 2.0)]);
    for deed in &review.deeds {
        table.row(vec![deed.what.to_owned(), deed.count.to_string()]);
    }
    paper.table(&table);
}

fn list(paper: &mut Paper, title: &str, note: &str, lines: &[Line]) {
    paper.heading(&format!("{title}: {}", lines.len()));
    paper.note(note);
    let mut table = Table::new(vec![
        Column::text("pack", 2.75),
        Column::text("make", 1.75),
        Column::number("play h", 0.95),
        Column::text("where", 2.0),
        Column::text("rule", 1.3),
        Column::text("found, limit, margin", 3.5),
    ]);
    for line in lines {
        let parts = [
            Some(line.found.clone()),
            line.limit.as_ref().map(|limit| format!("limit {limit}")),
            line.margin.clone(),
        ];
        let place = match (line.place, line.due) {
            (Whereabouts::Out, Some(due)) => format!("due {due}"),
            (place, _) => place.words().to_owned(),
        };
        table.row([
            line.pack.clone(),
            line.make.clone(),
            line.play_h.map(|hours| format!("{hours:.1}")).unwrap_or_default(),
            place,
            line.rule.to_string(),
            parts.into_iter().flatten().collect::<Vec<_>>().join("; "),
        ]);
    }
    paper.table(&table);
}

fn readings(paper: &mut Paper, review: &Review) {
    paper.heading(&format!("Readings of the month: {}", review.readings.len()));
    let mut table = Table::new(vec![
        Column::text("day", 1.6),
        Column::text("pack", 2.8),
        Column::text("make", 1.7),
        Column::number("mAh", 0.9),
        Column::number("limit", 0.9),
        Column::number("play h", 1.0),
        Column::number("% of rated", 1.2),
        Column::text("slot", 1.2),
    ]);
    let number = |value: Option<f64>| value.map(|value| format!("{value:.1}")).unwrap_or_default();
    for line in &review.readings {
        table.row([
            line.day.to_string(),
            line.pack.clone(),
            line.make.clone(),
            line.capacity_mah.to_string(),
            line.limit_mah.map(|limit| limit.to_string()).unwrap_or_default(),
            number(line.play_h),
            number(line.health_percent),
            line.slot.clone().unwrap_or_default(),
        ]);
    }
    paper.table(&table);
}

fn odd(paper: &mut Paper, review: &Review) {
    paper.heading(&format!("Does not add up: {}", review.odd.len()));
    let mut table =
        Table::new(vec![Column::text("day", 1.2), Column::text("what", 2.4), Column::text("in words", 5.0)])
            .or_else_say("everything adds up");
    for odd in &review.odd {
        let day = odd.day.map(|day| day.to_string()).unwrap_or_default();
        table.row([day, odd.thing.clone(), odd.text.clone()]);
    }
    paper.table(&table);
}

fn sources(paper: &mut Paper, review: &Review) {
    paper.heading("What this was made from");
    paper.paragraph(&format!("Policy {}. The last entry of each chain and its hash:", review.policy));
    for head in &review.heads {
        paper.note(&format!("entry {} of {}: {}", head.number, head.writer, head.hash));
    }
}
