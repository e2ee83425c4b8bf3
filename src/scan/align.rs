//! Where exactly the modules of a symbol lie.
//!
//! A rough map is made exact by prediction: what the symbol should look like under the map is compared with the picture, and the
//! map is moved and bent until both agree (Lucas and Kanade, "An iterative image registration technique", IJCAI 1981; from
//! memory). The template is the symbol itself: what every symbol of its size shows, and, for all other modules, how dark or
//! light each seems under the map of the moment, believed only as far as it is clear. Every edge between two modules says
//! where it lies, so some hundred edges hold sixteen numbers: for each direction on the picture a polynomial of the third degree in the
//! module's column and row, without the mixed terms above the second.
#![expect(
    clippy::indexing_slicing,
    clippy::as_conversions,
    clippy::cast_precision_loss,
    reason = "loops over a lattice whose side follows from the symbol's"
)]

use image::GrayImage;
use nalgebra::{SMatrix, SVector};

use super::equal;
use super::kernel;
use super::lattice::{Lattice, Levels, decided, levels, predicted};
use super::matrix::Text;
use super::model::{Model, TERMS, Views};
use super::picture::Point;

/// Numbers that are fitted: the terms of both directions.
const FREE: usize = 2 * TERMS;
/// How far each term is expected to go, modules: the first three (shift and size) anywhere.
const EXPECTED: [f64; TERMS] = [1e3, 1e3, 1e3, 0.6, 1.5, 1.5, 0.6, 0.6];
/// Agreement with what a symbol should look like from which it is worth decoding.
const WORTH_DECODING: f32 = 0.6;
/// The same, from which the first rounds are worth the others.
const WORTH_GOING_ON: f32 = 0.45;
/// Rounds, and how softly modules are decided in them: at first only what is known counts for much.
const ROUNDS: [(usize, f32); 2] = [(9, 4.0), (6, 1.0)];
/// Rounds that may help where the others did not do: decided more boldly.
const BOLD: [(usize, f32); 1] = [(10, 0.5)];
/// How much the slope of what is seen counts beside that of what is predicted.
const SEEN_SLOPE: f32 = 0.15;
/// The farthest that one round moves anything, and the movement that ends the fit, modules.
const FARTHEST: f32 = 0.6;
const STILL: f32 = 0.02;

/// Weighted sums of powers over the lattice, from which the normal equations are put together.
#[derive(Default)]
struct Moments {
    /// For the squares of both slopes and their product: powers of column and row up to six.
    square: [[[f64; 7]; 7]; 3],
    /// For what is off: powers up to three.
    off: [[[f64; 4]; 4]; 2],
}

/// The powers of column and row in each term.
const POWERS: [(usize, usize); TERMS] = [(0, 0), (1, 0), (0, 1), (1, 1), (2, 0), (0, 2), (3, 0), (0, 3)];

impl Moments {
    fn equations(&self) -> (SMatrix<f64, FREE, FREE>, SVector<f64, FREE>) {
        let (mut matrix, mut right) = (SMatrix::zeros(), SVector::zeros());
        for (i, &(ai, bi)) in POWERS.iter().enumerate() {
            for (j, &(aj, bj)) in POWERS.iter().enumerate() {
                let [xx, xy, yy] = [0, 1, 2].map(|kind: usize| self.square[kind][ai + aj][bi + bj]);
                matrix[(i, j)] = xx;
                matrix[(i, TERMS + j)] = xy;
                matrix[(TERMS + i, j)] = xy;
                matrix[(TERMS + i, TERMS + j)] = yy;
            }
            right[i] = self.off[0][ai][bi];
            right[TERMS + i] = self.off[1][ai][bi];
        }
        (matrix, right)
    }
}

