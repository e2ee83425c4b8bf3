//! The facts about one pack, folded from its events.
//!
//! Folding is total: any events in any order give facts, and what does not add up is kept as an oddity for people to
//! look at. What is not known is `None`, never zero.

mod last;

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::event::{Basis, Entrance, Event, Origin, PackAdded, Removed, Use};
use super::finding::Finding;
use super::ids::{CartonId, LoanId, LotId, MakeId, PackId, PlaceId, PlayerId, RideId, RunId, SlotId};
use super::moment::Moment;
use super::units::{Celsius, Cycles, MilliampHours, Milliohms, PlayHours};

pub use last::Consigned;

/// One capacity test costs a pack one full cycle.
const TEST_CYCLES: Cycles = Cycles::new(1000);

/// One reading, as far as the judge needs it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReadingFact {
    /// When it was taken.
    pub at: Moment,
    /// What it gave.
    #[serde(rename = "mah")]
    pub capacity: MilliampHours,
    /// In which slot, if known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub slot: Option<SlotId>,
    /// Internal resistance, if measured.
    #[serde(default, rename = "mohm", skip_serializing_if = "Option::is_none")]
    pub resistance: Option<Milliohms>,
    /// Equivalent full cycles before it, as far as they were known.
    #[serde(default, skip_serializing_if = "is_none")]
    pub cycles: Cycles,
    /// Temperature, if recorded.
    #[serde(default, rename = "c", skip_serializing_if = "Option::is_none")]
    pub temperature: Option<Celsius>,
}

/// A pack's open ride.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct OpenRide {
    /// The ride.
    pub ride: RideId,
    /// The player it rides in.
    pub player: PlayerId,
    /// Since when.
    pub since: Moment,
}

/// A pack's open loan.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct OpenLoan {
    /// The loan.
    pub loan: LoanId,
    /// Since when.
    pub since: Moment,
    /// When it is due back.
    pub due: Date,
}

/// A pack's open run in a slot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct OpenRun {
    /// The run.
    pub run: RunId,
    /// The slot.
    pub slot: SlotId,
    /// Since when.
    pub since: Moment,
}

/// Something in a history that cannot be as entered.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Oddity {
    /// Put into a player while its last ride was still open.
    InstalledWhileRiding,
    /// Taken out of a player in which it was not.
    RemovedFromElsewhere,
    /// Put into a slot while it was in another.
    RunWhileInSlot,
    /// Sent out while it was out.
    LentWhileOut,
    /// Sent out against the judge.
    Overruled,
    /// Not found where it should be.
    Missing,
    /// Seen in a place while it was elsewhere by all that was entered.
    SeenElsewhere,
    /// Seen after it had left with a consignment.
    SeenAfterLeaving,
}

impl std::fmt::Display for Oddity {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::InstalledWhileRiding => "put into a player while it was still riding in another",
            Self::RemovedFromElsewhere => "taken out of a player in which it was not",
            Self::RunWhileInSlot => "put into a slot while it was in another",
            Self::LentWhileOut => "sent out while it was still out",
            Self::Overruled => "sent out against the judge",
            Self::Missing => "not found where it should have been; whereabouts unknown",
            Self::SeenElsewhere => {
                "seen in a place while by the record it was in a player, in a slot or on a loan"
            }
            Self::SeenAfterLeaving => "seen here after it had left with a consignment",
        })
    }
}

