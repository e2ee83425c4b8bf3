//! What a round of reconditioning brings a pack, by its group, its age and how far it had faded.

use serde::{Deserialize, Serialize};

/// What a round of reconditioning brings: `level of the group + a (age - mean age) + b (depth - mean depth)`, and a spread from round to
/// round. Depth is how far below its group's level at the start the pack stood before the round, by what its readings foretell.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Lift {
    /// Each group's, by number.
    pub groups: Vec<Rise>,
    /// From where age (years) and depth (mAh) count: their means over the rounds that it was learnt from.
    pub centre: [f64; 2],
    /// Variance from one round to another of the same kind, mAh^2.
    pub variance: f64,
    /// Relative variance of the slope after it.
    pub slope: f64,
    /// Rounds that it was learnt from.
    pub rounds: u32,
}

/// What a round brings the packs of one group.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Rise {
    /// Mean: at the centre (mAh), for each year of age (mAh), for each mAh of depth.
    pub mean: [f64; 3],
    /// What is not known of the mean: its covariance, the upper triangle by rows.
    pub spread: [f64; 6],
    /// Rounds of its make that it was learnt from.
    pub rounds: u32,
}

/// A round of reconditioning, as the lift looks at it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Round {
    /// The pack's group.
    pub group: usize,
    /// The pack's age at the round, years.
    pub years: f64,
    /// The model's clock at the round.
    pub clock: f64,
}

impl Lift {
    /// Nothing, but for a spread (mAh^2): what is said while no round is known.
    pub const fn unknown(variance: f64) -> Self {
        Self { groups: Vec::new(), centre: [0.0; 2], variance, slope: 0.0, rounds: 0 }
    }

    /// Mean (mAh) and variance (mAh^2) of what a round brings a pack of a group, of an age in years, and a depth in mAh.
    pub fn of(&self, group: usize, years: f64, depth: f64) -> (f64, f64) {
        let Some(rise) = self.groups.get(group).or(self.groups.first()) else { return (0.0, self.variance) };
        let [a, b] = [years - self.centre[0], depth - self.centre[1]];
        let [level, of_year, of_depth] = rise.mean;
        let [v00, v01, v02, v11, v12, v22] = rise.spread;
        let doubt = v00 + 2.0 * (a * v01 + b * v02 + a * b * v12) + a * a * v11 + b * b * v22;
        (level + a * of_year + b * of_depth, self.variance + doubt.max(0.0))
    }

    /// Rounds of a group's make that it was learnt from.
    pub fn rounds_of(&self, group: usize) -> u32 {
        self.groups.get(group).map_or(0, |rise| rise.rounds)
    }
}
