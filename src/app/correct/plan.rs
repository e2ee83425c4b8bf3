//! Which entries a correction concerns, and what should have stood in their places.
//!
//! A ride with its loans, and a run with its reading, are corrected whole: who scanned the wrong pack, scanned it for all of them.

use uuid::Uuid;

use crate::domain::event::{Basis, Event, ReadingTaken, RunEnded, Use};
use crate::domain::finding::NoResult;
use crate::domain::ids::{LoanId, PackId, PlayerId, RideId, RunId, Thing};
use crate::domain::moment::Moment;
use crate::domain::pack::PackFacts;
use crate::domain::units::Cycles;
use crate::ledger::entry::Entry;
use crate::ledger::{Ledger, LedgerError};

use super::Right;
use crate::app::error::AppError;
use crate::app::intake;

/// An entry that was wrong, and what should have stood there, if anything should.
#[derive(Debug)]
pub(super) struct Change {
    pub(super) old: Entry,
    pub(super) new: Option<Event>,
}

/// What to correct; the entry that was named comes first.
pub(super) fn plan(
    ledger: &mut Ledger,
    entry: &Entry,
    right: &Right,
    now: Moment,
) -> Result<Vec<Change>, AppError> {
    if right.at.is_some_and(|at| at > now) {
        return Err(AppError::input("the date lies ahead", "give the day on which it happened"));
    }
    if let Some(way) = way_on(&entry.event) {
        return Err(AppError::input(format!("a {} entry is not corrected", entry.event.kind()), way));
    }
    if right.nothing {
        if *right != (Right { nothing: true, ..Right::default() }) {
            return Err(AppError::input(
                "--nothing says that it never happened",
                "give either what is right, or --nothing",
            ));
        }
        return never(ledger, entry);
    }
    let mut changes = vec![Change { old: entry.clone(), new: Some(mended(ledger, &entry.event, right)?) }];
    if right.pack.is_some() || right.player.is_some() {
        for old in whole(ledger, &entry.event)? {
            if old.position != entry.position {
                let new = retold(ledger, &old.event, right)?;
                changes.push(Change { old, new: Some(new) });
            }
        }
    }
    if right.at.is_some() {
        estimates(ledger, &mut changes)?;
    }
    Ok(changes)
}

/// Why an entry cannot be corrected: what does instead.
const fn way_on(event: &Event) -> Option<&'static str> {
    match event {
        Event::SiteOpened(_) | Event::WriterOpened(_) | Event::PictureTaken(_) => {
            Some("it says what this copy of the ledger did, and stays")
        }
        Event::PolicyAdopted(_)
        | Event::MakeDeclared(_)
        | Event::PlayerMakeDeclared(_)
        | Event::OperatorEnrolled(_)
        | Event::SlotAdded(_)
        | Event::SlotTakes(_)
        | Event::PlaceAdded(_) => Some("enter it anew: what is entered last counts"),
        Event::CartonOpened(_) => {
            Some("close the carton with what it holds: CARTON, then the count, at receive")
        }
        Event::TagBound(_) | Event::TagRetired(_) => {
            Some("scan the thing, REPLACE, and the tag that it bears")
        }
        Event::StudyPlanned(_) => Some("plan another study: study plan"),
        Event::ConsignmentOpened(_) => Some("begin another consignment: consignment open"),
        Event::ConsignmentLeft(_) | Event::PackConsigned(_) | Event::PackUnconsigned(_) => {
            Some("scan the pack again at the consignment, and NO; what has left stays gone")
        }
        Event::MusterBegan(_) | Event::PackSeen(_) | Event::MusterEnded(_) => {
            Some("hold another roll call: muster")
        }
        Event::PickListed(_) => Some("make another list: pick --list"),
        Event::TagsPrinted(_) => Some("it says what was printed, and stays"),
        Event::ModelLearnt(_) => Some("learn the model anew: model learn"),
        Event::VerdictGiven(_) => Some("it says what was judged on that day; correct what it stood on"),
        Event::Overruled(_) => Some("it says what was done; correct the loan that it was done for"),
        Event::NoticeIssued(_) | Event::NoticeLifted(_) => Some("lift the notice, and issue the right one"),
        Event::ScannerTuned(_) => Some("scan the trial tag again: scanner"),
        Event::ActVoided(_) => Some("what was undone is scanned again"),
        _ => None,
    }
}

/// The ride that an event is about.
const fn ride_of(event: &Event) -> Option<RideId> {
    match event {
        Event::Installed(e) => Some(e.ride),
        Event::Removed(e) => Some(e.ride),
        Event::UseCounted(e) => Some(e.ride),
        _ => None,
    }
}

