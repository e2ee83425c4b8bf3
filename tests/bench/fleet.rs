//! A synthetic fleet with a past, written through the library as an import would: acts of many entries.
//!
//! The shares are invented, to look like some years of a lending service: 7 of 10 packs came new in cartons of 40 and were
//! read on arrival; there is one player for two packs; every second pack has been lent once in the mean, and was read after
//! its return; 2 of 3 were read again in the last two weeks. The moments of a wave go forward; its packs come in any order.

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use packmuster::app::desk::Desk;
use packmuster::app::session::Here;
use packmuster::app::setup::{self, Beginning};
use packmuster::domain::event::{
    Basis, CartonOpened, Entrance, Event, Installed, LoanBegan, LoanEnded, LotReceived, Method, Origin,
    PackAdded, PlayerAdded, ReadingTaken, Removed, TagBound, Use, VerdictGiven,
};
use packmuster::domain::ids::{
    CartonId, LoanId, LotId, MakeId, PackId, PlayerId, PlayerMakeId, RideId, SlotId, Thing, ThingKind,
};
use packmuster::domain::make::{Chemistry, PackMake, PlayerMake};
use packmuster::domain::moment::{Moment, day_after};
use packmuster::domain::tag::{Tag, TagKind};
use packmuster::domain::units::{Cycles, MilliampHours, Millivolts, PlayHours};
use packmuster::domain::verdict::{Step, Verdict};
use packmuster::ledger::Ledger;
use packmuster::policy::template::Answers;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use rusqlite::Connection;

use super::Outcome;

/// The moment of the bench, in the form that `PACKMUSTER_CLOCK` takes.
pub(crate) const NOW: &str = "2026-11-25T09:00:00Z";
/// Entries of one act.
const ACT: usize = 100_000;
const CARTON: usize = 40;
const LOT: usize = 2_000;
const DAY_MS: i64 = 86_400_000;

/// A pack or player and its tag.
#[derive(Clone, Copy)]
pub(crate) struct Tagged<T> {
    pub(crate) tag: Tag,
    pub(crate) id: T,
}

/// Packs, and the carton of each that came in one.
type Received = (Vec<Tagged<PackId>>, Vec<Option<CartonId>>);

/// A ledger that was built.
pub(crate) struct Fleet {
    pub(crate) path: PathBuf,
    pub(crate) packs: Vec<Tagged<PackId>>,
    pub(crate) players: Vec<Tagged<PlayerId>>,
    /// Places in `packs` of those that are fit to go out, in any order.
    pub(crate) fit: Vec<usize>,
    pub(crate) entries: u64,
    pub(crate) took: Duration,
}

/// The pinned moment.
pub(crate) fn now() -> Outcome<Moment> {
    Ok(Moment::from_timestamp(NOW.parse()?))
}

/// A desk whose clock stands still.
pub(crate) fn desk(seed: u64) -> Outcome<Desk> {
    let now = now()?;
    Ok(Desk::new("bench", ChaCha12Rng::seed_from_u64(seed), Box::new(move || now)))
}

/// Moves the log into the file, and gives the file's size in bytes.
pub(crate) fn settle(path: &Path) -> Outcome<u64> {
    let conn = Connection::open(path)?;
    conn.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_row| Ok(()))?;
    drop(conn);
    Ok(std::fs::metadata(path)?.len())
}

/// Builds the fleet; the time is that of recording, without the drawing of the events.
pub(crate) fn build(path: &Path, packs: u32) -> Outcome<Fleet> {
    let mut desk = desk(1)?;
    let mut ledger = setup::begin(path, &mut desk, &beginning()?)?;
    for slot in 1..=24 {
        let here = &mut Here { ledger: &mut ledger, desk: &mut desk };
        setup::add_slot(here, &format!("B{slot}"), None)?;
    }
    let slots = ledger.all(ThingKind::Slot)?.iter().map(|(thing, _)| SlotId::new(thing.id)).collect();
    let only = |ledger: &mut Ledger, kind| -> Outcome<uuid::Uuid> {
        Ok(ledger.all(kind)?.first().ok_or("no make")?.0.id)
    };
    let make = MakeId::new(only(&mut ledger, ThingKind::Make)?);
    let player_make = PlayerMakeId::new(only(&mut ledger, ThingKind::PlayerMake)?);
    let policy = ledger.settings()?.policy.id.clone();
    let mut writing = Writing {
        ledger,
        desk,
        random: ChaCha12Rng::seed_from_u64(2),
        slots,
        policy,
        events: Vec::with_capacity(ACT + 8),
        entries: 0,
        took: Duration::ZERO,
    };
    let count = usize::try_from(packs)?;
    let (packs, cartons) = writing.receive(count, make)?;
    let players = writing.players(count / 2, player_make)?;
    writing.first_readings(&packs, &cartons)?;
    writing.loans(&packs, &players)?;
    let fit = writing.last_readings(&packs)?;
    writing.flush()?;
    let (entries, took) = (writing.entries, writing.took);
    Ok(Fleet { path: path.to_owned(), packs, players, fit, entries, took })
}

