//! Loops over all readings: what one evaluation of the mixed model's criterion needs, pack by pack.
//!
//! A pack has a line `b = (level, slope)` around its group's, with `b ~ N(0, s2 T)`. Given the spreads, packs are eliminated one by
//! one in 2 by 2 blocks; what is left is one dense system of slots, fixed effects and the data column. With `A = Z'WZ` of
//! a pack and `V` the columns `Z'W[slots, fixed, y]`, the pack takes `V' K V` off the system, `K = (I + T A)^-1 T`, and adds
//! `ln |I + T A|` to the criterion (Henderson's equations, block elimination as in Bates et al., "Fitting linear mixed-effects
//! models using lme4", JSS 67(1), 2015, section 3).
#![expect(
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::as_conversions,
    reason = "loops over millions of readings, with bounds taken from the readings' own counts"
)]

use super::{NO_SLOT, Readings};

/// Pieces that the packs are cut into; fixed, so that sums are the same whatever the number of threads.
const PIECES: usize = 16;

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

/// Gathers the columns of one pack, by place, and its products `A`.
#[inline]
fn gather(readings: &Readings, layout: &Layout, pack: usize, parts: &mut Vec<Part>) -> Square {
    parts.clear();
    let mut a = [0.0; 3];
    let mut y = [0.0; 2];
    for j in readings.starts[pack]..readings.starts[pack + 1] {
        let weight = f64::from(readings.weight[j]);
        let x = if layout.slope { f64::from(readings.clock[j]) / layout.unit } else { 0.0 };
        let wx = weight * x;
        let wy = weight * (f64::from(readings.capacity[j]) - layout.origin);
        a = [a[0] + weight, a[1] + wx, a[2] + wx * x];
        y = [y[0] + wy, y[1] + wy * x];
        let slot = readings.slot[j];
        if slot != NO_SLOT && layout.slots > 0 {
            let part = Part { place: usize::from(slot), level: weight, slope: wx };
            let mut at = parts.len();
            parts.push(part);
            while at > 0 && parts[at - 1].place > part.place {
                parts[at] = parts[at - 1];
                at -= 1;
            }
            parts[at] = part;
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

/// Runs `work` over the pieces of the packs on some threads, and gives the results in order.
pub(super) fn across<R: Send>(
    packs: usize,
    threads: usize,
    work: impl Fn(std::ops::Range<usize>) -> R + Sync,
) -> Vec<R> {
    let pieces = PIECES.min(packs.div_ceil(256)).max(1);
    let piece = |k: usize| packs * k / pieces..packs * (k + 1) / pieces;
    let threads = threads.clamp(1, pieces);
    if threads == 1 {
        return (0..pieces).map(|k| work(piece(k))).collect();
    }
    let work = &work;
    let mut done: Vec<(usize, R)> = std::thread::scope(|scope| {
        let hands: Vec<_> = (0..threads)
            .map(|first| {
                scope.spawn(move || {
                    (first..pieces).step_by(threads).map(|k| (k, work(piece(k)))).collect::<Vec<_>>()
                })
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
        let data = size - 1;
        for pack in packs {
            let fixed = layout.fixed_of(readings.groups[pack]);
            for j in readings.starts[pack]..readings.starts[pack + 1] {
                let w = f64::from(readings.weight[j]);
                let x = if layout.slope { f64::from(readings.clock[j]) / layout.unit } else { 0.0 };
                let y = f64::from(readings.capacity[j]) - layout.origin;
                let slot = readings.slot[j];
                if slot != NO_SLOT && layout.slots > 0 {
                    let column = usize::from(slot) * size;
                    sums[column + usize::from(slot)] += w;
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
        let mut off = vec![0.0; size * size];
        let mut parts = Vec::with_capacity(64);
        let (mut log, mut product) = (0.0, 1.0_f64);
        for pack in packs {
            let a = gather(readings, layout, pack, &mut parts);
            let solved = solve(&t, &a);
            let k = solved.covariance;
            product *= solved.determinant;
            if !(1e-100..1e100).contains(&product) {
                log += product.ln();
                product = 1.0;
            }
            for (i, low) in parts.iter().enumerate() {
                let level = k[0] * low.level + k[1] * low.slope;
                let slope = k[1] * low.level + k[2] * low.slope;
                let column = &mut off[low.place * size..(low.place + 1) * size];
                column[low.place] += level * low.level + slope * low.slope;
                for high in &parts[i + 1..] {
                    let value = level * high.level + slope * high.slope;
                    // A slot that a pack was in twice meets itself: both halves of the square.
                    column[high.place] += if high.place == low.place { 2.0 * value } else { value };
                }
            }
        }
        (off, log + product.ln())
    });
    let log = pieces.iter().map(|(_, log)| log).sum();
    (sum_up(pieces.into_iter().map(|(off, _)| off).collect()), log)
}

/// The criterion's slope by `T`: sum over packs of `tr((I + T A)^-1 A dT) - tr(H dV'KV)`, for top left, off diagonal
/// (once) and bottom right; `h` is symmetric and whole.
pub(super) fn slope(readings: &Readings, layout: &Layout, t: Square, h: &[f64], threads: usize) -> Square {
    let size = layout.size();
    let pieces = across(readings.packs(), threads, |packs| {
        let mut sum = [0.0; 3];
        let mut parts = Vec::with_capacity(64);
        for pack in packs {
            let a = gather(readings, layout, pack, &mut parts);
            let p = solve(&t, &a).inverse;
            // G = V H V', a symmetric 2 by 2 matrix.
            let mut g = [0.0; 3];
            for (i, part) in parts.iter().enumerate() {
                let row = &h[part.place * size..(part.place + 1) * size];
                let own = 0.5 * row[part.place];
                let (mut level, mut slope) = (own * part.level, own * part.slope);
                for other in &parts[..i] {
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

/// Visits every reading with its residual off the lines of group, slot and pack, in units of the residual spread squared: the
/// square of the residual, and the uncertainty of the pack's line there. What `visit` returns is the new weight.
pub(super) fn reweigh(
    readings: &mut Readings,
    lines: impl Fn(u16, u16, f64) -> f64 + Sync,
    (layout, t, s2): (&Layout, Square, f64),
    threads: usize,
    weigh: impl Fn(f64, f64) -> (f64, f64) + Sync,
) -> f64 {
    let whole = &*readings;
    let pieces = across(whole.packs(), threads, |packs| {
        let mut weights = Vec::new();
        let mut sum = 0.0;
        let mut residuals: Vec<(f64, f64)> = Vec::new();
        for pack in packs {
            let (mut a, mut r) = ([0.0; 3], [0.0; 2]);
            residuals.clear();
            for j in whole.starts[pack]..whole.starts[pack + 1] {
                let weight = f64::from(whole.weight[j]);
                let clock = f64::from(whole.clock[j]);
                let x = if layout.slope { clock / layout.unit } else { 0.0 };
                let e = f64::from(whole.capacity[j]) - lines(whole.groups[pack], whole.slot[j], clock);
                a = [a[0] + weight, a[1] + weight * x, a[2] + weight * x * x];
                r = [r[0] + weight * e, r[1] + weight * x * e];
                residuals.push((x, e));
            }
            let k = solve(&t, &a).covariance;
            let b = [k[0] * r[0] + k[1] * r[1], k[1] * r[0] + k[2] * r[1]];
            for &(x, e) in &residuals {
                let off = e - b[0] - b[1] * x;
                let (weight, outlying) = weigh(off * off / s2, k[0] + 2.0 * k[1] * x + k[2] * x * x);
                weights.push(weight as f32);
                sum += outlying;
            }
        }
        (weights, sum)
    });
    let mut at = 0;
    let mut total = 0.0;
    for (weights, sum) in pieces {
        total += sum;
        readings.weight[at..at + weights.len()].copy_from_slice(&weights);
        at += weights.len();
    }
    total
}

/// Mean and spread that make the numbers handy: the mean capacity, and the root mean square of clocks within packs.
pub(super) fn scales(readings: &Readings) -> (f64, f64) {
    let (mut sum, mut squares) = (0.0, 0.0);
    for pack in 0..readings.packs() {
        let range = readings.starts[pack]..readings.starts[pack + 1];
        let count = (range.end - range.start) as f64;
        let mean = readings.clock[range.clone()].iter().map(|&x| f64::from(x)).sum::<f64>() / count;
        squares += readings.clock[range.clone()].iter().map(|&x| (f64::from(x) - mean).powi(2)).sum::<f64>();
        sum += readings.capacity[range].iter().map(|&y| f64::from(y)).sum::<f64>();
    }
    let count = (readings.len() as f64).max(1.0);
    (sum / count, (squares / count).sqrt())
}

/// A count as a number.
pub(super) fn count(of: usize) -> f64 {
    of as f64
}
