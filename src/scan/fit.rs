//! Three finder patterns -> a bit matrix -> a text.
//!
//! Triples of finder patterns that could be the corners of one symbol are ranked by shape. For each, a projective map
//! from modules to pixels is fitted to what every symbol of that size must show (finder rings, timing lines, alignment
//! pattern); then each module is sampled in grey, and the decoder library corrects what is wrong and judges.
//! Small symbols only (versions 1 to 5): larger ones are left to `whole`. Does not see mirrored symbols.

use image::GrayImage;

use super::fence::{self, Deadline};
use super::kernel::{self, Finder};
use super::picture::Point;

/// The most triples that are fitted in one picture.
const MOST_TRIPLES: usize = 1500;
/// Share of what a symbol must show from which a fit is worth decoding.
const WORTH_DECODING: f32 = 0.38;
/// Share of what a symbol must show from which we say that one was there.
const SURELY_A_SYMBOL: f32 = 0.62;
/// The same for the timing lines alone: rings by themselves may be anything.
const SURELY_TIMED: f32 = 0.35;
/// How many places of the finder rings `must_show` gives before the timing lines.
const RINGS: usize = 3 * 49;

/// What a bend of one module costs.
const BEND_COST: f32 = 0.02;

/// A symbol that was located.
#[derive(Debug)]
pub(super) struct Symbol {
    /// Its corners, clockwise from its own upper left one, pixels.
    pub(super) corners: [Point; 4],
    /// What stands in it; `None` when it could not be read.
    pub(super) text: Option<String>,
}

/// A picture in grey and in contrast, same size.
#[derive(Debug, Clone, Copy)]
pub(super) struct Views<'a> {
    /// Plain grey.
    pub(super) grey: &'a GrayImage,
    /// Grey less its surroundings.
    pub(super) contrast: &'a GrayImage,
}

/// A guess: which finders are a symbol's upper left, upper right and lower left, and how many modules it has.
struct Triple {
    blame: f32,
    members: [usize; 3],
    points: [Point; 3],
    modules: f32,
    module: f32,
}

/// Where four modules of a symbol lie: the middles of the three finders and of the fourth place like them.
#[derive(Debug, Clone, Copy)]
struct Model {
    modules: u8,
    at: [Point; 4],
}

/// A projective map from modules to pixels.
struct Map([f32; 8]);

impl Map {
    fn pixel(&self, u: f32, v: f32) -> Point {
        let [a, b, c, d, e, f, g, h] = self.0;
        let w = g * u + h * v + 1.0;
        Point { x: (a * u + b * v + c) / w, y: (d * u + e * v + f) / w }
    }
}

/// What a symbol must show: module coordinates and +1 for light, -1 for dark.
fn must_show(modules: u8) -> Vec<(f32, f32, f32)> {
    let mut shown = Vec::new();
    let far = modules - 7;
    let mut put = |x: u8, y: u8, light: bool| {
        shown.push((f32::from(x) + 0.5, f32::from(y) + 0.5, if light { 1.0 } else { -1.0 }));
    };
    for (left, top) in [(0, 0), (far, 0), (0, far)] {
        for y in 0..7_u8 {
            for x in 0..7_u8 {
                put(left + x, top + y, x.abs_diff(3).max(y.abs_diff(3)) == 2);
            }
        }
    }
    for along in 7..far {
        put(along, 6, along % 2 == 1);
        put(6, along, along % 2 == 1);
    }
    if modules > 21 {
        for y in 0..5_u8 {
            for x in 0..5_u8 {
                put(modules - 9 + x, modules - 9 + y, x.abs_diff(2).max(y.abs_diff(2)) == 1);
            }
        }
    }
    shown
}

impl Model {
    fn from_triple(triple: &Triple, modules: u8) -> Self {
        let [a, b, c] = triple.points;
        Self { modules, at: [a, b, Point { x: b.x + c.x - a.x, y: b.y + c.y - a.y }, c] }
    }

