//! The demo: the Skerrow Isles ledger, grown from `demo/scenario.toml` through the same operations that the commands use, then a day
//! at the bench scanned from pictures, and the papers.
//!
//! Everything is drawn from the scenario's seed, and the only clock is the scenario's: the same files come out every time.

mod clearing;
mod day;
pub mod error;
mod kernel;
mod picture;
pub mod scenario;
pub mod sim;
mod visit;

pub use day::{Made, make};
