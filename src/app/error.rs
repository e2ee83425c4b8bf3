//! What ends an operation: bad input with a hint, or a fault of the ledger.

use thiserror::Error;

use crate::exchange::fault::ExchangeError;
use crate::ledger::LedgerError;

/// Why an operation was not done.
#[derive(Debug, Error)]
pub enum AppError {
    /// What was asked for cannot be done as given.
    #[error("{text}")]
    Input {
        /// What is wrong, naming the value.
        text: String,
        /// What to do.
        hint: String,
    },
    /// A file that cannot be read as a table, or how it is to be read makes no sense.
    #[error(transparent)]
    Exchange(#[from] ExchangeError),
    /// The ledger.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
}

impl AppError {
    /// Bad input, with what to do about it.
    pub fn input(text: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::Input { text: text.into(), hint: hint.into() }
    }
}