    /// The projective map of the unit square to a quadrilateral (Heckbert, "Fundamentals of Texture Mapping and Image
    /// Warping", 1989, section 2.2.3; from memory), with modules in place of the unit square.
    fn map(&self) -> Map {
        let [p0, p1, p2, p3] = self.at;
        let (dx1, dx2, sx) = (p1.x - p2.x, p3.x - p2.x, p0.x - p1.x + p2.x - p3.x);
        let (dy1, dy2, sy) = (p1.y - p2.y, p3.y - p2.y, p0.y - p1.y + p2.y - p3.y);
        let den = dx1 * dy2 - dx2 * dy1;
        let (g, h) = ((sx * dy2 - dx2 * sy) / den, (dx1 * sy - sx * dy1) / den);
        let (a, b, c) = (p1.x - p0.x + g * p1.x, p3.x - p0.x + h * p3.x, p0.x);
        let (d, e, f) = (p1.y - p0.y + g * p1.y, p3.y - p0.y + h * p3.y, p0.y);
        // The unit square's corner is module 3.5, its side is all modules but seven.
        let (k, o) = (1.0 / (f32::from(self.modules) - 7.0), 3.5);
        let w = 1.0 - (g + h) * k * o;
        let shift = |u: f32, v: f32, t: f32| [u * k / w, v * k / w, (t - (u + v) * k * o) / w];
        let ([a, b, c], [d, e, f]) = (shift(a, b, c), shift(d, e, f));
        Map([a, b, c, d, e, f, g * k / w, h * k / w])
    }

    /// By how many modules the fourth place lies off the parallelogram of the other three.
    fn bend(&self) -> f32 {
        let [a, b, fourth, d] = self.at;
        let flat = Point { x: b.x + d.x - a.x, y: b.y + d.y - a.y };
        flat.distance(fourth) * (f32::from(self.modules) - 7.0) / a.distance(b)
    }

    /// How much of what must be shown is shown, -1 to 1; `full` is the contrast that counts in full.
    ///
    /// A small symbol shows little near its fourth corner, so a bend costs something: without that, the fit of a sharp
    /// picture drifts where nothing holds it.
    fn score(&self, contrast: &GrayImage, shown: &[(f32, f32, f32)], full: f32) -> f32 {
        let map = self.map();
        let (sum, count) = shown.iter().fold((0.0, 0.0), |(sum, count), &(u, v, sign)| {
            let at = map.pixel(u, v);
            (sum + sign * (kernel::sample(contrast, at.x, at.y) - 128.0).clamp(-full, full), count + full)
        });
        if count > 0.0 { sum / count - BEND_COST * self.bend() } else { 0.0 }
    }

    /// Moves the fourth corner about to where the symbol shows best.
    fn search_fourth(&mut self, views: Views<'_>, shown: &[(f32, f32, f32)], full: f32, module: f32) {
        let (mut best, start) = (self.score(views.contrast, shown, full), *self);
        let [a, b, fourth, d] = start.at;
        for down in -4_i8..=4 {
            for across in -4_i8..=4 {
                let x = fourth.x + f32::from(across) * 0.9 * module;
                let y = fourth.y + f32::from(down) * 0.9 * module;
                let moved = Self { at: [a, b, Point { x, y }, d], ..start };
                let score = moved.score(views.contrast, shown, full);
                if score > best {
                    (best, *self) = (score, moved);
                }
            }
        }
    }

    /// Moves every corner by ever smaller steps while that helps; gives the score reached.
    fn descend(&mut self, views: Views<'_>, shown: &[(f32, f32, f32)], full: f32, steps: &[f32]) -> f32 {
        let mut best = self.score(views.contrast, shown, full);
        for &step in steps {
            for _ in 0..2 {
                for corner in 0..4 {
                    for (dx, dy) in [(step, 0.0), (-step, 0.0), (0.0, step), (0.0, -step)] {
                        let mut moved = *self;
                        if let Some(point) = moved.at.get_mut(corner) {
                            *point = Point { x: point.x + dx, y: point.y + dy };
                        }
                        let score = moved.score(views.contrast, shown, full);
                        if score > best {
                            (best, *self) = (score, moved);
                        }
                    }
                }
            }
        }
        best
    }

    /// Whether what is shown, beside the finder rings, leaves no doubt that a symbol was there.
    fn is_surely_a_symbol(&self, contrast: &GrayImage, score: f32, full: f32) -> bool {
        let shown = must_show(self.modules);
        let timing = shown.get(RINGS..).unwrap_or_default();
        score >= SURELY_A_SYMBOL && self.score(contrast, timing, full) >= SURELY_TIMED
    }

    fn corners(&self) -> [Point; 4] {
        let (map, n) = (self.map(), f32::from(self.modules));
        [map.pixel(0.0, 0.0), map.pixel(n, 0.0), map.pixel(n, n), map.pixel(0.0, n)]
    }

