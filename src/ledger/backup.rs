//! Backup while in use, and restore as a new writer.

use std::path::Path;

use rusqlite::Connection;
use rusqlite::backup::Backup;

use crate::domain::event::RestoredHead;
use crate::domain::ids::{ActId, SiteId, WriterId};
use crate::domain::moment::Moment;

use super::error::LedgerError;
use super::file::{Access, Ledger};

/// Pages copied at a time, between which other desks may write.
const PAGES: std::ffi::c_int = 4096;

impl Ledger {
    /// Copies the ledger to a new file while it stays in use.
    ///
    /// # Errors
    /// When the target exists or cannot be written; a half-written copy is removed.
    pub fn backup(&self, target: &Path) -> Result<(), LedgerError> {
        if target.exists() {
            return Err(LedgerError::Exists(target.to_owned()));
        }
        let copied = copy(&self.conn, target);
        if copied.is_err() {
            remove(target);
        }
        copied
    }

    /// Makes a ledger from a backup. Each site gets a new chain, whose first entry names the head that it stands on.
    ///
    /// `draw` gives the identities of a new writer and its act.
    ///
    /// # Errors
    /// When the backup does not open or the target exists; a half-made target is removed.
    pub fn restore(
        backup: &Path,
        target: &Path,
        now: Moment,
        mut draw: impl FnMut() -> (WriterId, ActId),
    ) -> Result<Self, LedgerError> {
        if target.exists() {
            return Err(LedgerError::Exists(target.to_owned()));
        }
        let source = Self::open(backup, Access::Read)?;
        let restored = copy(&source.conn, target).and_then(|()| {
            let mut ledger = Self::open(target, Access::Read)?;
            ledger.conn.pragma_update(None, "query_only", false)?;
            ledger.read_only = false;
            ledger.transact(|ledger| ledger.succeed(now, &mut draw))?;
            Ok(ledger)
        });
        if restored.is_err() {
            remove(target);
        }
        restored
    }

    fn succeed(
        &mut self,
        now: Moment,
        draw: &mut impl FnMut() -> (WriterId, ActId),
    ) -> Result<(), LedgerError> {
        let sites: Vec<(SiteId, String, WriterId)> = self.sites()?;
        for (site, name, old) in sites {
            let head = self.head(old)?;
            self.conn.execute("UPDATE writer SET own = 0 WHERE writer = ?1", [old.uuid().as_bytes()])?;
            let (writer, act) = draw();
            let restored =
                RestoredHead { writer: old, number: head.number, hash: super::chain::hex(&head.hash) };
            self.open_writer((site, writer, act), &name, Vec::new(), Some(restored), now)?;
        }
        Ok(())
    }
}

fn copy(from: &Connection, target: &Path) -> Result<(), LedgerError> {
    let mut to = Connection::open(target)?;
    {
        let backup = Backup::new(from, &mut to)?;
        backup.run_to_completion(PAGES, std::time::Duration::ZERO, None)?;
    }
    to.pragma_update(None, "journal_mode", "WAL")?;
    to.close().map_err(|(_, error)| LedgerError::Sqlite(error))
}

fn remove(target: &Path) {
    for end in ["", "-wal", "-shm"] {
        let mut name = target.as_os_str().to_owned();
        name.push(end);
        // Best effort: the error that is being reported is the one that matters.
        let _gone = std::fs::remove_file(Path::new(&name));
    }
}
