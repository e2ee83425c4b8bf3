//! The words of the trade as types, and facts as folds of events. Pure: no input or output, no clock, no randomness
//! that is not handed in.

pub mod carton;
pub mod command;
pub mod event;
pub mod facts;
pub mod finding;
pub mod ids;
pub mod make;
pub mod moment;
pub mod pack;
pub mod pick;
pub mod position;
pub mod tag;
pub mod twist;
pub mod units;
pub mod verdict;
pub mod waste;
