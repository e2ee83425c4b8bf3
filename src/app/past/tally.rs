//! What is counted of the past, for each policy.

use serde::Serialize;

use crate::domain::moment::Moment;
use crate::policy::rules::Policy;

/// What came of loans, each counted once.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct Truths {
    /// The borrower complained that it stopped too early, or it was found so when it came back.
    pub cut_out: u32,
    /// It did not, but its first reading after the return, with no round before it, is below the service limit in force.
    pub short: u32,
    /// It did not, and that reading reaches the limit.
    pub kept: u32,
    /// Still out, or not read between its return and its next round or loan.
    pub unknown: u32,
}

/// What came of one loan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Truth {
    CutOut,
    Short,
    Kept,
    Unknown,
}

impl Truths {
    /// All loans.
    pub const fn all(self) -> u32 {
        self.failed().saturating_add(self.kept).saturating_add(self.unknown)
    }

    /// Loans whose pack did not keep its promise: `cut_out + short`.
    pub const fn failed(self) -> u32 {
        self.cut_out.saturating_add(self.short)
    }

    pub(super) const fn add(&mut self, truth: Truth) {
        let count = match truth {
            Truth::CutOut => &mut self.cut_out,
            Truth::Short => &mut self.short,
            Truth::Kept => &mut self.kept,
            Truth::Unknown => &mut self.unknown,
        };
        *count = count.saturating_add(1);
    }

    const fn less(self, other: Self) -> Self {
        Self {
            cut_out: self.cut_out.saturating_sub(other.cut_out),
            short: self.short.saturating_sub(other.short),
            kept: self.kept.saturating_sub(other.kept),
            unknown: self.unknown.saturating_sub(other.unknown),
        }
    }
}

/// The raw counts of one policy.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Tally {
    /// Loans that it does not call FIT.
    pub(super) stopped: Truths,
    /// Readings after which it asks for a round.
    pub(super) rounds: u32,
    /// Readings after which it asks for another one.
    pub(super) again: u32,
    /// Packs whose first RECYCLE falls into the time.
    pub(super) recycled: u32,
}

/// What one policy would have said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct Column {
    /// Loans whose pack it does not call FIT, by what came of them.
    pub stopped: Truths,
    /// The other loans: all less those stopped.
    pub let_through: Truths,
    /// Rounds that it would have asked for, each right after a reading.
    pub rounds: u32,
    /// Readings after which it would have asked for another, in another slot.
    pub second_readings: u32,
    /// Hours of a slot for them: `second_readings x test_hours + rounds x (cycles_per_round x cycle_hours + test_hours)`.
    ///
    /// A reading follows each round, since none before it counts. Cycles are those of a round in service.
    pub bench_h: u32,
    /// Packs whose first RECYCLE falls into the time: as many have to be bought.
    pub packs_recycled: u32,
}

impl Column {
    pub(super) fn of(tally: &Tally, loans: Truths, policy: &Policy) -> Self {
        let (test, cycle) = (policy.bench.test_hours, policy.bench.cycle_hours);
        let round = policy.service.cycles_per_round.saturating_mul(cycle).saturating_add(test);
        let again = tally.again.saturating_mul(test);
        Self {
            stopped: tally.stopped,
            let_through: loans.less(tally.stopped),
            rounds: tally.rounds,
            second_readings: tally.again,
            bench_h: again.saturating_add(tally.rounds.saturating_mul(round)),
            packs_recycled: tally.recycled,
        }
    }
}

/// How the tried policy would have moved the recycling of packs. A pack counts by its first RECYCLE under each policy.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct Change {
    /// By both, and by the tried one on an earlier day.
    pub packs_earlier: u32,
    /// Days by which those are earlier, in all.
    pub earlier_days: i64,
    /// By both, and by the tried one on a later day.
    pub packs_later: u32,
    /// Days by which those are later, in all.
    pub later_days: i64,
    /// By the tried one only, so far.
    pub packs_tried_only: u32,
    /// By the one in force only, so far.
    pub packs_in_force_only: u32,
}

impl Change {
    /// Takes a pack's first RECYCLE under both, where at least one falls into the time.
    pub(super) const fn add(&mut self, in_force: Option<Moment>, tried: Option<Moment>) {
        match (in_force, tried) {
            (Some(was), Some(now)) => {
                let days = now.days_since(was);
                if days < 0 {
                    self.packs_earlier = self.packs_earlier.saturating_add(1);
                    self.earlier_days = self.earlier_days.saturating_sub(days);
                } else if days > 0 {
                    self.packs_later = self.packs_later.saturating_add(1);
                    self.later_days = self.later_days.saturating_add(days);
                }
            }
            (None, Some(_)) => self.packs_tried_only = self.packs_tried_only.saturating_add(1),
            (Some(_), None) => self.packs_in_force_only = self.packs_in_force_only.saturating_add(1),
            (None, None) => {}
        }
    }
}
