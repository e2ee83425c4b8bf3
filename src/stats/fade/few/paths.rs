//! Futures of the pack asked about: for each draw of the parameters, its line and its wandering now are drawn exactly, and then
//! step by step what will be read.

use nalgebra::{Cholesky, Matrix2, Vector2};
use rand::Rng;

use super::filter::{Known, Pack, Parameters};
use super::search::normal_pair;
use super::{Ask, Past};
use crate::stats::fade::kernel::count;

/// Futures for each draw of the parameters.
const PATHS: usize = 25;

/// What is foreseen of a pack.
#[derive(Debug, Clone, PartialEq)]
pub struct Foresight {
    /// How good it is at each clock that was asked for.
    pub levels: Vec<Level>,
    /// Learners that were read often enough to count.
    pub learners: usize,
    /// Readings left out as gross errors, of those learners and of the pack.
    pub left_out: usize,
    /// When each drawn future first reads below the limit, soonest first; infinite when not within the horizon.
    first_below: Vec<f64>,
}

/// What the pack truly has at a clock: all but the independent error of a reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// The clock.
    pub clock: f64,
    /// What it has more than in as many futures as it has less than [`Level::high`].
    pub low: f64,
    /// What it has in the middle.
    pub median: f64,
    /// See [`Level::low`]; the two enclose the share that was asked for.
    pub high: f64,
    /// The chance that it has less than the limit.
    pub below: f64,
}

impl Foresight {
    /// The clock by which the pack has read below the limit in a share of futures, by nearest rank; `None` when that is beyond the
    /// horizon (or the share is not between 0 and 1).
    ///
    /// What counts is the first reading at one of the clocks asked for, with its error, whether or not an earlier one was
    /// below already.
    pub fn first_below(&self, share: f64) -> Option<f64> {
        let nearest = rank(share, self.draws());
        self.first_below.get(nearest?).copied().filter(|clock| clock.is_finite())
    }

    /// The chance that the pack has read below the limit by a clock; `None` beyond the horizon.
    pub fn chance_by(&self, clock: f64) -> Option<f64> {
        let horizon = self.levels.last()?.clock;
        let below = self.first_below.partition_point(|&first| first <= clock);
        (clock <= horizon).then(|| count(below) / count(self.draws()))
    }

    /// How many futures were drawn.
    pub fn draws(&self) -> usize {
        self.first_below.len()
    }
}

/// Follows the pack into the future; `None` when a draw cannot be reckoned with.
pub(super) fn follow(
    past: &Past,
    draws: &[Parameters],
    ask: &Ask,
    random: &mut impl Rng,
) -> Option<Foresight> {
    let pack = past.packs.first()?;
    let futures = draws.len() * PATHS;
    let mut levels = vec![Vec::with_capacity(futures); ask.clocks.len()];
    let mut first_below = Vec::with_capacity(futures);
    for parameters in draws {
        let now = Now::new(past, past.known(parameters)?)?;
        let road = Road::new(past, pack, parameters, &ask.clocks);
        for _ in 0..PATHS {
            let place = road.walk(&now, ask.limit, &mut levels, random);
            first_below.push(place.and_then(|place| ask.clocks.get(place).copied()).unwrap_or(f64::INFINITY));
        }
    }
    first_below.sort_by(f64::total_cmp);
    let levels = ask.clocks.iter().zip(levels).filter_map(|(&clock, drawn)| level(clock, drawn, ask));
    Some(Foresight {
        levels: levels.collect(),
        learners: past.learners,
        left_out: past.left_out,
        first_below,
    })
}

fn level(clock: f64, mut drawn: Vec<f64>, ask: &Ask) -> Option<Level> {
    let below = drawn.iter().filter(|&&value| value < ask.limit).count();
    let below = count(below) / count(drawn.len());
    let mut at = |share: f64| {
        let nearest = rank(share, drawn.len())?;
        Some(*drawn.select_nth_unstable_by(nearest, f64::total_cmp).1)
    };
    let tail = 0.5 * (1.0 - ask.within);
    Some(Level { clock, low: at(tail)?, median: at(0.5)?, high: at(1.0 - tail)?, below })
}

/// The place of a share among so many sorted values: the nearest.
#[expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a rounded number between 0 and a count is a place"
)]
fn rank(share: f64, number: usize) -> Option<usize> {
    let last = number.checked_sub(1)?;
    (0.0..=1.0).contains(&share).then(|| ((share * count(last)).round() as usize).min(last))
}

/// Where the pack stands at its last reading, ready to be drawn from.
struct Now {
    known: Known,
    /// The line that everything else is about.
    line: Vector2<f64>,
    /// Roots of covariances: of the common line, and of the pack's own.
    common_root: Matrix2<f64>,
    own_root: Matrix2<f64>,
}

impl Now {
    fn new(past: &Past, known: Known) -> Option<Self> {
        // With information L L', the transposed inverse of L is a root of the covariance.
        let common_root = Cholesky::new(known.information)?.l().try_inverse()?.transpose();
        let own_root = Cholesky::new(known.own_covariance)?.l();
        Some(Self { known, line: past.line(), common_root, own_root })
    }

    /// Draws the pack's line, and its wandering.
    fn draw(&self, random: &mut impl Rng) -> (Vector2<f64>, f64) {
        let known = &self.known;
        let common = known.common + self.common_root * normal_pair(random);
        let own =
            known.own_covariance * (known.own - known.own_by * common) + self.own_root * normal_pair(random);
        let line = common + own;
        let kick = known.state_variance.sqrt() * normal_pair(random).x;
        (line + self.line, known.state - known.state_by.dot(&line) + kick)
    }
}

/// The clocks to come, under given parameters.
struct Road {
    /// For each: `x`, the share of the wandering that is kept from the one before, and the spread of what is new.
    steps: Vec<[f64; 3]>,
    noise: f64,
}

impl Road {
    fn new(past: &Past, pack: &Pack, parameters: &Parameters, clocks: &[f64]) -> Self {
        let mut before = pack.last;
        let steps = clocks.iter().map(|&clock| {
            let step = (clock - before) / parameters.memory;
            before = clock;
            let new = pack.rate * parameters.wander * (-(-2.0 * step).exp_m1()).sqrt();
            [(clock / past.whole).powf(parameters.power), (-step).exp(), new]
        });
        Self { steps: steps.collect(), noise: parameters.noise }
    }

    /// Walks it once, notes the levels, and says at which place a reading is first below the limit.
    fn walk(&self, now: &Now, limit: f64, levels: &mut [Vec<f64>], random: &mut impl Rng) -> Option<usize> {
        let (line, mut wandering) = now.draw(random);
        let mut first = None;
        for (place, (&[x, kept, new], noted)) in self.steps.iter().zip(levels).enumerate() {
            let kicks = normal_pair(random);
            wandering = kept * wandering + new * kicks.x;
            let level = line.x + line.y * x + wandering;
            noted.push(level);
            if first.is_none() && level + self.noise * kicks.y < limit {
                first = Some(place);
            }
        }
        first
    }
}
