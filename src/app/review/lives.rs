//! Lives by make, lot and supplier's reference: how long packs last, and which lots die early.
//!
//! A pack's life is told from its facts alone, so that one pass over the packs suffices. Its age is counted in whole days: from its
//! entering for one that was entered as new; for one entered in use from the maker's date, with its entering as a late entry, or from its
//! entering where that date is not known. It has failed when its last readings are below its service limit: at the first of
//! those that no later reading lifted over it. While the judge still wants a round or another reading of it for that, it is not
//! given up, and counts as good until its last reading that reached the limit; so does a good one. A pack that was bound and never
//! read, or one in use that never reached the limit here, was never under watch.
//!
//! Cost: one sort of the packs for each make, and lots times distinct ages in days for the test.

use std::collections::BTreeMap;

use serde::Serialize;
use uuid::Uuid;

use crate::app::reckon::{Raw, Reckoned};
use crate::domain::facts::LotFacts;
use crate::domain::ids::{LotId, MakeId};
use crate::stats::life::kaplan::{Curve, Step};
use crate::stats::life::weibull::Weibull;
use crate::stats::life::{Life, logrank};

/// Days of a year.
const YEAR: f64 = 365.25;
/// Level of the intervals.
const LEVEL: f64 = 0.90;
/// Probability, after correction, below which a lot is said to die early.
const EARLY: f64 = 0.05;
/// Failures from which a law is fitted: fewer make a law of anything.
const FEWEST: u32 = 10;

/// What the figures mean, for those who read them.
pub const LIVES_NOTE: &str = "In years from entering, or from the maker's date for packs entered in use. Failed: below the service \
     limit, and not lifted again. Expected: if the lot lasted like the rest of its make; p is corrected for the number of lots. \
     Median with 90 % limits; ~ by the Weibull law.";

/// What packs have in common.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Alike {
    /// Their make.
    Make,
    /// Their make and the supplier's reference of their lots, where several lots share it.
    Reference,
    /// Their lot.
    Lot,
}

impl Alike {
    /// The word for people.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Make => "make",
            Self::Reference => "reference",
            Self::Lot => "lot",
        }
    }
}

/// How long packs of one make, lot or reference last.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Lives {
    /// What they have in common.
    pub alike: Alike,
    /// Their make.
    pub make: String,
    /// The name of the lot, or the reference; empty for a whole make.
    pub name: String,
    /// Packs under watch.
    pub packs: u32,
    /// Packs of them that failed.
    pub failed: u32,
    /// Age by which half have failed, by Kaplan and Meier's curve; none when more than half are good.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub median_years: Option<f64>,
    /// Lower limit of it, 90 % (Brookmeyer and Crowley).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub median_low_years: Option<f64>,
    /// Upper limit of it, 90 %.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub median_high_years: Option<f64>,
    /// Age by which half will have failed by the Weibull law, where ten or more failed: `scale (ln 2)^(1 / shape)`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fitted_median_years: Option<f64>,
    /// Lower limit of it, 90 % (delta method on its logarithm).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fitted_low_years: Option<f64>,
    /// Upper limit of it, 90 %.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fitted_high_years: Option<f64>,
    /// Shape of the Weibull law: above 1, they wear out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shape: Option<f64>,
    /// Of a lot: failures to be expected if it lasted like all other packs of its make (log-rank).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expected_failures: Option<f64>,
    /// Of a lot: the probability of so large a difference if it did, corrected for the number of lots tested (Holm).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub probability: Option<f64>,
    /// It dies early: the probability is below 0.05, and more failed than expected.
    pub early: bool,
    /// Kaplan and Meier's curve: age in years, and the share that still lives from then on.
    pub curve: Vec<(f64, f64)>,
    /// Ages in years up to which packs were watched that had not failed.
    pub censored: Vec<f64>,
}

