//! The cells of one row as typed values. An empty cell, or a column that is not there, is a value that is not known.

use std::str::FromStr;

use jiff::civil::{Date, DateTime, Time};

use crate::domain::tag::{Tag, TagError, TagKind};
use crate::domain::units::QuantityError;

use super::fault::Fault;
use super::layout::Layout;
use super::mapping::{Dates, Mapping};
use super::table::Row;

/// Longest text of a cell, in bytes.
const LONGEST: usize = 128;

/// A code as a file gives it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Code {
    /// A tag of ours.
    Ours(Tag),
    /// Anybody else's code.
    Foreign(String),
}

impl Code {
    /// The text as the ledger keeps it.
    pub fn text(&self) -> &str {
        match self {
            Self::Ours(tag) => tag.text(),
            Self::Foreign(text) => text,
        }
    }
}

/// When something happened, in local time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum When {
    /// The day only.
    Day(Date),
    /// To the second.
    Time(DateTime),
}

/// One row, read through the columns of its file.
#[derive(Debug, Clone, Copy)]
pub struct Cells<'a> {
    row: &'a Row,
    layout: &'a Layout,
    mapping: &'a Mapping,
}

impl<'a> Cells<'a> {
    /// Looks at a row.
    ///
    /// # Errors
    /// When its quotes are broken, it is not UTF-8 text, or has not as many fields as the heading.
    pub fn new(row: &'a Row, layout: &'a Layout, mapping: &'a Mapping) -> Result<Self, Fault> {
        let whole = |expected: String| {
            let text: Vec<_> = row.cells().map(String::from_utf8_lossy).collect();
            Fault::new(
                row.line(),
                "row",
                &text.join(&char::from(mapping.delimiter.byte()).to_string()),
                expected,
            )
        };
        if let Some(broken) = row.broken() {
            return Err(whole(broken.expected().to_owned()));
        }
        if !row.is_text() {
            return Err(whole("UTF-8 text".to_owned()));
        }
        let (found, wanted) = (row.len(), layout.heading().len());
        if found != wanted {
            return Err(whole(format!("{wanted} fields as in the heading, found {found}")));
        }
        Ok(Self { row, layout, mapping })
    }

    /// The line on which the row begins.
    pub const fn line(&self) -> u64 {
        self.row.line()
    }

    /// The text of a field without spaces around it; empty where there is none.
    pub fn text(&self, field: usize) -> &'a str {
        self.layout.places(field).first().map_or("", |&place| self.at(place))
    }

    fn at(&self, place: usize) -> &'a str {
        self.row.cell(place).and_then(|cell| std::str::from_utf8(cell).ok()).unwrap_or_default().trim()
    }

    /// A fault of a field.
    pub fn fault(&self, field: usize, expected: impl Into<String>) -> Fault {
        self.fault_of(field, self.text(field), expected)
    }

    /// A fault of a field with one of its values.
    pub fn fault_of(&self, field: usize, value: &str, expected: impl Into<String>) -> Fault {
        Fault::new(self.line(), self.layout.label(field), value, expected)
    }

    /// A short text without control characters.
    ///
    /// # Errors
    /// When it is too long or has control characters.
    pub fn short(&self, field: usize) -> Result<Option<&'a str>, Fault> {
        let text = self.text(field);
        if is_short(text) {
            return Ok((!text.is_empty()).then_some(text));
        }
        Err(self.fault(field, format!("at most {LONGEST} bytes on one line")))
    }

    /// A date.
    ///
    /// # Errors
    /// When it is none in the file's order.
    pub fn date(&self, field: usize) -> Result<Option<Date>, Fault> {
        let text = self.text(field);
        if text.is_empty() {
            return Ok(None);
        }
        let dates = self.mapping.dates;
        date(text, dates)
            .map(Some)
            .ok_or_else(|| self.fault(field, format!("a date such as {}", dates.example())))
    }

    /// A date, or a date and a time of day.
    ///
    /// # Errors
    /// When it is neither in the file's order.
    pub fn when(&self, field: usize) -> Result<Option<When>, Fault> {
        let text = self.text(field);
        if text.is_empty() {
            return Ok(None);
        }
        let dates = self.mapping.dates;
        let read = match text.split_once([' ', 'T']) {
            None => date(text, dates).map(When::Day),
            Some((day, hour)) => date(day, dates)
                .zip(time(hour.trim()))
                .map(|(day, hour)| When::Time(DateTime::from_parts(day, hour))),
        };
        let expected = || format!("a date or local date and time such as {0} or {0} 14:30", dates.example());
        read.map(Some).ok_or_else(|| self.fault(field, expected()))
    }

    /// A quantity: a bare number in the unit of the field, or a number with its unit.
    ///
    /// # Errors
    /// When it is neither, or has the other decimal mark.
    pub fn quantity<T: FromStr<Err = QuantityError>>(
        &self,
        field: usize,
        bare: fn(&str) -> Result<T, QuantityError>,
        expected: &str,
    ) -> Result<Option<T>, Fault> {
        let text = self.text(field);
        if text.is_empty() {
            return Ok(None);
        }
        let decimal = self.mapping.decimal;
        if text.contains(decimal.other()) {
            return Err(self.fault(field, format!("{expected}, with a decimal {}", decimal.word())));
        }
        let read = if text.ends_with(|c: char| c.is_ascii_digit()) { bare(text) } else { text.parse() };
        read.map(Some).map_err(|_no_quantity| self.fault(field, expected))
    }

    /// The codes in a field's columns that are made for a kind of thing, or are foreign.
    ///
    /// # Errors
    /// When one is a mistyped tag, or a tag made for another kind.
    pub fn codes(&self, field: usize, kind: TagKind) -> Result<Vec<Code>, Fault> {
        let mut codes = Vec::new();
        for &place in self.layout.places(field) {
            let text = self.at(place);
            if !text.is_empty() {
                codes.push(self.code(field, text, kind)?);
            }
        }
        Ok(codes)
    }

    fn code(&self, field: usize, text: &str, kind: TagKind) -> Result<Code, Fault> {
        match text.parse::<Tag>() {
            Ok(tag) if tag.kind() == kind => Ok(Code::Ours(tag)),
            Ok(tag) => {
                let expected = format!("a {kind} tag, and this one is made for a {}", tag.kind());
                Err(self.fault_of(field, text, expected))
            }
            Err(TagError::Check(_)) => {
                Err(self.fault_of(field, text, "another check character: this tag is mistyped"))
            }
            Err(TagError::Character { found, .. }) => {
                Err(self.fault_of(field, text, format!("a tag without `{found}`, which no tag has")))
            }
            Err(TagError::Foreign(_)) if is_short(text) => Ok(Code::Foreign(text.to_owned())),
            Err(TagError::Foreign(_)) => {
                Err(self.fault_of(field, text, format!("a code of at most {LONGEST} bytes on one line")))
            }
        }
    }
}

