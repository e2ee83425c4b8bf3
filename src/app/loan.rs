//! Loans change while they are out: renewed, their date mended, complained of, given up.

use jiff::civil::Date;

use crate::domain::event::{Complained, LoanMoved, LoanWrittenOff};
use crate::domain::facts::{LoanFacts, PlayerFacts};
use crate::domain::ids::{LoanId, PackId, PlayerId, Thing, ThingKind};
use crate::domain::moment::days_between;
use crate::domain::pack::PackFacts;
use crate::domain::units::PlayHours;
use crate::ledger::Ledger;

use super::answer::{Answer, count};
use super::error::AppError;
use super::lookup;
use super::session::Here;

/// Longest reference, in characters.
const REFERENCE: usize = 64;

/// A loan that is out.
#[derive(Debug, Clone, Copy)]
pub struct Open {
    /// The loan.
    pub loan: LoanId,
    /// The player.
    pub player: PlayerId,
    /// The pack that it began with.
    pub pack: PackId,
    /// When it is due.
    pub due: Date,
}

/// Finds a loan that is out: by its reference, or by a code of its player or pack.
///
/// # Errors
/// When nothing that is out is known by that text.
pub fn find(ledger: &mut Ledger, text: &str) -> Result<Open, AppError> {
    let mut players: Vec<PlayerId> = Vec::new();
    for loan in ledger.loans_referred(text.trim())? {
        let facts: LoanFacts = ledger.facts(loan.into())?.unwrap_or_default();
        if facts.ended.is_none() {
            players.extend(facts.player);
        }
    }
    let player = match players.as_slice() {
        [only] => *only,
        [] => by_code(ledger, text)?,
        _ => {
            return Err(AppError::input(
                format!("several loans that are out have the reference `{text}`"),
                "scan the player",
            ));
        }
    };
    let facts: PlayerFacts = ledger.facts(player.into())?.unwrap_or_default();
    let Some((loan, pack, _, due)) = facts.loan else {
        return Err(AppError::input(
            format!("player {} is not on a loan", lookup::label(&facts.codes)),
            "give the player of a loan that is out, or the loan's reference",
        ));
    };
    Ok(Open { loan, player, pack, due })
}

fn by_code(ledger: &mut Ledger, text: &str) -> Result<PlayerId, AppError> {
    let thing = lookup::find(ledger, text)?;
    let of_pack = |ledger: &mut Ledger, thing: Thing| -> Result<Option<PlayerId>, AppError> {
        let facts: PackFacts = ledger.facts(thing)?.unwrap_or_default();
        let Some(open) = facts.loan else { return Ok(None) };
        Ok(ledger.facts::<LoanFacts>(open.loan.into())?.and_then(|facts| facts.player))
    };
    let player = match thing.kind {
        ThingKind::Player => thing.player(),
        ThingKind::Pack => of_pack(ledger, thing)?,
        _ => None,
    };
    player.ok_or_else(|| {
        AppError::input(
            format!("`{text}` names no loan that is out"),
            "give the player, its pack, or the loan's reference",
        )
    })
}

/// Moves the due date: the loan was renewed, or the date had been wrong.
///
/// # Errors
/// When the loan is not out, or the date is past, the same, or beyond the policy's longest loan.
pub fn due(here: &mut Here<'_>, loan: &str, due: Date, renewed: bool) -> Result<Answer, AppError> {
    let open = find(here.ledger, loan)?;
    let now = here.desk.now();
    let today = now.day(here.ledger.zone());
    let days = days_between(today, due);
    let longest = here.ledger.settings()?.policy.longest_loan_days;
    if days <= 0 {
        return Err(AppError::input(format!("due {due} is not after today, {today}"), "give a later date"));
    }
    if days > i64::from(longest) {
        return Err(AppError::input(
            format!("due {due} is {days} days away, and the longest loan is {longest} days"),
            "give an earlier date",
        ));
    }
    if due == open.due {
        return Err(AppError::input(format!("it is due {due} already"), "give another date"));
    }
    let Open { loan, player, pack, due: was } = open;
    here.desk
        .record(here.ledger, vec![LoanMoved { loan, player, pack, was, due, renewed, at: now }.into()])?;
    let name = lookup::name_of(here.ledger, player.into())?;
    let what = if renewed { "renewed" } else { "corrected" };
    Ok(Answer::done(format!("player {name}: {what}, due {due} instead of {was}")))
}

