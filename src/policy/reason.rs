//! Why a rule spoke: what was found, what the limit is, by how much.

use std::fmt;

use serde::Serialize;

use crate::domain::verdict::{Rule, Verdict};

/// One rule that spoke.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Reason {
    /// The rule.
    pub rule: Rule,
    /// What it asks for.
    pub verdict: Verdict,
    /// What was found, in plain words.
    pub found: String,
    /// The limit that it was held against, in plain words.
    pub limit: Option<String>,
    /// By how much, in plain words.
    pub margin: Option<String>,
    /// What to do, where the verdict word alone does not say it.
    pub advice: Option<String>,
}

impl Reason {
    /// A reason with nothing but what was found.
    pub fn new(rule: Rule, verdict: Verdict, found: impl Into<String>) -> Self {
        Self { rule, verdict, found: found.into(), limit: None, margin: None, advice: None }
    }

    /// Adds the limit.
    #[must_use]
    pub fn limit(mut self, limit: impl Into<String>) -> Self {
        self.limit = Some(limit.into());
        self
    }

    /// Adds the margin.
    #[must_use]
    pub fn margin(mut self, margin: impl Into<String>) -> Self {
        self.margin = Some(margin.into());
        self
    }

    /// Adds advice.
    #[must_use]
    pub fn advice(mut self, advice: impl Into<String>) -> Self {
        self.advice = Some(advice.into());
        self
    }
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.rule, self.found)?;
        if let Some(limit) = &self.limit {
            write!(f, "; limit {limit}")?;
        }
        if let Some(margin) = &self.margin {
            write!(f, "; {margin}")?;
        }
        if let Some(advice) = &self.advice {
            write!(f, ". {advice}")?;
        }
        Ok(())
    }
}

/// How long a loan a fit pack is likely to last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Keeps {
    /// One that is due by this day.
    Until(jiff::civil::Date),
    /// None of a week or more.
    NoLoan,
}

/// What the judge says: the gravest verdict of all rules that spoke, and every reason, gravest first.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Ruling {
    /// The verdict.
    pub verdict: Verdict,
    /// The reasons, gravest first; rules of equal gravity in the order in which they were asked.
    pub reasons: Vec<Reason>,
    /// What speaks for a fit pack: its reading, or its carton's word.
    pub basis: Option<String>,
    /// Hours of play by the reading that counts, at the draw of the player that was asked for.
    pub play: Option<crate::domain::units::PlayHours>,
    /// The reading that counts.
    pub capacity: Option<crate::domain::units::MilliampHours>,
    /// The limit that applied.
    pub limit: Option<crate::domain::units::MilliampHours>,
    /// How long a loan the pack is likely to last, where the fleet has a model.
    pub keeps: Option<Keeps>,
    /// The last day on which the same facts still give the same verdict, where a rule knows of a change to come. Not asked
    /// for a pack that goes out now.
    pub until: Option<jiff::civil::Date>,
}
