//! One discharge from its log: charge and energy by counting current over time, until the end voltage.
//!
//! A [`Meter`] takes the samples of one log in their order and keeps no more of them than a curve to draw. What comes before the
//! load is passed over, what comes after the end voltage too. A log that cannot be trusted gives no figure but a [`Flaw`]: nothing is
//! bridged, turned round or made up.
//!
//! ```
//! use packmuster::stats::discharge::{Meter, Rule, Sample};
//! // One ampere for an hour, 4 V falling evenly to 3 V; the end voltage of 3.05 V comes between the last two samples.
//! let mut meter = Meter::new(Rule { end_v: 3.05, ..Rule::default() });
//! for minute in 0..=60 {
//!     let time = f64::from(minute);
//!     meter.push(Sample { time_s: 60.0 * time, voltage_v: 4.0 - time / 60.0, discharge_a: 1.0, temperature_c: None })?;
//! }
//! let found = meter.finish()?;
//! assert!((found.charge_ah - 0.95).abs() < 1e-12);
//! # Ok::<(), packmuster::stats::discharge::Flaw>(())
//! ```

use thiserror::Error;

/// Seconds in an hour.
const HOUR_S: f64 = 3600.0;
/// A step of the current tells an internal resistance only between samples as near as this, s.
const STEP_S: f64 = 30.0;
/// And only if it is at least this share of the current that it leads to or comes from.
const STEP_SHARE: f64 = 0.2;

/// One line of a log.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// Since any zero, s.
    pub time_s: f64,
    /// Of the pack, V.
    pub voltage_v: f64,
    /// Out of the pack, A; negative while it is charged.
    pub discharge_a: f64,
    /// If logged, degrees Celsius.
    pub temperature_c: Option<f64>,
}

/// Where exactly a discharge ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum End {
    /// Where a straight line between the samples on either side meets the end voltage.
    #[default]
    Interpolated,
    /// At the first sample at or below the end voltage.
    FirstSample,
}

/// By which rule a log is measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rule {
    /// The voltage at which the discharge ends, V.
    pub end_v: f64,
    /// Where exactly.
    pub end: End,
    /// A smaller current than this is none, A.
    pub rest_a: f64,
    /// The longest time between two samples of the discharge, s.
    pub gap_s: f64,
    /// The most points of the curve that are kept; none for no curve.
    pub points: usize,
}

impl Default for Rule {
    /// An end voltage of zero, 20 mA, five minutes, no curve.
    fn default() -> Self {
        Self { end_v: 0.0, end: End::Interpolated, rest_a: 0.02, gap_s: 300.0, points: 0 }
    }
}

/// Why a log gives no figure.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum Flaw {
    /// A value is not a finite number.
    #[error("a value is no number")]
    NoNumber,
    /// Time runs backwards.
    #[error("the time goes back by {by_s} s")]
    Backwards {
        /// By how much, s.
        by_s: f64,
    },
    /// Too long without a sample.
    #[error("{gap_s:.0} s pass without a sample, and {most_s:.0} s are the most")]
    Gap {
        /// How long, s.
        gap_s: f64,
        /// How long it may be, s.
        most_s: f64,
    },
    /// The pack is charged before the end voltage is reached.
    #[error("the pack is charged with {charge_a:.3} A before its end voltage is reached")]
    Charged {
        /// With how much, A.
        charge_a: f64,
    },
    /// The end voltage is reached as soon as the load is on.
    #[error(
        "the pack is at {voltage_v:.3} V as soon as the load is on, at or below the end voltage of {end_v:.3} V"
    )]
    Empty {
        /// The voltage there, V.
        voltage_v: f64,
        /// The end voltage, V.
        end_v: f64,
    },
    /// The current never flows out of the pack; it may have the other sign.
    #[error("the pack is only ever charged: the current has the wrong sign, or this is no discharge")]
    OnlyCharged,
    /// No load.
    #[error("no current flows")]
    NoLoad,
    /// The end voltage is reached before any time has passed.
    #[error(
        "no time passes from the load to the end voltage: the log's times are too coarse, or of another unit"
    )]
    NoTime,
    /// The pack is discharged again after it was charged: which discharge is meant is not clear.
    #[error("the log holds more than one discharge: name the columns that tell one log from another")]
    Several,
    /// The log ends too early.
    #[error(
        "the log never reaches the end voltage of {end_v:.3} V: {lowest_v:.3} V is the lowest under load, after {charge_ah:.4} Ah"
    )]
    NeverEnds {
        /// The end voltage, V.
        end_v: f64,
        /// The lowest voltage under load, V.
        lowest_v: f64,
        /// What was counted until the log ends, Ah: the pack holds at least so much.
        charge_ah: f64,
    },
}

