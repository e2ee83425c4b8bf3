//! Entries as they are written and read, and their order.

use crate::domain::event::Event;
use crate::domain::ids::ActId;
use crate::domain::moment::Moment;
pub use crate::domain::position::Position;

/// Bits of the hybrid logical clock that count within a millisecond.
const COUNTER_BITS: u32 = 16;

/// The first clock value of a moment.
pub(crate) const fn clock_of(at: Moment) -> i64 {
    at.millis().saturating_mul(1 << COUNTER_BITS)
}

/// The moment of a clock value.
pub(crate) const fn moment_of(clock: i64) -> Moment {
    Moment::from_millis(clock >> COUNTER_BITS)
}

/// The last clock value that lies before a moment.
pub const fn clock_before(at: Moment) -> i64 {
    clock_of(at).saturating_sub(1)
}

/// All that one scan, or one imported file, writes: the unit of commit, of undo and of exactly-once.
#[derive(Debug, Clone)]
pub struct Act {
    /// Its identity, drawn where it was scanned.
    pub id: ActId,
    /// When it is recorded.
    pub now: Moment,
    /// The desk.
    pub desk: String,
    /// Initials of the operator; empty when nobody said who they are.
    pub operator: String,
    /// What happened.
    pub events: Vec<Event>,
}

/// What was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Receipt {
    /// Number of the last entry of the act in its chain.
    pub last: u64,
    /// How many entries it has.
    pub entries: usize,
}

/// An entry read back.
#[derive(Debug, Clone)]
pub struct Entry {
    /// Where it stands in the order.
    pub position: Position,
    /// When it was recorded.
    pub recorded: Moment,
    /// The desk.
    pub desk: String,
    /// Initials of the operator; may be empty.
    pub operator: String,
    /// The act that it belongs to.
    pub act: ActId,
    /// What happened.
    pub event: Event,
}
