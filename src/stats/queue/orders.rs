//! The jobs' orders in all slots, with what they come to at each place, so that a change is weighed from where it begins.
#![expect(
    clippy::indexing_slicing,
    reason = "slots and places come from the orders themselves, and each line has one mark more than jobs"
)]

use std::iter::{empty, once};

use super::job::Bench;
use super::score::Score;

/// Where a slot stands between two jobs.
#[derive(Debug, Clone, Copy)]
pub(super) struct Mark {
    /// The minute from which on it is free.
    pub(super) free: u32,
    /// What its jobs so far come to.
    pub(super) score: Score,
}

/// One slot's order.
#[derive(Debug, Clone)]
struct Line {
    jobs: Vec<usize>,
    /// One before each job, and one at the end.
    marks: Vec<Mark>,
    /// What the jobs from each place on come to; nothing at the end.
    rests: Vec<Score>,
    /// How many jobs of any worth there are: they come first.
    live: usize,
    /// The change that it last saw.
    changed: u64,
}

/// All slots' orders. In each the jobs of no worth come last.
#[derive(Debug, Clone)]
pub(super) struct Orders<'a> {
    bench: &'a Bench,
    lines: Vec<Line>,
    changes: u64,
}

/// A change of the orders.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Change {
    /// Takes the job at a place out, and then puts it in at another, maybe of another slot.
    Move { from: (usize, usize), to: (usize, usize) },
    /// Swaps two jobs; in one slot the first place is before the second.
    Swap { one: (usize, usize), other: (usize, usize) },
}

impl Mark {
    /// A slot's first.
    pub(super) fn first(bench: &Bench, slot: usize) -> Self {
        Self { free: bench.slots().get(slot).map_or(0, |slot| slot.free_from), score: Score::default() }
    }

    /// The one after a job.
    pub(super) fn after(self, bench: &Bench, job: usize) -> Self {
        let ready = bench.ready(job, self.free);
        Self { free: ready.unwrap_or(self.free), score: self.score.and(bench.charge(job, ready)) }
    }
}

impl<'a> Orders<'a> {
    /// Marks given orders, in each of which the jobs of no worth come last.
    pub(super) fn new(bench: &'a Bench, orders: Vec<Vec<usize>>) -> Self {
        let lines = orders.into_iter().enumerate().map(|(slot, jobs)| Line {
            live: jobs.iter().filter(|&&job| bench.worth(job) > 0).count(),
            jobs,
            marks: vec![Mark::first(bench, slot)],
            rests: Vec::new(),
            changed: 0,
        });
        let mut orders = Self { bench, lines: lines.collect(), changes: 0 };
        for slot in 0..orders.lines.len() {
            orders.mark(slot);
        }
        orders
    }

    /// The bare orders.
    pub(super) fn jobs(&self) -> Vec<Vec<usize>> {
        self.lines.iter().map(|line| line.jobs.clone()).collect()
    }

    /// What all comes to, but for jobs that no slot takes.
    pub(super) fn score(&self) -> Score {
        self.lines.iter().fold(Score::default(), |score, line| score.and(line.score()))
    }

    /// What all slots but one or two come to.
    pub(super) fn others(&self, one: usize, other: usize) -> Score {
        let rest = self.lines.iter().enumerate().filter(|&(slot, _)| slot != one && slot != other);
        rest.fold(Score::default(), |score, (_, line)| score.and(line.score()))
    }

    /// How many jobs a slot has.
    pub(super) fn len(&self, slot: usize) -> usize {
        self.lines[slot].jobs.len()
    }

    /// The job at a place.
    pub(super) fn job(&self, slot: usize, place: usize) -> usize {
        self.lines[slot].jobs[place]
    }

    /// Where a job is.
    pub(super) fn place(&self, job: usize) -> Option<(usize, usize)> {
        let mut lines = self.lines.iter().enumerate();
        lines.find_map(|(slot, line)| {
            line.jobs.iter().position(|&other| other == job).map(|place| (slot, place))
        })
    }

    /// The minute from which on the slot is free for the job at a place.
    pub(super) fn free(&self, slot: usize, place: usize) -> u32 {
        self.lines[slot].marks[place].free
    }

    /// True when a loan waits in vain for the job at a place.
    pub(super) fn is_late(&self, slot: usize, place: usize) -> bool {
        let Line { jobs, marks, .. } = &self.lines[slot];
        let job = jobs[place];
        self.bench.charge(job, self.bench.ready(job, marks[place].free)).is_late()
    }

    /// All jobs, with true for those that a loan waits for in vain.
    pub(super) fn late(&self) -> Vec<(usize, bool)> {
        let lines = self.lines.iter().enumerate();
        let jobs = lines.flat_map(|(slot, line)| line.jobs.iter().enumerate().map(move |job| (slot, job)));
        jobs.map(|(slot, (place, &job))| (job, self.is_late(slot, place))).collect()
    }

    /// The first place of a slot at which it is free at a minute or later, or the last place.
    pub(super) fn about(&self, slot: usize, minute: u32) -> usize {
        let line = &self.lines[slot];
        line.marks.partition_point(|mark| mark.free < minute).min(line.jobs.len())
    }

    /// How many changes were made.
    pub(super) fn changes(&self) -> u64 {
        self.changes
    }

    /// The change that a slot last saw, by number.
    pub(super) fn changed(&self, slot: usize) -> u64 {
        self.lines[slot].changed
    }

