//! What a page holds, as the operators that PDF reads (ISO 32000-1, Annex A).
//!
//! Written straight as text: numbers as short as their precision allows, and an ink, a width or a typeface only where it changes.
//! Texts are glyph numbers of the embedded faces, two bytes each, which is how the faces are encoded ("Identity-H").

use std::fmt::{Display, Formatter, Write as _};

use super::canvas::{Area, Ink, Place};
use super::typeface::{Face, PT_PER_MM};

/// A rectangle of whole steps: left, top, width, height.
pub(super) type Cell = [i16; 4];

/// A page under the pen.
pub(super) struct Content {
    pub(super) width_mm: f32,
    pub(super) height_mm: f32,
    operators: String,
    fill: Option<Ink>,
    stroke: Option<Ink>,
    width: Option<Points>,
    font: Option<(Face, Points)>,
    /// Where the last text began, while texts follow each other: the next is told by its distance.
    pen: Option<(Points, Points)>,
}

impl Content {
    /// A page without ink.
    pub(super) const fn new(width_mm: f32, height_mm: f32) -> Self {
        Self {
            width_mm,
            height_mm,
            operators: String::new(),
            fill: None,
            stroke: None,
            width: None,
            font: None,
            pen: None,
        }
    }

    /// The operators.
    pub(super) fn into_bytes(mut self) -> Vec<u8> {
        self.end_texts();
        self.operators.into_bytes()
    }

    /// Fills a rectangle.
    pub(super) fn fill(&mut self, area: &Area, ink: Ink) {
        self.end_texts();
        self.fill_with(ink);
        let (x, y) = self.point(area.corner.by(0.0, area.height_mm));
        self.push(format_args!("{x} {y} {} {} re f", length(area.width_mm), length(area.height_mm)));
    }

    /// Fills the shape between places by the even-odd rule.
    pub(super) fn shape(&mut self, places: &[Place], ink: Ink) {
        self.end_texts();
        self.fill_with(ink);
        self.path(places);
        self.push(format_args!("f*"));
    }

    /// Fills rectangles of whole steps, x to the right and y down from a corner, as one path.
    pub(super) fn fill_cells(&mut self, corner: Place, step_mm: f32, cells: &[Cell], ink: Ink) {
        self.end_texts();
        self.fill_with(ink);
        let (x, y) = self.point(corner);
        let step = (step_mm * PT_PER_MM * 1e5).round() / 1e5;
        self.push(format_args!("q {step} 0 0 -{step} {x} {y} cm"));
        for [x, y, width, height] in cells {
            self.push(format_args!("{x} {y} {width} {height} re"));
        }
        self.push(format_args!("f Q"));
    }

    /// Draws a line through places.
    pub(super) fn line(&mut self, places: &[Place], closed: bool, width_mm: f32, ink: Ink) {
        self.end_texts();
        if self.stroke != Some(ink) {
            self.stroke = Some(ink);
            self.push(format_args!("{} RG", Colour(ink)));
        }
        let width = length(width_mm);
        if self.width != Some(width) {
            self.width = Some(width);
            self.push(format_args!("{width} w"));
        }
        self.path(places);
        self.push(format_args!("{}", if closed { 's' } else { 'S' }));
    }

    fn path(&mut self, places: &[Place]) {
        let mut operator = 'm';
        for &place in places {
            let (x, y) = self.point(place);
            self.push(format_args!("{x} {y} {operator}"));
            operator = 'l';
        }
    }

    /// Shows glyphs with their baseline at a place.
    pub(super) fn glyphs(&mut self, place: Place, face: Face, size_pt: f32, ink: Ink, glyphs: &[u16]) {
        self.fill_with(ink);
        let place = self.point(place);
        let from = self.pen.replace(place).unwrap_or_else(|| {
            self.push(format_args!("BT"));
            (Points(0.0), Points(0.0))
        });
        let font = (face, Points::of(size_pt));
        if self.font != Some(font) {
            self.font = Some(font);
            self.push(format_args!("/{} {} Tf", resource(face), font.1));
        }
        let (right, up) = (Points::of(place.0.0 - from.0.0), Points::of(place.1.0 - from.1.0));
        self.push(format_args!("{right} {up} Td <{}> Tj", Codes(glyphs)));
    }

