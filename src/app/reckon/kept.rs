//! What was reckoned, kept from one review to the next: only what entries since, or the days since, have changed is reckoned again.
//!
//! What is kept is that of the current month, of all entries up to a mark in each chain. It is thrown away at a new month, when a
//! policy, make, notice or model was entered, when the chains are not those that it was made from, and when the share of days that packs
//! are out has moved by a step. What comes out is the same as if all were reckoned anew; a test holds both against each other.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use crate::domain::event::Event;
use crate::domain::facts::{CartonFacts, Facts, PlayerFacts};
use crate::domain::ids::{CartonId, PackId, PlayerId, Thing, ThingKind};
use crate::domain::pack::PackFacts;
use crate::ledger::entry::clock_before;
use crate::ledger::kept::Kept;
use crate::ledger::{Ledger, LedgerError};

use super::counts::Sign;
use super::{Frame, Player, Reckoned, Share, Sums, TimeSums, number, time};
use crate::app::ahead;
use crate::app::review::Whereabouts;
use crate::app::review::deeds::{self, Done};
use crate::app::share::share_out;

/// Raised whenever what is reckoned, or how it is written, changes.
pub(crate) const FORM: u32 = 1;
/// Packs that are reckoned again one by one in any case.
const MANY: i64 = 10_000;
/// The name of the note that holds the mark.
const MARK: &str = "mark";

/// What is asked of the rows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Need {
    /// All that is in them.
    All,
    /// How they count: what is foretold may be by a share of days that has moved since.
    Counts,
}

/// What the rows are true of.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Mark {
    form: (u32, String),
    /// The month.
    month: String,
    /// The day until which rows were looked through.
    day: i32,
    share: Share,
    /// The last entry of each chain: writer, number, hash.
    heads: Vec<(String, u64, String)>,
    done: Done,
    sums: Sums,
}

/// Entries since a mark, by what they touch.
#[derive(Debug, Default)]
struct Since {
    packs: BTreeSet<PackId>,
    players: BTreeSet<PlayerId>,
    cartons: BTreeSet<CartonId>,
    settings: bool,
    /// Something was taken back or corrected.
    undone: bool,
    done: Done,
}

impl Since {
    fn take(&mut self, thing: Thing) {
        match thing.kind {
            ThingKind::Pack => {
                self.packs.insert(PackId::new(thing.id));
            }
            ThingKind::Player => {
                self.players.insert(PlayerId::new(thing.id));
            }
            ThingKind::Carton => {
                self.cartons.insert(CartonId::new(thing.id));
            }
            ThingKind::Policy
            | ThingKind::Model
            | ThingKind::Make
            | ThingKind::PlayerMake
            | ThingKind::Notice => self.settings = true,
            _ => {}
        }
    }

    /// So much was touched that it is quicker to reckon everything.
    fn is_most(&self, sums: &Sums) -> bool {
        let packs = i64::try_from(self.packs.len()).unwrap_or(i64::MAX);
        packs > MANY && packs.saturating_mul(4) > sums.in_use()
    }
}

fn read<T: serde::de::DeserializeOwned>(body: &[u8]) -> Result<T, LedgerError> {
    postcard::from_bytes(body).map_err(|_damaged| LedgerError::Range("what is kept beside the ledger"))
}

fn written<T: Serialize>(value: &T) -> Result<Vec<u8>, LedgerError> {
    postcard::to_stdvec(value).map_err(|_too_long| LedgerError::Range("what is to be kept beside the ledger"))
}

/// Brings what is kept up to date with the ledger, as of the day of the frame, and returns what was done in the month, with the sums over
/// all. `seen` is told how many packs were looked at, where it is all of them.
///
/// # Errors
/// A fault of either file.
pub(crate) fn refresh(
    ledger: &mut Ledger,
    (kept, need): (&Kept, Need),
    frame: &mut Frame,
    seen: impl FnMut(u64),
) -> Result<(Done, Sums), LedgerError> {
    let heads = ledger.heads_until(i64::MAX)?;
    if let Some(mut mark) = mark(ledger, kept, frame)? {
        let since = since(ledger, &mark, frame)?;
        if !since.settings && !since.is_most(&mark.sums) {
            mark.done = if since.undone {
                deeds::read(ledger, clock_before(frame.begin), i64::MAX)?
            } else {
                mark.done.and(since.done.clone())
            };
            set_share(frame, mark.share);
            some(ledger, (kept, &mut mark.sums), frame, since)?;
            let foretold = need == Need::All && frame.foretell.is_some();
            if !foretold || Share::of(time::days_out(mark.sums.times, frame.as_of)) == mark.share {
                let mark = Mark { day: number(frame.today()), heads, ..mark };
                kept.set_note(MARK, &written(&mark)?)?;
                return Ok((mark.done, mark.sums));
            }
        }
    }
    kept.clear()?;
    let sums = all(ledger, kept, frame, i64::MAX, seen)?;
    let mark = Mark {
        form: form(),
        month: month(frame),
        day: number(frame.today()),
        share: frame.foretell.as_ref().map(|foretell| foretell.share).unwrap_or_default(),
        heads,
        done: deeds::read(ledger, clock_before(frame.begin), i64::MAX)?,
        sums,
    };
    kept.set_note(MARK, &written(&mark)?)?;
    Ok((mark.done, mark.sums))
}

