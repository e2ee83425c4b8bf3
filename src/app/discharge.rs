//! Discharge logs: measured, and entered as readings.
//!
//! Every log of a file gives its figures, or what is wrong with it and on which line. Entering takes the logs as readings of the
//! bench, under all the checks of an import: one act, whole or not at all, unless the good logs are asked for alone.

use std::io::BufRead;

use jiff::civil::{DateTime, DateTimeRound};
use jiff::{RoundMode, Unit};
use serde::Serialize;

use crate::domain::event::Event;
use crate::domain::moment::Moment;
use crate::domain::pack::PackFacts;
use crate::domain::units::Millivolts;
use crate::exchange::cells::Cells;
use crate::exchange::fault::Fault;
use crate::exchange::layout::Layout;
use crate::exchange::log::{self, LogKey, LogMapping, Logs};
use crate::exchange::mapping::Mapping;
use crate::exchange::readings;
use crate::exchange::table::Row;
use crate::ledger::Ledger;
use crate::stats::discharge::{Discharge, End, Flaw, Meter, Rule};

use super::error::AppError;
use super::import::readings::{Implausible, Readings, Summary};
use super::import::{Import as _, Refusal};
use super::lookup::{self, Scanned};
use super::session::Here;

/// How a file of logs is measured.
#[derive(Debug, Clone)]
pub struct Job<'a> {
    /// Its name for messages.
    pub file: &'a str,
    /// How it is read.
    pub mapping: LogMapping,
    /// Where exactly a discharge ends.
    pub end: End,
    /// The end voltage of every log; else that of the pack's make.
    pub end_voltage: Option<Millivolts>,
    /// The pack of logs that name none.
    pub pack: Option<String>,
    /// The slot of logs that name none.
    pub slot: Option<String>,
    /// Points of each curve to keep for drawing.
    pub points: usize,
}

/// What a file of logs says.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Report {
    /// The file.
    pub file: String,
    /// Rows below the heading.
    pub rows: u64,
    /// Columns that were not read.
    pub unread_columns: Vec<String>,
    /// Where exactly a discharge ends.
    pub rule: &'static str,
    /// The logs, in the order in which they begin.
    pub logs: Vec<Log>,
}

/// One log.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Log {
    /// What tells it from the others of its file.
    pub name: String,
    /// The line of its first row.
    pub line: u64,
    /// A code of its pack.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pack: Option<String>,
    /// Name or tag of its slot.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub slot: Option<String>,
    /// The end voltage that it was measured to.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub end_voltage_mv: Option<Millivolts>,
    /// Its figures.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub discharge: Option<Figures>,
    /// What is wrong with it, with the line.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fault: Option<Trouble>,
}

/// What is wrong with a log.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Trouble {
    /// The line that shows it.
    pub line: u64,
    /// In words.
    pub text: String,
}

/// The figures of one discharge.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Figures {
    /// Charge until the end voltage.
    pub capacity_mah: f64,
    /// The same until the first sample at or below it.
    pub first_sample_mah: f64,
    /// Energy until the end voltage.
    pub energy_wh: f64,
    /// Mean voltage, by charge.
    pub mean_v: f64,
    /// From load to end voltage.
    pub time_s: f64,
    /// Internal resistance, from a step of the current.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub resistance_mohm: Option<f64>,
    /// The time between the two samples that tell it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub resistance_over_s: Option<f64>,
    /// Mean temperature.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<f64>,
    /// When it ended, local time, where the log has dates.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ended: Option<DateTime>,
    /// Samples of it.
    pub samples: u64,
    /// The log shows the pack charged before.
    pub charged_before: bool,
    /// Hours since the load came on, and volts.
    #[serde(skip)]
    pub curve: Vec<(f64, f64)>,
}

impl Figures {
    fn of(found: &Discharge, dated: bool) -> Self {
        Self {
            capacity_mah: found.charge_ah * 1000.0,
            first_sample_mah: found.first_sample_ah * 1000.0,
            energy_wh: found.energy_wh,
            mean_v: found.mean_v,
            time_s: found.time_s,
            resistance_mohm: found.step.map(|step| step.resistance_ohm * 1000.0),
            resistance_over_s: found.step.map(|step| step.over_s),
            temperature_c: found.temperature_c,
            ended: dated.then(|| log::dated(found.ended_s)).flatten(),
            samples: found.samples,
            charged_before: found.charged_before,
            curve: found.curve.iter().map(|(time_s, volts)| (time_s / 3600.0, *volts)).collect(),
        }
    }
}

/// A log on its way.
enum Way {
    Measured(Millivolts, Box<Meter>),
    Spoilt(Option<Millivolts>, Trouble),
}