    fn end_texts(&mut self) {
        if self.pen.take().is_some() {
            self.push(format_args!("ET"));
        }
    }

    fn fill_with(&mut self, ink: Ink) {
        if self.fill != Some(ink) {
            self.fill = Some(ink);
            self.push(format_args!("{} rg", Colour(ink)));
        }
    }

    /// A place as PDF counts: points from the lower left corner.
    fn point(&self, place: Place) -> (Points, Points) {
        (length(place.x_mm), length(self.height_mm - place.y_mm))
    }

    fn push(&mut self, operator: std::fmt::Arguments<'_>) {
        // Writing to a string cannot fail.
        let _infallible = writeln!(self.operators, "{operator}");
    }
}

/// The name under which pages know a face.
pub(super) const fn resource(face: Face) -> &'static str {
    match face {
        Face::Regular => "R",
        Face::Bold => "B",
        Face::Code => "C",
    }
}

fn length(mm: f32) -> Points {
    Points::of(mm * PT_PER_MM)
}

/// A length in points, rounded to 0.002 mm so that the page stays short.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Points(f32);

impl Points {
    fn of(pt: f32) -> Self {
        // Adding 0 takes the sign off a zero.
        Self((pt * 200.0).round() / 200.0 + 0.0)
    }
}

impl Display for Points {
    fn fmt(&self, formatter: &mut Formatter<'_>) -> std::fmt::Result {
        self.0.fmt(formatter)
    }
}

struct Colour(Ink);

impl Display for Colour {
    fn fmt(&self, formatter: &mut Formatter<'_>) -> std::fmt::Result {
        // Three decimals are finer than 8 bits.
        let [r, g, b] = self.0.rgb().map(|part| (f32::from(part) / 0.255).round() / 1000.0);
        write!(formatter, "{r} {g} {b}")
    }
}

struct Codes<'a>(&'a [u16]);

impl Display for Codes<'_> {
    fn fmt(&self, formatter: &mut Formatter<'_>) -> std::fmt::Result {
        self.0.iter().try_for_each(|glyph| write!(formatter, "{glyph:04x}"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn operators_are_short_and_say_nothing_twice() {
        let mut content = Content::new(25.4, 25.4);
        let area = Area::new(Place::new(0.0, 12.7), 6.35, 12.7);
        content.fill(&area, Ink::Black);
        content.fill(&area, Ink::Black);
        content.line(&[Place::new(0.0, 25.4), Place::new(2.54, 0.0)], false, 0.254, Ink::Black);
        content.line(&[Place::new(0.0, 0.0), Place::new(2.54, 0.0)], true, 0.254, Ink::White);
        content.shape(&[Place::new(0.0, 0.0), Place::new(2.54, 0.0), Place::new(0.0, 25.4)], Ink::Black);
        content.glyphs(Place::new(1.0, 25.4), Face::Code, 9.5, Ink::Black, &[15, 0x1a2]);
        content.glyphs(Place::new(-0.0001, 25.4), Face::Code, 9.5, Ink::Grey, &[15]);
        content.fill_cells(Place::new(0.0, 0.0), 0.3, &[[0, 0, 7, 1], [-1, 20, 1, 1]], Ink::Grey);
        let expected = "0 0 0 rg\n0 0 18 36 re f\n0 0 18 36 re f\n0 0 0 RG\n0.72 w\n0 0 m\n7.2 72 l\nS\n\
            1 1 1 RG\n0 72 m\n7.2 72 l\ns\n0 72 m\n7.2 72 l\n0 0 l\nf*\nBT\n/C 9.5 Tf\n2.835 0 Td <000f01a2> Tj\n\
            0.329 0.345 0.361 rg\n-2.835 0 Td <000f> Tj\nET\n\
            q 0.85039 0 0 -0.85039 0 72 cm\n0 0 7 1 re\n-1 20 1 1 re\nf Q\n";
        assert_eq!(String::from_utf8(content.into_bytes()).unwrap(), expected);
    }
}
