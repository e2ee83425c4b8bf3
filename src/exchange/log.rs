//! Discharge logs: CSV with any columns in any order and units, as a small mapping file says.
//!
//! A file may hold many logs, one after the other or row by row in turn: what stands in the columns `pack`, `slot` and `log` tells
//! one from another. Rows are read once, in order; memory does not grow with them. A cell that does not read is a [`Fault`]
//! with its line, field and value; nothing is taken for zero.

mod number;

use std::collections::{BTreeMap, HashMap};
use std::io::BufRead;

use jiff::civil::DateTime;
use serde::Deserialize;

use crate::stats::discharge::Sample;

use super::fault::{ExchangeError, Fault};
use super::layout::{Field, Layout, Shape, Wanted};
use super::mapping::{Headings, Mapping};
use super::table::{Row, Table};

use number::number;

/// When the sample was taken.
const TIME: usize = 0;
/// Voltage of the pack.
const VOLTAGE: usize = 1;
/// Current.
const CURRENT: usize = 2;
/// Temperature.
const TEMPERATURE: usize = 3;
/// A code of the pack.
const PACK: usize = 4;
/// Name or tag of the slot.
const SLOT: usize = 5;
/// What else tells one log from another.
const LOG: usize = 6;

/// The table of samples.
const SHAPE: Shape = Shape {
    name: "logs",
    fields: &[
        Field { name: "time", wanted: Wanted::Once },
        Field { name: "voltage", wanted: Wanted::Once },
        Field { name: "current", wanted: Wanted::Once },
        Field { name: "temperature", wanted: Wanted::Maybe },
        Field { name: "pack", wanted: Wanted::Maybe },
        Field { name: "slot", wanted: Wanted::Maybe },
        Field { name: "log", wanted: Wanted::Often },
    ],
};

/// How a log says times.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
enum TimeUnit {
    #[default]
    S,
    Ms,
    Min,
    H,
    /// Hours, minutes and seconds since the start: 1:02:03.5.
    Clock,
    /// Local date and time: 2026-11-28 09:15:00.
    Date,
}

/// How a log says voltages.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
enum VoltageUnit {
    #[default]
    V,
    #[serde(rename = "mV")]
    Millivolts,
}

/// How a log says currents.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
enum CurrentUnit {
    #[default]
    A,
    #[serde(rename = "mA")]
    Milliamps,
}

/// How a log says temperatures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
enum TemperatureUnit {
    #[default]
    C,
    K,
    F,
}

/// The sign that a log gives to the current out of a pack.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
enum Sign {
    #[default]
    Positive,
    Negative,
}

#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Units {
    #[serde(default)]
    time: TimeUnit,
    #[serde(default)]
    voltage: VoltageUnit,
    #[serde(default)]
    current: CurrentUnit,
    #[serde(default)]
    temperature: TemperatureUnit,
}

/// What stands in the mapping's file besides what the tables of imports have.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    delimiter: Option<String>,
    decimal: Option<String>,
    #[serde(default)]
    columns: BTreeMap<String, Headings>,
    #[serde(default)]
    units: Units,
    #[serde(default)]
    discharge: Sign,
    #[serde(default)]
    heading_line: Option<u64>,
    rest_ma: Option<f64>,
    longest_gap_s: Option<f64>,
}

/// How a file of logs is read.
#[derive(Debug, Clone, PartialEq)]
pub struct LogMapping {
    table: Mapping,
    units: Units,
    discharge: Sign,
    heading_line: u64,
    /// A smaller current than this is none, mA.
    pub rest_ma: Option<f64>,
    /// The longest time between two samples of a discharge, s.
    pub longest_gap_s: Option<f64>,
}

impl Default for LogMapping {
    fn default() -> Self {
        Self {
            table: Mapping::default(),
            units: Units::default(),
            discharge: Sign::default(),
            heading_line: 1,
            rest_ma: None,
            longest_gap_s: None,
        }
    }
}

