//! How many of many uncertain things come about: the sum of independent yes-or-no outcomes with different chances.
//!
//! The Poisson-binomial law: mean `sum p`, variance `sum p (1 - p)`. Its shares are exact, by convolution, while that is cheap, and
//! those of a normal with continuity correction beyond (Hong, "On computing the distribution function for the Poisson binomial
//! distribution", 2013, from memory). What all outcomes share and nobody knows exactly is a [`Spread`]: a factor on all hazards, under
//! which a chance `p` becomes `1 - (1 - p)^factor`; what is nearly certain stays so.

#![expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "counts to and from places of a distribution, all far below 2^53"
)]

use super::normal;

/// Outcomes times width of the distribution up to which it is convolved.
const CHEAP: f64 = 200_000.0;
/// Chances that are kept one by one; beyond so many the sums are enough.
const KEPT: usize = 20_000;
/// Chances below this never come about.
const NEVER: f64 = 1e-9;
/// Places for each step of `e` of a hazard, and the least hazard's logarithm, where chances are put together.
const FINENESS: f64 = 8.0;
const LEAST: f64 = -21.0;
/// A hazard that is certainty.
const CERTAIN: f64 = 40.0;
/// Standard deviations to which a distribution is followed.
const WIDTH: f64 = 9.0;
/// Factors that stand for a spread.
const FACTORS: u32 = 16;

/// A factor on all hazards together that is known only roughly: log-normal with mean 1, as equally likely values.
#[derive(Debug, Clone, PartialEq)]
pub struct Spread(Vec<f64>);

impl Spread {
    /// No doubt: the chances are what they are.
    pub fn none() -> Self {
        Self(vec![1.0])
    }

    /// A factor with mean 1 and a coefficient of variation: `sigma^2 = ln(1 + cv^2)`, at the middles of equal shares.
    pub fn of(variation: f64) -> Self {
        if variation <= 0.0 {
            return Self::none();
        }
        let sigma = (variation * variation).ln_1p().sqrt();
        let middle = |k: u32| (f64::from(k) + 0.5) / f64::from(FACTORS);
        let factors: Vec<f64> = (0..FACTORS).map(|k| (sigma * normal::quantile(middle(k))).exp()).collect();
        let mean = factors.iter().sum::<f64>() / f64::from(FACTORS);
        Self(factors.into_iter().map(|factor| factor / mean).collect())
    }
}

/// Chances of independent outcomes.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Chances {
    sum: f64,
    squares: f64,
    count: usize,
    each: Vec<f64>,
    /// Chances of nearly equal hazard: how many, and their sum.
    alike: Vec<(u32, f64)>,
}

impl Chances {
    /// Adds an outcome.
    pub fn add(&mut self, chance: f64) {
        self.add_at(chance, place(chance));
    }

    /// Adds an outcome whose [`place`] is known: for chances of which there are few different ones.
    pub fn add_at(&mut self, chance: f64, place: usize) {
        if chance < NEVER {
            self.sum += chance.max(0.0);
            return;
        }
        self.sum += chance;
        self.squares += chance * chance;
        self.count += 1;
        if self.count <= KEPT {
            self.each.push(chance);
        }
        if self.alike.len() <= place {
            self.alike.resize(place + 1, (0, 0.0));
        }
        if let Some(alike) = self.alike.get_mut(place) {
            *alike = (alike.0 + 1, alike.1 + chance);
        }
    }

    /// Adds the outcomes of another sum.
    pub fn merge(&mut self, other: &Self) {
        self.sum += other.sum;
        self.squares += other.squares;
        self.count += other.count;
        if self.count <= KEPT {
            self.each.extend_from_slice(&other.each);
        }
        if self.alike.len() < other.alike.len() {
            self.alike.resize(other.alike.len(), (0, 0.0));
        }
        for (own, others) in self.alike.iter_mut().zip(&other.alike) {
            *own = (own.0 + others.0, own.1 + others.1);
        }
    }

    /// How many are expected: `sum p`.
    pub const fn mean(&self) -> f64 {
        self.sum
    }

