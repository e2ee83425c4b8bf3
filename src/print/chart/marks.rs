//! Lines across the whole chart, with their names where these are least in the way.

use super::super::canvas::{Area, Ink, Place};
use super::super::text::{Align, Style};
use super::frame::{Frame, NAME};
use super::ground::{Ground, Stroke, text_area};

const MARK: Stroke = Stroke { width_mm: 0.3, ink: Ink::Accent, dashes_mm: &[3.2, 0.8] };
const MARK_NAME: Style = Style { ink: Ink::Accent, ..NAME };

/// A line across the whole chart.
#[derive(Debug, Clone, PartialEq)]
pub enum Mark {
    /// At a height.
    Level {
        /// Where.
        at: f64,
        /// What it is.
        label: String,
    },
    /// At a place from left to right.
    Upright {
        /// Where.
        at: f64,
        /// What it is.
        label: String,
    },
}

impl Mark {
    fn label(&self) -> &str {
        match self {
            Self::Level { label, .. } | Self::Upright { label, .. } => label,
        }
    }

    /// The ends of the line.
    pub(super) fn ends(&self, frame: &Frame) -> Option<[Place; 2]> {
        let plot = &frame.plot;
        match self {
            Self::Level { at, .. } => {
                let down = frame.down_mm(*at)?;
                Some([Place::new(plot.corner.x_mm, down), Place::new(plot.right_mm(), down)])
            }
            Self::Upright { at, .. } => {
                let right = frame.right_mm(*at)?;
                Some([Place::new(right, plot.corner.y_mm), Place::new(right, plot.bottom_mm())])
            }
        }
    }

    pub(super) fn draw(&self, ground: &mut dyn Ground, frame: &Frame) {
        if let Some(ends) = self.ends(frame) {
            ground.open("mark", self.label());
            ground.line(&ends, MARK);
            ground.close();
        }
    }

    /// Where the name may begin (its baseline), the best places first.
    fn starts(&self, frame: &Frame, width_mm: f32) -> Vec<Place> {
        let Some([from, _]) = self.ends(frame) else { return Vec::new() };
        let (plot, step) = (&frame.plot, NAME.leading_mm());
        match self {
            Self::Level { .. } => {
                // Under the line where it is high, above it where it is low: the name stays within the chart.
                let high = from.y_mm < plot.corner.y_mm + plot.height_mm / 2.0;
                let (near, far) = if high { (step * 0.85, -1.0) } else { (-1.0, step * 0.85) };
                let room = plot.width_mm - width_mm - 3.0;
                let shares = [0.0_f32, 1.0, 0.5, 0.25, 0.75, 0.125, 0.375, 0.625, 0.875];
                let right = move |share: f32| 1.5 + share * room;
                let near = shares.map(|share| from.by(right(share), near));
                near.into_iter().chain(shares.map(|share| from.by(right(share), far))).collect()
            }
            Self::Upright { .. } => {
                let late = from.x_mm > plot.corner.x_mm + 0.6 * plot.width_mm;
                let (right, left) = (1.0, -1.0 - width_mm);
                let sides = if late { [left, right] } else { [right, left] };
                let mut down = step * 0.8;
                let mut starts = Vec::new();
                while down < plot.height_mm {
                    starts.extend(sides.map(|side| from.by(side, down)));
                    down += step;
                }
                starts
            }
        }
    }
}

/// Writes the names of marks: within the plot, over none other, and across as few lines as can be. A name for which there is no room
/// left is not written.
pub(super) fn names(ground: &mut dyn Ground, frame: &Frame, marks: &[Mark], lines: &[[Place; 2]]) {
    let mut taken: Vec<Area> = Vec::new();
    for mark in marks.iter().filter(|mark| !mark.label().trim().is_empty()) {
        let name = ground.faces().shorten(mark.label(), MARK_NAME, (frame.plot.width_mm - 3.0).min(90.0));
        let width = ground.faces().width_mm(&name, MARK_NAME);
        let free = |area: &Area| inside(area, &frame.plot) && !taken.iter().any(|other| meet(area, other));
        let crossed = |area: &Area| lines.iter().filter(|line| crosses(area, line)).count();
        let best = mark
            .starts(frame, width)
            .into_iter()
            .map(|start| (start, text_area(start, width, MARK_NAME)))
            .filter(|(_, area)| free(area))
            .min_by_key(|(_, area)| crossed(area));
        if let Some((start, area)) = best {
            ground.text(start, &name, MARK_NAME, Align::Left);
            taken.push(area);
        }
    }
}

fn inside(area: &Area, outer: &Area) -> bool {
    area.corner.x_mm >= outer.corner.x_mm
        && area.right_mm() <= outer.right_mm()
        && area.corner.y_mm >= outer.corner.y_mm
        && area.bottom_mm() <= outer.bottom_mm()
}

fn meet(one: &Area, other: &Area) -> bool {
    one.corner.x_mm < other.right_mm()
        && other.corner.x_mm < one.right_mm()
        && one.corner.y_mm < other.bottom_mm()
        && other.corner.y_mm < one.bottom_mm()
}

/// Whether a straight line enters an area: what is left of it after cutting it at each of the four edges.
fn crosses(area: &Area, [from, to]: &[Place; 2]) -> bool {
    let (dx, dy) = (to.x_mm - from.x_mm, to.y_mm - from.y_mm);
    let (mut enters, mut leaves) = (0.0_f32, 1.0_f32);
    for (rate, room) in [
        (-dx, from.x_mm - area.corner.x_mm),
        (dx, area.right_mm() - from.x_mm),
        (-dy, from.y_mm - area.corner.y_mm),
        (dy, area.bottom_mm() - from.y_mm),
    ] {
        if rate < 0.0 {
            enters = enters.max(room / rate);
        } else if rate > 0.0 {
            leaves = leaves.min(room / rate);
        } else if room < 0.0 {
            return false;
        }
    }
    enters <= leaves
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_cross_areas_or_pass_them() {
        let area = Area::new(Place::new(2.0, 2.0), 4.0, 2.0);
        let crossing =
            |a: (f32, f32), b: (f32, f32)| crosses(&area, &[Place::new(a.0, a.1), Place::new(b.0, b.1)]);
        assert!(crossing((0.0, 3.0), (9.0, 3.0)) && crossing((3.0, 3.0), (3.0, 3.0)));
        assert!(crossing((0.0, 0.0), (9.0, 6.0)));
        assert!(!crossing((0.0, 1.0), (9.0, 1.0)) && !crossing((0.0, 3.0), (1.5, 3.0)));
        assert!(!crossing((0.0, 4.0), (3.0, 9.0)));
    }
}
