//! The behaviour of packmuster, by subject.

mod demo;
mod help;
mod print;
mod readme;
mod scan;
