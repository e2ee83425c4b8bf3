//! The Weibull law of wear-out, by maximum likelihood: `surviving(t) = exp(-(t / scale)^shape)`.
//!
//! A shape below 1 is a law of early failures, 1 of failures that know no age, above 1 of wear-out. Censored packs and late
//! entries as in Meeker and Escobar, "Statistical Methods for Reliability Data", 1998, chapters 8 and 11 (from memory).

use super::likelihood::{self, Peak};
use super::{Life, LifeError, count_failures};
use crate::stats::interval::Interval;
use crate::stats::normal;

/// Failures without which a shape means nothing.
const FEWEST_FAILURES: u32 = 2;

/// A law fitted to packs under watch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weibull {
    /// The exponent, often called beta.
    pub shape: f64,
    /// The age by which 63.2 % have failed, often called eta, in the unit of the ages.
    pub scale: f64,
    /// The logarithm of the likelihood at its peak.
    pub log_likelihood: f64,
    /// How sure the two are.
    pub covariance: Covariance,
}

/// The inverse of the observed information on `mu = ln scale` and `ln sigma = -ln shape`: a smallest extreme value law of `ln age`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Covariance {
    /// Variance of `mu`.
    pub mu: f64,
    /// Covariance of `mu` and `ln sigma`.
    pub both: f64,
    /// Variance of `ln sigma`.
    pub log_sigma: f64,
}

impl Weibull {
    /// Fits the law to packs under watch. A million of them take a few passes.
    ///
    /// ```
    /// use packmuster::stats::life::{Life, weibull::Weibull};
    /// let life = |left, failed| Life { entered: 0.0, left, failed };
    /// let law = Weibull::fit(&[life(2.1, true), life(2.9, true), life(3.6, true), life(4.0, false), life(4.0, false)])?;
    /// assert!(law.shape > 1.0, "they wear out");
    /// assert!(law.surviving_given(4.0, 3.0) > law.surviving(4.0), "one that is good at 3 has the start behind it");
    /// # Ok::<(), packmuster::stats::life::LifeError>(())
    /// ```
    ///
    /// # Errors
    /// [`LifeError`] when there is no pack, or one whose ages are not in order, when fewer than two have failed, and
    /// [`LifeError::NotConverged`] when the likelihood has no peak.
    pub fn fit(lives: &[Life]) -> Result<Self, LifeError> {
        let failed = count_failures(lives)?;
        if failed == 0 {
            return Err(LifeError::NoFailures);
        }
        if failed < FEWEST_FAILURES {
            return Err(LifeError::TooFewFailures { failed, needed: FEWEST_FAILURES });
        }
        let peak = likelihood::climb(lives)?;
        let Peak { shape: k, sums, unit, failures: d, failed } = peak;
        let mu = (sums.s0 / d).ln() / k;
        let failed_logs = failed + d * unit.ln();
        let law = Self {
            shape: k,
            scale: unit * mu.exp(),
            log_likelihood: d * (k.ln() - k * (mu + unit.ln())) + (k - 1.0) * failed_logs - d,
            covariance: Covariance::at(&peak, mu),
        };
        if law.covariance.is_proper() && law.scale.is_finite() {
            Ok(law)
        } else {
            Err(LifeError::NotConverged { shape: k })
        }
    }

    /// Standard error of the scale, by the delta method: `scale se(mu)`.
    pub fn scale_error(&self) -> f64 {
        self.scale * self.covariance.mu.sqrt()
    }

    /// Standard error of the shape, by the delta method: `shape se(ln sigma)`.
    pub fn shape_error(&self) -> f64 {
        self.shape * self.covariance.log_sigma.sqrt()
    }

    /// Limits of the shape at a level such as 0.90: `shape exp(-+ z se(ln sigma))`.
    pub fn shape_interval(&self, level: f64) -> Interval {
        around(self.shape, self.covariance.log_sigma, level)
    }

    /// The mean age at failure: `scale gamma(1 + 1 / shape)`.
    pub fn mean(&self) -> f64 {
        self.scale * libm::tgamma(1.0 + 1.0 / self.shape)
    }

    /// The standard deviation of the age at failure: `scale sqrt(gamma(1 + 2 / shape) - gamma(1 + 1 / shape)^2)`.
    pub fn sd(&self) -> f64 {
        let first = libm::tgamma(1.0 + 1.0 / self.shape);
        self.scale * (libm::tgamma(1.0 + 2.0 / self.shape) - first * first).sqrt()
    }

    /// The age by which a share of the packs has failed: `scale (-ln(1 - share))^(1 / shape)`.
    ///
    /// The share 0.10 gives what the trade calls B10 life.
    pub fn quantile(&self, share: f64) -> f64 {
        self.scale * (-(-share).ln_1p()).powf(1.0 / self.shape)
    }

    /// The age by which half of the packs have failed.
    pub fn median(&self) -> f64 {
        self.quantile(0.5)
    }

    /// Limits of [`Weibull::quantile`] at a level such as 0.90, by the delta method on its logarithm, `mu + sigma w` with
    /// `w = ln(-ln(1 - share))`.
    pub fn quantile_interval(&self, share: f64, level: f64) -> Interval {
        let slope = (-(-share).ln_1p()).ln() / self.shape;
        let Covariance { mu, both, log_sigma } = self.covariance;
        around(self.quantile(share), mu + slope * (2.0 * both + slope * log_sigma), level)
    }

    /// The share that is still good at an age.
    pub fn surviving(&self, age: f64) -> f64 {
        (-self.hazard_until(age)).exp()
    }

    /// The share still good at an age of those that were good at a younger one; 1 when it is not younger.
    pub fn surviving_given(&self, age: f64, good_at: f64) -> f64 {
        (self.hazard_until(good_at) - self.hazard_until(age)).exp().min(1.0)
    }

    fn hazard_until(&self, age: f64) -> f64 {
        (age.max(0.0) / self.scale).powf(self.shape)
    }
}

impl Covariance {
    /// Inverts the observed information, where `z = shape (ln age - mu)` and `E_j` is the sum of `z^j e^z` of those left, less
    /// that of those entered:
    ///
    /// ```text
    /// d shape^2   shape E1
    /// shape E1    d + E2
    /// ```
    fn at(peak: &Peak, mu: f64) -> Self {
        let (k, d, sums) = (peak.shape, peak.failures, peak.sums);
        let unit = d / sums.s0;
        let e1 = k * (sums.s1 - mu * sums.s0) * unit;
        let e2 = k * k * (sums.s2 - mu * (2.0 * sums.s1 - mu * sums.s0)) * unit;
        let (first, cross, second) = (d * k * k, k * e1, d + e2);
        let determinant = first * second - cross * cross;
        Self { mu: second / determinant, both: -cross / determinant, log_sigma: first / determinant }
    }

    fn is_proper(self) -> bool {
        let Self { mu, both, log_sigma } = self;
        mu > 0.0 && log_sigma > 0.0 && mu * log_sigma > both * both && (mu + log_sigma).is_finite()
    }
}

/// Limits on the log scale: `value exp(-+ z sqrt variance)`.
fn around(value: f64, variance: f64, level: f64) -> Interval {
    let spread = normal::quantile(0.5 + 0.5 * level) * variance.sqrt();
    Interval { low: value * (-spread).exp(), high: value * spread.exp() }
}
