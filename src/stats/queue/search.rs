//! A good plan for many jobs: the greedy one, bettered step by step.
//!
//! A step moves one job to another place, of its slot or of another, or swaps two; it is made when the exact score falls. When none
//! helps any more, a few jobs are moved at random, what that upset is bettered again, and the better one is kept
//! (iterated local search: Lourenço, Martin and Stützle, 2003; from memory). In long queues a job is only tried at places of about its
//! own time, unless a loan waits for it in vain. The work is bounded by how many jobs are timed, not by a clock, and the
//! random numbers always begin alike: the same bench has the same plan.
//!
//! There is no promise how near to the best that comes; `tests/stats/queue.rs` measures it against [`super::best`].

use std::ops::RangeInclusive;

use super::job::Bench;
use super::orders::{Change, Orders};
use super::plan::Plan;
use super::rules::greedy_orders;

/// How many times a job may be timed in one search.
const MOST_TIMED: u64 = 8_000_000;

/// How many times the search is upset and begun again.
const UPSETS: u32 = 160;

/// In queues longer than this, only places near its own time are tried for a job.
const SHORT: usize = 24;

/// How far from its own time, in places.
const NEAR: usize = 3;

/// The plan that local search finds.
///
/// At most eight million jobs are timed, each in some tens of nanoseconds.
pub fn search(bench: &Bench) -> Plan {
    let mut best = Orders::new(bench, greedy_orders(bench));
    let mut walk = Walk { bench, seen: vec![None; bench.jobs().len()], spent: 0 };
    walk.descend(&mut best);
    let mut draws = Draws(0);
    for upset in 0..UPSETS {
        if walk.spent >= MOST_TIMED {
            break;
        }
        let mut other = best.clone();
        let seen = walk.seen.clone();
        for _ in 0..2 + upset % 3 {
            if let Some(change) = draws.change(bench, &other) {
                other.make(change);
            }
        }
        walk.descend(&mut other);
        if other.score() <= best.score() {
            best = other;
        } else {
            walk.seen = seen;
        }
    }
    Plan::run(bench, &best.jobs())
}

/// What the search knows while it walks.
struct Walk<'a> {
    bench: &'a Bench,
    /// For each job, the change after which no step with it helped.
    seen: Vec<Option<u64>>,
    spent: u64,
}

impl Walk<'_> {
    /// Makes steps that help until there are none.
    fn descend(&mut self, orders: &mut Orders) {
        let mut again = true;
        while again && self.spent < MOST_TIMED {
            again = false;
            // What loans miss comes first, as in the score: the bound may leave no time for the rest.
            let mut jobs: Vec<(bool, usize)> =
                orders.late().into_iter().map(|(job, late)| (!late, job)).collect();
            jobs.sort_unstable();
            for (_, job) in jobs {
                while let Some(change) = self.step(orders, job) {
                    orders.make(change);
                    again = true;
                }
                if let Some(seen) = self.seen.get_mut(job) {
                    *seen = Some(orders.changes());
                }
            }
        }
    }

    /// The step with a job that helps most.
    fn step(&mut self, orders: &Orders, job: usize) -> Option<Change> {
        let from = orders.place(job)?;
        let seen = self.seen.get(job).copied().flatten();
        let near = (!orders.is_late(from.0, from.1) && self.bench.jobs().len() > SHORT).then_some(NEAR);
        let mut limit = orders.score();
        let mut best = None;
        for slot in 0..self.bench.slots().len() {
            let changed = orders.changed(slot).max(orders.changed(from.0));
            if self.spent >= MOST_TIMED || seen.is_some_and(|seen| changed <= seen) {
                continue;
            }
            let others = orders.others(from.0, slot);
            for place in places(orders, from, slot, near) {
                let to = (slot, place);
                let swap = Change::Swap { one: from.min(to), other: from.max(to) };
                let swaps = from != to && place < orders.len(slot);
                let changes = [Some(Change::Move { from, to }), swaps.then_some(swap)];
                for change in changes.into_iter().flatten().filter(|&change| orders.allows(change)) {
                    if let Some(score) = orders.weigh(change, others, limit, &mut self.spent) {
                        (limit, best) = (score, Some(change));
                    }
                }
            }
        }
        best
    }
}

/// The places of a slot that are tried for the job at a place: all, or those near its own time.
fn places(orders: &Orders, from: (usize, usize), slot: usize, near: Option<usize>) -> RangeInclusive<usize> {
    let last = orders.len(slot);
    let Some(near) = near else { return 0..=last };
    let about = if slot == from.0 { from.1 } else { orders.about(slot, orders.free(from.0, from.1)) };
    about.saturating_sub(near)..=last.min(about + near)
}

/// Numbers as if drawn, the same each time (`SplitMix64`; Steele, Lea and Flood, 2014; from memory).
struct Draws(u64);

impl Draws {
    /// One below a number, or 0.
    fn below(&mut self, number: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        usize::try_from((mixed ^ (mixed >> 31)) >> 32).unwrap_or(0).checked_rem(number).unwrap_or(0)
    }

    /// A move of any job to any place, if it is allowed.
    fn change(&mut self, bench: &Bench, orders: &Orders) -> Option<Change> {
        let from = orders.place(self.below(bench.jobs().len()))?;
        let slot = self.below(bench.slots().len());
        let to = (slot, self.below(orders.len(slot) + 1));
        let change = Change::Move { from, to };
        orders.allows(change).then_some(change)
    }
}
