//! The two-way analysis of variance of a crossed study: sums of squares, mean squares, F and its tail.
//!
//! With `p` parts, `o` operators, `r` repeats, and means over what a dot stands for (Montgomery, "Introduction to Statistical Quality
//! Control", chapter 8, and AIAG, "Measurement Systems Analysis", appendix A; from memory; held against R's `aov`):
//!
//! ```text
//! parts          o r  sum (y_i.. - y_...)^2                       p - 1
//! operators      p r  sum (y_.j. - y_...)^2                       o - 1
//! interaction    r    sum (y_ij. - y_i.. - y_.j. + y_...)^2       (p - 1)(o - 1)
//! repeatability       sum (y_ijk - y_ij.)^2                       p o (r - 1)
//! ```

use super::study::{Crossed, Design};
use crate::stats::control::cusum::count;
use crate::stats::control::laws;

/// One row of the table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Sum of squares, in the square of the readings' unit.
    pub squares: f64,
    /// Degrees of freedom.
    pub freedom: f64,
}

/// A ratio of mean squares, and the chance of one as large or larger where there is no effect.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Test {
    /// The ratio; infinite over a mean square of 0.
    pub f: f64,
    /// The chance.
    pub p: f64,
}

/// The table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Anova {
    /// Between parts.
    pub parts: Line,
    /// Between operators.
    pub operators: Line,
    /// What depends on part and operator together.
    pub interaction: Line,
    /// Between repeats.
    pub repeatability: Line,
}

/// Means of a study: over all, by part, by operator, and by both in the order of the plan.
pub(super) struct Means {
    pub(super) all: f64,
    pub(super) parts: Vec<f64>,
    pub(super) operators: Vec<f64>,
    pub(super) cells: Vec<f64>,
}

impl Line {
    /// The mean square: squares over degrees of freedom.
    pub fn mean_square(&self) -> f64 {
        self.squares / self.freedom
    }

    /// Tests the line on another one; none where both mean squares are 0.
    pub fn against(&self, error: &Self) -> Option<Test> {
        let f = self.mean_square() / error.mean_square();
        (!f.is_nan()).then(|| Test { f, p: laws::f_above(f, self.freedom, error.freedom) })
    }

    /// Both lines as one.
    fn with(&self, other: &Self) -> Self {
        Self { squares: self.squares + other.squares, freedom: self.freedom + other.freedom }
    }
}

impl Anova {
    /// Works out the table.
    pub(super) fn of(study: &Crossed, means: &Means) -> Self {
        let Design { parts, operators, repeats } = study.design();
        let [p, o, r] = [parts, operators, repeats].map(count);
        // What rounding alone leaves of readings that are alike is no variance.
        let largest = study.values().iter().fold(0.0, |largest: f64, value| largest.max(value.abs()));
        let least = (8.0 * f64::EPSILON * largest).powi(2);
        let line = |times: f64, offs: &mut dyn Iterator<Item = f64>, freedom: f64| {
            let squares = times * offs.map(|off| off * off).sum::<f64>();
            Line { squares: if squares <= least * freedom * times { 0.0 } else { squares }, freedom }
        };
        let both =
            means.parts.iter().flat_map(|part| means.operators.iter().map(move |operator| part + operator));
        Self {
            parts: line(o * r, &mut means.parts.iter().map(|mean| mean - means.all), p - 1.0),
            operators: line(p * r, &mut means.operators.iter().map(|mean| mean - means.all), o - 1.0),
            interaction: line(
                r,
                &mut means.cells.iter().zip(both).map(|(mean, both)| mean - both + means.all),
                (p - 1.0) * (o - 1.0),
            ),
            repeatability: line(
                1.0,
                &mut study
                    .values()
                    .chunks_exact(repeats)
                    .zip(&means.cells)
                    .flat_map(|(cell, mean)| cell.iter().map(move |value| value - mean)),
                p * o * (r - 1.0),
            ),
        }
    }

    /// Interaction and repeatability as one.
    pub fn pooled(&self) -> Line {
        self.interaction.with(&self.repeatability)
    }

    /// All of it, about the grand mean.
    pub fn total(&self) -> Line {
        self.parts.with(&self.operators).with(&self.pooled())
    }
}

impl Means {
    /// Takes the means; readings are counted from the first one, so that large ones keep their digits.
    pub(super) fn of(study: &Crossed) -> Self {
        let Design { parts, operators, repeats } = study.design();
        let origin = study.values().first().copied().unwrap_or_default();
        let cells: Vec<f64> = study
            .values()
            .chunks_exact(repeats)
            .map(|cell| cell.iter().map(|value| value - origin).sum::<f64>() / count(repeats))
            .collect();
        let by_part =
            cells.chunks_exact(operators).map(|row| row.iter().sum::<f64>() / count(operators)).collect();
        let by_operator: Vec<f64> = (0..operators)
            .map(|operator| cells.iter().skip(operator).step_by(operators).sum::<f64>() / count(parts))
            .collect();
        let all = by_operator.iter().sum::<f64>() / count(operators);
        let back = |means: Vec<f64>| means.into_iter().map(|mean| mean + origin).collect();
        Self { all: all + origin, parts: back(by_part), operators: back(by_operator), cells: back(cells) }
    }
}
