//! How a finder pattern lies: its middle, and which way and how far a module goes along its two sides.
//!
//! A finder pattern that was met along rows of pixels is held against what every finder looks like, seven modules a side and light
//! around them; first turned and stretched in a few ways, then moved until it agrees with the picture (Lucas and Kanade, IJCAI
//! 1981; from memory). What merely has the right runs of dark and light along one line does not come near, so this is
//! also the judge of what a finder pattern is.
#![expect(
    clippy::indexing_slicing,
    clippy::as_conversions,
    clippy::cast_precision_loss,
    reason = "loops over a lattice of fixed size"
)]

use std::f32::consts::FRAC_PI_2;
use std::sync::LazyLock;

use image::GrayImage;
use nalgebra::{Matrix6, Vector6};

use super::kernel::{self, Finder};
use super::picture::Point;

/// Agreement from which something is taken for a finder pattern.
pub(super) const FAIR: f32 = 0.55;
/// Agreement from which it surely is one.
pub(super) const CLEAR: f32 = 0.65;
/// The least that one of the first guesses must agree.
const WORTH_FITTING: f32 = 0.25;
const ROUNDS: usize = 10;
/// After so many rounds it must agree by so much to go on.
const EARLY: usize = 3;
const WORTH_GOING_ON: f32 = 0.4;
/// Modules a side with the light ring, and places a side: in the middles of modules and half way between them.
const MODULES: usize = 9;
const SIDE: usize = 2 * MODULES - 1;
/// Share of a neighbour that blur puts into a module.
const BLUR: f32 = 0.15;
/// How many ways of turning are tried within a quarter, and the stretches along both sides.
const TURNS: u8 = 6;
const STRETCHES: [(f32, f32); 3] = [(1.0, 1.0), (1.15, 0.75), (0.75, 1.15)];
/// The farthest that one round moves anything, and the movement that ends the fit, modules.
const FARTHEST: f32 = 0.5;
const STILL: f32 = 0.03;

/// What a finder shows at every place, 1 light and -1 dark, less its mean; how it changes a module to the right; and the sum of its
/// squares. It is the same downwards.
struct Template {
    shown: Vec<f32>,
    across: Vec<f32>,
    square: f32,
}

static TEMPLATE: LazyLock<Template> = LazyLock::new(|| {
    let module = |x: usize, y: usize| -> f32 {
        match x.abs_diff(4).max(y.abs_diff(4)) {
            2 | 4.. => 1.0,
            _ => -1.0,
        }
    };
    let side = |at: usize| [at.saturating_sub(1), at, (at + 1).min(MODULES - 1)];
    let blurred = |x: usize, y: usize| -> f32 {
        let weights = [BLUR, 1.0 - 2.0 * BLUR, BLUR];
        let row = |y: usize| side(x).iter().zip(weights).map(|(&x, w)| w * module(x, y)).sum::<f32>();
        side(y).iter().zip(weights).map(|(&y, w)| w * row(y)).sum()
    };
    let mut shown: Vec<f32> = (0..SIDE * SIDE)
        .map(|place| {
            let (x, y) = (place % SIDE, place / SIDE);
            let row = |y: usize| f32::midpoint(blurred(x / 2, y), blurred(x.div_ceil(2), y));
            f32::midpoint(row(y / 2), row(y.div_ceil(2)))
        })
        .collect();
    let mean = shown.iter().sum::<f32>() / shown.len() as f32;
    for value in &mut shown {
        *value -= mean;
    }
    let across = (0..SIDE * SIDE)
        .map(|place| match place % SIDE {
            0 => 0.0,
            x if x == SIDE - 1 => 0.0,
            _ => shown[place + 1] - shown[place - 1],
        })
        .collect();
    let square = shown.iter().map(|value| value * value).sum();
    Template { shown, across, square }
});

/// How a finder pattern lies.
#[derive(Debug, Clone, Copy)]
pub(super) struct Frame {
    /// Its middle, pixels.
    pub(super) at: Point,
    /// A module's way along one side and along the next, clockwise, pixels.
    pub(super) axes: [Point; 2],
    /// How well it agrees with what a finder looks like: 0 not at all, 1 in full.
    pub(super) agreed: f32,
}

