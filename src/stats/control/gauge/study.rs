//! The readings of a crossed study, and what is missing of them.
//!
//! A study is taken as a whole or not at all: every part with every operator, equally often. Nothing is filled in or left out.

use std::fmt::{self, Display, Formatter};

use thiserror::Error;

/// The most cells that a study may have: beyond that a count is a slip of the pen.
const MOST_CELLS: usize = 1_000_000;

/// How a study was planned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Design {
    /// Parts: packs. At least 2.
    pub parts: usize,
    /// Operators: for a bench, its slots. At least 2.
    pub operators: usize,
    /// Readings of each part by each operator. At least 2.
    pub repeats: usize,
}

/// One reading of a study.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Row {
    /// The part, from 0.
    pub part: usize,
    /// The operator, from 0.
    pub operator: usize,
    /// What was read, in any unit.
    pub value: f64,
}

/// A part and operator that were not read as often as planned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gap {
    /// The part, from 0.
    pub part: usize,
    /// The operator, from 0.
    pub operator: usize,
    /// How many readings there are: too few or too many.
    pub readings: usize,
    /// How many were planned.
    pub planned: usize,
}

/// Why a study tells nothing.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum GaugeError {
    /// Fewer than two parts, operators or repeats, or more cells than a million.
    #[error(
        "a study needs 2 or more parts, operators and repeats and at most a million cells, not {} by {} by {}",
        .0.parts, .0.operators, .0.repeats
    )]
    Design(Design),
    /// A whole study has another number of readings than its plan.
    #[error("the study has {readings} readings, and its plan {planned}")]
    Count {
        /// How many readings there are.
        readings: usize,
        /// How many were planned.
        planned: usize,
    },
    /// Cells that were not read as often as planned: all of them.
    #[error("not balanced: {}", Gaps(.0))]
    Unbalanced(Vec<Gap>),
    /// A reading names a part or an operator that is not in the plan.
    #[error("reading {index} is of part {part} by operator {operator}, who are not in the study")]
    Outside {
        /// The reading's place, from 0.
        index: usize,
        /// The part it names.
        part: usize,
        /// The operator it names.
        operator: usize,
    },
    /// A reading is infinite or not a number.
    #[error("reading {index} is not a finite number")]
    NotFinite {
        /// The reading's place, from 0.
        index: usize,
    },
    /// All readings are alike.
    #[error("all readings are alike, so nothing can be said of the gauge")]
    NoVariation,
    /// A chance is none.
    #[error("{name} must be at least 0 and at most 1, not {value}")]
    Chance {
        /// What the chance is of.
        name: &'static str,
        /// What it is.
        value: f64,
    },
}

struct Gaps<'a>(&'a [Gap]);

impl Display for Gaps<'_> {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        for (place, gap) in self.0.iter().enumerate() {
            let Gap { part, operator, readings, planned } = gap;
            let comma = if place == 0 { "" } else { ", " };
            write!(f, "{comma}part {part} by operator {operator} has {readings} of {planned} readings")?;
        }
        Ok(())
    }
}

/// A whole crossed study: every part read by every operator, equally often.
#[derive(Debug, Clone, PartialEq)]
pub struct Crossed {
    design: Design,
    values: Vec<f64>,
}

impl Crossed {
    /// Takes readings in the order of the plan: all repeats of the first part by the first operator, then by the second, and so on.
    ///
    /// # Errors
    /// [`GaugeError`] for a plan that is too small, another number of readings, or one that is no number.
    pub fn new(design: Design, values: &[f64]) -> Result<Self, GaugeError> {
        let planned = design.cells()?.saturating_mul(design.repeats);
        if values.len() != planned {
            return Err(GaugeError::Count { readings: values.len(), planned });
        }
        if let Some(index) = values.iter().position(|value| !value.is_finite()) {
            return Err(GaugeError::NotFinite { index });
        }
        Ok(Self { design, values: values.to_vec() })
    }

    /// Takes readings in any order.
    ///
    /// ```
    /// use packmuster::stats::control::gauge::study::{Crossed, Design, Row};
    /// let row = |part, operator, value| Row { part, operator, value };
    /// let rows = [
    ///     row(0, 0, 1985.0), row(0, 0, 1991.0), row(0, 1, 1978.0), row(0, 1, 1980.0),
    ///     row(1, 0, 2040.0), row(1, 0, 2043.0), row(1, 1, 2031.0),
    /// ];
    /// let missing = Crossed::from_rows(Design { parts: 2, operators: 2, repeats: 2 }, &rows).unwrap_err();
    /// assert_eq!(missing.to_string(), "not balanced: part 1 by operator 1 has 1 of 2 readings");
    /// ```
    ///
    /// # Errors
    /// [`GaugeError`] for a plan that is too small, readings outside of it or not numbers, and [`GaugeError::Unbalanced`] with every
    /// part and operator that lacks readings or has too many.
    pub fn from_rows(design: Design, rows: &[Row]) -> Result<Self, GaugeError> {
        let mut cells: Vec<Vec<f64>> = vec![Vec::new(); design.cells()?];
        for (index, &Row { part, operator, value }) in rows.iter().enumerate() {
            if !value.is_finite() {
                return Err(GaugeError::NotFinite { index });
            }
            let cell = (part < design.parts && operator < design.operators)
                .then(|| part * design.operators + operator)
                .and_then(|place| cells.get_mut(place));
            cell.ok_or(GaugeError::Outside { index, part, operator })?.push(value);
        }
        let gaps: Vec<Gap> = cells
            .iter()
            .enumerate()
            .filter(|(_, cell)| cell.len() != design.repeats)
            .map(|(place, cell)| Gap {
                part: place / design.operators,
                operator: place % design.operators,
                readings: cell.len(),
                planned: design.repeats,
            })
            .collect();
        if !gaps.is_empty() {
            return Err(GaugeError::Unbalanced(gaps));
        }
        Ok(Self { design, values: cells.concat() })
    }

    /// How the study was planned.
    pub fn design(&self) -> Design {
        self.design
    }

    /// The readings in the order of the plan.
    pub(super) fn values(&self) -> &[f64] {
        &self.values
    }
}

impl Design {
    /// How many cells the plan has, when it is none too small or too large.
    fn cells(self) -> Result<usize, GaugeError> {
        let Self { parts, operators, repeats } = self;
        let cells = parts.checked_mul(operators).filter(|cells| *cells <= MOST_CELLS);
        let is_enough = parts >= 2 && operators >= 2 && repeats >= 2;
        cells.filter(|_| is_enough).ok_or(GaugeError::Design(self))
    }
}
