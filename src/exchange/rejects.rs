//! The file beside a table that holds its bad rows: same heading, and a last column with the reason.
//!
//! It is written under another name and takes its own only when all is done, so that a file of that name is always whole.
//! Dropped before that, it leaves nothing behind.

use std::fs::{File, OpenOptions};
use std::io::BufWriter;
use std::path::{Path, PathBuf};

use super::fault::{ExchangeError, Fault};
use super::mapping::Delimiter;
use super::table::Row;

/// The heading of the last column.
pub const REASON: &str = "reason";

/// A file of bad rows that is being written.
#[derive(Debug)]
pub struct Rejects {
    path: PathBuf,
    part: PathBuf,
    writer: Option<csv::Writer<BufWriter<File>>>,
    /// Columns of the table itself: a reason from an earlier round is left out.
    width: usize,
}

impl Rejects {
    /// The name of the file of bad rows for a table.
    pub fn name_for(table: &Path) -> PathBuf {
        with_ending(table, ".bad.csv")
    }

    /// Refuses when a file of bad rows, or the remains of one, is there already.
    ///
    /// # Errors
    /// [`ExchangeError::Exists`].
    pub fn refuse_existing(table: &Path) -> Result<(), ExchangeError> {
        let path = Self::name_for(table);
        for path in [with_ending(&path, ".part"), path] {
            if path.exists() {
                return Err(ExchangeError::Exists(path.display().to_string()));
            }
        }
        Ok(())
    }

    /// Begins the file with the table's heading.
    ///
    /// # Errors
    /// When it is there already or cannot be written.
    pub fn begin(table: &Path, delimiter: Delimiter, heading: &[String]) -> Result<Self, ExchangeError> {
        Self::refuse_existing(table)?;
        let path = Self::name_for(table);
        let part = with_ending(&path, ".part");
        let file =
            OpenOptions::new().write(true).create_new(true).open(&part).map_err(|error| io(&part, error))?;
        let writer = csv::WriterBuilder::new()
            .delimiter(delimiter.byte())
            .flexible(true)
            .from_writer(BufWriter::new(file));
        let kept = match heading.split_last() {
            Some((last, rest)) if last == REASON => rest,
            _ => heading,
        };
        let mut rejects = Self { path, part, writer: Some(writer), width: kept.len() };
        let heading = kept.iter().map(String::as_bytes).chain([REASON.as_bytes()]);
        rejects.write(heading)?;
        Ok(rejects)
    }

    /// Adds a bad row with its reason.
    ///
    /// # Errors
    /// When the file cannot be written.
    pub fn add(&mut self, row: &Row, fault: &Fault) -> Result<(), ExchangeError> {
        let reason = fault.to_string();
        let whole = row.broken().is_none() && row.len() == self.width + 1;
        let kept = if whole { self.width } else { row.len() };
        let padding = self.width.saturating_sub(kept);
        let cells = row.cells().take(kept).chain(std::iter::repeat_n(&b""[..], padding));
        self.write(cells.chain([reason.as_bytes()]))
    }

    fn write<'a>(&mut self, cells: impl Iterator<Item = &'a [u8]>) -> Result<(), ExchangeError> {
        match &mut self.writer {
            Some(writer) => writer.write_record(cells).map_err(|error| io(&self.part, error.into())),
            None => Ok(()),
        }
    }

    /// Brings all rows to the disk, still under the other name.
    ///
    /// # Errors
    /// When the file cannot be written.
    pub fn settle(&mut self) -> Result<(), ExchangeError> {
        let Some(mut writer) = self.writer.take() else { return Ok(()) };
        writer.flush().map_err(|error| io(&self.part, error))?;
        let buffer =
            writer.into_inner().map_err(|error| io(&self.part, std::io::Error::other(error.to_string())))?;
        buffer.get_ref().sync_all().map_err(|error| io(&self.part, error))
    }

    /// Gives the file its name; returns it.
    ///
    /// # Errors
    /// When a file of that name came up meanwhile or the name cannot be given; the rows then stay under the other name.
    pub fn publish(mut self) -> Result<PathBuf, ExchangeError> {
        self.settle()?;
        let (path, part) = (std::mem::take(&mut self.path), std::mem::take(&mut self.part));
        if path.exists() {
            return Err(ExchangeError::Exists(format!(
                "{} (the bad rows are in {})",
                path.display(),
                part.display()
            )));
        }
        std::fs::rename(&part, &path).map_err(|error| io(&part, error))?;
        Ok(path)
    }
}

impl Drop for Rejects {
    fn drop(&mut self) {
        if !self.part.as_os_str().is_empty() {
            self.writer = None;
            // Best effort: what stays behind is refused by name the next time.
            let _gone = std::fs::remove_file(&self.part);
        }
    }
}

fn with_ending(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    PathBuf::from(name)
}

fn io(path: &Path, source: std::io::Error) -> ExchangeError {
    ExchangeError::Io { file: path.display().to_string(), source }
}
