//! One label: the symbol on the left, beside it the kind in bold, the code in its groups, and perhaps a caption.
//!
//! All labels of a sheet share one layout. The symbol has the size that the geometry asks for; the code takes the
//! largest type that fits, on one, two or three lines; nothing is drawn into the quiet zone.

use super::PrintError;
use super::canvas::{Area, Canvas, Ink, Place, count};
use super::geometry::Geometry;
use super::labels::Label;
use super::qr::Symbol;
use super::text::{Align, Faces, Style};
use super::typeface::{CAP_HEIGHT, DESCENT, Face, PT_PER_MM};
use crate::domain::tag::{Tag, TagKind};

/// The least size of the code, pt. Common practice, no source.
const LEAST_CODE_PT: f32 = 8.0;
/// The size beyond which the code does not grow, pt.
const MOST_CODE_PT: f32 = 16.0;
/// A caption never makes the code smaller than this, pt.
const CODE_WITH_CAPTION_PT: f32 = 9.0;
/// The size that the kind should have at least and at most, pt.
const WORD_PT: (f32, f32) = (9.0, 14.0);
/// The size of a caption, pt, and on high labels, where it also may take two lines.
const CAPTION_PT: (f32, f32) = (9.0, 11.0);
/// Labels of so many mm have room for two lines of caption, and for its larger size.
const HIGH_MM: (f32, f32) = (24.0, 35.0);
/// Height of letters such as `k` over the size.
const ASCENT: f32 = 0.73;
/// Space above a line of code, over its size.
const GAP: f32 = 0.28;
/// Space above a line of caption, over its size.
const CAPTION_GAP: (f32, f32) = (0.45, 0.15);

/// Where things stand on every label of a sheet.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Layout {
    label_mm: (f32, f32),
    module_mm: f32,
    symbol_at: Place,
    text_x_mm: f32,
    text_width_mm: f32,
    word: Style,
    code: Style,
    code_lines: usize,
    caption: Option<Style>,
    caption_lines: usize,
}

impl Layout {
    /// Lays a label out. Captions get their line only if they are wanted and the code stays large enough.
    pub(super) fn new(geometry: &Geometry, faces: &Faces, captions: bool) -> Result<Self, PrintError> {
        let plain = Self::attempt(geometry, faces, false);
        let size_pt = plain.code.size_pt;
        if size_pt < LEAST_CODE_PT {
            let (width_mm, height_mm) = geometry.label_mm();
            let symbol_mm = geometry.symbol_mm();
            let least_pt = LEAST_CODE_PT;
            return Err(PrintError::LabelTooSmall { width_mm, height_mm, symbol_mm, size_pt, least_pt });
        }
        if captions {
            let with = Self::attempt(geometry, faces, true);
            if with.code.size_pt >= CODE_WITH_CAPTION_PT {
                return Ok(with);
            }
        }
        Ok(plain)
    }

    /// True when a caption has its line.
    pub(super) fn has_caption(&self) -> bool {
        self.caption.is_some()
    }

