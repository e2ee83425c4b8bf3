//! What a pack's past says of the fleet: how long packs are out, and how true forecasts were.

use serde::{Deserialize, Serialize};

use crate::domain::event::Origin;
use crate::domain::moment::Moment;
use crate::domain::pack::PackFacts;
use crate::ledger::learnt::{Seer, day};
use crate::stats::fade::model::{Seen, When};

use super::Frame;
use super::counts::Sign;
use crate::app::review::Whereabouts;

/// Days that a pack must have been in the ledger before its own pace is believed.
const OWN_PACE: i64 = 90;
/// Months of forecasts that are looked back at.
pub(crate) const MONTHS: usize = 12;
/// Chances are kept in millionths where they are summed.
pub(crate) const MILLION: f64 = 1e6;
/// One step of the share by which packs are foretold, of its logarithm.
const STEP: f64 = 0.02;

/// When a pack came under watch, how long it was on loans that are over, and since when it is on one: seconds.
pub(crate) type Times = (i64, i64, Option<i64>);

/// Readings of one month that were foretold: how many months ago, what was expected to be below the limit and its variance, in
/// millionths, and what was.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Look {
    pub(crate) ago: u8,
    pub(crate) expected: u32,
    pub(crate) variance: u32,
    pub(crate) below: u8,
}

/// The share of days since they came that packs were out, in steps of 2 %: so that it changes seldom, and with it what is foretold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, Default)]
pub(crate) struct Share(Option<i32>);

impl Share {
    #[expect(
        clippy::as_conversions,
        clippy::cast_possible_truncation,
        reason = "the logarithm of a share of at least a millionth"
    )]
    pub(crate) fn of(share: f64) -> Self {
        Self((share > 1e-6).then(|| (share.ln() / STEP).round() as i32))
    }

    pub(crate) fn value(self) -> f64 {
        self.0.map_or(0.0, |steps| (f64::from(steps) * STEP).exp().min(1.0))
    }
}

/// Sums of times over packs, in seconds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub(crate) struct TimeSums {
    /// Packs that came under watch, and the sum of when they did.
    pub(super) came: (i64, i64),
    /// Time on loans that are over.
    lent: i64,
    /// Packs that are on a loan, and the sum of since when.
    since: (i64, i64),
}

impl TimeSums {
    /// Adds one pack.
    pub(crate) const fn take(&mut self, times: Times) {
        add(self, times, Sign::Add);
    }
}

/// Share of the days since they came that packs were out until a moment: `days on loan / days in the ledger`.
pub(crate) fn days_out(sums: TimeSums, until: Moment) -> f64 {
    let now = until.millis() / 1000;
    let here = now.saturating_mul(sums.came.0) - sums.came.1;
    let out = sums.lent + now.saturating_mul(sums.since.0) - sums.since.1;
    if here > 0 { (float(out) / float(here)).clamp(0.0, 1.0) } else { 0.0 }
}

#[expect(
    clippy::as_conversions,
    reason = "seconds of a fleet: what is lost beyond 2^53 is nothing of a share"
)]
const fn float(seconds: i64) -> f64 {
    seconds as f64
}

/// Adds one pack's times, or takes them off.
pub(super) const fn add(sums: &mut TimeSums, (came, lent, since): Times, sign: Sign) {
    let one = sign.of(1);
    sums.came = (sums.came.0 + one, sums.came.1 + sign.of(came));
    sums.lent += sign.of(lent);
    if let Some(since) = since {
        sums.since = (sums.since.0 + one, sums.since.1 + sign.of(since));
    }
}

/// When a pack came under watch: its first reading, or its entry into the ledger if that was earlier.
fn came(pack: &PackFacts) -> Option<Moment> {
    pack.added.into_iter().chain(pack.readings.first().map(|reading| reading.at)).min()
}

/// The day from which its age counts: the maker's date where it is known.
pub(super) fn born(pack: &PackFacts) -> Option<i32> {
    let made = pack.made.map(super::number);
    made.or_else(|| came(pack).map(day))
}

/// A pack's times, while it is in use.
pub(crate) fn times(pack: &PackFacts, place: Whereabouts) -> Option<Times> {
    let came = came(pack).filter(|_| place.in_use())?;
    Some((came.millis() / 1000, pack.lent / 1000, pack.loan.map(|loan| loan.since.millis() / 1000)))
}

/// Cycles of the open loan so far, which are entered when it ends.
pub(super) fn lag(pack: &PackFacts, on_loan: f64, now: Moment) -> f64 {
    pack.loan.map_or(0.0, |loan| on_loan * days(now, loan.since))
}

