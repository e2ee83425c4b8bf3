//! Making chances true: what was foretold is held against what came, and the difference is taken off the log-odds.
//!
//! A logistic regression of outcomes on foretold log-odds (Platt, "Probabilistic outputs for support vector machines", 1999, from
//! memory), held near no change at all by a prior worth some hundred outcomes.

use serde::{Deserialize, Serialize};

/// Chances this near to nothing or certainty are taken as this.
const EDGE: f64 = 1e-6;
/// Precision of the prior on shift and scale: little is changed before some hundred outcomes say so.
const PRIOR: [f64; 2] = [100.0, 400.0];
const STEPS: usize = 20;

/// A correction of chances.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Calibration {
    /// What is added to the log-odds.
    pub shift: f64,
    /// What they are multiplied by.
    pub scale: f64,
}

impl Calibration {
    /// No correction.
    pub const NONE: Self = Self { shift: 0.0, scale: 1.0 };

    /// The corrected chance.
    pub fn of(self, chance: f64) -> f64 {
        1.0 / (1.0 + (-(self.shift + self.scale * log_odds(chance))).exp())
    }

    /// Learns the correction from chances and what came (Newton's rule).
    pub fn learn(cases: &[(f64, bool)]) -> Self {
        let mut found = Self::NONE;
        for _ in 0..STEPS {
            let mut slope = [-PRIOR[0] * found.shift, -PRIOR[1] * (found.scale - 1.0)];
            let mut curve = [PRIOR[0], 0.0, PRIOR[1]];
            for &(chance, came) in cases {
                let odds = log_odds(chance);
                let now = found.of(chance);
                let off = f64::from(u8::from(came)) - now;
                let weight = now * (1.0 - now);
                slope = [slope[0] + off, slope[1] + off * odds];
                curve = [curve[0] + weight, curve[1] + weight * odds, curve[2] + weight * odds * odds];
            }
            let determinant = curve[0] * curve[2] - curve[1] * curve[1];
            found.shift += (curve[2] * slope[0] - curve[1] * slope[1]) / determinant;
            found.scale += (curve[0] * slope[1] - curve[1] * slope[0]) / determinant;
        }
        found
    }
}

fn log_odds(chance: f64) -> f64 {
    let chance = chance.clamp(EDGE, 1.0 - EDGE);
    (chance / (1.0 - chance)).ln()
}