impl Lives {
    /// What the packs have in common, in words.
    pub fn label(&self) -> String {
        match self.alike {
            Alike::Make => "all".to_owned(),
            Alike::Reference | Alike::Lot => format!("{} {}", self.alike.word(), self.name),
        }
    }

    /// The median with its limits, in words: the curve's, else the law's, which is marked.
    pub fn median(&self) -> String {
        let year = |years: Option<f64>| years.map_or_else(|| "?".to_owned(), |years| format!("{years:.1}"));
        let (about, median, low, high) = match self.median_years {
            Some(median) => ("", median, self.median_low_years, self.median_high_years),
            None => match self.fitted_median_years {
                Some(median) => ("~", median, self.fitted_low_years, self.fitted_high_years),
                None => return String::new(),
            },
        };
        format!("{about}{median:.1} ({} to {})", year(low), year(high))
    }

    /// The probability in words: three places, or that it is less than they show.
    pub fn chance(&self) -> String {
        match self.probability {
            None => String::new(),
            Some(chance) if chance < 0.001 => "<0.001".to_owned(),
            Some(chance) => format!("{chance:.3}"),
        }
    }

    /// What is said of a lot that dies early.
    pub fn warning(&self) -> String {
        let median = self.median();
        let median = if median.is_empty() { String::new() } else { format!("; median life {median} years") };
        format!(
            "lot {} ({}) dies early: {} of {} failed, {:.1} expected, p {}{median}",
            self.name,
            self.make,
            self.failed,
            self.packs,
            self.expected_failures.unwrap_or(0.0),
            self.chance()
        )
    }
}

/// One pack's life, in days.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Watched {
    make: Raw,
    lot: Option<Raw>,
    entered: u32,
    left: u32,
    failed: bool,
}

/// The lives of packs, gathered one by one.
#[derive(Debug, Default)]
pub(super) struct Gathered {
    watched: Vec<Watched>,
}

impl Gathered {
    /// Takes a pack.
    pub(super) fn take(&mut self, pack: &Reckoned) {
        if let (Some(make), Some((entered, left, failed))) = (pack.make, pack.life) {
            self.watched.push(Watched { make, lot: pack.lot, entered, left, failed });
        }
    }

    /// Works the lives out: makes by name, each with its references and lots.
    pub(super) fn finish(
        mut self,
        names: &BTreeMap<MakeId, String>,
        lots: &BTreeMap<LotId, LotFacts>,
    ) -> Vec<Lives> {
        // The same packs in another order must give the same sums to the last digit.
        self.watched.sort_unstable();
        let mut lines = Vec::new();
        for all in self.watched.chunk_by(|a, b| a.make == b.make) {
            let Some(first) = all.first() else { continue };
            let make = names
                .get(&MakeId::new(Uuid::from_bytes(first.make)))
                .cloned()
                .unwrap_or_else(|| "unknown".to_owned());
            lines.extend(of_make(&make, all, lots));
        }
        correct(&mut lines);
        lines.sort_by(|a, b| (&a.make, a.alike.order(), &a.name).cmp(&(&b.make, b.alike.order(), &b.name)));
        lines
    }
}

impl Alike {
    const fn order(self) -> u8 {
        match self {
            Self::Make => 0,
            Self::Reference => 1,
            Self::Lot => 2,
        }
    }
}

fn lives(watched: &[Watched]) -> Vec<Life> {
    let life = |one: &Watched| Life {
        entered: f64::from(one.entered) / YEAR,
        left: f64::from(one.left) / YEAR,
        failed: one.failed,
    };
    watched.iter().map(life).collect()
}

