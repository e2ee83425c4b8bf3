//! The Weibull law's likelihood, with its scale already at its best, and the search for the shape that makes it highest.
//!
//! For a shape `k`, the best scale is known: `scale^k = S0 / failures`, with `S0` the sum of `left^k - entered^k`. What is left
//! is a function of one number, climbed by Newton's rule on `ln k`, for which it is nearly a parabola.

use super::{Life, LifeError};

/// Shapes beyond these are no wear-out law, but a search that runs away.
const LN_SHAPES: std::ops::RangeInclusive<f64> = -7.0..=12.0;
/// A step in `ln k` after which the next one would be below rounding, as Newton's rule squares the error.
const SMALL_STEP: f64 = 1e-7;
const MOST_STEPS: u32 = 80;
/// Packs among which a first shape is sought when there are many more.
const SAMPLE: usize = 16_384;

/// The packs, as logarithms of ages relative to the highest age: no power of them can overflow.
struct Ages {
    left: Vec<f64>,
    /// Of the late entries only: age 0 adds nothing to any sum, and costs nothing.
    entered: Vec<f64>,
    failures: f64,
    failed: f64,
}

/// Sums over the packs of `left^k ln^j left - entered^k ln^j entered`, for `j` of 0, 1 and 2.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Sums {
    pub(super) s0: f64,
    pub(super) s1: f64,
    pub(super) s2: f64,
}

/// The shape of the highest likelihood, and the sums at it, of ages relative to `unit`.
pub(super) struct Peak {
    pub(super) shape: f64,
    pub(super) sums: Sums,
    /// The highest age.
    pub(super) unit: f64,
    pub(super) failures: f64,
    /// Sum of `ln(left / unit)` of the failures.
    pub(super) failed: f64,
}

/// Finds the best shape. Ages must be in order, and some packs have failed.
///
/// # Errors
/// [`LifeError::NotConverged`] when the likelihood has no peak.
pub(super) fn climb(lives: &[Life]) -> Result<Peak, LifeError> {
    let unit = lives.iter().fold(0.0, |age: f64, life| age.max(life.left));
    let ages = Ages::of(lives, unit);
    let mut start = ages.first_guess();
    if lives.len() > 4 * SAMPLE {
        let few: Vec<Life> = lives.iter().step_by(lives.len() / SAMPLE).copied().collect();
        start = Ages::of(&few, unit).peak(start).map_or(start, |(ln_shape, _)| ln_shape);
    }
    let (ln_shape, sums) = ages.peak(start)?;
    Ok(Peak { shape: ln_shape.exp(), sums, unit, failures: ages.failures, failed: ages.failed })
}

impl Ages {
    fn of(lives: &[Life], unit: f64) -> Self {
        let mut ages =
            Self { left: Vec::with_capacity(lives.len()), entered: Vec::new(), failures: 0.0, failed: 0.0 };
        for life in lives {
            let left = (life.left / unit).ln();
            ages.left.push(left);
            if life.entered > 0.0 {
                ages.entered.push((life.entered / unit).ln());
            }
            if life.failed {
                ages.failures += 1.0;
                ages.failed += left;
            }
        }
        ages
    }

    /// `ln k` from the spread of the ages' logarithms, `k = pi / (sqrt 6 sd)` (M. V. Menon, 1963, from memory): it takes censored
    /// packs for failed, which is good enough to begin at.
    fn first_guess(&self) -> f64 {
        let (mut count, mut sum, mut squares) = (0.0, 0.0, 0.0);
        for left in &self.left {
            count += 1.0;
            sum += left;
            squares += left * left;
        }
        let variance = (squares - sum * sum / count) / count;
        let guess = 0.5 * (std::f64::consts::PI.powi(2) / (6.0 * variance)).ln();
        if guess.is_finite() { guess.clamp(-2.0, 4.0) } else { 0.0 }
    }

    /// `ln k` of the highest likelihood, and the sums there.
    ///
    /// A step that leaves the bracket of slopes seen so far is replaced by a halving of it, and one uphill on a slope that curves
    /// upwards by a step of fixed length: with late entry, the likelihood is not everywhere a hill.
    fn peak(&self, start: f64) -> Result<(f64, Sums), LifeError> {
        let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
        let mut at = start;
        for _ in 0..MOST_STEPS {
            let shape = at.exp();
            let sums = self.sums(shape);
            let (slope, bend) = self.slope(shape, sums);
            if slope.is_nan() || !LN_SHAPES.contains(&at) {
                break;
            }
            if slope > 0.0 {
                low = at;
            } else {
                high = at;
            }
            let step = if bend < 0.0 { (-slope / bend).clamp(-1.0, 1.0) } else { 1_f64.copysign(slope) };
            if step.abs() < SMALL_STEP {
                return Ok((at + step, sums.shifted((at + step).exp() - shape)));
            }
            at = if low < at + step && at + step < high { at + step } else { 0.5 * (low + high) };
        }
        Err(LifeError::NotConverged { shape: at.exp() })
    }

    fn sums(&self, shape: f64) -> Sums {
        let (left, entered) = (Sums::over(&self.left, shape), Sums::over(&self.entered, shape));
        Sums { s0: left.s0 - entered.s0, s1: left.s1 - entered.s1, s2: left.s2 - entered.s2 }
    }

    /// First and second derivative of `d ln k + k sum ln t - d ln S0` by `ln k`.
    fn slope(&self, k: f64, Sums { s0, s1, s2 }: Sums) -> (f64, f64) {
        let (d, mean) = (self.failures, s1 / s0);
        let pull = k * (self.failed - d * mean);
        (d + pull, pull - d * k * k * (s2 / s0 - mean * mean))
    }
}

impl Sums {
    fn over(logs: &[f64], shape: f64) -> Self {
        let mut sums = Self::default();
        for log in logs {
            let power = (shape * log).exp();
            let first = power * log;
            sums.s0 += power;
            sums.s1 += first;
            sums.s2 += first * log;
        }
        sums
    }

    /// The sums at a shape a last small step away, by Taylor's rule: one pass over the packs less.
    fn shifted(self, by: f64) -> Self {
        Self { s0: self.s0 + by * (self.s1 + 0.5 * by * self.s2), s1: self.s1 + by * self.s2, s2: self.s2 }
    }
}
