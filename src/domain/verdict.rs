//! Verdicts, the rules that lead to them, and the questions they answer.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use thiserror::Error;

/// What to do with a pack now, mildest first: the order is the order of gravity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// It may go out.
    Fit,
    /// It must be measured on the bench first.
    Measure,
    /// It is weak, and a round may bring it back.
    Recondition,
    /// It is at its end.
    Recycle,
    /// It must wait for something that the reasons name.
    Wait,
    /// It may be dangerous: keep it apart.
    Isolate,
}

impl Verdict {
    /// Every verdict, mildest first.
    pub const ALL: [Self; 6] =
        [Self::Fit, Self::Measure, Self::Recondition, Self::Recycle, Self::Wait, Self::Isolate];

    /// The word in capitals that begins every message about a pack.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Fit => "FIT",
            Self::Measure => "MEASURE",
            Self::Recondition => "RECONDITION",
            Self::Recycle => "RECYCLE",
            Self::Wait => "WAIT",
            Self::Isolate => "ISOLATE",
        }
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// A text that names no verdict.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("`{0}` is no verdict; known are fit, measure, recondition, recycle, wait and isolate")]
pub struct VerdictError(String);

impl FromStr for Verdict {
    type Err = VerdictError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Self::ALL
            .into_iter()
            .find(|verdict| verdict.word().eq_ignore_ascii_case(text.trim()))
            .ok_or_else(|| VerdictError(text.trim().to_owned()))
    }
}

/// The rules of the judge, in the order in which they are asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Rule {
    /// Somebody saw something.
    Finding,
    /// A safety notice covers the pack.
    Notice,
    /// The pack is not what, or where, the ledger says.
    Identity,
    /// Its carton is not trusted yet.
    Carton,
    /// No reading counts.
    Unmeasured,
    /// The reading is too old.
    Stale,
    /// It was charged too long ago.
    Charge,
    /// The reading against the limit.
    Capacity,
    /// A reading too near the limit for its uncertainty.
    Doubt,
    /// It will not last until the loan ends.
    Forecast,
    /// Cycles against the limit.
    Cycles,
    /// Age against the limit.
    Age,
    /// Internal resistance against the limit.
    Resistance,
    /// It cut out early on its last loan.
    Reported,
    /// Several slots gave no result with it.
    Refused,
    /// It is waste, or has left for a recycler.
    Retired,
}

impl Rule {
    /// Every rule, in the order in which the judge asks them.
    pub const ALL: [Self; 16] = [
        Self::Finding,
        Self::Notice,
        Self::Identity,
        Self::Carton,
        Self::Unmeasured,
        Self::Stale,
        Self::Charge,
        Self::Capacity,
        Self::Doubt,
        Self::Forecast,
        Self::Cycles,
        Self::Age,
        Self::Resistance,
        Self::Reported,
        Self::Refused,
        Self::Retired,
    ];

    /// The rule's name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Finding => "finding",
            Self::Notice => "notice",
            Self::Identity => "identity",
            Self::Carton => "carton",
            Self::Unmeasured => "unmeasured",
            Self::Stale => "stale",
            Self::Charge => "charge",
            Self::Capacity => "capacity",
            Self::Doubt => "doubt",
            Self::Forecast => "forecast",
            Self::Cycles => "cycles",
            Self::Age => "age",
            Self::Resistance => "resistance",
            Self::Reported => "reported",
            Self::Refused => "refused",
            Self::Retired => "retired",
        }
    }
}

impl fmt::Display for Rule {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// At which step of the day a verdict was asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Step {
    /// When the pack came back.
    Intake,
    /// When a result was entered at the bench.
    Bench,
    /// When it was to be put into a player on the shelf.
    Fitting,
    /// When it was to go out.
    Dispatch,
    /// Looked up, with nothing entered.
    Look,
}

impl fmt::Display for Step {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Intake => "intake",
            Self::Bench => "bench",
            Self::Fitting => "fitting",
            Self::Dispatch => "dispatch",
            Self::Look => "look",
        })
    }
}
