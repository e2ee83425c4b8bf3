//! The operating characteristic of a sampling plan, as a picture or on paper.

use crate::app::sampling::Study;

use super::chart::{Chart, Look, Series};
use super::paper::Paper;
use super::table::{Column, Table};
use super::{PageSize, PrintError};

const CHART_MM: f32 = 92.0;

/// Draws how often a carton is accepted, by how many of its packs are bad.
pub fn chart(study: &Study) -> Chart {
    let title = format!("Sampling of a carton of {}", study.lot);
    Chart::new(title, "per cent of the carton's packs that are bad", "accepted, times in 100")
        .series(Series::new("", Look::Line, study.line.clone()))
        .upright(0.0, 100.0)
}

/// Prints a plan with its operating characteristic.
///
/// # Errors
/// [`PrintError`] when the embedded typeface is damaged or the file cannot be made.
pub fn paper(study: &Study, size: PageSize) -> Result<Vec<u8>, PrintError> {
    let mut paper = Paper::new(size, "A sampling plan", &format!("for a carton of {} packs", study.lot))?;
    for line in study.plan.iter().chain(&study.risks) {
        paper.paragraph(line);
    }
    let chart = chart(study);
    paper.drawing(CHART_MM, |canvas, area| chart.draw(canvas, area));
    let mut table = Table::new(vec![
        Column::number("bad packs", 1.0),
        Column::number("per cent bad", 1.0),
        Column::number("accepted, %", 1.0),
        Column::number("read on average", 1.2),
    ]);
    for chance in &study.curve {
        table.row([
            chance.bad.to_string(),
            format!("{:.1}", chance.bad_percent),
            format!("{:.1}", chance.accepted_percent),
            format!("{:.1}", chance.read_on_average),
        ]);
    }
    paper.table(&table);
    paper.note("Exact for the carton's size (hypergeometric law).");
    paper.finish()
}
