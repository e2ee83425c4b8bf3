//! What was worked out of each thing, kept in a file of its own beside the ledger, so that a report of the whole fleet need not begin
//! anew.
//!
//! Everything in it can be worked out again: it may be deleted at any time, is in no backup, and holds no borrower. Desks that scan never wait
//! for it. What the bodies mean, and when a row is still true, is the business of whoever keeps them.

use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, OptionalExtension, params};

use crate::domain::ids::{Thing, ThingKind};

use super::error::LedgerError;
use super::file::Ledger;
use super::project::code;

/// How long one report waits for another that works the same out.
const BUSY: Duration = Duration::from_secs(600);

/// Raised when the tables change: a file of another layout is made anew.
const LAYOUT: i64 = 2;
const OTHER_LAYOUT: &str = "the layout of what is kept beside the ledger";

const CREATE: &str = "
CREATE TABLE IF NOT EXISTS kept (
    kind INTEGER NOT NULL, id BLOB NOT NULL, until INTEGER NOT NULL, body BLOB NOT NULL,
    PRIMARY KEY (kind, id)
) WITHOUT ROWID, STRICT;
CREATE INDEX IF NOT EXISTS kept_by_until ON kept (until);
CREATE TABLE IF NOT EXISTS note (name TEXT NOT NULL PRIMARY KEY, body BLOB NOT NULL) WITHOUT ROWID, STRICT;
";

/// The file.
#[derive(Debug)]
pub struct Kept {
    conn: Connection,
}

impl Ledger {
    /// Where what is worked out of this ledger is kept.
    pub fn kept_path(&self) -> PathBuf {
        let mut name = self.path().as_os_str().to_owned();
        name.push(".kept");
        PathBuf::from(name)
    }
}

impl Kept {
    /// Opens the file, or makes it. One that is damaged, or of another layout, is made anew.
    ///
    /// # Errors
    /// When the folder cannot be written, or another report holds the file for ten minutes.
    pub fn open(path: &Path) -> Result<Self, LedgerError> {
        match Self::over(Connection::open(path)?) {
            Err(error) if is_useless(&error) => {
                for end in ["", "-wal", "-shm"] {
                    let mut name = path.as_os_str().to_owned();
                    name.push(end);
                    match std::fs::remove_file(&name) {
                        Err(source) if source.kind() != std::io::ErrorKind::NotFound => {
                            return Err(LedgerError::Io { path: name.into(), source });
                        }
                        _ => {}
                    }
                }
                Self::over(Connection::open(path)?)
            }
            other => other,
        }
    }

    /// Keeps everything for this process alone: in a file that has no name, and goes with it.
    ///
    /// # Errors
    /// A fault of SQLite.
    pub fn scratch() -> Result<Self, LedgerError> {
        let kept = Self::over(Connection::open("")?)?;
        kept.conn.pragma_update(None, "journal_mode", "OFF")?;
        Ok(kept)
    }

    fn over(conn: Connection) -> Result<Self, LedgerError> {
        conn.busy_timeout(BUSY)?;
        conn.pragma_update(None, "journal_mode", "WAL")?;
        conn.pragma_update(None, "synchronous", "NORMAL")?;
        conn.pragma_update(None, "cache_size", -65_536)?;
        let tables: i64 = conn.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
        let layout: i64 = conn.pragma_query_value(None, "user_version", |row| row.get(0))?;
        if tables > 0 && layout != LAYOUT {
            return Err(LedgerError::Range(OTHER_LAYOUT));
        }
        conn.execute_batch(CREATE)?;
        conn.pragma_update(None, "user_version", LAYOUT)?;
        // A file that somebody else made may be there to be read only: better to know it now.
        conn.execute_batch("BEGIN IMMEDIATE; ROLLBACK")?;
        Ok(Self { conn })
    }

    /// Runs `work` in one transaction, which no other report shares.
    ///
    /// # Errors
    /// What `work` returns, or a fault of the file.
    pub fn transact<T, E: From<LedgerError>>(
        &self,
        work: impl FnOnce(&Self) -> Result<T, E>,
    ) -> Result<T, E> {
        let batch = |kept: &Self, sql: &str| kept.conn.execute_batch(sql).map_err(LedgerError::from);
        batch(self, "BEGIN IMMEDIATE")?;
        let result = work(self);
        batch(self, if result.is_ok() { "COMMIT" } else { "ROLLBACK" })?;
        result
    }

