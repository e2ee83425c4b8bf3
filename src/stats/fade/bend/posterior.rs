//! What a pack's readings say of its line: every way in which they could have come about, weighed.
#![expect(
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    clippy::as_conversions,
    reason = "dense loops over hypotheses, with bounds taken from the model's own sizes"
)]

use std::f64::consts::PI;

use super::super::robust::WIDER;
use super::{Along, Bend, COMPONENTS, Component, SHARPNESS};

/// Ways less likely than the best by this much in logarithm are let go.
const CUT: f64 = 9.0;
/// Gross errors at most among a pack's readings of one line.
const DEPTH: usize = 2;
/// A bend less likely than this beforehand, in logarithm, is not tried.
const UNLIKELY: f64 = -30.0;
/// The least fade for each unit that a hazard along the fade counts with.
const LEAST_FADE: f64 = 1e-3;

/// One pack's readings on one line, in the model's clock.
#[derive(Debug, Clone, Copy)]
pub struct Track<'a> {
    /// Clock of each reading, going up.
    pub clock: &'a [f64],
    /// The other measure at each reading.
    pub other: &'a [f64],
    /// Capacity less origin and slot's bias, mAh.
    pub level: &'a [f64],
    /// Where the line begins: zero, or the clock of the last round.
    pub from: f64,
}

impl Track<'_> {
    /// The other measure at a clock, between its readings or beyond them at the mean pace.
    fn other_at(&self, x: f64) -> f64 {
        let (xs, zs) = (self.clock, self.other);
        let n = xs.len();
        if n == 0 {
            return x;
        }
        if x <= xs[0] {
            return zs[0] * if xs[0] > 1e-9 { (x / xs[0]).max(0.0) } else { 1.0 };
        }
        for j in 1..n {
            if x <= xs[j] {
                let share = (x - xs[j - 1]) / (xs[j] - xs[j - 1]).max(1e-9);
                return zs[j - 1] + (zs[j] - zs[j - 1]) * share;
            }
        }
        let pace = if xs[n - 1] > 1e-9 { zs[n - 1] / xs[n - 1] } else { 0.0 };
        zs[n - 1] + pace * (x - xs[n - 1])
    }
}

/// One way in which readings could have come about.
#[derive(Debug, Clone, Copy)]
pub struct Item {
    /// How likely it is, of all that are kept.
    pub weight: f64,
    /// The line's mean under it: level and slope.
    pub mean: [f64; 2],
    /// The line's covariance under it.
    pub spread: [f64; 3],
    /// Where it bent, as a place of the grid, and how sharply; none when it did not.
    pub bend: Option<(usize, usize)>,
    /// Which normal of the mixture it came from.
    pub component: usize,
    /// How many readings are gross errors, and the last that was chosen.
    pub gross: (usize, usize),
    /// Sum of squares about the line, gross errors counted by their share.
    pub squares: f64,
}

/// A normal of the mixture, ready for use: precision, precision times mean, and the logarithm of what it weighs.
#[derive(Debug, Clone, Copy, Default)]
struct Ready {
    precision: [f64; 3],
    shift: [f64; 2],
    log: f64,
    square: f64,
}

impl Ready {
    fn new(component: &Component) -> Self {
        let [v00, v01, v11] = component.spread;
        let determinant = v00 * v11 - v01 * v01;
        let precision = [v11 / determinant, -v01 / determinant, v00 / determinant];
        let [a, b] = component.mean;
        let shift = [precision[0] * a + precision[1] * b, precision[1] * a + precision[2] * b];
        let square = shift[0] * a + shift[1] * b;
        // Nothing weighs nothing: such a component is not tried.
        let log = component.weight.ln() - 0.5 * determinant.ln() - 0.5 * square;
        Self { precision, shift, log, square }
    }
}

/// A model with what every pack needs worked out once.
#[derive(Debug, Clone)]
pub struct Prepared {
    /// The model.
    pub model: Bend,
    ready: Vec<[Ready; COMPONENTS]>,
    /// The hazard summed up to each piece's beginning.
    summed: Vec<f64>,
    log_sharpness: [f64; SHARPNESS.len()],
}