/// A module's way, by a frame, in a wanted direction: along it, and at a right angle to it, clockwise.
#[derive(Debug, Clone, Copy)]
pub(super) struct Way {
    pub(super) along: Point,
    pub(super) aside: Point,
}

impl Frame {
    /// A module's side: the root of its area, pixels.
    pub(super) fn module(&self) -> f32 {
        let [u, v] = self.axes;
        (u.x * v.y - u.y * v.x).abs().sqrt()
    }

    /// The four ways in which the frame may stand.
    pub(super) fn ways(&self) -> [Way; 4] {
        let [u, v] = self.axes;
        let back = |p: Point| Point { x: -p.x, y: -p.y };
        [(u, v), (v, back(u)), (back(u), back(v)), (back(v), u)].map(|(along, aside)| Way { along, aside })
    }

    /// The way that goes most nearly in a direction.
    pub(super) fn towards(&self, to: Point) -> Way {
        let nearness =
            |way: &Way| (way.along.x * to.x + way.along.y * to.y) / way.along.x.hypot(way.along.y).max(1e-3);
        let [mut best, others @ ..] = self.ways();
        for way in others {
            if nearness(&way) > nearness(&best) {
                best = way;
            }
        }
        best
    }

    /// The same in a picture so many times as large.
    pub(super) fn scaled(&self, scale: f32) -> Self {
        let larger = |p: Point| Point { x: p.x * scale, y: p.y * scale };
        Self { at: larger(self.at), axes: self.axes.map(larger), agreed: self.agreed }
    }
}

/// A frame being fitted.
pub(super) struct Fit<'a> {
    pub(super) grey: &'a GrayImage,
    pub(super) at: Point,
    pub(super) axes: [Point; 2],
}

/// The coordinate of a place along a side, modules from the middle.
fn module(place: usize) -> f32 {
    place as f32 / 2.0 - 4.0
}