    /// Samples every module, and tries a few cuts into dark and light.
    fn decode(&self, grey: &GrayImage) -> Option<String> {
        const TAPS: [(f32, f32, f32); 5] =
            [(0.0, 0.0, 2.0), (0.22, 0.0, 1.0), (-0.22, 0.0, 1.0), (0.0, 0.22, 1.0), (0.0, -0.22, 1.0)];
        const TRIES: [(f32, f32); 5] = [(0.0, 0.0), (0.18, 0.0), (-0.18, 0.0), (0.0, 0.18), (0.0, -0.18)];
        let (map, n) = (self.map(), usize::from(self.modules));
        for (right, down) in TRIES {
            let mut values = Vec::with_capacity(n * n);
            for row in 0..self.modules {
                for column in 0..self.modules {
                    let (u, v) = (f32::from(column) + 0.5 + right, f32::from(row) + 0.5 + down);
                    let sum = TAPS.iter().fold(0.0, |sum, &(du, dv, weight)| {
                        let at = map.pixel(u + du, v + dv);
                        sum + weight * kernel::sample(grey, at.x, at.y)
                    });
                    values.push(sum / 6.0);
                }
            }
            for sharpening in [0.0, 0.4, 0.9, 1.6, 2.5] {
                let dark = kernel::dark_modules(&values, n, sharpening);
                let text = fence::quietly(|| kernel::decode(&dark, n)).flatten();
                if let Some(text) = text.filter(|text| !text.is_empty()) {
                    return Some(text);
                }
            }
        }
        None
    }
}

/// Reads what can be read from a picture's finder patterns.
pub(super) fn symbols(views: Views<'_>, finders: &[Finder], deadline: &Deadline) -> Vec<Symbol> {
    let mut used = vec![false; finders.len()];
    let mut symbols = Vec::new();
    let mut seen: Vec<(Triple, [Point; 4])> = Vec::new();
    for triple in triples(finders) {
        if deadline.is_over() {
            break;
        }
        if triple.members.iter().any(|&member| used.get(member).copied().unwrap_or(true)) {
            continue;
        }
        let Some((model, score, text)) = attempt(views, &triple) else { continue };
        let corners = model.corners();
        if text.is_some() {
            for &member in &triple.members {
                if let Some(flag) = used.get_mut(member) {
                    *flag = true;
                }
            }
            symbols.push(Symbol { corners, text });
        } else if model.is_surely_a_symbol(
            views.contrast,
            score,
            full_contrast(views.contrast, &triple.points, triple.module),
        ) {
            seen.push((triple, corners));
        }
    }
    seen.retain(|(triple, _)| triple.members.iter().all(|&member| used.get(member) == Some(&false)));
    symbols.extend(seen.into_iter().map(|(_, corners)| Symbol { corners, text: None }));
    symbols
}

/// Looks again at a symbol that the decoder library's own search located but did not read.
pub(super) fn again(views: Views<'_>, modules: usize, corners: [Point; 4]) -> Option<Symbol> {
    let modules = u8::try_from(modules).ok().filter(|&modules| (21..=37).contains(&modules))?;
    let n = f32::from(modules);
    // A model over the corners themselves, read at the finders' middles.
    let [a, b, c, d] = corners;
    let whole = Model { modules: modules + 7, at: [a, b, c, d] }.map();
    let middle = |u: f32, v: f32| whole.pixel(u + 3.5, v + 3.5);
    let at = [middle(3.5, 3.5), middle(n - 3.5, 3.5), middle(n - 3.5, n - 3.5), middle(3.5, n - 3.5)];
    let mut model = Model { modules, at };
    let shown = must_show(modules);
    let [first, second, _, third] = at;
    let full = full_contrast(views.contrast, &[first, second, third], a.distance(b) / n);
    let module = a.distance(c) / n / std::f32::consts::SQRT_2;
    let score = model.descend(views, &shown, full, &[0.7 * module, 0.35 * module, 0.15 * module]);
    let text = (score >= WORTH_DECODING).then(|| model.decode(views.grey)).flatten();
    (text.is_some() || model.is_surely_a_symbol(views.contrast, score, full))
        .then(|| Symbol { corners: model.corners(), text })
}