    /// Forgets every row, and what was noted with them; figures of months that are over stay.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn clear(&self) -> Result<(), LedgerError> {
        Ok(self.conn.execute_batch("DELETE FROM kept; DELETE FROM note WHERE name IN ('mark', 'slots')")?)
    }

    /// Forgets everything.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn forget(&self) -> Result<(), LedgerError> {
        Ok(self.conn.execute_batch("DELETE FROM kept; DELETE FROM note")?)
    }

    /// Keeps what was worked out of a thing in the place of what was before: true until a day, counted from 1970, as long as nothing is
    /// entered.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn put(&self, thing: Thing, until: i32, body: &[u8]) -> Result<(), LedgerError> {
        self.conn.prepare_cached("INSERT OR REPLACE INTO kept VALUES (?1, ?2, ?3, ?4)")?.execute(params![
            code(thing.kind),
            thing.id.as_bytes(),
            until,
            body
        ])?;
        Ok(())
    }

    /// Forgets one row.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn remove(&self, thing: Thing) -> Result<(), LedgerError> {
        self.conn
            .prepare_cached("DELETE FROM kept WHERE kind = ?1 AND id = ?2")?
            .execute(params![code(thing.kind), thing.id.as_bytes()])?;
        Ok(())
    }

    /// The body of one row.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn body(&self, thing: Thing) -> Result<Option<Vec<u8>>, LedgerError> {
        let mut statement = self.conn.prepare_cached("SELECT body FROM kept WHERE kind = ?1 AND id = ?2")?;
        Ok(statement
            .query_row(params![code(thing.kind), thing.id.as_bytes()], |row| row.get(0))
            .optional()?)
    }

    /// Things of a kind whose rows are true no longer on a day, though nothing was entered.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn over_on(&self, kind: ThingKind, day: i32) -> Result<Vec<Thing>, LedgerError> {
        let mut statement = self.conn.prepare_cached("SELECT id FROM kept WHERE until < ?1 AND kind = ?2")?;
        let ids = statement.query_map(params![day, code(kind)], |row| row.get::<_, [u8; 16]>(0))?;
        ids.map(|id| Ok(Thing { kind, id: uuid::Uuid::from_bytes(id?) })).collect()
    }

    /// Walks the bodies of a kind, in the order of identities.
    ///
    /// # Errors
    /// A fault of the file, or what `visit` returns.
    pub fn each<E: From<LedgerError>>(
        &self,
        kind: ThingKind,
        mut visit: impl FnMut(Thing, &[u8]) -> Result<(), E>,
    ) -> Result<(), E> {
        let fault = |error: rusqlite::Error| E::from(LedgerError::from(error));
        let mut statement = self
            .conn
            .prepare_cached("SELECT id, body FROM kept WHERE kind = ?1 ORDER BY id")
            .map_err(fault)?;
        let mut rows = statement.query([code(kind)]).map_err(fault)?;
        while let Some(row) = rows.next().map_err(fault)? {
            let id = uuid::Uuid::from_bytes(row.get(0).map_err(fault)?);
            let body = row.get_ref(1).and_then(|value| Ok(value.as_blob()?)).map_err(fault)?;
            visit(Thing { kind, id }, body)?;
        }
        Ok(())
    }

    /// What was noted under a name.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn note(&self, name: &str) -> Result<Option<Vec<u8>>, LedgerError> {
        let mut statement = self.conn.prepare_cached("SELECT body FROM note WHERE name = ?1")?;
        Ok(statement.query_row([name], |row| row.get(0)).optional()?)
    }

    /// Notes something under a name, in the place of what was before.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn set_note(&self, name: &str, body: &[u8]) -> Result<(), LedgerError> {
        self.conn
            .prepare_cached("INSERT OR REPLACE INTO note VALUES (?1, ?2)")?
            .execute(params![name, body])?;
        Ok(())
    }
}

/// Nothing can be made of the file, and it can be made anew.
fn is_useless(error: &LedgerError) -> bool {
    match error {
        LedgerError::Range(what) => *what == OTHER_LAYOUT,
        LedgerError::Sqlite(error) => matches!(
            error.sqlite_error_code(),
            Some(rusqlite::ErrorCode::NotADatabase | rusqlite::ErrorCode::DatabaseCorrupt)
        ),
        _ => false,
    }
}
