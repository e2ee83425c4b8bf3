//! How a file says things: its delimiter, decimal mark and dates, and which of its headings stands for which field.

use std::collections::BTreeMap;
use std::str::FromStr;

use serde::Deserialize;

use super::fault::ExchangeError;

/// The byte between two fields.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Delimiter(u8);

impl Delimiter {
    /// The byte.
    pub const fn byte(self) -> u8 {
        self.0
    }
}

impl FromStr for Delimiter {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        match text.as_bytes() {
            _ if text.eq_ignore_ascii_case("tab") => Ok(Self(b'\t')),
            &[byte @ (b',' | b';' | b'\t' | b'|' | b':' | b' ')] => Ok(Self(byte)),
            _ => Err(format!("`{text}` is no delimiter; known are `,` `;` `|` `:` a space and `tab`")),
        }
    }
}

/// The decimal mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Decimal {
    /// 23.5
    Point,
    /// 23,5
    Comma,
}

impl Decimal {
    /// The mark itself.
    pub const fn mark(self) -> u8 {
        match self {
            Self::Point => b'.',
            Self::Comma => b',',
        }
    }

    /// The mark that this file does not use.
    pub const fn other(self) -> char {
        match self {
            Self::Point => ',',
            Self::Comma => '.',
        }
    }

    /// The word for people.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Point => "point",
            Self::Comma => "comma",
        }
    }
}

impl FromStr for Decimal {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        match text {
            "." => Ok(Self::Point),
            "," => Ok(Self::Comma),
            _ => Err(format!("`{text}` is no decimal mark; known are `.` and `,`")),
        }
    }
}

/// The order of year, month and day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dates {
    /// 2026-11-25
    Ymd,
    /// 25.11.2026
    Dmy,
    /// 11/25/2026
    Mdy,
}

impl Dates {
    /// The twenty-fifth of November 2026 as an example.
    pub const fn example(self) -> &'static str {
        match self {
            Self::Ymd => "2026-11-25",
            Self::Dmy => "25.11.2026",
            Self::Mdy => "11/25/2026",
        }
    }
}

impl FromStr for Dates {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        match text {
            "ymd" => Ok(Self::Ymd),
            "dmy" => Ok(Self::Dmy),
            "mdy" => Ok(Self::Mdy),
            _ => Err(format!("`{text}` is no order of dates; known are ymd, dmy and mdy")),
        }
    }
}

/// Where one field is read from: `FIELD=HEADING`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// Our name of the field.
    pub field: String,
    /// The file's heading.
    pub heading: String,
}

impl FromStr for Column {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        match text.split_once('=') {
            Some((field, heading)) if !field.trim().is_empty() && !heading.trim().is_empty() => {
                Ok(Self { field: field.trim().to_owned(), heading: heading.trim().to_owned() })
            }
            _ => Err(format!("`{text}` is no column; give FIELD=HEADING such as pack=Barcode")),
        }
    }
}

/// How a file is read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mapping {
    /// The delimiter.
    pub delimiter: Delimiter,
    /// The decimal mark.
    pub decimal: Decimal,
    /// The order of dates.
    pub dates: Dates,
    /// Fields with headings of the file's own; every other field goes by our name for it.
    pub columns: Vec<Column>,
}

impl Default for Mapping {
    fn default() -> Self {
        Self { delimiter: Delimiter(b','), decimal: Decimal::Point, dates: Dates::Ymd, columns: Vec::new() }
    }
}

/// What options say besides the mapping's file; each takes the place of what stands there.
#[derive(Debug, Clone, Default)]
pub struct Overrides {
    /// The delimiter.
    pub delimiter: Option<Delimiter>,
    /// The decimal mark.
    pub decimal: Option<Decimal>,
    /// The order of dates.
    pub dates: Option<Dates>,
    /// Headings; those of a field take the place of all headings of that field.
    pub columns: Vec<Column>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    delimiter: Option<String>,
    decimal: Option<String>,
    dates: Option<String>,
    #[serde(default)]
    columns: BTreeMap<String, Headings>,
}

/// One heading, or several.
#[derive(Debug, Clone, Deserialize)]
#[serde(untagged)]
pub(super) enum Headings {
    One(String),
    Several(Vec<String>),
}

impl Mapping {
    /// Reads a mapping from TOML: `delimiter`, `decimal`, `dates`, and a table `[columns]` from our fields to the file's
    /// headings.
    ///
    /// ```
    /// use packmuster::exchange::mapping::{Dates, Mapping};
    /// let text = "delimiter = ';'\ndates = 'dmy'\n[columns]\npack = 'Barcode'\ncode = ['Old number', 'Library code']";
    /// let mapping = Mapping::parse(text)?;
    /// assert_eq!((mapping.dates, mapping.columns.len()), (Dates::Dmy, 3));
    /// # Ok::<(), packmuster::exchange::fault::ExchangeError>(())
    /// ```
    ///
    /// # Errors
    /// [`ExchangeError::Mapping`], naming the key and the value.
    pub fn parse(text: &str) -> Result<Self, ExchangeError> {
        let file: File = toml::from_str(text)
            .map_err(|error| ExchangeError::Mapping(error.to_string().trim().to_owned()))?;
        Self::from_parts(file.delimiter, file.decimal, file.dates, file.columns)
    }

    /// Makes a mapping from what stands in its file.
    pub(super) fn from_parts(
        delimiter: Option<String>,
        decimal: Option<String>,
        dates: Option<String>,
        columns: BTreeMap<String, Headings>,
    ) -> Result<Self, ExchangeError> {
        let mut mapping = Self::default();
        if let Some(text) = delimiter {
            mapping.delimiter = text.parse().map_err(ExchangeError::Mapping)?;
        }
        if let Some(text) = decimal {
            mapping.decimal = text.parse().map_err(ExchangeError::Mapping)?;
        }
        if let Some(text) = dates {
            mapping.dates = text.parse().map_err(ExchangeError::Mapping)?;
        }
        for (field, headings) in columns {
            let headings = match headings {
                Headings::One(heading) => vec![heading],
                Headings::Several(headings) => headings,
            };
            mapping.columns.extend(
                headings
                    .into_iter()
                    .map(|heading| Column { field: field.clone(), heading: heading.trim().to_owned() }),
            );
        }
        Ok(mapping)
    }

    /// Lets options take the place of what the mapping says.
    #[must_use]
    pub fn with(mut self, options: Overrides) -> Self {
        self.delimiter = options.delimiter.unwrap_or(self.delimiter);
        self.decimal = options.decimal.unwrap_or(self.decimal);
        self.dates = options.dates.unwrap_or(self.dates);
        self.columns.retain(|known| options.columns.iter().all(|given| given.field != known.field));
        self.columns.extend(options.columns);
        self
    }
}
