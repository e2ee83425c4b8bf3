//! Learning the model from a fleet's past: expectation over every way each pack's readings could have come about, maximisation
//! of everything that packs share.
#![expect(
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    clippy::as_conversions,
    reason = "sums over hypotheses, with bounds taken from the model's own sizes"
)]

use super::super::kernel::across;
use super::super::robust::WIDER;
use super::posterior::{Item, Prepared, Track};
use super::{Along, Bend, COMPONENTS, Component, Lift, PIECES, SHARPNESS, Tail};

/// How fine the grid of bends is, in median steps between two readings.
const FINENESS: f64 = 0.6;
/// Places of the grid at most.
const MOST_PLACES: usize = 400;
/// Bends for each pack that are assumed at first, along the whole of its life.
const FIRST_BENDS: f64 = 0.2;
/// About how many packs the first rounds look at.
const AT_FIRST: usize = 4_000;
/// Share of packs whose last reading lies within the pieces of the hazard.
const WITHIN: f64 = 0.999;
/// How many packs' worth the first spread of a component counts.
const FIRST_COUNTS: f64 = 5.0;
/// Gross errors from which their sizes are learnt.
const GROSS_ENOUGH: f64 = 30.0;

/// Lines of many packs in the model's clock: first lines, before any round.
#[derive(Debug, Clone, Default)]
pub struct Past {
    starts: Vec<usize>,
    groups: Vec<u16>,
    clock: Vec<f64>,
    other: Vec<f64>,
    level: Vec<f64>,
}

impl Past {
    /// Adds a pack's line: clock, other measure, capacity less origin and slot.
    pub fn push(&mut self, group: u16, readings: impl IntoIterator<Item = (f64, f64, f64)>) {
        if self.starts.is_empty() {
            self.starts.push(0);
        }
        for (clock, other, level) in readings {
            self.clock.push(clock);
            self.other.push(other);
            self.level.push(level);
        }
        if self.starts.last() != Some(&self.clock.len()) {
            self.starts.push(self.clock.len());
            self.groups.push(group);
        }
    }

    /// Packs with readings.
    pub fn packs(&self) -> usize {
        self.groups.len()
    }

    /// A pack's group and line.
    pub fn track(&self, pack: usize) -> (usize, Track<'_>) {
        let range = self.starts[pack]..self.starts[pack + 1];
        let track = Track {
            clock: &self.clock[range.clone()],
            other: &self.other[range.clone()],
            level: &self.level[range],
            from: 0.0,
        };
        (usize::from(self.groups[pack]), track)
    }
}

/// How learning begins and how long it goes on.
#[derive(Debug, Clone)]
pub struct Learning {
    /// What is taken off each capacity, mAh.
    pub origin: f64,
    /// Each group's line: level above the origin, and slope.
    pub lines: Vec<[f64; 2]>,
    /// Covariance of packs' lines about their group's.
    pub spread: [f64; 3],
    /// Variance of an error, and of slots.
    pub residual: f64,
    /// Variance of slots.
    pub slot: f64,
    /// Share of gross errors.
    pub gross: f64,
    /// Along what bends come; none when packs are not to bend.
    pub along: Option<Along>,
    /// The clock up to which forecasts will be asked for.
    pub until: f64,
    /// Rounds of expectation and maximisation.
    pub rounds: usize,
    /// Threads at most.
    pub threads: usize,
}

/// Learns a model, and gives the logarithm of its likelihood.
pub fn learn(past: &Past, learning: &Learning) -> (Bend, f64) {
    let mut prepared = Prepared::new(begin(past, learning));
    let mut likelihood = f64::NEG_INFINITY;
    for round in 0..=learning.rounds {
        // The first half of the rounds is far from the end anyway, and a part of the packs shows the way.
        let step = if 2 * round < learning.rounds { (past.packs() / AT_FIRST).max(1) } else { 1 };
        let sums = expect(&prepared, past, step, learning.threads);
        likelihood = sums.likelihood;
        if round < learning.rounds {
            prepared = Prepared::new(sums.maximise(prepared.model, learning));
        }
    }
    (prepared.model, likelihood)
}