/// Weighted sums of one choice of gross errors: of 1, g, g^2, y, g y, y^2.
#[derive(Clone, Copy)]
struct Sums {
    n: f64,
    g: f64,
    gg: f64,
    y: f64,
    gy: f64,
    yy: f64,
}

impl Sums {
    fn without(self, share: f64, g: f64, y: f64) -> Self {
        Self {
            n: self.n - share,
            g: self.g - share * g,
            gg: self.gg - share * g * g,
            y: self.y - share * y,
            gy: self.gy - share * g * y,
            yy: self.yy - share * y * y,
        }
    }
}

impl Prepared {
    /// Works out what every pack needs.
    pub fn new(model: Bend) -> Self {
        let ready = model.groups.iter().map(|group| std::array::from_fn(|c| Ready::new(&group[c]))).collect();
        let mut summed = vec![0.0];
        for rate in &model.hazard {
            summed.push(summed[summed.len() - 1] + rate * model.width);
        }
        let log_sharpness = std::array::from_fn(|r| model.sharpness[r].ln());
        Self { model, ready, summed, log_sharpness }
    }

    /// True when packs may bend.
    pub fn bends(&self) -> bool {
        !self.model.hazard.is_empty()
    }

    /// The clock of a place of the grid.
    pub fn place(&self, k: usize) -> f64 {
        (k as f64 + 0.5) * self.model.step
    }

    /// The clock at which the first places of the grid end.
    pub(super) fn end_of(&self, places: usize) -> f64 {
        places as f64 * self.model.step
    }

    /// Places of the grid before a clock.
    pub(super) fn places_before(&self, x: f64) -> usize {
        if !self.bends() || x <= 0.0 {
            return 0;
        }
        (((x / self.model.step + 0.5).ceil().max(1.0) as usize) - 1).min(self.model.places)
    }

    /// Which piece of the hazard a coordinate lies in.
    pub(super) fn piece(&self, z: f64) -> usize {
        ((z.max(0.0) / self.model.width) as usize).min(self.model.hazard.len().saturating_sub(1))
    }

    /// The hazard summed up to a coordinate.
    pub(super) fn hazard_to(&self, z: f64) -> f64 {
        if !self.bends() {
            return 0.0;
        }
        let z = z.max(0.0);
        let piece = self.piece(z);
        self.summed[piece] + (z - piece as f64 * self.model.width) * self.model.hazard[piece]
    }

    /// The hazard's coordinate at a clock, for a line of a slope.
    pub(super) fn coordinate(&self, x: f64, track: &Track<'_>, slope: f64) -> f64 {
        match self.model.along {
            Along::Clock => x,
            Along::Other => track.other_at(x),
            Along::Fade => (-slope).max(LEAST_FADE) * x,
        }
    }

    /// The logarithm of the chance that a line bends at a place and not before, counted from a clock on.
    fn log_bend(&self, k: usize, track: &Track<'_>, slope: f64) -> f64 {
        let (x, half) = (self.place(k), 0.5 * self.model.step);
        let before = self.hazard_to(self.coordinate(track.from, track, slope));
        let a = self.hazard_to(self.coordinate((x - half).max(track.from), track, slope));
        let b = self.hazard_to(self.coordinate(x + half, track, slope));
        log_between(a - before, b - before)
    }

    /// The logarithm of the chance that a line has not bent before the end of a place.
    fn log_straight(&self, places: usize, track: &Track<'_>, slope: f64) -> f64 {
        let end = self.end_of(places).max(track.from);
        self.hazard_to(self.coordinate(track.from, track, slope))
            - self.hazard_to(self.coordinate(end, track, slope))
    }

    /// Weighs every way in which a track's readings could have come about for a pack of a group; gives the logarithm of their likelihood.
    pub fn weigh(&self, group: usize, track: &Track<'_>, items: &mut Vec<Item>) -> f64 {
        let Some(ready) = self.ready.get(group).or(self.ready.first()) else { return 0.0 };
        self.weigh_from(ready, track, items)
    }

