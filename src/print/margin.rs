//! What stands around the labels of a sheet: the line that tells what it is, a scale to measure, and marks to cut by.
//!
//! The line stands above the labels where there is room, else below; the scale in the other margin. Where a margin has no room, they
//! are left out. All move with the printer's drift, but the scale keeps its length. Marks to cut by are ticks that go on from the
//! edges of the labels, in margins and gutters only. Rolls have no margin and get nothing.

use super::canvas::{Canvas, Ink, Place};
use super::geometry::{Geometry, Kind};
use super::labels::{CAUTION, Drift, Marks, about};
use super::text::{Align, Style};
use super::typeface::{CAP_HEIGHT, DESCENT, Face, PT_PER_MM};

/// What office printers leave blank at the edges, mm. Common practice, no source.
const BLANK_MM: f32 = 5.0;
/// The type in the margin.
const LINE: Style = Style::new(Face::Regular, 9.0, Ink::Black);
/// What stays free between labels and what stands above or below them, mm.
const CLEAR_MM: f32 = 2.0;
/// The lengths that a scale may have, mm.
const SCALES: [(f32, &str); 2] = [(50.0, "50 mm"), (20.0, "20 mm")];
/// The scale's ends reach so far up and down, mm: about as high as the letters beside it.
const END_MM: f32 = 1.25;
/// The pen for scale and marks, mm.
const PEN_MM: f32 = 0.15;
/// A mark to cut by begins so far from a label, and is so long, mm.
const MARK_MM: (f32, f32) = (0.2, 2.0);

/// The margins of a page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Margin {
    Above,
    Below,
}

/// What the labels of a page leave free.
struct Room {
    left_mm: f32,
    right_mm: f32,
    above_mm: f32,
    below_mm: f32,
    low_mm: f32,
    marks: Marks,
}

/// Draws what stands around the labels of a page.
pub(super) fn draw(canvas: &mut Canvas, geometry: &Geometry, drift: &Drift, marks: Marks) {
    if geometry.kind() == Kind::Roll {
        return;
    }
    let [first, last] = [0, geometry.positions() - 1].map(|position| drift.shifted(geometry, position));
    let (width_mm, height_mm) = geometry.page_mm();
    let room = Room {
        left_mm: first.corner.x_mm.max(BLANK_MM + 2.0),
        right_mm: width_mm - BLANK_MM - 2.0,
        above_mm: first.corner.y_mm,
        below_mm: last.bottom_mm(),
        low_mm: height_mm - BLANK_MM,
        marks,
    };
    let taken = room.line(canvas, geometry);
    let free = [Margin::Below, Margin::Above].into_iter().filter(|margin| Some(*margin) != taken);
    let _drawn = free.into_iter().any(|margin| room.scale(canvas, margin));
    if marks == Marks::Cut {
        cut(canvas, geometry, drift);
    }
}

impl Room {
    /// How far marks to cut by reach from the labels.
    fn marks_mm(&self) -> f32 {
        if self.marks == Marks::Cut { MARK_MM.0 + MARK_MM.1 } else { 0.0 }
    }

    /// Tells what the sheet is; gives the margin in which it stands.
    fn line(&self, canvas: &mut Canvas, geometry: &Geometry) -> Option<Margin> {
        let capitals_mm = LINE.size_pt * CAP_HEIGHT / PT_PER_MM;
        let descent_mm = LINE.size_pt * DESCENT / PT_PER_MM;
        let clear_mm = CLEAR_MM.max(self.marks_mm() + descent_mm + 0.2);
        let (margin, baseline_mm) = if self.above_mm >= BLANK_MM + capitals_mm + clear_mm {
            (Margin::Above, self.above_mm - clear_mm)
        } else {
            let baseline_mm = self.below_mm + clear_mm + capitals_mm;
            (baseline_mm <= self.low_mm - 1.0).then_some((Margin::Below, baseline_mm))?
        };
        let texts = [about(geometry), CAUTION.to_owned()];
        let text = texts.iter().find(|text| self.holds(canvas, 0.0, text))?;
        canvas.text(Place::new(self.left_mm, baseline_mm), text, LINE, Align::Left);
        Some(margin)
    }

    /// True when a text fits beside something that is so wide.
    fn holds(&self, canvas: &Canvas, beside_mm: f32, text: &str) -> bool {
        self.left_mm + beside_mm + canvas.faces().width_mm(text, LINE) <= self.right_mm
    }

