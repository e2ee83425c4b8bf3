//! Plans made for two points: lots as good as one are nearly always accepted, lots as bad as the other hardly ever.

use super::SamplingError;
use super::plan::{Plan, Single};

/// The two points of an operating characteristic.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Points {
    /// A share of bad ones that is good enough.
    pub good: f64,
    /// The producer's risk: a lot as good as that is rejected at most so often.
    pub producer: f64,
    /// A share of bad ones that is too many.
    pub bad: f64,
    /// The consumer's risk: a lot as bad as that is accepted at most so often.
    pub consumer: f64,
}

/// The largest sample that is tried from a lot without end.
const MOST: u32 = 5_000;

impl Points {
    pub(super) fn check(&self) -> Result<(), SamplingError> {
        let risk = |risk: f64| risk > 0.0 && risk < 0.5;
        let fine = self.good > 0.0
            && self.bad < 1.0
            && self.good < self.bad
            && risk(self.producer)
            && risk(self.consumer);
        if fine { Ok(()) } else { Err(SamplingError::Points) }
    }
}

/// The smallest single plan that keeps both points for lots without end: by Guenther, "Use of the binomial, hypergeometric and Poisson
/// tables to obtain sampling plans", Journal of Quality Technology 1, 1969 (from memory): for each acceptance number, the smallest sample
/// that the consumer can bear, until it is one that the producer can bear too.
///
/// # Errors
/// When the points are none, or no sample up to 5,000 keeps them.
pub fn single(points: &Points) -> Result<Single, SamplingError> {
    points.check()?;
    search(MOST, |plan| plan.accepts_share(points.good), |plan| plan.accepts_share(points.bad), points)
}

/// The same for a lot of so many, drawn without putting back. The good lot has the whole bad packs that its share allows, rounded down; the
/// bad one those of its share, rounded up.
///
/// # Errors
/// When the points are none, or only reading all keeps them.
pub fn single_for_lot(lot: u32, points: &Points) -> Result<Single, SamplingError> {
    points.check()?;
    let whole = |share: f64, up: bool| {
        let bad = f64::from(lot) * share;
        // A share that makes a whole number is not moved by the last digit of the product.
        let bad = if up { (bad - 1e-9).ceil() } else { (bad + 1e-9).floor() };
        (0..=lot).rev().find(|count| f64::from(*count) <= bad).unwrap_or(0)
    };
    let (good, bad) = (whole(points.good, false), whole(points.bad, true));
    search(lot.saturating_sub(1), |plan| plan.accepts(lot, good), |plan| plan.accepts(lot, bad), points)
}

fn search(
    most: u32,
    good: impl Fn(&Plan) -> f64,
    bad: impl Fn(&Plan) -> f64,
    points: &Points,
) -> Result<Single, SamplingError> {
    let mut sample = 1;
    for accept in 0..most {
        let plan = |sample: u32| Plan::Single(Single::of(sample, accept));
        while sample <= most && bad(&plan(sample)) > points.consumer {
            sample += 1;
        }
        if sample > most {
            break;
        }
        if good(&plan(sample)) >= 1.0 - points.producer {
            return Ok(Single::of(sample, accept));
        }
    }
    Err(SamplingError::None(most))
}

/// The smallest sample that meets at least one of so many bad ones with a chance: discovery sampling, accepted with none.
///
/// The chance is between nothing and one.
pub fn to_find_one(lot: u32, bad: u32, chance: f64) -> u32 {
    let misses = |sample: u32| Plan::Single(Single::of(sample, 0)).accepts(lot, bad);
    (0..=lot).find(|sample| misses(*sample) <= 1.0 - chance).unwrap_or(lot)
}