    fn attempt(geometry: &Geometry, faces: &Faces, captions: bool) -> Self {
        let (width_mm, height_mm) = geometry.label_mm();
        let side_mm = geometry.symbol_mm();
        let small = height_mm <= 15.0;
        let above_mm = (height_mm - side_mm) / 2.0;
        let symbol_at = Place::new(if small { 0.0 } else { above_mm.min(1.0) }, above_mm);
        let text_x_mm = symbol_at.x_mm + side_mm;
        let text_width_mm = width_mm - text_x_mm - if width_mm <= 30.0 { 0.5 } else { 1.5 };
        let height_pt = (height_mm - margins_mm(height_mm)) * PT_PER_MM;

        let caption = captions.then_some(Style::new(
            Face::Regular,
            if height_mm < HIGH_MM.1 { CAPTION_PT.0 } else { CAPTION_PT.1 },
            Ink::Black,
        ));
        let caption_lines = if height_mm < HIGH_MM.0 { 1 } else { 2 };
        let share = if captions { 0.18 } else { 0.24 };
        let mut word = Style::new(Face::Bold, (height_pt * share).clamp(WORD_PT.0, WORD_PT.1), Ink::Black);
        let widest = TagKind::ALL.into_iter().map(|kind| faces.width_mm(&heading(kind), word));
        word.size_pt *= (text_width_mm / widest.fold(0.1, f32::max)).clamp(0.0, 1.0);

        let caption_pt = caption_height_pt(caption, caption_lines);
        let left_pt = height_pt - word.size_pt * (ASCENT + DESCENT) - caption_pt;
        let (code_lines, size_pt) = (1..=3)
            .map(|lines| {
                let tall = left_pt / (count(lines) * (CAP_HEIGHT + GAP));
                (lines, widest_code_pt(faces, lines, text_width_mm).min(tall).min(MOST_CODE_PT))
            })
            .fold((1, 0.0), |best, next| if next.1 > best.1 { next } else { best });
        let code = Style::new(Face::Code, size_pt, Ink::Black);
        let label_mm = (width_mm, height_mm);
        let module_mm = geometry.module_mm();
        Self {
            label_mm,
            module_mm,
            symbol_at,
            text_x_mm,
            text_width_mm,
            word,
            code,
            code_lines,
            caption,
            caption_lines,
        }
    }

    fn block_height_pt(&self) -> f32 {
        self.word.size_pt * (ASCENT + DESCENT)
            + self.code.size_pt * (CAP_HEIGHT + GAP) * count(self.code_lines)
            + caption_height_pt(self.caption, self.caption_lines)
    }

    /// Draws a label and its tag's symbol with the label's top left corner at a place.
    pub(super) fn draw(&self, canvas: &mut Canvas, corner: Place, label: &Label<'_>, symbol: &Symbol) {
        symbol.draw(canvas, corner.by(self.symbol_at.x_mm, self.symbol_at.y_mm), self.module_mm);

        let top_mm = (self.label_mm.1 - self.block_height_pt() / PT_PER_MM) / 2.0;
        let mut baseline = corner.by(self.text_x_mm, top_mm + self.word.size_pt * ASCENT / PT_PER_MM);
        canvas.text(baseline, &heading(label.tag.kind()), self.word, Align::Left);
        baseline = baseline.by(0.0, self.word.size_pt * DESCENT / PT_PER_MM);
        for line in code_lines(&label.tag, self.code_lines) {
            baseline = baseline.by(0.0, self.code.size_pt * (CAP_HEIGHT + GAP) / PT_PER_MM);
            canvas.text(baseline, &line, self.code, Align::Left);
        }
        if let (Some(style), Some(caption)) = (self.caption, label.caption) {
            baseline = baseline.by(0.0, style.size_pt * (CAPTION_GAP.0 + ASCENT) / PT_PER_MM);
            for line in self.caption(canvas.faces(), style, caption) {
                canvas.text(baseline, &line, style, Align::Left);
                baseline = baseline.by(0.0, style.size_pt * (DESCENT + CAPTION_GAP.1 + ASCENT) / PT_PER_MM);
            }
        }
    }

    /// A caption in as many lines as it may have; the last is shortened.
    fn caption(&self, faces: &Faces, style: Style, caption: &str) -> Vec<String> {
        let caption = caption.lines().collect::<Vec<_>>().join(" ");
        let mut lines = faces.wrap(&caption, style, self.text_width_mm);
        if lines.len() > self.caption_lines {
            let rest = lines.split_off(self.caption_lines - 1).join(" ");
            lines.push(faces.shorten(&rest, style, self.text_width_mm));
        }
        lines
    }

    /// What is printed of a label at a place: the symbol without its quiet zone, and the text.
    pub(super) fn printed(&self, label: &Area) -> Area {
        let quiet_mm = f32::from(super::qr::QUIET_MODULES) * self.module_mm;
        let corner = label.corner.by(self.symbol_at.x_mm + quiet_mm, self.symbol_at.y_mm + quiet_mm);
        let right_mm = label.corner.x_mm + self.text_x_mm + self.text_width_mm;
        let bottom_mm = label.bottom_mm() - self.symbol_at.y_mm - quiet_mm;
        Area::new(corner, right_mm - corner.x_mm, bottom_mm - corner.y_mm)
    }
}

