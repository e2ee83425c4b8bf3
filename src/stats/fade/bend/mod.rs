//! What the straight line misses: packs that bend down late.
//!
//! A pack's capacity is `level + slope g(x)` with `g(x) = x + sharpness max(0, x - bend)`: a line that may, once, turn steeper. Where it
//! bends is not known; every place on a grid, every sharpness, and no bend at all are weighed by how well they explain the
//! pack's readings, and a forecast is the weighted sum of what each foretells, with bends still to come. Lines come from a mixture
//! of three normals for each group, since fast fading packs have a tail of their own. Bends come at a rate (a piecewise constant hazard) along the
//! clock, another measure, or the fade so far. A reading may be a gross error: each one alone and the worst
//! pairs are tried as such. All of it is learnt from the fleet's own past by expectation and maximisation (Dempster, Laird and Rubin,
//! "Maximum likelihood from incomplete data via the EM algorithm", JRSS B 39, 1977).
//!
//! Recorded rounds of reconditioning begin a new line, whose start is what the old one foretells, lifted by what rounds bring such
//! packs.

mod forecast;
mod learn;
mod lift;
mod posterior;

pub use forecast::{Normal, Outlook};
pub use learn::{Learning, Past, learn};
pub use lift::{Lift, Rise, Round};
pub use posterior::{Item, Prepared, Track};

use serde::{Deserialize, Serialize};

/// Normals in the mixture of each group's lines.
pub const COMPONENTS: usize = 3;
/// How much steeper a pack may turn.
pub const SHARPNESS: [f64; 4] = [0.5, 1.0, 2.0, 4.0];
/// Pieces of the hazard.
pub const PIECES: usize = 20;

/// One normal of a mixture of lines.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Component {
    /// Its share.
    pub weight: f64,
    /// Mean level (mAh above the origin) and slope.
    pub mean: [f64; 2],
    /// Covariance: level, level with slope, slope.
    pub spread: [f64; 3],
}

/// Along what bends come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Along {
    /// The clock of the model.
    Clock,
    /// The other measure: age where the clock is use, and the other way round.
    Other,
    /// How far a pack has faded.
    Fade,
}

/// A gross error's distribution to one side.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Tail {
    /// Share of gross errors to this side.
    pub share: f64,
    /// Mean, mAh.
    pub mean: f64,
    /// Standard deviation, mAh.
    pub spread: f64,
}

/// Shares of a sharpness below this are let go once the model is learnt: they cost time, and change no figure that people see.
const LEAST_SHARE: f64 = 0.01;

impl Bend {
    /// Without sharpnesses that hardly occur.
    #[must_use]
    pub fn pruned(mut self) -> Self {
        let kept: f64 = self.sharpness.iter().filter(|share| **share >= LEAST_SHARE).sum();
        for share in &mut self.sharpness {
            *share = if *share >= LEAST_SHARE { *share / kept } else { 0.0 };
        }
        self
    }
}

/// A fleet's model with bends.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Bend {
    /// What is taken off each capacity, mAh.
    pub origin: f64,
    /// Share of gross errors.
    pub gross: f64,
    /// Gross errors downwards and upwards.
    pub tails: [Tail; 2],
    /// Variance of an error, mAh^2.
    pub residual: f64,
    /// Variance of slots, mAh^2.
    pub slot: f64,
    /// Lines of each group.
    pub groups: Vec<[Component; COMPONENTS]>,
    /// Distance of two places where a bend is looked for, clock.
    pub step: f64,
    /// Places where a bend is looked for.
    pub places: usize,
    /// Along what bends come.
    pub along: Along,
    /// Width of a piece of the hazard.
    pub width: f64,
    /// Bends for each unit, in each piece; empty when packs do not bend.
    pub hazard: Vec<f64>,
    /// Shares of each [`SHARPNESS`].
    pub sharpness: [f64; SHARPNESS.len()],
    /// What a round brings.
    pub lift: Lift,
}
