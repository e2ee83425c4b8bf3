//! The fold of each kind of thing but packs, which have a file of their own.

use super::{
    CartonFacts, CodeFacts, ConsignmentFacts, LoanFacts, LotFacts, MusterFacts, PickFacts, PlayerFacts,
    PrintingFacts, SlotFacts,
};
use crate::domain::event::{Event, ReadingTaken};
use crate::domain::ids::{PackId, RunId};
use crate::domain::pack::bind;

pub(super) fn codes(codes: &mut Vec<String>, event: &Event) {
    match event {
        Event::TagBound(e) => bind(codes, &e.code),
        Event::TagRetired(e) => codes.retain(|code| *code != e.code),
        _ => {}
    }
}

pub(super) fn code(facts: &mut CodeFacts, event: &Event) {
    match event {
        Event::TagBound(e) => *facts = CodeFacts { thing: Some(e.thing), retired: false },
        Event::TagRetired(e) if facts.thing == Some(e.thing) => facts.retired = true,
        Event::PacksJoined(e) if facts.thing == Some(e.gone.into()) => facts.thing = Some(e.keep.into()),
        _ => {}
    }
}

pub(super) fn player(facts: &mut PlayerFacts, event: &Event) {
    match event {
        Event::PlayerAdded(e) => facts.make = Some(e.make),
        Event::Installed(e) => {
            facts.ride = Some((e.ride, e.pack));
            facts.written_off = None;
        }
        Event::Removed(e) => {
            if facts.ride.is_some_and(|(ride, _)| ride == e.ride) {
                facts.ride = None;
            }
            facts.arrived = None;
        }
        Event::PlayerArrived(e) => {
            facts.arrived = Some((e.at, e.desk.clone()));
            facts.written_off = None;
        }
        Event::LoanMoved(e) => {
            if let Some((_, _, _, due)) = facts.loan.as_mut().filter(|(loan, ..)| *loan == e.loan) {
                *due = e.due;
            }
        }
        Event::LoanWrittenOff(e) => facts.written_off = Some(e.at),
        Event::PacksJoined(e) => {
            let now = |pack: PackId| if pack == e.gone { e.keep } else { pack };
            facts.ride = facts.ride.map(|(ride, pack)| (ride, now(pack)));
            facts.loan = facts.loan.map(|(loan, pack, since, due)| (loan, now(pack), since, due));
        }
        Event::LoanBegan(e) => {
            facts.loan = Some((e.loan, e.pack, e.at, e.due));
            facts.loans = facts.loans.saturating_add(1);
        }
        Event::LoanEnded(e) => {
            if facts.loan.is_some_and(|(loan, ..)| loan == e.loan) {
                facts.loan = None;
            }
            facts.arrived = None;
            facts.written_off = None;
        }
        _ => codes(&mut facts.codes, event),
    }
}

pub(super) fn slot(facts: &mut SlotFacts, event: &Event) {
    let close = |facts: &mut SlotFacts, run: Option<RunId>| {
        if facts.run.map(|(open, ..)| open) == run {
            facts.run = None;
        }
    };
    match event {
        Event::SlotAdded(e) => facts.name.clone_from(&e.name),
        Event::RunBegan(e) => facts.run = Some((e.run, e.pack, e.at)),
        Event::RunEnded(e) => {
            facts.no_results = facts.no_results.saturating_add(1);
            // A power cut or somebody's hand says nothing of the slot.
            if e.reason.may_be_the_slot() {
                facts.failures = facts.failures.saturating_add(1);
            }
            close(facts, Some(e.run));
        }
        Event::ReadingTaken(e) => {
            facts.readings = facts.readings.saturating_add(1);
            facts.failures = 0;
            close(facts, e.run);
        }
        // A slot's fold keeps what was corrected (see the ledger's `story`), so it is counted off here.
        Event::EntryCorrected(e) if e.what == ReadingTaken::KIND => {
            facts.readings = facts.readings.saturating_sub(1);
        }
        Event::SlotServiced(e) => {
            facts.serviced = Some((e.work, e.at));
            facts.failures = 0;
        }
        Event::SlotTakes(e) => facts.takes.clone_from(&e.makes),
        Event::PacksJoined(e) => {
            let now = |pack: PackId| if pack == e.gone { e.keep } else { pack };
            facts.run = facts.run.map(|(run, pack, since)| (run, now(pack), since));
        }
        _ => codes(&mut facts.codes, event),
    }
}

