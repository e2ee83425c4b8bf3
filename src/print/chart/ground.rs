//! What charts are drawn on: a page, or a picture of its own.

use super::super::canvas::{Area, Canvas, Ink, Place};
use super::super::text::{Align, Faces, Style};
use super::super::typeface::PT_PER_MM;

/// Distance between the lines of a hatch, measured along an edge, mm.
const HATCH_MM: f32 = 1.3;

/// How a line is drawn.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stroke {
    pub(super) width_mm: f32,
    pub(super) ink: Ink,
    /// Lengths of dashes and gaps in turn, mm; none for a whole line.
    pub(super) dashes_mm: &'static [f32],
}

impl Stroke {
    pub(super) const fn whole(width_mm: f32, ink: Ink) -> Self {
        Self { width_mm, ink, dashes_mm: &[] }
    }
}

/// What charts are drawn on.
pub(super) trait Ground {
    fn faces(&self) -> &Faces;
    fn line(&mut self, places: &[Place], stroke: Stroke);
    fn fill(&mut self, area: &Area, ink: Ink);
    fn shape(&mut self, places: &[Place], ink: Ink);
    fn text(&mut self, place: Place, text: &str, style: Style, align: Align);

    /// Many short lines of one stroke.
    fn hatch(&mut self, pieces: &[[Place; 2]], stroke: Stroke) {
        for piece in pieces {
            self.line(piece, stroke);
        }
    }

    /// Begins what belongs together: of which kind it is, and what it shows.
    fn open(&mut self, _kind: &str, _name: &str) {}

    /// Ends what was opened last.
    fn close(&mut self) {}
}

impl Ground for Canvas {
    fn faces(&self) -> &Faces {
        Self::faces(self)
    }

    fn line(&mut self, places: &[Place], stroke: Stroke) {
        if stroke.dashes_mm.is_empty() {
            Self::line(self, places, stroke.width_mm, stroke.ink);
        } else {
            for dash in dashes(places, stroke.dashes_mm) {
                Self::line(self, &dash, stroke.width_mm, stroke.ink);
            }
        }
    }

    fn fill(&mut self, area: &Area, ink: Ink) {
        Self::fill(self, area, ink);
    }

    fn shape(&mut self, places: &[Place], ink: Ink) {
        Self::shape(self, places, ink);
    }

    fn text(&mut self, place: Place, text: &str, style: Style, align: Align) {
        Self::text(self, place, text, style, align);
    }
}

/// The pieces of a line with gaps.
fn dashes(places: &[Place], lengths_mm: &[f32]) -> Vec<Vec<Place>> {
    let mut lengths = lengths_mm.iter().copied().cycle();
    let (mut left, mut drawing) = (lengths.next().unwrap_or(f32::INFINITY), true);
    let mut done = Vec::new();
    let mut dash: Vec<Place> = places.first().copied().into_iter().collect();
    for pair in places.windows(2) {
        let &[from, to] = pair else { continue };
        let (dx, dy) = (to.x_mm - from.x_mm, to.y_mm - from.y_mm);
        let length = dx.hypot(dy);
        let mut gone = 0.0;
        while length - gone > left {
            gone += left;
            let place = from.by(dx * gone / length, dy * gone / length);
            if drawing {
                dash.push(place);
                done.push(std::mem::take(&mut dash));
            }
            dash = vec![place];
            drawing = !drawing;
            left = lengths.next().unwrap_or(f32::INFINITY);
        }
        left -= length - gone;
        if drawing {
            dash.push(to);
        }
    }
    if drawing && dash.len() > 1 {
        done.push(dash);
    }
    done
}

/// Fills an area with slanting lines. Those of areas side by side meet.
pub(super) fn hatch(ground: &mut dyn Ground, area: &Area, ink: Ink) {
    let (left, right) = (area.corner.x_mm, area.right_mm());
    let (top, bottom) = (area.corner.y_mm, area.bottom_mm());
    let mut sum = ((left + top) / HATCH_MM).ceil() * HATCH_MM;
    let mut pieces = Vec::new();
    while sum < right + bottom {
        let (from, to) = (left.max(sum - bottom), right.min(sum - top));
        pieces.push([Place::new(from, sum - from), Place::new(to, sum - to)]);
        sum += HATCH_MM;
    }
    if !pieces.is_empty() {
        ground.hatch(&pieces, Stroke::whole(0.25, ink));
    }
}

/// The area that a line of text takes, from the start of its baseline.
pub(super) fn text_area(start: Place, width_mm: f32, style: Style) -> Area {
    let size_mm = style.size_pt / PT_PER_MM;
    Area::new(start.by(0.0, -0.75 * size_mm), width_mm, 0.98 * size_mm)
}

/// The width of the widest text, mm.
pub(super) fn widest<'a>(ground: &dyn Ground, texts: impl IntoIterator<Item = &'a str>, style: Style) -> f32 {
    texts.into_iter().map(|text| ground.faces().width_mm(text, style)).fold(0.0, f32::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dashes_go_on_around_corners() {
        let corner = [Place::new(0.0, 0.0), Place::new(3.0, 0.0), Place::new(3.0, 4.0)];
        let pieces = dashes(&corner, &[2.0, 0.5]);
        assert_eq!(pieces.len(), 3);
        assert_eq!(pieces[0], [Place::new(0.0, 0.0), Place::new(2.0, 0.0)]);
        assert_eq!(pieces[1], [Place::new(2.5, 0.0), corner[1], Place::new(3.0, 1.5)]);
        assert_eq!(pieces[2], [Place::new(3.0, 2.0), Place::new(3.0, 4.0)]);
    }
}
