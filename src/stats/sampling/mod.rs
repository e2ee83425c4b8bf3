//! Acceptance sampling: how many packs of a carton are read, and what that says of the rest.
//!
//! A plan is judged by its operating characteristic, the chance that it accepts a lot with so many bad packs, worked out exactly
//! for the lot's real size: packs are drawn without putting back, so bad ones among them are hypergeometric. For lots without
//! end the binomial law takes its place (Montgomery, Introduction to Statistical Quality Control, chapter 15; from memory).

pub mod chances;
pub mod design;
pub mod plan;
pub mod tables;
pub mod variables;

use thiserror::Error;

/// Why no plan can be given.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum SamplingError {
    /// The good share is not better than the bad one, or a risk is no risk.
    #[error("the good share must be below the bad one, and both risks between nothing and one half")]
    Points,
    /// No plan within the lot, or within the largest sample that is tried, keeps both risks.
    #[error("no sample up to {0} keeps both risks: read all of them")]
    None(u32),
    /// The acceptance quality is none of the standard's.
    #[error("the standard has no plan for an acceptance quality of {0}")]
    Quality(f64),
    /// A lot of fewer than two has no letter.
    #[error("a lot has at least two packs")]
    Lot,
}