/// All facts about a pack that verdicts and reports need.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct PackFacts {
    /// Tags and foreign codes that name it, oldest first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub codes: Vec<String>,
    /// Its make.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub make: Option<MakeId>,
    /// How it came into the ledger.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub entrance: Option<Entrance>,
    /// When it came into the ledger.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub added: Option<Moment>,
    /// The origin it was entered with.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub entered_as: Option<Origin>,
    /// Its lot.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<LotId>,
    /// Its carton.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub carton: Option<CartonId>,
    /// The maker's date, if known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub made: Option<Date>,
    /// The maker's serial, if known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serial: Option<String>,
    /// Cycles before it came into the ledger, if known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub prior: Option<Cycles>,
    /// Cycles by tests and rounds since.
    #[serde(default, skip_serializing_if = "is_none")]
    pub bench_cycles: Cycles,
    /// Cycles by finished rides whose hours were counted.
    #[serde(default, skip_serializing_if = "is_none")]
    pub counted_cycles: Cycles,
    /// Cycles by finished rides that were estimated from days out.
    #[serde(default, skip_serializing_if = "is_none")]
    pub estimated_cycles: Cycles,
    /// The ride that it is on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ride: Option<OpenRide>,
    /// The loan that it is on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub loan: Option<OpenLoan>,
    /// How many loans it has begun.
    #[serde(default, skip_serializing_if = "is_none")]
    pub loans: u32,
    /// Milliseconds on loans that are over.
    #[serde(default, skip_serializing_if = "is_none")]
    pub lent: i64,
    /// The latest return from a loan, or adoption out of one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub returned: Option<Moment>,
    /// The slot that it is in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub run: Option<OpenRun>,
    /// Readings, by the moment they were taken.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub readings: Vec<ReadingFact>,
    /// Rounds, by the moment they were done.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub rounds: Vec<Moment>,
    /// The latest charge entered.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub charged: Option<Moment>,
    /// Findings, in the order entered.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub findings: Vec<(Finding, Moment)>,
    /// When it last turned up by itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub found: Option<Moment>,
    /// Since when it is missing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub missing: Option<Moment>,
    /// The place that it was put into, and when.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<(PlaceId, Moment)>,
    /// Slots in which it gave no result since its last reading, for reasons that may lie with it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub refused_by: Vec<SlotId>,
    /// The last complaint while it was out: after how many hours it stopped, if known, and when that was said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub complaint: Option<(Option<PlayHours>, Moment)>,
    /// Since when it is written off.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub written_off: Option<Moment>,
    /// Since when it is waste that waits for a recycler.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub retired: Option<Moment>,
    /// The consignment that it is packed into.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub consigned: Option<Consigned>,
    /// The record that this one turned out to be part of.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub joined: Option<PackId>,
    /// What does not add up.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub oddities: Vec<(Oddity, Moment)>,
}

impl PackFacts {
    /// The origin that limits depend on: `service` as soon as it was ever dispatched.
    pub fn origin(&self) -> Origin {
        if self.loans > 0 { Origin::Service } else { self.entered_as.unwrap_or(Origin::Service) }
    }

    /// The carton for whose sample a reading counts now: its own, while it is new.
    pub fn sampled_carton(&self) -> Option<CartonId> {
        self.carton.filter(|_| self.origin() == Origin::New)
    }

    /// Total equivalent full cycles that are known of.
    pub fn cycles(&self) -> Cycles {
        let rides = self.counted_cycles.plus(self.estimated_cycles);
        rides.plus(self.bench_cycles).plus(self.prior.unwrap_or_default())
    }

    /// True when some of the cycles were estimated from days out.
    pub fn cycles_estimated(&self) -> bool {
        self.estimated_cycles > Cycles::default()
    }

    /// True when the cycles before it came into the ledger are not known.
    pub fn cycles_incomplete(&self) -> bool {
        self.prior.is_none() && self.entrance != Some(Entrance::Received)
    }

    /// The moment after which a reading must lie to count: the latest return or round.
    pub fn counts_from(&self) -> Option<Moment> {
        self.returned.max(self.rounds.last().copied())
    }

    /// Readings that count, in order: later than the last return and the last round.
    pub fn counting(&self) -> impl DoubleEndedIterator<Item = &ReadingFact> {
        let from = self.counts_from();
        self.readings.iter().filter(move |reading| from.is_none_or(|from| reading.at > from))
    }

    /// Rounds since the last return: those spent on the present weakness.
    pub fn rounds_since_return(&self) -> usize {
        self.rounds.iter().filter(|&&at| self.returned.is_none_or(|returned| at > returned)).count()
    }

