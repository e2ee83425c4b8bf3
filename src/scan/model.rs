//! Where the modules of one symbol lie in a picture, and what stands in them.
//!
//! A projective map, bowed along both axes for labels on round packs, is fitted to what every symbol of a size must show:
//! finder rings, timing lines, alignment pattern. Then each module is sampled in grey, and the decoder library corrects
//! what is wrong and judges.

use image::GrayImage;

use super::kernel;
use super::matrix::Text;
use super::picture::Point;
use super::soft;

/// How many places of the finder rings `must_show` gives before the timing lines.
const RINGS: usize = 3 * 49;

/// How much the clearness of all modules weighs beside what must be shown.
const CLEARNESS: f32 = 1.0;

/// What a bend of one module costs.
const BEND_COST: f32 = 0.02;

/// Share of what a symbol must show from which we say that one was there.
const SURELY_A_SYMBOL: f32 = 0.62;
/// The same for the timing lines alone: rings by themselves may be anything.
const SURELY_TIMED: f32 = 0.35;
/// A picture in grey and in contrast, same size.
#[derive(Debug, Clone, Copy)]
pub(super) struct Views<'a> {
    /// Plain grey.
    pub(super) grey: &'a GrayImage,
    /// Grey less its surroundings.
    pub(super) contrast: &'a GrayImage,
}

/// Where four modules of a symbol lie: the middles of the three finders and of the fourth place like them.
#[derive(Debug, Clone, Copy)]
pub(super) struct Model {
    pub(super) modules: u8,
    at: [Point; 4],
    /// By how much the middles of the upper and lower, and of the left and right sides lie off the flat map, pixels.
    bow: [Point; 2],
    /// By how many modules the far ends of both axes are foreshortened, as a round pack turns away.
    turn: [f32; 2],
}

/// A projective map from modules to pixels, bowed along both axes.
pub(super) struct Map {
    flat: [f32; 8],
    bow: [Point; 2],
    turn: [f32; 2],
    /// Half the way between the middles of two finders, modules.
    half: f32,
}

impl Map {
    pub(super) fn pixel(&self, u: f32, v: f32) -> Point {
        let [a, b, c, d, e, f, g, h] = self.flat;
        // Nothing at the finders' middles and half way between them, most beyond.
        let turned = |t: f32, turn: f32| {
            let from_middle = (t - 3.5) / self.half - 1.0;
            t - turn * from_middle * (from_middle * from_middle - 1.0)
        };
        let (u, v) = (turned(u, self.turn[0]), turned(v, self.turn[1]));
        let w = g * u + h * v + 1.0;
        // Nothing at the finders' middles, everything half way between them.
        let [along, down] = self.bow;
        let part = |t: f32| 1.0 - ((t - 3.5) / self.half - 1.0).powi(2);
        let (pu, pv) = (part(u), part(v));
        Point {
            x: (a * u + b * v + c) / w + along.x * pu + down.x * pv,
            y: (d * u + e * v + f) / w + along.y * pu + down.y * pv,
        }
    }
}

/// What a symbol must show: module coordinates and +1 for light, -1 for dark.
pub(super) fn must_show(modules: u8) -> Vec<(f32, f32, f32)> {
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
    // The quiet zone is light all around.
    let far = f32::from(modules);
    for along in 0..modules {
        let along = f32::from(along) + 0.5;
        shown.extend(
            [(along, far + 0.7), (far + 0.7, along), (along, -0.7), (-0.7, along)].map(|(u, v)| (u, v, 1.0)),
        );
    }
    shown
}

impl Model {
    /// A flat symbol with three finders at these points: upper left, upper right, lower left.
    pub(super) fn flat([a, b, c]: [Point; 3], modules: u8) -> Self {
        Self::over([a, b, Point { x: b.x + c.x - a.x, y: b.y + c.y - a.y }, c], modules)
    }

    /// A symbol whose finders, and the fourth place like them, lie at these points.
    pub(super) fn over(at: [Point; 4], modules: u8) -> Self {
        Self { modules, at, bow: [Point { x: 0.0, y: 0.0 }; 2], turn: [0.0; 2] }
    }

