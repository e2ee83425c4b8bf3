//! Entries in words.

use crate::app::answer::count;
use crate::app::lookup::{name_of, pack_name};
use crate::domain::event::{Basis, Event, Service, Use};
use crate::domain::ids::{PackId, SlotId};
use crate::domain::moment::Moment;
use crate::domain::twist::Fault;
use crate::domain::units::MilliampHours;
use crate::ledger::{Ledger, LedgerError};

use super::measures;

/// An entry in words, for messages.
///
/// # Errors
/// A fault of the ledger.
pub fn in_words(ledger: &mut Ledger, event: &Event) -> Result<String, LedgerError> {
    short(ledger, event)
}

/// An entry in words. Says when it happened where that is not when it was recorded.
pub(super) fn words(ledger: &mut Ledger, event: &Event, recorded: Moment) -> Result<String, LedgerError> {
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
        Event::PackRetired(_) => "at its end: waste that waits for a recycler".to_owned(),
        Event::ConsignmentOpened(e) => format!("consignment {} for {} begun", e.name, e.handler),
        Event::PackConsigned(e) => {
            let into = name_of(ledger, e.consignment.into())?;
            format!(
                "pack {} into box {} of consignment {into}, {}",
                pack_name(ledger, e.pack)?,
                e.number,
                e.condition
            )
        }
        Event::PackUnconsigned(e) => {
            let from = name_of(ledger, e.consignment.into())?;
            format!("pack {} taken out of consignment {from}", pack_name(ledger, e.pack)?)
        }
        Event::ConsignmentLeft(e) => {
            let under = e.reference.as_ref().map(|number| format!(" under `{number}`")).unwrap_or_default();
            format!(
                "consignment {} left{under} with {}",
                name_of(ledger, e.consignment.into())?,
                count(e.packs.len(), "pack", "packs")
            )
        }
        Event::MusterBegan(e) => format!("roll call of {} begun", name_of(ledger, e.place.into())?),
        Event::PackSeen(e) => {
            let unexpected = if e.expected { "" } else { ", unexpected" };
            format!(
                "pack {} seen in {}{unexpected}",
                pack_name(ledger, e.pack)?,
                name_of(ledger, e.place.into())?
            )
        }
        Event::MusterEnded(e) => format!(
            "roll call of {} over: {} there, {} missing",
            name_of(ledger, e.place.into())?,
            e.present,
            e.missing.len()
        ),
        Event::PickListed(e) => format!("list {}: {}", e.name, count(e.lines.len(), "loan", "loans")),
        Event::TagsPrinted(e) => {
            let again = if e.again { " again" } else { "" };
            format!("{} printed{again} on {}", count(e.codes.len(), "tag", "tags"), e.sheet)
        }
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
