//! What the judge may ask of the fleet's statistics about one pack.

use std::fmt;

use crate::domain::units::MilliampHours;

/// A chance, in millionths.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct Chance(u32);

impl Chance {
    /// The whole.
    const CERTAIN: u32 = 1_000_000;

    /// So many millionths, at most all.
    pub const fn millionths(value: u32) -> Self {
        Self(if value > Self::CERTAIN { Self::CERTAIN } else { value })
    }

    /// So many per cent.
    pub const fn percent(value: u32) -> Self {
        Self::millionths(value.saturating_mul(10_000))
    }

    /// In millionths.
    pub const fn raw(self) -> u32 {
        self.0
    }

    /// The chance that it does not happen.
    #[must_use]
    pub const fn not(self) -> Self {
        Self(Self::CERTAIN - self.0)
    }
}

impl fmt::Display for Chance {
    /// Whole per cent; what is nearly nothing or nearly certain is said so.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            0..5_000 => f.write_str("under 1 %"),
            995_001.. => f.write_str("over 99 %"),
            value => write!(f, "{} %", value.saturating_add(5_000) / 10_000),
        }
    }
}

/// What a pack is expected to hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Holding {
    /// The mean.
    pub expected: MilliampHours,
    /// The lower end of the 90 % interval.
    pub low: MilliampHours,
    /// The upper end.
    pub high: MilliampHours,
}

impl fmt::Display for Holding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "about {}, 90 % between {} and {}", self.expected, self.low.raw(), self.high)
    }
}

/// Rounds of a make below which what is said of it leans on the fleet.
pub const FEW_ROUNDS: u32 = 10;

/// The chance that a round of reconditioning brings a pack to a limit, and the measured rounds that it rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Lifted {
    /// The chance.
    pub chance: Chance,
    /// Rounds of the pack's make.
    pub of_make: u32,
    /// Rounds of the whole fleet.
    pub of_fleet: u32,
}

impl fmt::Display for Lifted {
    /// The chance, and how far it can be trusted.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { chance, of_make, of_fleet } = self;
        let rounds = |n: u32| format!("{n} {}", if n == 1 { "round" } else { "rounds" });
        match (*of_make, *of_fleet) {
            (_, 0) => write!(f, "{chance} (a guess: no round was measured yet)"),
            (0, all) => write!(f, "{chance} (a guess by {} of other makes)", rounds(all)),
            (own, all) if all < FEW_ROUNDS => {
                write!(f, "{chance} (nearly a guess: {} measured, {own} of its make)", rounds(all))
            }
            (own, all) if own < FEW_ROUNDS => {
                write!(f, "{chance} (leaning on the fleet: {own} of {} are of its make)", rounds(all))
            }
            (own, _) => write!(f, "{chance} (from {} of its make)", rounds(own)),
        }
    }
}

/// What is foreseen of one pack. Days are days on loan from now on; nought is now.
pub trait Foresight: fmt::Debug {
    /// What it will truly hold.
    fn holds(&self, days: u32) -> Holding;

    /// The chance that it will truly hold less than a limit.
    fn below(&self, limit: MilliampHours, days: u32) -> Chance;

    /// The chance that a round of reconditioning now brings it to a limit; none when nothing can be said.
    fn lifted_to(&self, limit: MilliampHours) -> Option<Lifted>;

    /// How many days after its due date a loan of this service is likely to end.
    fn overrun(&self) -> u32;

    /// The risk from which bench hours suffice for second readings: the policy's own may be lower.
    fn worth_doubting(&self) -> Chance;
}
