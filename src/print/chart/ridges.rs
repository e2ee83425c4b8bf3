//! Ridges: how capacities lie, one row for each make over one axis, with the limit of each.

use super::super::canvas::{Area, Ink, Place, count};
use super::super::text::{Align, Style};
use super::frame::{Frame, LABEL, NAME, THIN, Tick};
use super::ground::{Ground, Stroke, hatch, widest};
use super::scale::{Scale, grouped, is_number, narrow};

const LIMIT: Stroke = Stroke::whole(0.4, Ink::Accent);
const LIMIT_NAME: Style = Style { ink: Ink::Accent, ..NAME };
/// Height of a row, mm: the least, and the most.
const ROW_MM: (f32, f32) = (9.0, 32.0);
/// What stands above the bins of a row: the text of its limit, and a gap, mm.
const HEAD_MM: f32 = 4.4;
/// From the names to the plot, mm.
const GAP_MM: f32 = 3.0;

/// A row of bins: how many there are of one make from one value to the next.
#[derive(Debug, Clone, PartialEq)]
pub struct Ridge {
    name: String,
    bins: Vec<(f64, f64, f64)>,
    limit: Option<(f64, String)>,
}

impl Ridge {
    /// A row from its bins (from, to, how many) with its name. Bins that are no numbers, or have no width, are left out.
    pub fn new(name: impl Into<String>, mut bins: Vec<(f64, f64, f64)>) -> Self {
        bins.retain(|&(low, high, number)| low < high && [low, high, number].into_iter().all(is_number));
        bins.sort_by(|one, other| one.0.total_cmp(&other.0));
        Self { name: name.into(), bins, limit: None }
    }

    /// Marks a limit in this row, with what it is; what lies below it is hatched. See [`super::Chart::hatched`].
    #[must_use]
    pub fn limit(mut self, at: f64, label: impl Into<String>) -> Self {
        self.limit = is_number(at).then(|| (at, label.into()));
        self
    }

    /// Whether there is something to draw.
    pub(super) fn is_empty(&self) -> bool {
        !self.bins.iter().any(|bin| bin.2 > 0.0)
    }

    /// Whether the row has a limit.
    pub(super) const fn is_limited(&self) -> bool {
        self.limit.is_some()
    }

    fn values(&self) -> impl Iterator<Item = f64> {
        let bins = self.bins.iter().flat_map(|&(low, high, _)| [low, high]);
        bins.chain(self.limit.as_ref().map(|limit| limit.0))
    }

    fn number(&self) -> String {
        let number: f64 = self.bins.iter().map(|bin| bin.2.max(0.0)).sum();
        if (1.0..1e4).contains(&number) || number <= 0.0 {
            format!("{number:.0}")
        } else if (1e4..1e15).contains(&number) {
            grouped(&format!("{number:.0}"))
        } else {
            format!("{number:.1e}")
        }
    }

    fn draw(&self, ground: &mut dyn Ground, frame: &Frame, row: &Area) {
        ground.open("ridge", &self.name);
        let (foot, height) = (row.bottom_mm(), row.height_mm - HEAD_MM);
        let tallest = self.bins.iter().map(|bin| bin.2).fold(0.0, f64::max);
        let mut skyline = vec![];
        for &(low, high, number) in &self.bins {
            let (Some(left), Some(right)) = (frame.right_mm(low), frame.right_mm(high)) else { continue };
            let tall = if tallest > 0.0 { height * narrow((number / tallest).max(0.0)) } else { 0.0 };
            let top = foot - tall;
            if tall > 0.0 {
                let split = self.limit.as_ref().and_then(|limit| frame.right_mm(limit.0));
                let split = split.map_or(left, |split| split.clamp(left, right));
                bin(ground, &Area::new(Place::new(left, top), split - left, tall), true);
                bin(ground, &Area::new(Place::new(split, top), right - split, tall), false);
            }
            if skyline.last().is_none_or(|last: &Place| (last.x_mm - left).abs() > 0.01) {
                skyline.extend(skyline.last().map(|last| Place::new(last.x_mm, foot)));
                skyline.push(Place::new(left, foot));
            }
            skyline.extend([Place::new(left, top), Place::new(right, top)]);
        }
        skyline.extend(skyline.last().map(|last| Place::new(last.x_mm, foot)));
        if skyline.len() > 1 {
            ground.line(&skyline, Stroke::whole(0.2, Ink::Grey));
        }
        ground.line(&[Place::new(row.corner.x_mm, foot), Place::new(row.right_mm(), foot)], THIN);
        ground.close();
        self.draw_limit(ground, frame, row);
    }

