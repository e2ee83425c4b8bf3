//! Why a chart cannot be drawn or judged.
//!
//! What is wrong with a planned gauge study is told by [`super::gauge::study::GaugeError`] instead.

use thiserror::Error;

/// Why a chart cannot be drawn or judged.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum ControlError {
    /// A setting of a chart makes no chart.
    #[error("{name} must be {wanted}, not {value}")]
    Setting {
        /// The setting.
        name: &'static str,
        /// What it must be.
        wanted: &'static str,
        /// What it is.
        value: f64,
    },
    /// A reading is infinite or not a number.
    #[error("reading {index} is not a finite number")]
    NotFinite {
        /// The reading's place, from 0.
        index: usize,
    },
    /// A reading's spread is zero or vanishing, negative, infinite or not a number.
    #[error("reading {index} has a spread of {spread_mah} mAh, and it must be above 0")]
    Spread {
        /// The reading's place, from 0.
        index: usize,
        /// The spread it came with.
        spread_mah: f64,
    },
    /// The limits lie so far apart that the integral equation is not solved.
    #[error("limits {widths} spreads of one step apart are too wide to work out an average run length")]
    TooWide {
        /// How far apart the limits lie, in spreads of one step.
        widths: f64,
    },
    /// The average run length is beyond what the arithmetic carries.
    #[error("the average run length is too long to be worked out")]
    TooLong,
    /// No limits have the wanted average run length.
    #[error("no limits have an average run length of {0}")]
    RunLength(f64),
}

impl ControlError {
    /// Takes a setting when it is finite and what it must be.
    pub(super) fn check(
        name: &'static str,
        wanted: &'static str,
        value: f64,
        is_fine: impl Fn(f64) -> bool,
    ) -> Result<f64, Self> {
        if value.is_finite() && is_fine(value) {
            Ok(value)
        } else {
            Err(Self::Setting { name, wanted, value })
        }
    }
}
