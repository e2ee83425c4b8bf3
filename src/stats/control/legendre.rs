//! Gauss-Legendre quadrature: few points, and exact to the last digits for the smooth integrals of [`super::arl`].
//!
//! Points are the roots of the Legendre polynomial by Newton's rule from Tricomi's guess, weights `2 / ((1 - x^2) P'(x)^2)`
//! (Abramowitz and Stegun, "Handbook of Mathematical Functions", 25.4.29 and 22.7.10; from memory).

use std::f64::consts::PI;

/// Newton steps: from the guess, four reach the last digit.
const STEPS: u32 = 8;

/// Points between two ends and their weights, in the unit of the ends; as many as asked for.
pub(super) fn points(count: u32, low: f64, high: f64) -> Vec<(f64, f64)> {
    let (middle, half) = (f64::midpoint(low, high), 0.5 * (high - low));
    (1..=count)
        .map(|place| {
            let n = f64::from(count);
            let guess = (PI * (f64::from(place) - 0.25) / (n + 0.5)).cos();
            let root = (0..STEPS).fold(guess, |x, _| {
                let (value, slope) = polynomial(count, x);
                x - value / slope
            });
            let (_, slope) = polynomial(count, root);
            (middle - half * root, half * 2.0 / ((1.0 - root * root) * slope * slope))
        })
        .collect()
}

/// The Legendre polynomial and its slope at a point within -1 and 1, by `n P_n = (2n - 1) x P_(n-1) - (n - 1) P_(n-2)`.
fn polynomial(count: u32, x: f64) -> (f64, f64) {
    let (mut before, mut value) = (0.0, 1.0);
    for degree in 1..=count {
        let n = f64::from(degree);
        (before, value) = (value, ((2.0 * n - 1.0) * x * value - (n - 1.0) * before) / n);
    }
    let n = f64::from(count);
    (value, n * (x * value - before) / (x * x - 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// So many points are exact for polynomials of twice as many degrees less one.
    #[test]
    fn polynomials_are_integrated_exactly() {
        for count in [1, 2, 5, 24, 200] {
            let points = points(count, -1.0, 3.0);
            assert!((points.iter().map(|(_, weight)| weight).sum::<f64>() - 4.0).abs() < 1e-12, "{count}");
            let degree = i32::try_from(2 * count - 1).unwrap().min(31);
            let sum: f64 = points.iter().map(|(x, weight)| weight * x.powi(degree)).sum();
            let exact = (3_f64.powi(degree + 1) - 1.0) / f64::from(degree + 1);
            assert!((sum / exact - 1.0).abs() < 1e-12, "{count}: {sum} for {exact}");
        }
    }

    #[test]
    fn points_rise_and_lie_within() {
        let points = points(300, 0.0, 5.0);
        assert!(points.windows(2).all(|pair| pair[0].0 < pair[1].0));
        assert!(points.iter().all(|(x, weight)| *x > 0.0 && *x < 5.0 && *weight > 0.0));
    }
}
