//! Bringing tables over: a fleet that is there already, past readings, and results of the bench.
//!
//! One file is one act: it is in the ledger whole, or not at all. Where that is asked for, the good rows go in and the bad
//! ones into a file beside it; every row is then in exactly one of the two. Rows are read, checked and written one by one
//! in a single transaction, so each is checked against all rows before it, and memory does not grow with the file, but for
//! a few bytes a row to know codes and packs again. Other desks wait until it is done.
//!
//! No verdict is recorded for an imported row: nobody held the pack in hand. Verdicts as they now are, are counted.

pub mod packs;
pub mod readings;
mod verdicts;

use std::io::BufRead;
use std::path::{Path, PathBuf};

use serde::Serialize;

use crate::domain::event::Event;
use crate::domain::moment::Moment;
use crate::exchange::cells::Cells;
use crate::exchange::fault::{ExchangeError, Fault};
use crate::exchange::layout::{Layout, Shape};
use crate::exchange::mapping::Mapping;
use crate::exchange::rejects::Rejects;
use crate::exchange::table::{Row, Table};
use crate::ledger::{Ledger, LedgerError, Pen};

use super::error::AppError;
use super::session::Here;

/// Bad rows that a report names; the rest are counted.
pub const NAMED: usize = 20;

/// What becomes of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mode {
    /// All of it is written, or nothing when a row is bad.
    Whole,
    /// The good rows are written, and the bad ones go into a file beside it.
    KeepGood,
    /// It is checked, and nothing is written.
    DryRun,
}

/// A file to import.
#[derive(Debug, Clone)]
pub struct Job<'a> {
    /// The file.
    pub path: &'a Path,
    /// How it is read.
    pub mapping: &'a Mapping,
    /// What becomes of it.
    pub mode: Mode,
}

/// What an import did.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Report<S> {
    /// The file.
    pub file: String,
    /// Rows below the heading.
    pub rows: u64,
    /// Rows that are bad.
    pub bad_rows: u64,
    /// The first of them, with what is wrong.
    pub bad: Vec<Fault>,
    /// The file with the bad rows, where one was asked for and any was bad.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bad_file: Option<PathBuf>,
    /// True when the good rows are in the ledger.
    pub written: bool,
    /// Columns that were not read.
    pub unread_columns: Vec<String>,
    /// Entries of the act.
    pub entries: u64,
    /// What is told of this kind of table; of the good rows only.
    #[serde(flatten)]
    pub summary: S,
}

/// Why a row is not taken, or nothing is.
#[derive(Debug)]
pub enum Refusal {
    /// The row is bad.
    Row(Fault),
    /// The ledger.
    Ledger(LedgerError),
}

impl From<Fault> for Refusal {
    fn from(fault: Fault) -> Self {
        Self::Row(fault)
    }
}

impl From<LedgerError> for Refusal {
    fn from(error: LedgerError) -> Self {
        Self::Ledger(error)
    }
}

/// One kind of table that can be imported.
pub trait Import {
    /// What is told at the end.
    type Summary: Serialize;
    /// Its fields.
    const SHAPE: Shape;

    /// Checks a row against the ledger, and adds what it says to `events`; a row that is refused leaves nothing behind.
    ///
    /// # Errors
    /// The first thing that is wrong with the row, or a fault of the ledger.
    fn take(
        &mut self,
        here: &mut Here<'_>,
        now: Moment,
        cells: &Cells<'_>,
        events: &mut Vec<Event>,
    ) -> Result<(), Refusal>;

    /// Sums the good rows up, once they are in.
    ///
    /// # Errors
    /// A fault of the ledger.
    fn summary(&mut self, ledger: &mut Ledger, now: Moment) -> Result<Self::Summary, LedgerError>;
}

