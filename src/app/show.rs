//! The life of any thing: what it is, and everything that happened to it.

mod pack;

use serde::Serialize;

use crate::domain::event::{Basis, Event, Service, Use};
use crate::domain::facts::{
    CartonFacts, CodeFacts, LoanFacts, LotFacts, OperatorFacts, PlaceFacts, PlayerFacts, SlotFacts,
};
use crate::domain::ids::{PackId, PlayerMakeId, SlotId, Thing, ThingKind};
use crate::domain::moment::Moment;
use crate::domain::pack::PackFacts;
use crate::domain::twist::Fault;
use crate::domain::units::MilliampHours;
use crate::domain::verdict::Step;
use crate::ledger::entry::Entry;
use crate::ledger::{Ledger, LedgerError};
use crate::policy::limits::thirstiest;

use super::answer::{Told, hours};
use super::judging::{self, Ask};
use super::lookup::{name_of, pack_name};

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

/// An entry in words, for messages.
///
/// # Errors
/// A fault of the ledger.
pub fn in_words(ledger: &mut Ledger, event: &Event) -> Result<String, LedgerError> {
    short(ledger, event)
}

/// An entry in words. Says when it happened where that is not when it was recorded.
fn words(ledger: &mut Ledger, event: &Event, recorded: Moment) -> Result<String, LedgerError> {
    let mut text = short(ledger, event)?;
    let at = match event {
        Event::ReadingTaken(e) => Some(e.at),
        Event::PackAdded(e) => Some(e.at),
        Event::RoundDone(e) => Some(e.at),
        _ => None,
    };
    if let Some(at) = at.filter(|at| recorded.millis().abs_diff(at.millis()) > 60_000) {
        text.push_str(&format!(", on {}", at.local(ledger.zone())).replace(" 12:00", ""));
    }
    Ok(text)
}

