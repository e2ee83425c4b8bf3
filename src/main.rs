//! The packmuster binary.
fn main() {}
