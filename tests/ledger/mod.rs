//! The ledger: its disk format, its chain, its projections.

mod chain;
mod format;
mod properties;