impl Fit<'_> {
    fn place(&self, u: f32, v: f32) -> Point {
        let [across, down] = self.axes;
        Point { x: self.at.x + u * across.x + v * down.x, y: self.at.y + u * across.y + v * down.y }
    }

    /// By how much the ring between is lighter than the rings, at nine places: a glance before a look.
    pub(super) fn glance(&self) -> f32 {
        let seen = |u: f32, v: f32| {
            let at = self.place(u, v);
            kernel::sample(self.grey, at.x, at.y)
        };
        let ring = |r: f32| seen(r, 0.0) + seen(-r, 0.0) + seen(0.0, r) + seen(0.0, -r);
        ring(2.0) / 4.0 - (seen(0.0, 0.0) + ring(3.0)) / 5.0
    }

    /// The correlation at the middles of the modules alone.
    pub(super) fn roughly(&self) -> f32 {
        let template = &*TEMPLATE;
        let (mut sum, mut square, mut both, mut shown_sum, mut shown_square) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for y in (0..SIDE).step_by(2) {
            for x in (0..SIDE).step_by(2) {
                let at = self.place(module(x), module(y));
                let (seen, shown) = (kernel::sample(self.grey, at.x, at.y), template.shown[y * SIDE + x]);
                sum += seen;
                square += seen * seen;
                both += seen * shown;
                shown_sum += shown;
                shown_square += shown * shown;
            }
        }
        let count = (MODULES * MODULES) as f32;
        let spread =
            (square / count - (sum / count).powi(2)) * (shown_square / count - (shown_sum / count).powi(2));
        (both / count - sum * shown_sum / (count * count)) / spread.max(1e-3).sqrt()
    }

    /// What is seen at every place, less its mean and its even slope; and how far it goes with the template.
    fn seen(&self) -> (Vec<f32>, f32) {
        let template = &*TEMPLATE;
        let [across, down] = self.axes;
        let size = across.x.hypot(across.y).min(down.x.hypot(down.y));
        let mut seen = Vec::with_capacity(SIDE * SIDE);
        let (mut sum, mut tilt) = (0.0, [0.0_f32; 2]);
        for y in 0..SIDE {
            for x in 0..SIDE {
                let (u, v) = (module(x), module(y));
                let at = self.place(u, v);
                let value = kernel::sample_part(self.grey, at, size);
                sum += value;
                tilt = [tilt[0] + u * value, tilt[1] + v * value];
                seen.push(value);
            }
        }
        let mean = sum / seen.len() as f32;
        let squares: f32 = (0..SIDE).map(|x| module(x).powi(2)).sum::<f32>() * SIDE as f32;
        let mut both = 0.0;
        for (place, value) in seen.iter_mut().enumerate() {
            let (u, v) = (module(place % SIDE), module(place / SIDE));
            *value -= mean + (tilt[0] * u + tilt[1] * v) / squares;
            both += *value * template.shown[place];
        }
        (seen, both)
    }

    /// One round: how far it moved anything, modules, and how well it agreed before; `None` when the equations cannot be solved.
    fn step(&mut self) -> Option<(f32, f32)> {
        let template = &*TEMPLATE;
        let (seen, both) = self.seen();
        let square = square(&seen);
        let agreed = both / (square * template.square).max(1e-3).sqrt();
        let spread = (square / seen.len() as f32).sqrt();
        let half = (both / template.square).max(0.6 * spread).max(1.0);
        let off: Vec<f32> =
            seen.iter().zip(&template.shown).map(|(seen, shown)| seen / half - shown).collect();
        let usual = 1.2 * off.iter().map(|off| off.abs()).sum::<f32>() / off.len() as f32 + 1e-3;
        let [across, down] = self.axes;
        let area = across.x * down.y - across.y * down.x;
        if area.abs() < 0.2 {
            return None;
        }
        let (mut matrix, mut right) = (Matrix6::<f32>::identity() * 1e-4, Vector6::<f32>::zeros());
        for (place, &off) in off.iter().enumerate() {
            let (x, y) = (place % SIDE, place / SIDE);
            // Slopes of what should be and of what is, by halves: that brings the fit in from farther away.
            let slope = |at: usize, before: usize, after: usize, template: f32| {
                let (before, after) = (seen[at - before], seen[at + after]);
                f32::midpoint(template, (after - before) / half)
            };
            let to_right = if x % (SIDE - 1) == 0 { 0.0 } else { slope(place, 1, 1, template.across[place]) };
            let downwards = if y % (SIDE - 1) == 0 {
                0.0
            } else {
                slope(place, SIDE, SIDE, template.across[x * SIDE + y])
            };
            if to_right.abs() + downwards.abs() < 0.05 {
                continue;
            }
            let (gx, gy) = (
                (to_right * down.y - downwards * across.y) / area,
                (downwards * across.x - to_right * down.x) / area,
            );
            let weight = 1.0 / (1.0 + (off / (2.0 * usual)).powi(2));
            let (u, v) = (module(x), module(y));
            let row = Vector6::new(gx, gy, gx * u, gx * v, gy * u, gy * v);
            matrix.syger(weight, &row, &row, 1.0);
            right.axpy(-weight * off, &row, 1.0);
        }
        let change = matrix.cholesky()?.solve(&right);
        let edge = MODULES as f32 / 2.0 - 1.0;
        let far = (change[0].abs() + edge * (change[2].abs() + change[3].abs()))
            .hypot(change[1].abs() + edge * (change[4].abs() + change[5].abs()))
            / area.abs().sqrt();
        let share = (FARTHEST / far.max(1e-6)).min(1.0);
        let part = |k: usize| change[k] * share;
        self.at = Point { x: self.at.x + part(0), y: self.at.y + part(1) };
        self.axes = [
            Point { x: across.x + part(2), y: across.y + part(4) },
            Point { x: down.x + part(3), y: down.y + part(5) },
        ];
        Some((far, agreed))
    }
}

/// Fits a frame to what was met along rows; `None` when it is no finder pattern.
pub(super) fn fit(grey: &GrayImage, finder: &Finder) -> Option<Frame> {
    let at = Point { x: finder.x, y: finder.y };
    let mut best: Option<(f32, [Point; 2])> = None;
    for turn in 0..TURNS {
        let (sin, cos) = (f32::from(turn) * FRAC_PI_2 / f32::from(TURNS)).sin_cos();
        let module = finder.span / 7.0 * sin.abs().max(cos.abs());
        for (wide, high) in STRETCHES {
            let axes = [
                Point { x: cos * module * wide, y: sin * module * wide },
                Point { x: -sin * module * high, y: cos * module * high },
            ];
            let agreed = Fit { grey, at, axes }.roughly();
            if best.is_none_or(|(old, _)| agreed > old) {
                best = Some((agreed, axes));
            }
        }
    }
    let (_, axes) = best.filter(|&(agreed, _)| agreed >= WORTH_FITTING)?;
    fitted(Fit { grey, at, axes }, finder.span / 7.0)
}