/// Measures every log of a file. `ledger` is asked for the end voltages of packs where the job has none. `progress` is told how many
/// rows are done.
///
/// # Errors
/// When the file is no table or cannot be read, or a fault of the ledger. What is wrong with a log is in the report.
pub fn measure(
    ledger: Option<&mut Ledger>,
    job: &Job<'_>,
    input: impl BufRead,
    mut progress: impl FnMut(u64),
) -> Result<Report, AppError> {
    let mut logs = Logs::new(input, job.file, job.mapping.clone())?;
    let mut ways: Vec<Way> = Vec::new();
    let mut last_line = Vec::new();
    let mut rows = 0_u64;
    let mut ledger = ledger;
    let mut lost: Option<Trouble> = None;
    while let Some(row) = logs.read()? {
        rows += 1;
        let Some(log) = row.log else {
            // It may be of any log: none that is still open can be trusted.
            let text = row.sample.err().map(|fault| fault.to_string()).unwrap_or_default();
            lost = Some(Trouble { line: row.line, text });
            for way in &mut ways {
                spoil(way, lost.as_ref());
            }
            continue;
        };
        if log >= ways.len() {
            let key = logs.keys().get(log);
            ways.push(begin(ledger.as_deref_mut(), job, key)?);
            last_line.push(0);
            // Nor one that begins with the next row.
            for way in ways.iter_mut().skip(log) {
                spoil(way, lost.as_ref());
            }
        }
        lost = None;
        let (Some(way), Some(last)) = (ways.get_mut(log), last_line.get_mut(log)) else { continue };
        let Way::Measured(end, meter) = way else { continue };
        *last = row.line;
        let spoilt = match row.sample {
            Ok(sample) => meter.push(sample).err().map(|flaw| flaw.to_string()),
            // What stands behind the end of a discharge changes nothing.
            Err(_) if meter.is_done() => None,
            Err(fault) => Some(fault.to_string()),
        };
        if let Some(text) = spoilt {
            *way = Way::Spoilt(Some(*end), Trouble { line: row.line, text });
        }
        if rows.is_multiple_of(1 << 16) {
            progress(rows);
        }
    }
    let dated = job.mapping.is_dated();
    let told = logs.keys().iter().zip(ways).zip(last_line);
    Ok(Report {
        file: job.file.to_owned(),
        rows,
        unread_columns: logs.unread().to_vec(),
        rule: match job.end {
            End::Interpolated => "interpolated",
            End::FirstSample => "first sample at or below",
        },
        logs: told.map(|((key, way), last)| tell(job, key, way, last, dated)).collect(),
    })
}

/// Spoils a log that is not done yet.
fn spoil(way: &mut Way, trouble: Option<&Trouble>) {
    if let (Way::Measured(end, meter), Some(trouble)) = (&*way, trouble)
        && !meter.is_done()
    {
        *way = Way::Spoilt(Some(*end), trouble.clone());
    }
}

/// Begins a log: its end voltage must be known.
fn begin(ledger: Option<&mut Ledger>, job: &Job<'_>, key: Option<&LogKey>) -> Result<Way, AppError> {
    let line = key.map_or(0, |key| key.line);
    let pack = key.and_then(|key| key.pack.as_ref()).or(job.pack.as_ref());
    let end = match (job.end_voltage, ledger, pack) {
        (Some(end), ..) => Ok(end),
        (None, Some(ledger), Some(pack)) => end_of(ledger, pack)?,
        (None, _, None) => {
            Err("no end voltage is given (--end), and the log names no pack whose make has one".to_owned())
        }
        (None, None, Some(pack)) => {
            Err(format!("no end voltage is given (--end), and no ledger is here that knows `{pack}`"))
        }
    };
    Ok(match end {
        Ok(end) => {
            let rule = Rule {
                end_v: f64::from(end.raw()) / 1000.0,
                end: job.end,
                points: job.points,
                ..Rule::default()
            };
            let rest_a = job.mapping.rest_ma.map_or(rule.rest_a, |rest| rest / 1000.0);
            let gap_s = job.mapping.longest_gap_s.unwrap_or(rule.gap_s);
            Way::Measured(end, Box::new(Meter::new(Rule { rest_a, gap_s, ..rule })))
        }
        Err(text) => Way::Spoilt(None, Trouble { line, text }),
    })
}

/// The end voltage of a pack's make.
fn end_of(ledger: &mut Ledger, code: &str) -> Result<Result<Millivolts, String>, AppError> {
    let (Scanned::Known(thing) | Scanned::Retired(thing)) = lookup::scanned(ledger, code)? else {
        return Ok(Err(format!("nothing is known by `{code}`, and no end voltage is given (--end)")));
    };
    let Some(pack) = thing.pack() else {
        return Ok(Err(format!("`{code}` names a {}, not a pack", thing.kind)));
    };
    let facts: PackFacts = ledger.facts(pack.into())?.unwrap_or_default();
    let make = facts.make.and_then(|make| ledger.settings().ok()?.makes.get(&make).cloned());
    Ok(make
        .map(|make| make.end)
        .ok_or_else(|| format!("the make of `{code}` is not known, and no end voltage is given")))
}

