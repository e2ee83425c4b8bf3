//! The ground of a chart: the plot, its two axes, ticks with as many texts as there is room for.

use super::super::canvas::{Area, Ink, Place, count};
use super::super::text::{Align, Style};
use super::super::typeface::{Face, PT_PER_MM};
use super::ground::{Ground, Stroke, widest};
use super::scale::Scale;

pub(super) const LABEL: Style = Style::new(Face::Regular, 9.0, Ink::Grey);
pub(super) const TICK: Style = Style::new(Face::Regular, 9.0, Ink::Grey).with_even_digits();
pub(super) const NAME: Style = Style::new(Face::Regular, 9.0, Ink::Black);
pub(super) const HAIR: Stroke = Stroke::whole(0.15, Ink::Hairline);
pub(super) const THIN: Stroke = Stroke::whole(0.15, Ink::Grey);
/// What stands under the plot: the texts of ticks, and what the axis says, mm.
pub(super) const FOOT_MM: f32 = 9.3;
/// The least distance between two texts side by side, mm.
const APART_MM: f32 = 1.6;

/// A place on an axis, with its text.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tick {
    pub(super) at: f64,
    pub(super) text: String,
}

impl Tick {
    /// The ticks of a numbered axis.
    pub(super) fn all(scale: &Scale) -> Vec<Self> {
        scale.ticks().map(|at| Self { at, text: scale.text(at) }).collect()
    }

    /// The texts of ticks, none wider than so much.
    fn shorten(ticks: &mut [Self], ground: &dyn Ground, width_mm: f32) {
        for tick in ticks {
            tick.text = ground.faces().shorten(&tick.text, TICK, width_mm);
        }
    }
}

/// The ground of a chart with its two scales.
pub(super) struct Frame {
    pub(super) plot: Area,
    pub(super) across: Scale,
    pub(super) up: Scale,
    /// As far as texts may reach left and right, mm.
    pub(super) reach_mm: (f32, f32),
    across_ticks: Vec<Tick>,
    up_ticks: Vec<Tick>,
}

impl Frame {
    /// Fits the plot into an area: texts of ticks on the left and beneath, a column of its width for names on the right.
    pub(super) fn fit(
        ground: &dyn Ground,
        area: &Area,
        (across, mut across_ticks): (Scale, Vec<Tick>),
        (up, mut up_ticks): (Scale, Vec<Tick>),
        names_mm: f32,
    ) -> Self {
        Tick::shorten(&mut up_ticks, ground, 0.3 * area.width_mm);
        Tick::shorten(&mut across_ticks, ground, 0.3 * area.width_mm);
        across_ticks.retain(|tick| across.share(tick.at).is_some());
        across_ticks.sort_by(|a, b| a.at.total_cmp(&b.at));
        let half = |tick: Option<&Tick>| widest(ground, tick.map(|tick| tick.text.as_str()), TICK) / 2.0;
        let left_mm = widest(ground, up_ticks.iter().map(|tick| tick.text.as_str()), TICK) + 2.0;
        let right_mm = names_mm.max(half(across_ticks.last()).min(12.0)).max(2.0);
        let plot = Area::new(
            area.corner.by(left_mm, 0.0),
            (area.width_mm - left_mm - right_mm).max(1.0),
            (area.height_mm - FOOT_MM).max(1.0),
        );
        let reach_mm = (area.corner.x_mm, area.right_mm());
        Self { plot, across, up, reach_mm, across_ticks, up_ticks }
    }

    /// Where a point stands; nothing for what is no number.
    pub(super) fn place(&self, (x, y): (f64, f64)) -> Option<Place> {
        Some(Place::new(self.right_mm(x)?, self.down_mm(y)?))
    }

    /// How far from the left a value stands, mm.
    pub(super) fn right_mm(&self, x: f64) -> Option<f32> {
        self.across.share(x).map(|share| self.plot.corner.x_mm + share * self.plot.width_mm)
    }

    /// How far from the top a value stands, mm.
    pub(super) fn down_mm(&self, y: f64) -> Option<f32> {
        self.up.share(y).map(|share| self.plot.corner.y_mm + (1.0 - share) * self.plot.height_mm)
    }

