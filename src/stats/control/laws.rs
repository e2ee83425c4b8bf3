//! Tails of Fisher's F and Student's t, and the interval that rests on them.
//!
//! Both by the regularised incomplete beta function (Abramowitz and Stegun, "Handbook of Mathematical Functions", 26.6.2 and
//! 26.7.1; from memory), taken from statrs. Its argument is written as the small share itself, not as one less the large one, so a
//! tail of 1e-100 has its digits: statrs's own `FisherSnedecor::sf` takes the difference, and loses more of them the larger F is.
//!
//! For up to 100,000 degrees of freedom, where nine digits are left; beyond, the fraction behind the beta function is cut off too soon.

use statrs::function::beta::checked_beta_reg;

/// Halvings of the search for a quantile: more than the digits of a number.
const HALVINGS: u32 = 200;

/// The chance of an F as large or larger: `I_x(d2 / 2, d1 / 2)` with `x = d2 / (d1 f + d2)`.
///
/// Takes the value and the degrees of freedom above and below the line; not a number where these are not above 0.
///
/// ```
/// use packmuster::stats::control::laws;
/// // With two degrees of freedom above the line the tail has a plain form: (1 + 2 f / d)^(-d / 2).
/// let plain = (1.0_f64 + 2.0 * 40.0 / 18.0).powi(-9);
/// assert!((laws::f_above(40.0, 2.0, 18.0) / plain - 1.0).abs() < 1e-12);
/// ```
pub fn f_above(f: f64, above: f64, below: f64) -> f64 {
    if f <= 0.0 {
        return 1.0;
    }
    let x = below / (above * f + below);
    checked_beta_reg(0.5 * below, 0.5 * above, x).unwrap_or(f64::NAN)
}

/// The chance that a t is as far from 0 or further, to either side: `I_x(d / 2, 1 / 2)` with `x = d / (d + t^2)`.
pub fn t_beyond(t: f64, freedom: f64) -> f64 {
    if t == 0.0 {
        return 1.0;
    }
    checked_beta_reg(0.5 * freedom, 0.5, freedom / (freedom + t * t)).unwrap_or(f64::NAN)
}

/// The t that is exceeded to either side with a chance, by halving [`t_beyond`]; infinity for a chance of 0, 0 for 1, not a
/// number for degrees of freedom that are not above 0.
///
/// ```
/// use packmuster::stats::control::laws;
/// // With one degree of freedom it is Cauchy's law: tan(pi / 2 (1 - chance)).
/// assert!((laws::t_for(0.05, 1.0) - 12.706_204_736_174_7).abs() < 1e-9);
/// ```
pub fn t_for(chance: f64, freedom: f64) -> f64 {
    if chance.is_nan() || freedom.is_nan() || freedom <= 0.0 {
        return f64::NAN;
    }
    if chance <= 0.0 || chance >= 1.0 {
        return if chance <= 0.0 { f64::INFINITY } else { 0.0 };
    }
    let mut high = 1.0;
    while t_beyond(high, freedom) > chance {
        high *= 2.0;
    }
    let mut low = 0.0;
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        if t_beyond(middle, freedom) > chance { low = middle } else { high = middle }
    }
    f64::midpoint(low, high)
}
