//! Corrections: an entry of the past was wrong. It stays in the record and no longer counts; what should have stood there takes
//! its place in the same act, with initials and a reason, and the answer lists what stood on it.

mod plan;
mod stood;

use serde::Serialize;

use crate::domain::event::{EntryCorrected, Event, RunBegan, RunEnded};
use crate::domain::finding::Finding;
use crate::domain::ids::{PackId, PlayerId, Thing, ThingKind};
use crate::domain::moment::Moment;
use crate::domain::pack::PackFacts;
use crate::domain::units::MilliampHours;
use crate::domain::verdict::Step;
use crate::ledger::entry::Entry;
use crate::ledger::{Ledger, LedgerError};

use super::answer::{Answer, Outcome, Told, count};
use super::clash;
use super::desk;
use super::error::AppError;
use super::judging::{self, Ask};
use super::lookup;
use super::session::Here;
use plan::Change;
pub use stood::Stood;

/// Longest reason, in characters.
const REASON: usize = 200;

/// What should have been entered.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Right {
    /// Another capacity.
    pub capacity: Option<MilliampHours>,
    /// Another pack.
    pub pack: Option<PackId>,
    /// Another player.
    pub player: Option<PlayerId>,
    /// Another make, by name.
    pub make: Option<String>,
    /// Another moment.
    pub at: Option<Moment>,
    /// Another finding.
    pub finding: Option<Finding>,
    /// Nothing at all: it never happened.
    pub nothing: bool,
}

/// An entry that no longer counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Mended {
    /// Its number in its chain.
    pub entry: u64,
    /// Its kind.
    pub kind: &'static str,
    /// Another stands in its place.
    pub replaced: bool,
}

/// A correction that was entered.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Corrected {
    /// What was done.
    pub answer: Answer,
    /// The entries that no longer count: the one that was named first, then those that were wrong with it.
    pub entries: Vec<Mended>,
    /// What stood on them, packs that are out now first.
    pub stood: Vec<Stood>,
    /// The verdicts now on the packs concerned that are not fit to be where they are, or changed.
    pub now: Vec<Told>,
}

/// Enters a correction.
///
/// # Errors
/// When nobody is signed on, no reason is given, there is no such entry, it was taken back or corrected already, it is of a kind
/// that this does not mend, or the rest of the record says that it cannot have been so. Nothing is written then.
pub fn correct(here: &mut Here<'_>, entry: &str, right: &Right, reason: &str) -> Result<Corrected, AppError> {
    if here.desk.operator.is_none() {
        return Err(AppError::input(
            "nobody is signed on, and a correction bears somebody's initials",
            "give --operator INITIALS",
        ));
    }
    let reason = reason.trim();
    if reason.is_empty() || reason.chars().count() > REASON {
        return Err(AppError::input(
            format!("the reason is `{reason}`"),
            format!("say in 1 to {REASON} characters why the entry was wrong"),
        ));
    }
    let entry = find(here.ledger, entry)?;
    let changes = plan::plan(here.ledger, &entry, right, here.desk.now())?;
    for change in &changes {
        still_counts(here.ledger, &change.old)?;
    }
    let olds: Vec<&Entry> = changes.iter().map(|change| &change.old).collect();
    let stood = stood::on(here.ledger, &olds)?;
    let (events, things) = events(here.ledger, &changes, reason)?;
    let mut concerned: Vec<PackId> = stood.iter().map(|line| line.id).collect();
    concerned.extend(things.iter().filter_map(|thing| thing.pack()));
    for pack in &mut concerned {
        *pack = here.ledger.joined_to(*pack)?;
    }
    concerned.sort_unstable();
    concerned.dedup();
    let before = looks(here, &concerned)?;
    write(here, events, &things)?;
    let now = looks(here, &concerned)?;
    let mut changed = Vec::new();
    for ((now, before), &pack) in now.into_iter().zip(before).zip(&concerned) {
        // A pack that is found to be out has not been judged for it.
        if now.verdict != before.verdict || (right.pack == Some(pack) && is_out(here.ledger, pack)?) {
            changed.push(now);
        }
    }
    let mut answer = Answer::done(in_words(here.ledger, &changes)?);
    let lines = |kind: &str| stood.iter().filter(|line| line.what == kind).count();
    answer = answer.and(match (lines("verdict"), lines("dispatch")) {
        (0, 0) => "nothing stood on it".to_owned(),
        (verdicts, 0) => format!("{} stood on it", count(verdicts, "verdict", "verdicts")),
        (verdicts, dispatches) => format!(
            "{} and {} stood on it",
            count(verdicts, "verdict", "verdicts"),
            count(dispatches, "dispatch", "dispatches")
        ),
    });
    let other_out = match right.pack {
        Some(pack) => is_out(here.ledger, pack)?,
        None => false,
    };
    if other_out || stood.iter().any(|line| line.out_now) {
        answer.outcome = Outcome::No;
        answer = answer.next("packs that are out now come first: call those back that would not pass");
    }
    let entries = changes
        .iter()
        .map(|Change { old, new }| Mended {
            entry: old.position.number,
            kind: old.event.kind(),
            replaced: new.is_some(),
        })
        .collect();
    Ok(Corrected { answer, entries, stood, now: changed })
}

fn is_out(ledger: &mut Ledger, pack: PackId) -> Result<bool, LedgerError> {
    let facts: Option<PackFacts> = ledger.facts(pack.into())?;
    Ok(facts.is_some_and(|facts| facts.loan.is_some()))
}

