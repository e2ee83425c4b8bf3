//! The share of packs that is still good, age by age, without any assumption of its form.
//!
//! E. L. Kaplan and P. Meier, "Nonparametric estimation from incomplete observations", 1958, with the standard error by
//! Greenwood's formula and late entry as in Klein and Moeschberger, "Survival Analysis", 4.2 and 4.6 (both from memory).

use super::risk::{self, Risk};
use super::{Life, LifeError, count_failures};
use crate::stats::interval::Interval;
use crate::stats::normal;

/// Rounding that a product of shares may pick up: a curve that has come this near to a share has reached it.
const ROUNDING: f64 = 1e-10;

/// The curve: it starts at 1 and falls at each age at which packs failed.
///
/// With late entry, it is the curve of packs that were good at the first age under watch. Few packs at risk at young ages make a
/// coarse step there that all later ages carry along: see [`Step::at_risk`].
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    steps: Vec<Step>,
    watched_until: f64,
}

/// What the curve is from an age on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Age, in the unit of the lives.
    pub age: f64,
    /// Packs under watch just before that age.
    pub at_risk: u32,
    /// Packs that failed at it.
    pub failed: u32,
    /// Share still good after it: the product of `1 - failed / at_risk` up to here.
    pub surviving: f64,
    /// Standard error of that share by Greenwood: `surviving sqrt(sum of failed / (at_risk (at_risk - failed)))`.
    ///
    /// Its limit, 0, once none survives.
    pub error: f64,
}

impl Curve {
    /// Draws the curve of packs under watch, in `O(n log n)`.
    ///
    /// ```
    /// use packmuster::stats::life::{Life, kaplan::Curve};
    /// let life = |left, failed| Life { entered: 0.0, left, failed };
    /// let curve = Curve::of(&[life(1.0, true), life(2.0, false), life(3.0, true), life(4.0, false)])?;
    /// assert_eq!(curve.surviving(1.0), Some(0.75));
    /// assert_eq!(curve.surviving(3.5), Some(0.375));
    /// assert_eq!(curve.surviving(5.0), None, "no pack was watched for so long");
    /// assert_eq!(curve.median(), Some(3.0));
    /// # Ok::<(), packmuster::stats::life::LifeError>(())
    /// ```
    ///
    /// # Errors
    /// [`LifeError`] when there is no pack, or one whose ages are not in order.
    pub fn of(lives: &[Life]) -> Result<Self, LifeError> {
        count_failures(lives)?;
        let mut risk = Risk::new(lives);
        let (mut surviving, mut greenwood) = (1.0, 0.0);
        let steps = risk::failure_ages(lives)
            .into_iter()
            .map(|age| {
                let count = risk.at(age);
                let (at_risk, failed) = (f64::from(count.at_risk), f64::from(count.failed));
                let stayed = at_risk - failed;
                surviving *= stayed / at_risk;
                greenwood += failed / (at_risk * stayed);
                let error = if surviving > 0.0 { surviving * f64::sqrt(greenwood) } else { 0.0 };
                Step { age, at_risk: count.at_risk, failed: count.failed, surviving, error }
            })
            .collect();
        Ok(Self { steps, watched_until: lives.iter().fold(0.0, |age, life| life.left.max(age)) })
    }

    /// The ages at which packs failed, in order, and what the curve is from each on.
    pub fn steps(&self) -> &[Step] {
        &self.steps
    }

    /// The highest age of a pack under watch: nothing is known beyond it.
    pub fn watched_until(&self) -> f64 {
        self.watched_until
    }

    /// The share that is still good at an age; `None` beyond the last age under watch, unless none survives.
    pub fn surviving(&self, age: f64) -> Option<f64> {
        let share = self.last_step(age).map_or(1.0, |step| step.surviving);
        (age <= self.watched_until || share <= 0.0).then_some(share)
    }

    /// The age by which a share of the packs has failed: the first at which no more than `1 - share` survives.
    ///
    /// `None` when the curve does not fall so far.
    pub fn quantile(&self, share: f64) -> Option<f64> {
        self.first_age(|step| step.surviving <= 1.0 - share + ROUNDING)
    }

    /// The age by which half of the packs have failed; `None` when more than half survive.
    pub fn median(&self) -> Option<f64> {
        self.quantile(0.5)
    }

    /// The limits of the share that is still good at an age, for that age alone, at a level such as 0.90.
    ///
    /// By the log-log transform (Kalbfleisch and Prentice, from memory), which keeps them between 0 and 1: `surviving^exp(-+ z
    /// error / (surviving ln surviving))`. `None` before the first failure, once none survives, and beyond the last age under
    /// watch, where Greenwood's formula knows no spread.
    pub fn interval(&self, age: f64, level: f64) -> Option<Interval> {
        if age > self.watched_until {
            return None;
        }
        self.last_step(age)?.interval(level)
    }

    /// The limits of [`Curve::quantile`]: the ages at which the curve's lower and upper limits reach the share.
    ///
    /// R. Brookmeyer and J. Crowley, "A confidence interval for the median survival time", 1982 (from memory), on the limits
    /// of [`Curve::interval`]. `None` for a limit that is not reached.
    pub fn quantile_interval(&self, share: f64, level: f64) -> (Option<f64>, Option<f64>) {
        let left = 1.0 - share + ROUNDING;
        let gone = |step: &Step| step.surviving <= 0.0;
        let low = self.first_age(|step| step.interval(level).map_or(gone(step), |limits| limits.low <= left));
        let high = self.first_age(|step| step.interval(level).is_some_and(|limits| limits.high <= left));
        (low, high)
    }

    fn last_step(&self, age: f64) -> Option<&Step> {
        let passed = self.steps.partition_point(|step| step.age <= age);
        self.steps.get(passed.checked_sub(1)?)
    }

    fn first_age(&self, reached: impl Fn(&Step) -> bool) -> Option<f64> {
        self.steps.iter().find(|step| reached(step)).map(|step| step.age)
    }
}

impl Step {
    /// The limits of the surviving share; `None` once none survives. See [`Curve::interval`].
    pub fn interval(&self, level: f64) -> Option<Interval> {
        if self.surviving <= 0.0 {
            return None;
        }
        let z = normal::quantile(0.5 + 0.5 * level);
        let spread = z * self.error / (self.surviving * self.surviving.ln());
        let limit = |shift: f64| self.surviving.powf(shift.exp());
        Some(Interval { low: limit(-spread), high: limit(spread) })
    }
}
