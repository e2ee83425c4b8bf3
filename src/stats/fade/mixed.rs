//! The straight line: capacity against use as a linear mixed model.
//!
//! `capacity = group line(clock) + pack line(clock) + slot + error`, with a line of its own for each group (fixed), pack lines drawn from
//! `N(0, pack)`, slots from `N(0, slot)` and errors from `N(0, residual / weight)`. The spreads maximise the restricted likelihood (Patterson
//! and Thompson, "Recovery of inter-block information when block sizes are unequal", Biometrika 58, 1971), which the
//! criterion states as `-2 ln L`, as lme4 does (Bates et al., JSS 67(1), 2015, section 3.4).

use std::f64::consts::PI;

use nalgebra::{Cholesky, DMatrix, Dyn};

use super::descent::{self, Lowest, descend};
use super::kernel::{self, Layout, Square, count};
use super::mixing::mixing;
use super::{FadeError, NO_SLOT, Readings};

/// The least share of a fixed effect's own square that must be left of it; less is rounding.
const LEAST_PIVOT: f64 = 1e-10;
/// Packs of the sample on which a large fleet's fit begins.
pub(super) const SAMPLE: usize = 20_000;
/// The fewest packs read often enough.
const FEWEST_PACKS: usize = 3;
/// The promised fall, in tolerances, below which a search that rounding stopped has still found the lowest point.
const STUCK: f64 = 1e3;

/// The spreads as the search moves them, relative to the residual's root and the clock's unit: logarithm of the packs' spread of levels, the
/// slope that goes with a level, logarithm of the spread of slopes beside that, logarithm of the slots' spread.
type Point = descent::Point<4>;
type Inverse = descent::Inverse<4>;

/// Which likelihood is maximised.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Criterion {
    /// The restricted one: spreads without bias.
    Restricted,
    /// The full one: to compare fits whose fixed effects or clocks differ.
    Full,
}

/// What packs and readings may differ in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shape {
    /// Capacity changes with the clock, for each pack in its own way.
    pub slope: bool,
    /// A pack's level and slope may go together.
    pub correlated: bool,
    /// Slots have biases.
    pub slots: bool,
}

impl Shape {
    /// Lines of packs, and slots.
    pub const WHOLE: Self = Self { slope: true, correlated: true, slots: true };
}

/// How a fit is done.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Way {
    /// What may differ.
    pub shape: Shape,
    /// What is maximised.
    pub criterion: Criterion,
    /// The fall of the criterion that is not worth another step.
    pub tolerance: f64,
    /// Threads at most; the result is the same with any.
    pub threads: usize,
}

impl Way {
    /// The restricted likelihood of a whole model, to a tolerance that changes no figure that people see.
    pub const fn restricted(threads: usize) -> Self {
        Self { shape: Shape::WHOLE, criterion: Criterion::Restricted, tolerance: 1e-4, threads }
    }
}

/// A line: mAh at clock zero, and mAh for each unit of the clock.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Line {
    /// At clock zero.
    pub level: f64,
    /// For each unit.
    pub slope: f64,
}

impl Line {
    /// The line's value at a clock.
    pub fn at(self, clock: f64) -> f64 {
        self.level + self.slope * clock
    }
}

/// What a fit found.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// Minus twice the logarithm of the (restricted) likelihood.
    pub criterion: f64,
    /// Variance of an error, mAh^2.
    pub residual: f64,
    /// Covariance of packs' lines about their group's: level, level with slope, slope.
    pub pack: [f64; 3],
    /// Variance of slots, mAh^2; zero when slots were left out.
    pub slot: f64,
    /// The groups' lines.
    pub groups: Vec<Line>,
    /// Standard errors of the groups' lines.
    pub group_errors: Vec<Line>,
    /// Biases of the slots (best linear unbiased predictions), mAh; empty when slots were left out.
    pub slots: Vec<f64>,
    /// Groups of slots that no pack connects: with more than one, biases are comparable only within each.
    pub islands: usize,
    /// How often the criterion was worked out.
    pub evaluations: usize,
    start: Start,
}

/// Where a search ended, for the next one to begin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Start {
    point: Point,
    inverse: Inverse,
    unit: f64,
    packs: usize,
}

/// A pack's line about its group's: how far off, and the covariance of that (level, level with slope, slope).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PackLine {
    /// How far its line is off the group's.
    pub off: Line,
    /// How sure that is, given the spreads, the group's line and the slots.
    pub covariance: [f64; 3],
}