    /// The same for a line that begins with what is known of the one before.
    pub fn weigh_after(
        &self,
        prior: &[Component; COMPONENTS],
        track: &Track<'_>,
        items: &mut Vec<Item>,
    ) -> f64 {
        let ready = std::array::from_fn(|c| Ready::new(&prior[c]));
        self.weigh_from(&ready, track, items)
    }

    fn weigh_from(&self, ready: &[Ready; COMPONENTS], track: &Track<'_>, items: &mut Vec<Item>) -> f64 {
        items.clear();
        let n = track.clock.len();
        let first = self.places_before(track.from);
        let places = track.clock.last().map_or(first, |&last| self.places_before(last)).max(first);
        let model = &self.model;
        let base = -0.5 * n as f64 * (2.0 * PI * model.residual).ln() + n as f64 * (1.0 - model.gross).ln();
        let along_fade = model.along == Along::Fade;
        let mut search = Search {
            prepared: self,
            track,
            items,
            best: f64::NEG_INFINITY,
            shape: vec![0.0; n],
            log_gross: (model.gross / (1.0 - model.gross)).ln(),
        };
        let straight =
            if places == first || along_fade { 0.0 } else { self.log_straight(places, track, 0.0) };
        search.try_bend(ready, None, base + straight, (first, places));
        for k in first..places {
            let place = if along_fade { 0.0 } else { self.log_bend(k, track, 0.0) };
            for (r, sharpness) in self.log_sharpness.iter().enumerate() {
                let log = place + sharpness;
                if log > UNLIKELY {
                    search.try_bend(ready, Some((k, r)), base + log, (first, places));
                }
            }
        }
        let best = search.best;
        normalise(items, best)
    }
}

/// One track's search.
struct Search<'a> {
    prepared: &'a Prepared,
    track: &'a Track<'a>,
    items: &'a mut Vec<Item>,
    best: f64,
    /// `g` at each reading.
    shape: Vec<f64>,
    log_gross: f64,
}