    fn draw_limit(&self, ground: &mut dyn Ground, frame: &Frame, row: &Area) {
        let Some((at, label)) = &self.limit else { return };
        let Some(right) = frame.right_mm(*at) else { return };
        ground.open("limit", &self.name);
        let top = row.corner.y_mm + 0.7;
        ground.line(&[Place::new(right, top), Place::new(right, row.bottom_mm())], LIMIT);
        let (before, after) = (right - row.corner.x_mm - 1.2, row.right_mm() - right - 1.2);
        let width = ground.faces().width_mm(label, LIMIT_NAME);
        let (room, off, align) = if width <= after || after >= before {
            (after, 1.2, Align::Left)
        } else {
            (before, -1.2, Align::Right)
        };
        let label = ground.faces().shorten(label, LIMIT_NAME, room);
        ground.text(Place::new(right + off, top + 2.5), &label, LIMIT_NAME, align);
        ground.close();
    }
}

fn bin(ground: &mut dyn Ground, area: &Area, below: bool) {
    if area.width_mm <= 0.0 {
        return;
    }
    ground.open(if below { "bin below" } else { "bin" }, "");
    ground.fill(area, if below { Ink::Mid } else { Ink::Light });
    if below {
        hatch(ground, area, Ink::Accent);
    }
    ground.close();
}

/// Draws rows of bins into an area. Rows for which there is no height are counted at the foot of the names.
pub(super) fn draw(ground: &mut dyn Ground, area: &Area, ridges: &[Ridge], label: &str) {
    let across = Scale::over(ridges.iter().flat_map(Ridge::values), 8);
    let numbers: Vec<String> = ridges.iter().map(Ridge::number).collect();
    let texts = ridges.iter().map(|ridge| ridge.name.as_str());
    let names_mm = widest(ground, texts, NAME).min(0.3 * area.width_mm);
    let names_mm = names_mm.max(widest(ground, numbers.iter().map(String::as_str), LABEL));
    let inner =
        Area::new(area.corner.by(names_mm + GAP_MM, 0.0), area.width_mm - names_mm - GAP_MM, area.height_mm);
    let bare = (Scale::over([0.0, 1.0].into_iter(), 1), Vec::new());
    let mut frame = Frame::fit(&*ground, &inner, (across, Tick::all(&across)), bare, 0.0);
    let height = frame.plot.height_mm;
    let fits = |rows: usize, more_mm: f32| count(rows) * ROW_MM.0 + more_mm <= height;
    let shown = if fits(ridges.len(), 0.0) {
        ridges.len()
    } else {
        (1..ridges.len()).rev().find(|&rows| fits(rows, NAME.leading_mm())).unwrap_or(1)
    };
    let more_mm = if shown < ridges.len() { NAME.leading_mm() } else { 0.0 };
    let row_mm = ((height - more_mm) / count(shown)).min(ROW_MM.1);
    // The texts of ticks may stand under the names.
    frame.reach_mm.0 = area.corner.x_mm;
    frame.plot.height_mm = row_mm * count(shown) + more_mm;
    frame.grid_across(ground, frame.plot.height_mm, label);
    let top = frame.plot.corner;
    for (number, (ridge, many)) in ridges.iter().zip(&numbers).take(shown).enumerate() {
        let row = Area::new(top.by(0.0, count(number) * row_mm), frame.plot.width_mm, row_mm);
        ridge.draw(ground, &frame, &row);
        let name = ground.faces().shorten(&ridge.name, NAME, names_mm);
        let beside = Place::new(area.corner.x_mm, row.bottom_mm() - LABEL.leading_mm() - 0.4);
        ground.text(beside, &name, NAME, Align::Left);
        ground.text(beside.by(0.0, LABEL.leading_mm() - 0.1), many, LABEL, Align::Left);
    }
    if shown < ridges.len() {
        let foot = Place::new(area.corner.x_mm, frame.plot.bottom_mm() - 0.3);
        ground.text(foot, &format!("and {} more", ridges.len() - shown), NAME, Align::Left);
    }
}
