//! packmuster: a ledger, a second pair of eyes and a monthly review for a fleet of lent-out rechargeable packs.

pub mod domain;
pub mod print;