impl Search<'_> {
    /// Tries a bend (or none) with every normal of the mixture.
    fn try_bend(
        &mut self,
        ready: &[Ready; COMPONENTS],
        bend: Option<(usize, usize)>,
        log: f64,
        places: (usize, usize),
    ) {
        let sums = self.sums(bend);
        for (component, ready) in ready.iter().enumerate().filter(|(_, ready)| ready.log.is_finite()) {
            self.try_gross(ready, component, bend, log, sums, places);
        }
    }

    fn sums(&mut self, bend: Option<(usize, usize)>) -> Sums {
        let (at, sharp) = bend.map_or((f64::INFINITY, 0.0), |(k, r)| (self.prepared.place(k), SHARPNESS[r]));
        let mut sums = Sums { n: self.shape.len() as f64, g: 0.0, gg: 0.0, y: 0.0, gy: 0.0, yy: 0.0 };
        for (j, shape) in self.shape.iter_mut().enumerate() {
            let (x, y) = (self.track.clock[j], self.track.level[j]);
            let g = if x > at { x + sharp * (x - at) } else { x };
            *shape = g;
            sums.g += g;
            sums.gg += g * g;
            sums.y += y;
            sums.gy += g * y;
            sums.yy += y * y;
        }
        sums
    }

    /// Tries a line without gross errors, then with each reading as one, then with the best of those and each other.
    fn try_gross(
        &mut self,
        ready: &Ready,
        component: usize,
        bend: Option<(usize, usize)>,
        log: f64,
        sums: Sums,
        places: (usize, usize),
    ) {
        let n = self.shape.len();
        let straight = self.line(ready, component, bend, log, sums, (0, 0), places);
        self.keep(straight);
        // What a gross error could gain at most: all of the squares.
        let precision = 1.0 / self.prepared.model.residual;
        let shift = [ready.shift[0] + sums.y * precision, ready.shift[1] + sums.gy * precision];
        let rest =
            sums.yy * precision + ready.square - straight.mean[0] * shift[0] - straight.mean[1] * shift[1];
        if straight.weight + 0.5 * rest + self.log_gross < self.best - (CUT - 2.0) {
            return;
        }
        let share = 1.0 - 1.0 / WIDER;
        let mut before = straight.weight;
        let mut sums = sums;
        let mut used = [usize::MAX; DEPTH];
        for depth in 0..DEPTH.min(n) {
            let (mut best, mut chosen) = (f64::NEG_INFINITY, None);
            for j in 0..n {
                if used[..depth].contains(&j) {
                    continue;
                }
                let less = sums.without(share, self.shape[j], self.track.level[j]);
                let item = self.line(ready, component, bend, log, less, (depth + 1, j), places);
                if item.weight > best {
                    (best, chosen) = (item.weight, Some(j));
                }
                self.keep(item);
            }
            let Some(j) = chosen else { break };
            if best < before.max(self.best - CUT) - 1.0 {
                break;
            }
            used[depth] = j;
            before = best;
            sums = sums.without(share, self.shape[j], self.track.level[j]);
        }
    }

    fn keep(&mut self, item: Item) {
        if item.weight > self.best - CUT {
            self.best = self.best.max(item.weight);
            self.items.push(item);
        }
    }

    /// The line under one choice of everything; its weight still a logarithm.
    #[inline]
    #[expect(clippy::too_many_arguments, reason = "one choice of everything")]
    fn line(
        &self,
        ready: &Ready,
        component: usize,
        bend: Option<(usize, usize)>,
        log: f64,
        sums: Sums,
        gross: (usize, usize),
        (first, places): (usize, usize),
    ) -> Item {
        let precision = 1.0 / self.prepared.model.residual;
        let a00 = ready.precision[0] + sums.n * precision;
        let a01 = ready.precision[1] + sums.g * precision;
        let a11 = ready.precision[2] + sums.gg * precision;
        let inverse = 1.0 / (a00 * a11 - a01 * a01);
        let shift = [ready.shift[0] + sums.y * precision, ready.shift[1] + sums.gy * precision];
        let spread = [a11 * inverse, -a01 * inverse, a00 * inverse];
        let mean = [spread[0] * shift[0] + spread[1] * shift[1], spread[1] * shift[0] + spread[2] * shift[1]];
        let bent = if self.prepared.model.along == Along::Fade && places > first {
            match bend {
                None => self.prepared.log_straight(places, self.track, mean[1]),
                Some((k, _)) => self.prepared.log_bend(k, self.track, mean[1]),
            }
        } else {
            0.0
        };
        let weight = bent
            + log
            + ready.log
            + gross.0 as f64 * (self.log_gross - 0.5 * WIDER.ln())
            + 0.5 * inverse.ln()
            + 0.5 * (mean[0] * shift[0] + mean[1] * shift[1])
            - 0.5 * sums.yy * precision;
        let squares = sums.yy - 2.0 * (mean[0] * sums.y + mean[1] * sums.gy)
            + sums.n * (spread[0] + mean[0] * mean[0])
            + 2.0 * sums.g * (spread[1] + mean[0] * mean[1])
            + sums.gg * (spread[2] + mean[1] * mean[1]);
        Item { weight, mean, spread, bend, component, gross, squares }
    }
}

/// Turns logarithms into shares, lets go of what is unlikely, and gives the logarithm of the sum.
fn normalise(items: &mut Vec<Item>, best: f64) -> f64 {
    items.retain(|item| item.weight > best - CUT + 2.0);
    let mut sum = 0.0;
    for item in items.iter_mut() {
        item.weight = (item.weight - best).exp();
        sum += item.weight;
    }
    for item in items.iter_mut() {
        item.weight /= sum;
    }
    best + sum.ln()
}

/// `ln(exp(-a) - exp(-b))` for `b` not below `a`, exact for small differences.
fn log_between(a: f64, b: f64) -> f64 {
    let apart = (b - a).max(1e-12);
    -a + if apart < 0.5 { apart.ln() - 0.5 * apart + apart * apart / 24.0 } else { (-(-apart).exp_m1()).ln() }
}
