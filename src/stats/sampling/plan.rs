//! Attribute plans: how many are read, and with how many bad ones a lot is accepted.

use super::chances::{at_most, binomial, hypergeometric};

/// One sample: how many are read, and with how many bad ones among them the lot is accepted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Single {
    /// Packs to read.
    pub sample: u32,
    /// Accepted with at most so many bad ones.
    pub accept: u32,
    /// Rejected from so many on. In reduced inspection a gap may lie between: the lot is accepted, but the next one is inspected normally.
    pub reject: u32,
}

/// Two samples: the second is read only when the first decides nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Double {
    /// The first sample.
    pub first: Single,
    /// The second: its numbers count the bad ones of both.
    pub second: Single,
}

/// A plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Plan {
    /// One sample.
    Single(Single),
    /// Two.
    Double(Double),
}

/// Where what is drawn comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Source {
    /// A lot with so many bad ones.
    Lot { size: u32, bad: u32 },
    /// One without end, with a share of bad ones.
    Endless(f64),
}

impl Source {
    fn drawn(self, sample: u32) -> Vec<f64> {
        match self {
            Self::Lot { size, bad } => hypergeometric(size, bad, sample),
            Self::Endless(share) => binomial(sample, share),
        }
    }

    /// What is left after a sample with so many bad ones.
    fn without(self, sample: u32, bad_ones: u32) -> Self {
        match self {
            Self::Lot { size, bad } => {
                Self::Lot { size: size.saturating_sub(sample), bad: bad.saturating_sub(bad_ones) }
            }
            Self::Endless(share) => Self::Endless(share),
        }
    }
}

impl Single {
    /// A plan that rejects from the next number on.
    pub const fn of(sample: u32, accept: u32) -> Self {
        Self { sample, accept, reject: accept + 1 }
    }

    /// With how many bad ones the lot is still taken: in the gap of reduced inspection it is.
    const fn taken(self) -> u32 {
        self.reject.saturating_sub(1)
    }
}

impl Plan {
    /// The chance that a lot of a size with so many bad ones is accepted.
    pub fn accepts(&self, lot: u32, bad: u32) -> f64 {
        self.accepts_from(Source::Lot { size: lot, bad })
    }

    /// The chance that a lot without end with a share of bad ones is accepted.
    pub fn accepts_share(&self, share: f64) -> f64 {
        self.accepts_from(Source::Endless(share))
    }

    fn accepts_from(&self, source: Source) -> f64 {
        match self {
            Self::Single(plan) => at_most(&source.drawn(plan.sample), plan.taken()),
            Self::Double(Double { first, second }) => {
                let chances = source.drawn(first.sample);
                let between =
                    (0..).zip(&chances).filter(|&(bad, _)| bad > first.accept && bad < first.reject);
                let then: f64 = between
                    .map(|(bad, chance)| {
                        let more = source.without(first.sample, bad).drawn(second.sample);
                        second.accept.checked_sub(bad).map_or(0.0, |left| chance * at_most(&more, left))
                    })
                    .sum();
                (at_most(&chances, first.accept) + then).min(1.0)
            }
        }
    }

    /// How many packs are read on average, with so many bad ones in the lot.
    pub fn expected_sample(&self, lot: u32, bad: u32) -> f64 {
        match self {
            Self::Single(plan) => f64::from(plan.sample.min(lot)),
            Self::Double(Double { first, second }) => {
                let chances = hypergeometric(lot, bad, first.sample);
                let goes_on: f64 = (0..)
                    .zip(&chances)
                    .filter(|&(bad, _)| bad > first.accept && bad < first.reject)
                    .map(|(_, chance)| chance)
                    .sum();
                f64::from(first.sample.min(lot))
                    + goes_on * f64::from(second.sample.min(lot.saturating_sub(first.sample)))
            }
        }
    }
}
