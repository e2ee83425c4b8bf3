//! Which of two plans is the better.
//!
//! Three things, the first that differs decides: what loans miss, how long good packs are waited for, and when all is done. All
//! are counted in whole numbers (a job's worth in millionths of a pack), so that sums are the same in any order, and a plan that
//! loses nothing in the first is never turned down for a rounding.

/// Millionths, in which worth is counted.
const MILLIONTHS: f64 = 1e6;

/// What a plan comes to: the less, the better.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct Score {
    late: u64,
    waiting: u128,
    end: u32,
}

impl Score {
    /// Expected good packs, by weight, that a loan needs and that are not ready by their moment: `sum of chance weight`.
    pub fn late(&self) -> f64 {
        float(self.late.into()) / MILLIONTHS
    }

    /// How long expected good packs are waited for, in minutes by weight: `sum of chance weight ready`.
    pub fn waiting(&self) -> f64 {
        float(self.waiting) / MILLIONTHS
    }

    /// The minute at which all is ready.
    pub fn end(&self) -> u32 {
        self.end
    }

    /// One job of a worth, ready at a minute.
    pub(super) fn of(worth: u64, ready: u32, late: bool) -> Self {
        let late = if late { worth } else { 0 };
        Self { late, waiting: u128::from(worth) * u128::from(ready), end: ready }
    }

    /// True when something that a loan needs is late.
    pub(super) fn is_late(self) -> bool {
        self.late > 0
    }

    /// Both together.
    pub(super) fn and(self, other: Self) -> Self {
        Self {
            late: self.late.saturating_add(other.late),
            waiting: self.waiting.saturating_add(other.waiting),
            end: self.end.max(other.end),
        }
    }
}

/// A job's worth in millionths: `chance weight`, at most a million million of them. Less than half of one is nothing.
pub(super) fn worth(chance: f64, weight: f64) -> u64 {
    // From 2^52 on doubles are whole numbers, and the lower bits of one are how far it lies above: the sum rounds, its bits tell.
    const WHOLE: f64 = 4_503_599_627_370_496.0;
    (chance * weight * MILLIONTHS + WHOLE).to_bits() & ((1 << 52) - 1)
}

/// The nearest double, but for roundings on the way.
fn float(whole: u128) -> f64 {
    whole.to_be_bytes().into_iter().fold(0.0, |above, byte| above * 256.0 + f64::from(byte))
}

#[cfg(test)]
mod tests {
    use super::{Score, float, worth};

    #[test]
    fn worth_is_rounded_to_millionths() {
        assert_eq!(worth(0.0, 5.0), 0);
        assert_eq!(worth(0.97, 1.0), 970_000);
        assert_eq!(worth(1.0, 1e6), 1_000_000_000_000);
        assert_eq!(worth(0.000_000_4, 1.0), 0);
        assert_eq!(worth(0.000_000_6, 1.0), 1);
    }

    #[test]
    fn the_first_that_differs_decides() {
        let [late, slow, long] = [(7, 1, true), (7, 100, false), (0, 1000, false)]
            .map(|(worth, ready, late)| Score::of(worth, ready, late));
        assert!(long < slow && slow < late);
        assert_eq!(slow.and(long).end(), 1000);
        assert!(slow < slow.and(long));
    }

    #[test]
    fn whole_numbers_stay_what_they_are() {
        for whole in [0, 1, 255, 256, 4_294_967_296, (1 << 53) - 1] {
            assert_eq!(format!("{:.0}", float(whole)), whole.to_string());
        }
    }
}
