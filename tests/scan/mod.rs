//! Pictures in, tag texts out.

mod advice;
mod faults;
mod marks;
mod order;
mod rates;
pub(crate) mod synth;
