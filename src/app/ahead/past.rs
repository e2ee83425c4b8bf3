//! What the fleet's past teaches: how long packs are out, how makes wear out that were never read, and how true forecasts were.

use std::collections::BTreeMap;

use crate::domain::facts::{Facts, LoanFacts};
use crate::domain::ids::{MakeId, ThingKind};
use crate::domain::moment::Moment;
use crate::domain::pack::PackFacts;
use crate::ledger::learnt::{Seer, day};
use crate::ledger::settings::Settings;
use crate::ledger::{Ledger, LedgerError};
use crate::stats::fade::model::{Seen, When};
use crate::stats::life::Life;
use crate::stats::life::weibull::Weibull;
use crate::stats::sum::Spread;

use super::{Doubt, service_limit};

/// Days of a year.
const YEAR: f64 = 365.25;
/// Days that a pack must have been in the ledger before its own pace is believed.
const OWN_PACE: i64 = 90;
/// Failures of a make without which nothing is said of packs that were never read.
const FEWEST_FAILURES: usize = 5;
/// Days that a month of forecasts that are looked back at has, and how many such months.
const MONTH: i32 = 30;
const MONTHS: usize = 12;
/// Forecasts that are looked back at, at most.
const LOOKED_BACK: u64 = 100_000;

/// What was gathered.
#[derive(Debug, Default)]
pub(super) struct Past {
    days_on_loan: f64,
    days_here: f64,
    lives: BTreeMap<MakeId, Vec<Life>>,
    laws: BTreeMap<MakeId, Weibull>,
    /// Month by month: expected, its variance, and observed readings below the limit.
    months: [(f64, f64, u32); MONTHS],
    looked: u64,
}

impl Past {
    pub(super) fn gather(
        ledger: &mut Ledger,
        settings: &Settings,
        (now, clock): (Moment, i64),
        mut step: impl FnMut(),
    ) -> Result<Self, LedgerError> {
        let mut past = Self::default();
        ledger.each_until(ThingKind::Loan, clock, |_, facts| {
            if let Facts::Loan(LoanFacts { began: Some(began), ended, written_off: None, .. }) = facts {
                past.days_on_loan += days(ended.unwrap_or(now), began);
            }
            Ok::<(), LedgerError>(())
        })?;
        let mut seen = Seen::default();
        ledger.each_until(ThingKind::Pack, clock, |_, facts| {
            step();
            if let Facts::Pack(pack) = facts
                && pack.joined.is_none()
            {
                past.pack(settings, &pack, now, &mut seen);
            }
            Ok::<(), LedgerError>(())
        })?;
        past.fit();
        Ok(past)
    }

    /// The law of each make of which enough have failed.
    fn fit(&mut self) {
        for (make, lives) in std::mem::take(&mut self.lives) {
            let failed = lives.iter().filter(|life| life.failed).count();
            if let Some(law) = Weibull::fit(&lives).ok().filter(|_| failed >= FEWEST_FAILURES) {
                self.laws.insert(make, law);
            }
        }
    }

    fn pack(&mut self, settings: &Settings, pack: &PackFacts, now: Moment, seen: &mut Seen) {
        let Some(came) = came(pack) else { return };
        if pack.written_off.is_none() && pack.missing.is_none() {
            self.days_here += days(now, came);
        }
        let (Some(make), Some(limit)) = (pack.make, service_limit(settings, pack, None)) else { return };
        let born = born(pack).unwrap_or_else(|| day(came));
        let below = pack.readings.iter().find(|reading| reading.capacity < limit);
        if let Some(last) = below.or(pack.readings.last()) {
            let age = |at: Moment| f64::from(day(at).saturating_sub(born).max(0)) / YEAR;
            let life = Life { entered: age(came), left: age(last.at), failed: below.is_some() };
            if life.left > life.entered {
                self.lives.entry(make).or_default().push(life);
            }
        }
        if let Some(seer) = settings.seer.as_ref().filter(|_| self.looked < LOOKED_BACK) {
            self.look_back(seer, pack, f64::from(limit.raw()), (now, seen));
        }
    }