/// The loan that an event is about.
const fn loan_of(event: &Event) -> Option<LoanId> {
    match event {
        Event::LoanBegan(e) => Some(e.loan),
        Event::LoanEnded(e) => Some(e.loan),
        Event::LoanMoved(e) => Some(e.loan),
        Event::Complained(e) => Some(e.loan),
        Event::LoanWrittenOff(e) => Some(e.loan),
        Event::Overruled(e) => Some(e.loan),
        _ => None,
    }
}

/// The run that an event is about.
const fn run_of(event: &Event) -> Option<RunId> {
    match event {
        Event::RunBegan(e) => Some(e.run),
        Event::RunEnded(e) => Some(e.run),
        Event::ReadingTaken(e) => e.run,
        _ => None,
    }
}

fn pack_of(event: &Event) -> Option<PackId> {
    event.things().into_iter().find_map(Thing::pack)
}

fn player_of(event: &Event) -> Option<PlayerId> {
    event.things().into_iter().find_map(Thing::player)
}

/// The entries of a pack that count, as they were written.
fn counting(ledger: &mut Ledger, pack: PackId) -> Result<Vec<Entry>, LedgerError> {
    let keep = ledger.joined_to(pack)?;
    let mut entries = Vec::new();
    for (entry, wrong) in ledger.history(keep.into())? {
        if !wrong {
            // A joined record's entries are told of another pack: the entry itself says what was written.
            entries.extend(ledger.entry_at(entry.position.writer, entry.position.number)?);
        }
    }
    Ok(entries)
}

/// All entries of the ride and its loans, or of the run, that an event belongs to.
fn whole(ledger: &mut Ledger, event: &Event) -> Result<Vec<Entry>, LedgerError> {
    let Some(pack) = pack_of(event) else { return Ok(Vec::new()) };
    if run_of(event).is_none() && ride_of(event).is_none() && loan_of(event).is_none() {
        return Ok(Vec::new());
    }
    let entries = counting(ledger, pack)?;
    if let Some(run) = run_of(event) {
        return Ok(entries.into_iter().filter(|entry| run_of(&entry.event) == Some(run)).collect());
    }
    let mut riding = None;
    let mut loans: Vec<(LoanId, Option<RideId>)> = Vec::new();
    for entry in &entries {
        match &entry.event {
            Event::Installed(e) => riding = Some(e.ride),
            Event::Removed(e) if riding == Some(e.ride) => riding = None,
            Event::LoanBegan(e) => loans.push((e.loan, riding)),
            _ => {}
        }
    }
    let loan = loan_of(event);
    let ride = ride_of(event).or_else(|| loans.iter().find(|(id, _)| Some(*id) == loan)?.1);
    let belongs = |event: &Event| {
        ride.is_some() && ride_of(event) == ride
            || loan_of(event)
                .is_some_and(|id| Some(id) == loan || (ride.is_some() && loans.contains(&(id, ride))))
    };
    Ok(entries.into_iter().filter(|entry| belongs(&entry.event)).collect())
}

/// It never happened, and with it what could not have been without it.
fn never(ledger: &mut Ledger, entry: &Entry) -> Result<Vec<Change>, AppError> {
    let mut changes = vec![Change { old: entry.clone(), new: None }];
    let mut also = Vec::new();
    match &entry.event {
        Event::PackAdded(_) | Event::PlayerAdded(_) | Event::LotReceived(_) => {
            return Err(AppError::input(
                "what was entered stays entered",
                "a pack that has another record is joined to it: packmuster join",
            ));
        }
        Event::EntryCorrected(_) => also = ledger.entries_of_act(entry.act)?,
        Event::Installed(_) | Event::RunBegan(_) => also = whole(ledger, &entry.event)?,
        Event::LoanBegan(e) => {
            for old in whole(ledger, &entry.event)? {
                if loan_of(&old.event) == Some(e.loan) {
                    also.push(old);
                } else if let Event::Removed(removed) = &old.event {
                    // A pack that never went out was not used; what the player counted stays counted.
                    let mut removed = removed.clone();
                    if matches!(removed.used.basis, Basis::Estimated { .. }) {
                        removed.used = Use { cycles: Cycles::default(), basis: Basis::Unused };
                        changes.push(Change { old, new: Some(removed.into()) });
                    }
                }
            }
        }
        Event::LoanEnded(e) => {
            let taken_out = |old: &Entry| matches!(old.event, Event::Removed(_) | Event::UseCounted(_));
            also.extend(whole(ledger, &entry.event)?.into_iter().filter(taken_out));
            let mut began = None;
            for (old, wrong) in ledger.history(e.player.into())? {
                match &old.event {
                    Event::LoanBegan(of) if of.loan == e.loan => began = Some(old.position),
                    Event::PlayerArrived(_)
                        if !wrong
                            && began.is_some_and(|began| old.position > began)
                            && old.position < entry.position =>
                    {
                        also.push(old);
                    }
                    _ => {}
                }
            }
        }
        Event::Removed(e) => {
            let counted = |old: &Entry| matches!(&old.event, Event::UseCounted(of) if of.ride == e.ride);
            also.extend(whole(ledger, &entry.event)?.into_iter().filter(counted));
        }
        Event::UseCounted(e) => {
            let later = |old: &Entry| {
                old.position > entry.position
                    && matches!(&old.event, Event::UseCounted(of) if of.ride == e.ride)
            };
            also.extend(whole(ledger, &entry.event)?.into_iter().filter(later));
        }
        // The run did end: without this reading it has no result.
        Event::ReadingTaken(ReadingTaken { pack, slot: Some(slot), run: Some(run), at, .. }) => {
            let ended = RunEnded { run: *run, slot: *slot, pack: *pack, reason: NoResult::TakenOut, at: *at };
            changes = vec![Change { old: entry.clone(), new: Some(ended.into()) }];
        }
        _ => {}
    }
    also.retain(|old| old.position != entry.position);
    changes.extend(also.into_iter().map(|old| Change { old, new: None }));
    Ok(changes)
}

