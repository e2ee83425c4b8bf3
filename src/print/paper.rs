//! A paged report: title, headings, paragraphs, big figures, tables, drawings; for the review and other papers.
//!
//! Call after call goes down the page; what does not fit goes to the next. Nothing leaves the margins, whatever its
//! length: texts wrap, big figures shrink, rows of tables wrap and, if need be, break. The first page has the title
//! block, later ones a running title, and all of them "page 2 of 5" at the foot. Type is never smaller than 9 pt, and
//! nothing is told by colour alone. The date belongs into the subtitle: the paper does not know it.
//!
//! ```
//! use packmuster::print::PageSize;
//! use packmuster::print::paper::Paper;
//! use packmuster::print::table::{Column, Table};
//!
//! let mut paper = Paper::new(PageSize::A4, "Monthly review", "Skerrow Isles Listening Post, May 2026")?;
//! paper.figures(&[("packs in service", "412"), ("near their end", "31"), ("to buy by August", "48")]);
//! paper.heading("Packs near their end");
//! paper.paragraph("These packs are expected to miss their promise before the end of August.");
//! let mut table = Table::new(vec![Column::text("Pack", 3.0), Column::number("Capacity (mAh)", 2.0)]);
//! table.row(["P7K3-Q9M2-DXWT-8", "1,410"]);
//! paper.table(&table);
//! let pdf = paper.finish()?;
//! assert!(pdf.starts_with(b"%PDF-"));
//! # Ok::<(), packmuster::print::PrintError>(())
//! ```

use super::canvas::{Area, Canvas, Ink, Place, count};
use super::chart::Chart;
use super::table::{self, Table};
use super::text::{Align, Style};
use super::typeface::{CAP_HEIGHT, Face, PT_PER_MM};
use super::{PageSize, PrintError};

/// The margins left and right, mm.
pub(super) const SIDE_MM: f32 = 20.0;
const TOP_MM: f32 = 18.0;
const BOTTOM_MM: f32 = 20.0;
const TITLE: Style = Style::new(Face::Bold, 22.0, Ink::Accent);
const SUBTITLE: Style = Style::new(Face::Regular, 11.5, Ink::Grey);
const HEADING: Style = Style::new(Face::Bold, 14.0, Ink::Black);
const TEXT: Style = Style::new(Face::Regular, 10.5, Ink::Black);
const NOTE: Style = Style::new(Face::Regular, 9.0, Ink::Grey);
const STRONG: Style = Style::new(Face::Bold, 10.5, Ink::Black);
const FIGURE: Style = Style::new(Face::Bold, 26.0, Ink::Black);
const FIGURE_LABEL: Style = Style::new(Face::Regular, 10.0, Ink::Grey);

/// A growing report.
pub struct Paper {
    pub(super) canvas: Canvas,
    size: PageSize,
    title: String,
    /// How far down the page is used, mm.
    pub(super) used_mm: f32,
    error: Option<PrintError>,
}

impl Paper {
    /// Begins a report with its title block. The subtitle says for whom and for when.
    ///
    /// # Errors
    /// [`PrintError::Typeface`] when the embedded typeface is damaged.
    pub fn new(size: PageSize, title: &str, subtitle: &str) -> Result<Self, PrintError> {
        let canvas = Canvas::new(title)?;
        let mut paper = Self { canvas, size, title: title.to_owned(), used_mm: TOP_MM, error: None };
        paper.canvas.add_page(size.width_mm(), size.height_mm());
        paper.flow(title, TITLE, 0.0);
        paper.used_mm += 1.0;
        paper.flow(subtitle, SUBTITLE, 0.0);
        paper.used_mm += 3.0;
        let rule = Area::new(Place::new(SIDE_MM, paper.used_mm), paper.width_mm(), 0.6);
        paper.canvas.fill(&rule, Ink::Accent);
        paper.used_mm += 7.0;
        Ok(paper)
    }

    /// The width between the margins, mm.
    pub fn width_mm(&self) -> f32 {
        self.size.width_mm() - 2.0 * SIDE_MM
    }

