//! The straight part of a fleet's model: lines of makes and lots, packs' spread, slots, gross errors.

use super::super::bend::{self, Along, Bend, COMPONENTS, Component, Learning, Lift, Past, SHARPNESS, Tail};
use super::super::calibrate::Calibration;
use super::super::clock::Clocks;
use super::super::fleet::{Fleet, Pack, Reading};
use super::super::kernel::count;
use super::super::mixed::{Line, Way};
use super::super::model::{Evidence, Model, Warmth};
use super::super::robust::{self, Robust, WIDER};
use super::super::{FadeError, Readings};

/// Days beyond the last reading for which forecasts will be asked.
const AHEAD_DAYS: f64 = 1_000.0;
/// Packs read twice or more from which a group has a line of its own.
const CARRIED: usize = 2;

/// The straight part: lines of groups, packs' spread, slots, errors.
pub(super) struct Lines {
    pub(super) clocks: Clocks,
    pub(super) robust: Robust,
    pub(super) origin: f64,
    pub(super) warmth: Warmth,
}

impl Lines {
    /// Fits it. Groups too thin for a line of their own are left out, and stand where their readings are, fading like the others.
    ///
    /// # Errors
    /// When there are not enough data for a line.
    pub(super) fn fit(
        fleet: &Fleet,
        clocks: &Clocks,
        warmth: Warmth,
        threads: usize,
    ) -> Result<Self, FadeError> {
        let numbers = carried(fleet, clocks);
        let mut readings = first_lines(fleet, clocks, warmth, &numbers);
        let mut robust = robust::fit(&mut readings, &Way::restricted(threads))?;
        let (fitted, levels) = (std::mem::take(&mut robust.fit.groups), levels(fleet, warmth, &numbers));
        let mean = |of: fn(&Line) -> f64| fitted.iter().map(of).sum::<f64>() / count(fitted.len().max(1));
        let (level, slope) = (mean(|line| line.level), mean(|line| line.slope));
        let like_others = |own: Option<f64>| {
            let own = own.unwrap_or(level);
            Line { level: own, slope: slope * own / level }
        };
        let line = |(number, own): (&Option<u16>, Option<f64>)| {
            let line = number.and_then(|number| fitted.get(usize::from(number))).copied();
            line.unwrap_or_else(|| like_others(own))
        };
        robust.fit.groups = numbers.iter().zip(levels).map(line).collect();
        let origin = robust.fit.groups.first().map_or(0.0, |line| line.level);
        Ok(Self { clocks: clocks.clone(), robust, origin, warmth })
    }

    /// The model of straight lines alone.
    pub(super) fn straight(&self, fleet: &Fleet) -> Model {
        let fit = &self.robust.fit;
        let nothing = Component { weight: 0.0, mean: [0.0; 2], spread: [1.0, 0.0, 1.0] };
        let groups = fit.groups.iter().map(|line| {
            let spread = regular(fit.pack);
            let mut mixture = [nothing; COMPONENTS];
            if let Some(first) = mixture.first_mut() {
                *first = Component { weight: 1.0, mean: [line.level - self.origin, line.slope], spread };
            }
            mixture
        });
        let wide = (WIDER * fit.residual).sqrt();
        let bend = Bend {
            origin: self.origin,
            gross: self.robust.gross,
            tails: [Tail { share: 0.5, mean: 0.0, spread: wide }; 2],
            residual: fit.residual,
            slot: fit.slot,
            groups: groups.collect(),
            step: 1.0,
            places: 0,
            along: Along::Clock,
            width: 1.0,
            hazard: Vec::new(),
            sharpness: [0.0; SHARPNESS.len()],
            lift: Lift::default(),
        };
        let slopes = fit.groups.iter().map(|line| line.slope).sum::<f64>() / count(fit.groups.len().max(1));
        Model {
            clocks: self.clocks.clone(),
            bend,
            slots: fit.slots.clone(),
            islands: fit.islands,
            warmth: self.warmth,
            calibration: Calibration::NONE,
            evidence: Evidence {
                packs: fleet.packs(),
                readings: fleet.len(),
                mean_fade: slopes,
                ..Evidence::default()
            },
        }
    }