    /// The latest moment at which the pack is known to have been charged: entered, or by a test or round at the bench.
    pub fn last_charge(&self) -> Option<Moment> {
        let reading = self.readings.last().map(|reading| reading.at);
        self.charged.max(reading).max(self.rounds.last().copied())
    }

    /// Folds one event of pack `id` in.
    pub fn apply(&mut self, id: PackId, event: &Event) {
        if let Some(at) = last::in_hand(event).filter(|&at| self.left().is_some_and(|left| at > left)) {
            self.odd(Oddity::SeenAfterLeaving, at);
        }
        match event {
            Event::PackAdded(e) => self.add(e),
            Event::TagBound(e) => bind(&mut self.codes, &e.code),
            Event::TagRetired(e) => self.codes.retain(|code| *code != e.code),
            Event::Installed(e) => {
                if self.ride.is_some() {
                    self.odd(Oddity::InstalledWhileRiding, e.at);
                }
                self.turn_up();
                self.place = None;
                self.ride = Some(OpenRide { ride: e.ride, player: e.player, since: e.at });
            }
            Event::Removed(e) => self.remove(e),
            Event::UseCounted(e) => {
                let was = self.ride_cycles(e.was);
                *was = was.minus(e.was.cycles);
                let now = self.ride_cycles(e.used);
                *now = now.plus(e.used.cycles);
                let returned = self.returned;
                for reading in self.readings.iter_mut().filter(|reading| Some(reading.at) > returned) {
                    reading.cycles = reading.cycles.minus(e.was.cycles).plus(e.used.cycles);
                }
            }
            Event::LoanBegan(e) => {
                if self.loan.is_some() {
                    self.odd(Oddity::LentWhileOut, e.at);
                }
                self.turn_up();
                self.loans = self.loans.saturating_add(1);
                self.loan = Some(OpenLoan { loan: e.loan, since: e.at, due: e.due });
                self.place = None;
                self.complaint = None;
            }
            Event::LoanMoved(e) => {
                if let Some(loan) = self.loan.as_mut().filter(|loan| loan.loan == e.loan) {
                    loan.due = e.due;
                }
            }
            Event::Complained(e) => {
                self.complaint = Some((e.after, e.at));
                self.findings.push((Finding::CutOutEarly, e.at));
            }
            Event::LoanWrittenOff(e) => self.written_off = Some(e.at),
            Event::PackFound(e) => {
                self.turn_up();
                self.found = self.found.max(Some(e.at));
            }
            Event::PackPlaced(e) => {
                self.turn_up();
                self.place = Some((e.place, e.at));
            }
            Event::PacksJoined(e) if e.gone == id => self.joined = Some(e.keep),
            // The other record is the pack in somebody's hand.
            Event::PacksJoined(e) if e.keep == id => self.turn_up(),
            Event::LoanEnded(e) => {
                if self.loan.is_some_and(|loan| loan.loan == e.loan) {
                    self.end_loan(e.at);
                }
                self.returned = self.returned.max(Some(e.at));
                self.written_off = None;
            }
            Event::FindingSeen(e) => {
                self.turn_up();
                self.findings.push((e.finding, e.at));
            }
            Event::Overruled(e) => self.odd(Oddity::Overruled, e.at),
            _ if last::apply(self, id, event) => {}
            _ => self.apply_bench(id, event),
        }
    }