    /// The height left on this page, mm.
    pub fn room_mm(&self) -> f32 {
        self.size.height_mm() - BOTTOM_MM - self.used_mm
    }

    /// Begins a new page.
    pub fn break_page(&mut self) {
        self.canvas.add_page(self.size.width_mm(), self.size.height_mm());
        let baseline = Place::new(SIDE_MM, TOP_MM - 4.0);
        let title = self.canvas.faces().shorten(&self.title, NOTE, self.width_mm());
        self.canvas.text(baseline, &title, NOTE, Align::Left);
        let rule = Area::new(baseline.by(0.0, 2.0), self.width_mm(), 0.2);
        self.canvas.fill(&rule, Ink::Hairline);
        self.used_mm = TOP_MM + 2.0;
    }

    /// Begins a new page unless so much height is left, mm.
    pub fn keep_mm(&mut self, height_mm: f32) {
        if self.room_mm() < height_mm {
            self.break_page();
        }
    }

    /// A heading. It never stands alone at the foot of a page.
    pub fn heading(&mut self, text: &str) {
        self.keep_mm(40.0);
        if self.used_mm > TOP_MM + 3.0 {
            self.used_mm += 5.0;
        }
        self.flow(text, HEADING, 0.0);
        self.used_mm += 2.0;
    }

    /// A paragraph of running text; line feeds in it begin new lines.
    pub fn paragraph(&mut self, text: &str) {
        self.flow(text, TEXT, 0.0);
        self.used_mm += 2.5;
    }

    /// Small grey text, for sources and methods.
    pub fn note(&mut self, text: &str) {
        self.flow(text, NOTE, 0.0);
        self.used_mm += 2.5;
    }

    /// A text that must not be missed, beside a bar: cautions, for example.
    pub fn callout(&mut self, text: &str) {
        let inset_mm = 5.0;
        let lines = self.canvas.faces().wrap(text, STRONG, self.width_mm() - inset_mm).len();
        let height_mm = count(lines) * STRONG.leading_mm();
        let whole_mm = self.size.height_mm() - TOP_MM - BOTTOM_MM - 10.0;
        if height_mm < whole_mm {
            self.keep_mm(height_mm + 4.0);
            let bar = Area::new(Place::new(SIDE_MM, self.used_mm), 1.2, height_mm + 1.0);
            self.canvas.fill(&bar, Ink::Accent);
        }
        self.flow(text, STRONG, inset_mm);
        self.used_mm += 5.0;
    }

    /// Big figures in a row, up to four side by side: what it is, and its value with its unit.
    pub fn figures(&mut self, figures: &[(&str, &str)]) {
        let across = figures.len().clamp(1, 4);
        let gap_mm = 6.0;
        let cell_mm = (self.width_mm() - gap_mm * count(across - 1)) / count(across);
        for row in figures.chunks(across) {
            let faces = self.canvas.faces();
            let widest_mm =
                row.iter().map(|(_, value)| faces.width_mm(value, FIGURE)).fold(cell_mm, f32::max);
            // All of a row in one size; below 14 pt they wrap instead.
            let size_pt = (FIGURE.size_pt * cell_mm / widest_mm).max(14.0);
            let style = Style { size_pt, ..FIGURE };
            let cells: Vec<_> = row
                .iter()
                .map(|(label, value)| {
                    (faces.wrap(value, style, cell_mm), faces.wrap(label, FIGURE_LABEL, cell_mm))
                })
                .collect();
            let values = cells.iter().map(|(value, _)| value.len()).max().unwrap_or(0);
            let labels = cells.iter().map(|(_, label)| label.len()).max().unwrap_or(0);
            let value_mm = count(values) * style.leading_mm();
            self.keep_mm(value_mm + count(labels) * FIGURE_LABEL.leading_mm() + 8.0);
            let top_mm = self.used_mm;
            for (column, (value, label)) in cells.iter().enumerate() {
                let left_mm = SIDE_MM + count(column) * (cell_mm + gap_mm);
                let rule = Area::new(Place::new(left_mm, top_mm), cell_mm, 0.2);
                self.canvas.fill(&rule, Ink::Hairline);
                self.lines(Place::new(left_mm, top_mm + 2.0), value, style);
                self.lines(Place::new(left_mm, top_mm + 2.0 + value_mm), label, FIGURE_LABEL);
            }
            self.used_mm = top_mm + value_mm + count(labels) * FIGURE_LABEL.leading_mm() + 7.0;
        }
    }

