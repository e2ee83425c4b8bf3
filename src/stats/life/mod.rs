//! How long packs last: from packs under watch to the share that is still good at an age.
//!
//! [`kaplan`] draws the curve and assumes nothing of its form, [`weibull`] fits a law of wear-out to it, and [`logrank`] tells
//! whether groups last alike. Ages are in any unit, all alike (years, or cycles).
//!
//! Two things keep a plain average of the ages at failure from being the answer, and all three honour them. Most packs are still
//! good when the books are looked at: their end is not known, only that it is later (right-censoring). And a pack that was bought
//! used, or was in the house before the books began, comes under watch at an age: had it failed earlier, it would not be among
//! them (late entry, or left truncation), so it counts only from that age on.

pub mod kaplan;
pub mod logrank;
pub mod weibull;

mod likelihood;
mod risk;

use thiserror::Error;

/// One pack under watch, from an age to an age.
///
/// ```
/// use packmuster::stats::life::Life;
/// let worn_out = Life { entered: 0.0, left: 3.2, failed: true };
/// let bought_used_still_good = Life { entered: 1.5, left: 4.0, failed: false };
/// assert!(worn_out.failed && !bought_used_still_good.failed);
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Life {
    /// Age at which the watch began: 0 for a pack watched from new.
    pub entered: f64,
    /// Age at which the pack failed, or was last known to be good.
    pub left: f64,
    /// True when the watch ended because the pack failed.
    pub failed: bool,
}

/// Why packs under watch do not tell how long packs last.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum LifeError {
    /// No pack at all, or a group without one.
    #[error("not enough data: no pack was under watch")]
    NoLives,
    /// Every pack is still good.
    #[error("not enough data: no pack has failed yet")]
    NoFailures,
    /// Too few packs have failed to tell the form of wear-out.
    #[error("not enough data: {failed} packs have failed, and {needed} are needed")]
    TooFewFailures {
        /// Packs that failed.
        failed: u32,
        /// What is needed.
        needed: u32,
    },
    /// An age is infinite or not a number.
    #[error("pack {index} under watch has an age that is not a number")]
    NotFinite {
        /// The pack's place in what was handed in, from 0.
        index: usize,
    },
    /// The watch began below age 0, or did not end after it began.
    #[error("pack {index} was under watch from age {entered} to age {left}: not 0 or more, then later")]
    Unordered {
        /// The pack's place in what was handed in, from 0.
        index: usize,
        /// Age at which the watch began.
        entered: f64,
        /// Age at which it ended.
        left: f64,
    },
    /// One group only, or never two of them under watch at the age at which a pack failed.
    #[error("not enough data: no two groups were under watch at the age at which a pack failed")]
    NothingToCompare,
    /// The search for the shape found no best one: all failed at the same age, or late entries hide the early failures.
    #[error("no wear-out law fits best: the search for its shape stopped at {shape}")]
    NotConverged {
        /// The shape at which the search stopped.
        shape: f64,
    },
}

/// Sees that ages are what [`Life`] says, and counts the failures.
fn count_failures(lives: &[Life]) -> Result<u32, LifeError> {
    if lives.is_empty() {
        return Err(LifeError::NoLives);
    }
    let mut failures = 0;
    for (index, &Life { entered, left, failed }) in lives.iter().enumerate() {
        if !(entered.is_finite() && left.is_finite()) {
            return Err(LifeError::NotFinite { index });
        }
        if entered < 0.0 || left <= entered {
            return Err(LifeError::Unordered { index, entered, left });
        }
        failures += u32::from(failed);
    }
    Ok(failures)
}
