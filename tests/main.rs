//! The behaviour of packmuster, by subject.

mod day;
mod demo;
mod durable;
mod help;
mod judge;
mod layers;
mod print;
mod readme;
mod sandbox;
mod scan;
