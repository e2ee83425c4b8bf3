//! Data on stdout, talk on stderr, tables that fit the width, JSON with a version.

use std::io::Write;

use comfy_table::{CellAlignment, ContentArrangement, Table, presets};
use serde::Serialize;

use super::context::Context;
use super::error::CliError;

/// The version of every JSON answer. Goes up when a key changes its meaning or goes away.
pub(super) const FORMAT_VERSION: u32 = 1;

#[derive(Serialize)]
struct Versioned<'a, T> {
    format_version: u32,
    #[serde(flatten)]
    answer: &'a T,
}

/// Writes a line of data. A reader that went away ends the program quietly.
///
/// # Errors
/// When stdout is closed or full.
pub(super) fn line(text: &str) -> Result<(), CliError> {
    let mut out = std::io::stdout().lock();
    writeln!(out, "{text}").and_then(|()| out.flush()).map_err(|error| gone(&error))
}

/// Writes lines of data.
///
/// # Errors
/// When stdout is closed or full.
pub(super) fn lines(text: &[String]) -> Result<(), CliError> {
    if text.is_empty() { Ok(()) } else { line(&text.join("\n")) }
}

/// Writes a line of talk.
pub(super) fn talk(text: &str) {
    // Talk that nobody hears is no fault.
    let _gone = writeln!(std::io::stderr().lock(), "{text}");
}

/// Writes an answer as one line of JSON, with its version.
///
/// # Errors
/// When stdout is closed or full.
pub(super) fn json<T: Serialize>(answer: &T) -> Result<(), CliError> {
    let text = serde_json::to_string(&Versioned { format_version: FORMAT_VERSION, answer })
        .map_err(|error| CliError::fault(format!("an answer has no JSON form: {error}")))?;
    line(&text)
}

/// Turns a failure of stdout into an error; a closed pipe is the reader's choice and ends quietly.
pub(super) fn gone(error: &std::io::Error) -> CliError {
    if error.kind() == std::io::ErrorKind::BrokenPipe {
        return CliError { exit: super::Exit::Yes, text: String::new(), hint: None };
    }
    CliError::fault(format!("stdout: {error}"))
}

/// Lays out a table within the width; columns named in `right` hold numbers.
pub(super) fn table(context: &Context, heads: &[&str], rows: &[Vec<String>], right: &[usize]) -> String {
    let mut table = Table::new();
    table.load_style(presets::NOTHING);
    table.set_content_arrangement(ContentArrangement::Dynamic);
    table.set_width(context.width);
    table.set_header(heads);
    for row in rows {
        table.add_row(row);
    }
    for &place in right {
        if let Some(column) = table.column_mut(place) {
            column.set_cell_alignment(CellAlignment::Right);
        }
    }
    let text = table.to_string();
    let trimmed: Vec<&str> = text.lines().map(str::trim_end).collect();
    trimmed.join("\n")
}

/// Wraps a line that is too long at spaces; further lines are indented by two more than the first.
pub(super) fn wrap(line: &str, width: u16) -> String {
    let width = usize::from(width.max(40));
    if line.chars().count() <= width {
        return line.to_owned();
    }
    let indent = line.chars().take_while(|&c| c == ' ').count();
    let mut wrapped = " ".repeat(indent);
    let mut column = indent;
    for (place, word) in line.split_whitespace().enumerate() {
        let length = word.chars().count();
        if place > 0 && column + 1 + length > width {
            wrapped.push('\n');
            wrapped.push_str(&" ".repeat(indent + 2));
            column = indent + 2;
        } else if place > 0 {
            wrapped.push(' ');
            column += 1;
        }
        wrapped.push_str(word);
        column += length;
    }
    wrapped
}
