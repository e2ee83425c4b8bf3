//! The life of any thing: what it is, and everything that happened to it.

mod pack;
mod words;

use serde::Serialize;

use crate::domain::event::Event;
use crate::domain::facts::{
    CartonFacts, CodeFacts, ConsignmentFacts, LoanFacts, LotFacts, MusterFacts, OperatorFacts, PlaceFacts,
    PlayerFacts, SlotFacts,
};
use crate::domain::ids::{PlayerMakeId, Thing, ThingKind};
use crate::domain::moment::Moment;
use crate::domain::pack::PackFacts;
use crate::domain::verdict::Step;
use crate::ledger::entry::Entry;
use crate::ledger::{Ledger, LedgerError};
use crate::policy::limits::thirstiest;

use super::answer::{Told, hours};
use super::judging::{self, Ask};
use super::lookup::{name_of, pack_name};
pub use words::in_words;
use words::words;

/// One thing's life.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Life {
    /// What it is.
    pub kind: ThingKind,
    /// Its tag or name.
    pub name: String,
    /// What is known of it: a word and its value.
    pub facts: Vec<(String, String)>,
    /// A pack's verdict now.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub verdict: Option<Told>,
    /// What happened, oldest first.
    pub history: Vec<Happening>,
}

/// One entry of a life.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Happening {
    /// Local time at which it was recorded.
    pub recorded: String,
    /// Who, if they said so.
    pub operator: String,
    /// At which desk.
    pub desk: String,
    /// The entry's kind.
    pub kind: &'static str,
    /// Its number in the chain of its site, as a correction names it.
    pub entry: String,
    /// In words.
    pub text: String,
    /// It was taken back or corrected.
    pub taken_back: bool,
    /// For a reading: what it gave.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub capacity_mah: Option<u32>,
    /// For a reading: hours of play in the thirstiest player that the pack fits.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub play_h: Option<f64>,
    /// For a reading: share of the rated capacity.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub health_percent: Option<f64>,
}

/// Tells the life of a thing.
///
/// # Errors
/// A fault of the ledger.
pub fn life(ledger: &mut Ledger, thing: Thing, now: Moment) -> Result<Life, LedgerError> {
    let verdict = match thing.pack() {
        Some(pack) => {
            Some(judging::look(ledger, Ask { pack, step: Step::Look, player: None, due: None, now })?.1)
        }
        None => None,
    };
    let sites: Vec<_> = ledger.sites()?;
    let number = |entry: &Entry| match sites.as_slice() {
        [_] => entry.position.number.to_string(),
        several => {
            let site = several.iter().find(|(_, _, writer)| *writer == entry.position.writer);
            let name = site.map_or("?", |(_, name, _)| name.as_str());
            format!("{name}:{}", entry.position.number)
        }
    };
    let mut history = Vec::new();
    let mut entries = ledger.history(thing)?;
    entries.sort_by_key(|(entry, _)| entry.position);
    for (entry, taken_back) in entries {
        let (play_h, health_percent, capacity_mah) = measures(ledger, &entry.event)?;
        let number = number(&entry);
        history.push(Happening {
            recorded: entry.recorded.local(ledger.zone()),
            operator: entry.operator,
            desk: entry.desk,
            kind: entry.event.kind(),
            entry: number,
            text: words(ledger, &entry.event, entry.recorded)?,
            taken_back,
            capacity_mah,
            play_h,
            health_percent,
        });
    }
    Ok(Life {
        kind: thing.kind,
        name: name_of(ledger, thing)?,
        facts: known(ledger, thing, now)?,
        verdict,
        history,
    })
}

/// A reading's hours of play, state of health in per cent, and capacity in mAh.
type Measures = (Option<f64>, Option<f64>, Option<u32>);

fn measures(ledger: &mut Ledger, event: &Event) -> Result<Measures, LedgerError> {
    let Event::ReadingTaken(reading) = event else { return Ok((None, None, None)) };
    let facts: PackFacts = ledger.facts(reading.pack.into())?.unwrap_or_default();
    let settings = ledger.settings()?;
    let make = facts.make.and_then(|make| settings.makes.get(&make));
    let play = make
        .and_then(|make| thirstiest(make, &settings.players))
        .and_then(|player| reading.capacity.play(player.draw));
    let health = make.and_then(|make| reading.capacity.per_mille_of(make.rated));
    let percent = health.map(|per_mille| f64::from(per_mille) / 10.0);
    Ok((play.map(hours), percent, Some(reading.capacity.raw())))
}