/// One round: how the terms should change.
fn step(
    lattice: &Lattice,
    places: &[Point],
    predicted: &[f32],
    seen: &[f32],
    levels: &Levels,
) -> (Moments, f64) {
    let side = lattice.side;
    let off: Vec<f32> =
        (0..seen.len()).map(|at| (seen[at] - levels.middle[at]) / levels.half[at] - predicted[at]).collect();
    let usual = 1.2 * off.iter().map(|off| off.abs()).sum::<f32>() / off.len() as f32 + 1e-3;
    let mut moments = Moments::default();
    for y in 0..side {
        let (above, below) = (y.saturating_sub(1), (y + 1).min(side - 1));
        // Sums along this row by powers of the column.
        let (mut square, mut right) = ([[0.0_f32; 7]; 3], [[0.0_f32; 4]; 2]);
        for x in 0..side {
            let (before, after) = (x.saturating_sub(1), (x + 1).min(side - 1));
            let at = y * side + x;
            let (left, next) = (y * side + before, y * side + after);
            let (up, down) = (above * side + x, below * side + x);
            // Changes a module, across and down: of what is predicted, and of the place.
            let (wide, high) = (2.0 / (after - before) as f32, 2.0 / (below - above) as f32);
            // A little of the slope of what is beside that of what should be: that brings the fit in from farther away.
            let half = levels.half[at];
            let both = |from: usize, to: usize| {
                (1.0 - SEEN_SLOPE) * (predicted[to] - predicted[from])
                    + SEEN_SLOPE * (seen[to] - seen[from]) / half
            };
            let (across, downwards) = (both(left, next) * wide, both(up, down) * high);
            if across.abs() + downwards.abs() < 0.05 {
                continue;
            }
            let (ux, uy) =
                ((places[next].x - places[left].x) * wide, (places[next].y - places[left].y) * wide);
            let (vx, vy) = ((places[down].x - places[up].x) * high, (places[down].y - places[up].y) * high);
            let area = ux * vy - uy * vx;
            if area.abs() < 1e-3 {
                continue;
            }
            let (gx, gy) = ((across * vy - downwards * uy) / area, (downwards * ux - across * vx) / area);
            let off = off[at];
            let weight = 1.0 / (1.0 + (off / (2.0 * usual)).powi(2));
            let mut values = [weight * gx * gx, weight * gx * gy, weight * gy * gy];
            let mut rest = [-weight * gx * off, -weight * gy * off];
            let a = lattice.along[x];
            for power in 0..7 {
                for (sums, value) in square.iter_mut().zip(&mut values) {
                    sums[power] += *value;
                    *value *= a;
                }
                if power < 4 {
                    for (sums, value) in right.iter_mut().zip(&mut rest) {
                        sums[power] += *value;
                        *value *= a;
                    }
                }
            }
        }
        let mut b = 1.0_f64;
        for power in 0..7 {
            for (sums, row) in moments.square.iter_mut().zip(&square) {
                for (sum, &value) in sums.iter_mut().zip(row) {
                    sum[power] += f64::from(value) * b;
                }
            }
            if power < 4 {
                for (sums, row) in moments.off.iter_mut().zip(&right) {
                    for (sum, &value) in sums.iter_mut().zip(row) {
                        sum[power] += f64::from(value) * b;
                    }
                }
            }
            b *= f64::from(lattice.along[y]);
        }
    }
    (moments, f64::from(usual))
}

/// The correlation of what is seen, level by level, with what is predicted.
fn agreement(predicted: &[f32], seen: &[f32], levels: &Levels) -> f32 {
    let count = seen.len() as f32;
    let (mut sums, mut squares, mut both) = ([0.0_f32; 2], [0.0_f32; 2], 0.0_f32);
    for (at, &predicted) in predicted.iter().enumerate() {
        let seen = ((seen[at] - levels.middle[at]) / levels.half[at]).clamp(-3.0, 3.0);
        sums = [sums[0] + predicted, sums[1] + seen];
        squares = [squares[0] + predicted * predicted, squares[1] + seen * seen];
        both += predicted * seen;
    }
    let spread = |k: usize| (squares[k] / count - (sums[k] / count).powi(2)).max(1e-6).sqrt();
    (both / count - sums[0] * sums[1] / (count * count)) / (spread(0) * spread(1))
}

/// Where alignment has begun in a picture: what begins at nearly the same place comes to the same end.
#[derive(Debug, Default)]
pub(super) struct Starts(Vec<Model>);

