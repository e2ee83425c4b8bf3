//! One small error at the edge: what is wrong, what to do, and the exit code.

use std::fmt;

use crate::app::error::AppError;
use crate::exchange::fault::ExchangeError;
use crate::ledger::LedgerError;

use super::Exit;

/// An error as the terminal shows it.
#[derive(Debug)]
pub(super) struct CliError {
    /// The exit code that it gives.
    pub(super) exit: Exit,
    /// What is wrong, naming the value.
    pub(super) text: String,
    /// What to do.
    pub(super) hint: Option<String>,
}

impl CliError {
    /// Bad usage or input.
    pub(super) fn bad(text: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { exit: Exit::Bad, text: text.into(), hint: Some(hint.into()) }
    }

    /// A fault of packmuster or the machine.
    pub(super) fn fault(text: impl Into<String>) -> Self {
        Self { exit: Exit::Fault, text: text.into(), hint: None }
    }

    /// A file that cannot be read or written.
    pub(super) fn file(path: &std::path::Path, error: &std::io::Error) -> Self {
        Self { exit: Exit::Bad, text: format!("{}: {error}", path.display()), hint: None }
    }
}

impl fmt::Display for CliError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.text)
    }
}

impl std::error::Error for CliError {}

impl From<AppError> for CliError {
    fn from(error: AppError) -> Self {
        match error {
            AppError::Input { text, hint } => Self::bad(text, hint),
            AppError::Exchange(error) => error.into(),
            AppError::Ledger(error) => error.into(),
        }
    }
}

impl From<ExchangeError> for CliError {
    fn from(error: ExchangeError) -> Self {
        let hint = match &error {
            ExchangeError::Io { .. } => None,
            ExchangeError::TooLong { .. } | ExchangeError::Empty(_) | ExchangeError::Heading { .. } => {
                Some("give a CSV file in UTF-8 with a heading; nothing was written")
            }
            ExchangeError::Missing { .. }
            | ExchangeError::Ambiguous { .. }
            | ExchangeError::Several { .. } => Some(
                "say which heading is which field: --column FIELD=HEADING or --map FILE; and --delimiter if it is not `,`",
            ),
            ExchangeError::Field { .. } | ExchangeError::Mapping(_) => Some("nothing was written"),
            ExchangeError::Exists(_) => Some("move it away first, so that no bad row is lost"),
        };
        Self { exit: Exit::Bad, text: error.to_string(), hint: hint.map(str::to_owned) }
    }
}

impl From<LedgerError> for CliError {
    fn from(error: LedgerError) -> Self {
        let hint = match &error {
            LedgerError::Missing(_) => "make one: packmuster start",
            LedgerError::Site { .. } | LedgerError::WhichSite(_) => {
                "name it: --site NAME, or the environment variable PACKMUSTER_SITE"
            }
            LedgerError::Network { .. } => {
                "keep the ledger on a disk of this machine, and copy backups to the share"
            }
            LedgerError::Exists(_) => "choose another name, or move the old file away",
            LedgerError::NoPolicy => "adopt one: packmuster policy adopt FILE",
            LedgerError::Zone(_) => "give an IANA name such as Europe/London",
            LedgerError::NothingToUndo(_) | LedgerError::Overtaken { .. } | LedgerError::Final(_) => {
                "look with `packmuster show`"
            }
            LedgerError::Policy(_) | LedgerError::NotALedger(_) | LedgerError::Newer { .. } => {
                return Self { exit: Exit::Bad, text: error.to_string(), hint: None };
            }
            _ => return Self::fault(error.to_string()),
        };
        let exit = match error {
            LedgerError::NothingToUndo(_) | LedgerError::Overtaken { .. } | LedgerError::Final(_) => Exit::No,
            _ => Exit::Bad,
        };
        Self { exit, text: error.to_string(), hint: Some(hint.to_owned()) }
    }
}