/// Days between two moments, with their parts.
fn days(to: Moment, from: Moment) -> f64 {
    let seconds = to.millis().saturating_sub(from.millis()).max(0) / 1000;
    f64::from(i32::try_from(seconds).unwrap_or(i32::MAX)) / 86_400.0
}

impl Frame {
    /// Cycles of a day to come: the pack's own since it came, `(cycles - cycles before) / days`, and no less than a day on loan
    /// costs, times the share of days that packs are out.
    pub(super) fn pace(&self, pack: &PackFacts, on_loan: f64, now: Moment) -> f64 {
        let share = self.foretell.as_ref().map_or(0.0, |foretell| foretell.share.value());
        let usual = on_loan * share;
        let Some(came) = came(pack).filter(|&came| now.days_since(came) >= OWN_PACE) else { return usual };
        let since = pack.cycles().minus(pack.prior.unwrap_or_default());
        let own = f64::from(since.raw()) / 1000.0 + lag(pack, on_loan, now);
        (own / days(now, came)).max(usual)
    }

    /// Readings of the last twelve months of a pack that held its limit before each: what was to be expected, and what came.
    pub(super) fn looks(&self, pack: &PackFacts) -> Vec<Look> {
        let (Some(_), Some(seer)) = (&self.foretell, &self.settings.seer) else { return Vec::new() };
        let Some(limit) = self.limit_of(pack, Origin::Service) else { return Vec::new() };
        looks(seer, pack, f64::from(limit.raw()), |at| self.months_ago(at))
    }

    /// How many months ago a moment was, of the last twelve.
    fn months_ago(&self, at: Moment) -> Option<u8> {
        let (then, now) = (at.day(&self.zone), self.today());
        let months = (i32::from(now.year()) - i32::from(then.year())) * 12 + i32::from(now.month())
            - i32::from(then.month());
        u8::try_from(months).ok().filter(|&months| usize::from(months) < MONTHS)
    }
}

#[expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "chances in millionths"
)]
fn looks(seer: &Seer, pack: &PackFacts, limit: f64, months_ago: impl Fn(Moment) -> Option<u8>) -> Vec<Look> {
    let recent = pack.readings.iter().skip(1).any(|reading| months_ago(reading.at).is_some());
    let Some(history) = seer.history(pack).filter(|_| recent) else { return Vec::new() };
    let view = history.pack();
    let mut seen = Seen::default();
    let mut looks: Vec<Look> = Vec::new();
    for (place, pair) in view.readings.windows(2).enumerate() {
        let [before, next] = pair else { continue };
        let at = Moment::from_millis(i64::from(next.day) * 86_400_000);
        let Some(ago) = months_ago(at) else { continue };
        if f64::from(before.capacity) < limit || next.rounds != before.rounds {
            continue;
        }
        seer.predictor.see(&view.up_to(place + 1), &mut seen);
        let when = When { day: next.day, cycles: f64::from(next.cycles) };
        let chance = seer.predictor.chance_read_below(&seen, when, limit).clamp(0.0, 1.0);
        let look = Look {
            ago,
            expected: (chance * MILLION).round() as u32,
            variance: (chance * (1.0 - chance) * MILLION).round() as u32,
            below: u8::from(f64::from(next.capacity) < limit),
        };
        match looks.iter_mut().find(|look| look.ago == ago) {
            Some(all) => {
                all.expected += look.expected;
                all.variance += look.variance;
                all.below = all.below.saturating_add(look.below);
            }
            None => looks.push(look),
        }
    }
    looks
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_share_goes_in_steps_of_two_per_cent() {
        assert!(Share::of(0.0).value().abs() < 1e-12);
        for share in [1e-5, 0.02, 0.371, 0.5, 0.999, 1.0] {
            let kept = Share::of(share).value();
            assert!((kept / share - 1.0).abs() < 0.0101 && kept <= 1.0, "{share} {kept}");
        }
        assert_eq!(Share::of(0.4), Share::of(0.401));
        assert_ne!(Share::of(0.4), Share::of(0.41));
    }

    #[test]
    fn days_out_are_those_of_loans_that_are_over_and_of_those_that_are_not() {
        let mut sums = TimeSums::default();
        let day = 86_400;
        sums.take((0, 10 * day, None));
        sums.take((50 * day, 0, Some(90 * day)));
        let until = Moment::from_millis(100 * day * 1000);
        assert!((days_out(sums, until) - 20.0 / 150.0).abs() < 1e-12);
        assert!(days_out(TimeSums::default(), until).abs() < 1e-12);
    }
}