    /// Learns lines with bends (or, without a way along which they come, mixtures of straight ones) on a sample.
    pub(super) fn learn(
        &self,
        sample: &Fleet,
        along: Option<Along>,
        rounds: usize,
        threads: usize,
    ) -> (Bend, f64) {
        let fit = &self.robust.fit;
        let straight = self.straight(sample);
        let mut past = Past::default();
        let mut until: f64 = 0.0;
        for pack in sample.iter() {
            let line = pack.first_line().iter().map(|reading| {
                let (clock, other) = clock_of(&self.clocks, &pack, reading);
                (clock, other, straight.level(reading))
            });
            past.push(pack.group, line);
            if let Some(last) = pack.readings.last() {
                let days = f64::from(last.day.saturating_sub(pack.born)).max(1.0);
                let pace = 1.0 + AHEAD_DAYS / days.max(AHEAD_DAYS);
                let then = self.clocks.at(pack.group, f64::from(last.cycles) * pace, days + AHEAD_DAYS);
                until = until.max(then.0);
            }
        }
        let learning = Learning {
            origin: self.origin,
            lines: fit.groups.iter().map(|line| [line.level - self.origin, line.slope]).collect(),
            spread: regular(fit.pack),
            residual: fit.residual,
            slot: fit.slot,
            gross: self.robust.gross,
            along,
            until,
            rounds,
            threads,
        };
        bend::learn(&past, &learning)
    }
}

/// A covariance that can be inverted: a spread that the data do not show is small, not nothing.
fn regular([level, across, slope]: [f64; 3]) -> [f64; 3] {
    let (level, slope) = (level.max(1e-6), slope.max(1e-6));
    let most = 0.99 * (level * slope).sqrt();
    [level, across.clamp(-most, most), slope]
}

/// For each group its number among those that carry a line; where none does, all are asked, and the fit says what is missing.
fn carried(fleet: &Fleet, clocks: &Clocks) -> Vec<Option<u16>> {
    let mut packs = vec![0_usize; fleet.groups()];
    for pack in fleet.iter() {
        let mut line = pack.first_line().iter().map(|reading| clock_of(clocks, &pack, reading).0);
        let first = line.next();
        if line.any(|clock| Some(clock) != first)
            && let Some(count) = packs.get_mut(usize::from(pack.group))
        {
            *count += 1;
        }
    }
    let none = packs.iter().all(|packs| *packs < CARRIED);
    let mut next = 0..;
    packs.into_iter().map(|packs| if none || packs >= CARRIED { next.next() } else { None }).collect()
}

/// The mean first reading of the packs of each group that carries no line, if it has any.
fn levels(fleet: &Fleet, warmth: Warmth, numbers: &[Option<u16>]) -> Vec<Option<f64>> {
    let mut sums = vec![(0.0, 0.0); numbers.len()];
    if numbers.contains(&None) {
        for pack in fleet.iter() {
            if let (Some(first), Some((sum, packs))) =
                (pack.readings.first(), sums.get_mut(usize::from(pack.group)))
            {
                *sum += f64::from(first.capacity) - warmth.of(first.celsius);
                *packs += 1.0;
            }
        }
    }
    sums.into_iter().map(|(sum, packs)| (packs > 0.0).then(|| sum / packs)).collect()
}

/// Readings before any round, in a clock, freed of temperature, of groups that carry a line.
fn first_lines(fleet: &Fleet, clocks: &Clocks, warmth: Warmth, numbers: &[Option<u16>]) -> Readings {
    let mut readings = Readings::with_capacity(fleet.packs(), fleet.len());
    for pack in fleet.iter() {
        let Some(number) = numbers.get(usize::from(pack.group)).copied().flatten() else { continue };
        readings.push(
            number,
            pack.first_line().iter().map(|reading| {
                let capacity = f64::from(reading.capacity) - warmth.of(reading.celsius);
                (single(clock_of(clocks, &pack, reading).0), single(capacity), reading.slot)
            }),
        );
    }
    readings
}

pub(super) fn clock_of(clocks: &Clocks, pack: &Pack<'_>, reading: &Reading) -> (f64, f64) {
    let days = f64::from(reading.day.saturating_sub(pack.born));
    clocks.at(pack.group, f64::from(reading.cycles), days)
}

#[expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    reason = "readings are kept in single precision"
)]
pub(super) const fn single(value: f64) -> f32 {
    value as f32
}