    /// The axis up, with a line across the plot at each tick.
    pub(super) fn grid_up(&self, ground: &mut dyn Ground) {
        let left = self.plot.corner.x_mm;
        let half = TICK.size_pt * 0.35 / PT_PER_MM;
        for tick in &self.up_ticks {
            let Some(down) = self.down_mm(tick.at) else { continue };
            ground.open("tick up", "");
            ground.line(&[Place::new(left, down), Place::new(self.plot.right_mm(), down)], HAIR);
            ground.text(Place::new(left - 1.5, down + half), &tick.text, TICK, Align::Right);
            ground.close();
        }
    }

    /// The axis across with its ticks, so high, and what it says. Where texts would touch, every second or third is shown.
    pub(super) fn grid_across(&self, ground: &mut dyn Ground, tick_mm: f32, label: &str) {
        let bottom = self.plot.bottom_mm();
        let texts: Vec<(f32, f32)> =
            self.across_ticks.iter().filter_map(|tick| self.text_across(ground, tick)).collect();
        let every = stride(&texts);
        for (number, (tick, (middle, _))) in self.across_ticks.iter().zip(&texts).enumerate() {
            let Some(right) = self.right_mm(tick.at) else { continue };
            let (up, stroke) = if tick_mm > 0.0 { (bottom - tick_mm, HAIR) } else { (bottom, THIN) };
            ground.open("tick across", "");
            let told = number.is_multiple_of(every);
            let end = bottom + if told { 1.0 } else { 0.6 };
            ground.line(&[Place::new(right, up), Place::new(right, end)], stroke);
            if told {
                ground.text(Place::new(*middle, bottom + 4.3), &tick.text, TICK, Align::Centre);
            }
            ground.close();
        }
        ground.line(
            &[Place::new(self.plot.corner.x_mm, bottom), Place::new(self.plot.right_mm(), bottom)],
            THIN,
        );
        let (left, right) = self.reach_mm;
        let label = ground.faces().shorten(label, LABEL, right - left);
        let start = left.max(self.plot.right_mm() - ground.faces().width_mm(&label, LABEL));
        ground.text(Place::new(start, bottom + 2.0 * TICK.leading_mm() - 0.2), &label, LABEL, Align::Left);
    }

    /// The middle of a tick's text, moved so that it stays in the picture, and its width, mm.
    fn text_across(&self, ground: &dyn Ground, tick: &Tick) -> Option<(f32, f32)> {
        let width = ground.faces().width_mm(&tick.text, TICK);
        let (left, right) = self.reach_mm;
        let middle = self.right_mm(tick.at)?.min(right - width / 2.0).max(left + width / 2.0);
        Some((middle, width))
    }
}

/// Of texts from left to right, each given by its middle and its width, every how many can be shown without touching.
fn stride(texts: &[(f32, f32)]) -> usize {
    let fits = |every: usize| {
        let shown: Vec<&(f32, f32)> = texts.iter().step_by(every).collect();
        shown.windows(2).all(|pair| {
            let &[one, other] = pair else { return true };
            other.0 - one.0 >= one.1.midpoint(other.1) + APART_MM
        })
    };
    (1..=texts.len()).find(|&every| fits(every)).unwrap_or(1)
}

/// About how many steps an axis up of a height may have for its texts not to touch.
pub(super) fn steps_up(height_mm: f32) -> u32 {
    (1..=6)
        .rev()
        .find(|&steps: &usize| count(steps) * 6.0 <= height_mm)
        .map_or(1, |steps| u32::try_from(steps).unwrap_or(1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_that_would_touch_are_thinned() {
        let row = |apart: f32| (0..10).map(|n| (count(n) * apart, 10.0)).collect::<Vec<_>>();
        assert_eq!([12.0, 11.0, 6.0, 4.0, 0.0].map(|apart| stride(&row(apart))), [1, 2, 2, 3, 10]);
        assert_eq!(stride(&[]), 1);
    }
}
