//! The papers of a consignment: the manifest, a sheet of its own for damaged packs, cautions, and a label for each box.

use crate::app::answer::count;
use crate::app::consignment::{Container, Item, Manifest, Row};
use crate::domain::finding::CAUTIONS;
use crate::domain::make::Chemistry;
use crate::domain::waste::Condition;

use super::canvas::{Area, Canvas, Ink, Place};
use super::paper::Paper;
use super::table::{Column, Table};
use super::text::{Align, Style};
use super::typeface::Face;
use super::{PageSize, PrintError};

/// What is said of all marks and figures.
pub const DECIDES: &str = "Marks, numbers and limits stand in the policy and are help, not legal advice: local rules, your safety \
officer and the licensed carrier decide.";

/// Height of the label of a box, mm: two to a page.
const LABEL_MM: f32 = 112.0;
const MARK: Style = Style::new(Face::Bold, 26.0, Ink::Black);
const KIND: Style = Style::new(Face::Bold, 20.0, Ink::Black);
const LINE: Style = Style::new(Face::Regular, 13.0, Ink::Black);

/// The chemistry in words.
pub fn chemistry(chemistry: Option<Chemistry>) -> String {
    chemistry.map_or_else(|| "unknown".to_owned(), |chemistry| chemistry.to_string())
}

/// A mass in kilograms for a table, and how many packs it leaves out.
pub fn mass(mass_g: u64, without: u32) -> String {
    let text = format!("{}.{:02}", mass_g / 1000, mass_g % 1000 / 10);
    match (mass_g, without) {
        (_, 0) => text,
        (0, _) => "unknown".to_owned(),
        _ => format!("{text} and {without} unknown"),
    }
}

/// The same in a sentence.
pub fn weight(mass_g: u64, without: u32) -> String {
    let packs = count(usize::try_from(without).unwrap_or(usize::MAX), "pack", "packs");
    match (mass_g, without) {
        (_, 0) => format!("{} kg", mass(mass_g, 0)),
        (0, _) => "mass unknown".to_owned(),
        _ => format!("{} kg and {packs} of unknown mass", mass(mass_g, 0)),
    }
}

/// Prints the papers of a consignment.
///
/// # Errors
/// [`PrintError`] when the embedded typeface is damaged or the file cannot be made.
pub fn paper(manifest: &Manifest, size: PageSize) -> Result<Vec<u8>, PrintError> {
    let left = match (manifest.left, &manifest.reference) {
        (Some(left), Some(reference)) => format!("left on {left} under {reference}"),
        (Some(left), None) => format!("left on {left}"),
        (None, _) => format!("opened on {}, has not left", manifest.opened),
    };
    let subtitle = format!("for {}, {left}", manifest.handler);
    let mut paper = Paper::new(size, &format!("Consignment {}", manifest.name), &subtitle)?;
    let damaged: Vec<&Item> =
        manifest.packs.iter().filter(|item| item.condition == Condition::Damaged).collect();
    let sound: Vec<&Item> = manifest.packs.iter().filter(|item| item.condition == Condition::Sound).collect();
    figures(&mut paper, manifest, damaged.len());
    kinds(&mut paper, &manifest.rows);
    paper.note(&format!("By {}. {DECIDES}", manifest.rules));
    boxes(&mut paper, &manifest.boxes);
    signatures(&mut paper);
    paper.heading(&format!("Sound packs: {}", sound.len()));
    packs(&mut paper, &sound);
    if !damaged.is_empty() {
        paper.break_page();
        paper.heading(&format!("Damaged packs: {}", damaged.len()));
        paper.callout(CAUTIONS);
        for row in manifest.rows.iter().filter(|row| row.condition == Condition::Damaged) {
            for note in &row.notes {
                paper.note(&format!("{}: {note}.", chemistry(row.chemistry)));
            }
        }
        packs(&mut paper, &damaged);
        paper.note(DECIDES);
    }
    cautions(&mut paper);
    for (place, container) in manifest.boxes.iter().enumerate() {
        if place % 2 == 0 {
            paper.break_page();
        }
        paper.drawing(LABEL_MM, |canvas, area| label(canvas, area, manifest, container));
    }
    paper.finish()
}

fn figures(paper: &mut Paper, manifest: &Manifest, damaged: usize) {
    let packs = manifest.packs.len().to_string();
    let mass_g = manifest.rows.iter().map(|row| row.mass_g).sum();
    let without = manifest.rows.iter().map(|row| row.without_mass).sum();
    let energy: f64 = manifest.rows.iter().map(|row| row.energy_wh).sum();
    paper.figures(&[
        ("packs", &packs),
        ("of them damaged", &damaged.to_string()),
        ("kg", &mass(mass_g, without)),
        ("Wh, rated", &format!("{energy:.1}")),
    ]);
}

fn kinds(paper: &mut Paper, rows: &[Row]) {
    paper.heading("By chemistry and condition");
    let mut table = Table::new(vec![
        Column::text("chemistry", 1.3),
        Column::text("condition", 1.3),
        Column::number("packs", 1.0),
        Column::number("kg", 1.4),
        Column::number("Wh", 0.9),
        Column::number("largest Wh", 1.0),
        Column::text("UN number", 1.1),
        Column::text("note", 3.6),
    ])
    .or_else_say("nothing is packed yet");
    for row in rows {
        table.row([
            chemistry(row.chemistry),
            row.condition.to_string(),
            row.packs.to_string(),
            mass(row.mass_g, row.without_mass),
            format!("{:.1}", row.energy_wh),
            format!("{:.2}", row.largest_wh),
            row.un.clone().unwrap_or_else(|| "none".to_owned()),
            row.notes.join("; "),
        ]);
    }
    paper.table(&table);
}

