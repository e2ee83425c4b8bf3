//! What a reading should have given, by the fleet's model.

use std::cell::RefCell;
use std::collections::{BTreeSet, HashMap};

use crate::domain::ids::{MakeId, PackId, SlotId};
use crate::domain::moment::Moment;
use crate::domain::pack::PackFacts;
use crate::ledger::learnt::{Seer, day};
use crate::ledger::settings::Settings;
use crate::stats::control::slots::bench::{Foretell, Foretold};
use crate::stats::fade::fleet::{History, Reading};
use crate::stats::fade::model::{Seen, When};

/// What is kept of a pack.
#[derive(Debug)]
pub(super) struct Past {
    pub(super) id: PackId,
    pub(super) make: Option<MakeId>,
    /// How far off a slot may read it, mAh.
    pub(super) tolerated_mah: f64,
    /// Its readings, oldest first.
    pub(super) readings: Vec<Taken>,
    /// The same as the model takes them; none where it does not know the make, or there is no model.
    history: Option<History>,
}

/// One reading.
#[derive(Debug, Clone, Copy)]
pub(super) struct Taken {
    pub(super) at: Moment,
    pub(super) slot: Option<SlotId>,
    pub(super) capacity_mah: f64,
    /// Rounds before it.
    pub(super) rounds: usize,
    /// Equivalent full cycles before it.
    pub(super) cycles: f64,
}

impl Past {
    pub(super) fn of(id: PackId, pack: &PackFacts, settings: &Settings) -> Self {
        let seer = settings.seer.as_ref();
        let rated = pack.make.and_then(|make| settings.makes.get(&make)).map_or(0, |make| make.rated.raw());
        let readings = pack.readings.iter().map(|reading| Taken {
            at: reading.at,
            slot: reading.slot,
            capacity_mah: f64::from(reading.capacity.raw()),
            rounds: pack.rounds.partition_point(|&round| round <= reading.at),
            cycles: f64::from(reading.cycles.raw()) / 1000.0,
        });
        Self {
            id,
            make: pack.make,
            tolerated_mah: f64::from(rated) * f64::from(settings.policy.bench.slot_tolerance_percent) / 100.0,
            readings: readings.collect(),
            history: seer.and_then(|seer| seer.history(pack)),
        }
    }
}

/// Foretells some readings only: what need not be looked at is not worked out.
pub(super) struct Only<F> {
    inner: F,
    wanted: Vec<bool>,
}

impl<F> Only<F> {
    pub(super) const fn new(inner: F, wanted: Vec<bool>) -> Self {
        Self { inner, wanted }
    }
}

impl<F: Foretell> Foretell for Only<F> {
    fn trust(&mut self, believed: &[bool]) {
        self.inner.trust(believed);
    }

    fn foretell(&self, place: usize) -> Option<Foretold> {
        if self.wanted.get(place) == Some(&true) { self.inner.foretell(place) } else { None }
    }
}

/// Foretells by the fleet's model, from what it knew of the pack before, without readings in the same slot and without those
/// that are not believed.
pub(super) struct ByModel<'a> {
    seer: &'a Seer,
    pasts: &'a [Past],
    /// (when, past, reading), in time order.
    order: &'a [(Moment, usize, usize)],
    /// For each past, the places of its readings in that order.
    places: Vec<Vec<usize>>,
    believed: Vec<bool>,
    /// What was foretold of each reading, until something that it rests on is no longer believed.
    known: RefCell<HashMap<usize, Option<Foretold>>>,
}

impl<'a> ByModel<'a> {
    pub(super) fn new(seer: &'a Seer, pasts: &'a [Past], order: &'a [(Moment, usize, usize)]) -> Self {
        let mut places: Vec<Vec<usize>> =
            pasts.iter().map(|past| vec![usize::MAX; past.readings.len()]).collect();
        for (place, &(_, pack, reading)) in order.iter().enumerate() {
            if let Some(at) = places.get_mut(pack).and_then(|places| places.get_mut(reading)) {
                *at = place;
            }
        }
        let known = RefCell::new(HashMap::new());
        Self { seer, pasts, order, places, believed: Vec::new(), known }
    }

    fn is_believed(&self, pack: usize, reading: usize) -> bool {
        let place = self.places.get(pack).and_then(|places| places.get(reading));
        place.and_then(|&place| self.believed.get(place)).copied().unwrap_or(false)
    }
}

impl Foretell for ByModel<'_> {
    fn trust(&mut self, believed: &[bool]) {
        let changed = |place: usize| self.believed.get(place) != believed.get(place);
        let order = self.order.iter().enumerate();
        let packs: BTreeSet<usize> =
            order.filter(|(place, _)| changed(*place)).map(|(_, reading)| reading.1).collect();
        for place in packs.iter().filter_map(|pack| self.places.get(*pack)).flatten() {
            self.known.get_mut().remove(place);
        }
        self.believed = believed.to_vec();
    }

    fn foretell(&self, place: usize) -> Option<Foretold> {
        if let Some(known) = self.known.borrow().get(&place) {
            return *known;
        }
        let foretold = self.work_out(place);
        self.known.borrow_mut().insert(place, foretold);
        foretold
    }
}

impl ByModel<'_> {
    fn work_out(&self, place: usize) -> Option<Foretold> {
        let &(at, pack, reading) = self.order.get(place)?;
        let past = self.pasts.get(pack)?;
        let history = past.history.as_ref()?;
        let (taken, target) = (past.readings.get(reading)?, history.readings.get(reading)?);
        let usable = |n: &usize| {
            past.readings.get(*n).is_some_and(|other| other.slot != taken.slot) && self.is_believed(pack, *n)
        };
        let known: Vec<Reading> =
            (0..reading).filter(usable).filter_map(|n| history.readings.get(n)).copied().collect();
        if known.is_empty() {
            return None;
        }
        let rounds = history.rounds.iter().take(taken.rounds).copied().collect();
        let before = History { readings: known, rounds, ..history.clone() };
        let mut seen = Seen::default();
        self.seer.predictor.see(&before.pack(), &mut seen);
        let when = When { day: day(at), cycles: f64::from(target.cycles) };
        let (mah, variance) = self.seer.predictor.reading(&seen, when, target.celsius);
        Some(Foretold { mah, spread_mah: variance.sqrt() })
    }
}
