//! Tables of a [`Paper`]: columns by share of the width, cells that wrap, numbers to the right, heads on every page.
//!
//! A row stays together where it can; one that is taller than a page goes on with its next lines. A table without rows
//! says so in words.

use super::PrintError;
use super::canvas::{Area, Ink, Place, count};
use super::paper::{Paper, SIDE_MM, baseline_mm};
use super::text::{Align, Style};
use super::typeface::Face;

const HEAD: Style = Style::new(Face::Bold, 9.5, Ink::Black);
const CELL: Style = Style::new(Face::Regular, 9.5, Ink::Black);
/// A head in a column far too narrow for it is cut here, so that the page has room for rows.
const MOST_HEAD_LINES: usize = 8;
const PAD_X_MM: f32 = 1.6;
const PAD_Y_MM: f32 = 0.9;

/// A column.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    head: String,
    align: Align,
    share: f32,
}

impl Column {
    /// A column of words, with its share of the width against the other columns' shares.
    pub fn text(head: &str, share: f32) -> Self {
        Self { head: head.to_owned(), align: Align::Left, share }
    }

    /// A column of numbers, set to the right. The unit belongs into the head.
    pub fn number(head: &str, share: f32) -> Self {
        Self { head: head.to_owned(), align: Align::Right, share }
    }

    pub(super) fn head(&self) -> &str {
        &self.head
    }

    pub(super) fn align(&self) -> Align {
        self.align
    }

    fn style(&self, style: Style) -> Style {
        if self.align == Align::Right { style.with_even_digits() } else { style }
    }
}

/// A table.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    columns: Vec<Column>,
    rows: Vec<Vec<String>>,
    empty: String,
}

impl Table {
    /// A table without rows yet.
    pub fn new(columns: Vec<Column>) -> Self {
        Self { columns, rows: Vec::new(), empty: "none".to_owned() }
    }

    /// What the table says when it has no rows; "none" if not set.
    #[must_use]
    pub fn or_else_say(mut self, empty: &str) -> Self {
        empty.clone_into(&mut self.empty);
        self
    }

    /// Adds a row: one cell for each column.
    pub fn row<T: Into<String>>(&mut self, cells: impl IntoIterator<Item = T>) {
        self.rows.push(cells.into_iter().map(Into::into).collect());
    }

    pub(super) fn columns(&self) -> &[Column] {
        &self.columns
    }

    pub(super) fn rows(&self) -> &[Vec<String>] {
        &self.rows
    }

    /// What stands in the place of rows where there are none.
    pub(super) fn empty(&self) -> &str {
        &self.empty
    }

    pub(super) fn check(&self) -> Result<(), PrintError> {
        let columns = self.columns.len();
        match self.rows.iter().enumerate().find(|(_, cells)| cells.len() != columns) {
            Some((row, cells)) => Err(PrintError::Cells { row: row + 1, cells: cells.len(), columns }),
            None => Ok(()),
        }
    }

    /// Left edge and width of each column, mm. A share that is no positive number counts as the least.
    pub(super) fn columns_mm(&self, left_mm: f32, width_mm: f32) -> Vec<(f32, f32)> {
        let shares: Vec<f32> = self
            .columns
            .iter()
            .map(|column| if column.share.is_finite() { column.share.max(0.1) } else { 0.1 })
            .collect();
        let whole: f32 = shares.iter().sum();
        let mut at_mm = left_mm;
        shares
            .into_iter()
            .map(|share| {
                let column = (at_mm, width_mm * share / whole);
                at_mm += column.1;
                column
            })
            .collect()
    }
}

/// The table on its way down the pages.
struct Drawing<'a> {
    paper: &'a mut Paper,
    table: &'a Table,
    columns_mm: Vec<(f32, f32)>,
    heads: Vec<Vec<String>>,
}

