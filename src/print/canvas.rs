//! The drawing vocabulary: pages in millimetres, rectangles, lines, outlines, measured text.
//!
//! Places are millimetres from the top left corner of the page, x to the right and y down; text stands on its baseline
//! and is sized in points, see [`super::text`]. Everything is drawn in the order of the calls, which is also the order in which text is
//! read out. The canvas never breaks a page by itself: see [`super::paper`] for that. It writes what the pages hold by itself; the PDF
//! library writes the document around them, with the faces.

use std::collections::BTreeMap;

use printpdf::{
    Codepoint, FontId, Mm, Op, PdfDocument, PdfFont, PdfFontHandle, PdfPage, PdfSaveOptions, Pt, TextItem,
};

use super::PrintError;
use super::content::{Cell, Content, resource};
use super::text::{Align, Faces, Style};
use super::typeface::Face;
use crate::app::share::share_out;

/// A place on the page, mm from its top left corner.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Distance from the left edge, mm.
    pub x_mm: f32,
    /// Distance from the top edge, mm.
    pub y_mm: f32,
}

impl Place {
    /// A place from its distances, mm.
    pub const fn new(x_mm: f32, y_mm: f32) -> Self {
        Self { x_mm, y_mm }
    }

    /// The place that lies further right and down, mm.
    #[must_use]
    pub fn by(self, x_mm: f32, y_mm: f32) -> Self {
        Self::new(self.x_mm + x_mm, self.y_mm + y_mm)
    }
}

/// A rectangle on the page.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Area {
    /// The top left corner.
    pub corner: Place,
    /// Width, mm.
    pub width_mm: f32,
    /// Height, mm.
    pub height_mm: f32,
}

impl Area {
    /// A rectangle from its top left corner and its size, mm.
    pub const fn new(corner: Place, width_mm: f32, height_mm: f32) -> Self {
        Self { corner, width_mm, height_mm }
    }

    /// The right edge, mm from the left edge of the page.
    pub fn right_mm(&self) -> f32 {
        self.corner.x_mm + self.width_mm
    }

    /// The lower edge, mm from the top edge of the page.
    pub fn bottom_mm(&self) -> f32 {
        self.corner.y_mm + self.height_mm
    }
}

/// What things are drawn with. The inks for text have a contrast of at least 4.5 to 1 on white (WCAG 2.1, 1.4.3) and
/// on every ink of a ground; no meaning hangs on a colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Ink {
    /// Text and symbols.
    Black,
    /// Text of less weight.
    Grey,
    /// Titles, and the one colour of drawings.
    Accent,
    /// Hairlines; not for text.
    Hairline,
    /// The ground under heads; not for text.
    Tint,
    /// The ground of bars and bands; not for text.
    Light,
    /// The ground of what stands out among bars and bands; not for text.
    Mid,
    /// Paper.
    White,
}

impl Ink {
    /// Every ink.
    pub const ALL: [Self; 8] = [
        Self::Black,
        Self::Grey,
        Self::Accent,
        Self::Hairline,
        Self::Tint,
        Self::Light,
        Self::Mid,
        Self::White,
    ];

    /// Red, green and blue, 0 to 255, in sRGB.
    pub const fn rgb(self) -> [u8; 3] {
        match self {
            Self::Black => [0, 0, 0],
            Self::Grey => [84, 88, 92],
            Self::Accent => [94, 44, 92],
            Self::Hairline => [186, 186, 190],
            Self::Tint => [243, 241, 245],
            Self::Light => [228, 223, 232],
            Self::Mid => [212, 206, 217],
            Self::White => [255, 255, 255],
        }
    }
}

/// A growing document.
pub struct Canvas {
    faces: Faces,
    title: String,
    sheets: Vec<Content>,
    at: usize,
    /// The glyphs that are shown, each with its character.
    used: BTreeMap<Face, BTreeMap<u16, char>>,
}

impl Canvas {
    /// Begins a document without pages. The title stands in the document's properties.
    ///
    /// # Errors
    /// [`PrintError::Typeface`] when the embedded typeface is damaged.
    pub fn new(title: &str) -> Result<Self, PrintError> {
        let (faces, title) = (Faces::load()?, title.to_owned());
        Ok(Self { faces, title, sheets: Vec::new(), at: 0, used: BTreeMap::new() })
    }

    /// Adds a page and turns to it.
    pub fn add_page(&mut self, width_mm: f32, height_mm: f32) {
        self.at = self.sheets.len();
        self.sheets.push(Content::new(width_mm, height_mm));
    }

    /// How many pages there are.
    pub fn pages(&self) -> usize {
        self.sheets.len()
    }

