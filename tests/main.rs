//! The behaviour of packmuster, by subject.

mod demo;
mod help;
mod readme;
mod scan;
