//! Pictures with what is in them, and a table of what was read.

pub(crate) mod fuzz;
pub(crate) mod scene;
pub(crate) mod table;
pub(crate) mod truth;
