//! Where an entry stands among all entries.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::ids::WriterId;

/// The order of the fold: hybrid logical clock, writer, number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Position {
    /// Hybrid logical clock: milliseconds since 1970 in the high 48 bits, a counter in the low 16.
    pub clock: i64,
    /// The writer.
    pub writer: WriterId,
    /// The entry's number in the writer's chain, from 1.
    pub number: u64,
}

impl fmt::Display for Position {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "entry {} of writer {}", self.number, self.writer)
    }
}