    /// Turns to a page, from 0, to draw on it. A page that is not there takes no ink.
    pub fn turn_to(&mut self, page: usize) {
        self.at = page;
    }

    /// The typeface, to measure with.
    pub fn faces(&self) -> &Faces {
        &self.faces
    }

    /// Fills a rectangle.
    pub fn fill(&mut self, area: &Area, ink: Ink) {
        if let Some(sheet) = self.sheets.get_mut(self.at) {
            sheet.fill(area, ink);
        }
    }

    /// Fills the shape that lies between places, by the even-odd rule.
    pub fn shape(&mut self, places: &[Place], ink: Ink) {
        if let Some(sheet) = self.sheets.get_mut(self.at) {
            sheet.shape(places, ink);
        }
    }

    /// Draws a line through two or more places.
    pub fn line(&mut self, places: &[Place], width_mm: f32, ink: Ink) {
        self.stroke(places, false, width_mm, ink);
    }

    /// Draws the outline of a rectangle.
    pub fn outline(&mut self, area: &Area, width_mm: f32, ink: Ink) {
        let corner = area.corner;
        let places = [
            corner,
            corner.by(area.width_mm, 0.0),
            corner.by(area.width_mm, area.height_mm),
            corner.by(0.0, area.height_mm),
        ];
        self.stroke(&places, true, width_mm, ink);
    }

    fn stroke(&mut self, places: &[Place], closed: bool, width_mm: f32, ink: Ink) {
        if let Some(sheet) = self.sheets.get_mut(self.at) {
            sheet.line(places, closed, width_mm, ink);
        }
    }

    /// Fills rectangles (left, top, width, height) as one path, so that no hairline can appear where two meet. They are whole
    /// steps of `step_mm`, x to the right and y down, from `corner`.
    pub fn fill_cells(&mut self, corner: Place, step_mm: f32, cells: &[Cell], ink: Ink) {
        if let Some(sheet) = self.sheets.get_mut(self.at) {
            sheet.fill_cells(corner, step_mm, cells, ink);
        }
    }

    /// Writes one line of text with its baseline at a place.
    pub fn text(&mut self, place: Place, text: &str, style: Style, align: Align) {
        let shown = self.faces.shown(style.face, text);
        if shown.trim().is_empty() {
            return;
        }
        let start = match align {
            Align::Left => place,
            Align::Centre => place.by(-self.faces.width_mm(&shown, style) / 2.0, 0.0),
            Align::Right => place.by(-self.faces.width_mm(&shown, style), 0.0),
        };
        let Some(sheet) = self.sheets.get_mut(self.at) else { return };
        let used = self.used.entry(style.face).or_default();
        let glyphs = self.faces.glyphs(&shown, style).map(|(glyph, character)| {
            used.entry(glyph).or_insert(character);
            glyph
        });
        let glyphs: Vec<u16> = glyphs.collect();
        sheet.glyphs(start, style.face, style.size_pt, style.ink, &glyphs);
    }

    /// Writes a text over several lines, the first baseline at a place; returns the height that it took, mm.
    pub fn block(&mut self, place: Place, text: &str, style: Style, width_mm: f32) -> f32 {
        let mut height_mm = 0.0;
        for line in self.faces.wrap(text, style, width_mm) {
            self.text(place.by(0.0, height_mm), &line, style, Align::Left);
            height_mm += style.leading_mm();
        }
        height_mm
    }

    /// Closes the document and gives its bytes.
    ///
    /// # Errors
    /// [`PrintError::Nothing`] without a page; [`PrintError::Pdf`] when the writer complains.
    pub fn finish(self) -> Result<Vec<u8>, PrintError> {
        if self.sheets.is_empty() {
            return Err(PrintError::Nothing);
        }
        let mut document = PdfDocument::new(&self.title);
        "packmuster".clone_into(&mut document.metadata.info.creator);
        for (face, font) in self.faces.0 {
            document.resources.fonts.map.insert(font_id(face), PdfFont::new(font));
        }
        let mut named = names(&self.used);
        document.pages = self
            .sheets
            .iter()
            .map(|sheet| PdfPage::new(Mm(sheet.width_mm), Mm(sheet.height_mm), std::mem::take(&mut named)))
            .collect();
        write(&document, self.sheets)
    }
}

fn font_id(face: Face) -> FontId {
    FontId(resource(face).to_owned())
}

