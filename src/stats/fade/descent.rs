//! A search for the lowest point of a smooth function of a few numbers: Broyden, Fletcher, Goldfarb and Shanno's rule with a
//! backtracking line search (Nocedal and Wright, "Numerical Optimization", 2006, section 6.1, from memory).

use nalgebra::{SMatrix, SVector};

/// Where the function is asked, `D` numbers.
pub(super) type Point<const D: usize> = SVector<f64, D>;
/// The guess of the inverse second derivatives, `D` by `D`, which a warm start hands on.
pub(super) type Inverse<const D: usize> = SMatrix<f64, D, D>;

/// Steps, and halvings within one, after which the search stops where it is.
const STEPS: usize = 80;
const HALVINGS: usize = 30;
/// The longest first step in any number.
const LONGEST: f64 = 1.0;
/// Armijo's share of the promised fall that a step must bring.
const SHARE: f64 = 1e-4;

/// Where a search ended.
pub(super) struct Lowest<const D: usize, T> {
    /// The point.
    pub(super) point: Point<D>,
    /// The function's value there.
    pub(super) height: f64,
    /// What else was worked out there.
    pub(super) with: T,
    /// The last guess of the inverse second derivatives.
    pub(super) inverse: Inverse<D>,
    /// The fall that another step promises; not a number where the slope could not be worked out.
    pub(super) promised: f64,
}

/// Goes down from a start until the fall that is still promised is below `tolerance`, or no step goes down any more; `None` when the
/// function is nowhere at the start. `inverse` is told the first slope; `height` gives `None` where the function cannot be worked
/// out; `slope` is only asked where the search goes on from.
pub(super) fn descend<const D: usize, T>(
    start: Point<D>,
    inverse: impl FnOnce(&Point<D>) -> Inverse<D>,
    tolerance: f64,
    mut height: impl FnMut(&Point<D>) -> Option<(f64, T)>,
    slope: impl Fn(&Point<D>, &T) -> Point<D>,
) -> Option<Lowest<D, T>> {
    let (here, with) = height(&start)?;
    let mut down = slope(&start, &with);
    let mut lowest =
        Lowest { point: start, height: here, with, inverse: inverse(&down), promised: f64::INFINITY };
    for _ in 0..STEPS {
        let step = -(lowest.inverse * down);
        lowest.promised = -step.dot(&down);
        if lowest.promised < tolerance || lowest.promised.is_nan() {
            break;
        }
        let mut share = (LONGEST / step.amax()).min(1.0);
        let found = (0..HALVINGS).find_map(|_| {
            let next = lowest.point + step * share;
            let there = height(&next).filter(|(there, _)| lowest.allows(*there, share));
            share *= 0.5;
            there.map(|there| (next, there))
        });
        let Some((next, (there, with))) = found else { break };
        let ahead = slope(&next, &with);
        lowest.inverse = updated(&lowest.inverse, &(next - lowest.point), &(ahead - down));
        (lowest.point, lowest.height, lowest.with, down) = (next, there, with, ahead);
    }
    Some(lowest)
}

impl<const D: usize, T> Lowest<D, T> {
    /// Whether a share of the step that brings the function to `there` went down far enough.
    fn allows(&self, there: f64, share: f64) -> bool {
        // Near the bottom, differences drown in rounding: the slope decides.
        let flat = self.promised < 1e-3 && there <= self.height + 1e-9 * self.height.abs();
        flat || there <= self.height - SHARE * share * self.promised
    }
}

fn updated<const D: usize>(inverse: &Inverse<D>, step: &Point<D>, bend: &Point<D>) -> Inverse<D> {
    let curve = step.dot(bend);
    if curve <= 1e-12 {
        return *inverse;
    }
    let turned = inverse * bend;
    let outer = step * step.transpose();
    inverse + outer * ((1.0 + bend.dot(&turned) / curve) / curve)
        - (turned * step.transpose() + step * turned.transpose()) / curve
}