fn form() -> (u32, String) {
    (FORM, env!("CARGO_PKG_VERSION").to_owned())
}

fn month(frame: &Frame) -> String {
    frame.today().strftime("%Y-%m").to_string()
}

/// The mark, if what is kept can be brought up to date: it is of this month, of no later day, and of chains that are these.
fn mark(ledger: &Ledger, kept: &Kept, frame: &Frame) -> Result<Option<Mark>, LedgerError> {
    let Some(mark) = kept.note(MARK)?.and_then(|body| read::<Mark>(&body).ok()) else {
        return Ok(None);
    };
    if mark.form != form() || mark.month != month(frame) || mark.day > number(frame.today()) {
        return Ok(None);
    }
    for (writer, last, hash) in &mark.heads {
        if ledger.hash_at(writer, *last)?.as_ref() != Some(hash) {
            return Ok(None);
        }
    }
    Ok(Some(mark))
}

fn since(ledger: &mut Ledger, mark: &Mark, frame: &Frame) -> Result<Since, LedgerError> {
    let mut since = Since::default();
    let begin = clock_before(frame.begin);
    let heads: BTreeMap<&str, u64> =
        mark.heads.iter().map(|(writer, last, _)| (writer.as_str(), *last)).collect();
    ledger.each_entry_behind(&heads, |entry| {
        entry.event.things().into_iter().for_each(|thing| since.take(thing));
        since.undone |= matches!(entry.event, Event::ActVoided(_) | Event::EntryCorrected(_));
        if entry.position.clock > begin {
            since.done.take(&entry);
        }
    })?;
    Ok(since)
}

const fn set_share(frame: &mut Frame, share: Share) {
    if let Some(foretell) = &mut frame.foretell {
        foretell.share = share;
    }
}

/// Reckons again what entries since, or the day, have changed.
fn some(
    ledger: &mut Ledger,
    (kept, sums): (&Kept, &mut Sums),
    frame: &mut Frame,
    since: Since,
) -> Result<(), LedgerError> {
    let Since { mut packs, mut players, cartons, .. } = since;
    for carton in cartons {
        let facts: CartonFacts = ledger.facts(carton.into())?.unwrap_or_default();
        packs.extend(facts.places.keys());
    }
    packs.extend(kept.over_on(ThingKind::Pack, number(frame.today()))?.into_iter().filter_map(Thing::pack));
    for &player in &players {
        let facts: PlayerFacts = ledger.facts(player.into())?.unwrap_or_default();
        packs.extend(facts.ride.map(|(_, pack)| pack));
    }
    for pack in packs {
        let before: Option<Reckoned> = kept.body(pack.into())?.map(|body| read(&body)).transpose()?;
        players.extend(before.as_ref().and_then(|pack| pack.player).map(player_id));
        if let Some(before) = &before {
            sums.pack(before, Sign::Take);
        }
        let Some((facts, last)) = ledger.facts_and_last::<PackFacts>(pack.into(), i64::MAX)? else {
            put((kept, sums), pack, None)?;
            continue;
        };
        if let Some(carton) = facts.carton.filter(|carton| !frame.cartons.contains_key(carton)) {
            frame.cartons.extend(ledger.facts(carton.into())?.map(|facts| (carton, facts)));
        }
        if let Some(player) = facts.loan.and(facts.ride).map(|ride| ride.player) {
            let of: PlayerFacts = ledger.facts(player.into())?.unwrap_or_default();
            frame.players.extend(of.make.map(|make| (player, make)));
        }
        let now = put((kept, sums), pack, frame.pack_until(pack, last, &facts))?;
        players.extend(now.and_then(|pack| pack.player).map(player_id));
    }
    for player in players {
        let facts: Option<PlayerFacts> = ledger.facts(player.into())?;
        if let Some(body) = kept.body(player.into())? {
            sums.player(&read(&body)?, Sign::Take);
        }
        match facts {
            Some(facts) => put_player((kept, sums), player, &facts)?,
            None => kept.remove(player.into())?,
        }
    }
    Ok(())
}

fn player_id(raw: super::Raw) -> PlayerId {
    PlayerId::new(uuid::Uuid::from_bytes(raw))
}

