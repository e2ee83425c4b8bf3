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

/// `bits` and what stands beside it can be counted without a look at the bodies: the indices hold all of it.
const CREATE: &str = "
CREATE TABLE IF NOT EXISTS kept (
    kind INTEGER NOT NULL, id BLOB NOT NULL, until INTEGER NOT NULL,
    bits INTEGER NOT NULL, make BLOB, readings INTEGER NOT NULL, rounds INTEGER NOT NULL, odd INTEGER NOT NULL,
    came INTEGER, lent INTEGER NOT NULL, since INTEGER,
    body BLOB NOT NULL,
    PRIMARY KEY (kind, id)
) WITHOUT ROWID, STRICT;
CREATE INDEX IF NOT EXISTS kept_by_until ON kept (until);
CREATE INDEX IF NOT EXISTS kept_by_bits ON kept (kind, bits, make, readings, rounds, odd);
CREATE INDEX IF NOT EXISTS kept_by_time ON kept (came, lent, since) WHERE came IS NOT NULL;
CREATE TABLE IF NOT EXISTS note (name TEXT NOT NULL PRIMARY KEY, text TEXT NOT NULL) WITHOUT ROWID, STRICT;
";

/// What is kept of one thing.
#[derive(Debug, Clone, Copy)]
pub struct Row<'a> {
    /// The thing.
    pub thing: Thing,
    /// The last day, counted from 1970, on which it is true as long as nothing is entered.
    pub until: i32,
    /// What it counts as.
    pub counted: Counted,
    /// When it came under watch, how long it was on loans that are over, and since when it is on one: seconds.
    pub times: Option<(i64, i64, Option<i64>)>,
    /// The rest.
    pub body: &'a [u8],
}

/// What a thing counts as.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counted {
    /// Where it belongs.
    pub bits: u32,
    /// Its make.
    pub make: Option<[u8; 16]>,
    /// Readings of the month.
    pub readings: u32,
    /// Rounds of the month.
    pub rounds: u32,
    /// What does not add up.
    pub odd: u32,
}

/// Sums over all that is kept, in seconds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Times {
    /// Things that came under watch, and the sum of when they did.
    pub came: (i64, i64),
    /// Time on loans that are over.
    pub lent: i64,
    /// Things that are on a loan, and the sum of since when.
    pub since: (i64, i64),
}

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
    /// Opens the file, or makes it. One that is damaged is made anew.
    ///
    /// # Errors
    /// When the folder cannot be written, or another report holds the file for ten minutes.
    pub fn open(path: &Path) -> Result<Self, LedgerError> {
        match Self::over(Connection::open(path)?) {
            Err(LedgerError::Sqlite(error))
                if matches!(
                    error.sqlite_error_code(),
                    Some(rusqlite::ErrorCode::NotADatabase | rusqlite::ErrorCode::DatabaseCorrupt)
                ) =>
            {
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
        conn.execute_batch(CREATE)?;
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

    /// Keeps a row in the place of an earlier one.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn put(&self, row: &Row<'_>) -> Result<(), LedgerError> {
        let (came, lent, since) =
            row.times.map_or((None, 0, None), |(came, lent, since)| (Some(came), lent, since));
        self.conn
            .prepare_cached(
                "INSERT OR REPLACE INTO kept VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)",
            )?
            .execute(params![
                code(row.thing.kind),
                row.thing.id.as_bytes(),
                row.until,
                row.counted.bits,
                row.counted.make,
                row.counted.readings,
                row.counted.rounds,
                row.counted.odd,
                came,
                lent,
                since,
                row.body,
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

    /// How many things of a kind count alike: with the readings, rounds and oddities of all of them.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn counts(&self, kind: ThingKind) -> Result<Vec<(u32, Counted)>, LedgerError> {
        let mut statement = self.conn.prepare_cached(
            "SELECT bits, make, count(*), sum(readings), sum(rounds), sum(odd)
             FROM kept INDEXED BY kept_by_bits WHERE kind = ?1 GROUP BY bits, make",
        )?;
        let rows = statement.query_map([code(kind)], |row| {
            let counted = Counted {
                bits: row.get(0)?,
                make: row.get(1)?,
                readings: row.get(3)?,
                rounds: row.get(4)?,
                odd: row.get(5)?,
            };
            Ok((row.get(2)?, counted))
        })?;
        rows.map(|row| Ok(row?)).collect()
    }

    /// The sums of times.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn times(&self) -> Result<Times, LedgerError> {
        let mut statement = self.conn.prepare_cached(
            "SELECT count(*), ifnull(sum(came), 0), ifnull(sum(lent), 0), count(since), ifnull(sum(since), 0)
             FROM kept INDEXED BY kept_by_time WHERE came IS NOT NULL",
        )?;
        Ok(statement.query_row([], |row| {
            Ok(Times {
                came: (row.get(0)?, row.get(1)?),
                lent: row.get(2)?,
                since: (row.get(3)?, row.get(4)?),
            })
        })?)
    }

    /// What was noted under a name.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn note(&self, name: &str) -> Result<Option<String>, LedgerError> {
        let mut statement = self.conn.prepare_cached("SELECT text FROM note WHERE name = ?1")?;
        Ok(statement.query_row([name], |row| row.get(0)).optional()?)
    }

    /// Notes a text under a name, in the place of an earlier one.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn set_note(&self, name: &str, text: &str) -> Result<(), LedgerError> {
        self.conn
            .prepare_cached("INSERT OR REPLACE INTO note VALUES (?1, ?2)")?
            .execute(params![name, text])?;
        Ok(())
    }
}
