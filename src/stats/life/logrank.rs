//! Whether groups of packs last alike: the log-rank test.
//!
//! At each age at which a pack failed, the failures that a group would have had if all groups were alike are its share of the
//! packs at risk. N. Mantel, "Evaluation of survival data", 1966, and R. Peto and J. Peto, 1972, with the hypergeometric variance
//! for ties, as in Klein and Moeschberger, "Survival Analysis", 7.3 (all from memory). Late entry only changes who is at risk.

use statrs::function::gamma::checked_gamma_ur;

use super::risk::{self, Count, Risk};
use super::{Life, LifeError, count_failures};

/// A pivot this small beside the variance that it came from is what rounding left of zero.
const ROUNDING: f64 = 1e-10;

/// What the test found.
#[derive(Debug, Clone, PartialEq)]
pub struct LogRank {
    /// The groups, in the order in which they were handed in.
    pub groups: Vec<Group>,
    /// Chi-square of the differences.
    pub statistic: f64,
    /// Degrees of freedom: the groups that could be compared, less one.
    pub degrees: u32,
    /// Probability of a chi-square as high or higher if the groups were alike.
    pub probability: f64,
}

/// One group's failures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Group {
    /// Failures seen.
    pub observed: u32,
    /// Failures to be expected if all groups were alike: the sum of `failed at_risk(group) / at_risk`.
    pub expected: f64,
}

/// What the test of one group against the rest found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Against {
    /// The group's failures, and those to be expected if it were like the rest.
    pub group: Group,
    /// Chi-square of the difference, one degree of freedom.
    pub statistic: f64,
    /// Probability of a chi-square as high or higher if the group were like the rest.
    pub probability: f64,
}

/// Tests whether groups of packs last alike.
///
/// ```
/// use packmuster::stats::life::{Life, logrank};
/// let lives = |ages: [f64; 4]| ages.map(|left| Life { entered: 0.0, left, failed: true });
/// let (short, long) = (lives([1.0, 2.0, 3.0, 4.0]), lives([5.0, 6.0, 7.0, 8.0]));
/// assert!(logrank::compare(&[&short, &long])?.probability < 0.01);
/// assert!(logrank::compare(&[&short, &short])?.probability > 0.99);
/// # Ok::<(), packmuster::stats::life::LifeError>(())
/// ```
///
/// # Errors
/// [`LifeError`] when a group is empty or a pack's ages are not in order, when no pack has failed, and when no two groups were ever
/// at risk together.
pub fn compare(groups: &[&[Life]]) -> Result<LogRank, LifeError> {
    let mut failures = 0;
    for lives in groups {
        failures += count_failures(lives)?;
    }
    if failures == 0 {
        return Err(LifeError::NoFailures);
    }
    let mut walks: Vec<Risk> = groups.iter().map(|lives| Risk::new(lives)).collect();
    let mut found = vec![Group { observed: 0, expected: 0.0 }; groups.len()];
    let mut covariance = vec![vec![0.0; groups.len()]; groups.len()];
    for age in risk::failure_ages(groups.iter().copied().flatten()) {
        let counts: Vec<Count> = walks.iter_mut().map(|walk| walk.at(age)).collect();
        add_age(&counts, &mut found, &mut covariance);
    }
    let rows = found.iter().zip(covariance).map(|(group, mut row)| {
        row.insert(0, f64::from(group.observed) - group.expected);
        row
    });
    let (statistic, degrees) = chi_square(rows.collect());
    if degrees == 0 {
        return Err(LifeError::NothingToCompare);
    }
    // The function knows no chi-square of exactly 0, where the answer is 1.
    let probability = checked_gamma_ur(0.5 * f64::from(degrees), 0.5 * statistic).unwrap_or(1.0);
    Ok(LogRank { groups: found, statistic, degrees, probability })
}

/// Tests each group against all others together: what [`compare`] finds for it and the rest, one degree of freedom each.
///
/// With `c = d (n - d) / (n - 1)` at each age at which a pack failed, `expected = sum of d n_i / n` and `variance = sum of c (n_i / n)
/// (1 - n_i / n)`; `chi-square = (observed - expected)^2 / variance`. The ages are walked once for all groups and once more for each:
/// `O(n log n)`, and groups times distinct ages. `None` for a group without a pack, and for one that was never at risk beside
/// others when a pack failed.
///
/// # Errors
/// [`LifeError`] when a pack's ages are not in order, or when no pack has failed.
pub fn each_against_the_rest(groups: &[&[Life]]) -> Result<Vec<Option<Against>>, LifeError> {
    let all: Vec<Life> = groups.iter().copied().flatten().copied().collect();
    if count_failures(&all)? == 0 {
        return Err(LifeError::NoFailures);
    }
    let mut risk = Risk::new(&all);
    let counts: Vec<(f64, Count)> =
        risk::failure_ages(&all).into_iter().map(|age| (age, risk.at(age))).collect();
    Ok(groups.iter().map(|lives| against(lives, &counts)).collect())
}

