//! The behaviour of packmuster, by subject.

#[cfg(test)]
mod scan;