fn is_short(text: &str) -> bool {
    text.len() <= LONGEST && !text.chars().any(char::is_control)
}

/// Reads a date of three numbers with one mark between them; the year has four digits.
fn date(text: &str, dates: Dates) -> Option<Date> {
    let mark = text.chars().find(|c| matches!(c, '-' | '/' | '.'))?;
    let mut parts = text.split(mark);
    let (first, second, third) = (parts.next()?, parts.next()?, parts.next()?);
    if parts.next().is_some() {
        return None;
    }
    let (year, month, day) = match dates {
        Dates::Ymd => (first, second, third),
        Dates::Dmy => (third, second, first),
        Dates::Mdy => (third, first, second),
    };
    let number =
        |text: &str| text.bytes().all(|b| b.is_ascii_digit()).then(|| text.parse::<i16>().ok()).flatten();
    if year.len() != 4 || month.len() > 2 || day.len() > 2 {
        return None;
    }
    let (month, day) = (i8::try_from(number(month)?).ok()?, i8::try_from(number(day)?).ok()?);
    Date::new(number(year)?, month, day).ok()
}

/// Reads `14:30` or `14:30:05`.
fn time(text: &str) -> Option<Time> {
    let mut parts = text.split(':').map(|part| {
        let sound = (1..=2).contains(&part.len()) && part.bytes().all(|b| b.is_ascii_digit());
        sound.then(|| part.parse::<i8>().ok()).flatten()
    });
    let (hour, minute) = (parts.next()??, parts.next()??);
    let second = match parts.next() {
        None => 0,
        Some(second) => second?,
    };
    if parts.next().is_some() {
        return None;
    }
    Time::new(hour, minute, second, 0).ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date as day;

    #[test]
    fn dates_keep_to_their_order() {
        assert_eq!(date("2026-11-05", Dates::Ymd), Some(day(2026, 11, 5)));
        assert_eq!(date("5.11.2026", Dates::Dmy), Some(day(2026, 11, 5)));
        assert_eq!(date("05/11/2026", Dates::Dmy), Some(day(2026, 11, 5)));
        assert_eq!(date("11/05/2026", Dates::Mdy), Some(day(2026, 11, 5)));
        for wrong in
            ["25.11.26", "2026-11", "2026-11-25-1", "2026-13-01", "+5.11.2026", "x", "", "2026/11.25"]
        {
            assert_eq!(date(wrong, Dates::Dmy), None, "{wrong}");
            assert_eq!(date(wrong, Dates::Ymd), None, "{wrong}");
        }
    }

    #[test]
    fn times_are_hours_and_minutes() {
        assert_eq!(time("9:05"), Time::new(9, 5, 0, 0).ok());
        assert_eq!(time("23:59:59"), Time::new(23, 59, 59, 0).ok());
        for wrong in ["24:00", "9", "9:5:1:2", "09:00Z", "9:60", ""] {
            assert_eq!(time(wrong), None, "{wrong}");
        }
    }
}