    /// A table, with its heads on every page that it reaches.
    pub fn table(&mut self, table: &Table) {
        if let Err(error) = table::draw(self, table) {
            self.error.get_or_insert(error);
        }
        self.used_mm += 4.0;
    }

    /// A drawing of the full width and a height in mm: the closure gets the canvas and the area to draw in.
    pub fn drawing(&mut self, height_mm: f32, draw: impl FnOnce(&mut Canvas, &Area)) {
        self.keep_mm(height_mm);
        let height_mm = height_mm.min(self.room_mm());
        let area = Area::new(Place::new(SIDE_MM, self.used_mm), self.width_mm(), height_mm);
        draw(&mut self.canvas, &area);
        self.used_mm += height_mm + 4.0;
    }

    /// A chart of the full width and a height in mm, with what it says right beneath it, both on one page. A reading that would
    /// leave the chart less than half of its height runs on to the next page.
    pub fn chart(&mut self, chart: &Chart, height_mm: f32) {
        let sentence = chart.sentence();
        let lines = match sentence {
            "" => 0,
            text => self.canvas.faces().wrap(text, TEXT, self.width_mm()).len(),
        };
        let text_mm = count(lines) * TEXT.leading_mm() + 1.5;
        self.keep_mm(height_mm + text_mm);
        let height_mm = height_mm.min((self.room_mm() - text_mm).max(height_mm / 2.0)).min(self.room_mm());
        let area = Area::new(Place::new(SIDE_MM, self.used_mm), self.width_mm(), height_mm);
        chart.draw(&mut self.canvas, &area);
        self.used_mm += height_mm + 1.5;
        if lines > 0 {
            self.flow(sentence, TEXT, 0.0);
        }
        self.used_mm += 5.0;
    }

    /// Numbers the pages and gives the PDF.
    ///
    /// # Errors
    /// The first [`PrintError`] of the report: a table whose rows do not fit its columns, or the PDF writer's.
    pub fn finish(mut self) -> Result<Vec<u8>, PrintError> {
        if let Some(error) = self.error {
            return Err(error);
        }
        let pages = self.canvas.pages();
        let foot = Place::new(self.size.width_mm() - SIDE_MM, self.size.height_mm() - BOTTOM_MM + 9.0);
        for page in 0..pages {
            self.canvas.turn_to(page);
            self.canvas.text(foot, &format!("page {} of {pages}", page + 1), NOTE, Align::Right);
        }
        self.canvas.finish()
    }

    /// Lines from a top edge downwards.
    pub(super) fn lines(&mut self, top: Place, lines: &[String], style: Style) {
        for (line, text) in lines.iter().enumerate() {
            let down_mm = baseline_mm(style) + count(line) * style.leading_mm();
            self.canvas.text(top.by(0.0, down_mm), text, style, Align::Left);
        }
    }

    fn flow(&mut self, text: &str, style: Style, inset_mm: f32) {
        for line in self.canvas.faces().wrap(text, style, self.width_mm() - inset_mm) {
            self.keep_mm(style.leading_mm());
            self.lines(Place::new(SIDE_MM + inset_mm, self.used_mm), &[line], style);
            self.used_mm += style.leading_mm();
        }
    }
}

/// How far the baseline of a line lies under its top edge, mm: capitals stand in the middle of the leading.
pub(super) fn baseline_mm(style: Style) -> f32 {
    let capital_mm = style.size_pt * CAP_HEIGHT / PT_PER_MM;
    style.leading_mm().midpoint(capital_mm)
}
