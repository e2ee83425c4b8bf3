//! The normal distribution, with tails that are exact to the last digits.

use std::f64::consts::{FRAC_1_SQRT_2, PI};

/// Density of the standard normal distribution: `exp(-z^2 / 2) / sqrt(2 pi)`.
pub fn density(z: f64) -> f64 {
    (-0.5 * z * z).exp() / (2.0 * PI).sqrt()
}

/// Share of the standard normal distribution below `z`: `erfc(-z / sqrt 2) / 2`.
///
/// By libm's `erfc` (a port of FreeBSD's), which keeps its relative exactness far out in the tail.
///
/// ```
/// use packmuster::stats::normal;
/// assert_eq!(normal::below(0.0), 0.5);
/// assert!((normal::below(-2.0) - 0.022_750_131_948_179_2).abs() < 1e-15);
/// ```
pub fn below(z: f64) -> f64 {
    0.5 * libm::erfc(-z * FRAC_1_SQRT_2)
}

/// The `z` below which a share of the standard normal distribution lies.
///
/// A first guess (Abramowitz and Stegun, "Handbook of Mathematical Functions", 26.2.23, from memory) made exact by Halley's
/// rule on [`below`]. Minus and plus infinity for shares of 0 and 1, not a number outside.
///
/// ```
/// use packmuster::stats::normal;
/// assert!((normal::quantile(0.95) - 1.644_853_626_951_472_2).abs() < 1e-13);
/// ```
pub fn quantile(share: f64) -> f64 {
    if share > 0.5 {
        return -quantile(1.0 - share);
    }
    if share <= 0.0 {
        return if share == 0.0 { f64::NEG_INFINITY } else { f64::NAN };
    }
    let t = (-2.0 * share.ln()).sqrt();
    let above = 2.515_517 + t * (0.802_853 + t * 0.010_328);
    let below_line = 1.0 + t * (1.432_788 + t * (0.189_269 + t * 0.001_308));
    let mut z = above / below_line - t;
    for _ in 0..4 {
        let off = (below(z) - share) / density(z);
        z -= off / (1.0 + 0.5 * z * off);
    }
    z
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Normal quantiles of JCGM 106:2012, table 1 (from memory), and far tails by scipy 1.17.1.
    #[test]
    fn quantiles_are_those_of_the_table() {
        for (share, z) in [(0.80, 0.8416), (0.90, 1.2816), (0.95, 1.6449), (0.99, 2.3263), (0.999, 3.0902)] {
            assert!((quantile(share) - z).abs() < 5e-5, "{share}");
            assert!((quantile(1.0 - share) + z).abs() < 5e-5, "{share}");
        }
        for exponent in 1..300 {
            let share = 10_f64.powi(-exponent);
            assert!((below(quantile(share)) / share - 1.0).abs() < 1e-11, "{share}");
        }
        assert!(quantile(1.0).is_infinite() && quantile(0.0).is_infinite());
        assert!(quantile(-0.1).is_nan());
    }

    /// Shares beyond r times the guard band, as ILAC-G8:09/2019 tabulates them (r = 0 and 1; the others by scipy 1.17.1).
    #[test]
    fn tails_are_exact() {
        for (z, share) in [
            (0.0, 0.5),
            (-1.0, 0.158_655_253_93),
            (-2.0, 0.022_750_131_95),
            (-3.0, 0.001_349_898_031_63),
            (-6.0, 9.865_876_450_4e-10),
        ] {
            assert!((below(z) / share - 1.0).abs() < 1e-9, "{z}");
        }
    }
}
