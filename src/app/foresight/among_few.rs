//! One pack among a few that are read often: foretold from all others by drawing futures, once for each limit that is asked about.

use std::cell::RefCell;
use std::collections::BTreeMap;

use rand::SeedableRng as _;
use rand_chacha::ChaCha12Rng;

use crate::domain::ids::PackId;
use crate::ledger::learnt::Few;
use crate::stats::fade::clock::Measure;
use crate::stats::fade::few::{Ask, Level, Reading, foresee};
use crate::stats::fade::learning::dense::measured;
use crate::stats::fade::model::When;

/// Days between two looks ahead, and how many there are: two years.
const STEP: u32 = 7;
const LOOKS: u32 = 105;
/// The share of futures that an interval encloses.
const WITHIN: f64 = 0.9;

/// A pack and what it is foretold from.
#[derive(Debug)]
pub(super) struct Among {
    learners: Vec<Vec<Reading>>,
    target: Vec<Reading>,
    /// The clock at each look.
    clocks: Vec<f64>,
    levels: RefCell<BTreeMap<u32, Option<Vec<Level>>>>,
}

impl Among {
    /// Takes in a pack; none when time does not go on from its last reading by the measure of the fleet.
    pub(super) fn new(
        few: &Few,
        id: PackId,
        target: Vec<Reading>,
        (measure, now, born, pace): (Measure, When, i32, f64),
    ) -> Option<Self> {
        let others = few.packs.iter().filter(|(pack, _)| *pack != id);
        let learners = others
            .map(|(_, series)| series.iter().map(|&(clock, capacity)| Reading { clock, capacity }).collect())
            .collect();
        let last = target.last()?.clock;
        let at = |look: u32| {
            let days = i32::try_from(look * STEP).unwrap_or(i32::MAX);
            let cycles = now.cycles + pace * f64::from(look * STEP);
            measured(measure, cycles, now.day.saturating_add(days).saturating_sub(born))
        };
        let clocks: Vec<f64> = (0..LOOKS).map(at).collect();
        // Now may be the clock of the last reading itself: a little after it then.
        let clocks: Vec<f64> =
            clocks.into_iter().map(|clock| clock.max(last + 1e-6 * last.max(1.0))).collect();
        clocks.is_sorted_by(|a, b| a < b).then(|| Self {
            learners,
            target,
            clocks,
            levels: RefCell::default(),
        })
    }

    /// What the pack will hold after days, and the chance that it is below a limit in mAh.
    pub(super) fn level(&self, limit: u32, days: u32) -> Option<Level> {
        let mut known = self.levels.borrow_mut();
        let levels = known.entry(limit).or_insert_with(|| {
            let ask = Ask { limit: f64::from(limit), clocks: self.clocks.clone(), within: WITHIN };
            // The same futures every time: the same facts give the same verdict.
            let mut random = ChaCha12Rng::seed_from_u64(1);
            foresee(&self.learners, &self.target, &ask, &mut random).ok().map(|foreseen| foreseen.levels)
        });
        let look = usize::try_from(days.div_ceil(STEP)).ok()?;
        let levels = levels.as_ref()?;
        levels.get(look.min(levels.len().checked_sub(1)?)).copied()
    }
}