    /// Readings of the last twelve months of a pack that held its limit before each: what was to be expected, and what came.
    fn look_back(&mut self, seer: &Seer, pack: &PackFacts, limit: f64, (now, seen): (Moment, &mut Seen)) {
        let Some(history) = seer.history(pack) else { return };
        let view = history.pack();
        for (place, pair) in view.readings.windows(2).enumerate() {
            let [before, next] = pair else { continue };
            let months_ago = usize::try_from(day(now).saturating_sub(next.day) / MONTH);
            let Some(month) = months_ago.ok().and_then(|month| self.months.get_mut(month)) else { continue };
            if f64::from(before.capacity) < limit || next.rounds != before.rounds {
                continue;
            }
            seer.predictor.see(&view.up_to(place + 1), seen);
            let when = When { day: next.day, cycles: f64::from(next.cycles) };
            let chance = seer.predictor.chance_read_below(seen, when, limit);
            month.0 += chance;
            month.1 += chance * (1.0 - chance);
            month.2 += u32::from(f64::from(next.capacity) < limit);
            self.looked += 1;
        }
    }

    /// Share of the days since they came that packs were out: `days on loan / days in the ledger`.
    pub(super) fn days_out(&self) -> f64 {
        if self.days_here > 0.0 { (self.days_on_loan / self.days_here).min(1.0) } else { 0.0 }
    }

    /// Cycles of a day to come: the pack's own since it came, `(cycles - cycles before) / days`, and no less than a day on loan
    /// costs, times the share of days that packs are out.
    pub(super) fn pace(&self, pack: &PackFacts, on_loan: f64, now: Moment) -> f64 {
        let usual = on_loan * self.days_out();
        let Some(came) = came(pack).filter(|&came| now.days_since(came) >= OWN_PACE) else { return usual };
        let since = pack.cycles().minus(pack.prior.unwrap_or_default());
        let own = f64::from(since.raw()) / 1000.0 + self.lag(pack, on_loan, now);
        (own / days(now, came)).max(usual)
    }

    /// Cycles of the open loan so far, which are entered when it ends.
    #[expect(clippy::unused_self, reason = "beside its sister")]
    pub(super) fn lag(&self, pack: &PackFacts, on_loan: f64, now: Moment) -> f64 {
        pack.loan.map_or(0.0, |loan| on_loan * days(now, loan.since))
    }

    /// The chance that a pack of a make that was never read is worn out after days, given that it was good now:
    /// `1 - S(age + t) / S(age)`, by the Weibull law of its make; none without enough failures.
    pub(super) fn worn(&self, make: MakeId, pack: &PackFacts, now: Moment) -> Option<impl Fn(u32) -> f64> {
        let law = *self.laws.get(&make)?;
        let came = came(pack)?;
        let age = f64::from(day(now).saturating_sub(born(pack).unwrap_or_else(|| day(came))).max(0)) / YEAR;
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

/// When a pack came under watch: its first reading, or its entry into the ledger if that was earlier.
fn came(pack: &PackFacts) -> Option<Moment> {
    pack.added.into_iter().chain(pack.readings.first().map(|reading| reading.at)).min()
}

/// The day from which its age counts, where the maker's date is known.
fn born(pack: &PackFacts) -> Option<i32> {
    let made = pack.made?;
    made.since(jiff::civil::date(1970, 1, 1)).ok().map(|span| span.get_days())
}

/// Days between two moments, with their parts.
fn days(to: Moment, from: Moment) -> f64 {
    let seconds = to.millis().saturating_sub(from.millis()).max(0) / 1000;
    f64::from(i32::try_from(seconds).unwrap_or(i32::MAX)) / 86_400.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn worn(failures: u32) -> Option<[f64; 3]> {
        let make = MakeId::new(uuid::Uuid::nil());
        let life = |k: u32| Life { entered: 0.0, left: 3.0 + 0.1 * f64::from(k), failed: k < failures };
        let mut past = Past { lives: [(make, (0..20).map(life).collect())].into(), ..Past::default() };
        past.fit();
        let now = Moment::from_millis(1_800_000_000_000);
        let pack = PackFacts { added: Some(now.plus_days(-730)), ..PackFacts::default() };
        past.worn(make, &pack, now).map(|chance| [0, 365, 730].map(chance))
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
