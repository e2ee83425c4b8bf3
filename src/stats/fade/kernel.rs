//! Loops over all readings: what one evaluation of the mixed model's criterion needs, pack by pack.
//!
//! A pack has a line `b = (level, slope)` around its group's, with `b ~ N(0, s2 T)`. Given the spreads, packs are eliminated one by
//! one in 2 by 2 blocks; what is left is one dense system of slots, fixed effects and the data column. With `A = Z'WZ` of
//! a pack and `V` the columns `Z'W[slots, fixed, y]`, the pack takes `V' K V` off the system, `K = (I + T A)^-1 T`, and adds
//! `ln |I + T A|` to the criterion (Henderson's equations, block elimination as in Bates et al., "Fitting linear mixed-effects
//! models using lme4", JSS 67(1), 2015, section 3).
#![expect(
    clippy::indexing_slicing,
    clippy::as_conversions,
    reason = "loops over millions of readings, with bounds taken from the readings' own counts"
)]

use std::ops::Range;

use super::{NO_SLOT, Readings};

/// Pieces that the packs are cut into; fixed, so that sums are the same whatever the number of threads.
pub(super) const PIECES: usize = 16;

/// Where what stands in the dense system: slots first, then fixed effects by group, the data last.
#[derive(Debug, Clone, Copy)]
pub(super) struct Layout {
    /// Columns of slots.
    pub(super) slots: usize,
    /// Columns of fixed effects.
    pub(super) fixed: usize,
    /// Packs have slopes, and groups two fixed effects each.
    pub(super) slope: bool,
    /// What is taken off each capacity, so that sums of squares stay small.
    pub(super) origin: f64,
    /// What a clock is divided by.
    pub(super) unit: f64,
}

impl Layout {
    /// Columns of the system with its data column.
    pub(super) const fn size(&self) -> usize {
        self.slots + self.fixed + 1
    }

    /// What a clock is multiplied by; zero without slopes.
    fn per_unit(&self) -> f64 {
        if self.slope { 1.0 / self.unit } else { 0.0 }
    }

    const fn fixed_of(&self, group: u16) -> usize {
        self.slots + group as usize * if self.slope { 2 } else { 1 }
    }
}

/// A symmetric 2 by 2 matrix: top left, off the diagonal, bottom right.
pub(super) type Square = [f64; 3];

/// One column's part in a pack: where it stands, its product with the level and with the slope.
#[derive(Clone, Copy)]
struct Part {
    place: usize,
    level: f64,
    slope: f64,
}

/// What is left of a pack once its spread is known: `K`, `P = (I + T A)^-1` by rows, and the determinant of `I + T A`.
pub(super) struct Solved {
    pub(super) covariance: Square,
    inverse: [f64; 4],
    determinant: f64,
}

/// Solves one pack's block for the relative spread `T` and the products `A`.
#[inline]
pub(super) fn solve(t: &Square, a: &Square) -> Solved {
    let (m00, m01) = (1.0 + t[0] * a[0] + t[1] * a[1], t[0] * a[1] + t[1] * a[2]);
    let (m10, m11) = (t[1] * a[0] + t[2] * a[1], 1.0 + t[1] * a[1] + t[2] * a[2]);
    let determinant = m00 * m11 - m01 * m10;
    let inverse = [m11 / determinant, -m01 / determinant, -m10 / determinant, m00 / determinant];
    let covariance = [
        inverse[0] * t[0] + inverse[1] * t[1],
        inverse[0] * t[1] + inverse[1] * t[2],
        inverse[2] * t[1] + inverse[3] * t[2],
    ];
    Solved { covariance, inverse, determinant }
}

/// The columns of one pack after another.
struct Gatherer<'a> {
    readings: &'a Readings,
    layout: &'a Layout,
    /// What a clock is multiplied by; zero without slopes.
    per_unit: f64,
    /// Slots as the readings come, one that a pack was in twice twice; then fixed effects and the data.
    parts: Vec<Part>,
}

impl<'a> Gatherer<'a> {
    fn new(readings: &'a Readings, layout: &'a Layout) -> Self {
        Self { readings, layout, per_unit: layout.per_unit(), parts: Vec::with_capacity(64) }
    }