/// The event as it should have been.
fn mended(ledger: &mut Ledger, old: &Event, right: &Right) -> Result<Event, AppError> {
    let misfit = |what: &str| {
        AppError::input(
            format!("a {} entry has no {what}", old.kind()),
            "correct what the entry says; `show` prints it",
        )
    };
    if matches!(old, Event::EntryCorrected(_)) {
        return Err(AppError::input(
            "a correction is corrected by the entry that it put in place",
            "give that one's number; or --nothing, and what was corrected counts again",
        ));
    }
    let mut new = retold(ledger, old, right)?;
    if let Some(capacity) = right.capacity {
        let Event::ReadingTaken(e) = &mut new else { return Err(misfit("capacity")) };
        e.capacity = capacity;
    }
    if let Some(finding) = right.finding {
        let Event::FindingSeen(e) = &mut new else { return Err(misfit("finding")) };
        e.finding = finding;
    }
    if let Some(make) = &right.make {
        match &mut new {
            Event::PackAdded(e) => e.make = crate::app::lookup::make(ledger, Some(make))?,
            Event::PlayerAdded(e) => e.make = crate::app::lookup::player_make(ledger, Some(make))?,
            _ => return Err(misfit("make")),
        }
    }
    if let Some(at) = right.at {
        *moment(&mut new).ok_or_else(|| misfit("date"))? = at;
    }
    if new == *old {
        return Err(AppError::input(
            "nothing would change",
            "give what is right: --mah, --pack, --player, --make, --at or --finding; or --nothing if it never happened",
        ));
    }
    Ok(new)
}

/// The same event of another pack, or with another player.
fn retold(ledger: &mut Ledger, old: &Event, right: &Right) -> Result<Event, AppError> {
    let misfit = |what: &str| {
        AppError::input(
            format!("a {} entry has no other {what}", old.kind()),
            "correct what the entry says; `show` prints it",
        )
    };
    let mut new = old.clone();
    if let Some(pack) = right.pack {
        let stays = matches!(old, Event::PackAdded(_) | Event::PacksJoined(_));
        let was = pack_of(old).filter(|_| !stays).ok_or_else(|| misfit("pack"))?;
        if pack != was {
            let facts: PackFacts = ledger.facts(pack.into())?.unwrap_or_default();
            new = told_of(&new, was.uuid(), pack.uuid())?;
            match &mut new {
                // Another pack has a carton of its own, and speaks for it while it is new.
                Event::ReadingTaken(e) => e.carton = facts.sampled_carton(),
                Event::FindingSeen(e) => e.carton = facts.sampled_carton(),
                // The one that was not found in the player is not the one that was in it.
                Event::Removed(e) => e.found = true,
                _ => {}
            }
        }
    }
    if let Some(player) = right.player {
        match player_of(old).filter(|_| !matches!(old, Event::PlayerAdded(_))) {
            Some(was) => new = told_of(&new, was.uuid(), player.uuid())?,
            None if ride_of(old).is_some() || loan_of(old).is_some() => {}
            None => return Err(misfit("player")),
        }
    }
    if new != *old || matches!(old, Event::UseCounted(_)) {
        used_by(ledger, old, &mut new, right.player)?;
    }
    Ok(new)
}

/// Identities are drawn from one space: an event is told of another thing by putting one for the other.
fn told_of(event: &Event, was: Uuid, is: Uuid) -> Result<Event, LedgerError> {
    let what = || format!("a {} entry", event.kind());
    event.told_of(was, is).map_err(|source| LedgerError::Json { what: what(), source })
}