impl Starts {
    /// Whether a start is nowhere nearer to an earlier one than so many pixels; it is remembered.
    pub(super) fn is_new(&mut self, model: &Model, reach: f32) -> bool {
        let near = |old: &Model| {
            old.modules == model.modules
                && old.finders().iter().zip(model.finders()).all(|(old, new)| old.distance(new) < reach)
        };
        let new = !self.0.iter().any(near);
        if new {
            self.0.push(*model);
        }
        new
    }
}

/// How well a symbol's map agrees with the picture in the end.
#[derive(Debug, Default)]
struct Aligned {
    /// 0 not at all, 1 in full.
    agreed: f32,
    /// How light each module is, freed of its neighbours (see `equal`); empty when it does not agree well enough.
    light: Vec<f32>,
}

/// Aligns a symbol's map and reads it: how well it agrees with the picture, and the text.
pub(super) fn read(model: &mut Model, views: Views<'_>, module: f32) -> (f32, Option<Text>) {
    let mut agreed = 0.0;
    for rounds in [&ROUNDS[..], &BOLD[..]] {
        let aligned = align(model, views.grey, module, rounds);
        agreed = aligned.agreed;
        if agreed < WORTH_DECODING {
            break;
        }
        if let Some(text) = model.decode(views, &aligned.light) {
            return (agreed, Some(text));
        }
    }
    (agreed, None)
}

/// Moves and bends a symbol's map until it agrees with the picture.
fn align(model: &mut Model, grey: &GrayImage, module: f32, rounds: &[(usize, f32)]) -> Aligned {
    let lattice = Lattice::of(model);
    let mut known: Option<Levels> = None;
    let mut aligned = Aligned::default();
    for &(times, soft) in rounds {
        for _ in 0..times {
            let places = lattice.places(&model.bend);
            let seen: Vec<f32> = places.iter().map(|&at| kernel::sample_part(grey, at, module)).collect();
            let decided = decided(&seen, &lattice, known.as_ref(), soft);
            let predicted = predicted(&decided, &lattice);
            let levels = levels(&seen, &predicted, lattice.side);
            let (moments, usual) = step(&lattice, &places, &predicted, &seen, &levels);
            aligned.agreed = agreement(&predicted, &seen, &levels);
            known = Some(levels);
            let (mut matrix, mut right) = moments.equations();
            for free in 0..FREE {
                let (direction, term) = (free / TERMS, free % TERMS);
                let cost = (usual / (EXPECTED[term] * f64::from(module))).powi(2);
                matrix[(free, free)] += cost + 1e-9;
                right[free] -= cost * f64::from(model.bend[direction][term]);
            }
            let Some(change) = matrix.cholesky().map(|whole| whole.solve(&right)) else { return aligned };
            let moved = moved(&change, module);
            let share = f64::from((FARTHEST / moved.max(1e-6)).min(1.0));
            for free in 0..FREE {
                model.bend[free / TERMS][free % TERMS] += narrowed(change[free] * share);
            }
            if moved <= STILL {
                break;
            }
        }
        if aligned.agreed < WORTH_GOING_ON {
            return aligned;
        }
    }
    if let Some(levels) = known {
        let places = lattice.places(&model.bend);
        let seen: Vec<f32> = places.iter().map(|&at| kernel::sample_part(grey, at, module)).collect();
        aligned.light = equal::equalised(&seen, &lattice, &levels);
    }
    aligned
}

/// The farthest that a change moves a corner or a middle, modules.
fn moved(change: &SVector<f64, FREE>, module: f32) -> f32 {
    let mut farthest = 0.0_f64;
    for a in [-1.0_f64, 0.0, 1.0] {
        for b in [-1.0_f64, 0.0, 1.0] {
            let sum = |direction: usize| -> f64 {
                POWERS
                    .iter()
                    .enumerate()
                    .map(|(term, &(ai, bi))| {
                        let power = |at: f64, to: usize| (0..to).fold(1.0, |product, _| product * at);
                        change[direction * TERMS + term] * power(a, ai) * power(b, bi)
                    })
                    .sum()
            };
            farthest = farthest.max(sum(0).hypot(sum(1)));
        }
    }
    narrowed(farthest) / module
}

