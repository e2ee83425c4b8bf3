//! The simple forecasts that a fleet's model has to beat: chances that a pack's next reading is below the limit.

use packmuster::stats::normal;

use super::score;
use super::split::{self, Case, Known, Split};
use super::world::{BIAS_MAH, NOISE_MAH, Read};

/// Drifts of the slope to choose from: variance per hundred cycles of a slope in mAh per hundred cycles.
const DRIFTS: [f64; 9] = [0.0, 3.0, 10.0, 30.0, 60.0, 100.0, 200.0, 400.0, 800.0];
/// The variance of a reading with a gross error, as a multiple of others'.
const GROSS_VARIANCE: f64 = 100.0;

/// Variance of a reading of one pack, noise and slot, as if told by the makers of the benches.
fn nominal() -> f64 {
    NOISE_MAH.powi(2) + BIAS_MAH.powi(2)
}

/// The last reading, as if packs did not fade, with nominal noise in both readings.
pub(crate) fn last_reading(split: &Split, case: &Case) -> f64 {
    last(split, case)
        .map_or(f64::NAN, |(_, last)| normal::below((split.limit - last.mah) / (2.0 * nominal()).sqrt()))
}

fn last<'a>(split: &Split<'a>, case: &Case) -> Option<(Known<'a>, &'a Read)> {
    let known = split.before(case)?;
    Some((known, known.reads.last()?))
}

/// The fade of the whole fleet from reading to reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct FleetFade {
    /// Change of capacity in mAh per hundred cycles; below 0 if packs fade.
    pub(crate) slope: f64,
    /// Standard deviation of a step about it, in mAh.
    pub(crate) spread: f64,
}

impl FleetFade {
    /// Learns from all steps that were known.
    pub(crate) fn learn(split: &Split) -> Self {
        let steps = || {
            let pairs =
                split.known.iter().flat_map(|known| known.reads.iter().zip(known.reads.iter().skip(1)));
            pairs.map(|(first, second)| (second.use_ - first.use_, second.mah - first.mah))
        };
        let (use_, change) = steps().fold((0.0, 0.0), |sum, step| (sum.0 + step.0, sum.1 + step.1));
        let slope = change / use_;
        let (count, squares) = steps().fold((0.0, 0.0), |(count, squares), (use_, change)| {
            (count + 1.0, squares + (change - slope * use_).powi(2))
        });
        Self { slope, spread: f64::sqrt(squares / count) }
    }

    /// The last reading, moved on by the fade of the fleet.
    pub(crate) fn forecast(&self, split: &Split, case: &Case) -> f64 {
        last(split, case).map_or(f64::NAN, |(_, last)| {
            let expected = last.mah + self.slope * (case.use_ - last.use_);
            normal::below((split.limit - expected) / self.spread)
        })
    }

    /// The pack's own line by least squares with nominal noise; with fewer than two readings, as [`FleetFade::forecast`].
    pub(crate) fn line(&self, split: &Split, case: &Case) -> f64 {
        let own = split.before(case).and_then(|known| prediction(known.reads, case.use_));
        own.map_or_else(
            || self.forecast(split, case),
            |(expected, variance)| normal::below((split.limit - expected) / variance.sqrt()),
        )
    }
}

/// The next reading by the least-squares line, and its variance with nominal noise; none if the readings carry no line.
fn prediction(reads: &[Read], use_: f64) -> Option<(f64, f64)> {
    let mut count = 0.0;
    let (mut middle, mut mean, mut squares, mut products) = (0.0, 0.0, 0.0, 0.0);
    for read in reads {
        count += 1.0;
        let off = read.use_ - middle;
        middle += off / count;
        mean += (read.mah - mean) / count;
        squares += off * (read.use_ - middle);
        products += off * (read.mah - mean);
    }
    if squares <= 0.0 {
        return None;
    }
    let ahead = use_ - middle;
    let expected = mean + products / squares * ahead;
    Some((expected, nominal() * (1.0 + 1.0 / count + ahead * ahead / squares)))
}

/// What a filter knows of a fleet before it looks at one pack.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Population {
    /// By make: capacity of new packs in mAh, and its change in mAh per hundred cycles.
    pub(crate) means: Vec<[f64; 2]>,
    /// Between packs: variance of the capacity when new, covariance, variance of the slope.
    pub(crate) covariance: [f64; 3],
    /// The bias of each slot, in mAh.
    pub(crate) biases: Vec<f64>,
    /// The variance of the slots' biases, in mAh squared.
    pub(crate) bias_variance: f64,
    /// The variance of a reading without a gross error, in mAh squared.
    pub(crate) noise_variance: f64,
    /// Share of readings with a gross error.
    pub(crate) gross: f64,
}