impl LogMapping {
    /// Reads a mapping from TOML. Everything may be left out: columns go by our names then (`time`, `voltage`, `current`,
    /// `temperature`, `pack`, `slot`, `log`), units are s, V, A and C, and a current out of the pack is positive.
    ///
    /// ```
    /// use packmuster::exchange::log::LogMapping;
    /// let text = "delimiter = ';'\ndecimal = ','\ndischarge = 'negative'\n\
    ///     [columns]\ntime = 'Elapsed'\nvoltage = 'U'\ncurrent = 'I'\nlog = ['Channel', 'Cycle']\n\
    ///     [units]\ntime = 'clock'\nvoltage = 'mV'\ncurrent = 'mA'";
    /// assert!(LogMapping::parse(text).is_ok());
    /// assert!(LogMapping::parse("[units]\ntime = 'parsec'").is_err());
    /// # Ok::<(), packmuster::exchange::fault::ExchangeError>(())
    /// ```
    ///
    /// # Errors
    /// [`ExchangeError::Mapping`], naming the key and the value.
    pub fn parse(text: &str) -> Result<Self, ExchangeError> {
        let bad = |text: String| ExchangeError::Mapping(text);
        let file: File = toml::from_str(text).map_err(|error| bad(error.to_string().trim().to_owned()))?;
        for (key, value) in [("rest_ma", file.rest_ma), ("longest_gap_s", file.longest_gap_s)] {
            if let Some(value) = value.filter(|value| !(value.is_finite() && *value > 0.0)) {
                return Err(bad(format!("`{key}` is {value}: expected a number above zero")));
            }
        }
        let table = Mapping::from_parts(file.delimiter, file.decimal, None, file.columns)?;
        Ok(Self {
            table,
            units: file.units,
            discharge: file.discharge,
            heading_line: file.heading_line.unwrap_or(1).max(1),
            rest_ma: file.rest_ma,
            longest_gap_s: file.longest_gap_s,
        })
    }

    /// True when the times are dates: a log then tells when it ended.
    pub fn is_dated(&self) -> bool {
        self.units.time == TimeUnit::Date
    }
}

/// One row of a file of logs.
#[derive(Debug, Clone, PartialEq)]
pub struct LogRow {
    /// The line on which it stands.
    pub line: u64,
    /// Which log of the file it belongs to, from 0 in the order of their first rows; none for a row whose fields cannot be told
    /// apart.
    pub log: Option<usize>,
    /// What it says, or what is wrong with it.
    pub sample: Result<Sample, Fault>,
}

/// What tells one log of a file from the others.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LogKey {
    /// The line of its first row.
    pub line: u64,
    /// A code of the pack.
    pub pack: Option<String>,
    /// Name or tag of the slot.
    pub slot: Option<String>,
    /// What else stands there.
    pub rest: Vec<String>,
}

/// A file of logs that is being read.
#[derive(Debug)]
pub struct Logs<R> {
    table: Table<R>,
    row: Row,
    mapping: LogMapping,
    layout: Layout,
    places: Places,
    keys: Vec<LogKey>,
    known: HashMap<Vec<u8>, usize>,
    /// The key of the row before, joined, and its log: most rows have the same.
    last: (Vec<u8>, usize),
}

/// Where the fields stand.
#[derive(Debug, Clone, Default)]
struct Places {
    time: usize,
    voltage: usize,
    current: usize,
    temperature: Option<usize>,
    keys: Vec<usize>,
}

/// The zero of dated times; any would do, as only differences count.
const ZERO: DateTime = DateTime::constant(2000, 1, 1, 0, 0, 0, 0);