/// An internal resistance, from a step of the current.
///
/// `R = (U1 - U2) / (I2 - I1)`, the direct-current method of IEC 61960-3 and IEC 61951-2 (from memory), which prescribe
/// currents and times; a log gives the ones that it has, and these are told with it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// The resistance, ohm.
    pub resistance_ohm: f64,
    /// The currents before and after, A.
    pub from_to_a: (f64, f64),
    /// The time between the two samples, s.
    pub over_s: f64,
}

/// What a log says of its discharge.
#[derive(Debug, Clone, PartialEq)]
pub struct Discharge {
    /// Charge until the end voltage by the rule that was asked for, Ah.
    pub charge_ah: f64,
    /// The same until the first sample at or below the end voltage, Ah.
    pub first_sample_ah: f64,
    /// Energy until the end voltage, Wh.
    pub energy_wh: f64,
    /// Energy over charge: the mean voltage by charge, V.
    pub mean_v: f64,
    /// From the first sample under load to the end voltage, s.
    pub time_s: f64,
    /// When the end voltage was reached, on the log's clock, s.
    pub ended_s: f64,
    /// Internal resistance, where the log has a step of the current.
    pub step: Option<Step>,
    /// Mean over time, degrees Celsius, where each sample of the discharge has a temperature.
    pub temperature_c: Option<f64>,
    /// Samples of the discharge.
    pub samples: u64,
    /// True when the log shows the pack charged before.
    pub charged_before: bool,
    /// Time (s since the load came on) and voltage (V) along the discharge, thinned out.
    pub curve: Vec<(f64, f64)>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Phase {
    Waiting,
    Running,
    Done,
}

/// What is summed along a discharge.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    charge_as: f64,
    energy_ws: f64,
    warmth_cs: f64,
    time_s: f64,
}

impl Sums {
    /// Adds what lies between two samples, by the trapezoidal rule.
    fn add(&mut self, from: &Sample, to: &Sample) {
        let time = to.time_s - from.time_s;
        self.charge_as += 0.5 * (from.discharge_a + to.discharge_a) * time;
        self.energy_ws += 0.5 * (from.discharge_a * from.voltage_v + to.discharge_a * to.voltage_v) * time;
        // Without a temperature anywhere, the mean is no number, and told as unknown.
        let warmth = |sample: &Sample| sample.temperature_c.unwrap_or(f64::NAN);
        self.warmth_cs += 0.5 * (warmth(from) + warmth(to)) * time;
        self.time_s += time;
    }
}

/// Measures one log, sample by sample.
#[derive(Debug, Clone)]
pub struct Meter {
    rule: Rule,
    phase: Phase,
    before: Option<Sample>,
    began_s: f64,
    sums: Sums,
    lowest_v: f64,
    most_a: f64,
    samples: u64,
    step: Option<Step>,
    charged_before: bool,
    charged_after: bool,
    curve: Curve,
    found: Option<Discharge>,
}

impl Meter {
    /// Begins a log.
    pub fn new(rule: Rule) -> Self {
        Self {
            rule,
            phase: Phase::Waiting,
            before: None,
            began_s: 0.0,
            sums: Sums::default(),
            lowest_v: f64::INFINITY,
            most_a: 0.0,
            samples: 0,
            step: None,
            charged_before: false,
            charged_after: false,
            curve: Curve { most: rule.points, every: 1, passed: 0, kept: Vec::new() },
            found: None,
        }
    }

