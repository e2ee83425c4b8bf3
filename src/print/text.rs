//! Text before it is drawn: its style, its measured width, its breaks into lines.
//!
//! Widths are sums of the font's advance widths; kerning is not applied, so what is measured is what is shown. A
//! character that the face lacks is shown as a plain stand-in or a question mark, and measured as that.

use std::collections::BTreeMap;

use printpdf::ParsedFont;

use super::PrintError;
use super::canvas::Ink;
use super::typeface::{Face, PT_PER_MM, even_digit, stand_in};

/// How text looks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Style {
    /// The face.
    pub face: Face,
    /// The size, pt.
    pub size_pt: f32,
    /// The ink.
    pub ink: Ink,
    /// How digits are spaced.
    pub digits: Digits,
}

/// How digits are spaced.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Digits {
    /// As the face draws them, for running text.
    #[default]
    Natural,
    /// All of one width, so that numbers stand under each other.
    Even,
}

impl Style {
    /// A style from face, size (pt) and ink.
    pub const fn new(face: Face, size_pt: f32, ink: Ink) -> Self {
        Self { face, size_pt, ink, digits: Digits::Natural }
    }

    /// The same style with digits that stand under each other.
    #[must_use]
    pub const fn with_even_digits(self) -> Self {
        Self { digits: Digits::Even, ..self }
    }

    /// The distance from baseline to baseline that reads well, mm.
    pub fn leading_mm(&self) -> f32 {
        self.size_pt * 1.3 / PT_PER_MM
    }
}

/// Which part of a text stands at its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Align {
    /// The text begins at the place.
    #[default]
    Left,
    /// The middle of the text is at the place.
    Centre,
    /// The text ends at the place.
    Right,
}

/// The typeface, ready to measure with.
#[derive(Debug)]
pub struct Faces(pub(super) BTreeMap<Face, ParsedFont>);

impl Faces {
    /// Reads the embedded faces.
    ///
    /// # Errors
    /// [`PrintError::Typeface`] when they are damaged.
    pub fn load() -> Result<Self, PrintError> {
        Face::ALL.into_iter().map(|face| Ok((face, face.load()?))).collect::<Result<_, _>>().map(Self)
    }

    fn glyph(&self, style: Style, character: char) -> Option<u16> {
        if style.digits == Digits::Even
            && let Some(glyph) = even_digit(style.face, character)
        {
            return Some(glyph);
        }
        self.lookup(style.face, character)
    }

    fn lookup(&self, face: Face, character: char) -> Option<u16> {
        self.0.get(&face).and_then(|font| font.lookup_glyph_index(u32::from(character)))
    }

    /// The text as it will be shown: what the face lacks has a plain stand-in, and at the last a question mark.
    pub fn shown(&self, face: Face, text: &str) -> String {
        let mut shown = String::with_capacity(text.len());
        for character in text.chars() {
            if !matches!(character, '\u{00a0}' | '\u{00ad}') && self.lookup(face, character).is_some() {
                shown.push(character);
            } else {
                shown.push_str(stand_in(character));
            }
        }
        shown
    }

    /// The width of a text, mm.
    pub fn width_mm(&self, text: &str, style: Style) -> f32 {
        let Some(font) = self.0.get(&style.face) else { return 0.0 };
        let units: f32 = self
            .shown(style.face, text)
            .chars()
            .filter_map(|character| self.glyph(style, character))
            .map(|glyph| f32::from(font.get_glyph_width(glyph).unwrap_or(0)))
            .sum();
        units / f32::from(font.units_per_em.max(1)) * style.size_pt / PT_PER_MM
    }

    /// The glyphs of a shown text, each with its character; even digits are glyphs of their own.
    pub(super) fn glyphs(&self, shown: &str, style: Style) -> impl Iterator<Item = (u16, char)> {
        shown.chars().filter_map(move |character| Some((self.glyph(style, character)?, character)))
    }

    /// Breaks a text into lines no wider than `width_mm`: at spaces, after hyphens and slashes, and inside a word only
    /// when the word alone is too wide. Never empty; line feeds in the text are kept as breaks.
    pub fn wrap(&self, text: &str, style: Style, width_mm: f32) -> Vec<String> {
        let mut lines = Vec::new();
        for paragraph in text.lines() {
            let mut line = String::new();
            for piece in pieces(paragraph) {
                let joined = format!("{line}{piece}");
                if self.width_mm(joined.trim_end(), style) <= width_mm {
                    line = joined;
                    continue;
                }
                if !line.trim().is_empty() {
                    lines.push(line.trim_end().to_owned());
                }
                line = String::new();
                for character in piece.chars() {
                    line.push(character);
                    if self.width_mm(line.trim_end(), style) > width_mm && line.chars().count() > 1 {
                        line.pop();
                        // What was measured had no space at its end: what is set has none either.
                        lines.push(std::mem::take(&mut line).trim_end().to_owned());
                        line.push(character);
                    }
                }
            }
            lines.push(line.trim_end().to_owned());
        }
        if lines.is_empty() {
            lines.push(String::new());
        }
        lines
    }

