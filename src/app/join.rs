//! Joining two records that turn out to be one pack.

use crate::domain::event::PacksJoined;
use crate::domain::ids::{PackId, Thing};
use crate::domain::pack::PackFacts;
use crate::ledger::{Ledger, LedgerError};

use super::answer::Answer;
use super::clash::{self, Clash};
use super::correct;
use super::error::AppError;
use super::lookup;
use super::session::Here;

/// Joins two records: what was entered for either belongs to the older one from now on, and every code of both names it.
///
/// # Errors
/// When a code names no pack, both are the same, or both are somewhere at once.
pub fn join(here: &mut Here<'_>, one: &str, other: &str) -> Result<Answer, AppError> {
    let (one, other) = (correct::pack(here.ledger, one)?, correct::pack(here.ledger, other)?);
    if one == other {
        return Err(AppError::input("both codes name one pack already", "give a code of each record"));
    }
    let facts = |here: &mut Here<'_>, pack: PackId| -> Result<PackFacts, AppError> {
        Ok(here.ledger.facts(pack.into())?.unwrap_or_default())
    };
    let (first, second) = (facts(here, one)?, facts(here, other)?);
    // The older record knows more: the younger one came about when a tag could not be read.
    let (keep, kept, gone, lost) = if (first.added, one) <= (second.added, other) {
        (one, first, other, second)
    } else {
        (other, second, one, first)
    };
    if kept.make.is_some() && lost.make.is_some() && kept.make != lost.make {
        return Err(AppError::input(
            "the two records are of different makes",
            "they cannot be one pack; if a make was entered wrong, correct that entry first: correct NUMBER --make NAME",
        ));
    }
    let busy = |facts: &PackFacts| facts.ride.is_some() || facts.run.is_some();
    if busy(&kept) && busy(&lost) {
        return Err(AppError::input(
            "by the ledger both are in a player or slot now, and one pack cannot be",
            "take one of them in first, with `intake` or `bench`",
        ));
    }
    let mut holders: Vec<Thing> = lost.codes.iter().map(|code| Thing::code(code)).collect();
    holders.extend(lost.ride.map(|ride| Thing::from(ride.player)));
    holders.extend(lost.loan.map(|loan| Thing::from(loan.loan)));
    holders.extend(lost.consigned.map(|consigned| Thing::from(consigned.consignment)));
    holders.extend(lost.run.map(|run| Thing::from(run.slot)));
    let at = here.desk.now();
    let things = clash::with_holders(here.ledger, &[keep.into(), gone.into()])?;
    let halves = |ledger: &mut Ledger| {
        let clashes = clash::of(ledger, &things)?;
        Ok::<_, LedgerError>(clashes.into_iter().filter(|((_, clash), _)| *clash == Clash::Halves).collect())
    };
    let before = halves(here.ledger)?;
    let desk = &mut *here.desk;
    here.ledger.transact(|ledger| {
        desk.record(ledger, vec![PacksJoined { keep, gone, holders, at }.into()])?;
        if let Some((thing, clash)) = clash::new_one(&before, &halves(ledger)?) {
            return Err(AppError::input(
                format!("{} {}", clash::name(ledger, thing)?, clash.words()),
                "the two were in use at one time: take the pack out where it is not, with `intake` or `bench`, then join",
            ));
        }
        Ok(())
    })?;
    let facts = facts(here, keep)?;
    let name = lookup::label(&facts.codes);
    Ok(Answer::done(format!("one pack from now on: {name}, known by {}", facts.codes.join(", ")))
        .and(format!("{} readings, {} loans", facts.readings.len(), facts.loans)))
}