    /// True once the end voltage is reached: what follows changes nothing but a second discharge.
    pub const fn is_done(&self) -> bool {
        matches!(self.phase, Phase::Done)
    }

    /// Takes the next sample.
    ///
    /// # Errors
    /// A [`Flaw`] that this sample shows. The log is spoilt then: what is pushed later has no meaning.
    pub fn push(&mut self, sample: Sample) -> Result<(), Flaw> {
        if self.is_done() {
            return self.beyond(&sample);
        }
        let sound =
            sample.time_s + sample.voltage_v + sample.discharge_a + sample.temperature_c.unwrap_or(0.0);
        if !sound.is_finite() {
            return Err(Flaw::NoNumber);
        }
        if let Some(before) = self.before
            && sample.time_s < before.time_s
        {
            return Err(Flaw::Backwards { by_s: before.time_s - sample.time_s });
        }
        match self.phase {
            Phase::Waiting if sample.discharge_a > self.rule.rest_a => self.begin(&sample)?,
            Phase::Waiting => self.charged_before |= sample.discharge_a < -self.rule.rest_a,
            Phase::Running => self.go_on(&sample)?,
            Phase::Done => {}
        }
        self.before = Some(sample);
        Ok(())
    }

    /// What comes after the end voltage changes nothing, unless it is a charge and another discharge.
    fn beyond(&mut self, sample: &Sample) -> Result<(), Flaw> {
        self.charged_after |= sample.discharge_a < -self.rule.rest_a;
        if self.charged_after && sample.discharge_a > self.rule.rest_a { Err(Flaw::Several) } else { Ok(()) }
    }

    /// The load comes on.
    fn begin(&mut self, sample: &Sample) -> Result<(), Flaw> {
        let end_v = self.rule.end_v;
        if sample.voltage_v <= end_v {
            return Err(Flaw::Empty { voltage_v: sample.voltage_v, end_v });
        }
        if let Some(before) = self.before {
            self.no_gap(&before, sample)?;
            // The load came on between the two: half of the time by the trapezoidal rule, and a charge before it is none of it.
            let rest = Sample { discharge_a: before.discharge_a.max(0.0), ..before };
            self.sums.add(&rest, sample);
            if before.discharge_a.abs() <= self.rule.rest_a {
                self.look_for_step(&before, sample);
            }
        }
        self.phase = Phase::Running;
        self.began_s = sample.time_s;
        self.count(sample);
        Ok(())
    }

    fn go_on(&mut self, sample: &Sample) -> Result<(), Flaw> {
        let Some(before) = self.before else { return Ok(()) };
        if sample.discharge_a < -self.rule.rest_a {
            return Err(Flaw::Charged { charge_a: -sample.discharge_a });
        }
        self.no_gap(&before, sample)?;
        let loaded = sample.discharge_a > self.rule.rest_a;
        if loaded && sample.voltage_v <= self.rule.end_v {
            return self.end(&before, sample);
        }
        self.look_for_step(&before, sample);
        self.sums.add(&before, sample);
        self.count(sample);
        Ok(())
    }

    fn count(&mut self, sample: &Sample) {
        self.samples += 1;
        if sample.discharge_a > self.rule.rest_a {
            self.lowest_v = self.lowest_v.min(sample.voltage_v);
            self.most_a = self.most_a.max(sample.discharge_a);
        }
        self.curve.add(sample.time_s - self.began_s, sample.voltage_v);
    }

    fn no_gap(&self, before: &Sample, sample: &Sample) -> Result<(), Flaw> {
        let gap_s = sample.time_s - before.time_s;
        let most_s = self.rule.gap_s;
        if gap_s > most_s { Err(Flaw::Gap { gap_s, most_s }) } else { Ok(()) }
    }