    /// Shortens a text to a width with an ellipsis at its end.
    pub fn shorten(&self, text: &str, style: Style, width_mm: f32) -> String {
        if self.width_mm(text, style) <= width_mm {
            return text.to_owned();
        }
        let mut kept: Vec<char> = text.chars().collect();
        while kept.pop().is_some() {
            let short = format!("{}…", kept.iter().collect::<String>().trim_end());
            if self.width_mm(&short, style) <= width_mm {
                return short;
            }
        }
        String::new()
    }
}

/// A text cut after each place where a line may end; spaces stay with the piece before them. A date stays whole: no line ends at a
/// hyphen between digits.
fn pieces(text: &str) -> Vec<String> {
    let mut pieces: Vec<String> = Vec::new();
    let mut open = false;
    let mut ended_at_space = false;
    let mut before = ' ';
    let mut characters = text.chars().peekable();
    while let Some(character) = characters.next() {
        let space = character == ' ';
        let in_date = character == '-'
            && before.is_ascii_digit()
            && characters.peek().is_some_and(char::is_ascii_digit);
        before = character;
        match pieces.last_mut() {
            Some(piece) if open || (space && ended_at_space) => piece.push(character),
            _ => pieces.push(character.to_string()),
        }
        open = !space && (in_date || !matches!(character, '-' | '/' | '–'));
        ended_at_space = space || !open;
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const STYLE: Style = Style::new(Face::Regular, 10.0, Ink::Black);

    #[test]
    fn widths_are_those_of_the_font() {
        let faces = Faces::load().unwrap();
        let ten_mm = faces.width_mm("0000-0000", Style::new(Face::Code, 10.0, Ink::Black));
        // 9 characters of 632/1000 em at 10 pt, 72/25.4 pt to the mm.
        assert!((ten_mm - 9.0 * 6.32 / 72.0 * 25.4).abs() < 1e-3, "{ten_mm}");
        let even = STYLE.with_even_digits();
        assert!((faces.width_mm("1111", even) - faces.width_mm("8000", even)).abs() < 1e-4);
        assert!(faces.width_mm("1111", STYLE) < faces.width_mm("8000", STYLE));
    }

    #[test]
    fn lines_break_at_spaces_and_hyphens_and_long_words_inside() {
        let faces = Faces::load().unwrap();
        let lines = faces.wrap("measured elsewhere, twenty-three times", STYLE, 24.0);
        assert_eq!(lines, ["measured", "elsewhere,", "twenty-three", "times"]);
        let lines = faces.wrap("Unbreakableunbreakableunbreakable", STYLE, 24.0);
        assert!(lines.len() > 1 && lines.concat() == "Unbreakableunbreakableunbreakable");
        assert_eq!(faces.wrap("read on 2026-08-19", STYLE, 28.0), ["read on", "2026-08-19"]);
        assert_eq!(faces.wrap("", STYLE, 24.0), [""]);
        assert_eq!(faces.wrap("a\nb", STYLE, 24.0), ["a", "b"]);
    }

    #[test]
    fn what_the_face_lacks_has_a_stand_in() {
        let faces = Faces::load().unwrap();
        assert_eq!(faces.shown(Face::Regular, "5\u{202f}µF → 猫"), "5 uF -> ?");
        assert_eq!(faces.shorten("Slot 14, lower shelf", STYLE, 20.0), "Slot 14, lo…");
    }

    /// Found by the property below: a wide space at the end of a piece that is cut inside.
    #[test]
    fn a_space_before_a_cut_does_not_widen_the_line() {
        let faces = Faces::load().unwrap();
        let lines = faces.wrap("🌀0!\u{c3c}\u{2000}¡", STYLE, 8.0);
        assert!(lines.iter().all(|line| faces.width_mm(line, STYLE) <= 8.0), "{lines:?}");
    }

    proptest! {
        #[test]
        fn no_line_is_wider_than_asked_and_no_character_is_lost(text in "\\PC{0,120}", width_mm in 8.0_f32..80.0) {
            let faces = Faces::load().unwrap();
            let lines = faces.wrap(&text, STYLE, width_mm);
            for line in &lines {
                prop_assert!(faces.width_mm(line, STYLE) <= width_mm || line.chars().count() == 1, "{line}");
            }
            let solid = |text: &str| text.replace(char::is_whitespace, "");
            prop_assert_eq!(solid(&lines.concat()), solid(&text));
        }
    }
}
