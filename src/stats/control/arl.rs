//! Average run lengths: how many readings a chart takes on average until it signals, for readings off target by so much.
//!
//! Readings are standardised, normal and independent, and the mean is off from the first reading on ("zero state"). On target it is
//! the mean distance between false alarms. Both charts are Markov chains on an interval, and the run length `L(s)` from a state `s`
//! solves a Fredholm equation, `L(s) = 1 + integral of L(x) p(s, x) dx` over the states without a signal, here with Gauss-Legendre
//! points (Nystroem's method). Their number grows with the interval and doubling it changes nothing beyond the tenth digit.
//!
//! Nothing here knows the run length of two charts watched together: [`super::slots`] gives that, from simulation.

use nalgebra::{DMatrix, DVector};

use super::cusum::Cusum;
use super::error::ControlError;
use super::ewma::Ewma;
use super::legendre;
use crate::stats::normal;

/// Points of the quadrature: at least so many, so many more per spread of one step, and at most so many.
const FEWEST: u32 = 24;
const PER_WIDTH: f64 = 6.0;
const MOST: u32 = 900;
/// Beyond this a run length, one over the distance of a matrix from having no inverse, has lost its digits.
const LONGEST: f64 = 1e11;
/// Halvings of the searches for limits.
const HALVINGS: u32 = 60;
/// How near a found limit must come to the wanted run length, as a share of it.
const CLOSE: f64 = 1e-6;

/// One side of the CUSUM: the rate of signals per reading, and the run length from the head start times that rate.
#[derive(Debug, Clone, Copy)]
struct OneSide {
    rate: f64,
    from_start: f64,
}

/// The average run length of the two-sided CUSUM when standardised readings have a mean.
///
/// Both sides by themselves, then together: `(L+(s) L-(0) + L+(0) L-(s) - L+(0) L-(0)) / (L+(0) + L-(0))`, without a head start
/// `1 / L = 1 / L+ + 1 / L-` (Lucas and Crosier, Technometrics 24, 1982; from memory). It is exact while one sum is at 0 whenever the
/// other signals, that is for head starts up to `h / 2 + k`.
///
/// ```
/// use packmuster::stats::control::{arl, cusum::Cusum};
/// let chart = Cusum::new(0.5, 5.0)?;
/// assert!((arl::cusum(&chart, 0.0)? - 465.44).abs() < 0.01, "on target: between false alarms");
/// assert!((arl::cusum(&chart, 1.0)? - 10.376).abs() < 0.001, "off by one standard deviation");
/// # Ok::<(), packmuster::stats::control::error::ControlError>(())
/// ```
///
/// # Errors
/// [`ControlError::Setting`] for a mean that is no number or a head start above `h / 2 + k`, [`ControlError::TooWide`] for a decision
/// limit beyond about 146, and [`ControlError::TooLong`] when a signal is beyond all numbers.
pub fn cusum(chart: &Cusum, mean: f64) -> Result<f64, ControlError> {
    let mean = ControlError::check("the mean", "a finite number", mean, |_| true)?;
    let (k, h) = (chart.reference(), chart.decision());
    ControlError::check(
        "the head start",
        "at most half the decision limit and the reference",
        chart.head_start(),
        |s| s <= 0.5 * h + k,
    )?;
    let count = points_for(h)?;
    let [high, low] = [mean, -mean].map(|mean| one_side(chart, mean, count));
    let (high, low) = (high?, low?);
    finite((high.from_start + low.from_start - 1.0) / (high.rate + low.rate))
}

/// The average run length of one side of the CUSUM alone, the upper one; its lower one has that of the opposite mean.
///
/// # Errors
/// As [`cusum`], but for any head start.
pub fn cusum_one_sided(chart: &Cusum, mean: f64) -> Result<f64, ControlError> {
    let mean = ControlError::check("the mean", "a finite number", mean, |_| true)?;
    let side = one_side(chart, mean, points_for(chart.decision())?)?;
    finite(side.from_start / side.rate)
}