/// Operators that name all glyphs: from them the PDF library learns what to say of each face, its widths and its characters. What
/// the pages hold takes their place.
fn names(used: &BTreeMap<Face, BTreeMap<u16, char>>) -> Vec<Op> {
    let show = |(&face, glyphs): (&Face, &BTreeMap<u16, char>)| {
        let glyphs =
            glyphs.iter().map(|(&glyph, character)| Codepoint::with_cid(glyph, 0.0, character.to_string()));
        let items = vec![TextItem::GlyphIds(glyphs.collect())];
        let font = PdfFontHandle::External(font_id(face));
        [
            Op::StartTextSection,
            Op::SetFont { font, size: Pt(1.0) },
            Op::ShowText { items },
            Op::EndTextSection,
        ]
    };
    used.iter().flat_map(show).collect()
}

/// Serializes without the ids and dates that the PDF library would draw: the same pages give the same bytes.
fn write(document: &PdfDocument, sheets: Vec<Content>) -> Result<Vec<u8>, PrintError> {
    let mut warnings = Vec::new();
    let mut pdf = document.to_lopdf_document(&PdfSaveOptions::default(), &mut warnings);
    if let Some(warning) = warnings.first() {
        return Err(PrintError::Pdf(format!("{warning:?}")));
    }
    let pages = pdf.get_pages();
    if pages.len() != sheets.len() {
        return Err(PrintError::Pdf(format!("{} pages of {}", pages.len(), sheets.len())));
    }
    for (page, sheet) in pages.into_values().zip(sheets) {
        let content = pdf.get_page_contents(page).first().copied();
        let stream =
            content.and_then(|id| pdf.get_object_mut(id).and_then(|object| object.as_stream_mut()).ok());
        let stream = stream.ok_or_else(|| PrintError::Pdf("a page has no content".to_owned()))?;
        stream.set_plain_content(sheet.into_bytes());
    }
    pdf.trailer.remove(b"ID");
    if let Ok(info) = pdf.trailer.get(b"Info")
        && let Ok(id) = info.as_reference()
        && let Ok(info) = pdf.get_dictionary_mut(id)
    {
        for key in
            ["CreationDate", "ModDate", "GTS_PDFXVersion", "Identifier", "Author", "Subject", "Keywords"]
        {
            info.remove(key.as_bytes());
        }
    }
    let streams: Vec<_> = pdf.objects.values_mut().filter_map(|object| object.as_stream_mut().ok()).collect();
    let packed = share_out(streams, 1, |stream| stream.compress().map_err(|error| error.to_string()));
    packed.into_iter().collect::<Result<(), _>>().map_err(PrintError::Pdf)?;
    let mut bytes = Vec::new();
    pdf.save_to(&mut bytes).map_err(|error| PrintError::Pdf(error.to_string()))?;
    Ok(bytes)
}

/// A count as a length factor.
pub(crate) fn count(number: usize) -> f32 {
    f32::from(u16::try_from(number).unwrap_or(u16::MAX))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::print::typeface::Face;

    /// Relative luminance and contrast of WCAG 2.1 (definitions of "relative luminance" and "contrast ratio"); the
    /// formulas from memory.
    fn contrast(one: Ink, other: Ink) -> f64 {
        let luminance = |ink: Ink| {
            let [r, g, b] = ink.rgb().map(|part| {
                let part = f64::from(part) / 255.0;
                if part <= 0.04045 { part / 12.92 } else { ((part + 0.055) / 1.055).powf(2.4) }
            });
            0.2126 * r + 0.7152 * g + 0.0722 * b
        };
        let (one, other) = (luminance(one), luminance(other));
        (one.max(other) + 0.05) / (one.min(other) + 0.05)
    }

    #[test]
    fn inks_for_text_have_contrast() {
        assert!((contrast(Ink::Black, Ink::White) - 21.0).abs() < 1e-9);
        for ink in [Ink::Black, Ink::Grey, Ink::Accent] {
            for ground in [Ink::White, Ink::Tint, Ink::Light, Ink::Mid] {
                assert!(contrast(ink, ground) >= 4.5, "{ink:?} on {ground:?}: {}", contrast(ink, ground));
            }
        }
    }

    #[test]
    fn an_empty_document_is_refused_and_a_page_beyond_takes_no_ink() {
        assert_eq!(Canvas::new("").unwrap().finish(), Err(PrintError::Nothing));
        let mut canvas = Canvas::new("").unwrap();
        canvas.add_page(50.0, 50.0);
        canvas.turn_to(7);
        canvas.text(Place::new(9.0, 9.0), "lost", Style::new(Face::Bold, 9.0, Ink::Black), Align::Left);
        canvas.fill(&Area::new(Place::new(0.0, 0.0), 9.0, 9.0), Ink::Tint);
        assert!(canvas.finish().unwrap().starts_with(b"%PDF-"));
    }
}
