//! Bars: how many there are of each category, how sure that is, and how many of them are marked.

use super::super::canvas::{Area, Ink, Place};
use super::frame::{Frame, THIN, Tick};
use super::ground::{Ground, Stroke, hatch};
use super::scale::Scale;

/// A bar.
#[derive(Debug, Clone, PartialEq)]
pub struct Bar {
    category: String,
    value: f64,
    between: Option<(f64, f64)>,
    marked: Option<f64>,
}

impl Bar {
    /// A bar of a category, from zero to a value. A value that is no number leaves its place empty.
    pub fn new(category: impl Into<String>, value: f64) -> Self {
        Self { category: category.into(), value, between: None, marked: None }
    }

    /// Adds a whisker from one value to another: between what the value may lie.
    #[must_use]
    pub fn between(mut self, low: f64, high: f64) -> Self {
        self.between = Some((low, high));
        self
    }

    /// Hatches the bar from zero up to a part of its value: so many of them are marked. See [`super::Chart::hatched`].
    #[must_use]
    pub fn marked(mut self, part: f64) -> Self {
        self.marked = Some(part);
        self
    }

    /// The values that the axis must hold.
    pub(super) fn values(&self) -> impl Iterator<Item = f64> {
        let whisker = self.between.into_iter().flat_map(|(low, high)| [low, high]);
        [self.value].into_iter().chain(whisker)
    }

    fn draw(&self, ground: &mut dyn Ground, frame: &Frame, at: f64, width_mm: f32) {
        let Some(middle) = frame.right_mm(at) else { return };
        let (left, right) = (middle - width_mm / 2.0, middle + width_mm / 2.0);
        let span = |value: f64| {
            let (one, other) = (frame.down_mm(0.0)?, frame.down_mm(value)?);
            Some(Area::new(Place::new(left, one.min(other)), width_mm, (one - other).abs()))
        };
        ground.open("bar", &self.category);
        if let Some(area) = span(self.value) {
            ground.fill(&area, Ink::Light);
            let part = self.marked.filter(|part| part.is_finite());
            let part = part.map(|part| part.clamp(self.value.min(0.0), self.value.max(0.0)));
            if let Some(area) = part.and_then(span).filter(|area| area.height_mm > 0.0) {
                ground.open("marked", "");
                ground.fill(&area, Ink::Mid);
                hatch(ground, &area, Ink::Accent);
                ground.close();
            }
            let (top, bottom) = (area.corner.y_mm, area.bottom_mm());
            let corners = [(left, bottom), (left, top), (right, top), (right, bottom), (left, bottom)];
            ground.line(&corners.map(|(x, y)| Place::new(x, y)), THIN);
        }
        ground.close();
        if let Some((low, high)) = self.between
            && let (Some(low), Some(high)) = (frame.down_mm(low), frame.down_mm(high))
        {
            let (arm, stroke) = ((width_mm / 5.0).min(1.2), Stroke::whole(0.3, Ink::Black));
            ground.open("whisker", &self.category);
            ground.line(&[Place::new(middle, low), Place::new(middle, high)], stroke);
            for end in [low, high] {
                ground.line(&[Place::new(middle - arm, end), Place::new(middle + arm, end)], stroke);
            }
            ground.close();
        }
    }
}

/// The axis across for bars: the middle of the first at 0, of the second at 1, and so on; with their categories as ticks.
pub(super) fn axis(bars: &[Bar], others: impl Iterator<Item = f64>) -> (Scale, Vec<Tick>) {
    let ticks: Vec<Tick> = places(bars).map(|(at, bar)| Tick { at, text: bar.category.clone() }).collect();
    let ends = [-0.5, ticks.last().map_or(0.5, |tick| tick.at + 0.5)];
    (Scale::exact(others.chain(ends)), ticks)
}

/// Draws bars.
pub(super) fn draw(ground: &mut dyn Ground, frame: &Frame, bars: &[Bar]) {
    let slot = match (frame.right_mm(0.0), frame.right_mm(1.0)) {
        (Some(one), Some(other)) => other - one,
        _ => frame.plot.width_mm,
    };
    for (at, bar) in places(bars) {
        bar.draw(ground, frame, at, (slot * 0.68).min(14.0));
    }
}

/// The corners of the bars and the ends of their whiskers, which texts had better not cross.
pub(super) fn outlines(frame: &Frame, bars: &[Bar]) -> Vec<[Place; 2]> {
    let upright = |(at, bar): (f64, &Bar)| {
        let top = bar.values().filter(|value| value.is_finite()).fold(0.0, f64::max);
        Some([frame.place((at, 0.0))?, frame.place((at, top))?])
    };
    places(bars).filter_map(upright).collect()
}

fn places(bars: &[Bar]) -> impl Iterator<Item = (f64, &Bar)> {
    (0_u32..).map(f64::from).zip(bars)
}