    fn apply_bench(&mut self, id: PackId, event: &Event) {
        match event {
            Event::RunBegan(e) => {
                if self.run.is_some() {
                    self.odd(Oddity::RunWhileInSlot, e.at);
                }
                self.turn_up();
                self.place = None;
                self.run = Some(OpenRun { run: e.run, slot: e.slot, since: e.at });
            }
            Event::RunEnded(e) => {
                if e.reason.may_be_the_slot() && !self.refused_by.contains(&e.slot) {
                    self.refused_by.push(e.slot);
                }
                self.end_run(Some(e.run));
            }
            Event::ReadingTaken(e) if e.pack == id => {
                let place = self.readings.partition_point(|reading| reading.at <= e.at);
                // One that was entered late had no more cycles behind it than the next.
                let cycles =
                    self.readings.get(place).map_or(self.cycles(), |next| next.cycles.min(self.cycles()));
                let fact = ReadingFact {
                    at: e.at,
                    capacity: e.capacity,
                    slot: e.slot,
                    resistance: e.resistance,
                    cycles,
                    temperature: e.temperature,
                };
                self.readings.insert(place, fact);
                self.bench_cycles = self.bench_cycles.plus(TEST_CYCLES);
                self.refused_by.clear();
                self.turn_up();
                self.end_run(e.run);
            }
            Event::RoundDone(e) => {
                let place = self.rounds.partition_point(|&at| at <= e.at);
                self.rounds.insert(place, e.at);
                self.bench_cycles = self.bench_cycles.plus(Cycles::new(e.cycles.saturating_mul(1000)));
                self.turn_up();
            }
            Event::Charged(e) => self.charged = self.charged.max(Some(e.at)),
            _ => {}
        }
    }

    /// A pack whose records were joined was entered more than once: what was known first stays, and gaps are filled.
    fn add(&mut self, e: &PackAdded) {
        self.make = self.make.or(Some(e.make));
        self.entrance = self.entrance.or(Some(e.entrance));
        self.added = self.added.or(Some(e.at));
        self.entered_as = self.entered_as.or(Some(e.origin));
        self.lot = self.lot.or(e.lot);
        self.carton = self.carton.or(e.carton);
        self.made = self.made.or(e.made);
        self.serial = self.serial.take().or_else(|| e.serial.clone());
        self.prior = self.prior.or(e.prior);
    }

    fn remove(&mut self, e: &Removed) {
        self.place = None;
        if self.ride.is_some_and(|ride| ride.ride == e.ride) {
            self.ride = None;
            // A pack's part in a loan ends with its ride, whatever becomes of the player.
            if self.end_loan(e.at) {
                self.returned = self.returned.max(Some(e.at));
            }
        } else {
            self.odd(Oddity::RemovedFromElsewhere, e.at);
        }
        let sum = self.ride_cycles(e.used);
        *sum = sum.plus(e.used.cycles);
        if e.found {
            self.turn_up();
        } else {
            self.missing = Some(e.at);
            self.odd(Oddity::Missing, e.at);
        }
    }

    /// The sum that a ride's use belongs to.
    const fn ride_cycles(&mut self, used: Use) -> &mut Cycles {
        match used.basis {
            Basis::Estimated { .. } => &mut self.estimated_cycles,
            Basis::Counted(_) | Basis::Unused => &mut self.counted_cycles,
        }
    }

    /// Its part in a loan is over; false when it was on none.
    fn end_loan(&mut self, at: Moment) -> bool {
        let Some(loan) = self.loan.take() else { return false };
        let on_loan = at.millis().saturating_sub(loan.since.millis()).max(0);
        self.lent = self.lent.saturating_add(on_loan);
        true
    }

    /// Whoever has it in hand knows where it is.
    const fn turn_up(&mut self) {
        self.missing = None;
        self.written_off = None;
    }

    fn end_run(&mut self, run: Option<RunId>) {
        if run.is_some() && self.run.map(|open| open.run) == run {
            self.run = None;
        }
    }

    fn odd(&mut self, oddity: Oddity, at: Moment) {
        self.oddities.push((oddity, at));
    }
}

/// Adds a code to a thing's codes, once.
pub(crate) fn bind(codes: &mut Vec<String>, code: &str) {
    if !codes.iter().any(|known| known == code) {
        codes.push(code.to_owned());
    }
}

/// True for a value that stands for nothing entered yet: it needs no place in the projection.
fn is_none<T: Default + PartialEq>(value: &T) -> bool {
    *value == T::default()
}