/// One group against all that were at risk.
fn against(lives: &[Life], counts: &[(f64, Count)]) -> Option<Against> {
    let mut risk = Risk::new(lives);
    let mut group = Group { observed: 0, expected: 0.0 };
    let mut variance = 0.0;
    for &(age, all) in counts {
        let own = risk.at(age);
        let (at_risk, failed) = (f64::from(all.at_risk), f64::from(all.failed));
        let share = f64::from(own.at_risk) / at_risk;
        group.observed += own.failed;
        group.expected += failed * share;
        if all.at_risk > 1 {
            variance += failed * (at_risk - failed) / (at_risk - 1.0) * share * (1.0 - share);
        }
    }
    let difference = f64::from(group.observed) - group.expected;
    (variance > ROUNDING).then(|| {
        let statistic = difference * difference / variance;
        Against { group, statistic, probability: checked_gamma_ur(0.5, 0.5 * statistic).unwrap_or(1.0) }
    })
}

/// Probabilities of several tests, each so that to call what is below a level is wrong in one of them at most with that level.
///
/// S. Holm, "A simple sequentially rejective multiple test procedure", 1979 (from memory): of `m` in rising order, the `i`th (from 0)
/// becomes the largest of `(m - j) p_j` with `j` up to `i`, and 1 at most.
///
/// ```
/// use packmuster::stats::life::logrank::holm;
/// assert_eq!(holm(&[0.5, 0.25, 0.125]), [0.5, 0.5, 0.375]);
/// ```
pub fn holm(probabilities: &[f64]) -> Vec<f64> {
    let mut order: Vec<(usize, f64)> = probabilities.iter().copied().enumerate().collect();
    order.sort_by(|a, b| a.1.total_cmp(&b.1));
    let mut corrected = vec![1.0; probabilities.len()];
    let (mut left, mut highest) = (probabilities.iter().map(|_| 1.0).sum::<f64>(), 0.0_f64);
    for (place, probability) in order {
        highest = highest.max((left * probability).min(1.0));
        left -= 1.0;
        if let Some(slot) = corrected.get_mut(place) {
            *slot = highest;
        }
    }
    corrected
}

/// Adds one age's failures, and the covariance `d (n - d) / (n - 1) (n_i / n) (1 - n_i / n)`, or minus `(n_i / n) (n_j / n)`
/// between groups.
fn add_age(counts: &[Count], found: &mut [Group], covariance: &mut [Vec<f64>]) {
    let at_risk: f64 = counts.iter().map(|count| f64::from(count.at_risk)).sum();
    let failed: f64 = counts.iter().map(|count| f64::from(count.failed)).sum();
    let spread = if at_risk > 1.0 { failed * (at_risk - failed) / (at_risk - 1.0) } else { 0.0 };
    let share = |count: &Count| f64::from(count.at_risk) / at_risk;
    for ((i, count), (group, row)) in counts.iter().enumerate().zip(found.iter_mut().zip(covariance)) {
        group.observed += count.failed;
        group.expected += failed * share(count);
        for ((j, other), cell) in counts.iter().enumerate().zip(row) {
            let same = if i == j { 1.0 } else { 0.0 };
            *cell += spread * share(count) * (same - share(other));
        }
    }
}

/// `u' V^- u` and the rank of `V`, from rows of `u_i, V_i1 .. V_in`, by elimination from the last group on.
///
/// The differences sum to 0 over groups that were at risk together, so `V` lacks at least one rank: a group whose pivot is gone
/// adds nothing, which makes it the one that the others are compared with.
fn chi_square(mut rows: Vec<Vec<f64>>) -> (f64, u32) {
    let mut variances: Vec<f64> =
        rows.iter().enumerate().filter_map(|(i, row)| row.get(i + 1)).copied().collect();
    let (mut statistic, mut rank) = (0.0, 0);
    while let (Some(mut last), Some(variance)) = (rows.pop(), variances.pop()) {
        let pivot = last.pop().unwrap_or(0.0);
        let counts = pivot > ROUNDING * variance;
        for row in &mut rows {
            let factor = row.pop().unwrap_or(0.0) / pivot;
            if counts {
                row.iter_mut().zip(&last).for_each(|(cell, above)| *cell -= factor * above);
            }
        }
        if counts && let Some(difference) = last.first() {
            statistic += difference * difference / pivot;
            rank += 1;
        }
    }
    (statistic, rank)
}
