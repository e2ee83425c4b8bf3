//! The same strokes and texts as an SVG picture: one unit is a millimetre.

use std::fmt::Write as _;

use super::super::PrintError;
use super::super::canvas::{Area, Ink, Place};
use super::super::text::{Align, Faces, Style};
use super::super::typeface::{Face, PT_PER_MM};
use super::Ground;

/// A growing picture.
pub(super) struct Svg {
    faces: Faces,
    text: String,
}

impl Svg {
    /// Begins a picture of a size in mm, with a title for those who do not see it.
    ///
    /// # Errors
    /// [`PrintError::Typeface`] when the embedded typeface is damaged.
    pub(super) fn new(width_mm: f32, height_mm: f32, title: &str) -> Result<Self, PrintError> {
        let text = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width_mm}mm\" height=\"{height_mm}mm\" \
             viewBox=\"0 0 {width_mm} {height_mm}\" role=\"img\" font-family=\"sans-serif\">\n\
             <title>{}</title>\n<rect width=\"100%\" height=\"100%\" fill=\"#ffffff\"/>\n",
            escaped(title)
        );
        Ok(Self { faces: Faces::load()?, text })
    }

    pub(super) fn finish(mut self) -> String {
        self.text.push_str("</svg>\n");
        self.text
    }

    fn put(&mut self, element: std::fmt::Arguments<'_>) {
        let _infallible = writeln!(self.text, "{element}");
    }
}

fn colour(ink: Ink) -> String {
    let [red, green, blue] = ink.rgb();
    format!("#{red:02x}{green:02x}{blue:02x}")
}

/// Hundredths of a millimetre are fine enough, and keep the file short.
fn fine(mm: f32) -> f32 {
    (mm * 100.0).round() / 100.0
}

fn escaped(text: &str) -> String {
    text.chars()
        .filter(|character| !character.is_control())
        .map(|character| match character {
            '&' => "&amp;".to_owned(),
            '<' => "&lt;".to_owned(),
            '>' => "&gt;".to_owned(),
            '"' => "&quot;".to_owned(),
            other => other.to_string(),
        })
        .collect()
}

impl Ground for Svg {
    fn faces(&self) -> &Faces {
        &self.faces
    }

    fn line(&mut self, places: &[Place], width_mm: f32, ink: Ink) {
        let points: Vec<String> =
            places.iter().map(|place| format!("{},{}", fine(place.x_mm), fine(place.y_mm))).collect();
        self.put(format_args!(
            "<polyline points=\"{}\" fill=\"none\" stroke=\"{}\" stroke-width=\"{width_mm}\" \
             stroke-linejoin=\"round\"/>",
            points.join(" "),
            colour(ink)
        ));
    }

    fn fill(&mut self, area: &Area, ink: Ink) {
        let (x, y) = (fine(area.corner.x_mm), fine(area.corner.y_mm));
        self.put(format_args!(
            "<rect x=\"{x}\" y=\"{y}\" width=\"{}\" height=\"{}\" fill=\"{}\"/>",
            fine(area.width_mm),
            fine(area.height_mm),
            colour(ink)
        ));
    }

    fn text(&mut self, place: Place, text: &str, style: Style, align: Align) {
        if text.trim().is_empty() {
            return;
        }
        let anchor = match align {
            Align::Left => "start",
            Align::Centre => "middle",
            Align::Right => "end",
        };
        let weight = if style.face == Face::Bold { " font-weight=\"bold\"" } else { "" };
        // The picture brings no typeface along: the width is that of ours, whatever the viewer has.
        let width = fine(self.faces.width_mm(text, style));
        self.put(format_args!(
            "<text x=\"{}\" y=\"{}\" font-size=\"{}\" fill=\"{}\" text-anchor=\"{anchor}\"{weight} \
             textLength=\"{width}\" lengthAdjust=\"spacingAndGlyphs\">{}</text>",
            fine(place.x_mm),
            fine(place.y_mm),
            fine(style.size_pt / PT_PER_MM),
            colour(style.ink),
            escaped(text)
        ));
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Chart, Look, Mark, Series};

    #[test]
    fn texts_are_escaped_and_points_that_are_none_break_the_line() {
        let points = vec![(0.0, 1.0), (1.0, 2.0), (2.0, f64::NAN), (3.0, 1.0), (4.0, 2.0)];
        let chart = Chart::new("R < 1 & \"more\"", "h", "V")
            .series(Series::new("a\u{7}b", Look::Line, points))
            .mark(Mark::Upright { at: 2.0, label: "here".to_owned() });
        let svg = chart.svg(120.0, 80.0).unwrap();
        assert!(svg.contains("<title>R &lt; 1 &amp; &quot;more&quot;</title>") && svg.contains(">ab</text>"));
        assert_eq!(svg.matches("stroke-width=\"0.4\"").count(), 2, "{svg}");
        assert!(!svg.contains("NaN"));
    }
}
