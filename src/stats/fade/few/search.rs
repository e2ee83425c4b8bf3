//! The likeliest parameters, how the likelihood bends there, and draws of parameters about it.
//!
//! Down by a descent on finite differences, then a random walk that accepts as Metropolis et al. do ("Equation of state calculations
//! by fast computing machines", Journal of Chemical Physics 21, 1953), with steps shaped like the peak and 2.2 / sqrt d of its
//! width (Gelman, Roberts and Gilks, "Efficient Metropolis jumping rules", 1996, have 2.38); all from memory.

use nalgebra::{SMatrix, SymmetricEigen, Vector2};
use rand::{Rng, RngExt};

use super::Past;
use super::filter::{PARAMETERS, Parameters, Point};
use crate::stats::fade::descent::descend;
use crate::stats::fade::kernel::count;

type Matrix = SMatrix<f64, PARAMETERS, PARAMETERS>;

/// The promised fall that is not worth another step.
const TOLERANCE: f64 = 1e-4;
/// Steps of the differences: for slopes, and for second derivatives, which are to see the peak's width and not its tip.
const SLOPE_STEP: f64 = 1e-3;
const BEND_STEP: f64 = 0.1;
/// The height of what cannot be worked out.
const NOWHERE: f64 = 1e9;
/// The random walk: its steps, those before it is at home, and from one draw that is kept to the next.
const WALK: usize = 1_200;
const BURN: usize = 200;
const KEEP_EVERY: usize = 5;
/// The walk's steps, in widths of the peak over the root of the number of parameters.
const STRIDE: f64 = 2.2;

/// Draws parameters from what is known after the readings; `None` when the likelihood cannot be worked out at all.
pub(super) fn draws(past: &Past, random: &mut impl Rng) -> Option<Vec<Parameters>> {
    let height = |point: &Point| past.height(point).unwrap_or(NOWHERE);
    let start = past.expected();
    // In standard deviations of the prior, all numbers are of one size.
    let spread = Past::spread();
    let place = |z: &Point| start + z.component_mul(&spread);
    let known = |z: &Point| past.height(&place(z)).map(|height| (height, ()));
    let slope = |z: &Point, (): &()| slope_at(z, |z| height(&place(z)));
    let inverse = |slope: &Point| Matrix::identity() / slope.norm().max(1.0);
    let lowest = descend(Point::zeros(), inverse, TOLERANCE, known, slope)?;
    let (mut point, mut here) = (place(&lowest.point), lowest.height);
    let stride = strides(&point, &spread, height);
    let mut kept = Vec::with_capacity((WALK - BURN) / KEEP_EVERY);
    for step in 0..WALK {
        let next = point + stride * normals(random);
        let there = height(&next);
        if random.random::<f64>().ln() < here - there {
            (point, here) = (next, there);
        }
        if step >= BURN && (step - BURN).is_multiple_of(KEEP_EVERY) {
            kept.push(past.parameters(&point));
        }
    }
    Some(kept)
}

/// The slope by central differences.
fn slope_at(point: &Point, at: impl Fn(&Point) -> f64) -> Point {
    Point::from_fn(|k, _| {
        let step = along(k, SLOPE_STEP);
        (at(&(point + step)) - at(&(point - step))) / (2.0 * SLOPE_STEP)
    })
}

/// A root of the covariance of a normal law that bends like the height, made shorter for the walk. Directions in which the
/// height hardly bends, or bends down, are taken to be no wider than twice the widest prior.
fn strides(point: &Point, spread: &Point, height: impl Fn(&Point) -> f64) -> Matrix {
    let mut bends = Matrix::zeros();
    for i in 0..PARAMETERS {
        for j in 0..=i {
            let (one, other) = (along(i, BEND_STEP), along(j, BEND_STEP));
            let bend = height(&(point + one + other))
                - height(&(point + one - other))
                - height(&(point - one + other))
                + height(&(point - one - other));
            for place in [(i, j), (j, i)] {
                if let Some(cell) = bends.get_mut(place) {
                    *cell = bend / (4.0 * BEND_STEP * BEND_STEP);
                }
            }
        }
    }
    let SymmetricEigen { mut eigenvectors, eigenvalues } = SymmetricEigen::new(bends);
    let least = 0.25 / spread.amax().powi(2);
    for (mut column, value) in eigenvectors.column_iter_mut().zip(&eigenvalues) {
        column *= STRIDE / (count(PARAMETERS) * value.max(least)).sqrt();
    }
    eigenvectors
}

fn along(k: usize, step: f64) -> Point {
    Point::from_fn(|place, _| if place == k { step } else { 0.0 })
}

fn normals(random: &mut impl Rng) -> Point {
    Point::from_fn(|_, _| normal_pair(random).x)
}

/// Two independent standard normal numbers, by the polar method (Marsaglia and Bray, "A convenient method for generating normal
/// variables", SIAM Review 6, 1964, from memory).
pub(super) fn normal_pair(random: &mut impl Rng) -> Vector2<f64> {
    loop {
        let pair = Vector2::new(random.random::<f64>(), random.random()) * 2.0 - Vector2::repeat(1.0);
        let square = pair.norm_squared();
        if square > 0.0 && square < 1.0 {
            return pair * (-2.0 * square.ln() / square).sqrt();
        }
    }
}
