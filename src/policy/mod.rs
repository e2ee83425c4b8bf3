//! Rules and the judge: a policy is a TOML text that people keep; the judge is one pure function of facts, policy and
//! question.

pub mod attended;
pub mod bench;
mod carton;
mod file;
pub mod foresight;
pub mod judge;
pub mod limits;
pub mod notice;
pub mod reason;
pub mod rules;
pub mod template;
pub mod waste;