/// The average run length of the EWMA with the limits of the long run, from its target on, when standardised readings have a mean.
///
/// `L(u) = 1 + 1 / lambda integral of L(x) phi((x - (1 - lambda) u) / lambda - mean) dx` between the limits (Crowder, Technometrics
/// 29, 1987; Lucas and Saccucci, Technometrics 32, 1990; from memory). With the narrower exact limits at first it is a little shorter.
///
/// # Errors
/// [`ControlError::Setting`] for a mean that is no number, [`ControlError::TooWide`] for limits too far apart (at a
/// width of 3, a lambda below about 0.001), and [`ControlError::TooLong`] beyond 1e11, where rounding takes the digits.
pub fn ewma(chart: &Ewma, mean: f64) -> Result<f64, ControlError> {
    let mean = ControlError::check("the mean", "a finite number", mean, |_| true)?;
    ewma_with(chart.lambda(), chart.width(), mean, points_for(ewma_widths(chart.lambda(), chart.width()))?)
}

/// The decision limit with which a two-sided CUSUM has an average run length on target, by halving [`cusum`].
///
/// ```
/// use packmuster::stats::control::arl;
/// assert!((arl::decision_for(0.5, 370.4)? - 4.7749).abs() < 1e-4);
/// # Ok::<(), packmuster::stats::control::error::ControlError>(())
/// ```
///
/// # Errors
/// [`ControlError::Setting`] for a reference not above 0, [`ControlError::RunLength`] for a length shorter than that of no limit at
/// all, `1 / (2 Phi(-k))`, or beyond what can be worked out.
pub fn decision_for(reference: f64, length: f64) -> Result<f64, ControlError> {
    ControlError::check("the reference", "above 0", reference, |k| k > 0.0)?;
    search(length, 0.5 / normal::below(-reference), |decision| cusum(&Cusum::new(reference, decision)?, 0.0))
}

/// The width with which an EWMA with the limits of the long run has an average run length on target, by halving [`ewma`].
///
/// # Errors
/// As [`decision_for`]: lambda must be above 0 and at most 1, and the length above 1.
pub fn width_for(lambda: f64, length: f64) -> Result<f64, ControlError> {
    Ewma::new(0.0, 1.0, lambda, 1.0)?;
    search(length, 1.0, |width| ewma(&Ewma::new(0.0, 1.0, lambda, width)?, 0.0))
}

/// Finds the limit at which a run length that grows with it is met.
fn search(
    length: f64,
    shortest: f64,
    at: impl Fn(f64) -> Result<f64, ControlError>,
) -> Result<f64, ControlError> {
    if !(length.is_finite() && length > shortest) {
        return Err(ControlError::RunLength(length));
    }
    // A length that is too long to be worked out is longer than the wanted one, if that one can be worked out: seen to at the end.
    let is_short = |limit: f64| match at(limit) {
        Ok(got) => Ok(got < length),
        Err(ControlError::TooLong) => Ok(false),
        Err(_) => Err(ControlError::RunLength(length)),
    };
    let (mut low, mut high) = (0.0, 1.0);
    while is_short(high)? {
        (low, high) = (high, high * 1.25);
    }
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        if is_short(middle)? { low = middle } else { high = middle }
    }
    let got = at(low)?;
    if (got / length - 1.0).abs() < CLOSE { Ok(low) } else { Err(ControlError::RunLength(length)) }
}

/// How many points an interval takes, given in spreads of one step.
fn points_for(widths: f64) -> Result<u32, ControlError> {
    (FEWEST..=MOST)
        .step_by(4)
        .find(|count| f64::from(*count) >= f64::from(FEWEST) + PER_WIDTH * widths)
        .ok_or(ControlError::TooWide { widths })
}

fn finite(length: f64) -> Result<f64, ControlError> {
    if length.is_finite() { Ok(length) } else { Err(ControlError::TooLong) }
}

