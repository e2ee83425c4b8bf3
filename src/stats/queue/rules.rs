//! Plans made in one pass: by arrival, and by the index of shortest expected work.
//!
//! Smith's rule for one machine, largest `weight / time` first (W. E. Smith, "Various optimizers for single-stage production",
//! 1956; from memory), is exact where somebody is always there and no loan waits. Here a job's time is how long it keeps its slot
//! from being loaded again, which depends on the hour at which it is put in: so the index is worked out anew at each free slot.

use std::cmp::Ordering;

use super::job::Bench;
use super::plan::Plan;

/// How a pass cares for jobs that loans need.
#[derive(Debug, Clone, Copy)]
struct Look {
    /// Those go first that would be in time when put in now, and not when put in so many minutes later.
    ahead: u32,
    /// By what.
    first: First,
}

/// Which goes first of the jobs that loans need.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum First {
    /// The one that is needed first: right while all can be in time (J. R. Jackson, 1955; from memory).
    Soonest,
    /// The one with the largest index: better where they cannot.
    Index,
}

/// A day, a weekend and a day, and without end.
const LOOKS: [Look; 4] = [
    Look { ahead: 1440, first: First::Index },
    Look { ahead: 4 * 1440, first: First::Index },
    Look { ahead: u32::MAX, first: First::Index },
    Look { ahead: u32::MAX, first: First::Soonest },
];

/// The plan in order of arrival, for comparison: each job in turn goes into the slot that is free first, of those that take it.
///
/// `O(jobs slots)`.
pub fn first_come(bench: &Bench) -> Plan {
    let mut free: Vec<u32> = bench.slots().iter().map(|slot| slot.free_from).collect();
    let mut orders = vec![Vec::new(); free.len()];
    for job in 0..bench.jobs().len() {
        let lines = free.iter_mut().zip(&mut orders).enumerate();
        let taking = lines.filter(|&(slot, _)| bench.fits(slot, job)).map(|(_, line)| line);
        // Of slots alike the one with the lowest number.
        let first = taking.min_by_key(|(free, _)| {
            let next = bench.attended().next(**free);
            (next.is_none(), next)
        });
        if let Some((free, order)) = first {
            order.push(job);
            *free = bench.ready(job, *free).unwrap_or(*free);
        }
    }
    Plan::run(bench, &orders)
}

/// The plan by the index: whenever a slot is free, the job with the largest `chance weight / (time until the slot can be loaded again)`
/// goes in, of those that it takes and that would be ready within the attended hours.
///
/// Of jobs alike the longer goes first, and a job of no worth when no other is left. Where loans wait there are four more plans: in
/// each the jobs go first that would be in time for a loan now, and would not some time from now (a day, four days, or any time
/// at all), by the index or by the minute at which they are needed. The best of all is taken. `O(jobs^2)`.
pub fn greedy(bench: &Bench) -> Plan {
    Plan::run(bench, &greedy_orders(bench))
}

/// The orders of [`greedy`], in each of which the jobs of no worth come last.
pub(super) fn greedy_orders(bench: &Bench) -> Vec<Vec<usize>> {
    let by_index = Pass::new(bench).run(None);
    if bench.jobs().iter().all(|job| job.needed_by.is_none()) {
        return by_index;
    }
    let first = (Plan::run(bench, &by_index).score(), by_index);
    let best = LOOKS.into_iter().fold(first, |best, look| {
        let orders = Pass::new(bench).run(Some(look));
        let score = Plan::run(bench, &orders).score();
        if score < best.0 { (score, orders) } else { best }
    });
    best.1
}

/// A job that waits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Waiting {
    job: usize,
    worth: u64,
    /// Minutes of all its stages.
    work: u64,
    /// The minute by which a loan needs it, if it is worth anything.
    needed_by: Option<u32>,
}

/// A job that could go in now, and for how many minutes it would hold the slot.
#[derive(Debug, Clone, Copy)]
struct Candidate {
    waiting: Waiting,
    held: u32,
}

/// Jobs, slots and what is left of them.
struct Pass<'a> {
    bench: &'a Bench,
    /// Jobs not yet placed, the largest `worth / work` first, of those alike the longest.
    waiting: Vec<Waiting>,
    /// For each slot, the minute from which on it is free; none when nothing more can go in.
    free: Vec<Option<u32>>,
    orders: Vec<Vec<usize>>,
}

