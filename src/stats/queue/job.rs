//! What waits, and where it fits.

use super::QueueError;
use super::hours::Attended;
use super::score::{Score, worth};

/// The most that a job weighs.
const MOST_WEIGHT: f64 = 1e6;

/// A pack's work.
///
/// Its stages run in the same slot, one after the other; a person starts each, so that one which ends at night has the next begin
/// in the morning. The slot is kept in between: moving the pack elsewhere would want a person at the same moment, and gain nothing.
#[derive(Debug, Clone, PartialEq)]
pub struct Job {
    /// Which adapter the pack wants: any number, the same for packs alike.
    pub kind: u32,
    /// Minutes of each stage, at least one stage, none of 0.
    pub stages: Vec<u32>,
    /// The chance that the pack comes out good, 0 to 1.
    pub chance: f64,
    /// How much a good pack of this sort is wanted, 0 to a million.
    pub weight: f64,
    /// The minute by which a loan needs it ready, if one does.
    pub needed_by: Option<u32>,
}

/// A place on the bench.
#[derive(Debug, Clone, PartialEq)]
pub struct Slot {
    /// The minute at which the run that is open in it ends; 0 when it stands empty. To take that pack out is no step of a plan.
    pub free_from: u32,
    /// What it takes.
    pub takes: Takes,
}

/// Which packs a slot takes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Takes {
    /// All.
    Any,
    /// Those of these kinds.
    Only(Vec<u32>),
}

impl Takes {
    /// True for a kind that it takes.
    pub fn takes(&self, kind: u32) -> bool {
        match self {
            Self::Any => true,
            Self::Only(kinds) => kinds.contains(&kind),
        }
    }
}

/// Slots, what waits for them, in the order in which it came, and when somebody is there.
#[derive(Debug, Clone, PartialEq)]
pub struct Bench {
    attended: Attended,
    slots: Vec<Slot>,
    jobs: Vec<Job>,
    worths: Vec<u64>,
}

impl Bench {
    /// A bench.
    ///
    /// # Errors
    /// [`QueueError::Stages`], [`QueueError::Chance`] and [`QueueError::Weight`] for a job that is not what [`Job`] says.
    pub fn new(attended: Attended, slots: Vec<Slot>, jobs: Vec<Job>) -> Result<Self, QueueError> {
        for (job, &Job { ref stages, chance, weight, .. }) in jobs.iter().enumerate() {
            if stages.is_empty() || stages.contains(&0) {
                return Err(QueueError::Stages { job });
            }
            if !(0.0..=1.0).contains(&chance) {
                return Err(QueueError::Chance { job, chance });
            }
            if !(0.0..=MOST_WEIGHT).contains(&weight) {
                return Err(QueueError::Weight { job, weight });
            }
        }
        let worths = jobs.iter().map(|job| worth(job.chance, job.weight)).collect();
        Ok(Self { attended, slots, jobs, worths })
    }

    /// When somebody is there.
    pub fn attended(&self) -> &Attended {
        &self.attended
    }

    /// The slots.
    pub fn slots(&self) -> &[Slot] {
        &self.slots
    }

    /// What waits.
    pub fn jobs(&self) -> &[Job] {
        &self.jobs
    }

    /// True when a slot takes a job; false also when there is no such slot or job.
    pub fn fits(&self, slot: usize, job: usize) -> bool {
        match (self.slots.get(slot), self.jobs.get(job)) {
            (Some(slot), Some(job)) => slot.takes.takes(job.kind),
            _ => false,
        }
    }

    /// The minute at which a job is ready, and its slot can be loaded again, when the slot is free from a minute on.
    ///
    /// With `next` for the next attended minute and `d1, d2...` for the stages: `next(... next(next(next(free) + d1) + d2) ...)`.
    /// `None` when the attended hours end before, and when there is no such job.
    pub fn ready(&self, job: usize, free: u32) -> Option<u32> {
        let stages = &self.jobs.get(job)?.stages;
        let put_in = self.attended.next(free)?;
        stages.iter().try_fold(put_in, |begun, &stage| self.attended.next(begun.checked_add(stage)?))
    }

    /// A job's worth, `chance weight`, in millionths.
    pub(super) fn worth(&self, job: usize) -> u64 {
        self.worths.get(job).copied().unwrap_or(0)
    }

    /// What a job adds to the score when it is ready at a minute, or never.
    ///
    /// One that is left over is late if it is needed at all, and is waited for until the attended hours end: not doing a job never
    /// looks better than doing it.
    pub(super) fn charge(&self, job: usize, ready: Option<u32>) -> Score {
        let needed_by = self.jobs.get(job).and_then(|job| job.needed_by);
        let late = needed_by.is_some_and(|by| ready.is_none_or(|ready| by < ready));
        Score::of(self.worth(job), ready.unwrap_or(self.attended.end()), late)
    }
}
