//! All entries as CSV or JSON lines.

use std::io::Write;

use rusqlite::types::ValueRef;
use serde_json::{Map, Value};

use super::error::LedgerError;
use super::file::Ledger;

/// The columns of an export.
pub const COLUMNS: [&str; 10] =
    ["writer", "number", "clock", "recorded_ms", "desk", "operator", "act", "kind", "body", "hash"];

/// A fault while exporting.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// The ledger.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    /// The output.
    #[error("the export cannot be written: {0}")]
    Io(#[from] std::io::Error),
}

impl From<rusqlite::Error> for ExportError {
    fn from(error: rusqlite::Error) -> Self {
        Self::Ledger(error.into())
    }
}

impl Ledger {
    /// Writes every entry as one CSV row, with a head row; the body is JSON.
    ///
    /// # Errors
    /// A fault of the file or of the output.
    pub fn export_csv(&self, out: impl Write) -> Result<u64, ExportError> {
        let mut writer = csv::Writer::from_writer(out);
        writer.write_record(COLUMNS).map_err(std::io::Error::from)?;
        let count =
            self.each_row(|fields| Ok(writer.write_record(fields).map_err(std::io::Error::from)?))?;
        writer.flush()?;
        Ok(count)
    }

    /// Writes every entry as one line of JSON.
    ///
    /// # Errors
    /// A fault of the file or of the output.
    pub fn export_jsonl(&self, mut out: impl Write) -> Result<u64, ExportError> {
        let count = self.each_row(|fields| {
            let mut line = Map::new();
            for (name, text) in COLUMNS.iter().zip(fields) {
                let value = match *name {
                    "number" | "clock" | "recorded_ms" => {
                        text.parse::<i64>().map_or(Value::Null, Value::from)
                    }
                    "body" => {
                        serde_json::from_str(text).unwrap_or_else(|_not_json| Value::from(text.clone()))
                    }
                    _ => Value::from(text.clone()),
                };
                line.insert((*name).to_owned(), value);
            }
            writeln!(out, "{}", Value::Object(line))?;
            Ok(())
        })?;
        out.flush()?;
        Ok(count)
    }

    fn each_row(
        &self,
        mut visit: impl FnMut(&[String]) -> Result<(), ExportError>,
    ) -> Result<u64, ExportError> {
        let mut statement = self.conn.prepare(
            "SELECT writer, number, clock, recorded, desk, operator, act, kind, body, hash FROM entry
             ORDER BY writer, number",
        )?;
        let mut rows = statement.query([])?;
        let mut count = 0;
        while let Some(row) = rows.next()? {
            let mut fields = Vec::with_capacity(COLUMNS.len());
            for place in 0..COLUMNS.len() {
                fields.push(match row.get_ref(place)? {
                    ValueRef::Integer(number) => number.to_string(),
                    ValueRef::Text(text) => String::from_utf8_lossy(text).into_owned(),
                    ValueRef::Blob(bytes) if bytes.len() == 16 => {
                        uuid::Uuid::from_slice(bytes).unwrap_or_default().to_string()
                    }
                    ValueRef::Blob(bytes) => super::chain::hex(bytes),
                    ValueRef::Null | ValueRef::Real(_) => String::new(),
                });
            }
            visit(&fields)?;
            count += 1;
        }
        Ok(count)
    }
}
