//! What the tool promises, by behaviour.

mod print;