#[expect(clippy::cast_possible_truncation, reason = "pixels")]
const fn narrowed(value: f64) -> f32 {
    value as f32
}

#[cfg(test)]
mod tests {
    use image::Luma;
    use qrcodegen::{QrCode, QrCodeEcc, QrSegment, Version};

    use super::*;

    /// A symbol whose module (u, v) lies at 30 + 4u, 30 + 4v, bowed downwards by so much in the middle of its width, a little blurred
    /// as through any lens.
    fn bowed(code: &QrCode, bow: f32) -> GrayImage {
        let n = code.size();
        let sharp = GrayImage::from_fn(150, 150, |x, y| {
            let mut sum = 0.0;
            for (sub_x, sub_y) in [(0.25, 0.25), (0.75, 0.25), (0.25, 0.75), (0.75, 0.75)] {
                let u = (x as f32 + sub_x - 30.0) / 4.0;
                let from_middle = 2.0 * u / n as f32 - 1.0;
                let v = (y as f32 + sub_y - 30.0 - bow * (1.0 - from_middle * from_middle)) / 4.0;
                #[expect(clippy::cast_possible_truncation, reason = "a module")]
                let (column, row) = (u.floor() as i32, v.floor() as i32);
                sum += if code.get_module(column, row) { 40.0 } else { 200.0 };
            }
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a grey value")]
            Luma([(sum / 4.0) as u8])
        });
        image::imageops::blur(&sharp, 1.2)
    }

    /// A guess that is flat and off by up to half a module comes to lie where the symbol does, bowed as it is.
    #[test]
    fn a_flat_guess_comes_to_lie_on_a_bowed_symbol() {
        let segments = QrSegment::make_segments("P7K3Q9M2DXWT8");
        let version = Version::new(1);
        let code =
            QrCode::encode_segments_advanced(&segments, QrCodeEcc::Quartile, version, version, None, false)
                .unwrap();
        let grey = bowed(&code, 6.0);
        let truth = |u: f32, v: f32| {
            let from_middle = 2.0 * u / 21.0 - 1.0;
            Point { x: 30.0 + 4.0 * u, y: 30.0 + 4.0 * v + 6.0 * (1.0 - from_middle * from_middle) }
        };
        let off = |point: Point, dx: f32, dy: f32| Point { x: point.x + dx, y: point.y + dy };
        let three = [
            off(truth(3.5, 3.5), 1.5, -1.0),
            off(truth(17.5, 3.5), -1.0, 1.5),
            off(truth(3.5, 17.5), 0.5, 1.8),
        ];
        let mut model = Model::flat(three, 21);
        let aligned = align(&mut model, &grey, 4.0, &ROUNDS);
        assert!(aligned.agreed > 0.9, "{}", aligned.agreed);
        let map = model.map();
        for (u, v) in [(0.0, 0.0), (10.5, 0.0), (21.0, 0.0), (10.5, 10.5), (0.0, 21.0), (21.0, 21.0)] {
            let (at, meant) = (map.pixel(u, v), truth(u, v));
            assert!(at.distance(meant) < 0.8, "{u} {v}: {at:?} for {meant:?}");
        }
        let dark = aligned.light.iter().map(|&light| light < 0.0);
        let meant = (0..21 * 21).map(|place| code.get_module(place % 21, place / 21));
        assert!(dark.eq(meant));
    }

    /// Noise agrees with no symbol.
    #[test]
    fn noise_does_not_agree() {
        use rand::{RngExt, SeedableRng};
        let mut random = rand_chacha::ChaCha12Rng::seed_from_u64(4);
        let grey = GrayImage::from_fn(150, 150, |_, _| Luma([random.random_range(20..235)]));
        for left in [30.0, 40.0, 50.0] {
            let at = |u: f32, v: f32| Point { x: left + 4.0 * u, y: left + 4.0 * v };
            let mut model = Model::flat([at(3.5, 3.5), at(17.5, 3.5), at(3.5, 17.5)], 21);
            let agreed = align(&mut model, &grey, 4.0, &ROUNDS).agreed;
            assert!(agreed < WORTH_DECODING, "{agreed}");
        }
    }
}
