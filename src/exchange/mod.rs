//! Tables that come from elsewhere: CSV text into typed rows, and bad rows back into a file beside it.
//!
//! Nothing here looks into the ledger: a row is right here when its cells are, whatever the fleet says of it. What people
//! may get wrong in a row is a [`fault::Fault`] with line, field, value and what was expected; only a file that cannot be
//! read as a table at all is an error. Memory does not grow with the file.

pub mod cells;
pub mod fault;
pub mod layout;
pub mod log;
pub mod mapping;
pub mod packs;
pub mod readings;
pub mod rejects;
pub mod table;
