//! Opening and making a ledger file, and transactions on it.

use std::path::{Path, PathBuf};
use std::time::Duration;

use jiff::tz::TimeZone;
use rusqlite::config::DbConfig;
use rusqlite::{Connection, OpenFlags};

use crate::domain::ids::{SiteId, WriterId};

use super::error::LedgerError;
use super::project::Cache;
use super::schema;
use super::settings::Settings;

/// How long a desk waits before it asks again whether another has committed, and how often it asks: 20 seconds in all.
///
/// The pauses that SQLite makes by itself grow to a tenth of a second, and two desks that scan without pause would starve
/// each other.
const PAUSE: Duration = Duration::from_millis(2);
const PATIENCE: i32 = 10_000;

/// Bytes of the write-ahead log above which closing copies it back into the file: whoever opens the file next reads what is
/// left of the log, and a new process cannot know how much of it was copied already.
const LONGEST_LOG: u64 = 400_000;

/// What a ledger is opened for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Access<'a> {
    /// Looking only.
    Read,
    /// Writing for a site; without a name, for the only one there is.
    Write(Option<&'a str>),
}

/// The site and chain that this copy writes.
#[derive(Debug, Clone)]
pub struct Own {
    /// The site.
    pub site: SiteId,
    /// The site's name.
    pub site_name: String,
    /// The writer.
    pub writer: WriterId,
}

/// An open ledger.
pub struct Ledger {
    pub(crate) conn: Connection,
    pub(crate) path: PathBuf,
    pub(crate) own: Option<Own>,
    pub(crate) cache: Cache,
    pub(crate) settings: Option<Settings>,
    pub(crate) zone: TimeZone,
    pub(crate) read_only: bool,
    seen_version: i64,
    depth: u32,
}

impl Ledger {
    /// Makes a new, empty ledger file. Sites are opened with [`Ledger::open_site`].
    ///
    /// # Errors
    /// When something is there already, the folder is on a network, or the file cannot be made.
    pub fn create(path: &Path) -> Result<Self, LedgerError> {
        if path.exists() {
            return Err(LedgerError::Exists(path.to_owned()));
        }
        refuse_network(path)?;
        let mut conn = Connection::open(path)?;
        prepare(&mut conn)?;
        conn.pragma_update(None, "journal_mode", "WAL")?;
        conn.execute_batch("BEGIN IMMEDIATE")?;
        conn.pragma_update(None, "application_id", schema::APPLICATION_ID)?;
        conn.pragma_update(None, "user_version", schema::VERSION)?;
        conn.execute_batch(schema::CREATE)?;
        conn.execute_batch(schema::PROJECTIONS)?;
        conn.execute_batch("COMMIT")?;
        Self::over(conn, path)
    }

    /// Opens a ledger file.
    ///
    /// # Errors
    /// When there is none, it is of another kind or newer, or the site to write for is not clear.
    pub fn open(path: &Path, access: Access<'_>) -> Result<Self, LedgerError> {
        if !path.is_file() {
            return Err(LedgerError::Missing(path.to_owned()));
        }
        refuse_network(path)?;
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let mut conn = Connection::open_with_flags(path, flags)?;
        let not_a_ledger = |_unreadable: rusqlite::Error| LedgerError::NotALedger(path.to_owned());
        let id: i64 =
            conn.pragma_query_value(None, "application_id", |row| row.get(0)).map_err(not_a_ledger)?;
        if id != schema::APPLICATION_ID {
            return Err(LedgerError::NotALedger(path.to_owned()));
        }
        let found: i64 = conn.pragma_query_value(None, "user_version", |row| row.get(0))?;
        if found > schema::VERSION {
            return Err(LedgerError::Newer { path: path.to_owned(), found, known: schema::VERSION });
        }
        prepare(&mut conn)?;
        let mut ledger = Self::over(conn, path)?;
        match access {
            Access::Read => {
                ledger.conn.pragma_update(None, "query_only", true)?;
                ledger.read_only = true;
                ledger.pick_zone(None)?;
            }
            Access::Write(site) => ledger.write_for(site)?,
        }
        Ok(ledger)
    }

    fn over(conn: Connection, path: &Path) -> Result<Self, LedgerError> {
        conn.set_prepared_statement_cache_capacity(64);
        let seen_version = data_version(&conn)?;
        Ok(Self {
            conn,
            path: path.to_owned(),
            own: None,
            cache: Cache::default(),
            settings: None,
            zone: TimeZone::UTC,
            read_only: false,
            seen_version,
            depth: 0,
        })
    }

    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The site and chain that this copy writes, if it was opened for writing.
    pub fn own(&self) -> Option<&Own> {
        self.own.as_ref()
    }

    /// The time zone of the site.
    pub fn zone(&self) -> &TimeZone {
        &self.zone
    }

    /// Runs `work` in one transaction: all of it is on disk when this returns `Ok`, and none of it otherwise.
    ///
    /// Within another transaction it is a savepoint of that one. A transaction that wrote nothing costs no sync.
    ///
    /// # Errors
    /// What `work` returns, or a fault of the file.
    pub fn transact<T, E: From<LedgerError>>(
        &mut self,
        work: impl FnOnce(&mut Self) -> Result<T, E>,
    ) -> Result<T, E> {
        self.begin()?;
        let result = work(self);
        match result {
            Ok(value) => {
                if let Err(error) = self.commit() {
                    self.roll_back()?;
                    return Err(error.into());
                }
                Ok(value)
            }
            Err(error) => {
                self.roll_back()?;
                Err(error)
            }
        }
    }

