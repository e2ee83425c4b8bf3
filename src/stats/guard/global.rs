//! The risks of an acceptance rule over a whole fleet, before any pack is read.
//!
//! A true value `x` is drawn from the fleet, and a reading of it is accepted with the probability `P(x)` that it falls between
//! the acceptance limits. The consumer's risk is the integral of `P` over the values that do not conform, the producer's that of
//! `1 - P` over those that do, weighted by the fleet's density (JCGM 106:2012, 9.5, from memory).

use super::{GuardError, Normal, Range};
use crate::stats::normal;

/// Standard deviations beyond which a normal distribution holds less than `1e-22`.
const TAIL: f64 = 10.0;
/// Nodes and weights of Gauss and Legendre's rule of order 8 on -1 to 1, for the upper half.
const NODES: [(f64, f64); 4] = [
    (0.183_434_642_495_649_8, 0.362_683_783_378_362),
    (0.525_532_409_916_329, 0.313_706_645_877_887_3),
    (0.796_666_477_413_626_7, 0.222_381_034_453_374_5),
    (0.960_289_856_497_536_3, 0.101_228_536_290_376_3),
];

/// A part of a fleet: its weight among the parts, and its true values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// Packs, or any weight: only the share in the sum of all counts.
    pub weight: f64,
    /// Its true values; a standard deviation of 0 is one known value.
    pub values: Normal,
}

/// The shares of wrong verdicts among all packs read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Risks {
    /// Packs that do not conform and are accepted.
    pub consumer: f64,
    /// Packs that conform and are rejected.
    pub producer: f64,
    /// Packs that are accepted.
    pub accepted: f64,
}

impl Risks {
    /// The global risks of a rule that accepts readings in one range for true values in another, over a whole fleet (JCGM 106,
    /// 9.5).
    ///
    /// `uncertainty` is the standard uncertainty of a reading. By quadrature, exact to about `1e-12`.
    ///
    /// ```
    /// use packmuster::stats::guard::{Normal, Range, global::{Part, Risks}};
    /// let fleet = [Part { weight: 1.0, values: Normal::new(1750.0, 80.0)? }];
    /// let risks = Risks::of(&fleet, 20.0, Range::at_least(1600.0)?, Range::at_least(1620.0)?)?;
    /// assert!(risks.consumer < 0.0012 && risks.producer > 0.028);
    /// # Ok::<(), packmuster::stats::guard::GuardError>(())
    /// ```
    ///
    /// # Errors
    /// [`GuardError`] when the uncertainty is not a number of 0 or more, a weight is below 0, or all weights are 0.
    pub fn of(
        fleet: &[Part],
        uncertainty: f64,
        conforming: Range,
        accepted: Range,
    ) -> Result<Self, GuardError> {
        let error = Normal::new(0.0, uncertainty)?;
        let total: f64 = fleet.iter().map(|part| part.weight).sum();
        if !(total.is_finite() && total > 0.0) || fleet.iter().any(|part| part.weight < 0.0) {
            return Err(GuardError::Weights);
        }
        let mut risks = Self { consumer: 0.0, producer: 0.0, accepted: 0.0 };
        for part in fleet {
            let share = part.weight / total;
            let wrong = of_part(part.values, error.sd, conforming, accepted);
            risks.consumer += share * wrong.consumer;
            risks.producer += share * wrong.producer;
            risks.accepted += share * wrong.accepted;
        }
        Ok(risks)
    }

    /// The share that does not conform among the packs accepted; 0 when none is.
    pub fn consumer_of_accepted(self) -> f64 {
        if self.accepted > 0.0 { self.consumer / self.accepted } else { 0.0 }
    }
}

/// The specific consumer's risk of a reading, with the fleet as what was known before: the probability that a pack of it that read so
/// does not conform (JCGM 106:2012, 7.2 and 9.3, from memory).
///
/// The parts, each weighted by `density((reading - mean) / sqrt(sd^2 + u^2)) / sqrt(sd^2 + u^2)`, give what [`Normal::updated`] leaves
/// of each below the limit. Where no part could have read so, the reading counts alone.
///
/// ```
/// use packmuster::stats::guard::{Normal, Range, global::{Part, fails_given}};
/// let fleet = [Part { weight: 1.0, values: Normal::new(1750.0, 80.0)? }];
/// let risk = fails_given(&fleet, Normal::new(1600.0, 20.0)?, Range::at_least(1600.0)?);
/// assert!(risk > 0.3 && risk < 0.5, "a pack of a good fleet that reads its limit is more likely good");
/// # Ok::<(), packmuster::stats::guard::GuardError>(())
/// ```
pub fn fails_given(fleet: &[Part], reading: Normal, conforming: Range) -> f64 {
    let (mut fails, mut all) = (0.0, 0.0);
    for part in fleet {
        let spread = part.values.sd.hypot(reading.sd);
        if spread > 0.0 {
            let z = (reading.mean - part.values.mean) / spread;
            let weight = part.weight * normal::density(z) / spread;
            fails += weight * conforming.fails(part.values.updated(reading));
            all += weight;
        }
    }
    if all > 0.0 { fails / all } else { conforming.fails(reading) }
}

