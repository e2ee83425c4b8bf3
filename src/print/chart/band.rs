//! Bands between a low and a high value: how sure a forecast is.

use super::super::canvas::{Ink, Place};
use super::frame::{Frame, THIN};
use super::ground::Ground;
use super::scale::is_number;

/// A band along the axis across.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    pub(super) name: String,
    edges: Vec<(f64, f64, f64)>,
}

impl Band {
    /// A band from its edges (across, low, high) with a name, which may be empty. Edges that are no numbers break it.
    pub fn new(name: impl Into<String>, edges: Vec<(f64, f64, f64)>) -> Self {
        let upright = |(x, one, other): (f64, f64, f64)| (x, one.min(other), one.max(other));
        // A missing edge breaks the band: the lesser of a value and none would be the value.
        let sound = |edge: (f64, f64, f64)| {
            if edge.1.is_nan() || edge.2.is_nan() { (f64::NAN, f64::NAN, f64::NAN) } else { upright(edge) }
        };
        Self { name: name.into(), edges: edges.into_iter().map(sound).collect() }
    }

    /// The corners of the band, for the axes.
    pub(super) fn corners(&self) -> impl Iterator<Item = (f64, f64)> {
        self.edges.iter().flat_map(|&(x, low, high)| [(x, low), (x, high)])
    }

    /// The mean width of the band.
    fn width(&self) -> f64 {
        let widths: Vec<f64> =
            self.edges.iter().map(|(_, low, high)| high - low).filter(|&width| is_number(width)).collect();
        let number = f64::from(u32::try_from(widths.len()).unwrap_or(u32::MAX));
        widths.iter().map(|width| width / number.max(1.0)).sum()
    }

    /// The lower and the upper edge, in pieces without gaps.
    pub(super) fn runs(&self, frame: &Frame) -> Vec<(Vec<Place>, Vec<Place>)> {
        let places: Vec<Option<(Place, Place)>> = self
            .edges
            .iter()
            .map(|&(x, low, high)| Some((frame.place((x, low))?, frame.place((x, high))?)))
            .collect();
        places
            .split(Option::is_none)
            .filter(|run| !run.is_empty())
            .map(|run| run.iter().copied().flatten().unzip())
            .collect()
    }

    fn draw(&self, ground: &mut dyn Ground, frame: &Frame, ink: Ink) {
        ground.open("band", &self.name);
        for (low, high) in self.runs(frame) {
            if let (&[foot], &[head]) = (low.as_slice(), high.as_slice()) {
                ground.line(&[foot, head], THIN);
                continue;
            }
            let around: Vec<Place> = low.iter().chain(high.iter().rev()).copied().collect();
            ground.shape(&around, ink);
            ground.line(&low, THIN);
            ground.line(&high, THIN);
        }
        ground.close();
    }
}

/// Draws bands, the widest first, so that narrower ones lie on top of it.
pub(super) fn draw(ground: &mut dyn Ground, frame: &Frame, bands: &[Band]) {
    let mut order: Vec<&Band> = bands.iter().collect();
    order.sort_by(|one, other| other.width().total_cmp(&one.width()));
    let inks = match bands.len() {
        0 | 1 => [Ink::Light; 3],
        _ => [Ink::Mid, Ink::Light, Ink::Tint],
    };
    for (within, band) in order.iter().rev().enumerate().rev() {
        band.draw(ground, frame, inks.get(within).copied().unwrap_or(Ink::Tint));
    }
}