/// A first model: the mixed model's lines, slopes split into a steep, a middle and a flat part.
fn begin(past: &Past, learning: &Learning) -> Bend {
    let [v0, _, v2] = learning.spread;
    let sd = v2.sqrt();
    let groups = learning
        .lines
        .iter()
        .map(|&[level, slope]| {
            let component = |weight: f64, shift: f64, share: f64| Component {
                weight,
                mean: [level, slope + shift * sd],
                spread: [v0, 0.0, share * v2],
            };
            [component(0.25, -1.2, 0.6), component(0.5, 0.0, 0.4), component(0.25, 0.8, 0.2)]
        })
        .collect();
    let along = learning.along.unwrap_or(Along::Clock);
    let mut steps = Vec::new();
    let mut ends = Vec::new();
    for pack in 0..past.packs() {
        let (group, track) = past.track(pack);
        steps.extend(track.clock.windows(2).map(|pair| pair[1] - pair[0]).filter(|step| *step > 0.0));
        let last = track.clock.len() - 1;
        ends.push(match along {
            Along::Clock => track.clock[last],
            Along::Other => track.other[last],
            Along::Fade => -learning.lines[group][1] * track.clock[last],
        });
    }
    let step = FINENESS * ranked(&mut steps, 0.5).unwrap_or(1.0);
    let reach = ranked(&mut ends, WITHIN).filter(|reach| *reach > 0.0).unwrap_or(1.0);
    let longest = past.clock.iter().copied().fold(learning.until, f64::max);
    let wide = (WIDER * learning.residual).sqrt();
    Bend {
        origin: learning.origin,
        gross: learning.gross,
        tails: [Tail { share: 0.5, mean: 0.0, spread: wide }; 2],
        residual: learning.residual,
        slot: learning.slot,
        groups,
        step,
        places: ((longest / step) as usize + 1).min(MOST_PLACES),
        along,
        width: reach / PIECES as f64,
        hazard: if learning.along.is_some() { vec![FIRST_BENDS / reach; PIECES] } else { Vec::new() },
        sharpness: [1.0 / SHARPNESS.len() as f64; SHARPNESS.len()],
        lift: Lift::default(),
    }
}

/// The value below which a share of some values lies.
fn ranked(values: &mut [f64], share: f64) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let place = ((values.len() as f64 * share) as usize).min(values.len() - 1);
    Some(*values.select_nth_unstable_by(place, f64::total_cmp).1)
}

/// What packs share, summed over every way of each.
#[derive(Clone)]
struct Sums {
    weight: Vec<[f64; COMPONENTS]>,
    mean: Vec<[[f64; 2]; COMPONENTS]>,
    square: Vec<[[f64; 3]; COMPONENTS]>,
    squares: f64,
    readings: f64,
    gross: f64,
    /// Bends, and what was at risk, in each piece of the hazard.
    bends: Vec<f64>,
    risk: Vec<f64>,
    sharpness: [f64; SHARPNESS.len()],
    /// Gross errors downwards and upwards: how many, sum, sum of squares.
    tails: [[f64; 3]; 2],
    likelihood: f64,
}

/// Sums over every `step`-th pack.
fn expect(prepared: &Prepared, past: &Past, step: usize, threads: usize) -> Sums {
    let pieces = across(past.packs().div_ceil(step), threads, |packs| {
        let mut sums = Sums::none(&prepared.model);
        let mut items = Vec::new();
        for pack in packs {
            let (group, track) = past.track(pack * step);
            sums.likelihood += prepared.weigh(group, &track, &mut items);
            sums.readings += track.clock.len() as f64;
            for item in &items {
                sums.add(prepared, group, &track, item);
            }
        }
        sums
    });
    let mut all = Sums::none(&prepared.model);
    for piece in &pieces {
        all.join(piece);
    }
    all
}

impl Sums {
    fn none(model: &Bend) -> Self {
        let groups = model.groups.len();
        Self {
            weight: vec![[0.0; COMPONENTS]; groups],
            mean: vec![[[0.0; 2]; COMPONENTS]; groups],
            square: vec![[[0.0; 3]; COMPONENTS]; groups],
            squares: 0.0,
            readings: 0.0,
            gross: 0.0,
            bends: vec![0.0; model.hazard.len()],
            risk: vec![0.0; model.hazard.len()],
            sharpness: [0.0; SHARPNESS.len()],
            tails: [[0.0; 3]; 2],
            likelihood: 0.0,
        }
    }

    fn add(&mut self, prepared: &Prepared, group: usize, track: &Track<'_>, item: &Item) {
        let (share, c) = (item.weight, item.component);
        let [a, b] = item.mean;
        self.weight[group][c] += share;
        self.mean[group][c][0] += share * a;
        self.mean[group][c][1] += share * b;
        let square = [item.spread[0] + a * a, item.spread[1] + a * b, item.spread[2] + b * b];
        for (sum, square) in self.square[group][c].iter_mut().zip(square) {
            *sum += share * square;
        }
        self.squares += share * item.squares;
        self.gross += share * item.gross.0 as f64;
        if item.gross.0 == 1 {
            let x = track.clock[item.gross.1];
            let g = item.bend.map_or(x, |(k, r)| x + SHARPNESS[r] * (x - prepared.place(k)).max(0.0));
            let off = track.level[item.gross.1] - a - b * g;
            let tail = &mut self.tails[usize::from(off > 0.0)];
            *tail = [tail[0] + share, tail[1] + share * off, tail[2] + share * off * off];
        }
        self.add_bend(prepared, track, item);
    }

