//! Pictures in, tag texts out.

mod faults;
mod order;
mod rates;
pub(crate) mod synth;
