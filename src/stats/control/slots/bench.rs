//! The whole bench: every slot under watch, with what is foretold of a pack from its readings in the other slots.
//!
//! A slot that alarms is not believed about other slots either: its readings from the shift to its return are left out of what is
//! foretold, the strongest first, and all slots are looked at again until nothing changes. Otherwise one bad slot would blame the good ones that
//! read its packs next. A bias that all slots share cannot show.

use std::collections::BTreeMap;
use std::ops::Range;

use super::bias::{SlotReading, Spread};
use super::watch::{SlotRules, SlotWatch, Standing};
use crate::stats::control::error::ControlError;

/// Pairs of readings from which a spread is taken at least.
const PAIRS: usize = 20;
/// The standard deviation of a normal law in median absolute deviations.
const DEVIATIONS: f64 = 1.4826;
/// Stretches of cycles that have a spread of their own at most.
const BINS: usize = 6;
/// A smaller spread than this is not believed, mAh.
const LEAST_MAH: f64 = 1.0;

/// One reading of the bench, as the watch wants it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BenchReading {
    /// Which pack.
    pub pack: usize,
    /// Which slot, from 0.
    pub slot: usize,
    /// Packs of one group are alike: a make.
    pub group: usize,
    /// Rounds of reconditioning before it: a pack is another one after a round.
    pub line: usize,
    /// Equivalent full cycles before it.
    pub cycles: f64,
    /// What it gave, mAh.
    pub capacity_mah: f64,
    /// How far off a slot may be before that counts, mAh.
    pub tolerated_mah: f64,
}

/// What is foretold of a reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Foretold {
    /// The capacity, mAh.
    pub mah: f64,
    /// The standard deviation of a good slot's reading about it, mAh.
    pub spread_mah: f64,
}

/// Foretells readings from those of other slots.
pub trait Foretell {
    /// Is told which readings are believed, by their places, before anything is foretold.
    fn trust(&mut self, believed: &[bool]);

    /// What a reading, by its place, should have given: from earlier believed readings of its pack in other slots. None where
    /// there is nothing to go by.
    fn foretell(&self, place: usize) -> Option<Foretold>;
}

/// What a watch says of one slot.
#[derive(Debug, Clone)]
pub struct SlotRecord {
    /// The places of its readings that could be foretold, in time order.
    pub places: Vec<usize>,
    /// What was foretold of each.
    pub readings: Vec<SlotReading>,
    /// The watch after all of them.
    pub watch: SlotWatch,
    /// Where it stands.
    pub standing: Standing,
}

impl SlotRules {
    /// Wider limits than the default's, since what is foretold from few readings has a spread that is itself estimated, and rests
    /// on slots that may be off a little: `h` 5.8 and width 3.2.
    ///
    /// On the simulated bench of `tests/stats/bench.rs` good slots ran 664 readings between false alarms, where the default
    /// gave 390; a slot of -40 mAh was found after 4.3 of its readings on average, where the default took 4.0.
    pub fn crossed() -> Self {
        Self { decision: 5.8, width: 3.2, ..Self::default() }
    }
}

/// Watches all slots over readings in time order.
///
/// # Errors
/// [`ControlError`] when the rules make no chart or a reading is no number.
pub fn watch(
    readings: &[BenchReading],
    slots: usize,
    rules: &SlotRules,
    foretell: &mut (impl Foretell + ?Sized),
) -> Result<Vec<SlotRecord>, ControlError> {
    let mut blamed: BTreeMap<usize, Vec<Range<usize>>> = BTreeMap::new();
    loop {
        let doubted = |(place, reading): (usize, &BenchReading)| {
            blamed.get(&reading.slot).is_some_and(|stretches| stretches.iter().any(|of| of.contains(&place)))
        };
        let believed: Vec<bool> = readings.iter().enumerate().map(|reading| !doubted(reading)).collect();
        foretell.trust(&believed);
        let records = look(readings, slots, rules, foretell)?;
        let worst = records
            .iter()
            .enumerate()
            .filter(|(slot, record)| !record.watch.stretches().is_empty() && !blamed.contains_key(slot))
            .max_by(|(_, a), (_, b)| a.strength().total_cmp(&b.strength()));
        let Some((slot, record)) = worst else { return Ok(records) };
        blamed.insert(slot, record.doubted());
    }
}