    /// The projective map of the unit square to a quadrilateral (Heckbert, "Fundamentals of Texture Mapping and Image
    /// Warping", 1989, section 2.2.3; from memory), with modules in place of the unit square.
    pub(super) fn map(&self) -> Map {
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
        Map { flat: [a, b, c, d, e, f, g * k / w, h * k / w], bow: self.bow, turn: self.turn, half: 0.5 / k }
    }

    /// By how many modules the fourth place lies off the parallelogram of the other three, and the sides are bowed.
    fn bend(&self) -> f32 {
        let [a, b, fourth, d] = self.at;
        let flat = Point { x: b.x + d.x - a.x, y: b.y + d.y - a.y };
        let bow: f32 = self.bow.iter().map(|bow| bow.x.hypot(bow.y)).sum();
        (flat.distance(fourth) + bow) * (f32::from(self.modules) - 7.0) / a.distance(b)
    }

    /// How much of what must be shown is shown, -1 to 1; `full` is the contrast that counts in full.
    ///
    /// A small symbol shows little near its fourth corner, so a bend costs something: without that, the fit of a sharp
    /// picture drifts where nothing holds it.
    pub(super) fn score(&self, contrast: &GrayImage, shown: &[(f32, f32, f32)], full: f32) -> f32 {
        let map = self.map();
        let (sum, count) = shown.iter().fold((0.0, 0.0), |(sum, count), &(u, v, sign)| {
            let at = map.pixel(u, v);
            (sum + sign * (kernel::sample(contrast, at.x, at.y) - 128.0).clamp(-full, full), count + full)
        });
        if count > 0.0 { sum / count - BEND_COST * self.bend() } else { 0.0 }
    }

