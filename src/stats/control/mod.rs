//! Statistical process control: is a slot of the test bench still to be trusted, and how much of what it reads is the bench itself?
//!
//! [`ewma`] and [`cusum`] are the two charts that see a small lasting shift soonest; [`arl`] says how long each of them runs until it
//! alarms, rightly or not, and finds the limits for a wanted rate of false alarms. [`slots`] puts both to work on one slot: a verdict,
//! since when, and the bias with its interval. [`gauge`] takes a planned study apart (some packs, each read several times in each of
//! some slots) into repeatability, reproducibility, and what really differs between packs. [`laws`] holds the tails of F and t.
//!
//! Numbers in, numbers out: nothing here foretells a pack, names a slot, or decides what is done with a biased one.

pub mod arl;
pub mod cusum;
pub mod error;
pub mod ewma;
pub mod gauge;
pub mod laws;
pub mod slots;

mod legendre;