fn of_make(make: &str, all: &[Watched], lots: &BTreeMap<LotId, LotFacts>) -> Vec<Lives> {
    let groups: Vec<&[Watched]> = all.chunk_by(|a, b| a.lot == b.lot).collect();
    let ages: Vec<Vec<Life>> = groups.iter().map(|group| lives(group)).collect();
    let mut lines = vec![line(Alike::Make, make, "", &ages.concat())];
    let slices: Vec<&[Life]> = ages.iter().map(Vec::as_slice).collect();
    // No failure yet: nothing to compare, and no line says otherwise.
    let tests = logrank::each_against_the_rest(&slices).unwrap_or_default();
    let mut references: BTreeMap<&str, Vec<&[Life]>> = BTreeMap::new();
    for (place, (group, &ages)) in groups.iter().zip(&slices).enumerate() {
        let lot = group.first().and_then(|one| one.lot).map(|lot| LotId::new(Uuid::from_bytes(lot)));
        let Some(lot) = lot.and_then(|lot| lots.get(&lot)) else { continue };
        let mut found = line(Alike::Lot, make, &lot.name, ages);
        if let Some(test) = tests.get(place).copied().flatten() {
            found.expected_failures = Some(rounded(test.group.expected, 1e2));
            found.probability = Some(test.probability);
            found.early = f64::from(test.group.observed) > test.group.expected;
        }
        lines.push(found);
        if !lot.supplier_ref.is_empty() {
            references.entry(lot.supplier_ref.as_str()).or_default().push(ages);
        }
    }
    // A reference is free text, and often that of one order: it says something of its own only where lots share it.
    for (reference, ages) in references.into_iter().filter(|(_, ages)| ages.len() > 1) {
        lines.push(line(Alike::Reference, make, reference, &ages.concat()));
    }
    lines
}

/// Corrects the probabilities of all lots together, and says which of them die early.
fn correct(lines: &mut [Lives]) {
    let raw: Vec<f64> = lines.iter().filter_map(|line| line.probability).collect();
    let tested = lines.iter_mut().filter(|line| line.probability.is_some());
    for (line, probability) in tested.zip(logrank::holm(&raw)) {
        line.early = line.early && probability < EARLY;
        line.probability = Some(rounded(probability, 1e6));
    }
}

fn line(alike: Alike, make: &str, name: &str, lives: &[Life]) -> Lives {
    let count = |number: usize| u32::try_from(number).unwrap_or(u32::MAX);
    let failed = count(lives.iter().filter(|life| life.failed).count());
    let years = |years: f64| rounded(years, 1e3);
    let curve = Curve::of(lives).ok();
    let median = curve.as_ref().and_then(Curve::median);
    let step = |step: &Step| (rounded(step.age, 1e3), rounded(step.surviving, 1e4));
    let steps = curve.as_ref().map(|curve| curve.steps().iter().map(step).collect()).unwrap_or_default();
    let (low, high) = curve.map(|curve| curve.quantile_interval(0.5, LEVEL)).unwrap_or_default();
    let law = Some(lives).filter(|_| failed >= FEWEST).and_then(|lives| Weibull::fit(lives).ok());
    let limits = law.map(|law| law.quantile_interval(0.5, LEVEL));
    Lives {
        alike,
        make: make.to_owned(),
        name: name.to_owned(),
        packs: count(lives.len()),
        failed,
        median_years: median.map(years),
        median_low_years: median.and(low).map(years),
        median_high_years: median.and(high).map(years),
        fitted_median_years: law.map(|law| years(law.median())),
        fitted_low_years: limits.map(|limits| years(limits.low)),
        fitted_high_years: limits.map(|limits| years(limits.high)),
        shape: law.map(|law| rounded(law.shape, 1e2)),
        expected_failures: None,
        probability: None,
        early: false,
        curve: steps,
        censored: watched(lives),
    }
}

/// Ages up to which packs were watched that had not failed: each day once.
fn watched(lives: &[Life]) -> Vec<f64> {
    let mut ages: Vec<f64> =
        lives.iter().filter(|life| !life.failed).map(|life| rounded(life.left, 1e3)).collect();
    ages.sort_by(f64::total_cmp);
    ages.dedup();
    ages
}

fn rounded(value: f64, steps: f64) -> f64 {
    (value * steps).round() / steps
}
