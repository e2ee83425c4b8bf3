//! The figures of a month, so that the month before can stand beside it.

use serde::Serialize;

use super::Review;

/// The figures of a month.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Figures {
    /// The month.
    pub month: String,
    /// What each is, and its value.
    pub rows: Vec<Figure>,
}

/// One figure.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Figure {
    /// What it is.
    pub what: &'static str,
    /// Its value.
    pub value: u64,
}

fn count<T>(list: &[T]) -> u64 {
    u64::try_from(list.len()).unwrap_or(u64::MAX)
}

impl Figures {
    /// The figures of a review.
    pub(super) fn of(review: &Review) -> Self {
        let deed = |what: &str| {
            let found = review.deeds.iter().find(|deed| deed.what == what);
            u64::from(found.map_or(0, |deed| deed.count))
        };
        // What is foretold looks ahead from its own day: only what lies near a limit is alike in both months.
        let near = review.near_end.iter().filter(|line| line.within_margin).count();
        let near = u64::try_from(near).unwrap_or(u64::MAX);
        let rows = [
            ("packs", u64::from(review.packs)),
            ("fit and here", u64::from(review.ready)),
            ("players that can go out", u64::from(review.can_go)),
            ("within the margin of a limit", near),
            ("out, would not pass today", count(&review.out_at_risk)),
            ("to recondition", count(&review.recondition)),
            ("to recycle", count(&review.recycle)),
            ("to keep apart", count(&review.isolate)),
            ("lost or missing", count(&review.lost)),
            ("waste on hand, packs", u64::from(review.waste.packs)),
            ("waste on hand, g", review.waste.mass_g),
            ("readings", count(&review.readings)),
            ("rounds", u64::from(review.rounds)),
            ("players sent out", deed("players sent out")),
            ("players come back", deed("players come back")),
            ("complaints", count(&review.complaints)),
            ("does not add up", count(&review.odd)),
        ];
        Self { month: review.month.clone(), rows: rows.map(|(what, value)| Figure { what, value }).to_vec() }
    }

    /// The value of a figure.
    pub fn value(&self, what: &str) -> Option<u64> {
        self.rows.iter().find(|figure| figure.what == what).map(|figure| figure.value)
    }
}
