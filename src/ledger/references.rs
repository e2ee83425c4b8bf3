//! Loan references: which loan of the ledger is which loan of the lending desk. They live in a file of their own beside the ledger,
//! so that they can be erased; entries hold a random loan id and nothing else.
//!
//! A backup of the ledger leaves this file out. A reference is erased a number of days after its loan has ended.

use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, OptionalExtension, params};

use crate::domain::ids::LoanId;
use crate::domain::moment::Moment;

use super::error::LedgerError;
use super::file::Ledger;

/// How long a desk waits for another's reference.
const BUSY: Duration = Duration::from_secs(20);

const CREATE: &str = "
CREATE TABLE IF NOT EXISTS reference (
    loan BLOB NOT NULL PRIMARY KEY, text TEXT NOT NULL, given INTEGER NOT NULL
) WITHOUT ROWID, STRICT;
CREATE INDEX IF NOT EXISTS reference_by_text ON reference (text);
PRAGMA secure_delete = ON;
PRAGMA synchronous = FULL;
";

impl Ledger {
    /// Where the references are kept.
    pub fn references_path(&self) -> PathBuf {
        let mut name = self.path().as_os_str().to_owned();
        name.push(".references");
        PathBuf::from(name)
    }

    fn references(&self) -> Result<Connection, LedgerError> {
        let conn = Connection::open(self.references_path())?;
        conn.busy_timeout(BUSY)?;
        conn.execute_batch(CREATE)?;
        Ok(conn)
    }

    /// Keeps the reference of a loan.
    ///
    /// # Errors
    /// A fault of the file of references.
    pub fn refer(&self, loan: LoanId, text: &str, now: Moment) -> Result<(), LedgerError> {
        self.references()?.execute(
            "INSERT INTO reference (loan, text, given) VALUES (?1, ?2, ?3)
             ON CONFLICT (loan) DO UPDATE SET text = excluded.text, given = excluded.given",
            params![loan.uuid().as_bytes(), text, now.millis()],
        )?;
        Ok(())
    }

    /// The loans that have a reference, the latest first.
    ///
    /// # Errors
    /// A fault of the file of references.
    pub fn loans_referred(&self, text: &str) -> Result<Vec<LoanId>, LedgerError> {
        if !Path::new(&self.references_path()).exists() {
            return Ok(Vec::new());
        }
        let conn = self.references()?;
        let mut statement =
            conn.prepare("SELECT loan FROM reference WHERE text = ?1 ORDER BY given DESC, loan DESC")?;
        let loans = statement.query_map([text], |row| row.get::<_, [u8; 16]>(0))?;
        loans.map(|loan| Ok(LoanId::new(uuid::Uuid::from_bytes(loan?)))).collect()
    }

    /// The reference of a loan, if it is still kept.
    ///
    /// # Errors
    /// A fault of the file of references.
    pub fn reference_of(&self, loan: LoanId) -> Result<Option<String>, LedgerError> {
        if !Path::new(&self.references_path()).exists() {
            return Ok(None);
        }
        let found = self
            .references()?
            .query_row("SELECT text FROM reference WHERE loan = ?1", [loan.uuid().as_bytes()], |row| {
                row.get(0)
            })
            .optional()?;
        Ok(found)
    }

    /// Erases the references of loans that ended before a moment; returns how many there were.
    ///
    /// # Errors
    /// A fault of either file.
    pub fn erase_references(&mut self, before: Moment) -> Result<usize, LedgerError> {
        if !self.references_path().exists() {
            return Ok(0);
        }
        let conn = self.references()?;
        let mut statement = conn.prepare("SELECT loan FROM reference ORDER BY loan")?;
        let loans: Vec<[u8; 16]> = statement.query_map([], |row| row.get(0))?.collect::<Result<_, _>>()?;
        let mut erased = 0;
        for bytes in loans {
            let loan = LoanId::new(uuid::Uuid::from_bytes(bytes));
            let facts: Option<crate::domain::facts::LoanFacts> = self.facts(loan.into())?;
            // A loan that the ledger does not know was taken back: nobody will ask for it.
            let over =
                facts.is_none_or(|facts| facts.began.is_none() || facts.ended.is_some_and(|at| at < before));
            if over {
                erased += conn.execute("DELETE FROM reference WHERE loan = ?1", [bytes])?;
            }
        }
        Ok(erased)
    }
}
