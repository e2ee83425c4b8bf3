//! A search for the lowest point of a smooth function of four numbers: Broyden, Fletcher, Goldfarb and Shanno's rule with a
//! backtracking line search (Nocedal and Wright, "Numerical Optimization", 2006, section 6.1, from memory).

use nalgebra::{SMatrix, SVector};

/// Four numbers.
pub(super) type Point = SVector<f64, 4>;
/// The guess of the inverse second derivatives, which a warm start hands on.
pub(super) type Inverse = SMatrix<f64, 4, 4>;

/// Steps, and halvings within one, after which the search is given up.
const STEPS: usize = 80;
const HALVINGS: usize = 30;
/// The longest first step in any number.
const LONGEST: f64 = 1.0;
/// Armijo's share of the promised fall that a step must bring.
const SHARE: f64 = 1e-4;

/// What the function is at a point.
pub(super) struct Value<T> {
    /// Its value.
    pub(super) height: f64,
    /// Its slope.
    pub(super) slope: Point,
    /// What else was worked out there.
    pub(super) with: T,
}

/// Goes down from a start until the fall that is still promised is below `tolerance`; `None` when it finds no way.
pub(super) fn descend<T>(
    start: Point,
    inverse: Inverse,
    tolerance: f64,
    mut at: impl FnMut(&Point) -> Option<Value<T>>,
) -> Option<(Point, Value<T>, Inverse)> {
    let (mut point, mut inverse) = (start, inverse);
    let mut here = at(&point)?;
    for _ in 0..STEPS {
        let step = -(inverse * here.slope);
        let promised = -step.dot(&here.slope);
        if promised.is_nan() {
            return None;
        }
        if promised < tolerance {
            return Some((point, here, inverse));
        }
        let longest = step.amax();
        let mut share = if longest > LONGEST { LONGEST / longest } else { 1.0 };
        let mut moved = false;
        for _ in 0..HALVINGS {
            let next = point + step * share;
            if let Some(there) = at(&next) {
                let enough = here.height - SHARE * share * promised;
                // Near the bottom, differences drown in rounding: the slope decides.
                let flat = promised < 1e-3 && there.height <= here.height + 1e-9 * here.height.abs();
                if there.height <= enough || flat {
                    inverse = updated(&inverse, &(next - point), &(there.slope - here.slope));
                    (point, here, moved) = (next, there, true);
                    break;
                }
            }
            share *= 0.4;
        }
        if !moved {
            return (promised < 1e3 * tolerance).then_some((point, here, inverse));
        }
    }
    None
}

fn updated(inverse: &Inverse, step: &Point, bend: &Point) -> Inverse {
    let curve = step.dot(bend);
    if curve <= 1e-12 {
        return *inverse;
    }
    let turned = inverse * bend;
    let outer = step * step.transpose();
    inverse + outer * ((1.0 + bend.dot(&turned) / curve) / curve)
        - (turned * step.transpose() + step * turned.transpose()) / curve
}