    /// The variance of how many there are, when the chances are exact: `sum p (1 - p)`.
    pub fn variance(&self) -> f64 {
        (self.sum - self.squares).max(0.0)
    }

    /// The smallest numbers that are not exceeded with chances, in the order of those.
    ///
    /// ```
    /// use packmuster::stats::sum::{Chances, Spread};
    /// let mut coins = Chances::default();
    /// (0..10).for_each(|_| coins.add(0.5));
    /// assert_eq!(coins.quantiles(&Spread::none(), &[0.05, 0.5, 0.95]), [2, 5, 8]);
    /// ```
    pub fn quantiles(&self, spread: &Spread, shares: &[f64]) -> Vec<u32> {
        let most = self.count as f64;
        let far = spread.0.iter().copied().fold(1.0, f64::max) * self.sum;
        let width = (far + WIDTH * (far + 1.0).sqrt() + 1.0).min(most) as usize + 1;
        if self.count > KEPT || most * width as f64 > CHEAP {
            let laws: Vec<(f64, f64)> = spread.0.iter().map(|&factor| self.normal(factor)).collect();
            return shares.iter().map(|&share| least(&laws, width, share)).collect();
        }
        let mut below = vec![0.0; width];
        for factor in &spread.0 {
            let share = 1.0 / spread.0.len() as f64;
            let law = self.convolved(*factor, width);
            below.iter_mut().zip(law).for_each(|(below, law)| *below += share * law);
        }
        let place = |share: f64| below.iter().position(|&below| below >= share - 1e-12).unwrap_or(width - 1);
        shares.iter().map(|&share| u32::try_from(place(share)).unwrap_or(u32::MAX)).collect()
    }

    /// The chance of each number or fewer: exact.
    fn convolved(&self, factor: f64, width: usize) -> Vec<f64> {
        let mut law = vec![0.0; width];
        if let Some(none) = law.first_mut() {
            *none = 1.0;
        }
        let mut reached = 1;
        for chance in &self.each {
            let chance = under(*chance, factor);
            reached = (reached + 1).min(width);
            let mut before = 0.0;
            for cell in law.iter_mut().take(reached) {
                let now = *cell;
                *cell = now * (1.0 - chance) + before * chance;
                before = now;
            }
        }
        let mut sum = 0.0;
        for cell in &mut law {
            sum += *cell;
            *cell = sum;
        }
        law
    }

    /// Mean and standard deviation under a factor on all hazards.
    fn normal(&self, factor: f64) -> (f64, f64) {
        let (mut mean, mut variance) = (0.0, 0.0);
        for &(count, sum) in self.alike.iter().filter(|(count, _)| *count > 0) {
            let count = f64::from(count);
            let chance = under(sum / count, factor);
            mean += count * chance;
            variance += count * chance * (1.0 - chance);
        }
        (mean, variance.max(1e-9).sqrt())
    }
}

/// The chance of a number or fewer that follows one of several equally likely normals, with continuity correction.
fn below(laws: &[(f64, f64)], number: usize) -> f64 {
    let each = laws.iter().map(|(mean, deviation)| normal::below((number as f64 + 0.5 - mean) / deviation));
    each.sum::<f64>() / laws.len() as f64
}

/// The least number below `width` that is not exceeded with a chance: by halving.
fn least(laws: &[(f64, f64)], width: usize, share: f64) -> u32 {
    let (mut low, mut high) = (0, width - 1);
    while low < high {
        let middle = low + (high - low) / 2;
        if below(laws, middle) >= share - 1e-12 { high = middle } else { low = middle + 1 }
    }
    u32::try_from(low).unwrap_or(u32::MAX)
}

/// Where a chance is put together with those of nearly equal hazard.
pub fn place(chance: f64) -> usize {
    if chance < NEVER { 0 } else { ((hazard(chance).ln() - LEAST).max(0.0) * FINENESS) as usize }
}

/// The hazard behind a chance: `-ln(1 - p)`.
fn hazard(chance: f64) -> f64 {
    (-(-chance).ln_1p()).min(CERTAIN)
}

