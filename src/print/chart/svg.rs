//! The same strokes and texts as an SVG picture: one unit is a millimetre.
//!
//! What belongs together stands in a group whose `class` says of which kind it is, and whose `data-series` names it. There are no
//! ids: several pictures may stand in one page.

use std::fmt::Write as _;

use super::super::PrintError;
use super::super::canvas::{Area, Ink, Place};
use super::super::text::{Align, Faces, Style};
use super::super::typeface::{Face, PT_PER_MM};
use super::ground::{Ground, Stroke};

/// A growing picture.
pub(super) struct Svg {
    faces: Faces,
    text: String,
}

impl Svg {
    /// Begins a picture of a size in mm, with a title and a sentence for those who do not see it.
    ///
    /// # Errors
    /// [`PrintError::Typeface`] when the embedded typeface is damaged.
    pub(super) fn new(
        width_mm: f32,
        height_mm: f32,
        title: &str,
        sentence: &str,
    ) -> Result<Self, PrintError> {
        let (title, sentence) = (escaped(title), escaped(sentence));
        let label = match (title.as_str(), sentence.as_str()) {
            (title, "") => title.to_owned(),
            ("", sentence) => sentence.to_owned(),
            (title, sentence) => format!("{}. {sentence}", title.trim_end_matches('.')),
        };
        let mut text = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width_mm}mm\" height=\"{height_mm}mm\" \
             viewBox=\"0 0 {width_mm} {height_mm}\" role=\"img\" aria-label=\"{label}\" \
             font-family=\"'Atkinson Hyperlegible Next', sans-serif\">\n<title>{title}</title>\n"
        );
        if !sentence.is_empty() {
            text = format!("{text}<desc>{sentence}</desc>\n");
        }
        text.push_str("<rect class=\"paper\" width=\"100%\" height=\"100%\" fill=\"#ffffff\"/>\n");
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

/// Thousandths of a millimetre: what is read back from the file is what was computed.
fn fine(mm: f32) -> f32 {
    (mm * 1000.0).round() / 1000.0
}

fn points(places: &[Place]) -> String {
    let points: Vec<String> =
        places.iter().map(|place| format!("{},{}", fine(place.x_mm), fine(place.y_mm))).collect();
    points.join(" ")
}

fn escaped(text: &str) -> String {
    text.chars()
        .filter(|&character| !character.is_control() && !matches!(character, '\u{fffe}' | '\u{ffff}'))
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

    fn line(&mut self, places: &[Place], stroke: Stroke) {
        let dashes: Vec<String> = stroke.dashes_mm.iter().map(f32::to_string).collect();
        let dashes = if dashes.is_empty() {
            String::new()
        } else {
            format!(" stroke-dasharray=\"{}\"", dashes.join(" "))
        };
        self.put(format_args!(
            "<polyline points=\"{}\" fill=\"none\" stroke=\"{}\" stroke-width=\"{}\" \
             stroke-linejoin=\"round\"{dashes}/>",
            points(places),
            colour(stroke.ink),
            stroke.width_mm
        ));
    }

    fn hatch(&mut self, pieces: &[[Place; 2]], stroke: Stroke) {
        let path: Vec<String> = pieces
            .iter()
            .map(|[from, to]| {
                let [x, y, to_x, to_y] = [from.x_mm, from.y_mm, to.x_mm, to.y_mm].map(fine);
                format!("M{x},{y}L{to_x},{to_y}")
            })
            .collect();
        self.put(format_args!(
            "<path d=\"{}\" fill=\"none\" stroke=\"{}\" stroke-width=\"{}\"/>",
            path.concat(),
            colour(stroke.ink),
            stroke.width_mm
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

    fn shape(&mut self, places: &[Place], ink: Ink) {
        self.put(format_args!("<polygon points=\"{}\" fill=\"{}\"/>", points(places), colour(ink)));
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
        // The viewer may lack our typeface: the width is that of ours, whatever is shown.
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

    fn open(&mut self, kind: &str, name: &str) {
        if name.is_empty() {
            self.put(format_args!("<g class=\"{kind}\">"));
        } else {
            self.put(format_args!("<g class=\"{kind}\" data-series=\"{}\">", escaped(name)));
        }
    }

    fn close(&mut self) {
        self.text.push_str("</g>\n");
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

    #[test]
    fn what_a_chart_says_is_told_to_those_who_do_not_see_it() {
        let points = vec![(0.0, 1.0), (1.0, 2.0)];
        let chart = Chart::new("Capacity", "h", "V").series(Series::new("", Look::Line, points));
        let plain = chart.svg(120.0, 80.0).unwrap();
        assert!(plain.contains("role=\"img\" aria-label=\"Capacity\"") && !plain.contains("<desc>"));
        let svg = chart.reading("It doubles in an hour.").svg(120.0, 80.0).unwrap();
        assert!(svg.contains("aria-label=\"Capacity. It doubles in an hour.\""), "{svg}");
        assert!(svg.contains("<desc>It doubles in an hour.</desc>") && !svg.contains(" id="), "{svg}");
    }
}
