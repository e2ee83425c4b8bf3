//! The papers: label sheets, the command card, and paged reports with tables, all as PDF; a [`document`] also as a
//! page for browsers.
//!
//! One small drawing vocabulary ([`canvas`]) lies under everything: millimetres from the top left corner, text measured
//! with the advance widths of the embedded typeface, a handful of inks with enough contrast. The same input gives the
//! same bytes: no clock, no random ids. Nothing here reads or writes a file, and nothing decides: what a paper says is
//! worked out elsewhere and handed in.

use thiserror::Error;

pub mod calibration;
pub mod canvas;
pub mod card;
pub mod chart;
pub mod consignment;
mod content;
pub mod discharge;
pub mod document;
pub mod geometry;
mod label;
pub mod labels;
mod margin;
pub mod marked;
mod page;
pub mod paper;
pub mod pick;
mod pixels;
pub mod plan;
pub mod qr;
pub mod review;
pub mod sampling;
pub mod slots;
pub mod study;
pub mod table;
pub mod text;
pub mod typeface;

/// A paper size for documents. Label sheets bring their own size with their [`geometry::Geometry`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum PageSize {
    /// ISO 216 A4, 210 x 297 mm.
    #[default]
    A4,
    /// North American Letter, 8.5 x 11 inches, 215.9 x 279.4 mm.
    Letter,
}

impl PageSize {
    /// Width, mm.
    pub const fn width_mm(self) -> f32 {
        match self {
            Self::A4 => 210.0,
            Self::Letter => 215.9,
        }
    }

    /// Height, mm.
    pub const fn height_mm(self) -> f32 {
        match self {
            Self::A4 => 297.0,
            Self::Letter => 279.4,
        }
    }
}

/// Why a paper could not be made.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum PrintError {
    /// An embedded typeface could not be read: the binary is damaged.
    #[error("the embedded typeface {0} cannot be read")]
    Typeface(&'static str),
    /// A text is too long for its symbol.
    #[error("the text `{text}` does not fit a symbol: {reason}")]
    Symbol {
        /// The text.
        text: String,
        /// What the encoder says.
        reason: String,
    },
    /// The first position lies beyond the sheet.
    #[error("the first position {start} is not on the sheet, which has positions 1 to {positions}")]
    Start {
        /// The position that was asked for.
        start: usize,
        /// How many positions a sheet has.
        positions: usize,
    },
    /// There is nothing to print.
    #[error("there is no label to print")]
    Nothing,
    /// The drift is no number, or pushes labels off the page.
    #[error("the drift {field} of {value_mm} mm is not possible: {expected}")]
    Drift {
        /// Which of the four.
        field: &'static str,
        /// The value.
        value_mm: f32,
        /// What would be possible.
        expected: String,
    },
    /// The text beside the symbol would be too small to read.
    #[error(
        "a label of {width_mm} x {height_mm} mm has no room for the code beside a symbol of {symbol_mm} mm: it would be {size_pt:.1} pt, and {least_pt} pt is the least"
    )]
    LabelTooSmall {
        /// Width of the label, mm.
        width_mm: f32,
        /// Height of the label, mm.
        height_mm: f32,
        /// Side of the symbol with its quiet zone, mm.
        symbol_mm: f32,
        /// The size that would fit, pt.
        size_pt: f32,
        /// The least size, pt.
        least_pt: f32,
    },
    /// A row of a table has another number of cells than the table has columns.
    #[error("row {row} of the table has {cells} cells, and the table has {columns} columns")]
    Cells {
        /// The row, from 1.
        row: usize,
        /// Its number of cells.
        cells: usize,
        /// The number of columns.
        columns: usize,
    },
    /// The PDF writer complained, or could not write.
    #[error("the PDF could not be written: {0}")]
    Pdf(String),
}
