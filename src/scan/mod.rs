//! Pictures of tags -> texts.
//!
//! [`picture::read`] is the door: a picture file goes in, the texts of the symbols in it come out with their places, in
//! reading order. Behind it stand, in the order in which a picture passes them: `load` (file -> upright picture),
//! `stage` (which views are looked at, and when to stop), `frame` (how a finder pattern lies), `beside` (those that hide beside one), `fit` (three finder patterns -> a
//! symbol), `pair` (two of them), `align` over a `lattice` (exactly where a symbol's modules lie), `model` (their map, and what
//! stands in them), `equal` (freed of their neighbours), `soft` and `solomon` (read by how sure each is), `filler` (what must
//! stand behind a text), `format` (format words), `matrix` (the decoder library's judgement), `whole` (its own search), `place`
//! (merging and reading order), `advice` (why something could not be read), with `kernel` (pixel loops) and `fence` (faults and
//! time) under them.
//!
//! Invariants: no picture brings the program down; the time budget is kept, whatever the decoder does; a text is
//! returned only when the symbol's error correction accepted it. What a text means is not decided here: it may be a
//! tag of ours or anybody's code.

mod advice;
mod align;
mod beside;
mod equal;
mod fence;
mod filler;
mod fit;
mod format;
mod frame;
mod kernel;
mod lattice;
mod load;
mod matrix;
mod model;
mod pair;
pub mod picture;
mod place;
mod soft;
mod solomon;
mod stage;
mod whole;
