//! Statistics of a fleet: numbers in, numbers out.
//!
//! Pure: no files, no clock, no randomness, no word of packs' tags or of the ledger. Floats live here and nowhere further in. Each
//! formula names its source, and is held against something outside the project in `tests/stats`. Where data do not carry an answer,
//! it is an error that says so, never a guess.

pub mod control;
pub mod discharge;
pub mod fade;
pub mod guard;
pub mod interval;
pub mod life;
pub mod normal;
pub mod queue;
pub mod sampling;
pub mod sum;
