//! Symbols of which only two finder patterns can be seen: the third lies under a scratch, a finger or glare.
//!
//! Dear, since the place of the third must be searched; so this comes after all that needs three.

use super::fence::Deadline;
use super::fit::{Symbol, full_contrast, point};
use super::kernel::Finder;
use super::model::{Model, Views, must_show};
use super::picture::Point;

/// The most pairs that are tried in one picture, nearest first.
const MOST_PAIRS: usize = 160;
/// Share of what a symbol must show from which a guess is worth fitting, and a fit worth decoding.
const WORTH_FITTING: f32 = 0.3;
const WORTH_DECODING: f32 = 0.42;
/// How far the place of the third finder is searched, in steps of 0.8 modules.
const REACH: i8 = 4;

/// Which two finders a pair may be.
#[derive(Debug, Clone, Copy)]
enum Role {
    /// Upper left and upper right.
    Top,
    /// Upper left and lower left: the pair is turned by a quarter.
    Left,
    /// Upper right and lower left.
    Diagonal,
}

/// Reads what pairs of finder patterns give that are part of no symbol yet.
pub(super) fn symbols(views: Views<'_>, finders: &[Finder], deadline: &Deadline) -> Vec<Symbol> {
    let mut pairs: Vec<(f32, usize, usize)> = Vec::new();
    for (i, a) in finders.iter().enumerate() {
        for (j, b) in finders.iter().enumerate() {
            let (apart, module) = ((a.x - b.x).hypot(a.y - b.y), (a.span + b.span) / 14.0);
            let alike = a.span < 1.5 * b.span && b.span < 1.5 * a.span;
            if i != j && alike && apart > 9.0 * module && apart < 40.0 * module {
                pairs.push((apart, i, j));
            }
        }
    }
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    pairs.truncate(MOST_PAIRS);
    let mut used = vec![false; finders.len()];
    let mut symbols = Vec::new();
    for (_, i, j) in pairs {
        if deadline.is_over() {
            break;
        }
        let (Some(a), Some(b)) = (finders.get(i), finders.get(j)) else { continue };
        if [i, j].iter().any(|&place| used.get(place) == Some(&true)) {
            continue;
        }
        if let Some(symbol) = attempt(views, a, b) {
            for place in [i, j] {
                if let Some(flag) = used.get_mut(place) {
                    *flag = true;
                }
            }
            symbols.push(symbol);
        }
    }
    symbols
}

/// Tries every role of a pair and every size that it may have.
fn attempt(views: Views<'_>, a: &Finder, b: &Finder) -> Option<Symbol> {
    let (one, other, module) = (point(a), point(b), (a.span + b.span) / 14.0);
    let full = full_contrast(views.contrast, &[one, other], module);
    let (dx, dy) = (other.x - one.x, other.y - one.y);
    for role in [Role::Top, Role::Left, Role::Diagonal] {
        // Upper left, upper right, lower left, with the free one where a square would have it.
        let (three, free, side) = match role {
            Role::Top => {
                let third = Point { x: one.x - dy, y: one.y + dx };
                ([one, other, third], 2, dx.hypot(dy))
            }
            Role::Left => {
                let third = Point { x: one.x + dy, y: one.y - dx };
                ([one, third, other], 1, dx.hypot(dy))
            }
            // A diagonal pair has an order: each comes once.
            Role::Diagonal => {
                let middle = Point { x: one.x + dx / 2.0, y: one.y + dy / 2.0 };
                let third = Point { x: middle.x - dy / 2.0, y: middle.y + dx / 2.0 };
                ([third, one, other], 0, dx.hypot(dy) / std::f32::consts::SQRT_2)
            }
        };
        for modules in [21_u8, 25, 29] {
            // A finder that lies askew is cut along more than its width.
            let guess = side / (module * 0.93) + 7.0;
            if (f32::from(modules) - guess).abs() > 5.0 {
                continue;
            }
            if let Some(text) = fitted(views, (three, free), modules, module, full) {
                return Some(text);
            }
        }
    }
    None
}

/// Searches the free finder's place, fits, and reads.
fn fitted(
    views: Views<'_>,
    (three, free): ([Point; 3], usize),
    modules: u8,
    module: f32,
    full: f32,
) -> Option<Symbol> {
    let shown = must_show(modules);
    let mut best: Option<(f32, Model)> = None;
    for down in -REACH..=REACH {
        for across in -REACH..=REACH {
            let mut moved = three;
            if let Some(place) = moved.get_mut(free) {
                place.x += f32::from(across) * 0.8 * module;
                place.y += f32::from(down) * 0.8 * module;
            }
            let model = Model::flat(moved, modules);
            let score = model.score(views.contrast, &shown, full);
            if best.is_none_or(|(old, _)| score > old) {
                best = Some((score, model));
            }
        }
    }
    let (score, mut model) = best.filter(|(score, _)| *score >= WORTH_FITTING)?;
    let steps = [0.9, 0.5, 0.25, 0.12].map(|share| share * module);
    let score = model.descend(views, &shown, full, &steps, true).max(score);
    let text = (score >= WORTH_DECODING).then(|| model.decode(views, true)).flatten()?;
    Some(Symbol { corners: model.corners(), modules, text: Some(text) })
}
