//! Trying models on the past: the latest readings are foretold from what was known before each.

use super::super::bend::Along;
use super::super::calibrate::Calibration;
use super::super::clock::Clocks;
use super::super::fleet::Fleet;
use super::super::kernel::{across, count};
use super::super::model::{Model, Predictor, Seen, Warmth, When};
use super::{Lines, ROUNDS};

/// The latest days whose readings are foretold.
const DAYS: i32 = 400;
/// Packs that are tried on.
const SAMPLE: usize = 10_000;
/// Share of all readings that a trial may hold back at most.
const SHARE: f64 = 0.3;
/// And at least.
const LEAST_SHARE: f64 = 0.1;
/// The fewest failures by which models are chosen.
const FEWEST_FAILURES: usize = 10;
/// How many standard errors better the line with bends must be.
const BETTER_BY: f64 = 0.5;
/// Packs whose forecasts correct the chances.
const CALIBRATION_SAMPLE: usize = 60_000;
/// Chances nearer to nothing or certainty than this count as this: one surprise must not decide.
const EDGE: f64 = 1e-4;

/// What a trial found.
pub(super) struct Trial {
    /// Readings that were foretold.
    pub(super) cases: usize,
    /// Of those, readings below their limit.
    pub(super) failures: usize,
    /// Log-loss of the straight line, and of the line with bends.
    pub(super) losses: (f64, f64),
    /// Standard error of their difference.
    error: f64,
}

impl Trial {
    /// Learns both models from what was known before the trial's days, and foretells those; none when that is not possible.
    pub(super) fn run(
        fleet: &Fleet,
        (clocks, along, warmth): (&Clocks, Along, Warmth),
        threads: usize,
    ) -> Option<Self> {
        let cut = cut(fleet)?;
        let fleet = &fleet.thinned(SAMPLE, i32::MAX);
        let before = fleet.thinned(SAMPLE, cut);
        let lines = Lines::fit(&before, clocks, warmth, threads).ok()?;
        let straight = lines.straight(&before);
        let (bend, _) = lines.learn(&before, Some(along), ROUNDS, threads);
        let bent = Model { bend, ..straight.clone() };
        let first = foretold(fleet, &straight, cut, threads);
        let second = foretold(fleet, &bent, cut, threads);
        let failures = first.iter().filter(|(_, came)| *came).count();
        let cases = first.len();
        let differences: Vec<f64> =
            first.iter().zip(&second).map(|(first, second)| loss(*second) - loss(*first)).collect();
        let mean = |values: &[f64]| values.iter().sum::<f64>() / count(values.len());
        let difference = mean(&differences);
        let squares: Vec<f64> = differences.iter().map(|value| (value - difference).powi(2)).collect();
        let losses = |cases: &[(f64, bool)]| mean(&cases.iter().map(|case| loss(*case)).collect::<Vec<_>>());
        (failures >= FEWEST_FAILURES).then(|| Self {
            cases,
            failures,
            losses: (losses(&first), losses(&second)),
            error: (mean(&squares) / count(cases)).sqrt(),
        })
    }

    /// True when bends foretold better by more than chance alone would.
    pub(super) fn believes_bends(&self) -> bool {
        self.losses.1 - self.losses.0 < -BETTER_BY * self.error
    }
}

/// Learns how far a model's chances were off on the latest readings.
pub(super) fn calibrate(fleet: &Fleet, model: &Model, threads: usize) -> Calibration {
    let sample = fleet.thinned(CALIBRATION_SAMPLE, i32::MAX);
    let Some(from) = cut(&sample) else { return Calibration::NONE };
    Calibration::learn(&foretold(&sample, model, from, threads))
}

/// The day from which readings are held back: so many days before the last one, but neither more than a share of all readings
/// nor less than another, since the latest days of a past may hold next to nothing.
fn cut(fleet: &Fleet) -> Option<i32> {
    let mut days: Vec<i32> = fleet.iter().flat_map(|pack| pack.readings).map(|reading| reading.day).collect();
    let last = fleet.last_day()?;
    let mut before = |share: f64| {
        let place = (days.len() - part(days.len(), share)).min(days.len().checked_sub(1)?);
        Some(*days.select_nth_unstable(place).1)
    };
    let (most, least) = (before(SHARE)?, before(LEAST_SHARE)?);
    Some(last.saturating_sub(DAYS).clamp(most, least.max(most)))
}

#[expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a share of a count"
)]
fn part(of: usize, share: f64) -> usize {
    (count(of) * share) as usize
}

/// Every reading from a day on, of packs that held their limit before: the chance of falling below it, and whether it did.
pub(super) fn foretold(fleet: &Fleet, model: &Model, from: i32, threads: usize) -> Vec<(f64, bool)> {
    let predictor = Predictor::new(model.clone());
    let pieces = across(fleet.packs(), threads, |packs| {
        let mut cases = Vec::new();
        let mut seen = Seen::default();
        for pack in packs.map(|place| fleet.pack(place)) {
            for (place, pair) in pack.readings.windows(2).enumerate() {
                let [before, next] = pair else { continue };
                if next.day < from || before.capacity < pack.limit {
                    continue;
                }
                predictor.see(&pack.up_to(place + 1), &mut seen);
                let when = When { day: next.day, cycles: f64::from(next.cycles) };
                let chance = predictor.raw_chance_read_below(&seen, when, f64::from(pack.limit));
                cases.push((chance, next.capacity < pack.limit));
            }
        }
        cases
    });
    pieces.into_iter().flatten().collect()
}

fn loss((chance, came): (f64, bool)) -> f64 {
    let chance = chance.clamp(EDGE, 1.0 - EDGE);
    -if came { chance.ln() } else { (1.0 - chance).ln() }
}
