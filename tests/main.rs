//! What the tool promises, by behaviour.

// `cfg(test)` tells clippy that everything below is a test, so that its exceptions for tests hold.
#[cfg(test)]
mod print;
