//! What is known of a pack, and what is foreseen of it.

use crate::app::judging;
use crate::app::lookup::{name_of, pack_name};
use crate::domain::event::Origin;
use crate::domain::ids::{PackId, Thing};
use crate::domain::moment::Moment;
use crate::domain::pack::PackFacts;
use crate::ledger::{Ledger, LedgerError};
use crate::policy::foresight::Foresight as _;
use crate::policy::limits::{limit, thirstiest};

/// Days on loan from now on, and the words for them.
const AHEAD: [(u32, &str); 4] = [(0, "now"), (90, "in 90 days"), (180, "in 180 days"), (360, "in 360 days")];

/// What is known of a pack: words and their values.
pub(super) fn facts(
    ledger: &mut Ledger,
    thing: Thing,
    now: Moment,
) -> Result<Vec<(String, String)>, LedgerError> {
    let facts: PackFacts = ledger.facts(thing)?.unwrap_or_default();
    let unknown = || "unknown".to_owned();
    let mut rows = Vec::new();
    let mut say = |word: &str, value: String| rows.push((word.to_owned(), value));
    say("codes", facts.codes.join(", "));
    say("origin", facts.origin().to_string());
    if let Some(lot) = facts.lot {
        say("lot", name_of(ledger, lot.into())?);
    }
    if let Some(carton) = facts.carton {
        say("carton", name_of(ledger, carton.into())?);
    }
    if let Some(serial) = &facts.serial {
        say("serial", serial.clone());
    }
    say("made", facts.made.map_or_else(unknown, |made| made.to_string()));
    let mut notes = Vec::new();
    if facts.cycles_estimated() {
        notes.push("partly estimated");
    }
    if facts.cycles_incomplete() {
        notes.push("earlier ones unknown");
    }
    let notes = if notes.is_empty() { String::new() } else { format!(" ({})", notes.join("; ")) };
    say("cycles", format!("{}{notes}", facts.cycles()));
    say("loans", facts.loans.to_string());
    say("readings", facts.readings.len().to_string());
    say("rounds", facts.rounds.len().to_string());
    say("last charge", facts.last_charge().map_or_else(unknown, |at| at.local(ledger.zone())));
    if let Some(joined) = facts.joined {
        say("joined to", pack_name(ledger, joined)?);
    }
    if let Some(off) = facts.written_off {
        say("written off", off.day(ledger.zone()).to_string());
    }
    if let Some(retired) = facts.retired {
        say("waste since", retired.day(ledger.zone()).to_string());
    }
    let consigned = match facts.consigned {
        Some(consigned) => Some((consigned, name_of(ledger, consigned.consignment.into())?)),
        None => None,
    };
    let place = match (&facts.missing, &facts.loan, &facts.run, &facts.ride) {
        (Some(since), ..) => format!("missing since {}", since.day(ledger.zone())),
        (None, Some(loan), ..) => {
            format!("with a borrower since {}, due {}", loan.since.day(ledger.zone()), loan.due)
        }
        (None, None, Some(run), _) => format!("in {}", name_of(ledger, run.slot.into())?),
        (None, None, None, Some(ride)) => format!("in player {}", name_of(ledger, ride.player.into())?),
        (None, None, None, None) => match (facts.place, consigned) {
            (Some((place, _)), _) => name_of(ledger, place.into())?,
            (None, Some((consigned, of))) => match consigned.left {
                Some(left) => format!("left with consignment {of} on {}", left.day(ledger.zone())),
                None => format!("in box {} of consignment {of}", consigned.number),
            },
            (None, None) => "loose".to_owned(),
        },
    };
    say("where", place);
    rows.extend(foreseen(ledger, thing, &facts, now)?);
    Ok(rows)
}

/// What the fleet's model foresees of a pack on loan from now on, and the chance that it is below the limit of a pack in service.
fn foreseen(
    ledger: &mut Ledger,
    thing: Thing,
    pack: &PackFacts,
    now: Moment,
) -> Result<Vec<(String, String)>, LedgerError> {
    let settings = ledger.settings()?;
    let Some(sight) = judging::sight(settings, (PackId::new(thing.id), pack), None, now) else {
        return Ok(Vec::new());
    };
    let make = pack.make.and_then(|make| settings.makes.get(&make));
    let player = make.and_then(|make| thirstiest(make, &settings.players));
    let limit = make.and_then(|make| limit(&settings.policy, Origin::Service, make, player));
    let mut rows: Vec<(String, String)> = AHEAD
        .iter()
        .map(|&(days, word)| {
            let holds = sight.holds(days);
            let mut text = holds.to_string();
            if let Some(play) = player.and_then(|player| holds.expected.play(player.draw)) {
                text = format!("{text}; about {play} of play");
            }
            if let Some(limit) = limit {
                text = format!("{text}; below {limit}: {}", sight.below(limit, days));
            }
            (format!("holds {word}"), text)
        })
        .collect();
    let gains = make.is_some_and(|make| make.chemistry.gains_from_reconditioning());
    if let Some((limit, lifted)) =
        limit.filter(|_| gains).and_then(|limit| Some((limit, sight.lifted_to(limit)?)))
    {
        rows.push(("a round now".to_owned(), format!("brings it over {limit}: {lifted}")));
    }
    Ok(rows)
}