/// What stays free above and below the text together, mm: the less the lower the label is.
fn margins_mm(height_mm: f32) -> f32 {
    match height_mm {
        ..=11.0 => 0.8,
        ..=15.0 => 1.4,
        _ => 3.0,
    }
}

fn caption_height_pt(style: Option<Style>, lines: usize) -> f32 {
    let Some(style) = style else { return 0.0 };
    let further = CAPTION_GAP.1 + ASCENT + DESCENT;
    style.size_pt * (CAPTION_GAP.0 - CAPTION_GAP.1 + further * count(lines))
}

/// The kind as it stands on a label.
pub(super) fn heading(kind: TagKind) -> String {
    let mut letters = kind.word().chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

/// The code over a number of lines, broken between its groups.
fn code_lines(tag: &Tag, lines: usize) -> Vec<String> {
    let code = tag.to_string();
    let groups: Vec<&str> = code.split('-').collect();
    let [a, b, c, d] = groups.as_slice() else { return vec![code] };
    match lines {
        1 => vec![code],
        2 => vec![format!("{a}-{b}"), format!("{c}-{d}")],
        _ => vec![(*a).to_owned(), (*b).to_owned(), format!("{c}-{d}")],
    }
}

/// The size at which the widest line of a code over so many lines is as wide as the room, pt.
fn widest_code_pt(faces: &Faces, lines: usize, width_mm: f32) -> f32 {
    let sample = match lines {
        1 => "0000-0000-0000-0",
        2 => "0000-0000",
        _ => "0000-0",
    };
    width_mm / faces.width_mm(sample, Style::new(Face::Code, 1.0, Ink::Black))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::print::labels::{named, names};

    /// The sizes that each sheet of ours gives to kind and code: code at least 8 pt on the smallest labels, 12 pt from
    /// 12 mm of height and 38 mm of width on; kind at least 9 pt everywhere.
    #[test]
    fn type_sizes_on_every_geometry() {
        let faces = Faces::load().unwrap();
        for name in names() {
            let geometry = Geometry::parse(named(name).unwrap()).unwrap();
            let layout = Layout::new(&geometry, &faces, false).unwrap();
            let (width_mm, height_mm) = geometry.label_mm();
            let least_pt = if width_mm < 38.0 || height_mm < 12.0 { 8.0 } else { 12.0 };
            assert!(layout.code.size_pt >= least_pt, "{name}: code {}", layout.code.size_pt);
            assert!(layout.word.size_pt >= 9.0, "{name}: kind {}", layout.word.size_pt);
            assert!(layout.block_height_pt() <= height_mm * PT_PER_MM, "{name}");
            let code_mm = code_lines(&"C0MWF2SBY7KWZ".parse().unwrap(), layout.code_lines)
                .iter()
                .map(|line| faces.width_mm(line, layout.code))
                .fold(0.0, f32::max);
            assert!(layout.text_x_mm + code_mm <= width_mm - 0.45, "{name}");
            assert!(layout.symbol_at.x_mm + geometry.symbol_mm() <= layout.text_x_mm + 1e-3, "{name}");
        }
    }

    #[test]
    fn captions_are_taken_where_the_code_stays_large() {
        let faces = Faces::load().unwrap();
        for (name, taken) in [("a4-189", false), ("letter-80", false), ("a4-65", true), ("roll-50x25", true)]
        {
            let geometry = Geometry::parse(named(name).unwrap()).unwrap();
            let layout = Layout::new(&geometry, &faces, true).unwrap();
            assert_eq!(layout.has_caption(), taken, "{name}: {layout:?}");
        }
    }

    #[test]
    fn a_label_without_room_is_refused_with_the_sizes() {
        let text = "kind = 'roll'\ntitle = 't'\nlabel_width_mm = 20\nlabel_height_mm = 20\nmodule_mm = 0.68";
        let error = Layout::new(&Geometry::parse(text).unwrap(), &Faces::load().unwrap(), false).unwrap_err();
        assert!(matches!(error, PrintError::LabelTooSmall { .. }), "{error}");
    }
}
