//! The names of curves and bands: right of the plot, at the heights where these end.

use super::super::canvas::{Place, count};
use super::super::text::Align;
use super::frame::{Frame, HAIR, NAME};
use super::ground::{Ground, widest};

/// From the plot to the names, mm.
const GAP_MM: f32 = 3.0;

/// The column that names take, mm: none without a name, and never more than a third of the width.
pub(super) fn column_mm<'a>(
    ground: &dyn Ground,
    names: impl IntoIterator<Item = &'a str>,
    width_mm: f32,
) -> f32 {
    let name_mm = widest(ground, names, NAME).min(0.3 * width_mm);
    if name_mm > 0.0 { name_mm + GAP_MM } else { 0.0 }
}

/// Writes names beside the places where what they name ends, moved apart where they would touch. Where there are more than
/// the height holds, the last says how many more there are.
pub(super) fn draw(ground: &mut dyn Ground, frame: &Frame, column_mm: f32, mut named: Vec<(Place, &str)>) {
    named.sort_by(|one, other| one.0.y_mm.total_cmp(&other.0.y_mm));
    let step = NAME.leading_mm();
    let (top, bottom) = (frame.plot.corner.y_mm + 0.6, frame.plot.bottom_mm() - 0.6);
    let room = (1..=named.len()).rev().find(|&names| count(names - 1) * step <= bottom - top).unwrap_or(1);
    let mut rows: Vec<(f32, Option<Place>, String)> =
        named.iter().map(|(end, name)| (end.y_mm, Some(*end), (*name).to_owned())).collect();
    if rows.len() > room {
        let more = rows.split_off(room.saturating_sub(1));
        rows.push((bottom, None, format!("and {} more", more.len())));
    }
    let mut free = top;
    for (height, ..) in &mut rows {
        *height = height.max(free);
        free = *height + step;
    }
    // What was pushed below the foot goes up again, as one pile.
    let mut most = bottom;
    for (height, ..) in rows.iter_mut().rev() {
        *height = height.min(most);
        most = *height - step;
    }
    let from = frame.plot.right_mm() + GAP_MM - 1.0;
    for (height, end, name) in rows {
        if let Some(end) = end {
            ground.line(&[end, Place::new(from - 0.5, height)], HAIR);
        }
        let name = ground.faces().shorten(&name, NAME, column_mm - GAP_MM);
        ground.text(Place::new(from, height + 1.06), &name, NAME, Align::Left);
    }
}
