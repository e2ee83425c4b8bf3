//! Three finder patterns -> a symbol.
//!
//! A finder pattern's frame says which way and how far a module goes, so it also says which others can stand beside it, and how many
//! modules lie between: triples of them are ranked by how well their frames agree. For each, the fourth corner is searched by
//! what every symbol of that size must show (finder rings, timing lines, alignment pattern); then the map is aligned and read.
//! Small symbols only (versions 1 to 5): larger ones are left to `whole`. Does not see mirrored symbols.

use std::ops::Range;

use image::GrayImage;

use super::align::{self, Starts};
use super::fence::Deadline;
use super::frame::{Frame, Way};
use super::kernel;
use super::matrix::Text;
use super::model::{Model, RING, Views, must_show};
use super::picture::{Point, Want};

/// The most triples that are fitted in one picture.
const MOST_TRIPLES: usize = 1500;
/// How far a frame may point off a side, the sine of the angle; and how far the number of modules may be off.
pub(super) const MOST_OFF: f32 = 0.4;
pub(super) const NEAR_SIZE: f32 = 0.2;
/// Modules a side that are looked for, and between what a rough count of them must lie.
pub(super) const SIZES: [u8; 5] = [21, 25, 29, 33, 37];
pub(super) const ANY_SIZE: Range<f32> = 18.0..41.0;
/// Share of what a symbol must show from which a guess is worth aligning.
const WORTH_ALIGNING: f32 = 0.3;
/// How near two guesses must be to be the same, modules.
const SAME: f32 = 0.3;
/// Agreement from which we say that a symbol was there.
const SURE: f32 = 0.72;
/// Share of what a symbol must show, and of the timing lines alone.
const SURELY_SHOWN: f32 = 0.55;
const SURELY_TIMED: f32 = 0.35;

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
pub(super) fn symbols(
    views: Views<'_>,
    frames: &[Frame],
    starts: &mut Starts,
    want: Want,
    deadline: &Deadline,
) -> Vec<Symbol> {
    let mut used = vec![false; frames.len()];
    let mut symbols = Vec::new();
    let mut seen: Vec<(Triple, Symbol)> = Vec::new();
    for triple in triples(frames) {
        if deadline.is_over() {
            break;
        }
        if triple.members.iter().any(|&member| used.get(member).copied().unwrap_or(true)) {
            continue;
        }
        let Some((model, agreed, text)) = attempt(views, &triple, starts) else { continue };
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
        } else if is_surely_a_symbol(views, &model, agreed) {
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
    let module = a.distance(c) / n / std::f32::consts::SQRT_2;
    let (agreed, text) = align::read(&mut model, views, module);
    (text.is_some() || is_surely_a_symbol(views, &model, agreed)).then(|| Symbol {
        corners: model.corners(),
        modules,
        text,
    })
}

/// Fits a triple and tries to read it, with every size that it may have: the best model, how well it agrees with the picture, and the
/// text.
fn attempt(views: Views<'_>, triple: &Triple, starts: &mut Starts) -> Option<(Model, f32, Option<Text>)> {
    let full = full_contrast(views.contrast, &triple.points, triple.module);
    let off = |modules: &u8| (f32::from(*modules) - triple.modules).abs();
    let mut sizes = SIZES;
    sizes.sort_by(|a, b| off(a).total_cmp(&off(b)));
    let mut best: Option<(Model, f32)> = None;
    for modules in sizes.into_iter().filter(|size| off(size) <= NEAR_SIZE * triple.modules) {
        let shown = must_show(modules);
        let mut model = Model::flat(triple.points, modules);
        // Most labels lie flat under the camera, and then there is nothing to fit.
        if model.score(views.contrast, &shown, full) > 0.55
            && let Some(text) = model.decode(views, &[])
        {
            return Some((model, 1.0, Some(text)));
        }
        model.search_fourth(views, &shown, full, triple.module);
        let score = model.score(views.contrast, &shown, full);
        if score < WORTH_ALIGNING || !starts.is_new(&model, SAME * triple.module) {
            continue;
        }
        let (agreed, text) = align::read(&mut model, views, triple.module);
        if text.is_some() {
            return Some((model, agreed, text));
        }
        if best.as_ref().is_none_or(|&(_, old)| agreed > old) {
            best = Some((model, agreed));
        }
    }
    best.map(|(model, agreed)| (model, agreed, None))
}

/// Whether there is no doubt that a symbol was there: it agrees with itself, and what every symbol shows is shown, the timing lines
/// for themselves too: rings alone may be anything.
pub(super) fn is_surely_a_symbol(views: Views<'_>, model: &Model, agreed: f32) -> bool {
    let shown = must_show(model.modules);
    let quiet = shown.len() - 4 * usize::from(model.modules);
    let timing = shown.get(3 * RING..quiet).unwrap_or_default();
    let [a, b, _, c] = model.finders();
    let module = a.distance(b) / (f32::from(model.modules) - 7.0);
    let full = full_contrast(views.contrast, &[a, b, c], module);
    agreed >= SURE
        && model.score(views.contrast, &shown, full) >= SURELY_SHOWN
        && model.score(views.contrast, timing, full) >= SURELY_TIMED
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

/// A side of a symbol: from one finder to the next.
#[derive(Debug, Clone, Copy)]
pub(super) struct Side {
    /// Modules that a symbol with this side has.
    pub(super) modules: f32,
    /// How badly both frames fit to it.
    pub(super) blame: f32,
    /// A module's way by the frame at its beginning.
    pub(super) from: Way,
    /// And at its end.
    pub(super) to: Way,
}

/// Whether one finder could be followed by another along a symbol's side.
pub(super) fn side(a: &Frame, b: &Frame) -> Option<Side> {
    let way = Point { x: b.at.x - a.at.x, y: b.at.y - a.at.y };
    let length = way.x.hypot(way.y);
    let (from, to) = (a.towards(way), b.towards(way));
    let [one, other] = [from, to].map(|at| at.along.x.hypot(at.along.y));
    let off = |at: Way, own: f32| (at.along.x * way.y - at.along.y * way.x).abs() / (own * length);
    let (off_a, off_b) = (off(from, one), off(to, other));
    let ratio = one.max(other) / one.min(other);
    let modules = 2.0 * length / (one + other) + 7.0;
    let fits = off_a < MOST_OFF && off_b < MOST_OFF && ratio < 2.2 && ANY_SIZE.contains(&modules);
    fits.then_some(Side { modules, blame: off_a + off_b + 0.3 * (ratio - 1.0), from, to })
}

/// Triples of finders that could be corners of one symbol, best first.
fn triples(frames: &[Frame]) -> Vec<Triple> {
    let mut all = Vec::new();
    for (i, a) in frames.iter().enumerate() {
        let sides: Vec<(usize, Side)> = frames
            .iter()
            .enumerate()
            .filter(|&(j, _)| j != i)
            .filter_map(|(j, b)| Some((j, side(a, b)?)))
            .collect();
        for (j, across) in &sides {
            for (k, down) in &sides {
                if let (Some(b), Some(c)) = (frames.get(*j), frames.get(*k)) {
                    all.extend(triple([(i, a), (*j, b), (*k, c)], across, down));
                }
            }
        }
    }
    all.sort_by(|a, b| a.blame.total_cmp(&b.blame));
    all.truncate(MOST_TRIPLES);
    all
}

/// Judges three finders as upper left, upper right, lower left.
fn triple([(i, a), (j, b), (k, c)]: [(usize, &Frame); 3], across: &Side, down: &Side) -> Option<Triple> {
    // Where the side across sets out, the side down must set out at a right angle to it, clockwise.
    if across.from.aside.distance(down.from.along) > 1e-3 {
        return None;
    }
    let ratio = across.modules.max(down.modules) / across.modules.min(down.modules);
    let modules = f32::midpoint(across.modules, down.modules);
    let nearest = SIZES.map(|size| (f32::from(size) - modules).abs());
    let off_size = nearest.into_iter().fold(f32::MAX, f32::min) / modules;
    (ratio < 1.5).then(|| Triple {
        blame: across.blame + down.blame + (ratio - 1.0) + off_size,
        members: [i, j, k],
        points: [a.at, b.at, c.at],
        modules,
        module: (a.module() + b.module() + c.module()) / 3.0,
    })
}