    /// True for a change that keeps to what slots take, and leaves the jobs of no worth last.
    pub(super) fn allows(&self, change: Change) -> bool {
        match change {
            Change::Move { from, to } => {
                let job = self.job(from.0, from.1);
                let worthy = self.bench.worth(job) > 0;
                let line = &self.lines[to.0];
                let live = line.live - usize::from(worthy && from.0 == to.0);
                let most = line.jobs.len() - usize::from(from.0 == to.0);
                let there = if worthy { to.1 <= live } else { (live..=most).contains(&to.1) };
                from != to && there && self.bench.fits(to.0, job)
            }
            Change::Swap { one, other } => {
                let (a, b) = (self.job(one.0, one.1), self.job(other.0, other.1));
                let alike = (self.bench.worth(a) > 0) == (self.bench.worth(b) > 0);
                alike && (one.0 == other.0 || (self.bench.fits(other.0, a) && self.bench.fits(one.0, b)))
            }
        }
    }

    /// What all would come to after a change, if that is less than a limit.
    ///
    /// `others` is what the slots that it leaves alone come to; `spent` counts the jobs that were timed for it.
    pub(super) fn weigh(
        &self,
        change: Change,
        others: Score,
        limit: Score,
        spent: &mut u64,
    ) -> Option<Score> {
        match change {
            Change::Move { from: (slot, i), to: (other, k) } if slot == other => {
                let jobs = &self.lines[slot].jobs;
                let moved = once(jobs[i]);
                if k < i {
                    let head = moved.chain(jobs[k..i].iter().copied());
                    self.tail((slot, k), head, i + 1, others, limit, spent)
                } else {
                    let head = jobs[i + 1..=k].iter().copied().chain(moved);
                    self.tail((slot, i), head, k + 1, others, limit, spent)
                }
            }
            Change::Move { from: (a, i), to: (b, k) } => {
                let job = self.lines[a].jobs[i];
                let score = self.tail((a, i), empty(), i + 1, others, limit, spent)?;
                self.tail((b, k), once(job), k, score, limit, spent)
            }
            Change::Swap { one: (slot, i), other: (same, k) } if slot == same => {
                let jobs = &self.lines[slot].jobs;
                let between = jobs[i + 1..k].iter().copied();
                let head = once(jobs[k]).chain(between).chain(once(jobs[i]));
                self.tail((slot, i), head, k + 1, others, limit, spent)
            }
            Change::Swap { one: (a, i), other: (b, k) } => {
                let (ours, theirs) = (self.lines[a].jobs[i], self.lines[b].jobs[k]);
                let score = self.tail((a, i), once(theirs), i + 1, others, limit, spent)?;
                self.tail((b, k), once(ours), k + 1, score, limit, spent)
            }
        }
    }

    /// A slot with other jobs from a place on, and then its own from another one on, on top of a score; if it stays below a limit.
    ///
    /// Once its own jobs begin as they did, they end as they did: nights make that happen soon. When they begin later, none of
    /// them is ready earlier (but where the hours end, and one that no longer fits makes way: such a change may be missed).
    fn tail(
        &self,
        (slot, place): (usize, usize),
        head: impl Iterator<Item = usize>,
        own: usize,
        others: Score,
        limit: Score,
        spent: &mut u64,
    ) -> Option<Score> {
        let Line { jobs, marks, rests, .. } = &self.lines[slot];
        let mut mark = marks[place];
        mark.score = mark.score.and(others);
        for job in head {
            *spent += 1;
            mark = mark.after(self.bench, job);
            if mark.score >= limit {
                return None;
            }
        }
        for place in own..jobs.len() {
            let then = mark.score.and(rests[place]);
            if mark.free == marks[place].free {
                return (then < limit).then_some(then);
            }
            if mark.free > marks[place].free && then >= limit {
                return None;
            }
            *spent += 1;
            mark = mark.after(self.bench, jobs[place]);
        }
        (mark.score < limit).then_some(mark.score)
    }

    /// Makes a change.
    pub(super) fn make(&mut self, change: Change) {
        self.changes += 1;
        let (one, other) = match change {
            Change::Move { from, to } => {
                let job = self.lines[from.0].jobs.remove(from.1);
                self.lines[to.0].jobs.insert(to.1, job);
                if self.bench.worth(job) > 0 {
                    self.lines[from.0].live -= 1;
                    self.lines[to.0].live += 1;
                }
                (from.0, to.0)
            }
            Change::Swap { one, other } => {
                let (a, b) = (self.job(one.0, one.1), self.job(other.0, other.1));
                self.lines[one.0].jobs[one.1] = b;
                self.lines[other.0].jobs[other.1] = a;
                (one.0, other.0)
            }
        };
        self.mark(one);
        if other != one {
            self.mark(other);
        }
    }

    fn mark(&mut self, slot: usize) {
        let Line { jobs, marks, rests, changed, .. } = &mut self.lines[slot];
        marks.truncate(1);
        rests.clear();
        let mut mark = marks[0];
        for &job in jobs.iter() {
            rests.push(self.bench.charge(job, self.bench.ready(job, mark.free)));
            mark = mark.after(self.bench, job);
            marks.push(mark);
        }
        rests.push(Score::default());
        for place in (0..jobs.len()).rev() {
            rests[place] = rests[place].and(rests[place + 1]);
        }
        *changed = self.changes;
    }
}

impl Line {
    fn score(&self) -> Score {
        self.marks[self.jobs.len()].score
    }
}