/// Draws a table at the foot of what the paper has.
pub(super) fn draw(paper: &mut Paper, table: &Table) -> Result<(), PrintError> {
    table.check()?;
    let columns_mm = table.columns_mm(SIDE_MM, paper.width_mm());
    let mut drawing = Drawing { paper, table, columns_mm, heads: Vec::new() };
    drawing.heads = drawing.wrap(table.columns.iter().map(|column| column.head.as_str()), HEAD);
    for head in &mut drawing.heads {
        head.truncate(MOST_HEAD_LINES);
    }
    let first = table.rows.first().map(|row| drawing.wrap(row.iter().map(String::as_str), CELL));
    let first_mm = height_mm(first.as_deref().unwrap_or_default(), CELL).min(30.0);
    drawing.paper.keep_mm(height_mm(&drawing.heads, HEAD) + first_mm);
    drawing.head();
    for row in &table.rows {
        let cells = drawing.wrap(row.iter().map(String::as_str), CELL);
        drawing.row(cells);
    }
    if table.rows.is_empty() {
        let place = Place::new(SIDE_MM + PAD_X_MM, drawing.paper.used_mm + PAD_Y_MM);
        let width_mm = drawing.paper.width_mm() - 2.0 * PAD_X_MM;
        let lines = drawing.paper.canvas.faces().wrap(&table.empty, CELL, width_mm);
        drawing.paper.lines(place, &lines, CELL);
        drawing.rule(height_mm(&[lines], CELL));
    }
    Ok(())
}

impl Drawing<'_> {
    fn wrap<'b>(&self, cells: impl Iterator<Item = &'b str>, style: Style) -> Vec<Vec<String>> {
        let faces = self.paper.canvas.faces();
        cells
            .zip(self.table.columns.iter().zip(&self.columns_mm))
            .map(|(cell, (column, (_, width_mm)))| {
                faces.wrap(cell, column.style(style), width_mm - 2.0 * PAD_X_MM)
            })
            .collect()
    }

    fn head(&mut self) {
        let heads = self.heads.clone();
        let height_mm = height_mm(&heads, HEAD);
        let corner = Place::new(SIDE_MM, self.paper.used_mm);
        self.paper.canvas.fill(&Area::new(corner, self.paper.width_mm(), height_mm), Ink::Tint);
        self.cells(&heads, HEAD);
        self.rule(height_mm);
    }

    fn row(&mut self, mut cells: Vec<Vec<String>>) {
        if self.paper.room_mm() < height_mm(&cells, CELL) {
            self.paper.break_page();
            self.head();
            // Only a row that even a fresh page cannot hold is broken.
            while height_mm(&cells, CELL) > self.paper.room_mm() && self.paper.room_mm() > 0.0 {
                let fit = lines_in(self.paper.room_mm());
                let rest = cells.iter_mut().map(|lines| lines.split_off(fit.min(lines.len()))).collect();
                self.cells(&cells, CELL);
                self.rule(height_mm(&cells, CELL));
                cells = rest;
                self.paper.break_page();
                self.head();
            }
        }
        self.cells(&cells, CELL);
        self.rule(height_mm(&cells, CELL));
    }

    fn cells(&mut self, cells: &[Vec<String>], style: Style) {
        let top_mm = self.paper.used_mm + PAD_Y_MM + baseline_mm(style);
        for ((lines, column), &(left_mm, width_mm)) in
            cells.iter().zip(&self.table.columns).zip(&self.columns_mm)
        {
            let x_mm = match column.align {
                Align::Left => left_mm + PAD_X_MM,
                Align::Centre => left_mm + width_mm / 2.0,
                Align::Right => left_mm + width_mm - PAD_X_MM,
            };
            for (line, text) in lines.iter().enumerate() {
                let place = Place::new(x_mm, top_mm + count(line) * style.leading_mm());
                self.paper.canvas.text(place, text, column.style(style), column.align);
            }
        }
    }

    /// Closes a row of a height with a hairline.
    fn rule(&mut self, height_mm: f32) {
        self.paper.used_mm += height_mm;
        let corner = Place::new(SIDE_MM, self.paper.used_mm - 0.1);
        self.paper.canvas.fill(&Area::new(corner, self.paper.width_mm(), 0.2), Ink::Hairline);
    }
}

fn height_mm(cells: &[Vec<String>], style: Style) -> f32 {
    let lines = cells.iter().map(Vec::len).max().unwrap_or(1).max(1);
    count(lines) * style.leading_mm() + 2.0 * PAD_Y_MM
}

/// How many lines of a row go into a height; at least one.
fn lines_in(room_mm: f32) -> usize {
    let mut lines = 1;
    while count(lines + 1) * CELL.leading_mm() + 2.0 * PAD_Y_MM <= room_mm {
        lines += 1;
    }
    lines
}
