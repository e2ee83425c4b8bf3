//! What is said of the pack on the desk, whatever the session: something was seen on it, it was charged, a round is done.

use crate::domain::event::{Charged, Event, FindingSeen};
use crate::domain::finding::Finding;
use crate::domain::ids::PackId;
use crate::domain::pack::PackFacts;
use crate::domain::verdict::Step;

use super::answer::Answer;
use super::error::AppError;
use super::intake::severity;
use super::judging::{self, Ask};
use super::session::Here;

/// Enters one event of a pack with the verdict that follows from it.
///
/// # Errors
/// A fault of the ledger.
pub(crate) fn enter(here: &mut Here<'_>, pack: PackId, step: Step, event: Event) -> Result<Answer, AppError> {
    let ask = Ask { pack, step, player: None, now: here.desk.now() };
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

/// The answer when no pack lies on the desk yet.
pub(crate) fn none(next: &str) -> Answer {
    Answer::unclear("no pack is scanned yet", next)
}