/// Each correction with what takes the entry's place, and the things that they are about.
fn events(
    ledger: &mut Ledger,
    changes: &[Change],
    reason: &str,
) -> Result<(Vec<Event>, Vec<Thing>), LedgerError> {
    let mut events = Vec::new();
    let mut all = Vec::new();
    for Change { old, new } in changes {
        let new = desk::told_of_joined(ledger, new.iter().cloned().collect())?;
        let mut things = old.event.things();
        things.extend(new.iter().flat_map(Event::things));
        things.sort_unstable();
        things.dedup();
        all.extend(&things);
        let corrected = EntryCorrected {
            writer: old.position.writer,
            number: old.position.number,
            stands: ledger.stands(old)?,
            what: old.event.kind().to_owned(),
            reason: reason.to_owned(),
            things,
        };
        events.push(corrected.into());
        events.extend(new);
    }
    all.sort_unstable();
    all.dedup();
    Ok((events, all))
}

/// Writes the correction, unless the record would then tell what cannot have been.
fn write(here: &mut Here<'_>, events: Vec<Event>, things: &[Thing]) -> Result<(), AppError> {
    // A slot holds years of readings; only a corrected run changes what it held when.
    let runs = events.iter().any(|event| matches!(event, Event::EntryCorrected(e) if e.what == RunBegan::KIND || e.what == RunEnded::KIND));
    let mut walked = clash::with_holders(here.ledger, things)?;
    walked.retain(|thing| runs || thing.kind != ThingKind::Slot);
    let before = clash::of(here.ledger, &walked)?;
    let desk = &mut *here.desk;
    here.ledger.transact(|ledger| {
        desk.record(ledger, events)?;
        let after = clash::of(ledger, &walked)?;
        if let Some((thing, clash)) = clash::new_one(&before, &after) {
            return Err(AppError::input(
                format!("{} {}", clash::name(ledger, thing)?, clash.words()),
                "nothing is corrected; `show` prints its entries: correct the one that is in the way first",
            ));
        }
        Ok(())
    })
}

/// What was entered and what counts now, in words.
fn in_words(ledger: &mut Ledger, changes: &[Change]) -> Result<String, LedgerError> {
    let Some((first, more)) = changes.split_first() else { return Ok(String::new()) };
    let number = first.old.position.number;
    let was = super::show::in_words(ledger, &first.old.event)?;
    let mut text = match &first.new {
        Some(new) if *new != first.old.event => {
            let new = super::show::in_words(ledger, new)?;
            if new == was {
                format!("entry {number} is corrected: {was}")
            } else {
                format!("entry {number} was: {was}; now: {new}")
            }
        }
        _ => format!("entry {number} was: {was}; it no longer counts"),
    };
    if !more.is_empty() {
        let numbers: Vec<String> = more.iter().map(|change| change.old.position.number.to_string()).collect();
        text = format!("{text}; with it {}", numbers.join(", "));
    }
    Ok(text)
}

fn looks(here: &mut Here<'_>, packs: &[PackId]) -> Result<Vec<Told>, LedgerError> {
    let now = here.desk.now();
    let mut told = Vec::new();
    for &pack in packs {
        told.push(
            judging::look(here.ledger, Ask { pack, step: Step::Look, player: None, due: None, now })?.1,
        );
    }
    Ok(told)
}

/// Refuses an entry that was taken back or corrected already.
fn still_counts(ledger: &mut Ledger, entry: &Entry) -> Result<(), AppError> {
    let number = entry.position.number;
    // A slot's story keeps what was corrected; all others mark it.
    for thing in entry.event.things().into_iter().filter(|thing| thing.kind != ThingKind::Slot).take(1) {
        let wrong = ledger
            .history(thing)?
            .into_iter()
            .any(|(other, wrong)| wrong && other.position == entry.position);
        if wrong {
            return Err(AppError::input(
                format!("entry {number} was taken back or corrected already"),
                "correct the entry that took its place; `show` prints it",
            ));
        }
    }
    Ok(())
}

/// The entry of a number ("812", or "Tarvay:812" where the ledger has several sites).
fn find(ledger: &mut Ledger, text: &str) -> Result<Entry, AppError> {
    let unknown = || {
        AppError::input(
            format!("there is no entry `{text}`"),
            "give its number as `show` prints it; with several sites, as Site:number",
        )
    };
    let (site, number) = match text.rsplit_once(':') {
        Some((site, number)) => (Some(site), number),
        None => (None, text),
    };
    let number: u64 = number.trim().parse().map_err(|_no_number| unknown())?;
    let writer = match site {
        None => ledger.own().map(|own| own.writer).ok_or_else(unknown)?,
        Some(site) => {
            let sites = ledger.sites()?;
            let found = sites.into_iter().find(|(_, name, _)| name.eq_ignore_ascii_case(site.trim()));
            found.map(|(_, _, writer)| writer).ok_or_else(unknown)?
        }
    };
    let entry = ledger.entry_at(writer, number)?.ok_or_else(unknown)?;
    Ok(entry)
}

/// The pack that a code names, for the right one.
///
/// # Errors
/// When it names no pack.
pub fn pack(ledger: &mut Ledger, code: &str) -> Result<PackId, AppError> {
    let thing = lookup::find(ledger, code)?;
    let pack = thing.pack().ok_or_else(|| {
        AppError::input(format!("`{code}` is {}", thing.kind.one()), "give the tag of a pack")
    })?;
    Ok(ledger.joined_to(pack)?)
}

/// The player that a code names, for the right one.
///
/// # Errors
/// When it names no player.
pub fn player(ledger: &mut Ledger, code: &str) -> Result<PlayerId, AppError> {
    let thing = lookup::find(ledger, code)?;
    thing.player().ok_or_else(|| {
        AppError::input(format!("`{code}` is {}", thing.kind.one()), "give the tag of a player")
    })
}
