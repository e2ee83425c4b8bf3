//! What a report says, apart from its form: the same parts go to a PDF and to one page for browsers.
//!
//! A [`Document`] keeps its parts in the order of the calls. [`Document::paper`] prints them on a [`Paper`];
//! [`Document::page`] writes one HTML file that needs nothing beside it: no script, no picture, no typeface from
//! elsewhere. Both say the same words in the same order. The date belongs into the subtitle: a document does not know it.
//!
//! ```
//! use packmuster::print::PageSize;
//! use packmuster::print::document::Document;
//! use packmuster::print::table::{Column, Table};
//!
//! let mut document = Document::new("Monthly review", "Skerrow Isles Listening Post, May 2026");
//! document.figures(vec![("packs in service".to_owned(), "412".to_owned())]);
//! document.break_page();
//! document.heading("Packs near their end");
//! let mut table = Table::new(vec![Column::text("Pack", 3.0), Column::number("Capacity (mAh)", 2.0)]);
//! table.row(["P7K3-Q9M2-DXWT-8", "1,410"]);
//! document.table("Packs by capacity, weakest first", table);
//! assert!(document.paper(PageSize::A4)?.starts_with(b"%PDF-"));
//! assert!(document.page()?.contains("<caption><span>Packs by capacity, weakest first</span></caption>"));
//! # Ok::<(), packmuster::print::PrintError>(())
//! ```

use super::chart::Chart;
use super::page;
use super::paper::Paper;
use super::table::Table;
use super::{PageSize, PrintError};

/// The word before a callout, so that it does not hang on a bar or a colour.
pub(super) const WORD: &str = "Attention:";
/// Room for a caption, the heads of its table and a first row, mm.
const CAPTION_MM: f32 = 30.0;

/// One part of a document.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Part {
    Heading(String),
    Paragraph(String),
    Note(String),
    Callout(String),
    Figures(Vec<(String, String)>),
    Table { caption: String, table: Table },
    Chart { chart: Chart, height_mm: f32 },
    Break,
}

/// A report, before it has a form.
#[derive(Debug, Clone, PartialEq)]
pub struct Document {
    title: String,
    subtitle: String,
    parts: Vec<Part>,
}

impl Document {
    /// Begins a document. The subtitle says for whom and for when.
    pub fn new(title: impl Into<String>, subtitle: impl Into<String>) -> Self {
        Self { title: title.into(), subtitle: subtitle.into(), parts: Vec::new() }
    }

    /// Adds a heading, unless it is blank. All headings are of one level, and the page's contents list them.
    pub fn heading(&mut self, text: impl Into<String>) {
        let text = text.into();
        if !text.trim().is_empty() {
            self.parts.push(Part::Heading(text));
        }
    }

    /// Adds a paragraph of running text; line feeds in it begin new lines.
    pub fn paragraph(&mut self, text: impl Into<String>) {
        self.parts.push(Part::Paragraph(text.into()));
    }

    /// Adds small grey text, for sources and methods.
    pub fn note(&mut self, text: impl Into<String>) {
        self.parts.push(Part::Note(text.into()));
    }

    /// Adds a text that must not be missed. The word "Attention" comes before it.
    pub fn callout(&mut self, text: impl Into<String>) {
        self.parts.push(Part::Callout(text.into()));
    }

    /// Adds big figures in a row: what each is, and its value with its unit.
    pub fn figures(&mut self, figures: Vec<(String, String)>) {
        self.parts.push(Part::Figures(figures));
    }

    /// Adds a table. The caption stands above it, and names it for those who do not see it.
    pub fn table(&mut self, caption: impl Into<String>, table: Table) {
        self.parts.push(Part::Table { caption: caption.into(), table });
    }

    /// Adds a chart of a height in mm; its sentence stands beneath it.
    pub fn chart(&mut self, chart: Chart, height_mm: f32) {
        self.parts.push(Part::Chart { chart, height_mm });
    }

    /// Begins a new page. Where nothing comes before or after it, there is none.
    pub fn break_page(&mut self) {
        if self.parts.last().is_some_and(|part| *part != Part::Break) {
            self.parts.push(Part::Break);
        }
    }

    /// The document as PDF.
    ///
    /// # Errors
    /// [`PrintError`] when a row of a table does not fit its columns, the typeface is damaged or the PDF cannot be made.
    pub fn paper(&self, size: PageSize) -> Result<Vec<u8>, PrintError> {
        let mut paper = Paper::new(size, &self.title, &self.subtitle)?;
        for part in self.shown() {
            match part {
                Part::Heading(text) => paper.heading(text),
                Part::Paragraph(text) => paper.paragraph(text),
                Part::Note(text) => paper.note(text),
                Part::Callout(text) => paper.callout(&format!("{WORD} {text}")),
                Part::Figures(figures) => put_figures(&mut paper, figures),
                Part::Table { caption, table } => put_table(&mut paper, caption, table),
                Part::Chart { chart, height_mm } => paper.chart(chart, *height_mm),
                Part::Break => paper.break_page(),
            }
        }
        paper.finish()
    }

    /// The document as one HTML page that needs nothing beside it.
    ///
    /// # Errors
    /// [`PrintError`] when a row of a table does not fit its columns, or the typeface is damaged.
    pub fn page(&self) -> Result<String, PrintError> {
        page::page(&self.title, &self.subtitle, self.shown())
    }

    /// The parts without a break that nothing follows.
    fn shown(&self) -> &[Part] {
        match self.parts.split_last() {
            Some((Part::Break, before)) => before,
            _ => &self.parts,
        }
    }
}

fn put_figures(paper: &mut Paper, figures: &[(String, String)]) {
    let figures: Vec<(&str, &str)> =
        figures.iter().map(|(label, value)| (label.as_str(), value.as_str())).collect();
    paper.figures(&figures);
}

fn put_table(paper: &mut Paper, caption: &str, table: &Table) {
    if !caption.trim().is_empty() {
        paper.keep_mm(CAPTION_MM);
        paper.note(caption);
    }
    paper.table(table);
}
