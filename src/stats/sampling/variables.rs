//! Plans that use what each pack holds, not only whether it passes: the k method for one lower limit.
//!
//! A lot is accepted when the mean of its sample lies `k` standard deviations of the sample or more above the limit. Capacities are taken as normal;
//! where they are not, the risks are not what they are said to be. Formulas: Lieberman and Resnikoff, "Sampling plans for inspection by
//! variables", JASA 50, 1955 (from memory); with an unknown deviation `sqrt(n) (mean - limit) / s` follows Student's noncentral law.

use super::SamplingError;
use super::design::{self, Points};
use crate::stats::normal;

/// The largest sample that is tried.
const MOST: u32 = 2_000;
/// Steps of the integral, and how many standard deviations of the sample's it reaches each way.
const STEPS: u32 = 400;
const REACH: f64 = 10.0;
/// Halvings of the search for a quantile: more than the digits of a number.
const HALVINGS: u32 = 80;

/// A plan by variables.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Variables {
    /// Packs to read.
    pub sample: u32,
    /// Standard deviations that the mean must lie above the limit.
    pub k: f64,
}

/// What came of a sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Judged {
    /// The sample's mean.
    pub mean: f64,
    /// Its standard deviation, by `n - 1`.
    pub deviation: f64,
    /// How many of those the mean lies above the limit.
    pub above: f64,
    /// Whether that is enough.
    pub accepted: bool,
}

/// How far the mean of a lot with a share of bad ones lies above the limit, in its deviations.
fn above(share: f64) -> f64 {
    -normal::quantile(share)
}

/// The smallest plan that keeps both points where the deviation is not known.
///
/// # Errors
/// When the points are none, or no sample up to 2,000 keeps them.
pub fn unknown_deviation(points: &Points) -> Result<Variables, SamplingError> {
    points.check()?;
    for sample in 2..=MOST {
        let root = f64::from(sample).sqrt();
        // The least that lots as good as the first point give with the producer's chance.
        let least = quantile(points.producer, sample, above(points.good) * root);
        let plan = Variables { sample, k: least / root };
        if plan.accepts_share(points.bad) <= points.consumer {
            return Ok(plan);
        }
    }
    Err(SamplingError::None(MOST))
}

/// The smallest plan that keeps both points where the deviation is known from many lots before.
///
/// # Errors
/// When the points are none.
pub fn known_deviation(points: &Points) -> Result<Variables, SamplingError> {
    points.check()?;
    let [one, other] = [points.producer, points.consumer].map(above);
    let needed = ((one + other) / (above(points.good) - above(points.bad))).powi(2);
    let sample = (1..=MOST).find(|sample| f64::from(*sample) >= needed).ok_or(SamplingError::None(MOST))?;
    Ok(Variables { sample, k: above(points.good) - one / f64::from(sample).sqrt() })
}

/// How many fewer packs the plan with an unknown deviation reads than the single attribute plan for the same points.
///
/// # Errors
/// When there is no plan of either kind.
pub fn spared(points: &Points) -> Result<i64, SamplingError> {
    let (attributes, variables) = (design::single(points)?, unknown_deviation(points)?);
    Ok(i64::from(attributes.sample) - i64::from(variables.sample))
}

impl Variables {
    /// The chance that a lot with a share of packs below the limit is accepted, the deviation unknown.
    pub fn accepts_share(&self, share: f64) -> f64 {
        let root = f64::from(self.sample).sqrt();
        1.0 - noncentral(self.k * root, self.sample, above(share) * root)
    }

    /// Judges a sample against a lower limit, in the limit's unit; none for fewer than two, or for all alike.
    pub fn judge(&self, sample: &[f64], limit: f64) -> Option<Judged> {
        let count = f64::from(u32::try_from(sample.len()).ok().filter(|count| *count > 1)?);
        let mean = sample.iter().sum::<f64>() / count;
        let squares: f64 = sample.iter().map(|value| (value - mean).powi(2)).sum();
        let deviation = (squares / (count - 1.0)).sqrt();
        (deviation > 0.0).then(|| {
            let above = (mean - limit) / deviation;
            Judged { mean, deviation, above, accepted: above >= self.k }
        })
    }
}

/// The chance that `sqrt(n) (mean - limit) / s` of a normal sample is at most `t`, when the mean lies `shift` above the limit in units of
/// `sigma / sqrt(n)`: Student's noncentral law with `n - 1` degrees of freedom, `integral of f(s) Phi(t s - shift) ds` over the law of
/// `s / sigma`, by Simpson's rule.
fn noncentral(t: f64, sample: u32, shift: f64) -> f64 {
    let freedom = f64::from(sample.saturating_sub(1).max(1));
    let half = 0.5 * freedom;
    let log_scale = std::f64::consts::LN_2 + half * half.ln() - libm::lgamma(half);
    let density = |s: f64| {
        if s > 0.0 {
            (log_scale + (freedom - 1.0) * s.ln() - half * s * s).exp()
        } else if sample == 2 {
            log_scale.exp()
        } else {
            0.0
        }
    };
    let reach = REACH / (2.0 * freedom).sqrt();
    let (low, high) = ((1.0 - reach).max(0.0), 1.0 + reach);
    let width = (high - low) / f64::from(STEPS);
    let sum: f64 = (0..=STEPS)
        .map(|step| {
            let weight = match step {
                0 | STEPS => 1.0,
                step if step % 2 == 1 => 4.0,
                _ => 2.0,
            };
            let s = low + width * f64::from(step);
            weight * density(s) * normal::below(t * s - shift)
        })
        .sum();
    (sum * width / 3.0).clamp(0.0, 1.0)
}

/// The value below which that lies with a chance, by halving.
fn quantile(chance: f64, sample: u32, shift: f64) -> f64 {
    let spread = 10.0 + shift.abs();
    let (mut low, mut high) = (-10.0 * spread, 10.0 * spread);
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        if noncentral(middle, sample, shift) < chance { low = middle } else { high = middle }
    }
    f64::midpoint(low, high)
}
