//! What the fleet's past teaches: how long packs are out, how makes wear out that were never read, and how true forecasts were.

use std::collections::BTreeMap;

use crate::domain::moment::Moment;
use crate::stats::life::Life;
use crate::stats::life::weibull::Weibull;
use crate::stats::sum::Spread;

use super::Doubt;
use crate::app::reckon::{MILLION, MONTHS, Raw, Reckoned, TimeSums, days_out};

/// Days of a year.
const YEAR: f64 = 365.25;
/// Failures of a make without which nothing is said of packs that were never read.
const FEWEST_FAILURES: usize = 5;

/// What was gathered.
#[derive(Debug, Default)]
pub(super) struct Past {
    times: TimeSums,
    lives: BTreeMap<Raw, Vec<Life>>,
    laws: BTreeMap<Raw, Weibull>,
    /// Month by month: expected, its variance, and observed readings below the limit.
    months: [(f64, f64, u32); MONTHS],
}

impl Past {
    pub(super) fn take(&mut self, pack: &Reckoned) {
        if let Some(times) = pack.times {
            self.times.take(times);
        }
        if let (Some(make), Some((entered, left, failed))) = (pack.make, pack.life) {
            let years = |days: u32| f64::from(days) / YEAR;
            let life = Life { entered: years(entered), left: years(left), failed };
            self.lives.entry(make).or_default().push(life);
        }
        for look in &pack.looks {
            if let Some(month) = self.months.get_mut(usize::from(look.ago)) {
                month.0 += f64::from(look.expected) / MILLION;
                month.1 += f64::from(look.variance) / MILLION;
                month.2 += u32::from(look.below);
            }
        }
    }

    /// The law of each make of which enough have failed.
    pub(super) fn fit(&mut self) {
        for (make, lives) in std::mem::take(&mut self.lives) {
            let failed = lives.iter().filter(|life| life.failed).count();
            if let Some(law) = Weibull::fit(&lives).ok().filter(|_| failed >= FEWEST_FAILURES) {
                self.laws.insert(make, law);
            }
        }
    }

    /// Share of the days since they came that packs were out until a moment: `days on loan / days in the ledger`.
    pub(super) fn days_out(&self, until: Moment) -> f64 {
        days_out(self.times, until)
    }

    /// The chance that a pack of a make that was never read is worn out after days, given that it was good at an age in days:
    /// `1 - S(age + t) / S(age)`, by the Weibull law of its make; none without enough failures.
    pub(super) fn worn(&self, make: Raw, age_days: i32) -> Option<impl Fn(u32) -> f64 + use<>> {
        let law = *self.laws.get(&make)?;
        let age = f64::from(age_days.max(0)) / YEAR;
        Some(move |days: u32| 1.0 - law.surviving_given(age + f64::from(days) / YEAR, age))
    }

    /// By what all chances may be off together. A fleet that has failed `n` times knows its rate of failing to a relative
    /// `1 / sqrt(n + 1)` (a gamma posterior of the factor on a Poisson count, with a prior worth one failure). To that is added what
    /// single months were off beyond chance: `max(0, sum((O - E)^2 - V) / sum E^2)`, by moments.
    fn variation(&self) -> f64 {
        let failed: u32 = self.months.iter().map(|month| month.2).sum();
        let own = 1.0 / (f64::from(failed) + 1.0);
        let squares: f64 = self.months.iter().map(|month| month.0 * month.0).sum();
        let beyond: f64 =
            self.months.iter().map(|&(e, v, observed)| (f64::from(observed) - e).powi(2) - v).sum();
        let shared = if squares > 0.0 && failed > 0 { (beyond / squares).max(0.0) } else { 0.0 };
        (own + shared).min(1.0).sqrt()
    }

    pub(super) fn spread(&self) -> Spread {
        Spread::of(self.variation())
    }

    pub(super) fn doubt(&self) -> Doubt {
        Doubt {
            observed: self.months.iter().map(|month| month.2).sum(),
            expected: self.months.iter().map(|month| month.0).sum(),
            variation_percent: 100.0 * self.variation(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn worn(failures: u32) -> Option<[f64; 3]> {
        let make = [0; 16];
        let life = |k: u32| Life { entered: 0.0, left: 3.0 + 0.1 * f64::from(k), failed: k < failures };
        let mut past = Past { lives: [(make, (0..20).map(life).collect())].into(), ..Past::default() };
        past.fit();
        past.worn(make, 730).map(|chance| [0, 365, 730].map(chance))
    }

    #[test]
    fn packs_that_were_never_read_go_by_their_make_s_law_if_enough_failed() {
        assert_eq!(worn(4), None);
        let [now, one, two] = worn(8).unwrap();
        assert!(now.abs() < 1e-12 && now < one && one < two && two < 1.0, "{now} {one} {two}");
    }

    #[test]
    fn doubt_falls_with_what_was_seen_and_grows_with_odd_months() {
        let even = |each: u32| {
            let (e, v) = (f64::from(each), f64::from(each) * 0.9);
            Past { months: [(e, v, each); MONTHS], ..Past::default() }
        };
        assert!((Past::default().variation() - 1.0).abs() < 1e-12, "nothing seen, nothing known");
        assert!(even(10).variation() < even(1).variation());
        let mut odd = even(10);
        for (place, month) in odd.months.iter_mut().enumerate() {
            month.2 = if place % 2 == 0 { 0 } else { 20 };
        }
        assert!(odd.variation() > 3.0 * even(10).variation());
    }
}