/// Imports a file. `progress` is told how many rows are done.
///
/// What is wrong with rows is in the report, whose `written` says whether anything went in.
///
/// # Errors
/// When the file is no table, a file of bad rows is in the way, or a fault of the ledger; nothing is written then.
pub fn run<I: Import>(
    here: &mut Here<'_>,
    job: &Job<'_>,
    input: impl BufRead,
    import: &mut I,
    progress: impl FnMut(u64),
) -> Result<Report<I::Summary>, AppError> {
    let mut table = Table::new(input, job.path.display().to_string(), job.mapping.delimiter.byte());
    let mut row = Row::default();
    if !table.read(&mut row)? {
        return Err(ExchangeError::Empty(table.file().to_owned()).into());
    }
    let layout = Layout::find(I::SHAPE, job.mapping, table.file(), &row)?;
    if job.mode == Mode::KeepGood {
        Rejects::refuse_existing(job.path)?;
    }
    let mut batch = Batch { job, layout, rows: 0, bad_rows: 0, bad: Vec::new(), rejects: None, progress };
    let done = here.desk.record_each(here.ledger, |ledger, desk, pen| {
        batch.read(&mut Here { ledger, desk }, pen, &mut table, import)?;
        let summary = import.summary(ledger, pen.now())?;
        if job.mode == Mode::DryRun || (job.mode == Mode::Whole && batch.bad_rows > 0) {
            return Err(Stop::Untouched(summary, pen.entries()));
        }
        // The bad rows are on the disk before the good ones are, and take their name after.
        batch.rejects.as_mut().map_or(Ok(()), Rejects::settle)?;
        Ok((summary, pen.entries()))
    });
    let (summary, entries, written) = match done {
        Ok((summary, entries)) => (summary, entries, true),
        Err(Stop::Untouched(summary, entries)) => (summary, entries, false),
        Err(Stop::App(error)) => return Err(error),
    };
    let bad_file = batch.rejects.filter(|_| written).map(Rejects::publish).transpose()?;
    Ok(Report {
        file: table.file().to_owned(),
        rows: batch.rows,
        bad_rows: batch.bad_rows,
        bad: batch.bad,
        bad_file,
        written,
        unread_columns: batch.layout.unread().to_vec(),
        entries,
        summary,
    })
}

/// Ends the transaction without a trace.
enum Stop<S> {
    /// All is checked, and nothing is to be written.
    Untouched(S, u64),
    App(AppError),
}

impl<S, E: Into<AppError>> From<E> for Stop<S> {
    fn from(error: E) -> Self {
        Self::App(error.into())
    }
}

/// A file on its way in.
struct Batch<'a, P> {
    job: &'a Job<'a>,
    layout: Layout,
    rows: u64,
    bad_rows: u64,
    bad: Vec<Fault>,
    rejects: Option<Rejects>,
    progress: P,
}

impl<P: FnMut(u64)> Batch<'_, P> {
    fn read<I: Import>(
        &mut self,
        here: &mut Here<'_>,
        pen: &mut Pen,
        table: &mut Table<impl BufRead>,
        import: &mut I,
    ) -> Result<(), AppError> {
        let mut row = Row::default();
        let mut events = Vec::new();
        while table.read(&mut row)? {
            self.rows += 1;
            let taken = Cells::new(&row, &self.layout, self.job.mapping)
                .map_err(Refusal::from)
                .and_then(|cells| import.take(here, pen.now(), &cells, &mut events));
            match taken {
                Ok(()) => {
                    for event in &events {
                        here.ledger.append(pen, event)?;
                    }
                }
                Err(Refusal::Row(fault)) => self.refuse(&row, fault)?,
                Err(Refusal::Ledger(error)) => return Err(error.into()),
            }
            events.clear();
            (self.progress)(self.rows);
        }
        Ok(())
    }

    fn refuse(&mut self, row: &Row, fault: Fault) -> Result<(), ExchangeError> {
        self.bad_rows += 1;
        if self.job.mode == Mode::KeepGood {
            let rejects = match self.rejects.take() {
                Some(rejects) => rejects,
                None => Rejects::begin(self.job.path, self.job.mapping.delimiter, self.layout.heading())?,
            };
            self.rejects.insert(rejects).add(row, &fault)?;
        }
        if self.bad.len() < NAMED {
            self.bad.push(fault);
        }
        Ok(())
    }
}