/// The lowest reading to accept against a lower limit so that the specific consumer's risk of [`fails_given`] is at most `risk`, by
/// halving to a hundredth of the unit; `None` when no reading within ten uncertainties above the limit gives it.
///
/// The risk falls with the reading: of two readings with the same normal error, the higher one speaks for higher values.
///
/// # Errors
/// [`GuardError`] when the uncertainty is not a number of 0 or more, or the limit is no number.
pub fn acceptance_given(
    fleet: &[Part],
    uncertainty: f64,
    limit: f64,
    risk: f64,
) -> Result<Option<f64>, GuardError> {
    let conforming = Range::at_least(limit)?;
    let error = Normal::new(0.0, uncertainty)?;
    let borne = |mean: f64| fails_given(fleet, Normal { mean, sd: error.sd }, conforming) <= risk;
    let (mut low, mut high) = (limit - TAIL * error.sd, limit + TAIL * error.sd);
    if !borne(high) {
        return Ok(None);
    }
    while high - low > 0.01 {
        let middle = f64::midpoint(low, high);
        if borne(middle) { high = middle } else { low = middle }
    }
    Ok(Some(high))
}

/// The risks of one part.
fn of_part(values: Normal, uncertainty: f64, conforming: Range, accepted: Range) -> Risks {
    let reading = |x: f64| Normal { mean: x, sd: uncertainty };
    let all_readings = Normal { mean: values.mean, sd: values.sd.hypot(uncertainty) };
    let integral = |low: f64, high: f64, chance: &dyn Fn(f64) -> f64| {
        integrate(values, uncertainty, accepted, Range { low, high }, chance)
    };
    let accept = |x: f64| accepted.holds(reading(x));
    let reject = |x: f64| accepted.fails(reading(x));
    if values.sd > 0.0 {
        return Risks {
            consumer: integral(f64::NEG_INFINITY, conforming.low, &accept)
                + integral(conforming.high, f64::INFINITY, &accept),
            producer: integral(conforming.low, conforming.high, &reject),
            accepted: accepted.holds(all_readings),
        };
    }
    let (good, accept) = (conforming.holds(values), accept(values.mean));
    Risks { consumer: (1.0 - good) * accept, producer: good * (1.0 - accept), accepted: accept }
}

/// The integral over `range` of `chance(x)` times the density of the values.
///
/// `chance` bends only near an acceptance limit, within some `uncertainty`: panels are as wide as the narrower of the two spreads
/// there, and as wide as the values' own elsewhere, so that there are never more than some dozens.
fn integrate(
    values: Normal,
    uncertainty: f64,
    accepted: Range,
    range: Range,
    chance: &dyn Fn(f64) -> f64,
) -> f64 {
    let low = range.low.max(values.mean - TAIL * values.sd);
    let high = range.high.min(values.mean + TAIL * values.sd);
    if low >= high {
        return 0.0;
    }
    let reach = TAIL * uncertainty;
    let mut cuts = vec![low, high];
    cuts.extend(
        [accepted.low - reach, accepted.low + reach, accepted.high - reach, accepted.high + reach]
            .into_iter()
            .filter(|cut| low < *cut && *cut < high),
    );
    cuts.sort_unstable_by(f64::total_cmp);
    let integrand = |x: f64| chance(x) * normal::density((x - values.mean) / values.sd) / values.sd;
    let pieces = cuts.iter().zip(cuts.iter().skip(1));
    let sums = pieces.map(|(&from, &to)| {
        let middle = f64::midpoint(from, to);
        let bends = [accepted.low, accepted.high].iter().any(|limit| (middle - limit).abs() < reach);
        let step = if bends { values.sd.min(uncertainty) } else { values.sd };
        panels(from, to, step, &integrand)
    });
    sums.sum()
}

/// Gauss and Legendre's rule on panels no wider than `step`.
fn panels(from: f64, to: f64, step: f64, integrand: &dyn Fn(f64) -> f64) -> f64 {
    let count = ((to - from) / step).ceil().max(1.0);
    let half = 0.5 * (to - from) / count;
    let (mut panel, mut sum) = (0.0, 0.0);
    while panel < count {
        let centre = from + (2.0 * panel + 1.0) * half;
        sum += NODES
            .iter()
            .map(|(node, weight)| {
                weight * (integrand(centre - node * half) + integrand(centre + node * half))
            })
            .sum::<f64>();
        panel += 1.0;
    }
    half * sum
}