/// A Kalman filter for each pack, in the clock of its use: the capacity changes by the slope, and the slope drifts.
///
/// A reading that fits badly weighs less, by its chance to hold a gross error.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Kalman<'a> {
    population: &'a Population,
    /// Variance that the slope gains per hundred cycles.
    pub(crate) drift: f64,
}

impl<'a> Kalman<'a> {
    /// A filter of a given drift.
    pub(crate) fn new(population: &'a Population, drift: f64) -> Self {
        Self { population, drift }
    }

    /// The filter whose drift forecasts the readings of the last days before the cut best, by log-loss.
    pub(crate) fn learn(split: &Split, population: &'a Population, days: i32) -> Self {
        let cases = split.rehearsals(days);
        let events = split::events(&cases);
        let loss = |drift: f64| {
            let filter = Self::new(population, drift);
            let chances: Vec<f64> = cases.iter().map(|case| filter.forecast(split, case)).collect();
            score::log_loss(&chances, &events)
        };
        let best = DRIFTS.map(|drift| (drift, loss(drift))).into_iter().min_by(|a, b| a.1.total_cmp(&b.1));
        Self::new(population, best.map_or(0.0, |(drift, _)| drift))
    }

    /// The chance that the next reading is below the limit.
    pub(crate) fn forecast(&self, split: &Split, case: &Case) -> f64 {
        let known = split.before(case);
        known.and_then(|known| self.state(known, case.use_)).map_or(f64::NAN, |state| {
            let noise = self.population.noise_variance;
            let usual = state.variance[0] + noise + self.population.bias_variance;
            let below = |variance: f64| normal::below((split.limit - state.mean[0]) / variance.sqrt());
            let gross = self.population.gross;
            (1.0 - gross) * below(usual) + gross * below(usual + (GROSS_VARIANCE - 1.0) * noise)
        })
    }

    /// What is believed of a pack at a use, after its readings.
    fn state(&self, known: Known, use_: f64) -> Option<State> {
        let mean = *self.population.means.get(usize::from(known.make))?;
        let mut state = State { mean, variance: self.population.covariance };
        let mut before = 0.0;
        for read in known.reads {
            let bias = self.population.biases.get(usize::from(read.slot))?;
            state.go(read.use_ - before, self.drift);
            state.see(read.mah - bias, self.population);
            before = read.use_;
        }
        state.go(use_ - before, self.drift);
        Some(state)
    }
}

/// A belief about one pack.
#[derive(Debug, Clone, Copy)]
struct State {
    /// Capacity in mAh, and slope in mAh per hundred cycles.
    mean: [f64; 2],
    /// Variance of the capacity, covariance, variance of the slope.
    variance: [f64; 3],
}

impl State {
    /// Goes on by some use.
    fn go(&mut self, use_: f64, drift: f64) {
        let [level, both, slope] = self.variance;
        self.mean[0] += self.mean[1] * use_;
        self.variance = [
            level + use_ * (2.0 * both + use_ * (slope + drift * use_ / 3.0)),
            both + use_ * (slope + drift * use_ / 2.0),
            slope + drift * use_,
        ];
    }

    /// Takes in a reading without its slot's bias.
    fn see(&mut self, mah: f64, population: &Population) {
        let [level, both, slope] = self.variance;
        let noise = population.noise_variance;
        let off = mah - self.mean[0];
        let likelihood =
            |share: f64, variance: f64| share.ln() - 0.5 * (off * off / variance + variance.ln());
        let usual = likelihood(1.0 - population.gross, level + noise);
        let gross = likelihood(population.gross, level + GROSS_VARIANCE * noise);
        let chance = 1.0 / (1.0 + (usual - gross).exp());
        let weight = 1.0 - chance + chance / GROSS_VARIANCE;
        let total = level + noise / weight;
        let gain = [level / total, both / total];
        self.mean = [self.mean[0] + gain[0] * off, self.mean[1] + gain[1] * off];
        self.variance = [level - gain[0] * level, both - gain[0] * both, slope - gain[1] * both];
    }
}