    fn look_for_step(&mut self, before: &Sample, sample: &Sample) {
        let (from, to) = (before.discharge_a, sample.discharge_a);
        let over_s = sample.time_s - before.time_s;
        let wide = (to - from).abs() > (STEP_SHARE * self.most_a.max(to)).max(self.rule.rest_a);
        if self.step.is_none() && wide && over_s > 0.0 && over_s <= STEP_S {
            let resistance_ohm = (before.voltage_v - sample.voltage_v) / (to - from);
            self.step = Some(Step { resistance_ohm, from_to_a: (from, to), over_s });
        }
    }

    fn end(&mut self, before: &Sample, sample: &Sample) -> Result<(), Flaw> {
        let mut first = self.sums;
        first.add(before, sample);
        let last = if self.rule.end == End::Interpolated && before.discharge_a > self.rule.rest_a {
            meet(before, sample, self.rule.end_v)
        } else {
            // The load came on in between: no straight line of voltages joins the two.
            *sample
        };
        self.sums.add(before, &last);
        if self.sums.charge_as <= 0.0 {
            return Err(Flaw::NoTime);
        }
        self.samples += 1;
        self.curve.end(last.time_s - self.began_s, last.voltage_v);
        let charge_ah = self.sums.charge_as / HOUR_S;
        let energy_wh = self.sums.energy_ws / HOUR_S;
        let warmth = self.sums.warmth_cs / self.sums.time_s;
        self.phase = Phase::Done;
        self.found = Some(Discharge {
            charge_ah,
            first_sample_ah: first.charge_as / HOUR_S,
            energy_wh,
            mean_v: energy_wh / charge_ah,
            time_s: last.time_s - self.began_s,
            ended_s: last.time_s,
            step: self.step,
            temperature_c: warmth.is_finite().then_some(warmth),
            samples: self.samples,
            charged_before: self.charged_before,
            curve: std::mem::take(&mut self.curve.kept),
        });
        Ok(())
    }

    /// Gives what the whole log says.
    ///
    /// # Errors
    /// A [`Flaw`] when the log never discharges the pack, or not to its end voltage.
    pub fn finish(self) -> Result<Discharge, Flaw> {
        match (self.found, self.phase) {
            (Some(found), _) => Ok(found),
            (None, Phase::Waiting) if self.charged_before => Err(Flaw::OnlyCharged),
            (None, Phase::Waiting) => Err(Flaw::NoLoad),
            (None, _) => Err(Flaw::NeverEnds {
                end_v: self.rule.end_v,
                lowest_v: self.lowest_v,
                charge_ah: self.sums.charge_as / HOUR_S,
            }),
        }
    }
}

/// The place between two samples where the voltage is `end_v`, by straight lines.
fn meet(before: &Sample, after: &Sample, end_v: f64) -> Sample {
    let share = ((before.voltage_v - end_v) / (before.voltage_v - after.voltage_v)).clamp(0.0, 1.0);
    let between = |from: f64, to: f64| from + share * (to - from);
    Sample {
        time_s: between(before.time_s, after.time_s),
        voltage_v: end_v,
        discharge_a: between(before.discharge_a, after.discharge_a),
        temperature_c: before.temperature_c.zip(after.temperature_c).map(|(from, to)| between(from, to)),
    }
}

/// Points along a discharge; when there are too many, every second one goes.
#[derive(Debug, Clone)]
struct Curve {
    most: usize,
    every: u32,
    passed: u32,
    kept: Vec<(f64, f64)>,
}

impl Curve {
    fn add(&mut self, time_s: f64, voltage_v: f64) {
        if self.most == 0 {
            return;
        }
        if self.passed.is_multiple_of(self.every) {
            if self.kept.len() >= self.most.max(2) {
                let mut place = 0_usize;
                self.kept.retain(|_| {
                    place += 1;
                    place % 2 == 1
                });
                self.every = self.every.saturating_mul(2);
            }
            if self.passed.is_multiple_of(self.every) {
                self.kept.push((time_s, voltage_v));
            }
        }
        self.passed = self.passed.wrapping_add(1);
    }

    fn end(&mut self, time_s: f64, voltage_v: f64) {
        if self.most > 0 {
            self.kept.push((time_s, voltage_v));
        }
    }
}