/// A policy, a make of pack and a make of player.
pub(crate) fn beginning() -> Outcome<Beginning> {
    Ok(Beginning {
        site: "Skerrow".to_owned(),
        zone: "Europe/London".to_owned(),
        policy: Answers::for_promise("Skerrow Isles Listening Post", "16").text(),
        player: PlayerMake {
            name: "Wren".to_owned(),
            draw: setup::draw("650 mAh in 16 h")?,
            form: "standard".to_owned(),
        },
        pack: PackMake {
            name: "Kestrel 1100".to_owned(),
            chemistry: Chemistry::NiMh,
            rated: MilliampHours::new(1100),
            nominal: Millivolts::new(3600),
            cells: 3,
            mass: None,
            end: Millivolts::new(3000),
            max_resistance: None,
            form: "standard".to_owned(),
        },
    })
}

struct Writing {
    ledger: Ledger,
    desk: Desk,
    random: ChaCha12Rng,
    slots: Vec<SlotId>,
    policy: String,
    events: Vec<Event>,
    entries: u64,
    took: Duration,
}

impl Writing {
    fn push(&mut self, event: impl Into<Event>) -> Outcome<()> {
        self.events.push(event.into());
        if self.events.len() >= ACT { self.flush() } else { Ok(()) }
    }

    fn flush(&mut self) -> Outcome<()> {
        let events = std::mem::replace(&mut self.events, Vec::with_capacity(ACT + 8));
        self.entries += u64::try_from(events.len())?;
        let start = Instant::now();
        self.desk.record(&mut self.ledger, events)?;
        self.took += start.elapsed();
        Ok(())
    }

    /// A moment so many days ago at the start of a wave, and so many at its end.
    fn at(place: usize, of: usize, from: i64, to: i64) -> Outcome<Moment> {
        let span = (from - to) * DAY_MS;
        let done = i64::try_from(place)? * (span / i64::try_from(of.max(1))?);
        Ok(now()?.plus_millis(done - from * DAY_MS))
    }

    fn receive(&mut self, count: usize, make: MakeId) -> Outcome<Received> {
        let (mut packs, mut cartons) = (Vec::with_capacity(count), Vec::with_capacity(count));
        let (mut lot, mut carton) = (None, None);
        for place in 0..count {
            let at = Self::at(place, count, 1_200, 700)?;
            if place % LOT == 0 {
                let id = LotId::draw(at, &mut self.random);
                let name = format!("L{}", place / LOT);
                self.push(LotReceived { lot: id, make, name, supplier_ref: String::new(), at })?;
                lot = Some(id);
            }
            if place % CARTON == 0 {
                let new = place / CARTON % 10 < 7;
                carton = lot.filter(|_| new).map(|lot| (lot, CartonId::draw(at, &mut self.random)));
                if let Some((lot, carton)) = carton {
                    let (name, size) = (format!("C{}", place / CARTON), u32::try_from(CARTON)?);
                    self.push(CartonOpened { carton, lot, name, size, plan: None })?;
                }
            }
            let pack = PackId::draw(at, &mut self.random);
            let tag = Tag::draw(TagKind::Pack, &mut self.random);
            let serial = (carton.is_some() && place % 4 == 0).then(|| format!("SN{place:08}"));
            self.push(PackAdded {
                pack,
                make,
                origin: if carton.is_some() { Origin::New } else { Origin::Service },
                entrance: if carton.is_some() { Entrance::Received } else { Entrance::Adopted },
                lot: carton.map(|(lot, _)| lot),
                carton: carton.map(|(_, carton)| carton),
                made: None,
                serial,
                prior: None,
                at,
            })?;
            self.bind(tag, pack.into())?;
            packs.push(Tagged { tag, id: pack });
            cartons.push(carton.map(|(_, carton)| carton));
        }
        Ok((packs, cartons))
    }

