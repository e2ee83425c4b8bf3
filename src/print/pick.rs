//! The dispatch sheet of a list: what is fetched where, into which player it goes, and a box to tick.

use crate::app::pick::List;

use super::paper::Paper;
use super::table::{Column, Table};
use super::{PageSize, PrintError};

/// Prints a list, in the order of the shelves.
///
/// # Errors
/// [`PrintError`] when the embedded typeface is damaged or the file cannot be made.
pub fn paper(list: &List, size: PageSize) -> Result<Vec<u8>, PrintError> {
    let subtitle = format!("made on {}, {} of {} are out", list.made, list.done, list.lines.len());
    let mut paper = Paper::new(size, &format!("Dispatch: {}", list.name), &subtitle)?;
    paper.note(
        "In the order of the shelves. Scan pack and player at dispatch: the scan ticks the line, and what it says then counts. A \
         verdict here is as of the making of this sheet.",
    );
    let mut table = Table::new(vec![
        Column::text("out", 0.95),
        Column::text("fetch from", 1.9),
        Column::text("pack", 3.75),
        Column::text("make", 1.7),
        Column::text("verdict", 1.7),
        Column::number("play h", 1.0),
        Column::text("into player", 3.75),
        Column::text("due", 2.25),
    ])
    .or_else_say("nothing is listed");
    for line in &list.lines {
        let verdict = line.verdict.map(|verdict| verdict.to_string()).unwrap_or_default();
        let player = line.player.clone().unwrap_or_else(|| format!("any free {}", line.player_make));
        table.row([
            if line.done { "[x]" } else { "[  ]" }.to_owned(),
            line.place.clone(),
            line.pack.clone(),
            line.make.clone(),
            verdict,
            line.play_h.map(|hours| format!("{hours:.1}")).unwrap_or_default(),
            player,
            line.due.to_string(),
        ]);
    }
    paper.table(&table);
    paper.finish()
}
