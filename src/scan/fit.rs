//! Three finder patterns -> a bit matrix -> a text.
//!
//! Triples of finder patterns that could be the corners of one symbol are ranked by shape. For each, a projective map
//! from modules to pixels is fitted to what every symbol of that size must show (finder rings, timing lines, alignment
//! pattern); then each module is sampled in grey, and the decoder library corrects what is wrong and judges.
//! Small symbols only (versions 1 to 5): larger ones are left to `whole`. Does not see mirrored symbols.

use image::GrayImage;

use super::fence::Deadline;
use super::kernel::{self, Finder};
use super::matrix::Text;
use super::model::{Model, Views, must_show};
use super::picture::{Point, Want};

/// The most triples that are fitted in one picture.
const MOST_TRIPLES: usize = 1500;
/// Share of what a symbol must show from which a fit is worth decoding.
const WORTH_DECODING: f32 = 0.38;
/// A symbol that was located.
#[derive(Debug)]
pub(super) struct Symbol {
    /// Its corners, clockwise from its own upper left one, pixels.
    pub(super) corners: [Point; 4],
    /// Modules a side.
    pub(super) modules: u8,
    /// What stands in it; `None` when it could not be read.
    pub(super) text: Option<Text>,
}

/// A guess: which finders are a symbol's upper left, upper right and lower left, and how many modules it has.
struct Triple {
    blame: f32,
    members: [usize; 3],
    points: [Point; 3],
    modules: f32,
    module: f32,
}

/// Reads what can be read from a picture's finder patterns.
pub(super) fn symbols(views: Views<'_>, finders: &[Finder], want: Want, deadline: &Deadline) -> Vec<Symbol> {
    let mut used = vec![false; finders.len()];
    let mut symbols = Vec::new();
    let mut seen: Vec<(Triple, Symbol)> = Vec::new();
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
            symbols.push(Symbol { corners, modules: model.modules, text });
            if want == Want::First {
                return symbols;
            }
        } else if model.is_surely_a_symbol(
            views.contrast,
            score,
            full_contrast(views.contrast, &triple.points, triple.module),
        ) {
            seen.push((triple, Symbol { corners, modules: model.modules, text: None }));
        }
    }
    seen.retain(|(triple, _)| triple.members.iter().all(|&member| used.get(member) == Some(&false)));
    symbols.extend(seen.into_iter().map(|(_, symbol)| symbol));
    symbols
}

/// Looks again at a symbol that the decoder library's own search located but did not read.
pub(super) fn again(views: Views<'_>, modules: usize, corners: [Point; 4]) -> Option<Symbol> {
    let modules = u8::try_from(modules).ok().filter(|&modules| (21..=37).contains(&modules))?;
    let n = f32::from(modules);
    // A model over the corners themselves, read at the finders' middles.
    let [a, b, c, d] = corners;
    let whole = Model::over([a, b, c, d], modules + 7).map();
    let middle = |u: f32, v: f32| whole.pixel(u + 3.5, v + 3.5);
    let at = [middle(3.5, 3.5), middle(n - 3.5, 3.5), middle(n - 3.5, n - 3.5), middle(3.5, n - 3.5)];
    let mut model = Model::over(at, modules);
    let shown = must_show(modules);
    let [first, second, _, third] = at;
    let full = full_contrast(views.contrast, &[first, second, third], a.distance(b) / n);
    let module = a.distance(c) / n / std::f32::consts::SQRT_2;
    let score = model.descend(views, &shown, full, &[0.7 * module, 0.35 * module, 0.15 * module], false);
    let text = (score >= WORTH_DECODING).then(|| model.decode(views, true)).flatten();
    (text.is_some() || model.is_surely_a_symbol(views.contrast, score, full)).then(|| Symbol {
        corners: model.corners(),
        modules,
        text,
    })
}

/// Fits a triple and tries to read it: the best model, its score, and the text.
fn attempt(views: Views<'_>, triple: &Triple) -> Option<(Model, f32, Option<Text>)> {
    let full = full_contrast(views.contrast, &triple.points, triple.module);
    let mut best: Option<(Model, f32)> = None;
    for modules in [21_u8, 25, 29, 33, 37] {
        if (f32::from(modules) - triple.modules).abs() > 0.25 * triple.modules {
            continue;
        }
        let shown = must_show(modules);
        let mut model = Model::flat(triple.points, modules);
        let flat = model.score(views.contrast, &shown, full);
        if flat < 0.22 {
            continue;
        }
        // Most labels lie flat under the camera, and then there is nothing to fit.
        if flat > 0.55
            && let Some(text) = model.decode(views, false)
        {
            return Some((model, flat, Some(text)));
        }
        model.search_fourth(views, &shown, full, triple.module);
        let steps = [0.7, 0.35, 0.18].map(|share| share * triple.module);
        let score = model.descend(views, &shown, full, &steps, false);
        if best.is_none_or(|(_, old)| score > old) {
            best = Some((model, score));
        }
    }
    let (mut model, mut score) = best?;
    if score < WORTH_DECODING {
        return Some((model, score, None));
    }
    let shown = must_show(model.modules);
    let mut text = model.decode(views, false);
    // Labels on round packs are bowed: what a flat fit does not read, a bent one may.
    for (steps, bowed) in [(&[0.5, 0.25, 0.1, 0.05][..], false), (&[0.5, 0.25, 0.12, 0.06], true)] {
        if text.is_some() {
            break;
        }
        let finer: Vec<f32> = steps.iter().map(|share| share * triple.module).collect();
        let better = model.descend(views, &shown, full, &finer, bowed);
        if better > score || bowed {
            score = better.max(score);
            text = model.decode(views, bowed);
        }
    }
    if text.is_none() {
        let steps = [0.5, 0.25, 0.12, 0.06].map(|share| share * triple.module);
        model.settle(views, &shown, full, &steps);
        text = model.decode(views, true);
    }
    Some((model, score, text))
}

/// The middle of a finder.
pub(super) const fn point(finder: &Finder) -> Point {
    Point { x: finder.x, y: finder.y }
}

/// The contrast that counts in full: what most of the finders' pixels have.
pub(super) fn full_contrast(contrast: &GrayImage, at: &[Point], module: f32) -> f32 {
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
    let module = (span_u + span_v) / 14.0;
    Some(Triple { blame, members: [i, j, k], points: [point(a), point(b), point(c)], modules, module })
}