impl<'a> Pass<'a> {
    fn new(bench: &'a Bench) -> Self {
        let waiting = bench.jobs().iter().enumerate().map(|(job, given)| {
            let worth = bench.worth(job);
            let work = given.stages.iter().map(|&stage| u64::from(stage)).sum();
            Waiting { job, worth, work, needed_by: given.needed_by.filter(|_| worth > 0) }
        });
        let mut waiting: Vec<Waiting> = waiting.collect();
        waiting.sort_by(|one, other| {
            let index = |one: &Waiting, other: &Waiting| u128::from(one.worth) * u128::from(other.work);
            index(other, one).cmp(&index(one, other)).then(other.work.cmp(&one.work))
        });
        let free = bench.slots().iter().map(|slot| Some(slot.free_from)).collect();
        let orders = vec![Vec::new(); bench.slots().len()];
        Self { bench, waiting, free, orders }
    }

    fn run(mut self, look: Option<Look>) -> Vec<Vec<usize>> {
        while let Some((slot, minute)) = self.first_free() {
            let urgent = look.and_then(|look| self.urgent(look, slot, minute));
            let chosen = urgent.or_else(|| self.largest(slot, minute));
            if let (Some(free), Some(order)) = (self.free.get_mut(slot), self.orders.get_mut(slot)) {
                // What does not fit now never will: the slot is done with.
                *free = chosen.map(|Candidate { waiting, held }| {
                    order.push(waiting.job);
                    minute + held
                });
            }
            if let Some(Candidate { waiting: chosen, .. }) = chosen {
                self.waiting.retain(|waiting| waiting.job != chosen.job);
            }
        }
        // Those that no hours are left for stay in an order, before the jobs of no worth, for the search to try.
        for Waiting { job, worth, .. } in self.waiting {
            let line = self.orders.iter_mut().enumerate().find(|&(slot, _)| self.bench.fits(slot, job));
            if let Some((_, order)) = line {
                let place = order.partition_point(|&other| worth == 0 || self.bench.worth(other) > 0);
                order.insert(place, job);
            }
        }
        self.orders
    }

    /// The slot that can be loaded first, and the minute.
    fn first_free(&self) -> Option<(usize, u32)> {
        let next = |(slot, &free): (usize, &Option<u32>)| Some((slot, self.bench.attended().next(free?)?));
        self.free.iter().enumerate().filter_map(next).min_by_key(|&(slot, minute)| (minute, slot))
    }

    /// A job as it would be put in, if the slot takes it and there are hours for it.
    fn put_in(&self, waiting: Waiting, slot: usize, minute: u32) -> Option<Candidate> {
        let ready = self.bench.fits(slot, waiting.job).then(|| self.bench.ready(waiting.job, minute))??;
        Some(Candidate { waiting, held: ready - minute })
    }

    /// The job that a loan needs, and that goes in first.
    fn urgent(&self, look: Look, slot: usize, minute: u32) -> Option<Candidate> {
        let mut first: Option<(u32, Candidate)> = None;
        for &waiting in &self.waiting {
            let Some(by) = waiting.needed_by else { continue };
            let Some(candidate) = self.put_in(waiting, slot, minute) else { continue };
            let later = || self.bench.ready(waiting.job, minute.checked_add(look.ahead)?);
            if minute + candidate.held > by || later().is_some_and(|later| later <= by) {
                continue;
            }
            let before = |&(first_by, first): &(u32, Candidate)| match look.first {
                First::Soonest if by != first_by => by < first_by,
                First::Soonest | First::Index => candidate.before(first),
            };
            if first.as_ref().is_none_or(before) {
                first = Some((by, candidate));
            }
        }
        first.map(|(_, candidate)| candidate)
    }

    /// The job with the largest index.
    fn largest(&self, slot: usize, minute: u32) -> Option<Candidate> {
        let mut first: Option<Candidate> = None;
        for &waiting in &self.waiting {
            // A slot is held for as long as the work at least: from here on all are worth less.
            let at_best = |first: &Candidate| first.compare(waiting.worth, waiting.work.into()).is_gt();
            if first.as_ref().is_some_and(at_best) {
                break;
            }
            let candidate = self.put_in(waiting, slot, minute);
            if let Some(candidate) = candidate.filter(|&one| first.is_none_or(|first| one.before(first))) {
                first = Some(candidate);
            }
        }
        first
    }
}

impl Candidate {
    /// Its index beside another one, of a worth in so many minutes.
    fn compare(&self, worth: u64, held: u128) -> Ordering {
        let [own, other] = [u128::from(self.waiting.worth) * held, u128::from(worth) * u128::from(self.held)];
        own.cmp(&other)
    }

    /// True when it goes before another: the larger index, and then the longer work.
    fn before(self, other: Self) -> bool {
        let index = self.compare(other.waiting.worth, other.held.into());
        index.then(self.waiting.work.cmp(&other.waiting.work)).is_gt()
    }
}