fn square(values: &[f32]) -> f32 {
    values.iter().map(|value| value * value).sum()
}

/// Moves a frame until it agrees with the picture; `None` when it does not come to look like a finder pattern about where it began,
/// with modules about as large as expected.
pub(super) fn fitted(mut fit: Fit<'_>, module: f32) -> Option<Frame> {
    let began = fit.at;
    for round in 0..ROUNDS {
        let (moved, agreed) = fit.step()?;
        if moved < STILL {
            break;
        }
        if round >= EARLY && agreed < WORTH_GOING_ON {
            return None;
        }
    }
    let (seen, both) = fit.seen();
    let agreed = both / (square(&seen) * TEMPLATE.square).max(1e-3).sqrt();
    let [u, v] = fit.axes;
    let open = u.x * v.y - u.y * v.x > 0.3 * u.x.hypot(u.y) * v.x.hypot(v.y);
    let sane = [u, v].iter().all(|side| (0.3..2.0).contains(&(side.x.hypot(side.y) / module)))
        && fit.at.distance(began) < 2.0 * module;
    (agreed >= FAIR && open && sane).then_some(Frame { at: fit.at, axes: fit.axes, agreed })
}

#[cfg(test)]
mod tests {
    use image::Luma;

    use super::*;

    /// A finder drawn with module ways of our choice, a little blurred as through any lens.
    fn drawn(at: Point, [u, v]: [Point; 2]) -> GrayImage {
        let area = u.x * v.y - u.y * v.x;
        let sharp = GrayImage::from_fn(80, 80, |x, y| {
            let mut sum = 0.0;
            for (sub_x, sub_y) in [(0.25, 0.25), (0.75, 0.25), (0.25, 0.75), (0.75, 0.75)] {
                let (dx, dy) = (x as f32 + sub_x - at.x, y as f32 + sub_y - at.y);
                let a = (dx * v.y - dy * v.x) / area;
                let b = (dy * u.x - dx * u.y) / area;
                let ring = a.abs().max(b.abs());
                sum += if ring < 1.5 || (2.5..3.5).contains(&ring) { 40.0 } else { 200.0 };
            }
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a grey value")]
            Luma([(sum / 4.0) as u8])
        });
        image::imageops::blur(&sharp, 1.2)
    }

    #[test]
    fn a_finder_that_leans_is_measured() {
        for turn in [0.0_f32, 0.3, 0.7, 1.2] {
            for lean in [1.0_f32, 0.6] {
                let (sin, cos) = turn.sin_cos();
                let axes = [
                    Point { x: 4.0 * cos, y: 4.0 * sin },
                    Point { x: -4.0 * lean * sin, y: 4.0 * lean * cos },
                ];
                let middle = Point { x: 40.3, y: 39.6 };
                let finder = Finder { x: 41.0, y: 39.0, span: 27.0, rows: 9 };
                let frame = fit(&drawn(middle, axes), &finder).unwrap();
                assert!(frame.agreed > 0.9, "{turn} {lean}: {}", frame.agreed);
                // A tenth of a module.
                assert!(frame.at.distance(middle) < 0.4, "{:?}", frame.at);
                let way = frame.towards(axes[0]);
                assert!(way.along.distance(axes[0]) < 0.2, "{turn} {lean}: {way:?}");
                assert!(way.aside.distance(axes[1]) < 0.2, "{turn} {lean}: {way:?}");
            }
        }
    }

    #[test]
    fn stripes_are_no_finder() {
        let stripes = GrayImage::from_fn(80, 80, |x, _| Luma([if x / 4 % 2 == 0 { 40 } else { 200 }]));
        assert!(fit(&stripes, &Finder { x: 40.0, y: 40.0, span: 28.0, rows: 9 }).is_none());
    }
}