impl<R: BufRead> Logs<R> {
    /// Reads the heading; `file` is the name for messages.
    ///
    /// # Errors
    /// When the file cannot be read, has no heading, or lacks a column.
    pub fn new(input: R, file: &str, mapping: LogMapping) -> Result<Self, ExchangeError> {
        let mut table = Table::new(input, file, mapping.table.delimiter.byte());
        table.pass_lines(mapping.heading_line - 1)?;
        let mut row = Row::default();
        if !table.read(&mut row)? {
            return Err(ExchangeError::Empty(file.to_owned()));
        }
        let layout = Layout::find(SHAPE, &mapping.table, file, &row)?;
        let first = |field| layout.places(field).first().copied();
        let places = Places {
            time: first(TIME).unwrap_or_default(),
            voltage: first(VOLTAGE).unwrap_or_default(),
            current: first(CURRENT).unwrap_or_default(),
            temperature: first(TEMPERATURE),
            keys: [PACK, SLOT, LOG].into_iter().flat_map(|field| layout.places(field).to_vec()).collect(),
        };
        let (keys, known, last) = (Vec::new(), HashMap::new(), (Vec::new(), usize::MAX));
        Ok(Self { table, row, mapping, layout, places, keys, known, last })
    }

    /// The file's name for messages.
    pub fn file(&self) -> &str {
        self.table.file()
    }

    /// The logs that were met so far.
    pub fn keys(&self) -> &[LogKey] {
        &self.keys
    }

    /// The columns that are not read.
    pub fn unread(&self) -> &[String] {
        self.layout.unread()
    }

    /// Reads the next row; nothing behind the last.
    ///
    /// # Errors
    /// When the file cannot be read on.
    pub fn read(&mut self) -> Result<Option<LogRow>, ExchangeError> {
        if !self.table.read(&mut self.row)? {
            return Ok(None);
        }
        let line = self.row.line();
        Ok(Some(match self.whole() {
            Some(fault) => LogRow { line, log: None, sample: Err(fault) },
            None => LogRow { line, log: Some(self.log()), sample: self.sample() },
        }))
    }

    /// Which log the row belongs to.
    fn log(&mut self) -> usize {
        let cell = |place: &usize| self.row.cell(*place).unwrap_or_default().trim_ascii();
        let mut rest = self.last.0.as_slice();
        let same = self.places.keys.iter().all(|place| {
            let cell = cell(place);
            match rest.strip_prefix(cell).and_then(|rest| rest.strip_prefix(&[0])) {
                Some(after) => {
                    rest = after;
                    true
                }
                None => false,
            }
        });
        if same && rest.is_empty() && self.last.1 != usize::MAX {
            return self.last.1;
        }
        let mut key = Vec::new();
        for place in &self.places.keys {
            key.extend_from_slice(cell(place));
            key.push(0);
        }
        let log = self.known.get(&key).copied().unwrap_or_else(|| {
            self.keys.push(self.key());
            self.known.insert(key.clone(), self.keys.len() - 1);
            self.keys.len() - 1
        });
        self.last = (key, log);
        log
    }

    fn key(&self) -> LogKey {
        let text = |place: &usize| {
            String::from_utf8_lossy(self.row.cell(*place).unwrap_or_default().trim_ascii()).into_owned()
        };
        let texts = |field| self.layout.places(field).iter().map(text).filter(|text| !text.is_empty());
        LogKey {
            line: self.row.line(),
            pack: texts(PACK).next(),
            slot: texts(SLOT).next(),
            rest: texts(LOG).collect(),
        }
    }

    fn fault(&self, field: usize, cell: &[u8], expected: &str) -> Fault {
        Fault::new(self.row.line(), self.layout.label(field), &String::from_utf8_lossy(cell), expected)
    }

    /// What is wrong with the row as a whole, if anything.
    fn whole(&self) -> Option<Fault> {
        let row = &self.row;
        let wanted = self.layout.heading().len();
        let expected = match row.broken() {
            Some(broken) => broken.expected().to_owned(),
            None if row.len() != wanted => format!("{wanted} fields as in the heading, found {}", row.len()),
            None => return None,
        };
        let text: Vec<_> = row.cells().map(String::from_utf8_lossy).collect();
        let delimiter = char::from(self.mapping.table.delimiter.byte()).to_string();
        Some(Fault::new(row.line(), "row", &text.join(&delimiter), expected))
    }