fn tell(job: &Job<'_>, key: &LogKey, way: Way, last: u64, dated: bool) -> Log {
    let (end_voltage_mv, found) = match way {
        Way::Spoilt(end, trouble) => (end, Err(trouble)),
        Way::Measured(end, meter) => {
            let found = meter.finish().map_err(|flaw: Flaw| Trouble { line: last, text: flaw.to_string() });
            (Some(end), found)
        }
    };
    let (discharge, fault) = match found {
        Ok(found) => (Some(Figures::of(&found, dated)), None),
        Err(trouble) => (None, Some(trouble)),
    };
    let pack = key.pack.clone().or_else(|| job.pack.clone());
    let slot = key.slot.clone().or_else(|| job.slot.clone());
    let words: Vec<&str> = pack.iter().chain(&slot).chain(&key.rest).map(String::as_str).collect();
    let name = if words.is_empty() { job.file.to_owned() } else { words.join(" ") };
    Log { name, line: key.line, pack, slot, end_voltage_mv, discharge, fault }
}

/// Which logs of a file are entered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Entering {
    /// All of them, or none.
    Whole,
    /// Those that can be.
    KeepGood,
}

/// What was entered.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Entered {
    /// True when the readings are in the ledger.
    pub written: bool,
    /// Logs that are not entered, and why.
    pub refused: Vec<Fault>,
    /// What the readings are.
    #[serde(flatten)]
    pub summary: Summary,
}

/// Ends the transaction without a trace.
enum Stop {
    Untouched(Box<Entered>),
    App(AppError),
}

impl<E: Into<AppError>> From<E> for Stop {
    fn from(error: E) -> Self {
        Self::App(error.into())
    }
}

/// Enters measured logs as readings, in one act. `at` is when those ended that do not say it themselves; else they ended now.
///
/// # Errors
/// A fault of the ledger. Logs that cannot be entered are told in the answer.
pub fn enter(
    here: &mut Here<'_>,
    report: &Report,
    entering: Entering,
    at: Option<DateTime>,
    implausible: Implausible,
) -> Result<Entered, AppError> {
    let mut import = Readings::new(here.ledger, implausible)?;
    let zone = here.ledger.zone().clone();
    let done = here.desk.record_each(here.ledger, |ledger, desk, pen| {
        let now = pen.now();
        let mut refused = Vec::new();
        let mut events: Vec<Event> = Vec::new();
        for log in &report.logs {
            let at = at.unwrap_or_else(|| zone.to_datetime(now.timestamp()));
            let taken = match (&log.discharge, &log.fault) {
                (Some(figures), _) => {
                    let mut here = Here { ledger: &mut *ledger, desk: &mut *desk };
                    take(&mut here, &mut import, now, (log, figures, at), &mut events)
                }
                (None, trouble) => {
                    let line = trouble.as_ref().map_or(log.line, |trouble| trouble.line);
                    let text = trouble.as_ref().map(|trouble| trouble.text.clone()).unwrap_or_default();
                    Err(Refusal::Row(Fault::new(
                        line,
                        "log",
                        &log.name,
                        format!("a whole discharge: {text}"),
                    )))
                }
            };
            match taken {
                Ok(()) => {
                    for event in events.drain(..) {
                        ledger.append(pen, &event)?;
                    }
                }
                Err(Refusal::Row(fault)) => {
                    events.clear();
                    refused.push(fault);
                }
                Err(Refusal::Ledger(error)) => return Err(Stop::App(error.into())),
            }
        }
        let summary = import.summary(ledger, now)?;
        let written = summary.readings > 0 && (refused.is_empty() || entering == Entering::KeepGood);
        let entered = Entered { written, refused, summary };
        if written { Ok(entered) } else { Err(Stop::Untouched(Box::new(entered))) }
    });
    match done {
        Ok(entered) => Ok(entered),
        Err(Stop::Untouched(entered)) => Ok(*entered),
        Err(Stop::App(error)) => Err(error),
    }
}

/// Takes one log as a row of the table of readings, on the line where it begins.
fn take(
    here: &mut Here<'_>,
    import: &mut Readings,
    now: Moment,
    (log, figures, at): (&Log, &Figures, DateTime),
    events: &mut Vec<Event>,
) -> Result<(), Refusal> {
    let heading = Row::of(0, readings::SHAPE.fields.iter().map(|field| field.name));
    let mapping = Mapping::default();
    let layout = Layout::find(readings::SHAPE, &mapping, "", &heading)
        .map_err(|error| Fault::new(log.line, "log", &log.name, error.to_string()))?;
    let text = |value: Option<f64>, places: usize| {
        value.map(|value| format!("{value:.places$}")).unwrap_or_default()
    };
    let at = figures.ended.unwrap_or(at);
    let whole = DateTimeRound::new().smallest(Unit::Second).mode(RoundMode::Trunc);
    let at = at.round(whole).unwrap_or(at);
    let cells = [
        log.pack.clone().unwrap_or_default(),
        at.to_string().replace('T', " "),
        format!("{:.0}", figures.capacity_mah),
        text(figures.resistance_mohm.filter(|found| *found >= 0.0), 2),
        text(figures.temperature_c, 1),
        String::new(),
        log.slot.clone().unwrap_or_default(),
    ];
    let row = Row::of(log.line, cells.iter().map(String::as_str));
    import.take(here, now, &Cells::new(&row, &layout, &mapping)?, events)
}
