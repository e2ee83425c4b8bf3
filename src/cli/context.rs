//! The world of one process: where the ledger is, who scans, the clock, the randomness and the streams.
//!
//! This is the only place that reads the clock and the environment. Tests pin both with `PACKMUSTER_CLOCK` (a first moment; each
//! look at the clock is a second later) and `PACKMUSTER_SEED`.

use std::cell::Cell;
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};

use rand::SeedableRng;
use rand_chacha::ChaCha12Rng;

use crate::app::desk::Desk;
use crate::domain::moment::Moment;
use crate::ledger::{Access, Ledger};

use super::error::CliError;
use super::output;

/// The ending of a ledger file.
pub(super) const ENDING: &str = "muster";

/// Options that every command takes.
#[derive(Debug, Clone, clap::Args)]
#[command(next_help_heading = "Options of every command")]
pub(super) struct Globals {
    /// The ledger file; else the only *.muster file in this folder
    #[arg(long, global = true, env = "PACKMUSTER_LEDGER", value_name = "FILE")]
    pub(super) ledger: Option<PathBuf>,
    /// The site to write for, where the ledger has several
    #[arg(long, global = true, env = "PACKMUSTER_SITE", value_name = "NAME")]
    pub(super) site: Option<String>,
    /// The name of this desk: `undo` takes back this desk's last scan
    #[arg(long, global = true, env = "PACKMUSTER_DESK", value_name = "NAME", default_value = "desk")]
    pub(super) desk: String,
    /// Who scans: initials, as with scanning the operator's tag first
    #[arg(long, global = true, env = "PACKMUSTER_OPERATOR", value_name = "INITIALS")]
    pub(super) operator: Option<String>,
    /// Answer in JSON
    #[arg(long, global = true)]
    pub(super) json: bool,
}

/// The world of one process.
pub(super) struct Context {
    /// Options that every command takes.
    pub(super) globals: Globals,
    /// Columns of the terminal, or 80.
    pub(super) width: u16,
    /// A person sits at the terminal.
    pub(super) interactive: bool,
    pinned: Option<Moment>,
    seed: Option<u64>,
}

impl Context {
    /// Reads the environment.
    ///
    /// # Errors
    /// When a pinned clock or seed does not read.
    pub(super) fn from_process(globals: Globals) -> Result<Self, CliError> {
        let pinned = match std::env::var("PACKMUSTER_CLOCK") {
            Err(_) => None,
            Ok(text) => Some(text.parse().map(Moment::from_timestamp).map_err(|error| {
                CliError::bad(
                    format!("PACKMUSTER_CLOCK is `{text}`: {error}"),
                    "give a time such as 2026-11-25T09:00:00Z",
                )
            })?),
        };
        let seed = match std::env::var("PACKMUSTER_SEED") {
            Err(_) => None,
            Ok(text) => Some(text.parse().map_err(|error| {
                CliError::bad(format!("PACKMUSTER_SEED is `{text}`: {error}"), "give a whole number")
            })?),
        };
        let interactive = std::io::stdin().is_terminal() && std::io::stdout().is_terminal();
        Ok(Self { globals, width: width(), interactive, pinned, seed })
    }

    /// The clock of this process.
    pub(super) fn clock(&self) -> Box<dyn Fn() -> Moment> {
        match self.pinned {
            None => Box::new(system_clock),
            Some(first) => {
                let looks = Cell::new(0);
                Box::new(move || {
                    looks.set(looks.get() + 1);
                    first.plus_millis((looks.get() - 1) * 1000)
                })
            }
        }
    }

    /// The randomness of this process.
    ///
    /// # Errors
    /// When the system gives none.
    pub(super) fn random(&self) -> Result<ChaCha12Rng, CliError> {
        match self.seed {
            Some(seed) => Ok(ChaCha12Rng::seed_from_u64(seed)),
            None => ChaCha12Rng::try_from_rng(&mut rand::rngs::SysRng)
                .map_err(|error| CliError::fault(format!("the system gives no randomness: {error}"))),
        }
    }

    /// The desk of this process, without an operator.
    ///
    /// # Errors
    /// When the system gives no randomness.
    pub(super) fn desk(&self) -> Result<Desk, CliError> {
        Ok(Desk::new(self.globals.desk.clone(), self.random()?, self.clock()))
    }

