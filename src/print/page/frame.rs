//! Tables and charts: each in a frame that scrolls where the window is narrow, with a name of its own.

use std::collections::BTreeMap;

use super::super::PrintError;
use super::super::chart::Chart;
use super::super::table::{Column, Table};
use super::super::text::Align;
use super::Page;
use super::escape::{escaped, lines, turns};

/// Width of a chart's drawing, mm. On the screen 9 pt of the drawing become 12 pt.
const CHART_MM: f32 = 140.0;
/// Heights that a chart can have, mm.
const CHART_HEIGHT_MM: (f32, f32) = (40.0, 200.0);
/// What a column needs on a narrow screen, and what a table needs at most, in widths of its type.
const COLUMN_EM: (usize, usize) = (6, 46);
/// From so many columns on a table is wider than a phone.
const WIDE_COLUMNS: usize = 4;
/// A text without spaces up to this length, a code for example, is not broken.
const WHOLE_LETTERS: usize = 24;

/// The names that frames have so far.
#[derive(Debug, Default)]
pub(super) struct Frames(BTreeMap<String, usize>);

impl Frames {
    /// The name of a frame, already escaped. One that was there before gets a number.
    fn name(&mut self, text: &str, otherwise: &str) -> String {
        let text = text.trim();
        let name = escaped(if text.is_empty() { otherwise } else { text });
        let seen = self.0.entry(name.clone()).or_insert(0);
        *seen += 1;
        if *seen == 1 { name } else { format!("{name} ({seen})") }
    }
}

impl Page {
    pub(super) fn table(&mut self, caption: &str, table: &Table) -> Result<(), PrintError> {
        table.check()?;
        let name = self.frames.name(caption, "Table");
        let columns = table.columns();
        let wide = if columns.len() < WIDE_COLUMNS { "" } else { " wide" };
        self.put(format_args!(
            "<div class=\"frame{wide}\" role=\"region\" tabindex=\"0\" aria-label=\"{name}\">"
        ));
        let least_em = (columns.len() * COLUMN_EM.0).min(COLUMN_EM.1);
        self.put(format_args!("<table style=\"min-width: {least_em}em\">"));
        if !caption.trim().is_empty() {
            self.put(format_args!("<caption><span>{}</span></caption>", escaped(caption)));
        }
        self.put(format_args!("<colgroup>"));
        for (_, percent) in table.columns_mm(0.0, 100.0) {
            self.put(format_args!("<col style=\"width: {percent:.1}%\">"));
        }
        self.put(format_args!("</colgroup>\n<thead>\n<tr>"));
        for column in columns {
            let class = class(column, "");
            self.put(format_args!("{}", headed(column.head(), "col", class)));
        }
        self.put(format_args!("</tr>\n</thead>\n<tbody>"));
        for row in table.rows() {
            self.row(columns, row);
        }
        if table.rows().is_empty() {
            let across = columns.len().max(1);
            self.put(format_args!("<tr><td colspan=\"{across}\">{}</td></tr>", escaped(table.empty())));
        }
        self.put(format_args!("</tbody>\n</table>\n</div>"));
        Ok(())
    }

    fn row(&mut self, columns: &[Column], row: &[String]) {
        let mut text = String::from("<tr>");
        for (at, (column, cell)) in columns.iter().zip(row).enumerate() {
            let class = class(column, cell);
            if at == 0 {
                text.push_str(&headed(cell, "row", class));
            } else {
                text.push_str(&plain(cell, class));
            }
        }
        self.put(format_args!("{text}</tr>"));
    }

    pub(super) fn chart(&mut self, chart: &Chart, height_mm: f32) -> Result<(), PrintError> {
        let (least_mm, most_mm) = CHART_HEIGHT_MM;
        let height_mm = if height_mm.is_finite() { height_mm.clamp(least_mm, most_mm) } else { least_mm };
        let name = self.frames.name(chart.title(), "Chart");
        // In a page the name of the language of drawings is not needed; a name of the drawing is.
        let mut svg = chart
            .svg(CHART_MM, height_mm)?
            .replacen(" xmlns=\"http://www.w3.org/2000/svg\"", "", 1)
            .replacen("<title></title>", &format!("<title>{name}</title>"), 1);
        svg.retain(|character| !turns(character));
        self.put(format_args!(
            "<figure>\n<div class=\"frame chart\" role=\"region\" tabindex=\"0\" aria-label=\"{name}\">\n{svg}</div>"
        ));
        let reading = chart.sentence();
        if !reading.trim().is_empty() {
            self.put(format_args!("<figcaption>{}</figcaption>", lines(reading)));
        }
        self.put(format_args!("</figure>"));
        Ok(())
    }
}

/// What is set apart: numbers, texts that stay on one line, and long ones, which need some width to be read.
fn class(column: &Column, cell: &str) -> &'static str {
    let short = cell.chars().count() <= WHOLE_LETTERS;
    let number = column.align() == Align::Right;
    let whole = short && !cell.is_empty() && (number || !cell.contains(char::is_whitespace));
    match (number, whole, short) {
        (true, true, _) => " class=\"number whole\"",
        (true, false, _) => " class=\"number\"",
        (false, true, _) => " class=\"whole\"",
        (false, false, true) => "",
        (false, false, false) => " class=\"long\"",
    }
}

/// A cell that is the head of a column or a row; a plain one where there is nothing to say.
fn headed(cell: &str, scope: &str, class: &str) -> String {
    if cell.trim().is_empty() {
        return plain(cell, class);
    }
    format!("<th scope=\"{scope}\"{class}>{}</th>", escaped(cell))
}

fn plain(cell: &str, class: &str) -> String {
    format!("<td{class}>{}</td>", escaped(cell))
}