    /// Gathers the acts that follow into one transaction, each a savepoint of its own, until [`Ledger::release`].
    ///
    /// For histories that are written in bulk: nothing that is answered in between is on disk yet.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn gather(&mut self) -> Result<(), LedgerError> {
        self.begin()
    }

    /// Puts what was gathered on disk.
    ///
    /// # Errors
    /// A fault of the file; all that was gathered is lost then.
    pub fn release(&mut self) -> Result<(), LedgerError> {
        self.commit()
    }

    /// Copies the write-ahead log into the ledger file and empties it, so that the file alone holds everything.
    ///
    /// Called at the end of long work; a single scan leaves that to a later one, and saves three syncs. Does nothing while
    /// another desk is reading or writing.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn settle(&self) -> Result<(), LedgerError> {
        self.conn.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_busy| Ok(()))?;
        Ok(())
    }

    fn begin(&mut self) -> Result<(), LedgerError> {
        if self.depth == 0 {
            let begin = if self.read_only { "BEGIN" } else { "BEGIN IMMEDIATE" };
            self.conn.prepare_cached(begin)?.execute([])?;
            self.notice_other_writers()?;
        } else {
            self.flush()?;
            self.conn.prepare_cached("SAVEPOINT act")?.execute([])?;
        }
        self.depth += 1;
        Ok(())
    }

    fn commit(&mut self) -> Result<(), LedgerError> {
        self.flush()?;
        let statement = if self.depth == 1 { "COMMIT" } else { "RELEASE act" };
        self.conn.prepare_cached(statement)?.execute([])?;
        self.depth -= 1;
        if self.depth == 0 {
            self.cache.clear();
        }
        Ok(())
    }

    fn roll_back(&mut self) -> Result<(), LedgerError> {
        self.cache.clear();
        self.settings = None;
        if self.depth == 1 {
            self.conn.execute_batch("ROLLBACK")?;
        } else {
            self.conn.execute_batch("ROLLBACK TO act; RELEASE act")?;
        }
        self.depth -= 1;
        Ok(())
    }

    /// Drops what is remembered of the file when another desk has written since.
    pub(crate) fn notice_other_writers(&mut self) -> Result<(), LedgerError> {
        let version = data_version(&self.conn)?;
        if version != self.seen_version {
            self.seen_version = version;
            self.settings = None;
            self.cache.clear();
        }
        Ok(())
    }
}

impl Drop for Ledger {
    /// Keeps the log short. Best effort: what is in the log is as safe as what is in the file.
    fn drop(&mut self) {
        let mut log = self.path.as_os_str().to_owned();
        log.push("-wal");
        let long = std::fs::metadata(Path::new(&log)).is_ok_and(|log| log.len() > LONGEST_LOG);
        if long && !self.read_only && self.depth == 0 {
            let _later = self.settle();
        }
    }
}

fn prepare(conn: &mut Connection) -> Result<(), LedgerError> {
    conn.busy_handler(Some(|asked| {
        std::thread::sleep(PAUSE);
        asked < PATIENCE
    }))?;
    // Statements are planned without a look at the values that are bound: the plans are the same, and made once.
    conn.set_db_config(DbConfig::SQLITE_DBCONFIG_ENABLE_QPSG, true)?;
    conn.pragma_update(None, "synchronous", "FULL")?;
    conn.pragma_update(None, "cache_size", -262_144)?;
    conn.pragma_update(None, "temp_store", "MEMORY")?;
    // Closing would copy the log back with three more syncs; the next commit that fills the log does it anyway.
    conn.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true)?;
    Ok(())
}

fn data_version(conn: &Connection) -> Result<i64, LedgerError> {
    Ok(conn.prepare_cached("PRAGMA data_version")?.query_row([], |row| row.get(0))?)
}

/// Refuses a file on a network file system, where SQLite's locks cannot be trusted (sqlite.org, "Use Of WAL Mode").
///
/// Read from the system's table of mounts, where there is one.
fn refuse_network(path: &Path) -> Result<(), LedgerError> {
    let Ok(mounts) = std::fs::read_to_string("/proc/mounts") else { return Ok(()) };
    let folder = match path.parent() {
        Some(parent) if parent.as_os_str().is_empty() => Path::new("."),
        Some(parent) => parent,
        None => Path::new("."),
    };
    let Ok(folder) = folder.canonicalize() else { return Ok(()) };
    match network_kind(&mounts, &folder) {
        Some(kind) => Err(LedgerError::Network { path: path.to_owned(), kind }),
        None => Ok(()),
    }
}

/// The kind of network file system that a folder lies on, by the longest mount point above it.
fn network_kind(mounts: &str, folder: &Path) -> Option<String> {
    const NETWORK: [&str; 10] =
        ["nfs", "nfs4", "cifs", "smb3", "smbfs", "afs", "9p", "fuse.sshfs", "fuse.glusterfs", "ceph"];
    let mounts = mounts.lines().filter_map(|line| {
        let mut words = line.split_whitespace().skip(1);
        let point = words.next()?.replace("\\040", " ");
        Some((PathBuf::from(point), words.next()?))
    });
    let (_, kind) = mounts
        .filter(|(point, _)| folder.starts_with(point))
        .max_by_key(|(point, _)| point.components().count())?;
    NETWORK.contains(&kind).then(|| kind.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_longest_mount_decides() {
        let mounts = "dev / ext4 rw 0 0\nserver:/x /mnt/share nfs4 rw 0 0\ndev /mnt/share/disk ext4 rw 0 0\n";
        assert_eq!(network_kind(mounts, Path::new("/home/a")), None);
        assert_eq!(network_kind(mounts, Path::new("/mnt/share/a")).as_deref(), Some("nfs4"));
        assert_eq!(network_kind(mounts, Path::new("/mnt/share/disk/a")), None);
    }
}