fn short(ledger: &mut Ledger, event: &Event) -> Result<String, LedgerError> {
    Ok(match event {
        Event::PackAdded(e) => {
            let carton = match e.carton {
                Some(carton) => format!(", carton {}", name_of(ledger, carton.into())?),
                None => String::new(),
            };
            format!("entered as {}{carton}", e.origin)
        }
        Event::PlayerAdded(_) => "entered".to_owned(),
        Event::TagBound(e) => format!("code {} bound", e.code),
        Event::TagRetired(e) => format!("code {} retired", e.code),
        Event::Installed(e) => {
            format!("pack {} into player {}", pack_name(ledger, e.pack)?, name_of(ledger, e.player.into())?)
        }
        Event::Removed(e) => {
            let (pack, player) = (pack_name(ledger, e.pack)?, name_of(ledger, e.player.into())?);
            let found = if e.found { "out of" } else { "not found in" };
            format!("pack {pack} {found} player {player}, {}", use_words(e.used))
        }
        Event::UseCounted(e) => format!("its use is {}", use_words(e.used)),
        Event::LoanBegan(e) => {
            let (pack, player) = (pack_name(ledger, e.pack)?, name_of(ledger, e.player.into())?);
            format!("player {player} goes out with pack {pack}, due {}", e.due)
        }
        Event::LoanEnded(e) => format!("player {} comes back", name_of(ledger, e.player.into())?),
        Event::FindingSeen(e) => format!("seen: {}", e.finding),
        Event::PlayerArrived(e) => format!("on the desk `{}`, its intake begun", e.desk),
        Event::PackFound(_) => "turned up by itself".to_owned(),
        Event::PackPlaced(e) => format!("put into {}", name_of(ledger, e.place.into())?),
        Event::LoanMoved(e) => {
            let why = if e.renewed { "renewed" } else { "the date was wrong" };
            format!("due {} instead of {}: {why}", e.due, e.was)
        }
        Event::Complained(e) => match e.after {
            Some(hours) => format!("complaint: it stops after {hours}"),
            None => "complaint: it stops early".to_owned(),
        },
        Event::LoanWrittenOff(_) => "written off: it never came back".to_owned(),
        Event::SlotServiced(e) => match e.work {
            Service::Serviced => "serviced".to_owned(),
            Service::Adapter => "another adapter".to_owned(),
        },
        Event::SlotTakes(e) if e.makes.is_empty() => "takes every make".to_owned(),
        Event::SlotTakes(e) => {
            let settings = ledger.settings()?;
            let names: Vec<&str> = e
                .makes
                .iter()
                .filter_map(|make| settings.makes.get(make).map(|make| make.name.as_str()))
                .collect();
            format!("takes {}", names.join(", "))
        }
        Event::EntryCorrected(e) => format!("entry {} was wrong: {}", e.number, e.reason),
        Event::PacksJoined(_) => "two records turned out to be one pack".to_owned(),
        Event::PictureTaken(_) => "a picture was taken in".to_owned(),
        Event::ScannerTuned(e) => {
            let faults: Vec<&str> = e.twist.faults().into_iter().map(Fault::words).collect();
            if faults.is_empty() { "its scanner types right".to_owned() } else { faults.join("; ") }
        }
        Event::RunBegan(e) => {
            format!("pack {} into {}", pack_name(ledger, e.pack)?, slot_name(ledger, Some(e.slot))?)
        }
        Event::RunEnded(e) => format!("no result from {}: {}", slot_name(ledger, Some(e.slot))?, e.reason),
        Event::ReadingTaken(e) => {
            reading_words(ledger, event, e.pack, e.capacity, e.slot, e.resistance.map(|r| r.to_string()))?
        }
        Event::RoundDone(e) => format!("a round of {} cycles", e.cycles),
        Event::Charged(_) => "charged".to_owned(),
        Event::VerdictGiven(e) => {
            let rules: Vec<&str> = e.reasons.iter().map(|(rule, _)| rule.name()).collect();
            let why = if rules.is_empty() { String::new() } else { format!(" ({})", rules.join(", ")) };
            format!("{} at {}{why}, policy {}", e.verdict, e.step, e.policy)
        }
        Event::Overruled(e) => format!("{} overruled: {}", e.verdict, e.reason),
        Event::OperatorEnrolled(e) => {
            format!("enrolled, {}", if e.may_overrule { "may overrule" } else { "may not overrule" })
        }
        Event::LotReceived(e) => format!("received, reference `{}`", e.supplier_ref),
        Event::CartonOpened(e) => format!("carton {} of {} packs", e.name, e.size),
        Event::CartonClosed(_) => "the carton is closed: no more packs come from it".to_owned(),
        Event::StudyPlanned(e) => format!(
            "study {}: {} packs in {} slots, {} times each",
            e.name,
            e.packs.len(),
            e.slots.len(),
            e.repeats
        ),
        Event::PolicyAdopted(_) => "a policy was adopted".to_owned(),
        Event::ModelLearnt(_) => "the fleet's model was learnt".to_owned(),
        Event::NoticeIssued(e) => format!("safety notice, {}: {}", e.verdict, e.text),
        Event::NoticeLifted(_) => "safety notice lifted".to_owned(),
        Event::ActVoided(_) => "a scan was taken back".to_owned(),
        Event::SiteOpened(e) => format!("site {} opened, {}", e.name, e.zone),
        Event::WriterOpened(_) => "a copy of the ledger begins to write".to_owned(),
        Event::MakeDeclared(e) => format!("make {}, rated {}", e.spec.name, e.spec.rated),
        Event::PlayerMakeDeclared(e) => format!("player make {}, draws {}", e.spec.name, e.spec.draw),
        Event::SlotAdded(e) => format!("{} added", e.name),
        Event::PlaceAdded(e) => format!("{} added", e.name),
    })
}

fn reading_words(
    ledger: &mut Ledger,
    event: &Event,
    pack: PackId,
    capacity: MilliampHours,
    slot: Option<SlotId>,
    resistance: Option<String>,
) -> Result<String, LedgerError> {
    let (play, health, _) = measures(ledger, event)?;
    let mut parts = vec![format!("pack {} read {capacity}", pack_name(ledger, pack)?)];
    if let (Some(play), Some(health)) = (play, health) {
        parts.push(format!("{play} h of play, {health} % of rated"));
    }
    parts.extend(resistance);
    if slot.is_some() {
        parts.push(slot_name(ledger, slot)?);
        let bias = slot.and_then(|slot| ledger.settings().ok()?.seer.as_ref()?.bias(slot));
        if let Some(bias) = bias.filter(|bias| bias.abs() >= 0.5) {
            let freed = f64::from(capacity.raw()) - bias;
            parts.push(format!("freed of that slot's bias of {bias:+.0} mAh: {freed:.0} mAh"));
        }
    }
    Ok(parts.join(", "))
}

fn slot_name(ledger: &mut Ledger, slot: Option<SlotId>) -> Result<String, LedgerError> {
    match slot {
        Some(slot) => name_of(ledger, slot.into()),
        None => Ok("an unknown slot".to_owned()),
    }
}

fn use_words(used: Use) -> String {
    match used.basis {
        Basis::Counted(hours) => format!("{} by the player's {hours}", used.cycles),
        Basis::Unused => "unused".to_owned(),
        Basis::Estimated { days } => format!("{} estimated from {days} days out", used.cycles),
    }
}
