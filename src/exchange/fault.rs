//! What is wrong with a row, and what is wrong with a whole file.

use std::fmt;

use serde::Serialize;
use thiserror::Error;

/// Longest value that is repeated in a message, in characters.
const SHOWN: usize = 60;

/// Why a row is refused: one fault names one field.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Fault {
    /// The line on which the row begins, from 1.
    pub line: u64,
    /// The field, with the file's own heading where that is another; `row` for the row as a whole.
    pub field: String,
    /// What stands there, shortened.
    pub value: String,
    /// What was expected.
    pub expected: String,
}

impl Fault {
    /// A fault of a field.
    pub fn new(line: u64, field: impl Into<String>, value: &str, expected: impl Into<String>) -> Self {
        Self { line, field: field.into(), value: shown(value), expected: expected.into() }
    }
}

impl fmt::Display for Fault {
    /// The fault without file and line.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} is `{}`: expected {}", self.field, self.value, self.expected)
    }
}

/// A value as messages show it: on one line, not longer than [`SHOWN`] characters.
fn shown(value: &str) -> String {
    let mut text = String::new();
    for (place, character) in value.chars().enumerate() {
        if place == SHOWN {
            text.push_str("...");
            break;
        }
        if character.is_control() {
            text.extend(character.escape_default());
        } else {
            text.push(character);
        }
    }
    text
}

/// Why a file cannot be read as a table, or a mapping makes no sense.
#[derive(Debug, Error)]
pub enum ExchangeError {
    /// The system said no.
    #[error("{file}: {source}")]
    Io {
        /// The file.
        file: String,
        /// What the system said.
        source: std::io::Error,
    },
    /// A line that no table has.
    #[error("{file}:{line}: the line is longer than {most} bytes")]
    TooLong {
        /// The file.
        file: String,
        /// The line.
        line: u64,
        /// The longest that is read.
        most: usize,
    },
    /// The file has no heading.
    #[error("{0} is empty: a heading was expected in its first line")]
    Empty(String),
    /// The heading does not read.
    #[error("{file}:{line}: the heading does not read: expected {expected}")]
    Heading {
        /// The file.
        file: String,
        /// The line.
        line: u64,
        /// What was expected.
        expected: &'static str,
    },
    /// Columns that must be there are not.
    #[error("{file} has no column {missing}; its columns are {found}")]
    Missing {
        /// The file.
        file: String,
        /// The headings that were looked for, with their fields.
        missing: String,
        /// The headings that are there.
        found: String,
    },
    /// A heading that is there more than once.
    #[error("{file} has the column `{heading}` more than once, and it is to be read as {field}")]
    Ambiguous {
        /// The file.
        file: String,
        /// The heading.
        heading: String,
        /// The field.
        field: &'static str,
    },
    /// A field that there is not.
    #[error("`{given}` is no field of {table}; known are {known}")]
    Field {
        /// What was given.
        given: String,
        /// `packs` or `readings`.
        table: &'static str,
        /// The fields that there are.
        known: String,
    },
    /// A field that takes one column was given several.
    #[error("{field} is to be read from several columns, and it has room for one")]
    Several {
        /// The field.
        field: String,
    },
    /// A mapping that is not valid TOML, or has an unknown key or value.
    #[error("{0}")]
    Mapping(String),
    /// A file for bad rows is there already.
    #[error("{0} exists already; nothing was written")]
    Exists(String),
}
