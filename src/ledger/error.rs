//! What can go wrong with a ledger.

use std::path::PathBuf;

use thiserror::Error;

use crate::policy::rules::PolicyError;

/// A fault of the ledger layer.
#[derive(Debug, Error)]
pub enum LedgerError {
    /// SQLite said no.
    #[error("the ledger file answered: {0}")]
    Sqlite(#[from] rusqlite::Error),
    /// The file system said no.
    #[error("{path}: {source}")]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// No file there.
    #[error("there is no ledger at {0}")]
    Missing(PathBuf),
    /// Something is there already.
    #[error("{0} exists already; nothing was written")]
    Exists(PathBuf),
    /// A file of another kind.
    #[error("{0} is not a packmuster ledger")]
    NotALedger(PathBuf),
    /// Written by a newer packmuster.
    #[error("{path} has schema {found}, and this packmuster knows up to {known}; use a newer packmuster")]
    Newer {
        /// The file.
        path: PathBuf,
        /// Its schema.
        found: i64,
        /// The newest schema that this binary knows.
        known: i64,
    },
    /// A network folder.
    #[error("{path} is on a network folder ({kind}), where a ledger could be damaged")]
    Network {
        /// The file.
        path: PathBuf,
        /// The file system.
        kind: String,
    },
    /// No site of that name.
    #[error("no site is named `{given}`; known: {known}")]
    Site {
        /// What was asked for.
        given: String,
        /// The names that there are.
        known: String,
    },
    /// Several sites, and none was named.
    #[error("this ledger has several sites ({0}), and none was named")]
    WhichSite(String),
    /// Opened for reading.
    #[error("the ledger was opened for reading only")]
    ReadOnly,
    /// A body or state that does not read.
    #[error("{what} does not read: {source}")]
    Json {
        /// What was read.
        what: String,
        /// What the reader said.
        source: serde_json::Error,
    },
    /// An entry of a kind that this version does not know.
    #[error("entry {number} is of kind `{kind}`, which this packmuster does not know; use a newer one")]
    Kind {
        /// Its number in its chain.
        number: u64,
        /// The kind.
        kind: String,
    },
    /// The policy in the ledger does not read.
    #[error("the policy in force does not read: {0}")]
    Policy(#[from] PolicyError),
    /// The ledger has no policy yet.
    #[error("the ledger has no policy yet")]
    NoPolicy,
    /// A time zone that is not known.
    #[error("`{0}` is not a known time zone")]
    Zone(String),
    /// A number does not fit.
    #[error("{0} is out of range")]
    Range(&'static str),
    /// This desk has nothing to take back.
    #[error("desk {0} has no scan to take back")]
    NothingToUndo(String),
    /// What was done stays done: it is on the road, or on paper.
    #[error("the last scan of this desk cannot be taken back: {0}")]
    Final(&'static str),
    /// A later act builds on the one to take back.
    #[error(
        "the last scan of desk {desk} cannot be taken back: {thing} was scanned again since, at desk {by}"
    )]
    Overtaken {
        /// The desk.
        desk: String,
        /// What was touched.
        thing: String,
        /// By whom.
        by: String,
    },
}