    /// Draws a scale with what to do by it, the longest that fits; false when none does.
    fn scale(&self, canvas: &mut Canvas, margin: Margin) -> bool {
        let clear_mm = CLEAR_MM.max(self.marks_mm() + 0.3) + END_MM;
        let half_mm = LINE.size_pt * CAP_HEIGHT / PT_PER_MM / 2.0;
        let foot_mm = half_mm + LINE.size_pt * DESCENT / PT_PER_MM;
        let (y_mm, fits) = match margin {
            Margin::Below => (self.below_mm + clear_mm, self.below_mm + clear_mm + foot_mm <= self.low_mm),
            Margin::Above => {
                let y_mm = self.above_mm - clear_mm - (foot_mm - END_MM).max(0.0);
                (y_mm, y_mm - half_mm.max(END_MM) >= BLANK_MM)
            }
        };
        let texts = SCALES.iter().flat_map(|&(length_mm, name)| {
            let advice = format!("{name}: if this is not {name} long, print again at 100 %.");
            [(length_mm, advice), (length_mm, name.to_owned())]
        });
        // No mark to cut by stands over an end.
        let in_mm = self.marks_mm();
        let beside_mm = |length_mm: f32| length_mm + 1.5;
        let chosen = texts
            .into_iter()
            .find(|(length_mm, text)| self.holds(canvas, in_mm + beside_mm(*length_mm), text));
        let Some((length_mm, text)) = chosen.filter(|_| fits) else { return false };
        let from = Place::new(self.left_mm + in_mm, y_mm);
        canvas.line(&[from, from.by(length_mm, 0.0)], PEN_MM, Ink::Black);
        // The outer edges of the ends are the length apart.
        for x_mm in [PEN_MM / 2.0, length_mm - PEN_MM / 2.0] {
            canvas.line(&[from.by(x_mm, -END_MM), from.by(x_mm, END_MM)], PEN_MM, Ink::Black);
        }
        canvas.text(from.by(beside_mm(length_mm), half_mm), &text, LINE, Align::Left);
        true
    }
}

/// Draws ticks that go on from every edge of the labels.
fn cut(canvas: &mut Canvas, geometry: &Geometry, drift: &Drift) {
    let (width_mm, height_mm) = geometry.page_mm();
    let labels: Vec<_> =
        (0..geometry.positions()).map(|position| drift.shifted(geometry, position)).collect();
    let across = spans(labels.iter().map(|label| (label.corner.x_mm, label.right_mm())));
    let down = spans(labels.iter().map(|label| (label.corner.y_mm, label.bottom_mm())));
    for (from_mm, to_mm) in ticks(&across, width_mm) {
        for y_mm in edges(&down) {
            canvas.line(&[Place::new(from_mm, y_mm), Place::new(to_mm, y_mm)], PEN_MM, Ink::Black);
        }
    }
    for (from_mm, to_mm) in ticks(&down, height_mm) {
        for x_mm in edges(&across) {
            canvas.line(&[Place::new(x_mm, from_mm), Place::new(x_mm, to_mm)], PEN_MM, Ink::Black);
        }
    }
}

/// What columns or rows take of the page, in order and each once.
fn spans(sides: impl Iterator<Item = (f32, f32)>) -> Vec<(f32, f32)> {
    let mut spans: Vec<(f32, f32)> = sides.collect();
    spans.sort_by(|one, other| one.0.total_cmp(&other.0));
    spans.dedup_by(|one, other| (one.0 - other.0).abs() < 0.01);
    spans
}

/// Where cuts go. Labels that touch share theirs.
fn edges(spans: &[(f32, f32)]) -> Vec<f32> {
    let mut edges: Vec<f32> = spans.iter().flat_map(|&(from_mm, to_mm)| [from_mm, to_mm]).collect();
    edges.sort_by(f32::total_cmp);
    edges.dedup_by(|one, other| (*one - *other).abs() < 0.05);
    edges
}

/// Ticks along one direction: from each span outwards, to the middle of a gutter at the most and never off the page.
fn ticks(spans: &[(f32, f32)], page_mm: f32) -> Vec<(f32, f32)> {
    let ends = spans.iter().map(|span| span.1);
    let starts = spans.iter().map(|span| span.0);
    // Before the first span and after the last the page's edge bounds the tick, between two the middle of the gutter.
    let before = std::iter::once(0.0).chain(ends.clone());
    let after = starts.clone().skip(1).chain([page_mm]);
    let back = before.zip(starts).enumerate().map(|(count, (wall_mm, from_mm))| {
        let free_mm = (from_mm - wall_mm) / if count == 0 { 1.0 } else { 2.0 };
        (from_mm - free_mm.min(MARK_MM.0 + MARK_MM.1), from_mm - MARK_MM.0)
    });
    let last = spans.len().saturating_sub(1);
    let forth = ends.zip(after).enumerate().map(|(count, (to_mm, wall_mm))| {
        let free_mm = (wall_mm - to_mm) / if count == last { 1.0 } else { 2.0 };
        (to_mm + MARK_MM.0, to_mm + free_mm.min(MARK_MM.0 + MARK_MM.1))
    });
    back.chain(forth).filter(|(from_mm, to_mm)| to_mm - from_mm > 0.1).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_keep_clear_of_labels_and_of_the_edge() {
        // Margins of 10 and 1 mm, a gutter of 3 mm, labels that touch.
        let spans = [(10.0, 40.0), (43.0, 70.0), (70.0, 99.0)];
        let seen: Vec<[i32; 2]> = ticks(&spans, 100.0)
            .into_iter()
            .map(|(from_mm, to_mm)| [from_mm, to_mm].map(|mm| format!("{:.0}", mm * 10.0).parse().unwrap()))
            .collect();
        assert_eq!(seen, [[78, 98], [415, 428], [402, 415], [992, 1000]]);
        assert_eq!(edges(&spans), [10.0, 40.0, 43.0, 70.0, 99.0]);
        assert_eq!(spans_of([(43.0, 70.0), (10.0, 40.0), (10.0, 40.0)]), [(10.0, 40.0), (43.0, 70.0)]);
    }

    fn spans_of<const N: usize>(sides: [(f32, f32); N]) -> Vec<(f32, f32)> {
        spans(sides.into_iter())
    }
}