fn known(ledger: &mut Ledger, thing: Thing, now: Moment) -> Result<Vec<(String, String)>, LedgerError> {
    let mut rows = Vec::new();
    let mut say = |word: &str, value: String| rows.push((word.to_owned(), value));
    match thing.kind {
        ThingKind::Pack => return pack::facts(ledger, thing, now),
        ThingKind::Player => {
            let facts: PlayerFacts = ledger.facts(thing)?.unwrap_or_default();
            say("make", player_make(ledger, facts.make)?);
            say("codes", facts.codes.join(", "));
            if let Some((_, pack)) = facts.ride {
                say("pack", pack_name(ledger, pack)?);
            }
            if let Some((_, _, since, due)) = facts.loan {
                say("loan", format!("out since {}, due {due}", since.day(ledger.zone())));
            }
            say("loans", facts.loans.to_string());
        }
        ThingKind::Slot => {
            let facts: SlotFacts = ledger.facts(thing)?.unwrap_or_default();
            if let Some((_, pack, since)) = facts.run {
                say("holds", format!("{} since {}", pack_name(ledger, pack)?, since.local(ledger.zone())));
            }
            say("readings", facts.readings.to_string());
            say("no result", facts.no_results.to_string());
            if let Some((_, at)) = facts.serviced {
                say("serviced", at.day(ledger.zone()).to_string());
            }
            let settings = ledger.settings()?;
            if facts.failures >= settings.policy.bench.close_slot_after {
                say("closed", format!("{} runs in a row gave no result", facts.failures));
            }
            let makes = facts.takes.iter().filter_map(|make| settings.makes.get(make));
            let takes: Vec<&str> = makes.map(|make| make.name.as_str()).collect();
            if !takes.is_empty() {
                say("takes", takes.join(", "));
            }
        }
        ThingKind::Carton => {
            let facts: CartonFacts = ledger.facts(thing)?.unwrap_or_default();
            say("packs", format!("{} of {}", facts.packs, facts.size));
            say("read", facts.readings.len().to_string());
            if let Some(lowest) = facts.readings.values().min() {
                say("lowest", lowest.to_string());
            }
        }
        ThingKind::Lot => {
            let facts: LotFacts = ledger.facts(thing)?.unwrap_or_default();
            say("reference", facts.supplier_ref);
            say("cartons", facts.cartons.to_string());
            say("packs", facts.packs.to_string());
        }
        ThingKind::Operator => {
            let facts: OperatorFacts = ledger.facts(thing)?.unwrap_or_default();
            say("may overrule", if facts.may_overrule { "yes" } else { "no" }.to_owned());
        }
        ThingKind::Place => {
            let facts: PlaceFacts = ledger.facts(thing)?.unwrap_or_default();
            if let Some(tray) = facts.tray {
                say("takes", tray.to_string());
            }
        }
        ThingKind::Loan => {
            let facts: LoanFacts = ledger.facts(thing)?.unwrap_or_default();
            if let Some(due) = facts.due {
                say("due", due.to_string());
            }
            say("renewed", facts.renewals.to_string());
        }
        ThingKind::Consignment => {
            let facts: ConsignmentFacts = ledger.facts(thing)?.unwrap_or_default();
            say("handler", facts.handler);
            say("packs", facts.packs.len().to_string());
            if let Some(left) = facts.left {
                say("left", left.day(ledger.zone()).to_string());
            }
        }
        ThingKind::Muster => {
            let facts: MusterFacts = ledger.facts(thing)?.unwrap_or_default();
            say("seen", facts.seen.len().to_string());
            say("missing", facts.missing.len().to_string());
        }
        ThingKind::Code => {
            let facts: CodeFacts = ledger.facts(thing)?.unwrap_or_default();
            say("retired", if facts.retired { "yes" } else { "no" }.to_owned());
        }
        _ => {}
    }
    Ok(rows)
}

fn player_make(ledger: &mut Ledger, make: Option<PlayerMakeId>) -> Result<String, LedgerError> {
    let settings = ledger.settings()?;
    let make = make.and_then(|make| settings.player_makes.get(&make));
    Ok(make.map_or_else(|| "unknown".to_owned(), |make| format!("{}, draws {}", make.name, make.draw)))
}
