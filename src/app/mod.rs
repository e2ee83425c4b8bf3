//! One file per thing a person does. `cli` and later the desk pages share it: neither holds a rule.
//!
//! A session is a stream of scans; each is answered, and durable alone. What people may get wrong is an answer with a way
//! on, not an error.

pub mod ahead;
pub mod answer;
pub mod bench;
mod clash;
pub mod consignment;
pub mod correct;
pub mod desk;
pub mod discharge;
pub mod dispatch;
pub mod error;
pub mod foresight;
pub mod foretold;
pub mod import;
pub mod input;
pub mod intake;
pub mod join;
pub mod judging;
pub mod listed;
pub mod loan;
pub mod lookup;
pub mod model;
pub mod muster;
pub mod notice;
pub(crate) mod on_pack;
pub mod past;
pub mod people;
pub mod pick;
pub mod plan;
pub mod printing;
pub mod receive;
mod reckon;
pub mod review;
pub mod risks;
pub mod rounds;
pub mod sampling;
pub mod session;
pub mod setup;
pub(crate) mod share;
pub mod show;
pub mod slots;
pub mod study;
pub mod tray;
pub mod waiting;
pub mod waste;