impl Fit {
    /// A pack's line from its readings: clock, capacity, slot, weight (best linear unbiased prediction; Robinson, "That BLUP is
    /// a good thing", Statistical Science 6, 1991). Without readings, what the fleet knows.
    pub fn pack_line(
        &self,
        group: u16,
        readings: impl IntoIterator<Item = (f64, f64, u16, f64)>,
    ) -> PackLine {
        let (mut a, mut r) = ([0.0; 3], [0.0; 2]);
        for (clock, capacity, slot, weight) in readings {
            let off = capacity - self.expected(group, slot, clock);
            a = [a[0] + weight, a[1] + weight * clock, a[2] + weight * clock * clock];
            r = [r[0] + weight * off, r[1] + weight * clock * off];
        }
        let relative = self.pack.map(|value| value / self.residual);
        let k = kernel::solve(&relative, &a).covariance;
        PackLine {
            off: Line { level: k[0] * r[0] + k[1] * r[1], slope: k[1] * r[0] + k[2] * r[1] },
            covariance: k.map(|value| value * self.residual),
        }
    }

    /// What a reading of an average pack of a group would be, mAh.
    pub fn expected(&self, group: u16, slot: u16, clock: f64) -> f64 {
        self.line(group).at(clock) + self.bias(slot)
    }

    /// A group's line; zero for one that is not known.
    pub(super) fn line(&self, group: u16) -> Line {
        self.groups.get(usize::from(group)).copied().unwrap_or_default()
    }

    /// A slot's bias, mAh; zero for one that is not known.
    pub fn bias(&self, slot: u16) -> f64 {
        if slot == NO_SLOT { 0.0 } else { self.slots.get(usize::from(slot)).copied().unwrap_or(0.0) }
    }

    /// Where the search ended.
    pub(super) const fn end(&self) -> Start {
        self.start
    }
}

/// Fits the model.
///
/// # Errors
/// [`FadeError`] when the data do not carry it: too few packs read twice, or more unknowns than readings can tell apart.
pub fn fit(readings: &Readings, way: &Way) -> Result<Fit, FadeError> {
    // A sample is most of the way, at a small part of the cost; where it carries nothing, all readings may.
    let begun = (readings.packs() > 2 * SAMPLE)
        .then(|| fit_from(&readings.thinned(SAMPLE), way, None).ok())
        .flatten();
    let fit = fit_from(readings, way, begun.as_ref().map(Fit::end))?;
    Ok(Fit { evaluations: fit.evaluations + begun.map_or(0, |begun| begun.evaluations), ..fit })
}

/// Fits the model, from where an earlier search ended.
pub(super) fn fit_from(readings: &Readings, way: &Way, start: Option<Start>) -> Result<Fit, FadeError> {
    let mixed = mixing(readings);
    // Slots that no pack connects cannot be told from the packs in them.
    let shape = Shape { slots: way.shape.slots && mixed.used > mixed.islands, ..way.shape };
    enough(readings, shape)?;
    let system = System::new(readings, Way { shape, ..*way });
    let (point, inverse) = match start {
        Some(start) => system.resume(&start),
        None => system.guess(),
    };
    let mut evaluations = 0;
    let height = |point: &Point| {
        evaluations += 1;
        system.height(point)
    };
    let slope = |point: &Point, solution: &Solution| system.slope(point, solution);
    let found = descend(point, |_| inverse, way.tolerance, height, slope)
        .filter(|found| found.promised < STUCK * way.tolerance)
        .ok_or(FadeError::Singular)?;
    let Lowest { point, inverse, .. } = found;
    let start = Start { point, inverse, unit: system.layout.unit, packs: readings.packs() };
    Ok(system.fit(found, start, evaluations, if shape.slots { mixed.islands } else { 0 }))
}

/// Refuses what cannot be told apart by counting alone: a spread of slopes besides an error needs packs read three times.
fn enough(readings: &Readings, shape: Shape) -> Result<(), FadeError> {
    let times = if shape.slope { 3 } else { 2 };
    let packs = (0..readings.packs())
        .filter(|&pack| {
            let clock = readings.clock.get(readings.range(pack)).unwrap_or_default();
            clock.len() >= times && (!shape.slope || clock.iter().any(|x| Some(x) != clock.first()))
        })
        .count();
    if packs < FEWEST_PACKS {
        return Err(FadeError::FewPacks { packs, times, needed: FEWEST_PACKS });
    }
    let unknowns = packs + readings.group_count * if shape.slope { 2 } else { 1 } + usize::from(shape.slots);
    if readings.len() <= unknowns {
        return Err(FadeError::FewReadings { readings: readings.len(), unknowns });
    }
    Ok(())
}