impl SlotRecord {
    /// How far the average went while the slot was out of control.
    fn strength(&self) -> f64 {
        let points = self.watch.points();
        let out = self.watch.stretches().iter();
        let out = out
            .flat_map(|stretch| points.get(stretch.start..stretch.end.min(points.len())).unwrap_or_default());
        out.map(|point| point.average.abs()).fold(0.0, f64::max)
    }

    /// The places, in the readings of the whole bench, of the stretches in which the slot was out of control.
    pub fn doubted(&self) -> Vec<Range<usize>> {
        let at = |reading: usize| self.places.get(reading).copied();
        let of = |stretch: &Range<usize>| Some(at(stretch.start)?..at(stretch.end).unwrap_or(usize::MAX));
        self.watch.stretches().iter().filter_map(of).collect()
    }
}

fn look(
    readings: &[BenchReading],
    slots: usize,
    rules: &SlotRules,
    foretell: &(impl Foretell + ?Sized),
) -> Result<Vec<SlotRecord>, ControlError> {
    let mut places: Vec<Vec<usize>> = vec![Vec::new(); slots];
    let mut taken: Vec<Vec<SlotReading>> = vec![Vec::new(); slots];
    let mut watches = vec![SlotWatch::new(rules)?; slots];
    for (place, reading) in readings.iter().enumerate() {
        let Some(foretold) = foretell.foretell(place) else { continue };
        let slot = reading.slot;
        let (Some(watch), Some(places), Some(taken)) =
            (watches.get_mut(slot), places.get_mut(slot), taken.get_mut(slot))
        else {
            continue;
        };
        let told = SlotReading {
            reading_mah: reading.capacity_mah,
            foretold_mah: foretold.mah,
            spread_mah: foretold.spread_mah,
            tolerated_mah: reading.tolerated_mah,
        };
        watch.take(told)?;
        places.push(place);
        taken.push(told);
    }
    let records = watches.into_iter().zip(places).zip(taken).map(|((watch, places), readings)| {
        let standing = watch.standing(Spread::Known);
        SlotRecord { places, readings, watch, standing }
    });
    Ok(records.collect())
}

/// Foretells a reading from the pack's last believed one in another slot, for benches without a model of their fleet.
///
/// What readings differ by from one to the next is taken from all such pairs of a group, or of all groups where one has fewer than
/// twenty: a straight line in the cycles between them, by the resistant line of three thirds (Tukey, "Exploratory Data Analysis", 1977,
/// from memory). Its spread is 1.4826 median absolute deviations (Hampel 1974, from memory) of the pairs that lie about as many
/// cycles apart. A bad slot among several moves neither much.
#[derive(Debug, Clone)]
pub struct LastReading {
    readings: Vec<BenchReading>,
    /// For each reading, the pack's one before it.
    before: Vec<Option<usize>>,
    believed: Vec<bool>,
    groups: BTreeMap<usize, Steps>,
    all: Option<Steps>,
}

/// From one reading of a pack to the next: cycles between them, and the difference, mAh.
type Pair = (f64, f64);

/// What readings of a group differ by.
#[derive(Debug, Clone, PartialEq)]
struct Steps {
    /// Where no cycle lies between, mAh.
    at_once_mah: f64,
    /// What a cycle adds, mAh.
    per_cycle_mah: f64,
    /// Up to so many cycles, and the spread there, mAh; the last holds for all that are further apart.
    spreads: Vec<(f64, f64)>,
}

impl LastReading {
    /// Takes the readings of a bench in time order.
    pub fn new(readings: &[BenchReading]) -> Self {
        let mut last: BTreeMap<usize, usize> = BTreeMap::new();
        let before = readings.iter().enumerate().map(|(place, reading)| last.insert(reading.pack, place));
        Self {
            before: before.collect(),
            readings: readings.to_vec(),
            believed: Vec::new(),
            groups: BTreeMap::new(),
            all: None,
        }
    }

    /// The reading that one is foretold from.
    fn base(&self, place: usize) -> Option<&BenchReading> {
        let reading = self.readings.get(place)?;
        let mut at = self.before.get(place).copied().flatten();
        while let Some(earlier) = at {
            let other = self.readings.get(earlier)?;
            if other.line != reading.line {
                return None;
            }
            if other.slot != reading.slot && self.believed.get(earlier).copied().unwrap_or(false) {
                return Some(other);
            }
            at = self.before.get(earlier).copied().flatten();
        }
        None
    }
}

