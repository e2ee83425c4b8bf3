//! Symbols of which only two finder patterns can be seen: the third lies under a scratch, a finger or glare, or turns away.
//!
//! The place of the third is searched wherever a label that leans or bends away may have it; the likeliest guesses of all pairs
//! are then aligned, best first. Dear, so this comes after all that needs three.

use super::align::{self, Starts};
use super::fence::Deadline;
use super::fit::{self, ANY_SIZE, MOST_OFF, NEAR_SIZE, SIZES, Symbol, full_contrast};
use super::frame::{Frame, Way};
use super::model::{Model, RING, Views, must_show};
use super::picture::Point;

/// The most guesses that are aligned, likeliest first.
const MOST_GUESSES: usize = 60;
/// Share of what a symbol must show from which a guess is worth aligning.
const WORTH_ALIGNING: f32 = 0.27;
/// How near and how far the third finder may lie, as a share of where the frames of the other two have it, and how far aside, as a
/// share of the pair's distance.
const NEAREST: f32 = 0.6;
const FARTHEST: f32 = 1.2;
const ASIDE: f32 = 0.2;
/// How near two guesses must be to be the same, modules.
const SAME: f32 = 0.8;
/// How many places are looked at closely, after a look at the third finder and the timing lines alone.
const LOOKS: usize = 24;
/// How many of these are fitted.
const CLOSE_LOOKS: usize = 3;
/// Step of that search, modules.
const STEP: f32 = 0.9;

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

/// A place for a third finder.
struct Guess {
    score: f32,
    pair: [usize; 2],
    model: Model,
    module: f32,
}

/// Reads what pairs of finder patterns give that are part of no symbol yet.
pub(super) fn symbols(
    views: Views<'_>,
    frames: &[Frame],
    starts: &mut Starts,
    deadline: &Deadline,
) -> Vec<Symbol> {
    let mut guesses: Vec<Guess> = Vec::new();
    for (i, a) in frames.iter().enumerate() {
        for (j, b) in frames.iter().enumerate() {
            if i == j || deadline.is_over() {
                continue;
            }
            let beside = fit::side(a, b).into_iter().flat_map(|side| {
                let [one, two] = [Role::Top, Role::Left];
                [(one, side.modules, third(one, a, side)), (two, side.modules, third(two, a, side))]
            });
            for (role, modules, nominal) in beside.chain(diagonal(a, b)) {
                guesses.extend(guess(views, ([i, j], [a, b]), role, modules, nominal));
            }
        }
    }
    guesses.sort_by(|a, b| b.score.total_cmp(&a.score));
    let mut used = vec![false; frames.len()];
    let mut symbols = Vec::new();
    let mut tried = 0;
    for mut guess in guesses {
        if deadline.is_over() || tried == MOST_GUESSES {
            break;
        }
        if guess.pair.iter().any(|&place| used.get(place) == Some(&true)) {
            continue;
        }
        if !starts.is_new(&guess.model, SAME * guess.module) {
            continue;
        }
        tried += 1;
        let (agreed, text) = align::read(&mut guess.model, views, guess.module);
        if text.is_some() {
            for place in guess.pair {
                if let Some(flag) = used.get_mut(place) {
                    *flag = true;
                }
            }
        } else if !fit::is_surely_a_symbol(views, &guess.model, agreed) {
            continue;
        }
        symbols.push(Symbol { corners: guess.model.corners(), modules: guess.model.modules, text });
    }
    symbols
}

/// Where the frames of two finders beside each other have the third.
fn third(role: Role, a: &Frame, side: fit::Side) -> Point {
    // The first is the upper left one; the third is as far from it as the second, along a way that goes with it.
    let aside = Point {
        x: f32::midpoint(side.from.aside.x, side.to.aside.x),
        y: f32::midpoint(side.from.aside.y, side.to.aside.y),
    };
    let far = match role {
        Role::Left => 7.0 - side.modules,
        _ => side.modules - 7.0,
    };
    Point { x: a.at.x + far * aside.x, y: a.at.y + far * aside.y }
}

