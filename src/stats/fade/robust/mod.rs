//! The straight line, kept straight beside gross errors.
//!
//! An error is normal, or with a small chance normal with ten times the spread: the contaminated normal of Tukey ("A survey of sampling
//! from contaminated distributions", 1960, from memory). Expectation and maximisation (Dempster, Laird and Rubin, 1977): each
//! reading counts by how likely it is to be of the narrow kind, the mixed model is fitted with those weights, and so on. How likely
//! that is and where the pack's line runs are taken as independent, and worked out from each other until both hold still before the
//! fit is asked again (Neal and Hinton, "A view of the EM algorithm that justifies incremental, sparse, and other variants", 1998,
//! from memory): that costs little, and where many packs bend it saves most of the fits.

mod kernel;

use super::kernel::count;
use super::mixed::{Fit, SAMPLE, Way, fit_from};
use super::{FadeError, Readings};

/// How much wider the variance of a gross error is.
pub const WIDER: f64 = 100.0;
/// The share of gross errors that is assumed at first, and the least that is believed.
const FIRST_SHARE: f64 = 0.01;
const LEAST_SHARE: f64 = 1e-4;
/// Rounds at most, and the relative change of the residual variance that ends them: on a sample, where rounds are cheap, and on all.
const ROUNDS: usize = 40;
const SAMPLE_SETTLED: f64 = 3e-4;
const SETTLED: f64 = 2e-3;
/// How near the variance that a settled sample gave all readings must come to be settled too: three times its sampling error.
const LIKE_SAMPLE: f64 = 1.5e-2;
/// Fall of the criterion that is not worth another step while weights still change.
const ROUGH: f64 = 5e-2;

/// A fit and what it holds for gross errors.
#[derive(Debug, Clone, PartialEq)]
pub struct Robust {
    /// The fit with the last weights.
    pub fit: Fit,
    /// Share of gross errors among the readings.
    pub gross: f64,
    /// Rounds of weighing on all readings.
    pub rounds: usize,
}

/// Fits the mixed model robustly, and leaves in the readings how much each counted.
///
/// # Errors
/// [`FadeError`] when the data do not carry the model.
pub fn fit(readings: &mut Readings, way: &Way) -> Result<Robust, FadeError> {
    let rough = Way { tolerance: ROUGH.max(way.tolerance), ..*way };
    let mut begun = if readings.packs() > 2 * SAMPLE {
        let mut few = readings.thinned(SAMPLE);
        // A sample that carries nothing is no reason to give up: all readings may.
        settle(&mut few, &rough, None, SAMPLE_SETTLED).ok()
    } else {
        None
    };
    if let Some(begun) = &mut begun {
        begun.gross = weigh(readings, &begun.fit, begun.gross, way.threads);
    }
    let settled = if begun.is_some() { LIKE_SAMPLE } else { SETTLED };
    settle(readings, &rough, begun, settled)
}

fn settle(
    readings: &mut Readings,
    way: &Way,
    begun: Option<Robust>,
    settled: f64,
) -> Result<Robust, FadeError> {
    let mut gross = begun.as_ref().map_or(FIRST_SHARE, |begun| begun.gross);
    let mut fit = fit_from(readings, way, begun.as_ref().map(|begun| begun.fit.end()))?;
    let mut before = begun.map_or(f64::INFINITY, |begun| begun.fit.residual);
    let mut rounds = 1;
    let mut evaluations = fit.evaluations;
    while (fit.residual / before - 1.0).abs() > settled && rounds < ROUNDS {
        before = fit.residual;
        gross = weigh(readings, &fit, gross, way.threads);
        fit = fit_from(readings, way, Some(fit.end()))?;
        evaluations += fit.evaluations;
        rounds += 1;
    }
    fit.evaluations = evaluations;
    Ok(Robust { fit, gross, rounds })
}

/// Weighs every reading by a fit, and gives the new share of gross errors.
fn weigh(readings: &mut Readings, fit: &Fit, gross: f64, threads: usize) -> f64 {
    let odds = (gross / (1.0 - gross)).ln() - 0.5 * WIDER.ln();
    let total = kernel::reweigh(readings, fit, threads, |square, uncertainty| {
        let outlying = 1.0 / (1.0 + (-(odds + 0.5 * (square + uncertainty) * (1.0 - 1.0 / WIDER))).exp());
        (1.0 - outlying * (1.0 - 1.0 / WIDER), outlying)
    });
    (total / count(readings.len())).clamp(LEAST_SHARE, 0.5)
}
