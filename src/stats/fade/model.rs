//! The model of a fleet as it is kept, and what it says of one pack.

use serde::{Deserialize, Serialize};

use super::bend::{Bend, Item, Outlook, Prepared, Round, Track};
use super::calibrate::Calibration;
use super::clock::{Clocks, YEAR};
use super::fleet::{Pack, Reading};

/// Everything that was learnt from a fleet's past, and from how much of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Model {
    /// What fade goes by.
    pub clocks: Clocks,
    /// Lines, errors and bends; without a hazard it is the straight line alone.
    pub bend: Bend,
    /// Biases of the slots, mAh.
    pub slots: Vec<f64>,
    /// Groups of slots that no pack connects; zero when slots could not be told from packs.
    pub islands: usize,
    /// What temperature adds to readings.
    pub warmth: Warmth,
    /// What makes chances true.
    pub calibration: Calibration,
    /// What it was learnt from, and how it was chosen.
    pub evidence: Evidence,
}

/// What temperature adds to readings.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Warmth {
    /// What a degree above the reference adds, mAh; zero where temperatures tell nothing.
    pub per_degree: f64,
    /// The reference, degrees Celsius: the mean of what was recorded.
    pub reference: f64,
}

impl Warmth {
    /// No effect.
    pub const NONE: Self = Self { per_degree: 0.0, reference: 20.0 };

    /// What it adds at a temperature; nothing where that is not known.
    pub fn of(self, celsius: f32) -> f64 {
        if celsius.is_nan() { 0.0 } else { self.per_degree * (f64::from(celsius) - self.reference) }
    }
}

/// What a model was learnt from.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Evidence {
    /// Packs with readings.
    pub packs: usize,
    /// Readings.
    pub readings: usize,
    /// Readings that were foretold from what was known before, and how many of them fell below their limit.
    pub tried: (usize, usize),
    /// Log-loss of the straight line on them, and of the line with bends; none where too few came to choose by.
    pub trial: Option<(f64, f64)>,
    /// The mean fade of the whole fleet, mAh for each unit of the clock.
    pub mean_fade: f64,
}

impl Model {
    /// True when packs may bend.
    pub fn bends(&self) -> bool {
        !self.bend.hazard.is_empty()
    }

    /// A reading freed of its slot's bias and its temperature, mAh above the origin.
    pub(super) fn level(&self, reading: &Reading) -> f64 {
        let slot = self.slots.get(usize::from(reading.slot)).copied().unwrap_or(0.0);
        f64::from(reading.capacity) - self.bend.origin - slot - self.warmth.of(reading.celsius)
    }

    /// Variance of one reading about what the pack truly holds, in any slot: errors, and slots where their bias is not taken off.
    pub fn reading_variance(&self, known_slot: bool) -> f64 {
        self.bend.residual + if known_slot { 0.0 } else { self.bend.slot }
    }
}

/// A model ready to foretell.
#[derive(Debug, Clone)]
pub struct Predictor {
    model: Model,
    prepared: Prepared,
}

/// What a pack's past says of it; kept from pack to pack, so that nothing is allocated anew.
#[derive(Debug, Clone, Default)]
pub struct Seen {
    clock: Vec<f64>,
    other: Vec<f64>,
    level: Vec<f64>,
    from: f64,
    items: Vec<Item>,
    born: i32,
    group: u16,
}

impl Seen {
    fn track(&self) -> Track<'_> {
        Track { clock: &self.clock, other: &self.other, level: &self.level, from: self.from }
    }
}

/// When something is foretold: the day, and the cycles that the pack will have by then.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct When {
    /// Day, in the fleet's count.
    pub day: i32,
    /// Cycles.
    pub cycles: f64,
}

impl Predictor {
    /// Makes a model ready.
    pub fn new(model: Model) -> Self {
        let prepared = Prepared::new(model.bend.clone());
        Self { model, prepared }
    }

    /// The model.
    pub const fn model(&self) -> &Model {
        &self.model
    }

