//! The best plan of all, where the orders are few enough to try them.
//!
//! With jobs of worth before those of none, as everywhere here: a job of no worth never gains by going first.

use super::job::Bench;
use super::orders::Mark;
use super::plan::Plan;
use super::score::Score;

/// The most orders that are tried: 8 jobs in 3 slots have fewer.
pub const MOST_ORDERS: u64 = 2_000_000;

/// How many orders there are for jobs in slots: `jobs! (jobs + slots - 1 choose slots - 1)`, or the most that a number holds.
pub fn orders(jobs: u64, slots: u64) -> u64 {
    // Job by job: beside those placed there are so many places for the next, ends of slots among them.
    (0..jobs).fold(1, |orders: u64, placed| orders.saturating_mul(placed.saturating_add(slots)))
}

/// The best plan, of all orders in all slots; none where there are more than [`MOST_ORDERS`].
///
/// Slot by slot and job by job; a beginning is left as soon as it, with each job still to place at the earliest minute that any slot
/// has for it, is no better than the best plan so far.
pub fn best(bench: &Bench) -> Option<Plan> {
    let slots = bench.slots().len();
    let jobs = (0..bench.jobs().len()).filter(|&job| (0..slots).any(|slot| bench.fits(slot, job)));
    let waiting: Vec<usize> = jobs.collect();
    let count = orders(u64::try_from(waiting.len()).ok()?, u64::try_from(slots).ok()?);
    if count > MOST_ORDERS {
        return None;
    }
    let mut tree = Tree { bench, waiting, orders: vec![Vec::new()], best: None };
    tree.grow(Mark::first(bench, 0), Score::default());
    let mut orders = tree.best.map(|(_, orders)| orders).unwrap_or_default();
    orders.resize(slots, Vec::new());
    Some(Plan::run(bench, &orders))
}

/// Orders as they grow: those of the slots so far, and the jobs still to place.
struct Tree<'a> {
    bench: &'a Bench,
    waiting: Vec<usize>,
    orders: Vec<Vec<usize>>,
    best: Option<(Score, Vec<Vec<usize>>)>,
}

impl Tree<'_> {
    /// Grows the last slot's order from a mark on; `others` is what the slots before it come to.
    fn grow(&mut self, mark: Mark, others: Score) {
        let score = others.and(mark.score);
        if self.best.as_ref().is_some_and(|(best, _)| self.least(mark, score) >= *best) {
            return;
        }
        if self.waiting.is_empty() {
            self.best = Some((score, self.orders.clone()));
            return;
        }
        let slot = self.orders.len().saturating_sub(1);
        let last = self.orders.last().and_then(|order| order.last()).copied();
        let after_none = last.is_some_and(|last| self.bench.worth(last) == 0);
        for place in 0..self.waiting.len() {
            let Some(&job) = self.waiting.get(place) else { continue };
            if !self.bench.fits(slot, job) || (after_none && self.bench.worth(job) > 0) {
                continue;
            }
            self.waiting.remove(place);
            self.put(job);
            self.grow(mark.after(self.bench, job), others);
            self.orders.last_mut().and_then(Vec::pop);
            self.waiting.insert(place, job);
        }
        if slot + 1 < self.bench.slots().len() {
            self.orders.push(Vec::new());
            self.grow(Mark::first(self.bench, slot + 1), score);
            self.orders.pop();
        }
    }

    fn put(&mut self, job: usize) {
        if let Some(order) = self.orders.last_mut() {
            order.push(job);
        }
    }

    /// What the plan comes to at least.
    fn least(&self, mark: Mark, score: Score) -> Score {
        let slot = self.orders.len().saturating_sub(1);
        let later = self.bench.slots().iter().enumerate().skip(slot + 1);
        let free = || later.clone().map(|(slot, later)| (slot, later.free_from));
        self.waiting.iter().fold(score, |score, &job| {
            let frees = free().chain([(slot, mark.free)]).filter(|&(slot, _)| self.bench.fits(slot, job));
            let first = frees.map(|(_, free)| free).min();
            score.and(self.bench.charge(job, first.and_then(|free| self.bench.ready(job, free))))
        })
    }
}