pub(super) fn carton(facts: &mut CartonFacts, event: &Event) {
    match event {
        Event::CartonOpened(e) => {
            facts.id = Some(e.carton);
            facts.plan = e.plan;
            facts.lot = Some(e.lot);
            facts.name.clone_from(&e.name);
            facts.size = e.size;
        }
        Event::CartonClosed(_) => facts.closed = true,
        Event::PackAdded(e) => {
            facts.packs = facts.packs.saturating_add(1);
            facts.places.insert(e.pack, facts.packs);
        }
        Event::ReadingTaken(e) => {
            facts.readings.entry(e.pack).or_insert(e.capacity);
        }
        Event::FindingSeen(e) if e.finding.is_dangerous() => {
            facts.dangerous.insert(e.pack);
        }
        _ => {}
    }
}

pub(super) fn lot(facts: &mut LotFacts, event: &Event) {
    match event {
        Event::LotReceived(e) => {
            facts.make = Some(e.make);
            facts.name.clone_from(&e.name);
            facts.supplier_ref.clone_from(&e.supplier_ref);
            facts.received = Some(e.at);
        }
        Event::CartonOpened(_) => facts.cartons = facts.cartons.saturating_add(1),
        Event::PackAdded(_) => facts.packs = facts.packs.saturating_add(1),
        _ => {}
    }
}

pub(super) fn loan(facts: &mut LoanFacts, event: &Event) {
    match event {
        Event::LoanBegan(e) => {
            facts.player = Some(e.player);
            facts.pack = Some(e.pack);
            facts.began = Some(e.at);
            facts.due = Some(e.due);
            facts.first_due = Some(e.due);
        }
        Event::LoanEnded(e) => {
            facts.ended = Some(e.at);
            facts.written_off = None;
        }
        Event::LoanMoved(e) => {
            facts.due = Some(e.due);
            facts.renewals = facts.renewals.saturating_add(u32::from(e.renewed));
        }
        Event::Complained(e) => facts.complaint = Some((e.after, e.at)),
        Event::LoanWrittenOff(e) => facts.written_off = Some(e.at),
        Event::PacksJoined(e) if facts.pack == Some(e.gone) => facts.pack = Some(e.keep),
        Event::Overruled(e) => facts.overruled = Some(e.reason.clone()),
        _ => {}
    }
}

pub(super) fn consignment(facts: &mut ConsignmentFacts, event: &Event) {
    match event {
        Event::ConsignmentOpened(e) => {
            facts.name.clone_from(&e.name);
            facts.handler.clone_from(&e.handler);
            facts.opened = Some(e.at);
        }
        Event::PackConsigned(e) => {
            facts.packs.insert(e.pack, (e.condition, e.number));
        }
        Event::PackUnconsigned(e) => {
            facts.packs.remove(&e.pack);
        }
        Event::ConsignmentLeft(e) => {
            facts.left = Some(e.at);
            facts.reference.clone_from(&e.reference);
        }
        Event::PacksJoined(e) => {
            if let Some(place) = facts.packs.remove(&e.gone) {
                facts.packs.entry(e.keep).or_insert(place);
            }
        }
        _ => {}
    }
}

pub(super) fn muster(facts: &mut MusterFacts, event: &Event) {
    match event {
        Event::MusterBegan(e) => {
            facts.place = Some(e.place);
            facts.began = Some(e.at);
        }
        Event::PackSeen(e) => {
            facts.seen.entry(e.pack).or_insert(e.expected);
        }
        Event::MusterEnded(e) => {
            facts.ended = Some(e.at);
            facts.missing.clone_from(&e.missing);
        }
        _ => {}
    }
}

pub(super) fn pick(facts: &mut PickFacts, event: &Event) {
    if let Event::PickListed(e) = event {
        *facts = PickFacts { name: e.name.clone(), lines: e.lines.clone(), made: Some(e.at) };
    }
}

pub(super) fn printing(facts: &mut PrintingFacts, event: &Event) {
    if let Event::TagsPrinted(e) = event {
        *facts = PrintingFacts {
            kind: Some(e.kind),
            codes: e.codes.clone(),
            again: e.again,
            sheet: e.sheet.clone(),
            start: e.start,
            printed: Some(e.at),
        };
    }
}
