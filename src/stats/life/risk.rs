//! The packs at risk, age by age: what the curve and the comparison of groups both count.

use std::iter::Peekable;
use std::vec::IntoIter;

use super::Life;

/// A walk through the ages, from young to old.
pub(super) struct Risk {
    entries: Peekable<IntoIter<f64>>,
    exits: Peekable<IntoIter<(f64, bool)>>,
    watched: u32,
}

/// What happened at one age.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Count {
    pub(super) at_risk: u32,
    pub(super) failed: u32,
}

impl Risk {
    /// Sorts the packs: the only step that costs more than one pass.
    pub(super) fn new(lives: &[Life]) -> Self {
        let mut entries: Vec<f64> = lives.iter().map(|life| life.entered).collect();
        entries.sort_unstable_by(f64::total_cmp);
        let mut exits: Vec<(f64, bool)> = lives.iter().map(|life| (life.left, life.failed)).collect();
        exits.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        Self { entries: entries.into_iter().peekable(), exits: exits.into_iter().peekable(), watched: 0 }
    }

    /// Counts the packs at risk at an age and those that failed at it. Ages must not fall from call to call.
    ///
    /// A pack is at risk when it entered before the age and left at it or later: one that was last seen good at the age at which
    /// another failed was still at risk then, and one that entered at that age was not yet.
    pub(super) fn at(&mut self, age: f64) -> Count {
        while self.entries.next_if(|&entered| entered < age).is_some() {
            self.watched += 1;
        }
        while self.exits.next_if(|&(left, _)| left < age).is_some() {
            self.watched -= 1;
        }
        let at_risk = self.watched;
        let mut failed = 0;
        while let Some((_, failure)) = self.exits.next_if(|&(left, _)| left <= age) {
            self.watched -= 1;
            failed += u32::from(failure);
        }
        Count { at_risk, failed }
    }
}

/// The ages at which packs failed, each once, in order.
pub(super) fn failure_ages<'a>(lives: impl IntoIterator<Item = &'a Life>) -> Vec<f64> {
    let mut ages: Vec<f64> = lives.into_iter().filter(|life| life.failed).map(|life| life.left).collect();
    ages.sort_unstable_by(f64::total_cmp);
    ages.dedup();
    ages
}