    /// Moves the fourth corner about to where the symbol shows best.
    pub(super) fn search_fourth(
        &mut self,
        views: Views<'_>,
        shown: &[(f32, f32, f32)],
        full: f32,
        module: f32,
    ) {
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

    /// The points that a fit may move: the corners, then the bows.
    fn points(&mut self) -> impl Iterator<Item = &mut Point> {
        self.at.iter_mut().chain(&mut self.bow)
    }

    /// Moves every corner, and the bows if wanted, by ever smaller steps while that helps; gives the score reached.
    pub(super) fn descend(
        &mut self,
        views: Views<'_>,
        shown: &[(f32, f32, f32)],
        full: f32,
        steps: &[f32],
        bowed: bool,
    ) -> f32 {
        let mut best = self.score(views.contrast, shown, full);
        for &step in steps {
            for _ in 0..2 {
                for place in 0..if bowed { 6 } else { 4 } {
                    for (dx, dy) in [(step, 0.0), (-step, 0.0), (0.0, step), (0.0, -step)] {
                        let mut moved = *self;
                        if let Some(point) = moved.points().nth(place) {
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

    /// How well the middles of all modules stand clear of edges, beside what must be shown: where nothing is known of a symbol,
    /// its own modules still say where they lie.
    fn clearness(&self, contrast: &GrayImage, shown: &[(f32, f32, f32)], full: f32) -> f32 {
        let map = self.map();
        let mut sum = 0.0;
        for row in 0..self.modules {
            for column in 0..self.modules {
                let at = map.pixel(f32::from(column) + 0.5, f32::from(row) + 0.5);
                sum += (kernel::sample(contrast, at.x, at.y) - 128.0).abs().min(full);
            }
        }
        let all = f32::from(self.modules) * f32::from(self.modules) * full;
        self.score(contrast, shown, full) + CLEARNESS * sum / all
    }

    /// Moves corners and bows so that the modules stand clear.
    pub(super) fn settle(&mut self, views: Views<'_>, shown: &[(f32, f32, f32)], full: f32, steps: &[f32]) {
        let mut best = self.clearness(views.contrast, shown, full);
        let start = *self;
        let [a, b, fourth, d] = start.at;
        let reach = steps.first().copied().unwrap_or(0.0);
        for down in -4_i8..=4 {
            for across in -4_i8..=4 {
                let (x, y) = (fourth.x + f32::from(across) * reach, fourth.y + f32::from(down) * reach);
                let moved = Self { at: [a, b, Point { x, y }, d], ..start };
                let score = moved.clearness(views.contrast, shown, full);
                if score > best {
                    (best, *self) = (score, moved);
                }
            }
        }
        for &step in steps {
            for _ in 0..2 {
                for place in 0..6 {
                    for (dx, dy) in [(step, 0.0), (-step, 0.0), (0.0, step), (0.0, -step)] {
                        let mut moved = *self;
                        if let Some(point) = moved.points().nth(place) {
                            *point = Point { x: point.x + dx, y: point.y + dy };
                        }
                        let score = moved.clearness(views.contrast, shown, full);
                        if score > best {
                            (best, *self) = (score, moved);
                        }
                    }
                }
                for axis in 0..2 {
                    for by in [0.15, -0.15, 0.05, -0.05] {
                        let mut moved = *self;
                        if let Some(turn) = moved.turn.get_mut(axis) {
                            *turn += by;
                        }
                        let score = moved.clearness(views.contrast, shown, full);
                        if score > best && moved.turn.iter().all(|turn| (-0.1..0.8).contains(turn)) {
                            (best, *self) = (score, moved);
                        }
                    }
                }
            }
        }
    }

    /// Whether what is shown, beside the finder rings, leaves no doubt that a symbol was there.
    pub(super) fn is_surely_a_symbol(&self, contrast: &GrayImage, score: f32, full: f32) -> bool {
        let shown = must_show(self.modules);
        let quiet = shown.len() - 4 * usize::from(self.modules);
        let timing = shown.get(RINGS..quiet).unwrap_or_default();
        score >= SURELY_A_SYMBOL && self.score(contrast, timing, full) >= SURELY_TIMED
    }

    pub(super) fn corners(&self) -> [Point; 4] {
        let (map, n) = (self.map(), f32::from(self.modules));
        [map.pixel(0.0, 0.0), map.pixel(n, 0.0), map.pixel(n, n), map.pixel(0.0, n)]
    }

    /// Samples every module, and tries a few cuts into dark and light; `hard` tries more of them.
    pub(super) fn decode(&self, views: Views<'_>, hard: bool) -> Option<Text> {
        const TRIES: [(f32, f32); 5] = [(0.0, 0.0), (0.18, 0.0), (-0.18, 0.0), (0.0, 0.18), (0.0, -0.18)];
        const SHARPENINGS: [f32; 5] = [0.0, 0.4, 0.9, 1.6, 2.5];
        let n = usize::from(self.modules);
        for offset in TRIES {
            let grey = self.sampled(views.grey, offset);
            let light = SHARPENINGS.map(|sharpening| kernel::lightness(&grey, n, sharpening));
            if let Some(text) = light.iter().find_map(|light| soft::read(light, n, false)) {
                return Some(text);
            }
            if hard {
                // Where light falls off within the symbol, its surroundings judge better than its own neighbours.
                let contrast = self.sampled(views.contrast, offset);
                let around = [0.0, 0.5].map(|sharpening| {
                    let sharp = kernel::sharpened(&contrast, n, sharpening);
                    sharp.iter().map(|&value| value - 128.0).collect::<Vec<f32>>()
                });
                if let Some(text) = light.iter().chain(&around).find_map(|light| soft::read(light, n, true)) {
                    return Some(text);
                }
            }
        }
        None
    }

    /// The value of every module, moved by an offset in modules: the mean of nine places in it, the middle ones weighing more.
    fn sampled(&self, image: &GrayImage, (right, down): (f32, f32)) -> Vec<f32> {
        const ASIDE: [(f32, f32); 3] = [(-0.3, 1.0), (0.0, 2.0), (0.3, 1.0)];
        let (map, n) = (self.map(), usize::from(self.modules));
        let mut values = Vec::with_capacity(n * n);
        for row in 0..self.modules {
            for column in 0..self.modules {
                let (u, v) = (f32::from(column) + 0.5 + right, f32::from(row) + 0.5 + down);
                let mut sum = 0.0;
                for (du, wide) in ASIDE {
                    for (dv, high) in ASIDE {
                        let at = map.pixel(u + du, v + dv);
                        sum += wide * high * kernel::sample(image, at.x, at.y);
                    }
                }
                values.push(sum / 16.0);
            }
        }
        values
    }
}
