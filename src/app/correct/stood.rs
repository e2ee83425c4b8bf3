//! What stood on an entry: the verdicts and dispatches that were given while it counted.

use std::collections::HashSet;

use serde::Serialize;

use crate::domain::event::Event;
use crate::domain::facts::{CartonFacts, Facts};
use crate::domain::ids::{PackId, Thing};
use crate::domain::pack::PackFacts;
use crate::domain::position::Position;
use crate::domain::verdict::{Rule, Verdict};
use crate::ledger::entry::Entry;
use crate::ledger::{Ledger, LedgerError};

use crate::app::lookup;

/// One verdict or dispatch.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Stood {
    /// The pack.
    #[serde(skip)]
    pub id: PackId,
    /// Its tag.
    pub pack: String,
    /// "verdict" or "dispatch".
    pub what: &'static str,
    /// When, in local time.
    pub when: String,
    /// In words.
    pub text: String,
    /// The pack is out by this very dispatch.
    pub out_now: bool,
}

/// Verdicts and dispatches that stood on some entries, packs that are out now first, then in the order in which they were given.
pub(super) fn on(ledger: &mut Ledger, entries: &[&Entry]) -> Result<Vec<Stood>, LedgerError> {
    let mut stood: Vec<(Position, Stood)> = Vec::new();
    for entry in entries {
        for thing in entry.event.things() {
            if let Some(pack) = thing.pack() {
                of_pack(ledger, pack, entry, false, &mut stood)?;
            }
            let Facts::Carton(_) = Facts::unknown(thing.kind) else { continue };
            for mate in mates(ledger, thing)? {
                if !entry.event.things().contains(&mate.into()) {
                    of_pack(ledger, mate, entry, true, &mut stood)?;
                }
            }
        }
    }
    let mut told = HashSet::new();
    stood.retain(|(position, line)| told.insert((*position, line.id)));
    // A stable sort: within each half, packs in the order found, and each pack's lines in the order in which they were given.
    stood.sort_by_key(|(_, line)| !line.out_now);
    Ok(stood.into_iter().map(|(_, line)| line).collect())
}

/// The packs of a carton.
fn mates(ledger: &mut Ledger, carton: Thing) -> Result<Vec<PackId>, LedgerError> {
    let facts: CartonFacts = ledger.facts(carton)?.unwrap_or_default();
    let mut mates: Vec<PackId> = Vec::with_capacity(usize::try_from(facts.packs).unwrap_or_default());
    for (other, wrong) in ledger.history(carton)? {
        if let (Event::PackAdded(e), false) = (&other.event, wrong) {
            mates.push(e.pack);
        }
    }
    Ok(mates)
}

/// Walks a pack's story; `mate` says that the entry is about another pack of its carton.
fn of_pack(
    ledger: &mut Ledger,
    pack: PackId,
    entry: &Entry,
    mate: bool,
    stood: &mut Vec<(Position, Stood)>,
) -> Result<(), LedgerError> {
    let now: PackFacts = ledger.facts(pack.into())?.unwrap_or_default();
    let mut then = PackFacts::default();
    for (other, wrong) in ledger.history(pack.into())? {
        if wrong {
            continue;
        }
        // A reading and the verdict on it are one act: the verdict comes after.
        let later = other.position > entry.position
            || (other.position == entry.position && matches!(other.event, Event::LoanBegan(_)));
        if later && bears(&then, &entry.event, &other.event, mate) {
            let (what, text, out_now) = match &other.event {
                Event::VerdictGiven(e) => ("verdict", format!("{} at {}", e.verdict, e.step), false),
                Event::LoanBegan(e) => {
                    let player = lookup::name_of(ledger, e.player.into())?;
                    let out = now.loan.is_some_and(|loan| loan.loan == e.loan);
                    let state = if out { ", and is out now" } else { "" };
                    ("dispatch", format!("went out with player {player}, due {}{state}", e.due), out)
                }
                _ => continue,
            };
            let line = Stood {
                id: pack,
                pack: lookup::label(&now.codes),
                what,
                when: other.recorded.local(ledger.zone()),
                text,
                out_now,
            };
            stood.push((other.position, line));
        }
        then.apply(pack, &other.event);
    }
    Ok(())
}

/// True when a verdict or dispatch that was given on these facts rests on the entry.
fn bears(facts: &PackFacts, entry: &Event, given: &Event, mate: bool) -> bool {
    if mate {
        // The carton speaks for a pack that has no reading of its own.
        return facts.counting().next().is_none()
            && match given {
                Event::VerdictGiven(e) => {
                    e.verdict == Verdict::Fit || e.reasons.iter().any(|(rule, _)| *rule == Rule::Carton)
                }
                Event::LoanBegan(_) => facts.loans == 0,
                _ => false,
            };
    }
    match entry {
        Event::ReadingTaken(e) => {
            facts.counting().any(|reading| reading.at == e.at && reading.capacity == e.capacity)
        }
        Event::RoundDone(e) => facts.rounds.contains(&e.at) && facts.returned.is_none_or(|at| e.at > at),
        Event::Charged(e) => facts.last_charge() == Some(e.at),
        Event::FindingSeen(e) => facts.findings.contains(&(e.finding, e.at)),
        _ => true,
    }
}