/// Works the use of a ride out anew, for the pack and the player that it is told of now.
fn used_by(
    ledger: &mut Ledger,
    old: &Event,
    new: &mut Event,
    player: Option<PlayerId>,
) -> Result<(), LedgerError> {
    let (Some(was), Some(pack)) = (pack_of(old), pack_of(new)) else { return Ok(()) };
    let facts: PackFacts = ledger.facts(pack.into())?.unwrap_or_default();
    let again = |ledger: &mut Ledger, player: PlayerId, used: Use| match used.basis {
        Basis::Counted(hours) => intake::counted(ledger, &facts, player, hours),
        Basis::Estimated { days } => intake::estimated(ledger, &facts, player, days),
        Basis::Unused => Ok(used),
    };
    match new {
        Event::Removed(e) => e.used = again(ledger, e.player, e.used)?,
        Event::UseCounted(e) => {
            let installed = |entry: &Entry| match &entry.event {
                Event::Installed(of) if of.ride == e.ride => Some(of.player),
                _ => None,
            };
            let rode_in = counting(ledger, was)?.iter().find_map(installed);
            if let Some(player) = player.or(rode_in) {
                e.was = again(ledger, player, e.was)?;
                e.used = again(ledger, player, e.used)?;
            }
        }
        _ => {}
    }
    Ok(())
}

/// A use that was estimated from the days between loan and return follows their dates.
fn estimates(ledger: &mut Ledger, changes: &mut Vec<Change>) -> Result<(), AppError> {
    let Some(first) = changes.first() else { return Ok(()) };
    if !matches!(first.old.event, Event::LoanBegan(_) | Event::Removed(_)) {
        return Ok(());
    }
    let entries = whole(ledger, &first.old.event)?;
    if entries.iter().any(|entry| matches!(entry.event, Event::UseCounted(_))) {
        return Ok(());
    }
    let now = |old: &Entry| {
        let changed = changes.iter().find(|change| change.old.position == old.position);
        changed.map_or_else(|| Some(old.event.clone()), |change| change.new.clone())
    };
    let told: Vec<Event> = entries.iter().filter_map(now).collect();
    let out = told.iter().filter_map(|event| match event {
        Event::LoanBegan(e) => Some(e.at),
        _ => None,
    });
    let Some(out) = out.max() else { return Ok(()) };
    for old in entries {
        let place = changes.iter().position(|change| change.old.position == old.position);
        let event = match place.and_then(|place| changes.get(place)) {
            Some(change) => change.new.clone(),
            None => Some(old.event.clone()),
        };
        let Some(Event::Removed(mut removed)) = event else { continue };
        if !matches!(removed.used.basis, Basis::Estimated { .. }) {
            continue;
        }
        let facts: PackFacts = ledger.facts(removed.pack.into())?.unwrap_or_default();
        let days = u32::try_from(removed.at.days_since(out).max(0)).unwrap_or(u32::MAX);
        removed.used = intake::estimated(ledger, &facts, removed.player, days)?;
        match place.and_then(|place| changes.get_mut(place)) {
            Some(change) => change.new = Some(removed.into()),
            None if Event::from(removed.clone()) != old.event => {
                changes.push(Change { old, new: Some(removed.into()) });
            }
            None => {}
        }
    }
    Ok(())
}

/// When an event happened, for those that happened at the bench or the desk.
const fn moment(event: &mut Event) -> Option<&mut Moment> {
    Some(match event {
        Event::LotReceived(e) => &mut e.at,
        Event::CartonClosed(e) => &mut e.at,
        Event::PlayerAdded(e) => &mut e.at,
        Event::PackAdded(e) => &mut e.at,
        Event::Installed(e) => &mut e.at,
        Event::Removed(e) => &mut e.at,
        Event::LoanBegan(e) => &mut e.at,
        Event::LoanEnded(e) => &mut e.at,
        Event::LoanMoved(e) => &mut e.at,
        Event::PlayerArrived(e) => &mut e.at,
        Event::PackFound(e) => &mut e.at,
        Event::PackPlaced(e) => &mut e.at,
        Event::Complained(e) => &mut e.at,
        Event::LoanWrittenOff(e) => &mut e.at,
        Event::FindingSeen(e) => &mut e.at,
        Event::SlotServiced(e) => &mut e.at,
        Event::RunBegan(e) => &mut e.at,
        Event::RunEnded(e) => &mut e.at,
        Event::ReadingTaken(e) => &mut e.at,
        Event::RoundDone(e) => &mut e.at,
        Event::Charged(e) => &mut e.at,
        Event::PacksJoined(e) => &mut e.at,
        Event::PackRetired(e) => &mut e.at,
        _ => return None,
    })
}
