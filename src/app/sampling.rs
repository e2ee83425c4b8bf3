//! How many packs of a carton to read, which ones, and what that says of the rest.

pub mod carton;

use serde::Serialize;

use crate::stats::sampling::SamplingError;
use crate::stats::sampling::design::{self, Points};
use crate::stats::sampling::plan::{Double, Plan, Single};
use crate::stats::sampling::tables::{self, Level, Severity};
use crate::stats::sampling::variables::{self, Variables};

use super::answer::count;
use super::error::AppError;

/// The largest carton that is looked at.
const LARGEST: u32 = 100_000;
/// Below this chance of being accepted, no further bad packs are listed.
const HARDLY: f64 = 0.005;
/// Bad packs that are listed: each of the first few, then further and further apart.
const LISTED: [u32; 22] =
    [0, 1, 2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 75, 100, 200, 500, 1_000, 5_000];
/// How surely bad packs are to be met, where it is told how many must be read for that.
const SURELY: f64 = 0.95;

/// What is asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Wish {
    /// So many are read, and so many bad ones are borne.
    Take {
        /// Packs to read.
        sample: u32,
        /// Bad ones that are borne.
        accept: u32,
    },
    /// A plan of the standard.
    Standard {
        /// Acceptance quality, per cent.
        quality: f64,
        /// Inspection level.
        level: Level,
        /// Severity.
        severity: Severity,
        /// Two samples.
        double: bool,
    },
    /// A plan for two points.
    Points(Points),
}

/// A plan and what it is worth for a carton.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Study {
    /// Packs in the carton.
    pub lot: u32,
    /// What to do, in words.
    pub plan: Vec<String>,
    /// The chance of being accepted, by how many packs are bad.
    pub curve: Vec<Chance>,
    /// What the plan lets through, in words.
    pub risks: Vec<String>,
    /// The operating characteristic to draw: per cent bad, and per cent accepted.
    #[serde(skip)]
    pub line: Vec<(f64, f64)>,
}

/// A point of the operating characteristic.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Chance {
    /// Bad packs in the carton.
    pub bad: u32,
    /// The same in per cent.
    pub bad_percent: f64,
    /// The chance that the carton is accepted, per cent: hypergeometric, exact.
    pub accepted_percent: f64,
    /// Packs that are read on average before the sample decides.
    pub read_on_average: f64,
}

/// Works out a plan for a carton.
///
/// # Errors
/// For a carton of less than two, a sample that makes no sense, a quality that the standard does not have, or points no plan keeps.
pub fn study(lot: u32, wish: &Wish) -> Result<Study, AppError> {
    if !(2..=LARGEST).contains(&lot) {
        return Err(AppError::input(
            format!("a carton of {lot}"),
            format!("give the packs in it: 2 to {LARGEST}"),
        ));
    }
    let (plan, mut words) = match *wish {
        Wish::Take { sample, accept } => taken(lot, sample, accept)?,
        Wish::Standard { quality, level, severity, double } => {
            let look_up = if double { tables::double } else { tables::single };
            let found = look_up(lot, level, quality, severity).map_err(|error| fault(&error))?;
            let letter = tables::code_letter(lot, level).map_err(|error| fault(&error))?;
            let arrows = if letter == found.letter {
                String::new()
            } else {
                format!(", by the arrows to letter {}", found.letter)
            };
            (found.plan, vec![format!("MIL-STD-105E (ISO 2859-1), code letter {letter}{arrows}")])
        }
        Wish::Points(points) => {
            let plan = design::single_for_lot(lot, &points).map_err(|error| fault(&error))?;
            (
                Plan::Single(plan),
                vec![format!("the smallest sample that keeps both risks in a carton of {lot}")],
            )
        }
    };
    words.extend(told(lot, &plan));
    if let Wish::Points(points) = wish
        && let (Plan::Single(single), Ok(other)) = (&plan, variables::unknown_deviation(points))
    {
        words.push(by_what_they_hold(*single, other));
    }
    let share = |bad: u32| 100.0 * f64::from(bad) / f64::from(lot);
    let curve: Vec<Chance> = LISTED
        .into_iter()
        .filter(|bad| *bad <= lot)
        .map(|bad| Chance {
            bad,
            bad_percent: share(bad),
            accepted_percent: 100.0 * plan.accepts(lot, bad),
            read_on_average: plan.expected_sample(lot, bad),
        })
        .collect();
    let each = (lot / 400).max(1);
    let all = (0..=lot).filter(|bad| bad % each == 0).map(|bad| (share(bad), 100.0 * plan.accepts(lot, bad)));
    let line: Vec<(f64, f64)> = all.take_while(|(_, accepted)| *accepted >= 0.1).collect();
    let listed = curve.iter().position(|chance| chance.accepted_percent < 100.0 * HARDLY);
    let curve = curve.into_iter().take(listed.map_or(usize::MAX, |last| last + 1)).collect();
    Ok(Study { lot, plan: words, curve, risks: risks(lot, &plan), line })
}