/// Two finders as upper right and lower left: the modules of the symbol, and where the upper left one would be.
fn diagonal(a: &Frame, b: &Frame) -> Option<(Role, f32, Point)> {
    let way = Point { x: b.at.x - a.at.x, y: b.at.y - a.at.y };
    let length = way.x.hypot(way.y);
    // From upper right to lower left: down, less across.
    let across = |at: Way| Point { x: at.aside.x - at.along.x, y: at.aside.y - at.along.y };
    let nearest = |frame: &Frame| {
        let nearness = |at: &Way| (across(*at).x * way.x + across(*at).y * way.y) / length;
        frame.ways().into_iter().max_by(|one, other| nearness(one).total_cmp(&nearness(other)))
    };
    let (from, to) = (nearest(a)?, nearest(b)?);
    let [one, other] = [from, to].map(across);
    let off = |at: Point| (at.x * way.y - at.y * way.x).abs() / (at.x.hypot(at.y) * length);
    let modules = 2.0 * length / (one.x.hypot(one.y) + other.x.hypot(other.y)) + 7.0;
    if off(one) > MOST_OFF || off(other) > MOST_OFF || !ANY_SIZE.contains(&modules) {
        return None;
    }
    let far = modules - 7.0;
    let by_a = Point { x: a.at.x - far * from.along.x, y: a.at.y - far * from.along.y };
    let by_b = Point { x: b.at.x - far * to.aside.x, y: b.at.y - far * to.aside.y };
    Some((
        Role::Diagonal,
        modules,
        Point { x: f32::midpoint(by_a.x, by_b.x), y: f32::midpoint(by_a.y, by_b.y) },
    ))
}

/// The likeliest places of the third finder, for every size that the symbol may have.
fn guess(
    views: Views<'_>,
    (pair, [a, b]): ([usize; 2], [&Frame; 2]),
    role: Role,
    size: f32,
    nominal: Point,
) -> Vec<Guess> {
    let module = f32::midpoint(a.module(), b.module());
    let full = full_contrast(views.contrast, &[a.at, b.at], module);
    let (dx, dy) = (b.at.x - a.at.x, b.at.y - a.at.y);
    let from = match role {
        Role::Top | Role::Left => a.at,
        Role::Diagonal => Point { x: f32::midpoint(a.at.x, b.at.x), y: f32::midpoint(a.at.y, b.at.y) },
    };
    let axis = (nominal.x - from.x, nominal.y - from.y);
    let step = STEP * module;
    let mut guesses = Vec::new();
    for modules in SIZES {
        if (f32::from(modules) - size).abs() > NEAR_SIZE * size {
            continue;
        }
        let place = |far: f32, aside: f32| {
            let third =
                Point { x: from.x + far * axis.0 + aside * dx, y: from.y + far * axis.1 + aside * dy };
            let three = match role {
                Role::Top => [a.at, b.at, third],
                Role::Left => [a.at, third, b.at],
                Role::Diagonal => [third, a.at, b.at],
            };
            Model::flat(three, modules)
        };
        let shown = must_show(modules);
        let ring = match role {
            Role::Top => 2 * RING..3 * RING,
            Role::Left => RING..2 * RING,
            Role::Diagonal => 0..RING,
        };
        let timing = 3 * RING..3 * RING + 2 * usize::from(modules - 14);
        let telling: Vec<(f32, f32, f32)> =
            [ring, timing].into_iter().filter_map(|part| shown.get(part)).flatten().copied().collect();
        let mut likeliest: Vec<(f32, Model)> = Vec::new();
        for far in steps(NEAREST, FARTHEST, step / axis.0.hypot(axis.1)) {
            for aside in steps(-ASIDE, ASIDE, step / dx.hypot(dy)) {
                let model = place(far, aside);
                likeliest.push((model.score(views.contrast, &telling, full), model));
            }
        }
        likeliest.sort_by(|a, b| b.0.total_cmp(&a.0));
        likeliest.truncate(LOOKS);
        for (score, model) in &mut likeliest {
            *score = model.score(views.contrast, &shown, full);
        }
        likeliest.sort_by(|a, b| b.0.total_cmp(&a.0));
        likeliest.truncate(CLOSE_LOOKS);
        for (_, mut model) in likeliest {
            model.search_fourth(views, &shown, full, module);
            let score = model.score(views.contrast, &shown, full);
            if score >= WORTH_ALIGNING {
                guesses.push(Guess { score, pair, model, module });
            }
        }
    }
    guesses
}

/// Numbers from one to another.
fn steps(from: f32, to: f32, step: f32) -> impl Iterator<Item = f32> {
    std::iter::successors(Some(from), move |at| Some(at + step)).take_while(move |&at| at <= to)
}