/// One side by Page's cycles (Biometrika 41, 1954; from memory): from 0 a cycle lasts `n(0)` readings on average, until the sum is back
/// at 0 or signals, the latter with the chance `p(0)`; so `L(0) = n(0) / p(0)` and `L(s) = n(s) + (1 - p(s)) L(0)`.
///
/// Both come from equations without a point mass at 0, whose terms are all above 0. So a rate of 1e-40 has its digits, which the
/// equation for `L` itself would not give.
fn one_side(chart: &Cusum, mean: f64, count: u32) -> Result<OneSide, ControlError> {
    let (k, h) = (chart.reference(), chart.decision());
    let points = legendre::points(count, 0.0, h);
    let density = |from: f64, to: f64| normal::density(to - from + k - mean);
    let signals = |from: f64| normal::below(from - h + mean - k);
    let lengths = solve(&points, density, |_| 1.0)?;
    let chances = solve(&points, density, signals)?;
    let at = |from: f64, own: f64, values: &[f64]| own + carried(&points, density, from, values);
    let rate = at(0.0, signals(0.0), &chances) / at(0.0, 1.0, &lengths);
    let s = chart.head_start();
    let from_start = at(s, 1.0, &lengths) * rate + 1.0 - at(s, signals(s), &chances);
    Ok(OneSide { rate, from_start })
}

/// The distance of an EWMA's limits in spreads of one step, `2 width / sqrt(lambda (2 - lambda))`.
fn ewma_widths(lambda: f64, width: f64) -> f64 {
    2.0 * width / (lambda * (2.0 - lambda)).sqrt()
}

fn ewma_with(lambda: f64, width: f64, mean: f64, count: u32) -> Result<f64, ControlError> {
    let reach = width * (lambda / (2.0 - lambda)).sqrt();
    let points = legendre::points(count, -reach, reach);
    let density = |from: f64, to: f64| normal::density((to - (1.0 - lambda) * from) / lambda - mean) / lambda;
    let lengths = solve(&points, density, |_| 1.0)?;
    let length = 1.0 + carried(&points, density, 0.0, &lengths);
    if (1.0..LONGEST).contains(&length) { Ok(length) } else { Err(ControlError::TooLong) }
}

/// The integral of a function over the states, weighted with the density of the next state.
fn carried(points: &[(f64, f64)], density: impl Fn(f64, f64) -> f64, from: f64, values: &[f64]) -> f64 {
    points.iter().zip(values).map(|((to, weight), value)| weight * density(from, *to) * value).sum()
}

/// Solves `f(s) = own(s) + integral of f(x) density(s, x) dx` at the points.
fn solve(
    points: &[(f64, f64)],
    density: impl Fn(f64, f64) -> f64,
    own: impl Fn(f64) -> f64,
) -> Result<Vec<f64>, ControlError> {
    let count = points.len();
    let rows = points.iter().enumerate().flat_map(|(row, (from, _))| {
        let density = &density;
        points.iter().enumerate().map(move |(column, (to, weight))| {
            f64::from(u8::from(row == column)) - weight * density(*from, *to)
        })
    });
    let matrix = DMatrix::from_row_iterator(count, count, rows);
    let own = DVector::from_iterator(count, points.iter().map(|(from, _)| own(*from)));
    let solved = matrix.lu().solve(&own).ok_or(ControlError::TooLong)?;
    Ok(solved.iter().copied().collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn more_points_change_nothing() {
        for (k, h, mean) in
            [(0.5, 5.0, 0.0), (0.25, 8.0, 0.5), (0.5, 5.0, -4.0), (1.0, 0.3, 2.0), (0.1, 30.0, 0.0)]
        {
            let chart = Cusum::new(k, h).unwrap().with_head_start(0.4 * h).unwrap();
            let count = points_for(h).unwrap();
            let [one, other] = [count, 2 * count].map(|count| one_side(&chart, mean, count).unwrap());
            assert!((one.rate / other.rate - 1.0).abs() < 1e-10, "{k} {h} {mean}: {one:?} {other:?}");
            assert!((one.from_start / other.from_start - 1.0).abs() < 1e-10, "{k} {h} {mean}");
        }
        for (lambda, width, mean) in
            [(0.05, 2.615, 0.0), (0.2, 2.962, 1.0), (1.0, 3.0, 0.0), (0.01, 2.0, 0.1)]
        {
            let count = points_for(ewma_widths(lambda, width)).unwrap();
            let [one, other] = [count, 2 * count].map(|count| ewma_with(lambda, width, mean, count).unwrap());
            assert!((one / other - 1.0).abs() < 1e-10, "{lambda} {width} {mean}: {one} {other}");
        }
    }
}