impl Foretell for LastReading {
    fn trust(&mut self, believed: &[bool]) {
        self.believed = believed.to_vec();
        let mut pairs: BTreeMap<usize, Vec<Pair>> = BTreeMap::new();
        for (place, reading) in self.readings.iter().enumerate() {
            if believed.get(place) == Some(&true)
                && let Some(base) = self.base(place)
            {
                let step = (reading.cycles - base.cycles, reading.capacity_mah - base.capacity_mah);
                pairs.entry(reading.group).or_default().push(step);
            }
        }
        self.all = Steps::of(pairs.values().flatten().copied().collect());
        self.groups =
            pairs.into_iter().filter_map(|(group, pairs)| Some((group, Steps::of(pairs)?))).collect();
    }

    fn foretell(&self, place: usize) -> Option<Foretold> {
        let reading = self.readings.get(place)?;
        let steps = self.groups.get(&reading.group).or(self.all.as_ref())?;
        let base = self.base(place)?;
        let cycles = reading.cycles - base.cycles;
        Some(Foretold { mah: base.capacity_mah + steps.over(cycles), spread_mah: steps.spread(cycles)? })
    }
}

impl Steps {
    /// None of too few pairs.
    fn of(mut pairs: Vec<Pair>) -> Option<Self> {
        if pairs.len() < PAIRS {
            return None;
        }
        // Among pairs as many cycles apart nothing is sorted, and no third or stretch ends between them: it would be a slice of
        // their steps.
        pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
        let third = pairs.len() / 3;
        let at = |place: usize| pairs.get(place).map_or(0.0, |pair| pair.0);
        let (low_to, high_from) = (at(third), at(pairs.len() - 1 - third));
        let of = |wanted: &dyn Fn(f64) -> bool, which: fn(&Pair) -> f64| {
            middle(pairs.iter().filter(|pair| wanted(pair.0)).map(which).collect())
        };
        let (low, high) = (|cycles: f64| cycles <= low_to, |cycles: f64| cycles >= high_from);
        let apart = of(&high, |pair| pair.0) - of(&low, |pair| pair.0);
        let per_cycle_mah = if low_to < high_from && apart > 0.0 {
            (of(&high, |pair| pair.1) - of(&low, |pair| pair.1)) / apart
        } else {
            0.0
        };
        let at_once_mah = middle(pairs.iter().map(|(cycles, step)| step - per_cycle_mah * cycles).collect());
        let off: Vec<Pair> = pairs
            .iter()
            .map(|&(cycles, step)| (cycles, (step - at_once_mah - per_cycle_mah * cycles).abs()))
            .collect();
        let least = off.len().div_ceil((off.len() / PAIRS).clamp(1, BINS));
        let mut bins: Vec<Vec<Pair>> = Vec::new();
        for alike in off.chunk_by(|a, b| a.0.total_cmp(&b.0).is_eq()) {
            match bins.last_mut() {
                Some(bin) if bin.len() < least => bin.extend_from_slice(alike),
                _ => bins.push(alike.to_vec()),
            }
        }
        // What is left over at the end is too few for a spread of its own.
        if bins.len() > 1 && bins.last().is_some_and(|bin| bin.len() < PAIRS) {
            let rest = bins.pop().unwrap_or_default();
            if let Some(bin) = bins.last_mut() {
                bin.extend(rest);
            }
        }
        let spreads = bins.into_iter().map(|bin| {
            let cycles = bin.last().map_or(0.0, |pair| pair.0);
            let wide = DEVIATIONS * middle(bin.iter().map(|pair| pair.1).collect());
            (cycles, wide.max(LEAST_MAH))
        });
        Some(Self { at_once_mah, per_cycle_mah, spreads: spreads.collect() })
    }

    fn over(&self, cycles: f64) -> f64 {
        self.at_once_mah + self.per_cycle_mah * cycles
    }

    fn spread(&self, cycles: f64) -> Option<f64> {
        let bin = self.spreads.iter().find(|(up_to, _)| cycles <= *up_to).or(self.spreads.last());
        bin.map(|(_, spread)| *spread)
    }
}

fn middle(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or_default()
}