fn boxes(paper: &mut Paper, boxes: &[Container]) {
    paper.heading(&format!("Boxes: {}", boxes.len()));
    let mut table = Table::new(vec![
        Column::number("box", 0.6),
        Column::text("chemistry", 1.2),
        Column::text("condition", 1.2),
        Column::number("packs", 0.8),
        Column::number("kg", 1.3),
        Column::number("Wh", 0.9),
        Column::text("UN number", 1.1),
        Column::text("waste since", 1.3),
    ])
    .or_else_say("no box is begun yet");
    for container in boxes {
        table.row([
            container.number.to_string(),
            chemistry(container.chemistry),
            container.condition.to_string(),
            container.packs.to_string(),
            mass(container.mass_g, container.without_mass),
            format!("{:.1}", container.energy_wh),
            container.un.clone().unwrap_or_else(|| "none".to_owned()),
            container.since.to_string(),
        ]);
    }
    paper.table(&table);
}

/// Lines on which those who hand over and take over sign.
fn signatures(paper: &mut Paper) {
    paper.drawing(22.0, |canvas, area| {
        let width_mm = (area.width_mm - 10.0) / 2.0;
        for (count, who) in [(0.0, "handed over by, on"), (1.0, "taken over by, on")] {
            let left = area.corner.by(count * (width_mm + 10.0), 14.0);
            canvas.line(&[left, left.by(width_mm, 0.0)], 0.2, Ink::Black);
            let style = Style::new(Face::Regular, 9.0, Ink::Grey);
            canvas.text(left.by(0.0, 4.5), who, style, Align::Left);
        }
    });
}

fn packs(paper: &mut Paper, items: &[&Item]) {
    let mut table = Table::new(vec![
        Column::text("pack", 2.4),
        Column::text("make", 1.7),
        Column::text("chemistry", 1.2),
        Column::number("Wh", 0.8),
        Column::number("g", 0.7),
        Column::number("box", 0.6),
        Column::text("waste since", 1.4),
        Column::text("seen on it", 1.8),
    ]);
    for item in items {
        table.row([
            item.pack.clone(),
            item.make.clone(),
            chemistry(item.chemistry),
            item.energy_wh.map(|energy| format!("{energy:.2}")).unwrap_or_default(),
            item.mass_g.map(|mass| mass.to_string()).unwrap_or_default(),
            item.number.to_string(),
            item.since.to_string(),
            item.seen.clone(),
        ]);
    }
    paper.table(&table);
}

fn cautions(paper: &mut Paper) {
    paper.break_page();
    paper.heading("Cautions for everybody who handles these boxes");
    paper.callout("Packs can burn and poison, also when they are dead.");
    for text in [
        "Tape the terminals of every pack, or bag each by itself: two that touch can start a fire.",
        "One chemistry to a box. Damaged packs never with sound ones.",
        "Keep the boxes dry and cool, closed, away from people's ways and from things that burn; not in the sun, not in \
         a car that stands.",
        "Do not press, open, pierce or charge a pack. Do not drop a box; nothing heavy on top.",
        "Swollen, leaking, cracked or hot: keep it apart, in a closed container that suits it, outside if that can be, and \
         ask a trained person. Gloves and glasses for what leaks; do not breathe the fumes.",
        "Smoke or fire: leave, warn others, call the fire service, and say that there are batteries and of what chemistry.",
        "After handling leaking packs wash your hands; skin or eyes: rinse long with water, and see a doctor.",
    ] {
        paper.paragraph(&format!("- {text}"));
    }
    paper.note(DECIDES);
}

/// The label of a box, with a frame to cut along.
fn label(canvas: &mut Canvas, area: &Area, manifest: &Manifest, container: &Container) {
    canvas.outline(area, 0.4, Ink::Black);
    let left = area.corner.by(8.0, 0.0);
    let room_mm = area.width_mm - 16.0;
    let mut down_mm = 14.0;
    for line in canvas.faces().wrap(&manifest.label, MARK, room_mm) {
        canvas.text(left.by(0.0, down_mm), &line, MARK, Align::Left);
        down_mm += MARK.leading_mm();
    }
    let mut kind = chemistry(container.chemistry);
    if container.condition == Condition::Damaged {
        kind.push_str(" - DAMAGED");
    }
    canvas.text(left.by(0.0, down_mm + 2.0), &kind, KIND, Align::Left);
    down_mm += KIND.leading_mm() + 4.0;
    let lines = [
        format!("box {} of {}, consignment {}", container.number, manifest.boxes.len(), manifest.name),
        format!("for {}", manifest.handler),
        format!(
            "{}, {}, {:.1} Wh",
            count(usize::try_from(container.packs).unwrap_or(usize::MAX), "pack", "packs"),
            weight(container.mass_g, container.without_mass),
            container.energy_wh
        ),
        format!("waste since {}", container.since),
        container.un.clone().unwrap_or_default(),
    ];
    for text in &lines {
        let text = canvas.faces().shorten(text, LINE, room_mm);
        canvas.text(left.by(0.0, down_mm), &text, LINE, Align::Left);
        down_mm += LINE.leading_mm() + 0.8;
    }
    let note = if container.condition == Condition::Damaged {
        CAUTIONS
    } else {
        "Terminals taped. Keep dry, cool and closed."
    };
    let style = Style { size_pt: 10.5, ..LINE };
    for line in canvas.faces().wrap(note, style, room_mm) {
        canvas.text(left.by(0.0, down_mm + 2.0), &line, style, Align::Left);
        down_mm += style.leading_mm();
    }
    let corner = Place::new(area.right_mm() - 8.0, area.bottom_mm() - 6.0);
    let number = Style { size_pt: 48.0, ..MARK };
    canvas.text(corner, &container.number.to_string(), number, Align::Right);
}