    /// Gathers the columns of a pack, and gives its products `A`.
    #[inline]
    fn gather(&mut self, pack: usize) -> Square {
        let Self { readings, layout, per_unit, parts } = self;
        parts.clear();
        let mut a = [0.0; 3];
        let mut y = [0.0; 2];
        for ((clock, capacity, slot), weight) in readings.weighted(pack) {
            let weight = f64::from(weight);
            let x = f64::from(clock) * *per_unit;
            let wx = weight * x;
            let wy = weight * (f64::from(capacity) - layout.origin);
            a = [a[0] + weight, a[1] + wx, a[2] + wx * x];
            y = [y[0] + wy, y[1] + wy * x];
            if slot != NO_SLOT && layout.slots > 0 {
                parts.push(Part { place: usize::from(slot), level: weight, slope: wx });
            }
        }
        let fixed = layout.fixed_of(readings.groups[pack]);
        parts.push(Part { place: fixed, level: a[0], slope: a[1] });
        if layout.slope {
            parts.push(Part { place: fixed + 1, level: a[1], slope: a[2] });
        }
        parts.push(Part { place: layout.size() - 1, level: y[0], slope: y[1] });
        a
    }
}

/// Runs `work` over the pieces of the packs on some threads, and gives the results in order.
pub(super) fn across<R: Send>(
    packs: usize,
    threads: usize,
    work: impl Fn(Range<usize>) -> R + Sync,
) -> Vec<R> {
    spread(pieces(packs).collect(), threads, work)
}

/// The pieces of so many packs.
pub(super) fn pieces(packs: usize) -> impl Iterator<Item = Range<usize>> {
    let pieces = PIECES.min(packs.div_ceil(256)).max(1);
    (0..pieces).map(move |k| packs * k / pieces..packs * (k + 1) / pieces)
}

/// Runs `work` over the pieces on some threads, and gives the results in order.
pub(super) fn spread<P: Send, R: Send>(
    pieces: Vec<P>,
    threads: usize,
    work: impl Fn(P) -> R + Sync,
) -> Vec<R> {
    let threads = threads.clamp(1, pieces.len().max(1));
    if threads == 1 {
        return pieces.into_iter().map(work).collect();
    }
    let mut hands: Vec<Vec<(usize, P)>> = (0..threads).map(|_| Vec::new()).collect();
    for (k, piece) in pieces.into_iter().enumerate() {
        hands[k % threads].push((k, piece));
    }
    let work = &work;
    let mut done: Vec<(usize, R)> = std::thread::scope(|scope| {
        let hands: Vec<_> = hands
            .into_iter()
            .map(|hand| {
                scope.spawn(move || hand.into_iter().map(|(k, piece)| (k, work(piece))).collect::<Vec<_>>())
            })
            .collect();
        hands.into_iter().flat_map(|hand| hand.join().unwrap_or_default()).collect()
    });
    done.sort_by_key(|(k, _)| *k);
    done.into_iter().map(|(_, result)| result).collect()
}

fn sum_up(parts: Vec<Vec<f64>>) -> Vec<f64> {
    let mut parts = parts.into_iter();
    let mut sum = parts.next().unwrap_or_default();
    for part in parts {
        for (sum, part) in sum.iter_mut().zip(part) {
            *sum += part;
        }
    }
    sum
}

/// Weighted products of all columns, before any pack is eliminated: lower triangle, column by column.
pub(super) fn products(readings: &Readings, layout: &Layout, threads: usize) -> Vec<f64> {
    let size = layout.size();
    sum_up(across(readings.packs(), threads, |packs| {
        let mut sums = vec![0.0; size * size];
        let (data, per_unit) = (size - 1, layout.per_unit());
        for pack in packs {
            let fixed = layout.fixed_of(readings.groups[pack]);
            for ((clock, capacity, slot), weight) in readings.weighted(pack) {
                let w = f64::from(weight);
                let x = f64::from(clock) * per_unit;
                let y = f64::from(capacity) - layout.origin;
                if slot != NO_SLOT && layout.slots > 0 {
                    let slot = usize::from(slot);
                    let column = slot * size;
                    sums[column + slot] += w;
                    sums[column + fixed] += w;
                    sums[column + data] += w * y;
                    if layout.slope {
                        sums[column + fixed + 1] += w * x;
                    }
                }
                let column = fixed * size;
                sums[column + fixed] += w;
                sums[column + data] += w * y;
                if layout.slope {
                    sums[column + fixed + 1] += w * x;
                    sums[column + size + fixed + 1] += w * x * x;
                    sums[column + size + data] += w * x * y;
                }
                sums[data * size + data] += w * y * y;
            }
        }
        sums
    }))
}