    fn sample(&self) -> Result<Sample, Fault> {
        let units = &self.mapping.units;
        let time_s = match units.time {
            TimeUnit::S => self.number(TIME, self.places.time)?,
            TimeUnit::Ms => self.number(TIME, self.places.time)? / 1000.0,
            TimeUnit::Min => self.number(TIME, self.places.time)? * 60.0,
            TimeUnit::H => self.number(TIME, self.places.time)? * 3600.0,
            TimeUnit::Clock => self.clock()?,
            TimeUnit::Date => self.date()?,
        };
        let voltage = self.number(VOLTAGE, self.places.voltage)?;
        let current = self.number(CURRENT, self.places.current)?;
        let current = if self.mapping.discharge == Sign::Negative { -current } else { current };
        let temperature_c = match self.places.temperature {
            None => None,
            Some(place) => {
                let value = self.number(TEMPERATURE, place)?;
                Some(match units.temperature {
                    TemperatureUnit::C => value,
                    TemperatureUnit::K => value - 273.15,
                    TemperatureUnit::F => (value - 32.0) / 1.8,
                })
            }
        };
        Ok(Sample {
            time_s,
            voltage_v: if units.voltage == VoltageUnit::Millivolts { voltage / 1000.0 } else { voltage },
            discharge_a: if units.current == CurrentUnit::Milliamps { current / 1000.0 } else { current },
            temperature_c,
        })
    }

    fn cell(&self, place: usize) -> &[u8] {
        self.row.cell(place).unwrap_or_default().trim_ascii()
    }

    fn number(&self, field: usize, place: usize) -> Result<f64, Fault> {
        let cell = self.cell(place);
        let decimal = self.mapping.table.decimal;
        number(cell, decimal)
            .ok_or_else(|| self.fault(field, cell, &format!("a number with a decimal {}", decimal.word())))
    }

    /// Hours, minutes and seconds since the start; the hours may be many, and may be left out.
    fn clock(&self) -> Result<f64, Fault> {
        let cell = self.cell(self.places.time);
        let decimal = self.mapping.table.decimal;
        let mut parts = cell.rsplit(|&byte| byte == b':');
        let seconds = parts.next().and_then(|part| number(part, decimal));
        let whole = |part: Option<&[u8]>| match part {
            None => Some(0.0),
            Some(part) => number(part, decimal).filter(|value| *value >= 0.0 && value.fract() == 0.0),
        };
        let (minutes, hours, more) = (whole(parts.next()), whole(parts.next()), parts.next());
        match (hours, minutes, seconds, more) {
            (Some(hours), Some(minutes), Some(seconds), None)
                if (0.0..60.0).contains(&seconds)
                    && (minutes < 60.0 || cell.split(|&byte| byte == b':').count() == 2) =>
            {
                Ok(hours * 3600.0 + minutes * 60.0 + seconds)
            }
            _ => Err(self.fault(TIME, cell, "a time since the start such as 1:02:03.5")),
        }
    }

    fn date(&self) -> Result<f64, Fault> {
        let cell = self.cell(self.places.time);
        let parsed = std::str::from_utf8(cell).ok().and_then(|text| text.parse::<DateTime>().ok());
        let since = parsed.and_then(|time| time.since(ZERO).ok());
        since
            .and_then(|span| span.to_duration(jiff::SpanRelativeTo::days_are_24_hours()).ok())
            .map(|duration| duration.as_secs_f64())
            .ok_or_else(|| self.fault(TIME, cell, "a date and time such as 2026-11-28 09:15:00"))
    }
}

/// The local date and time that [`LogRow::sample`] tells as seconds, where times are dates.
pub fn dated(time_s: f64) -> Option<DateTime> {
    let span = jiff::SignedDuration::try_from_secs_f64(time_s).ok()?;
    ZERO.checked_add(span).ok()
}