/// A chance under a factor on its hazard: `1 - (1 - p)^factor`.
fn under(chance: f64, factor: f64) -> f64 {
    if (factor - 1.0).abs() < 1e-12 { chance } else { -(-hazard(chance) * factor).exp_m1() }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chances(values: &[f64]) -> Chances {
        let mut chances = Chances::default();
        for &value in values {
            chances.add(value);
        }
        chances
    }

    /// Binomial tables: n = 20, p = 0.3: P(X <= 2) = 0.0355, P(X <= 3) = 0.1071, P(X <= 9) = 0.9520 (any printed table).
    #[test]
    fn equal_chances_give_the_binomial_table() {
        let law = chances(&[0.3; 20]).convolved(1.0, 21);
        for (number, below) in [(2, 0.0355), (3, 0.1071), (6, 0.6080), (9, 0.9520)] {
            assert!((law[number] - below).abs() < 5e-5, "{number}: {}", law[number]);
        }
        assert_eq!(chances(&[0.3; 20]).quantiles(&Spread::none(), &[0.05, 0.95]), [3, 9]);
    }

    /// Every way that twelve outcomes can come about, counted one by one.
    #[test]
    fn the_convolution_is_what_counting_gives() {
        let values: Vec<f64> = (1..=12).map(|k| f64::from(k) / 13.0).collect();
        let mut counted = [0.0; 13];
        for way in 0_u32..1 << 12 {
            let chance = |(k, p): (usize, &f64)| if way >> k & 1 == 1 { *p } else { 1.0 - p };
            counted[way.count_ones() as usize] += values.iter().enumerate().map(chance).product::<f64>();
        }
        let law = chances(&values).convolved(1.0, 13);
        let mut sum = 0.0;
        for (number, share) in counted.iter().enumerate() {
            sum += share;
            assert!((law[number] - sum).abs() < 1e-12, "{number}");
        }
        let mean: f64 = counted.iter().enumerate().map(|(number, share)| number as f64 * share).sum();
        assert!((chances(&values).mean() - mean).abs() < 1e-12);
        let square: f64 =
            counted.iter().enumerate().map(|(n, share)| (n as f64 - mean).powi(2) * share).sum();
        assert!((chances(&values).variance() - square).abs() < 1e-12);
    }

    #[test]
    fn the_normal_is_near_the_exact_law() {
        let values: Vec<f64> = (0..600_u32).map(|k| 0.02 + 0.5 * f64::from(k % 100) / 100.0).collect();
        let chances = chances(&values);
        for factor in [0.7, 1.0, 1.5] {
            let (exact, law) = (chances.convolved(factor, 601), [chances.normal(factor)]);
            let normal: Vec<f64> = (0..601).map(|number| below(&law, number)).collect();
            let most = exact.iter().zip(&normal).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
            assert!(most < 0.004, "{factor}: {most}: what skewness leaves");
        }
    }

    #[test]
    fn doubt_widens_and_keeps_the_mean() {
        for variation in [0.1, 0.3, 1.0] {
            let Spread(factors) = Spread::of(variation);
            let mean = factors.iter().sum::<f64>() / factors.len() as f64;
            assert!((mean - 1.0).abs() < 1e-12);
        }
        let chances = chances(&[0.1; 300]);
        let [low, high] = chances.quantiles(&Spread::none(), &[0.05, 0.95])[..] else { panic!() };
        let [lower, higher] = chances.quantiles(&Spread::of(0.4), &[0.05, 0.95])[..] else { panic!() };
        assert!(lower < low && high < higher, "{lower} {low} {high} {higher}");
        assert_eq!(Chances::default().quantiles(&Spread::of(0.5), &[0.05, 0.95]), [0, 0]);
        let mut certain = Chances::default();
        (0..30).for_each(|_| certain.add(1.0));
        assert_eq!(certain.quantiles(&Spread::of(0.5), &[0.05, 0.95]), [30, 30]);
    }
}
