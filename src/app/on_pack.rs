//! What is said of the pack on the desk, whatever the session: something was seen on it, it was charged, a round is done.

use crate::domain::event::{Charged, Event, FindingSeen, PackFound, PackPlaced, PackRetired};
use crate::domain::facts::PlaceFacts;
use crate::domain::finding::{CAUTIONS, Finding};
use crate::domain::ids::{PackId, PlaceId};
use crate::domain::pack::PackFacts;
use crate::domain::verdict::{Step, Verdict};

use super::answer::Answer;
use super::error::AppError;
use super::intake::severity;
use super::judging::{self, Ask};
use super::lookup;
use super::session::Here;

/// What to do with a pack that left and lies here.
pub(crate) const APART: &str = "keep it apart, and ask whoever sent that consignment";

/// Enters one event of a pack with the verdict that follows from it.
///
/// # Errors
/// A fault of the ledger.
pub(crate) fn enter(here: &mut Here<'_>, pack: PackId, step: Step, event: Event) -> Result<Answer, AppError> {
    let ask = Ask { pack, step, player: None, due: None, now: here.desk.now() };
    let mut events = vec![event];
    let (ruling, told) = judging::with_verdict(here.ledger, ask, &mut events)?;
    here.desk.record(here.ledger, events)?;
    Ok(Answer::verdict(told, Vec::new(), severity(ruling.verdict)))
}

/// Enters what was seen on a pack; while it is new, that concerns its carton too.
///
/// # Errors
/// A fault of the ledger.
pub(crate) fn seen(
    here: &mut Here<'_>,
    pack: PackId,
    step: Step,
    finding: Finding,
) -> Result<Answer, AppError> {
    let facts: PackFacts = here.ledger.facts(pack.into())?.unwrap_or_default();
    let event = FindingSeen { pack, finding, carton: facts.sampled_carton(), at: here.desk.now() };
    enter(here, pack, step, event.into())
}

/// Enters a charge.
///
/// # Errors
/// A fault of the ledger.
pub(crate) fn charged(here: &mut Here<'_>, pack: PackId, step: Step) -> Result<Answer, AppError> {
    let at = here.desk.now();
    enter(here, pack, step, Charged { pack, at }.into())
}

/// Puts a pack into a place, or objects when that is a tray for another verdict.
///
/// # Errors
/// A fault of the ledger.
pub(crate) fn put(here: &mut Here<'_>, pack: PackId, place: PlaceId) -> Result<Answer, AppError> {
    let now = here.desk.now();
    let facts: PackFacts = here.ledger.facts(pack.into())?.unwrap_or_default();
    let name = lookup::label(&facts.codes);
    if let Some(answer) = back(here, pack, &facts)? {
        return Ok(answer);
    }
    if let Some(consigned) = facts.consigned {
        let of = lookup::name_of(here.ledger, consigned.consignment.into())?;
        return Ok(Answer::no(format!("pack {name} is in box {} of consignment {of}", consigned.number))
            .next("it stays there; `consignment pack` takes it out again"));
    }
    if let Some(elsewhere) = elsewhere(here, &facts)? {
        return Ok(Answer::no(format!("pack {name} is {elsewhere}: it cannot lie in a tray"))
            .next("take it in first, with `intake`, or give the result of its run"));
    }
    let (ruling, told) =
        judging::look(here.ledger, Ask { pack, step: Step::Look, player: None, due: None, now })?;
    let tray: PlaceFacts = here.ledger.facts(place.into())?.unwrap_or_default();
    if let Some(takes) = tray.tray.filter(|takes| *takes != ruling.verdict) {
        let right = told.tray.map_or_else(
            || format!("a tray for {}; none is declared yet (packmuster place add)", ruling.verdict),
            |right| format!("put it into {right}, and scan that"),
        );
        let text =
            format!("{} takes {takes}, and pack {name} is {}; nothing is entered", tray.name, ruling.verdict);
        return Ok(Answer::no(text).next(right));
    }
    let mut events = vec![PackPlaced { pack, place, at: now }.into()];
    let mut answer = Answer::done(format!("pack {name}, {}, lies in {}", ruling.verdict, tray.name));
    // A dead pack becomes waste when it is laid with the others.
    if tray.tray == Some(Verdict::Recycle) && facts.retired.is_none() {
        events.push(PackRetired { pack, at: now }.into());
        answer = answer.and("retired: it waits for the recycler");
    }
    if ruling.verdict == Verdict::Isolate {
        answer = answer.and(CAUTIONS);
    }
    here.desk.record(here.ledger, events)?;
    Ok(answer)
}

/// A pack that left with a consignment lies here again: that is entered, and said.
///
/// # Errors
/// A fault of the ledger.
pub(crate) fn back(here: &mut Here<'_>, pack: PackId, facts: &PackFacts) -> Result<Option<Answer>, AppError> {
    let Some(gone) = gone(here, facts)? else { return Ok(None) };
    let at = here.desk.now();
    here.desk.record(here.ledger, vec![PackFound { pack, at }.into()])?;
    let text = format!("pack {} {gone}, and is here", lookup::label(&facts.codes));
    Ok(Some(Answer::no(text).next(APART)))
}

/// With which consignment a pack left, and when, if it did.
///
/// # Errors
/// A fault of the ledger.
pub(crate) fn gone(here: &mut Here<'_>, facts: &PackFacts) -> Result<Option<String>, AppError> {
    let Some((consigned, left)) = facts.consigned.zip(facts.left()) else { return Ok(None) };
    let of = lookup::name_of(here.ledger, consigned.consignment.into())?;
    Ok(Some(format!("left with consignment {of} on {}", left.day(here.ledger.zone()))))
}

/// Where a pack is by the ledger, if that is no place to take it from.
///
/// # Errors
/// A fault of the ledger.
pub(crate) fn elsewhere(here: &mut Here<'_>, facts: &PackFacts) -> Result<Option<String>, AppError> {
    Ok(if facts.loan.is_some() {
        Some("out on a loan".to_owned())
    } else if let Some(run) = facts.run {
        Some(format!("in {}", lookup::name_of(here.ledger, run.slot.into())?))
    } else if let Some(ride) = facts.ride {
        Some(format!("in player {}", lookup::name_of(here.ledger, ride.player.into())?))
    } else {
        None
    })
}

/// The answer when no pack lies on the desk yet.
pub(crate) fn none(next: &str) -> Answer {
    Answer::unclear("no pack is scanned yet", next)
}
