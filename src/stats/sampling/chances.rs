//! How many bad ones a sample meets.
//!
//! Each law is built from its likeliest count outwards, by the ratio of neighbours, and brought to one: nothing overflows, and the sum
//! is right to the last digits for any size.

/// The chances that a sample without putting back holds 0, 1, 2... bad ones: `C(D, k) C(N - D, n - k) / C(N, n)`, hypergeometric.
///
/// `bad` and `sample` count at most as many as the lot.
pub fn hypergeometric(lot: u32, bad: u32, sample: u32) -> Vec<f64> {
    let (bad, sample) = (bad.min(lot), sample.min(lot));
    let fewest = (bad + sample).saturating_sub(lot);
    let most = bad.min(sample);
    let [n, d, s] = [lot, bad, sample].map(f64::from);
    // The chance of one more, over the chance of so many.
    let next = |k: f64| (d - k) * (s - k) / ((k + 1.0) * (n - d - s + k + 1.0));
    law(fewest, most, next)
}

/// The chances that so many drawn from a lot without end hold 0, 1, 2... bad ones, each bad with the same chance: binomial.
pub fn binomial(sample: u32, share: f64) -> Vec<f64> {
    if share <= 0.0 {
        return law(0, 0, |_| 0.0);
    }
    if share >= 1.0 {
        return law(sample, sample, |_| 0.0);
    }
    let odds = share / (1.0 - share);
    let n = f64::from(sample);
    law(0, sample, |k| (n - k) / (k + 1.0) * odds)
}

/// A law on whole numbers, by the ratio of each chance to the one before; from nought on.
fn law(fewest: u32, most: u32, next: impl Fn(f64) -> f64) -> Vec<f64> {
    let mut weights = vec![1.0];
    let mut weight = 1.0;
    for k in fewest..most {
        weight *= next(f64::from(k));
        // What has grown too large is brought down together; what is lost then is nothing beside it.
        if weight > 1e200 {
            for weight in &mut weights {
                *weight /= 1e200;
            }
            weight /= 1e200;
        }
        weights.push(weight);
    }
    let sum: f64 = weights.iter().sum();
    let before = usize::try_from(fewest).unwrap_or(usize::MAX);
    let mut chances = vec![0.0; before];
    chances.extend(weights.into_iter().map(|weight| weight / sum));
    chances
}

/// The chance of at most so many.
pub fn at_most(chances: &[f64], count: u32) -> f64 {
    let count = usize::try_from(count).unwrap_or(usize::MAX).saturating_add(1);
    chances.iter().take(count).sum::<f64>().min(1.0)
}
