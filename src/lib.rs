//! packmuster: a ledger, a second pair of eyes and a monthly review for a fleet of lent-out rechargeable packs.
//!
//! The house, in reading order; inner layers know nothing of outer ones.

pub mod domain;

pub mod policy;
pub mod stats;

pub mod exchange;
pub mod ledger;
pub mod scan;

pub mod app;

pub mod print;

pub mod demo;

pub mod cli;
