//! Corrections: an entry of the past was wrong. It stays in the record and no longer counts; what should have stood there takes
//! its place in the same act, with initials and a reason, and the answer lists what stood on it.

mod stood;

use serde::Serialize;

use crate::domain::event::{EntryCorrected, Event};
use crate::domain::finding::Finding;
use crate::domain::ids::{PackId, Thing};
use crate::domain::moment::Moment;
use crate::domain::units::MilliampHours;
use crate::domain::verdict::Step;
use crate::ledger::entry::Entry;
use crate::ledger::{Ledger, LedgerError};

use super::answer::{Answer, Outcome, Told, count};
use super::error::AppError;
use super::judging::{self, Ask};
use super::lookup;
use super::session::Here;
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
    /// Another moment.
    pub at: Option<Moment>,
    /// Another finding.
    pub finding: Option<Finding>,
    /// Nothing at all: it never happened.
    pub nothing: bool,
}

/// A correction that was entered.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Corrected {
    /// What was done.
    pub answer: Answer,
    /// What stood on the entry, packs that are out now first.
    pub stood: Vec<Stood>,
    /// The verdicts now on the packs concerned that are not fit to be where they are, or changed.
    pub now: Vec<Told>,
}

/// Enters a correction.
///
/// # Errors
/// When nobody is signed on, no reason is given, there is no such entry, it was taken back or corrected already, or it is of a
/// kind that this does not mend.
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
    let old = entry.event.clone();
    let new = mended(&old, right, here.desk.now())?;
    let stood = stood::on(here.ledger, &entry)?;
    let mut concerned: Vec<PackId> = stood.iter().map(|line| line.id).collect();
    concerned.extend(packs(&old));
    concerned.extend(new.as_ref().map(packs).unwrap_or_default());
    concerned.sort_unstable();
    concerned.dedup();
    let before = looks(here, &concerned)?;
    let (writer, number) = (entry.position.writer, entry.position.number);
    let corrected = EntryCorrected {
        writer,
        number,
        what: old.kind().to_owned(),
        reason: reason.to_owned(),
        things: old.things(),
    };
    let mut events: Vec<Event> = vec![corrected.into()];
    events.extend(new.clone());
    here.desk.record(here.ledger, events)?;
    let now = looks(here, &concerned)?;
    let changed = now
        .into_iter()
        .zip(before)
        .filter(|(now, before)| now.verdict != before.verdict)
        .map(|(now, _)| now)
        .collect::<Vec<_>>();
    let words = |ledger: &mut Ledger, event: &Event| super::show::in_words(ledger, event);
    let was = words(here.ledger, &old)?;
    let text = match &new {
        Some(new) => format!("entry {number} was: {was}; now: {}", words(here.ledger, new)?),
        None => format!("entry {number} was: {was}; it no longer counts"),
    };
    let mut answer = Answer::done(text);
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
    if stood.iter().any(|line| line.out_now) {
        answer.outcome = Outcome::No;
        answer = answer.next("packs that are out now come first: call those back that would not pass");
    }
    Ok(Corrected { answer, stood, now: changed })
}

fn looks(here: &mut Here<'_>, packs: &[PackId]) -> Result<Vec<Told>, LedgerError> {
    let now = here.desk.now();
    let mut told = Vec::new();
    for &pack in packs {
        told.push(judging::look(here.ledger, Ask { pack, step: Step::Look, player: None, now })?.1);
    }
    Ok(told)
}

/// The packs that an event is about.
fn packs(event: &Event) -> Vec<PackId> {
    event.things().into_iter().filter_map(Thing::pack).collect()
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
    // Every entry that can be mended is about a pack first.
    for thing in entry.event.things().into_iter().take(1) {
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
    Ok(entry)
}

/// The event as it should have been; `None` when it should not be there at all.
fn mended(old: &Event, right: &Right, now: Moment) -> Result<Option<Event>, AppError> {
    let mendable = matches!(
        old,
        Event::ReadingTaken(_)
            | Event::RoundDone(_)
            | Event::Charged(_)
            | Event::FindingSeen(_)
            | Event::PackAdded(_)
            | Event::Complained(_)
    );
    if !mendable {
        return Err(AppError::input(
            format!("a {} entry is not corrected this way", old.kind()),
            "the last scan: undo; a due date: loan due; a policy, make or notice: enter it anew",
        ));
    }
    if right.at.is_some_and(|at| at > now) {
        return Err(AppError::input("the date lies ahead", "give the day on which it happened"));
    }
    if right.nothing {
        if *right != (Right { nothing: true, ..Right::default() }) {
            return Err(AppError::input(
                "--nothing says that it never happened",
                "give either what is right, or --nothing",
            ));
        }
        if matches!(old, Event::PackAdded(_)) {
            return Err(AppError::input(
                "a pack that was entered stays entered",
                "join it to the record that it belongs to: packmuster join",
            ));
        }
        return Ok(None);
    }
    let misfit = |what: &str| {
        AppError::input(
            format!("a {} entry has no {what}", old.kind()),
            "correct what the entry says; `show` prints it",
        )
    };
    let mut new = old.clone();
    match &mut new {
        Event::ReadingTaken(e) => {
            e.capacity = right.capacity.unwrap_or(e.capacity);
            e.at = right.at.unwrap_or(e.at);
            if let Some(pack) = right.pack {
                // Another pack has a carton of its own, and was not in that run.
                (e.pack, e.carton, e.run) = (pack, None, None);
            }
        }
        _ if right.capacity.is_some() => return Err(misfit("capacity")),
        Event::RoundDone(e) => {
            (e.at, e.pack) = (right.at.unwrap_or(e.at), right.pack.unwrap_or(e.pack));
        }
        Event::Charged(e) => {
            (e.at, e.pack) = (right.at.unwrap_or(e.at), right.pack.unwrap_or(e.pack));
        }
        Event::FindingSeen(e) => {
            e.finding = right.finding.unwrap_or(e.finding);
            e.at = right.at.unwrap_or(e.at);
            if let Some(pack) = right.pack {
                (e.pack, e.carton) = (pack, None);
            }
        }
        Event::PackAdded(e) if right.pack.is_none() => e.at = right.at.unwrap_or(e.at),
        Event::Complained(e) if right.pack.is_none() => e.at = right.at.unwrap_or(e.at),
        _ => return Err(misfit("other pack")),
    }
    if right.finding.is_some() && !matches!(new, Event::FindingSeen(_)) {
        return Err(misfit("finding"));
    }
    if new == *old {
        return Err(AppError::input(
            "nothing would change",
            "give what is right: --mah, --pack, --at or --finding; or --nothing if it never happened",
        ));
    }
    Ok(Some(new))
}

/// The pack that a code names, for the right one.
///
/// # Errors
/// When it names no pack.
pub fn pack(ledger: &mut Ledger, code: &str) -> Result<PackId, AppError> {
    let thing = lookup::find(ledger, code)?;
    thing
        .pack()
        .ok_or_else(|| AppError::input(format!("`{code}` is {}", thing.kind.one()), "give the tag of a pack"))
}
