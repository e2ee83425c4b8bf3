//! Which pack goes into which slot of a test bench, now and at each of the next visits, and when all will be done.
//!
//! Packs wait for work of one or more stages (a test; or a round of reconditioning, and then its test). A pack is put in, moved on to
//! its next stage or taken out only while somebody is there ([`hours`]): work that ends at night holds its slot, and counts as ready,
//! at the next attended moment. So a stage costs what it takes and what is left of the night: long work goes in at the end of the
//! day, short work in the morning. [`job`] says what waits and where it fits, [`plan`] what an order of it comes to, [`score`] which
//! of two plans is the better, [`rules`] gives plans in one pass, [`search`] betters them step by step and [`best`] tries all orders
//! where they are few. [`arrange`] takes the best way that the size allows.
//!
//! Minutes are whole and count from the moment of planning, minute 0: nothing is planned before it.
//!
//! What it does not do: a run that has begun is never broken off, two people at the bench are no quicker than one, a change of packs
//! takes no time, and nothing is drawn at random, neither times nor verdicts: a chance only weighs what a pack's work is worth.
//! Whether a pack is worth a place in the queue at all, and what its chance is, is for the caller. A plan holds until something
//! happens that it did not know of; then another is made, as cheaply.

pub mod best;
pub mod hours;
pub mod job;
pub mod plan;
pub mod rules;
pub mod score;
pub mod search;

mod orders;

use thiserror::Error;

use job::Bench;
use plan::Plan;

/// Why there is no bench, or no plan for it.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum QueueError {
    /// A window ends before it begins, or as it does.
    #[error("nobody can be there from minute {from} until minute {until}")]
    Window {
        /// First minute.
        from: u32,
        /// First minute after it.
        until: u32,
    },
    /// A job has no stage, or one that takes no time.
    #[error("job {job} has no stage, or one of no minutes")]
    Stages {
        /// The job's place in what was handed in, from 0.
        job: usize,
    },
    /// A chance is not between 0 and 1.
    #[error("job {job} has a chance of {chance}: not between 0 and 1")]
    Chance {
        /// The job's place in what was handed in, from 0.
        job: usize,
        /// What was given.
        chance: f64,
    },
    /// A weight is not between 0 and a million.
    #[error("job {job} has a weight of {weight}: not between 0 and a million")]
    Weight {
        /// The job's place in what was handed in, from 0.
        job: usize,
        /// What was given.
        weight: f64,
    },
    /// There are not as many orders as slots.
    #[error("{orders} orders were given for {slots} slots")]
    Slots {
        /// Orders given.
        orders: usize,
        /// Slots of the bench.
        slots: usize,
    },
    /// An order names a job that there is not, or that the slot does not take, or that was named before.
    #[error(
        "slot {slot} has job {job} in its order, which there is not, or which it does not take, or twice"
    )]
    Misplaced {
        /// The slot, from 0.
        slot: usize,
        /// The job, from 0.
        job: usize,
    },
    /// A job that some slot takes is in no order.
    #[error("job {job} is in no slot's order")]
    Missing {
        /// The job, from 0.
        job: usize,
    },
}

/// Plans a bench: the best plan that there is where the orders are few ([`best`]), else the one found by [`search`].
///
/// The same bench has the same plan, always.
///
/// ```
/// use packmuster::stats::queue::hours::{Attended, Window};
/// use packmuster::stats::queue::job::{Bench, Job, Slot, Takes};
/// use packmuster::stats::queue::arrange;
///
/// // It is nine in the morning; somebody is there until five, and tomorrow again.
/// let attended = Attended::new([Window { from: 0, until: 480 }, Window { from: 1440, until: 1920 }])?;
/// let slot = Slot { free_from: 0, takes: Takes::Any };
/// let job = |hours: u32| Job { kind: 0, stages: vec![60 * hours], chance: 0.8, weight: 1.0, needed_by: None };
/// let bench = Bench::new(attended, vec![slot], vec![job(16), job(7)])?;
///
/// let plan = arrange(&bench);
/// // The short job first: the long one has the night to run, and is ready when somebody comes.
/// let runs: Vec<_> = plan.runs(0).iter().map(|run| (run.job, run.put_in, run.done, run.taken_out)).collect();
/// assert_eq!(runs, [(1, 0, 420, 420), (0, 420, 1380, 1440)]);
/// assert_eq!(plan.score().end(), 1440);
/// # Ok::<(), packmuster::stats::queue::QueueError>(())
/// ```
pub fn arrange(bench: &Bench) -> Plan {
    best::best(bench).unwrap_or_else(|| search::search(bench))
}
