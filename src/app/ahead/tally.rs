//! Chances of many packs, month by month, and the bands that follow.

use std::sync::LazyLock;

use jiff::civil::Date;
use serde::Serialize;

use crate::stats::sum::{self, Chances, Spread};

use super::MakeAhead;
use crate::app::reckon::CERTAIN;

/// Where each chance in 65,535ths is put together with others: worked out once.
fn place_of(chance: u16) -> usize {
    static PLACES: LazyLock<Vec<usize>> =
        LazyLock::new(|| (0..=u16::MAX).map(|chance| sum::place(f64::from(chance) / CERTAIN)).collect());
    PLACES.get(usize::from(chance)).copied().unwrap_or(0)
}

/// Ends of the bands of 90 % and of 50 %.
const ENDS: [f64; 4] = [0.05, 0.25, 0.75, 0.95];

/// A band: as few as, and as many as.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Band {
    /// As few as.
    pub low: u32,
    /// As many as.
    pub high: u32,
}

/// What one month brings.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MonthAhead {
    /// The month; the first one begins when foretelling does.
    pub month: String,
    /// How many are expected to fall below their limit in it: `sum p(its end) - p(the end before)`.
    pub expected: f64,
    /// In half of all cases so many.
    pub band_50: Band,
    /// In nine of ten cases so many.
    pub band_90: Band,
    /// How many are below at its end, those that are now among them: `sum p(its end)`.
    pub below_by_end_expected: f64,
    /// In nine of ten cases so many.
    pub below_by_end_90: Band,
}

/// Chances of the packs of a make.
#[derive(Debug)]
pub(super) struct Tally {
    pub(super) packs: u32,
    pub(super) fit_here: u32,
    pub(super) unknown: u32,
    below_now: f64,
    /// For each month: falling below in it, and being below at its end.
    months: Vec<(Chances, Chances)>,
}

impl Tally {
    pub(super) fn new(months: usize) -> Self {
        let months = (0..months).map(|_| (Chances::default(), Chances::default())).collect();
        Self { packs: 0, fit_here: 0, unknown: 0, below_now: 0.0, months }
    }

    /// Adds a pack: its chance of being below at first, and at each month's end, in 65,535ths; no months where it stays at nothing.
    pub(super) fn add(&mut self, now: u16, ends: &[u16]) {
        let share = |chance: u16| (f64::from(chance) / CERTAIN, place_of(chance));
        self.below_now += share(now).0;
        let mut before = now;
        for ((month, by_end), &end) in self.months.iter_mut().zip(ends) {
            let (chance, at) = share(end.saturating_sub(before));
            month.add_at(chance, at);
            let (chance, at) = share(end);
            by_end.add_at(chance, at);
            before = end;
        }
    }

    /// Adds a pack by the law of its make.
    pub(super) fn add_worn(&mut self, now: f64, ends: &[f64]) {
        self.below_now += now;
        let mut before = now;
        for ((month, by_end), &end) in self.months.iter_mut().zip(ends) {
            month.add(end - before);
            by_end.add(end);
            before = end;
        }
    }

    pub(super) fn merge(&mut self, other: &Self) {
        self.packs += other.packs;
        self.fit_here += other.fit_here;
        self.unknown += other.unknown;
        self.below_now += other.below_now;
        for (own, others) in self.months.iter_mut().zip(&other.months) {
            own.0.merge(&others.0);
            own.1.merge(&others.1);
        }
    }

    /// How many are below at each month's end at most, with a chance.
    pub(super) fn retired(&self, months: &[Date], spread: &Spread, level: f64) -> Vec<(Date, u32)> {
        let most = |chances: &Chances| chances.quantiles(spread, &[level]).first().copied().unwrap_or(0);
        months.iter().zip(&self.months).map(|(&first, (_, by_end))| (first, most(by_end))).collect()
    }

    pub(super) fn report(&self, make: Option<String>, months: &[Date], spread: &Spread) -> MakeAhead {
        let months: Vec<MonthAhead> = months
            .iter()
            .zip(&self.months)
            .map(|(&first, (month, by_end))| {
                let [outer, inner] = bands(month, spread);
                MonthAhead {
                    month: first.strftime("%Y-%m").to_string(),
                    expected: month.mean(),
                    band_50: inner,
                    band_90: outer,
                    below_by_end_expected: by_end.mean(),
                    below_by_end_90: bands(by_end, spread)[0],
                }
            })
            .collect();
        MakeAhead {
            make,
            packs: self.packs.saturating_sub(self.unknown),
            fit_here: self.fit_here,
            not_enough_data: self.unknown,
            below_now_expected: self.below_now,
            expected: months.iter().map(|month| month.expected).sum(),
            months,
        }
    }
}

/// The bands of 90 % and 50 %.
fn bands(chances: &Chances, spread: &Spread) -> [Band; 2] {
    match chances.quantiles(spread, &ENDS)[..] {
        [lowest, low, high, highest] => [Band { low: lowest, high: highest }, Band { low, high }],
        _ => [Band { low: 0, high: 0 }; 2],
    }
}