    fn bind(&mut self, tag: Tag, thing: Thing) -> Outcome<()> {
        self.push(TagBound { code: tag.text().to_owned(), thing })
    }

    fn players(&mut self, count: usize, make: PlayerMakeId) -> Outcome<Vec<Tagged<PlayerId>>> {
        let mut players = Vec::with_capacity(count);
        for place in 0..count {
            let at = Self::at(place, count, 700, 699)?;
            let player = PlayerId::draw(at, &mut self.random);
            let tag = Tag::draw(TagKind::Player, &mut self.random);
            self.push(PlayerAdded { player, make, entrance: Entrance::Adopted, at })?;
            self.bind(tag, player.into())?;
            players.push(Tagged { tag, id: player });
        }
        Ok(players)
    }

    fn read(&mut self, pack: PackId, carton: Option<CartonId>, capacity: u32, at: Moment) -> Outcome<()> {
        let slot = self.slots.get(self.random.random_range(0..self.slots.len())).copied();
        self.push(ReadingTaken {
            pack,
            slot,
            run: None,
            carton,
            capacity: MilliampHours::new(capacity),
            method: Method::Discharge,
            resistance: None,
            temperature: None,
            took: None,
            at,
        })
    }

    fn verdict(&mut self, pack: PackId, step: Step, at: Moment) -> Outcome<()> {
        let policy = self.policy.clone();
        self.push(VerdictGiven { pack, step, verdict: Verdict::Fit, reasons: Vec::new(), policy, at })
    }

    fn first_readings(&mut self, packs: &[Tagged<PackId>], cartons: &[Option<CartonId>]) -> Outcome<()> {
        for (place, (pack, carton)) in packs.iter().zip(cartons).enumerate() {
            if carton.is_some() {
                let capacity = self.random.random_range(1_100..1_220);
                let at = Self::at(place, packs.len(), 690, 610)?;
                self.read(pack.id, *carton, capacity, at)?;
            }
        }
        Ok(())
    }

    /// Loans that began and ended, with the reading after the return.
    fn loans(&mut self, packs: &[Tagged<PackId>], players: &[Tagged<PlayerId>]) -> Outcome<()> {
        let count = packs.len() / 2;
        for place in 0..count {
            let at = Self::at(place, count, 600, 80)?;
            let (pack, player) = (self.any(packs)?.id, self.any(players)?.id);
            let (ride, loan) = (RideId::draw(at, &mut self.random), LoanId::draw(at, &mut self.random));
            let due = day_after(at.day(&jiff::tz::TimeZone::UTC), 56);
            let back = at.plus_days(50);
            let used = Use {
                cycles: Cycles::new(self.random.random_range(2_000..14_000)),
                basis: Basis::Counted(PlayHours::new(self.random.random_range(1_000..20_000))),
            };
            self.verdict(pack, Step::Dispatch, at)?;
            self.push(Installed { ride, pack, player, at })?;
            self.push(LoanBegan { loan, player, pack, due, at })?;
            self.push(LoanEnded { loan, player, pack, at: back })?;
            self.push(Removed { ride, pack, player, used, found: true, at: back })?;
            let capacity = self.random.random_range(700..1_150);
            self.read(pack, None, capacity, back.plus_days(2))?;
        }
        Ok(())
    }

    /// Readings of the last two weeks; gives the packs that they make fit whatever their origin.
    fn last_readings(&mut self, packs: &[Tagged<PackId>]) -> Outcome<Vec<usize>> {
        let mut order: Vec<usize> = (0..packs.len()).filter(|place| place % 3 != 0).collect();
        for place in (1..order.len()).rev() {
            order.swap(place, self.random.random_range(0..=place));
        }
        let mut fit = Vec::new();
        for (done, place) in order.iter().enumerate() {
            let at = Self::at(done, order.len(), 14, 1)?;
            let pack = packs.get(*place).ok_or("no pack")?.id;
            let capacity = self.random.random_range(900..1_200);
            self.read(pack, None, capacity, at)?;
            self.verdict(pack, Step::Bench, at)?;
            if capacity >= 1_100 {
                fit.push(*place);
            }
        }
        Ok(fit)
    }

    fn any<T: Copy>(&mut self, all: &[T]) -> Outcome<T> {
        Ok(*all.get(self.random.random_range(0..all.len())).ok_or("nothing to choose from")?)
    }
}
