//! Watching a folder: pictures that arrive in it, from a phone say, are taken in as they land.
//!
//! A picture is taken when it has not changed between two looks and is whole; what is not whole may still be on its way, and is given
//! some time before it is called broken. Each is taken once, also after a restart, since the ledger remembers it by a digest in the
//! very transaction that enters what it shows.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant, SystemTime};

use crate::scan::picture::{self, Limits};

use super::error::CliError;
use super::session::is_picture;

/// How long between two looks at the folder.
const PAUSE: Duration = Duration::from_millis(400);

/// How long a file that is no whole picture may stand still before it is given all the same, to be complained of.
const PATIENCE: Duration = Duration::from_secs(8);

/// What a file was when it was last looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct State {
    bytes: u64,
    changed: SystemTime,
    /// When it was first seen like this; a copied file may bear an older time of change.
    since: Instant,
    handled: bool,
}

/// The folder, and what was seen of it.
pub(super) struct Folder {
    path: PathBuf,
    known: HashMap<PathBuf, State>,
}

impl Folder {
    /// Begins to watch a folder.
    ///
    /// # Errors
    /// When it is none.
    pub(super) fn new(path: &Path) -> Result<Self, CliError> {
        if path.is_dir() {
            return Ok(Self { path: path.to_owned(), known: HashMap::new() });
        }
        Err(CliError::bad(
            format!("{} is not a folder", path.display()),
            "give the folder into which pictures arrive",
        ))
    }

    /// Waits, and gives the pictures that are whole by now and were not given before: oldest first.
    ///
    /// # Errors
    /// When the folder cannot be read any more.
    pub(super) fn next(&mut self) -> Result<Vec<PathBuf>, CliError> {
        std::thread::sleep(PAUSE);
        let fault = |error: std::io::Error| CliError::file(&self.path, &error);
        let mut ready: Vec<(SystemTime, PathBuf)> = Vec::new();
        for item in std::fs::read_dir(&self.path).map_err(fault)? {
            let path = item.map_err(fault)?.path();
            if !path.to_str().is_some_and(is_picture) {
                continue;
            }
            // A file that is gone again by now is nobody's.
            let Ok(found) = std::fs::metadata(&path) else { continue };
            let Ok(changed) = found.modified() else { continue };
            let now = State { bytes: found.len(), changed, since: Instant::now(), handled: false };
            match self.known.get_mut(&path) {
                Some(old) if (old.bytes, old.changed) == (now.bytes, now.changed) => {
                    let is_ready = || {
                        old.since.elapsed() >= PATIENCE || picture::digest(&path, &Limits::default()).is_ok()
                    };
                    if !old.handled && now.bytes > 0 && is_ready() {
                        old.handled = true;
                        ready.push((changed, path));
                    }
                }
                _ => {
                    self.known.insert(path, now);
                }
            }
        }
        ready.sort();
        Ok(ready.into_iter().map(|(_, path)| path).collect())
    }
}