/// The equations of one set of readings and weights.
struct System<'a> {
    readings: &'a Readings,
    way: Way,
    layout: Layout,
    products: Vec<f64>,
}

/// What was solved at one point.
struct Solution {
    s2: f64,
    t: Square,
    tau: f64,
    coefficients: Vec<f64>,
    factor: Cholesky<f64, Dyn>,
}

impl<'a> System<'a> {
    fn new(readings: &'a Readings, way: Way) -> Self {
        let (origin, spread) = kernel::scales(readings);
        let lines = if way.shape.slope { 2 } else { 1 };
        let layout = Layout {
            slots: if way.shape.slots { readings.slot_count } else { 0 },
            fixed: readings.group_count * lines,
            slope: way.shape.slope,
            origin,
            unit: if way.shape.slope && spread > 0.0 { spread } else { 1.0 },
        };
        let products = kernel::products(readings, &layout, way.threads);
        Self { readings, way, layout, products }
    }

    /// A start that knows nothing: spreads of packs and slots like those of readings.
    fn guess(&self) -> (Point, Inverse) {
        let packs = count(self.readings.packs());
        let slots = count(self.layout.slots.max(1));
        let diagonal = Point::new(0.3 / packs, 0.6 / packs, 0.3 / packs, 0.25 / slots);
        (Point::new(0.0, 0.0, -1.0, -0.5), Inverse::from_diagonal(&diagonal))
    }

    /// A start from where another search ended, which may have had another unit or fewer packs.
    fn resume(&self, start: &Start) -> (Point, Inverse) {
        let ratio = self.layout.unit / start.unit;
        let mut point = start.point;
        point.y *= ratio;
        point.z += ratio.ln();
        let share = count(start.packs) / count(self.readings.packs());
        let mut inverse = start.inverse * share;
        inverse.m44 = start.inverse.m44;
        inverse.row_mut(1).scale_mut(ratio);
        inverse.column_mut(1).scale_mut(ratio);
        (point, inverse)
    }

    fn spreads(&self, point: &Point) -> (Square, f64) {
        let shape = self.way.shape;
        let level = point.x.exp();
        let across = if shape.slope && shape.correlated { point.y } else { 0.0 };
        let slope = if shape.slope { point.z.exp() } else { 0.0 };
        ([level * level, level * across, across * across + slope * slope], (2.0 * point.w).exp())
    }

    /// Readings less what the restricted likelihood spends on fixed effects.
    fn freedom(&self) -> f64 {
        count(self.readings.len()) - if self.restricted() { count(self.layout.fixed) } else { 0.0 }
    }

    fn restricted(&self) -> bool {
        self.way.criterion == Criterion::Restricted
    }

    /// The criterion at a point; `None` where the system cannot be solved.
    fn height(&self, point: &Point) -> Option<(f64, Solution)> {
        let (t, tau) = self.spreads(point);
        let Layout { slots, fixed, .. } = self.layout;
        let (size, columns) = (self.layout.size(), slots + fixed);
        let (off, log_packs) = kernel::eliminated(self.readings, &self.layout, t, self.way.threads);
        let mut matrix = DMatrix::from_iterator(
            size,
            size,
            self.products.iter().zip(&off).map(|(whole, off)| whole - off),
        );
        for k in 0..slots {
            *matrix.get_mut((k, k))? += 1.0 / tau;
        }
        let factor = Cholesky::new(matrix)?;
        let lower = factor.l_dirty();
        for k in slots..columns {
            let whole = self.products.get(k * size + k)?;
            if lower.get((k, k))?.powi(2) <= LEAST_PIVOT * whole {
                return None;
            }
        }
        let log_columns: f64 = (0..self.logs()).filter_map(|k| lower.get((k, k))).map(|d| 2.0 * d.ln()).sum();
        let rest = lower.get((columns, columns))?.powi(2);
        let freedom = self.freedom();
        let height = log_packs
            + count(slots) * tau.ln()
            + log_columns
            + freedom * (1.0 + (2.0 * PI * rest / freedom).ln());
        if !height.is_finite() {
            return None;
        }
        let mut coefficients: Vec<f64> =
            (0..columns).filter_map(|k| lower.get((columns, k)).copied()).collect();
        solve_transposed(lower, &mut coefficients);
        Some((height, Solution { s2: rest / freedom, t, tau, coefficients, factor }))
    }