    /// Takes in a pack's past, and gives the logarithm of the likelihood of its last line. Each recorded round begins a new line, with what
    /// the one before said of it; rounds with no reading between them are one.
    pub fn see(&self, pack: &Pack<'_>, seen: &mut Seen) -> f64 {
        seen.born = pack.born;
        seen.group = pack.group;
        seen.from = 0.0;
        let split = |readings: &'_ [Reading], rounds: usize| {
            readings.partition_point(|reading| usize::from(reading.rounds) <= rounds)
        };
        let mut items = std::mem::take(&mut seen.items);
        let (line, mut rest) = pack.readings.split_at(split(pack.readings, 0));
        self.lay_out(line, seen);
        let mut likelihood = self.prepared.weigh(usize::from(seen.group), &seen.track(), &mut items);
        let mut done = 0;
        while done < pack.rounds.len() {
            let next = rest.first().map_or(pack.rounds.len(), |reading| usize::from(reading.rounds));
            let Some(&(day, cycles)) = next.checked_sub(1).and_then(|last| pack.rounds.get(last)) else {
                break;
            };
            let round = self.round(seen, When { day, cycles: f64::from(cycles) });
            seen.from = round.clock;
            let prior = self.prepared.after_round(&items, round);
            let (line, later) = rest.split_at(split(rest, next));
            self.lay_out(line, seen);
            likelihood = self.prepared.weigh_after(&prior, &seen.track(), &mut items);
            (done, rest) = (next, later);
        }
        seen.items = items;
        likelihood
    }

    fn lay_out(&self, readings: &[Reading], seen: &mut Seen) {
        seen.clock.clear();
        seen.other.clear();
        seen.level.clear();
        for reading in readings {
            let when = When { day: reading.day, cycles: f64::from(reading.cycles) };
            let (clock, other) = self.at(seen, when);
            seen.clock.push(clock);
            seen.other.push(other);
            seen.level.push(self.model.level(reading));
        }
    }

    fn at(&self, seen: &Seen, when: When) -> (f64, f64) {
        self.model.clocks.at(seen.group, when.cycles, f64::from(when.day.saturating_sub(seen.born)))
    }

    /// A round of the pack that was taken in, done then.
    fn round(&self, seen: &Seen, when: When) -> Round {
        let years = f64::from(when.day.saturating_sub(seen.born)).max(0.0) / YEAR;
        Round { group: usize::from(seen.group), years, clock: self.at(seen, when).0 }
    }

    /// What the lift of a round done then hangs on: the pack's age in years, and how far it stands below its group's start, mAh.
    pub(super) fn depth(&self, seen: &Seen, when: When) -> (f64, f64) {
        let round = self.round(seen, when);
        (round.years, self.prepared.depth(&seen.items, round))
    }

    /// Rounds of the make of the pack that was taken in, from which it was learnt what rounds bring, and those of the whole fleet.
    pub fn rounds_known(&self, seen: &Seen) -> (u32, u32) {
        let lift = &self.model.bend.lift;
        (lift.rounds_of(usize::from(seen.group)), lift.rounds)
    }

    /// What the pack will truly hold then.
    pub fn outlook(&self, seen: &Seen, when: When) -> Outlook {
        self.prepared.outlook(&seen.items, &seen.track(), self.at(seen, when))
    }

    /// What the pack will truly hold right after a round of reconditioning done then.
    pub fn after_round(&self, seen: &Seen, when: When) -> Outlook {
        let round = self.round(seen, when);
        let prior = self.prepared.after_round(&seen.items, round);
        let (clock, other) = self.at(seen, when);
        let track = Track { clock: &[], other: &[], level: &[], from: clock };
        let mut items = Vec::new();
        self.prepared.weigh_after(&prior, &track, &mut items);
        self.prepared.outlook(&items, &track, (clock, other))
    }

    /// The chance that the pack truly holds less than a capacity then, corrected by what came of earlier forecasts.
    pub fn chance_below(&self, outlook: &Outlook, capacity: f64) -> f64 {
        self.model.calibration.of(outlook.below(capacity))
    }

    /// The chance that a reading taken then, in any slot, is below a capacity; `raw` leaves out what earlier forecasts taught.
    pub fn chance_read_below(&self, seen: &Seen, when: When, capacity: f64) -> f64 {
        self.model.calibration.of(self.raw_chance_read_below(seen, when, capacity))
    }

    pub(super) fn raw_chance_read_below(&self, seen: &Seen, when: When, capacity: f64) -> f64 {
        self.prepared.reads_below(&seen.items, &seen.track(), self.at(seen, when), capacity)
    }

    /// What a slot without bias would read of the pack then, at a temperature (degrees Celsius; not a number where it is not
    /// known): mean in mAh, and variance with that of one reading's error.
    pub fn reading(&self, seen: &Seen, when: When, celsius: f32) -> (f64, f64) {
        let (mean, variance) = self.moments(seen, when);
        let warmth = self.model.warmth.of(celsius);
        (self.model.bend.origin + mean + warmth, variance + self.model.reading_variance(true))
    }

    /// Where the lines of a pack stand beyond its readings, for the learning of what rounds bring: mean and variance at a clock.
    pub(super) fn moments(&self, seen: &Seen, when: When) -> (f64, f64) {
        let (mut mean, mut square) = (0.0, 0.0);
        let mut sum = 0.0;
        self.prepared.foretell(&seen.items, &seen.track(), self.at(seen, when), |weight, m, v| {
            sum += weight;
            mean += weight * m;
            square += weight * (v + m * m);
        });
        (mean / sum, square / sum - (mean / sum) * (mean / sum))
    }
}