fn fault(error: &SamplingError) -> AppError {
    let hint = match error {
        SamplingError::Quality(_) => "the standard has 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10 and others",
        SamplingError::Points => {
            "give a share that is good below one that is bad, and risks above 0 and below 50 per cent"
        }
        SamplingError::None(_) | SamplingError::Lot => "ask for less, or read all of them",
    };
    AppError::input(error.to_string(), hint)
}

fn taken(lot: u32, sample: u32, accept: u32) -> Result<(Plan, Vec<String>), AppError> {
    if sample == 0 || accept >= sample {
        let text = format!("{sample} read, {accept} bad ones borne");
        return Err(AppError::input(text, "read at least one, and bear fewer bad ones than are read"));
    }
    if sample > lot {
        let text = format!("{sample} of a carton of {lot}");
        return Err(AppError::input(text, format!("read at most {lot}")));
    }
    Ok((Plan::Single(Single::of(sample, accept)), Vec::new()))
}

fn packs(number: u32) -> String {
    count(usize::try_from(number).unwrap_or(usize::MAX), "pack", "packs")
}

/// What to do, in words.
fn told(lot: u32, plan: &Plan) -> Vec<String> {
    let bad = |number: u32| match number {
        0 => "none is bad".to_owned(),
        1 => "at most 1 is bad".to_owned(),
        more => format!("at most {more} are bad"),
    };
    match plan {
        Plan::Single(Single { sample, .. }) if *sample >= lot => vec![format!("read all {lot}")],
        Plan::Single(Single { sample, accept, reject }) => {
            let mut words = vec![format!(
                "read {}, drawn at random; accept the carton when {}",
                packs(*sample),
                bad(*accept)
            )];
            if *reject > accept + 1 {
                words.push(format!(
                    "with fewer than {reject} bad it is accepted too, but the next is inspected normally"
                ));
            }
            words
        }
        Plan::Double(Double { first, second }) => vec![
            format!(
                "read {}, drawn at random; accept the carton when {}, reject it when {} or more are",
                packs(first.sample),
                bad(first.accept),
                first.reject
            ),
            format!(
                "between the two read {} more; accept when {} of both",
                second.sample,
                bad(second.accept)
            ),
        ],
    }
}

fn by_what_they_hold(single: Single, plan: Variables) -> String {
    let fewer = single.sample.saturating_sub(plan.sample);
    let text = format!(
        "by what each holds: read {}; accept when their mean lies {:.2} of their standard deviations above the limit",
        packs(plan.sample),
        plan.k
    );
    if fewer > 0 {
        format!("{text} ({fewer} fewer; holds where capacities are normal, for a large lot)")
    } else {
        format!("{text} (no fewer; holds where capacities are normal, for a large lot)")
    }
}

/// What the plan lets through, in words: the most bad packs that pass in half of all cases, and how many it takes to be sure.
fn risks(lot: u32, plan: &Plan) -> Vec<String> {
    let sample = match plan {
        Plan::Single(single) => single.sample,
        Plan::Double(double) => double.first.sample + double.second.sample,
    };
    if sample >= lot {
        return Vec::new();
    }
    let passes = (1..=lot).take_while(|bad| plan.accepts(lot, *bad) >= 0.5).last();
    let mut words = Vec::new();
    if let Some(bad) = passes {
        words.push(format!(
            "With {bad} bad {} among {lot}, the carton is accepted all the same {:.0} times in 100.",
            if bad == 1 { "pack" } else { "packs" },
            100.0 * plan.accepts(lot, bad)
        ));
    }
    if let Some(bad) = (1..=lot).find(|bad| plan.accepts(lot, *bad) <= 1.0 - SURELY) {
        words.push(format!("Only from {bad} bad packs on is it stopped {:.0} times in 100.", 100.0 * SURELY));
    }
    if let Some(bad) = passes {
        let needed = design::to_find_one(lot, bad, SURELY);
        words.push(format!(
            "To meet at least one of {bad} so surely, {needed} of {lot} would have to be read."
        ));
    }
    words
}
