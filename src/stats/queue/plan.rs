//! What an order of the jobs in each slot comes to.
//!
//! Each job begins as early as its slot lets it. To wait on purpose never helps while the order stands: the next attended minute never
//! falls when the minute before it rises, nor does a sum with a stage's length; so a job that is put in later is ready later or at
//! the same time, and so are all that follow it, and no part of the score falls when a job is ready later. (Objectives of this
//! sort are called regular; Conway, Maxwell and Miller, "Theory of Scheduling", 1967; from memory.) So to look through
//! the orders is to look through all plans.
//!
//! A job that would not be ready within the attended hours is left over, and the next in the order is tried in its place.

use super::QueueError;
use super::job::{Bench, Job};
use super::score::Score;

/// One job in one slot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Run {
    /// The job, by its place on the bench's list, from 0.
    pub job: usize,
    /// The minute at which it is put in.
    pub put_in: u32,
    /// The minutes at which somebody starts its further stages, if it has any.
    pub moved_on: Vec<u32>,
    /// The minute at which its last stage ends.
    pub done: u32,
    /// The minute at which it is taken out and ready, and the slot can be loaded again.
    pub taken_out: u32,
}

/// A job without a run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LeftOver {
    /// The job, from 0.
    pub job: usize,
    /// Why.
    pub reason: Reason,
}

/// Why a job has no run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reason {
    /// No slot takes its kind.
    NoSlot,
    /// It would not be ready before the attended hours end.
    NoHours,
}

/// Something that somebody does at the bench.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Step {
    /// The minute.
    pub at: u32,
    /// The slot, from 0.
    pub slot: usize,
    /// What is done.
    pub act: Act,
    /// The job, from 0.
    pub job: usize,
}

/// What somebody does with a pack.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Act {
    /// Takes it out: it is ready.
    TakeOut,
    /// Starts its next stage.
    MoveOn,
    /// Puts it in.
    PutIn,
}

/// A plan: who goes where and when, and what that comes to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plan {
    runs: Vec<Vec<Run>>,
    left_over: Vec<LeftOver>,
    score: Score,
}

impl Plan {
    /// The plan of given orders: for each slot, jobs by their place on the bench's list. `O(jobs)`.
    ///
    /// # Errors
    /// [`QueueError::Slots`] when there are not as many orders as slots, [`QueueError::Misplaced`] for a job that there is not, that
    /// its slot does not take, or that came before, [`QueueError::Missing`] for one that some slot takes and that is in none.
    pub fn of(bench: &Bench, orders: &[Vec<usize>]) -> Result<Self, QueueError> {
        let slots = bench.slots().len();
        if orders.len() != slots {
            return Err(QueueError::Slots { orders: orders.len(), slots });
        }
        let mut named = vec![false; bench.jobs().len()];
        for (slot, order) in orders.iter().enumerate() {
            for &job in order {
                let fits = bench.fits(slot, job);
                match named.get_mut(job) {
                    Some(named) if fits && !*named => *named = true,
                    _ => return Err(QueueError::Misplaced { slot, job }),
                }
            }
        }
        let missing = (0..).zip(named).filter(|&(_, named)| !named).map(|(job, _)| job);
        for job in missing {
            if (0..slots).any(|slot| bench.fits(slot, job)) {
                return Err(QueueError::Missing { job });
            }
        }
        Ok(Self::run(bench, orders))
    }

    /// The plan of orders that are known to be right; a job in none of them is one that no slot takes.
    pub(super) fn run(bench: &Bench, orders: &[Vec<usize>]) -> Self {
        let mut score = Score::default();
        let mut reasons = vec![Some(Reason::NoSlot); bench.jobs().len()];
        let mut runs = Vec::with_capacity(orders.len());
        for (slot, order) in bench.slots().iter().zip(orders) {
            let mut free = slot.free_from;
            let mut line = Vec::with_capacity(order.len());
            for &job in order {
                let run = bench.jobs().get(job).and_then(|work| run(bench, job, work, free));
                if let Some(reason) = reasons.get_mut(job) {
                    *reason = if run.is_some() { None } else { Some(Reason::NoHours) };
                }
                if let Some(run) = run {
                    free = run.taken_out;
                    score = score.and(bench.charge(job, Some(free)));
                    line.push(run);
                }
            }
            runs.push(line);
        }
        let left = reasons.into_iter().enumerate();
        let left_over: Vec<LeftOver> =
            left.filter_map(|(job, reason)| reason.map(|reason| LeftOver { job, reason })).collect();
        let score = left_over.iter().fold(score, |score, left| score.and(bench.charge(left.job, None)));
        Self { runs, left_over, score }
    }

    /// One slot's runs, in order; none for a slot that there is not.
    pub fn runs(&self, slot: usize) -> &[Run] {
        self.runs.get(slot).map_or(&[], Vec::as_slice)
    }

    /// The jobs without a run, by number.
    pub fn left_over(&self) -> &[LeftOver] {
        &self.left_over
    }

    /// What the plan comes to, with those left over as if they were ready, too late, when the attended hours end.
    pub fn score(&self) -> Score {
        self.score
    }

    /// All that somebody does, by minute and slot: a pack is taken out before the next is put in.
    pub fn steps(&self) -> Vec<Step> {
        let runs =
            self.runs.iter().enumerate().flat_map(|(slot, line)| line.iter().map(move |run| (slot, run)));
        let mut steps: Vec<Step> = Vec::new();
        for (slot, run) in runs {
            let step = |at, act| Step { at, slot, act, job: run.job };
            steps.push(step(run.put_in, Act::PutIn));
            steps.extend(run.moved_on.iter().map(|&at| step(at, Act::MoveOn)));
            steps.push(step(run.taken_out, Act::TakeOut));
        }
        steps.sort_unstable();
        steps
    }
}

/// A job in a slot that is free from a minute on, if the attended hours are long enough.
fn run(bench: &Bench, job: usize, work: &Job, free: u32) -> Option<Run> {
    let put_in = bench.attended().next(free)?;
    let mut starts = Vec::with_capacity(work.stages.len());
    let (mut done, mut start) = (put_in, put_in);
    for &stage in &work.stages {
        done = start.checked_add(stage)?;
        start = bench.attended().next(done)?;
        starts.push(start);
    }
    let taken_out = starts.pop()?;
    Some(Run { job, put_in, moved_on: starts, done, taken_out })
}
