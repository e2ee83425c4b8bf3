//! A study of the bench on paper: what to scan at each visit, and what came of it.

use crate::app::study::{Outcome, Report, Run};
use crate::domain::tag::Tag;

use super::canvas::{Area, Canvas, Ink, Place, count};
use super::paper::Paper;
use super::qr::Symbol;
use super::slots::bias;
use super::table::{Column, Table};
use super::text::{Align, Style};
use super::typeface::Face;
use super::{PageSize, PrintError};

const MODULE_MM: f32 = 0.55;
const ACROSS: usize = 4;
const CELL_MM: f32 = 30.0;
const NAME: Style = Style::new(Face::Bold, 10.0, Ink::Black);
const CODE: Style = Style::new(Face::Code, 9.0, Ink::Black);

/// Prints a study: its tags, its visits with room for what was read, and its result once that is there.
///
/// # Errors
/// [`PrintError`] when the embedded typeface is damaged or the file cannot be made.
pub fn paper(study: &Report, size: PageSize) -> Result<Vec<u8>, PrintError> {
    let subtitle = format!(
        "planned {}; {} packs, {} slots, each pack {} times in each slot: {} of {} readings are there",
        study.planned,
        study.packs.len(),
        study.slots.len(),
        study.repeats,
        study.read,
        study.runs
    );
    let mut paper = Paper::new(size, &format!("Study of the bench: {}", study.name), &subtitle)?;
    for warning in &study.warnings {
        paper.callout(warning);
    }
    if let Some(result) = &study.result {
        outcome(&mut paper, result);
    }
    paper.heading("What to do");
    paper.paragraph(
        "At each visit, scan each slot and then its pack, at the bench as always (packmuster bench). When the runs are done, enter \
         their results, and begin the next visit. Charge nothing in between and lend none of the packs; do not recondition them. \
         A run without a result is begun again: the first readings of each pack in each slot count.",
    );
    visits(&mut paper, study);
    tags(&mut paper, study)?;
    paper.finish()
}

fn visits(paper: &mut Paper, study: &Report) {
    paper.heading("Visits");
    let mut table = Table::new(vec![
        Column::number("visit", 0.7),
        Column::text("slot", 1.8),
        Column::text("pack", 3.0),
        Column::number("read, mAh", 1.4),
    ]);
    for (number, visit) in study.visits.iter().enumerate() {
        for (place, Run { slot, pack, read_mah }) in visit.iter().enumerate() {
            let first = if place == 0 { (number + 1).to_string() } else { String::new() };
            table.row([
                first,
                slot.clone(),
                pack.clone(),
                read_mah.map_or_else(|| "..........".to_owned(), |read| read.to_string()),
            ]);
        }
    }
    paper.table(&table);
}

/// The tags of slots and packs, for those that hang out of the scanner's reach.
fn tags(paper: &mut Paper, study: &Report) -> Result<(), PrintError> {
    paper.heading("Tags");
    let slots = study.slots.iter().map(|(name, code)| (name.clone(), code.clone()));
    let packs = study.packs.iter().enumerate().map(|(n, code)| (format!("pack {}", n + 1), code.clone()));
    let all: Vec<(String, String)> = slots.chain(packs).collect();
    let mut symbols = Vec::new();
    for (name, code) in all {
        // What has no tag of ours is typed, or scanned from the thing itself.
        let symbol = code.parse::<Tag>().ok().map(|tag| Symbol::of_tag(&tag)).transpose()?;
        symbols.push((name, code, symbol));
    }
    for row in symbols.chunks(ACROSS) {
        paper.drawing(CELL_MM, |canvas, area| {
            for (column, cell) in row.iter().enumerate() {
                draw(canvas, area, count(column) * area.width_mm / count(ACROSS), cell);
            }
        });
    }
    Ok(())
}

fn draw(
    canvas: &mut Canvas,
    area: &Area,
    left_mm: f32,
    (name, code, symbol): &(String, String, Option<Symbol>),
) {
    let corner = Place::new(area.corner.x_mm + left_mm, area.corner.y_mm);
    if let Some(symbol) = symbol {
        symbol.draw(canvas, corner, MODULE_MM);
    }
    let width_mm = area.width_mm / count(ACROSS) - 2.0;
    let name = canvas.faces().shorten(name, NAME, width_mm);
    canvas.text(corner.by(0.0, CELL_MM - 6.0), &name, NAME, Align::Left);
    canvas.text(corner.by(0.0, CELL_MM - 1.5), code, CODE, Align::Left);
}

fn outcome(paper: &mut Paper, result: &Outcome) {
    let mah = |value: f64| format!("{value:.1} mAh");
    let (again, slots, packs) = (mah(result.repeatability_mah), mah(result.slots_mah), mah(result.packs_mah));
    let classes = result.classes.map_or_else(|| "all".to_owned(), |classes| format!("{classes:.0}"));
    paper.figures(&[
        ("the same pack again, same slot", &again),
        ("from slot to slot", &slots),
        ("from pack to pack", &packs),
        ("classes of packs it tells apart", &classes),
    ]);
    for line in words(result) {
        paper.paragraph(&line);
    }
    let mut table = Table::new(vec![
        Column::text("slot", 2.0),
        Column::number("bias, mAh (95 % for all of them)", 3.0),
        Column::text("", 2.6),
    ]);
    for found in &result.biases {
        table.row([
            found.slot.clone(),
            bias(Some(found.bias_mah), Some(found.low_mah), Some(found.high_mah)),
            if found.off { "reads otherwise than the others".to_owned() } else { String::new() },
        ]);
    }
    paper.table(&table);
    paper.note(
        "Analysis of variance of a crossed study (AIAG, Measurement Systems Analysis; Montgomery, Introduction to Statistical Quality \
         Control). Biases are against the mean of the study's slots: what all of them read too much cannot show.",
    );
}

/// What a study says, in sentences.
pub fn words(result: &Outcome) -> Vec<String> {
    let mut lines = vec![format!(
        "The bench makes {:.1} % of the variance of its readings ({:.0} % of their deviation): {:.1} mAh.",
        result.bench_of_variance_percent, result.bench_of_deviation_percent, result.bench_mah
    )];
    lines.push(match (result.interaction_mah, result.interaction_p) {
        (Some(interaction), Some(p)) => format!(
            "Some slots read some packs otherwise than others do: {interaction:.1} mAh (chance by noise alone {}).",
            chance(p)
        ),
        (_, Some(p)) => format!("No slot favours some packs (chance by noise alone {}).", chance(p)),
        _ => "No slot favours some packs.".to_owned(),
    });
    let off: Vec<&str> =
        result.biases.iter().filter(|bias| bias.off).map(|bias| bias.slot.as_str()).collect();
    lines.push(if off.is_empty() {
        "No slot reads otherwise than the others, as far as these readings tell.".to_owned()
    } else {
        format!("Reads otherwise than the others: {}.", off.join(", "))
    });
    lines
}

fn chance(p: f64) -> String {
    if p < 0.001 { "below 0.001".to_owned() } else { format!("{p:.3}") }
}
