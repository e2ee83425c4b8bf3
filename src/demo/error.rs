//! What can go wrong with a demo.

use std::path::PathBuf;

use thiserror::Error;

use crate::app::error::AppError;
use crate::ledger::LedgerError;
use crate::print::PrintError;

/// Why the demo was not made.
#[derive(Debug, Error)]
pub enum DemoError {
    /// The scenario does not read.
    #[error("the scenario does not read: {0}")]
    Scenario(String),
    /// An operation of the product failed.
    #[error(transparent)]
    App(#[from] AppError),
    /// The ledger.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    /// A paper.
    #[error(transparent)]
    Print(#[from] PrintError),
    /// A file.
    #[error("{path}: {source}")]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// A picture could not be saved.
    #[error("{path}: {source}")]
    Picture {
        /// The file.
        path: PathBuf,
        /// What the encoder said.
        source: image::ImageError,
    },
}