/// Fits a triple and tries to read it: the best model, its score, and the text.
fn attempt(views: Views<'_>, triple: &Triple) -> Option<(Model, f32, Option<String>)> {
    let full = full_contrast(views.contrast, &triple.points, triple.module);
    let mut best: Option<(Model, f32)> = None;
    for modules in [21_u8, 25, 29, 33, 37] {
        if (f32::from(modules) - triple.modules).abs() > 4.5 {
            continue;
        }
        let shown = must_show(modules);
        let mut model = Model::from_triple(triple, modules);
        let flat = model.score(views.contrast, &shown, full);
        if flat < 0.22 {
            continue;
        }
        // Most labels lie flat under the camera, and then there is nothing to fit.
        if flat > 0.55
            && let Some(text) = model.decode(views.grey)
        {
            return Some((model, flat, Some(text)));
        }
        model.search_fourth(views, &shown, full, triple.module);
        let steps = [0.7, 0.35, 0.18].map(|share| share * triple.module);
        let score = model.descend(views, &shown, full, &steps);
        if best.is_none_or(|(_, old)| score > old) {
            best = Some((model, score));
        }
    }
    let (mut model, mut score) = best?;
    let mut text = None;
    if score >= WORTH_DECODING {
        text = model.decode(views.grey);
        if text.is_none() {
            let finer = [0.5, 0.25, 0.1, 0.05].map(|share| share * triple.module);
            let better = model.descend(views, &must_show(model.modules), full, &finer);
            if better > score {
                score = better;
                text = model.decode(views.grey);
            }
        }
    }
    Some((model, score, text))
}

/// The contrast that counts in full: what most of the finders' pixels have.
fn full_contrast(contrast: &GrayImage, at: &[Point], module: f32) -> f32 {
    let mut values = Vec::new();
    for point in at {
        for down in -3_i8..=3 {
            for across in -3_i8..=3 {
                let (x, y) = (point.x + f32::from(across) * module, point.y + f32::from(down) * module);
                values.push((kernel::sample(contrast, x, y) - 128.0).abs());
            }
        }
    }
    values.sort_by(f32::total_cmp);
    values.get(values.len() * 6 / 10).copied().unwrap_or(0.0).max(4.0)
}

/// Triples of finders that could be corners of one symbol, best first.
fn triples(finders: &[Finder]) -> Vec<Triple> {
    let mut all = Vec::new();
    for (i, a) in finders.iter().enumerate() {
        let mut near: Vec<(f32, usize, &Finder)> = finders
            .iter()
            .enumerate()
            .filter(|&(j, other)| j != i && other.span < 1.9 * a.span && a.span < 1.9 * other.span)
            .map(|(j, other)| ((other.x - a.x).hypot(other.y - a.y), j, other))
            .filter(|&(distance, ..)| distance > 0.8 * a.span && distance < 6.5 * a.span)
            .collect();
        near.sort_by(|x, y| x.0.total_cmp(&y.0));
        near.truncate(16);
        for &(_, j, b) in &near {
            all.extend(
                near.iter()
                    .filter(|&&(_, k, _)| k != j)
                    .filter_map(|&(_, k, c)| triple(&[(i, a), (j, b), (k, c)])),
            );
        }
    }
    all.sort_by(|a, b| a.blame.total_cmp(&b.blame));
    all.truncate(MOST_TRIPLES);
    all
}

/// Judges three finders as upper left, upper right, lower left.
fn triple(three: &[(usize, &Finder); 3]) -> Option<Triple> {
    let [(i, a), (j, b), (k, c)] = *three;
    let (ux, uy, vx, vy) = (b.x - a.x, b.y - a.y, c.x - a.x, c.y - a.y);
    let (across, down) = (ux.hypot(uy), vx.hypot(vy));
    let lean = ((ux * vx + uy * vy) / (across * down)).abs();
    let ratio = across.max(down) / across.min(down);
    if ux * vy - uy * vx <= 0.0 || lean > 0.6 || ratio > 1.9 {
        return None;
    }
    // A square that lies askew is cut by rows and columns of pixels along a longer way than its side.
    let true_span = |dx: f32, dy: f32, length: f32, p: &Finder, q: &Finder| {
        0.5 * (p.span + q.span) * dx.abs().max(dy.abs()) / length
    };
    let (span_u, span_v) = (true_span(ux, uy, across, a, b), true_span(vx, vy, down, a, c));
    let (n_u, n_v) = (7.0 * across / span_u + 7.0, 7.0 * down / span_v + 7.0);
    let modules = 0.5 * (n_u + n_v);
    if n_u.max(n_v) / n_u.min(n_v) > 1.5 || !(17.0..41.0).contains(&modules) {
        return None;
    }
    let blame = lean + (ratio - 1.0) + 0.6 * (n_u / n_v).ln().abs() + 0.02 * modules;
    let point = |finder: &Finder| Point { x: finder.x, y: finder.y };
    let module = (span_u + span_v) / 14.0;
    Some(Triple { blame, members: [i, j, k], points: [point(a), point(b), point(c)], modules, module })
}
