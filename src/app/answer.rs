//! Answers to scans: a first word in capitals, short lines, and what to scan next.

use std::fmt::Write as _;

use jiff::civil::Date;
use serde::Serialize;

use crate::domain::units::{MilliampHours, PlayHours};
use crate::domain::verdict::{Rule, Verdict};
use crate::policy::reason::{Keeps, Reason, Ruling};

/// How an answer bears on the exit code, mildest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Outcome {
    /// Done, or yes.
    Yes,
    /// The answer is no.
    No,
    /// What was scanned makes no sense here; nothing was written.
    Unclear,
}

/// A verdict as it is told.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Told {
    /// The verdict.
    pub verdict: Verdict,
    /// The pack's tag, grouped for people.
    pub pack: String,
    /// The pack's make.
    pub make: String,
    /// Every reason, gravest first.
    pub reasons: Vec<ToldReason>,
    /// What speaks for a fit pack.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub basis: Option<String>,
    /// The reading that counts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub capacity_mah: Option<u32>,
    /// The limit that applied.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit_mah: Option<u32>,
    /// Hours of play by the reading that counts, in the player asked for or the thirstiest that the pack fits.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub play_h: Option<f64>,
    /// The last day on which a loan may be due that it is likely to last.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub good_until: Option<Date>,
    /// It is likely to last no loan of a week or more.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub good_for_no_loan: bool,
    /// The last day on which the verdict holds, if nothing happens.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub until: Option<Date>,
    /// The tray that it goes to, if one is declared.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tray: Option<String>,
    /// The policy that it was given under.
    pub policy: String,
}

/// A reason as it is told.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ToldReason {
    /// The rule.
    pub rule: Rule,
    /// What it asks for.
    pub verdict: Verdict,
    /// In words, with limit and margin.
    pub text: String,
}

impl Told {
    /// Tells a ruling.
    pub fn new(ruling: &Ruling, pack: String, make: String, tray: Option<String>, policy: &str) -> Self {
        let reason = |reason: &Reason| ToldReason {
            rule: reason.rule,
            verdict: reason.verdict,
            text: reason.to_string(),
        };
        Self {
            verdict: ruling.verdict,
            pack,
            make,
            reasons: ruling.reasons.iter().map(reason).collect(),
            basis: ruling.basis.clone(),
            capacity_mah: ruling.capacity.map(MilliampHours::raw),
            limit_mah: ruling.limit.map(MilliampHours::raw),
            play_h: ruling.play.map(hours),
            good_until: match ruling.keeps {
                Some(Keeps::Until(day)) => Some(day),
                _ => None,
            },
            good_for_no_loan: ruling.keeps == Some(Keeps::NoLoan),
            until: ruling.until,
            tray,
            policy: policy.to_owned(),
        }
    }

    /// The lines for people: the verdict word first.
    pub fn lines(&self) -> Vec<String> {
        let mut head = format!("{} {} {}", self.verdict, self.pack, self.make);
        if let Some(play) = self.play_h {
            let _infallible = write!(head, ", {play} h of play");
        }
        let mut lines = vec![head];
        if let Some(basis) = &self.basis {
            lines.push(format!("  {basis}"));
        }
        lines.extend(self.reasons.iter().map(|reason| format!("  {}", reason.text)));
        if let Some(day) = self.good_until {
            lines.push(format!("  good for a loan until {day}"));
        }
        if self.good_for_no_loan {
            lines.push("  not likely to last any loan: it is near its end".to_owned());
        }
        if let Some(until) = self.until {
            lines.push(format!("  may go out until {until}"));
        }
        if let Some(tray) = &self.tray {
            lines.push(format!("  -> {tray}"));
        }
        lines
    }
}

/// A count with its word: "1 pack", "2 packs".
pub fn count(number: usize, one: &str, many: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { many })
}

/// Hours as a number for JSON.
pub fn hours(hours: PlayHours) -> f64 {
    f64::from(hours.raw()) / 100.0
}

/// The answer to one scan.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Answer {
    /// How it bears on the exit code.
    pub outcome: Outcome,
    /// What happened, in short lines.
    pub text: Vec<String>,
    /// The verdict, where one was given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub verdict: Option<Told>,
    /// What to scan next.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub next: String,
    /// The session is over.
    #[serde(skip)]
    pub ends: bool,
}

impl Answer {
    /// Something was done or understood.
    pub fn done(text: impl Into<String>) -> Self {
        Self {
            outcome: Outcome::Yes,
            text: vec![text.into()],
            verdict: None,
            next: String::new(),
            ends: false,
        }
    }

    /// The answer is no.
    pub fn no(text: impl Into<String>) -> Self {
        Self { outcome: Outcome::No, ..Self::done(text) }
    }

    /// What was scanned makes no sense here.
    pub fn unclear(text: impl Into<String>, next: impl Into<String>) -> Self {
        Self { outcome: Outcome::Unclear, next: next.into(), ..Self::done(text) }
    }

    /// A verdict, with what was done before it.
    pub fn verdict(told: Told, text: Vec<String>, outcome: Outcome) -> Self {
        Self { outcome, text, verdict: Some(told), next: String::new(), ends: false }
    }

    /// Adds a line.
    #[must_use]
    pub fn and(mut self, text: impl Into<String>) -> Self {
        self.text.push(text.into());
        self
    }

    /// Says what to scan next.
    #[must_use]
    pub fn next(mut self, next: impl Into<String>) -> Self {
        self.next = next.into();
        self
    }

    /// The lines for people: the verdict first, then what was done, then what comes next.
    pub fn lines(&self) -> Vec<String> {
        let mut lines = self.verdict.as_ref().map(Told::lines).unwrap_or_default();
        let indent = if lines.is_empty() { "" } else { "  " };
        lines.extend(self.text.iter().map(|line| format!("{indent}{line}")));
        if !self.next.is_empty() {
            lines.push(format!("  next: {}", self.next));
        }
        lines
    }
}