    fn add_bend(&mut self, prepared: &Prepared, track: &Track<'_>, item: &Item) {
        let places = prepared.places_before(track.clock[track.clock.len() - 1]);
        if places == 0 {
            return;
        }
        let (share, width, step) = (item.weight, prepared.model.width, prepared.model.step);
        let coordinate = |x: f64| prepared.coordinate(x, track, item.mean[1]).max(0.0);
        let end = item.bend.map_or(prepared.end_of(places), |(k, _)| prepared.place(k));
        let z = coordinate(end);
        let piece = prepared.piece(z);
        for risk in &mut self.risk[..piece] {
            *risk += share * width;
        }
        self.risk[piece] += share * (z - piece as f64 * width);
        let Some((_, r)) = item.bend else { return };
        self.sharpness[r] += share;
        let (low, high) = (coordinate(end - 0.5 * step), coordinate(end + 0.5 * step));
        let (first, last) = (prepared.piece(low), prepared.piece(high));
        if first == last {
            self.bends[first] += share;
            return;
        }
        let whole = (prepared.hazard_to(high) - prepared.hazard_to(low)).max(1e-300);
        for piece in first..=last {
            let from = low.max(piece as f64 * width);
            let to = if piece == last { high } else { (piece + 1) as f64 * width };
            self.bends[piece] += share * prepared.model.hazard[piece] * (to - from) / whole;
        }
    }

    fn join(&mut self, other: &Self) {
        fn add<'a>(into: impl IntoIterator<Item = &'a mut f64>, from: impl IntoIterator<Item = &'a f64>) {
            for (into, from) in into.into_iter().zip(from) {
                *into += from;
            }
        }
        add(self.weight.iter_mut().flatten(), other.weight.iter().flatten());
        add(self.mean.iter_mut().flatten().flatten(), other.mean.iter().flatten().flatten());
        add(self.square.iter_mut().flatten().flatten(), other.square.iter().flatten().flatten());
        add(&mut self.bends, &other.bends);
        add(&mut self.risk, &other.risk);
        add(&mut self.sharpness, &other.sharpness);
        add(self.tails.iter_mut().flatten(), other.tails.iter().flatten());
        self.squares += other.squares;
        self.readings += other.readings;
        self.gross += other.gross;
        self.likelihood += other.likelihood;
    }

    /// The model under which these sums are most likely, each part with a little of what was assumed at first.
    fn maximise(&self, mut model: Bend, learning: &Learning) -> Bend {
        let first = learning.spread;
        for (group, components) in model.groups.iter_mut().enumerate() {
            let packs: f64 = self.weight[group].iter().sum();
            for (c, component) in components.iter_mut().enumerate() {
                let weight = self.weight[group][c];
                if weight < 1.0 {
                    continue;
                }
                component.weight = (weight + 1.0) / (packs + COMPONENTS as f64);
                let mean = self.mean[group][c].map(|sum| sum / weight);
                component.mean = mean;
                let outer = [mean[0] * mean[0], mean[0] * mean[1], mean[1] * mean[1]];
                let share = [1.0, 0.5, 1.0];
                for k in 0..3 {
                    let own = self.square[group][c][k] - weight * outer[k];
                    component.spread[k] =
                        (own + FIRST_COUNTS * first[k] * share[k]) / (weight + FIRST_COUNTS);
                }
            }
        }
        model.residual = self.squares / self.readings;
        model.gross = (self.gross / self.readings).clamp(1e-4, 0.2);
        let errors = self.tails[0][0] + self.tails[1][0];
        if errors > GROSS_ENOUGH {
            for (tail, [count, sum, square]) in model.tails.iter_mut().zip(self.tails) {
                let count = count.max(1e-9);
                let mean = sum / count;
                let variance = (square / count - mean * mean).max(model.residual);
                *tail = Tail { share: count / errors, mean, spread: variance.sqrt() };
            }
        } else {
            let wide = (WIDER * model.residual).sqrt();
            model.tails = [Tail { share: 0.5, mean: 0.0, spread: wide }; 2];
        }
        if !model.hazard.is_empty() {
            let (bends, risk): (f64, f64) = (self.bends.iter().sum(), self.risk.iter().sum());
            let mean = (bends / risk.max(1e-9)).max(1e-9);
            for (k, rate) in model.hazard.iter_mut().enumerate() {
                *rate = (self.bends[k] + 1.0) / (self.risk[k] + 1.0 / mean);
            }
            let sharp: f64 = self.sharpness.iter().sum();
            for (share, sum) in model.sharpness.iter_mut().zip(self.sharpness) {
                *share = (sum + 1.0) / (sharp + SHARPNESS.len() as f64);
            }
        }
        model
    }
}