/// What eliminating all packs takes off [`products`], and the sum of `ln |I + T A|`.
pub(super) fn eliminated(readings: &Readings, layout: &Layout, t: Square, threads: usize) -> (Vec<f64>, f64) {
    let size = layout.size();
    let pieces = across(readings.packs(), threads, |packs| {
        // Products of two parts in either half of the square, as they come; then those of each part with itself.
        let mut off = vec![0.0; size * size + size];
        let (pairs, own) = off.split_at_mut(size * size);
        let mut columns = Gatherer::new(readings, layout);
        let (mut log, mut product) = (0.0, 1.0_f64);
        for pack in packs {
            let a = columns.gather(pack);
            let solved = solve(&t, &a);
            let k = solved.covariance;
            product *= solved.determinant;
            if !(1e-100..1e100).contains(&product) {
                log += product.ln();
                product = 1.0;
            }
            let mut parts = columns.parts.as_slice();
            while let [one, rest @ ..] = parts {
                let level = k[0] * one.level + k[1] * one.slope;
                let slope = k[1] * one.level + k[2] * one.slope;
                own[one.place] += level * one.level + slope * one.slope;
                let column = &mut pairs[one.place * size..(one.place + 1) * size];
                for other in rest {
                    column[other.place] += level * other.level + slope * other.slope;
                }
                parts = rest;
            }
        }
        (off, log + product.ln())
    });
    let log = pieces.iter().map(|(_, log)| log).sum();
    let mut off = sum_up(pieces.into_iter().map(|(off, _)| off).collect());
    for low in 0..size {
        // A slot that a pack was in twice meets itself: both halves of the square.
        off[low * size + low] = 2.0 * off[low * size + low] + off[size * size + low];
        for high in low + 1..size {
            off[low * size + high] += std::mem::take(&mut off[high * size + low]);
        }
    }
    off.truncate(size * size);
    (off, log)
}

/// The criterion's slope by `T`: sum over packs of `tr((I + T A)^-1 A dT) - tr(H dV'KV)`, for top left, off diagonal
/// (once) and bottom right; `h` is symmetric and whole.
pub(super) fn slope(readings: &Readings, layout: &Layout, t: Square, h: &[f64], threads: usize) -> Square {
    let size = layout.size();
    let pieces = across(readings.packs(), threads, |packs| {
        let mut sum = [0.0; 3];
        let mut columns = Gatherer::new(readings, layout);
        for pack in packs {
            let a = columns.gather(pack);
            let p = solve(&t, &a).inverse;
            // G = V H V', a symmetric 2 by 2 matrix.
            let mut g = [0.0; 3];
            for (i, part) in columns.parts.iter().enumerate() {
                let row = &h[part.place * size..(part.place + 1) * size];
                let own = 0.5 * row[part.place];
                let (mut level, mut slope) = (own * part.level, own * part.slope);
                for other in &columns.parts[..i] {
                    let value = row[other.place];
                    level += value * other.level;
                    slope += value * other.slope;
                }
                g[0] += 2.0 * part.level * level;
                g[1] += part.level * slope + part.slope * level;
                g[2] += 2.0 * part.slope * slope;
            }
            // tr(A P dT) with A P symmetric, less tr(P' G P dT).
            let ap = [a[0] * p[0] + a[1] * p[2], a[0] * p[1] + a[1] * p[3], a[1] * p[1] + a[2] * p[3]];
            let gp = [
                g[0] * p[0] + g[1] * p[2],
                g[0] * p[1] + g[1] * p[3],
                g[1] * p[0] + g[2] * p[2],
                g[1] * p[1] + g[2] * p[3],
            ];
            sum[0] += ap[0] - (p[0] * gp[0] + p[2] * gp[2]);
            sum[1] += ap[1] - (p[0] * gp[1] + p[2] * gp[3]);
            sum[2] += ap[2] - (p[1] * gp[1] + p[3] * gp[3]);
        }
        sum
    });
    pieces.into_iter().fold([0.0; 3], |sum, piece| [sum[0] + piece[0], sum[1] + piece[1], sum[2] + piece[2]])
}

/// Mean and spread that make the numbers handy: the mean capacity, and the root mean square of clocks within packs.
pub(super) fn scales(readings: &Readings) -> (f64, f64) {
    let (mut sum, mut squares) = (0.0, 0.0);
    for pack in 0..readings.packs() {
        let range = readings.range(pack);
        let clocks = &readings.clock[range.clone()];
        let mean = clocks.iter().map(|&x| f64::from(x)).sum::<f64>() / clocks.len() as f64;
        squares += clocks.iter().map(|&x| (f64::from(x) - mean).powi(2)).sum::<f64>();
        sum += readings.capacity[range].iter().map(|&y| f64::from(y)).sum::<f64>();
    }
    let count = (readings.len() as f64).max(1.0);
    (sum / count, (squares / count).sqrt())
}

/// A count as a number.
pub(super) fn count(of: usize) -> f64 {
    of as f64
}