    /// The desk of this process, with the operator that the options name.
    ///
    /// # Errors
    /// When nobody has those initials.
    pub(super) fn staffed_desk(&self, ledger: &mut Ledger) -> Result<Desk, CliError> {
        let mut desk = self.desk()?;
        if let Some(initials) = &self.globals.operator {
            desk.operator = Some(crate::app::people::operator(ledger, initials)?);
        }
        Ok(desk)
    }

    /// The ledger file that is meant: the option, the environment, or the only one in this folder. Never a guess.
    ///
    /// # Errors
    /// When none is there, or several are.
    pub(super) fn ledger_path(&self) -> Result<PathBuf, CliError> {
        if let Some(path) = &self.globals.ledger {
            return Ok(path.clone());
        }
        let found = ledgers_in(Path::new("."))?;
        match found.as_slice() {
            [only] => Ok(only.clone()),
            [] => Err(CliError::bad(
                "there is no ledger in this folder",
                "make one: packmuster start; or name one: --ledger FILE, or the environment variable PACKMUSTER_LEDGER",
            )),
            several => {
                let names: Vec<String> = several.iter().map(|path| path.display().to_string()).collect();
                Err(CliError::bad(
                    format!("this folder has several ledgers: {}", names.join(", ")),
                    "name the one that is meant: --ledger FILE",
                ))
            }
        }
    }

    /// The ledger for work that belongs to no site, if one is named or there is one in this folder.
    ///
    /// # Errors
    /// When several could be meant, or it does not open.
    pub(super) fn write_if_any(&self) -> Result<Option<Ledger>, CliError> {
        if self.globals.ledger.is_none() && ledgers_in(Path::new("."))?.is_empty() {
            return Ok(None);
        }
        self.write_any().map(Some)
    }

    /// Opens the ledger for looking.
    ///
    /// # Errors
    /// When it is not clear which, or it does not open.
    pub(super) fn look(&self) -> Result<Ledger, CliError> {
        Ok(Ledger::open(&self.ledger_path()?, Access::Read)?)
    }

    /// Opens the ledger for work that belongs to no site.
    ///
    /// # Errors
    /// When it is not clear which, or it does not open.
    pub(super) fn write_any(&self) -> Result<Ledger, CliError> {
        let path = self.ledger_path()?;
        let first = Ledger::open(&path, Access::Read)?.sites()?.into_iter().next();
        let name = self.globals.site.clone().or(first.map(|(_, name, _)| name));
        Ok(Ledger::open(&path, Access::Write(name.as_deref()))?)
    }

    /// Opens the ledger for writing.
    ///
    /// # Errors
    /// When it is not clear which, or for which site, or it does not open.
    pub(super) fn write(&self) -> Result<Ledger, CliError> {
        Ok(Ledger::open(&self.ledger_path()?, Access::Write(self.globals.site.as_deref()))?)
    }
}

/// Columns of the terminal, or 80.
fn width() -> u16 {
    std::env::var("COLUMNS").ok().and_then(|columns| columns.parse().ok()).unwrap_or(80)
}

#[expect(clippy::disallowed_methods, reason = "the one place where the clock is read")]
fn system_clock() -> Moment {
    Moment::from_timestamp(jiff::Timestamp::now())
}

/// The ledger files in a folder, by name.
fn ledgers_in(folder: &Path) -> Result<Vec<PathBuf>, CliError> {
    let mut found = Vec::new();
    for item in std::fs::read_dir(folder).map_err(|error| CliError::file(folder, &error))? {
        let path = item.map_err(|error| CliError::file(folder, &error))?.path();
        if path.extension().is_some_and(|ending| ending == ENDING) && path.is_file() {
            found.push(path.strip_prefix("./").map(Path::to_owned).unwrap_or(path));
        }
    }
    found.sort();
    Ok(found)
}

/// Tells an error on stderr and gives its exit code. An error without a text ends quietly.
pub(super) fn report(error: &CliError) -> u8 {
    if error.text.is_empty() {
        return error.exit.code();
    }
    let mut talk = std::io::stderr().lock();
    // Nothing is left to do when stderr itself is gone.
    let mut say = |text: String| {
        for line in text.lines() {
            let _gone = writeln!(talk, "{}", output::wrap(line, width()));
        }
    };
    say(format!("error: {error}"));
    if let Some(hint) = &error.hint {
        say(format!("hint: {hint}"));
    }
    error.exit.code()
}