/// Enters what the borrower says: it stops too early.
///
/// # Errors
/// When the loan is not out.
pub fn complain(here: &mut Here<'_>, loan: &str, after: Option<PlayHours>) -> Result<Answer, AppError> {
    let Open { loan, player, pack, .. } = find(here.ledger, loan)?;
    let at = here.desk.now();
    here.desk.record(here.ledger, vec![Complained { loan, player, pack, after, at }.into()])?;
    let name = lookup::name_of(here.ledger, player.into())?;
    let pack = lookup::pack_name(here.ledger, pack)?;
    let said = after.map_or_else(|| "early".to_owned(), |hours| format!("after {hours}"));
    Ok(Answer::done(format!("player {name} stops {said}: entered for pack {pack}"))
        .and("the pack needs a new reading before it goes out again"))
}

/// Gives a loan up: player and pack are written off, until they turn up.
///
/// # Errors
/// When the loan is not out, not overdue, or written off already.
pub fn write_off(here: &mut Here<'_>, loan: &str) -> Result<Answer, AppError> {
    let Open { loan, player, pack, due } = find(here.ledger, loan)?;
    let facts: PlayerFacts = here.ledger.facts(player.into())?.unwrap_or_default();
    let name = lookup::label(&facts.codes);
    let now = here.desk.now();
    let today = now.day(here.ledger.zone());
    if let Some(at) = facts.written_off {
        let day = at.day(here.ledger.zone());
        return Err(AppError::input(
            format!("player {name} was written off on {day}"),
            "nothing is left to do",
        ));
    }
    if due >= today {
        return Err(AppError::input(
            format!("player {name} is due {due}, and today is {today}"),
            "write off what is overdue; for a wrong date: packmuster loan due",
        ));
    }
    here.desk.record(here.ledger, vec![LoanWrittenOff { loan, player, pack, at: now }.into()])?;
    let pack = lookup::pack_name(here.ledger, pack)?;
    let late = days_between(due, today);
    Ok(Answer::done(format!("player {name} and pack {pack} are written off, {late} days overdue"))
        .and("if they come back, `intake` takes them in as ever"))
}

/// Keeps the reference of a loan that is out, in the file that can be erased.
///
/// # Errors
/// When the loan is not out, or the reference is empty or too long.
pub fn refer(here: &mut Here<'_>, loan: &str, text: &str) -> Result<Answer, AppError> {
    let text = text.trim();
    let Open { loan, player, .. } = find(here.ledger, loan)?;
    note(here, loan, player, text)
}

/// Refuses what is no reference.
fn check_reference(text: &str) -> Result<(), AppError> {
    if text.is_empty() || text.chars().count() > REFERENCE || text.chars().any(char::is_control) {
        return Err(AppError::input(
            format!("`{text}` is no reference"),
            format!("give 1 to {REFERENCE} characters; a number of the lending desk, no name"),
        ));
    }
    Ok(())
}

/// Keeps the reference of a loan.
pub(crate) fn note(
    here: &mut Here<'_>,
    loan: LoanId,
    player: PlayerId,
    text: &str,
) -> Result<Answer, AppError> {
    check_reference(text)?;
    here.ledger.refer(loan, text, here.desk.now())?;
    // Whoever adds to the file keeps it short.
    erase(here)?;
    let name = lookup::name_of(here.ledger, player.into())?;
    Ok(Answer::done(format!("the loan of player {name} is known as {text}"))
        .and("the reference is kept beside the ledger, and can be erased"))
}

/// Erases the references of loans that ended longer ago than the policy keeps them.
///
/// # Errors
/// A fault of the files.
pub fn erase(here: &mut Here<'_>) -> Result<Answer, AppError> {
    let days = here.ledger.settings()?.policy.keep_reference_days;
    let before = here.desk.now().plus_days(-i64::from(days));
    let erased = here.ledger.erase_references(before)?;
    let erased = count(erased, "reference", "references");
    Ok(Answer::done(format!("{erased} of loans that ended over {days} days ago erased")))
}