/// Reckons every pack and player as entries up to a clock value gave them, into a file that holds none yet; returns the sums.
///
/// # Errors
/// A fault of either file.
pub(crate) fn all(
    ledger: &mut Ledger,
    kept: &Kept,
    frame: &mut Frame,
    clock: i64,
    seen: impl FnMut(u64),
) -> Result<Sums, LedgerError> {
    let mut sums = Sums::default();
    let reckon = |frame: &Frame, Taken { id, last, pack }: Taken| (id, frame.pack_until(id, last, &pack));
    walk(ledger, frame, clock, seen, reckon, |(id, reckoned)| {
        put((kept, &mut sums), id, reckoned).map(|_| ())
    })?;
    ledger.each_until(ThingKind::Player, clock, |thing, _, facts| {
        let player = PlayerFacts::try_from(facts).ok();
        player.map_or(Ok(()), |player| put_player((kept, &mut sums), PlayerId::new(thing.id), &player))
    })?;
    Ok(sums)
}

/// A pack as it was read, with the clock of its last entry.
pub(crate) struct Taken {
    pub(crate) id: PackId,
    pub(crate) last: i64,
    pub(crate) pack: PackFacts,
}

/// Packs that are reckoned at once, on all cores.
const BATCH: usize = 8192;
/// Packs that are worth a thread.
const SHARE: usize = 64;

/// Walks the packs as entries up to a clock value gave them, with all in the frame that they are reckoned by: what is reckoned of each is
/// visited in order.
///
/// # Errors
/// A fault of the ledger, or what `visit` returns.
pub(crate) fn walk<R: Send>(
    ledger: &mut Ledger,
    frame: &mut Frame,
    clock: i64,
    mut seen: impl FnMut(u64),
    reckon: impl Fn(&Frame, Taken) -> R + Sync,
    mut visit: impl FnMut(R) -> Result<(), LedgerError>,
) -> Result<(), LedgerError> {
    frame.cartons = ahead::cartons_until(ledger, clock)?;
    frame.players = ahead::players_out(ledger, clock)?;
    if frame.foretell.is_some() {
        let mut sums = TimeSums::default();
        ledger.each_until(ThingKind::Pack, clock, |_, _, facts| {
            if let Facts::Pack(pack) = facts
                && pack.joined.is_none()
                && pack.added.is_some()
                && let Some(times) = time::times(&pack, Whereabouts::of(&pack))
            {
                sums.take(times);
            }
            Ok::<(), LedgerError>(())
        })?;
        set_share(frame, Share::of(time::days_out(sums, frame.as_of)));
    }
    let frame = &*frame;
    let mut looked = 0;
    let mut batch: Vec<Taken> = Vec::new();
    let mut work = |batch: &mut Vec<Taken>| {
        let done = share_out(std::mem::take(batch), SHARE, |taken| reckon(frame, taken));
        done.into_iter().try_for_each(&mut visit)
    };
    ledger.each_until(ThingKind::Pack, clock, |thing, last, facts| {
        looked += 1;
        seen(looked);
        if let Facts::Pack(pack) = facts {
            batch.push(Taken { id: PackId::new(thing.id), last, pack });
        }
        if batch.len() < BATCH { Ok(()) } else { work(&mut batch) }
    })?;
    work(&mut batch)
}

fn put(
    (kept, sums): (&Kept, &mut Sums),
    id: PackId,
    reckoned: Option<(Reckoned, Date)>,
) -> Result<Option<Reckoned>, LedgerError> {
    let Some((reckoned, until)) = reckoned else {
        kept.remove(id.into())?;
        return Ok(None);
    };
    kept.put(id.into(), number(until), &written(&reckoned)?)?;
    sums.pack(&reckoned, Sign::Add);
    Ok(Some(reckoned))
}

fn put_player(
    (kept, sums): (&Kept, &mut Sums),
    id: PlayerId,
    player: &PlayerFacts,
) -> Result<(), LedgerError> {
    let holds = match player.ride {
        Some((_, pack)) => kept.body(pack.into())?.map(|body| read::<Reckoned>(&body)).transpose()?,
        None => None,
    };
    let reckoned = Player::of(id, player, holds.as_ref());
    kept.put(id.into(), i32::MAX, &written(&reckoned)?)?;
    sums.player(&reckoned, Sign::Add);
    Ok(())
}

/// Walks every pack that is kept.
///
/// # Errors
/// A fault of the file.
pub(crate) fn each_pack(kept: &Kept, mut visit: impl FnMut(PackId, Reckoned)) -> Result<(), LedgerError> {
    kept.each(ThingKind::Pack, |thing, body| {
        visit(PackId::new(thing.id), read(body)?);
        Ok(())
    })
}

/// Walks every player that is kept.
///
/// # Errors
/// A fault of the file.
pub(crate) fn each_player(kept: &Kept, mut visit: impl FnMut(Player)) -> Result<(), LedgerError> {
    kept.each(ThingKind::Player, |_, body| {
        visit(read(body)?);
        Ok(())
    })
}
