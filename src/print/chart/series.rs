//! Points that belong together: curves, steps, dots and crosses.

use super::super::canvas::{Area, Ink, Place};
use super::frame::Frame;
use super::ground::{Ground, Stroke};

pub(super) const CURVE_MM: f32 = 0.4;
const SIGN_MM: f32 = 1.4;

/// How a series is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Look {
    /// A line through the points.
    Line,
    /// A dashed line through the points.
    Dashed,
    /// A dotted line through the points.
    Dotted,
    /// A line of dashes and dots in turn.
    DashDot,
    /// A line of long dashes.
    LongDashed,
    /// A line of dashes with two dots between them.
    DashDotDot,
    /// A small dot at each point, for many of them.
    Dots,
    /// A cross at each point.
    Crosses,
}

impl Look {
    /// The lines that can be told apart in one chart, the plainest first.
    pub const LINES: [Self; 6] =
        [Self::Line, Self::Dashed, Self::Dotted, Self::DashDot, Self::LongDashed, Self::DashDotDot];

    /// The line that goes through the points; nothing where signs stand at them.
    fn stroke(self) -> Option<Stroke> {
        let dashes_mm: &[f32] = match self {
            Self::Line => &[],
            Self::Dashed => &[2.2, 1.4],
            Self::Dotted => &[0.5, 0.9],
            Self::DashDot => &[2.6, 0.9, 0.5, 0.9],
            Self::LongDashed => &[5.5, 1.2],
            Self::DashDotDot => &[3.4, 0.8, 0.5, 0.8, 0.5, 0.8],
            Self::Dots | Self::Crosses => return None,
        };
        Some(Stroke { width_mm: CURVE_MM, ink: Ink::Black, dashes_mm })
    }
}

/// Points that belong together.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    pub(super) name: String,
    look: Look,
    points: Vec<(f64, f64)>,
    stepped: bool,
    ended: Vec<f64>,
}

impl Series {
    /// Points (across, up) with a name, which may be empty. Points that are no numbers break a line.
    pub fn new(name: impl Into<String>, look: Look, points: Vec<(f64, f64)>) -> Self {
        Self { name: name.into(), look, points, stepped: false, ended: Vec::new() }
    }

    /// Has the line keep each value until the next point, where it jumps (steps that are continuous from the right). At each of
    /// the places of `censored` a small upright stroke tells that something was lost from sight there; the line reaches on to the
    /// last of them.
    #[must_use]
    pub fn stepped(mut self, mut censored: Vec<f64>) -> Self {
        censored.retain(|at| at.is_finite());
        (self.stepped, self.ended) = (true, censored);
        self
    }

    /// The corners of what is drawn.
    pub(super) fn corners(&self) -> Vec<(f64, f64)> {
        if !self.stepped {
            return self.points.clone();
        }
        let mut corners: Vec<(f64, f64)> = Vec::with_capacity(2 * self.points.len());
        for &(x, y) in &self.points {
            let numbers = |one: f64| one.is_finite() && x.is_finite() && y.is_finite();
            if let Some(&(from, before)) = corners.last()
                && numbers(from)
                && numbers(before)
                && before.total_cmp(&y).is_ne()
            {
                corners.push((x, before));
            }
            corners.push((x, y));
        }
        let last = self.ended.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if let Some(&(x, y)) = corners.last()
            && x < last
        {
            corners.push((last, y));
        }
        corners
    }

    /// What is drawn of the series, in pieces without gaps.
    pub(super) fn runs(&self, frame: &Frame) -> Vec<Vec<Place>> {
        let places: Vec<Option<Place>> = self.corners().into_iter().map(|point| frame.place(point)).collect();
        places
            .split(Option::is_none)
            .filter(|run| !run.is_empty())
            .map(|run| run.iter().copied().flatten().collect())
            .collect()
    }

    pub(super) fn draw(&self, ground: &mut dyn Ground, frame: &Frame) {
        ground.open("series", &self.name);
        for run in self.runs(frame) {
            match (self.look.stroke(), run.as_slice()) {
                (Some(_), &[alone]) => dot(ground, alone, SIGN_MM * 0.7, Ink::Black),
                (Some(stroke), run) => ground.line(run, stroke),
                (None, run) if self.look == Look::Dots => {
                    for &place in run {
                        dot(ground, place, SIGN_MM * 0.5, Ink::Grey);
                    }
                }
                (None, run) => {
                    for &place in run {
                        cross(ground, place);
                    }
                }
            }
        }
        ground.close();
        self.strokes_where_ended(ground, frame);
    }

    fn strokes_where_ended(&self, ground: &mut dyn Ground, frame: &Frame) {
        if self.ended.is_empty() {
            return;
        }
        ground.open("censored", &self.name);
        for &at in &self.ended {
            let value = self.points.iter().rev().find(|&&(x, y)| x <= at && y.is_finite());
            if let Some(place) = value.and_then(|&(_, y)| frame.place((at, y))) {
                let arm = SIGN_MM * 0.75;
                ground.line(&[place.by(0.0, -arm), place.by(0.0, arm)], Stroke::whole(0.25, Ink::Black));
            }
        }
        ground.close();
    }
}

fn dot(ground: &mut dyn Ground, place: Place, side_mm: f32, ink: Ink) {
    ground.fill(&Area::new(place.by(-side_mm / 2.0, -side_mm / 2.0), side_mm, side_mm), ink);
}

fn cross(ground: &mut dyn Ground, place: Place) {
    let (arm, stroke) = (SIGN_MM * 0.7, Stroke::whole(CURVE_MM, Ink::Accent));
    ground.line(&[place.by(-arm, -arm), place.by(arm, arm)], stroke);
    ground.line(&[place.by(-arm, arm), place.by(arm, -arm)], stroke);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_keep_their_value_until_the_next_point() {
        let steps = Series::new("", Look::Line, vec![(0.0, 1.0), (2.0, 0.5), (f64::NAN, 0.5), (4.0, 0.2)]);
        let corners = steps.stepped(vec![3.0, 6.0, f64::INFINITY]).corners();
        assert_eq!(corners.len(), 6);
        assert_eq!(corners[..3], [(0.0, 1.0), (2.0, 1.0), (2.0, 0.5)]);
        assert_eq!(corners.last(), Some(&(6.0, 0.2)));
    }
}