    /// The criterion's slope at a point that was solved.
    fn slope(&self, point: &Point, solution: &Solution) -> Point {
        let Solution { t, tau, .. } = *solution;
        let slots = self.layout.slots;
        let h = self.weights(solution);
        let by_t = kernel::slope(self.readings, &self.layout, t, h.as_slice(), self.way.threads);
        let trace: f64 = (0..slots).filter_map(|k| h.get((k, k))).sum();
        let (level, across, slope) = (point.x.exp(), point.y, point.z.exp());
        let shape = self.way.shape;
        Point::new(
            level
                * (2.0 * level * by_t[0]
                    + if shape.slope && shape.correlated { 2.0 * across * by_t[1] } else { 0.0 }),
            if shape.slope && shape.correlated {
                2.0 * level * by_t[1] + 2.0 * across * by_t[2]
            } else {
                0.0
            },
            if shape.slope { 2.0 * slope * slope * by_t[2] } else { 0.0 },
            if slots > 0 { 2.0 * (count(slots) - trace / tau) } else { 0.0 },
        )
    }

    /// The first columns, whose determinant the criterion has: slots, and for the restricted likelihood fixed effects.
    fn logs(&self) -> usize {
        self.layout.slots + if self.restricted() { self.layout.fixed } else { 0 }
    }

    /// The matrix `H` by which a change of the system changes the criterion: the inverse of its first `logs` columns, which the
    /// determinant brings, and the square of what is left of the data column.
    fn weights(&self, solution: &Solution) -> DMatrix<f64> {
        let (size, logs) = (self.layout.size(), self.logs());
        let mut h = DMatrix::zeros(size, size);
        let inverse = inverse_of_first(solution.factor.l_dirty(), logs);
        h.view_mut((0, 0), (logs, logs)).copy_from(&inverse);
        let mut v = nalgebra::DVector::from_element(size, 1.0);
        for (v, c) in v.iter_mut().zip(&solution.coefficients) {
            *v = -c;
        }
        h.ger(1.0 / solution.s2, &v, &v, 1.0);
        h
    }

    fn fit(&self, found: Lowest<4, Solution>, start: Start, evaluations: usize, islands: usize) -> Fit {
        let Layout { slots, fixed, unit, origin, slope, .. } = self.layout;
        let Solution { s2, t, tau, coefficients, factor } = found.with;
        let lines = if slope { 2 } else { 1 };
        let errors = inverse_of_first(factor.l_dirty(), slots + fixed);
        let line = |group: usize, value: &dyn Fn(usize) -> f64| Line {
            level: value(slots + group * lines),
            slope: if slope { value(slots + group * lines + 1) / unit } else { 0.0 },
        };
        let groups = (0..fixed / lines).map(|group| {
            let line = line(group, &|k| coefficients.get(k).copied().unwrap_or(f64::NAN));
            Line { level: line.level + origin, ..line }
        });
        let group_errors = (0..fixed / lines)
            .map(|group| line(group, &|k| errors.get((k, k)).map_or(f64::NAN, |v| (v * s2).sqrt())));
        // A clock in another unit scales the fixed slopes, and with them the restricted determinant.
        let scaled = if slope && self.restricted() { 2.0 * count(fixed / lines) * unit.ln() } else { 0.0 };
        Fit {
            criterion: found.height + scaled,
            residual: s2,
            pack: [t[0] * s2, t[1] * s2 / unit, t[2] * s2 / (unit * unit)],
            slot: if slots > 0 { tau * s2 } else { 0.0 },
            groups: groups.collect(),
            group_errors: group_errors.collect(),
            slots: coefficients.iter().take(slots).copied().collect(),
            islands,
            evaluations,
            start,
        }
    }
}

/// Solves `L' x = z` in place for the first columns of a lower triangle.
fn solve_transposed(lower: &DMatrix<f64>, z: &mut [f64]) {
    let size = z.len();
    let mut x = nalgebra::DVector::from_column_slice(z);
    if lower.view((0, 0), (size, size)).tr_solve_lower_triangular_mut(&mut x) {
        z.copy_from_slice(x.as_slice());
    } else {
        z.fill(f64::NAN);
    }
}

/// The inverse of `L L'` for the first columns of a lower triangle.
fn inverse_of_first(lower: &DMatrix<f64>, first: usize) -> DMatrix<f64> {
    let mut inverse = DMatrix::identity(first, first);
    let block = lower.view((0, 0), (first, first));
    if !block.solve_lower_triangular_mut(&mut inverse) {
        return DMatrix::from_element(first, first, f64::NAN);
    }
    inverse.tr_mul(&inverse)
}
