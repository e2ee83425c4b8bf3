//! What was done in the month, counted from its entries.

use std::collections::HashSet;

use serde::Serialize;

use crate::domain::event::{EntryCorrected, Event};
use crate::domain::ids::ActId;
use crate::domain::position::Position;
use crate::ledger::entry::Entry;
use crate::ledger::story::{Correction, corrected};
use crate::ledger::{Ledger, LedgerError};

/// How often one kind of thing was done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Deed {
    /// What, in words.
    pub what: &'static str,
    /// How often.
    pub count: u32,
}

/// The words for an entry that the review counts; `None` for one that it does not.
fn words(event: &Event) -> Option<&'static str> {
    Some(match event {
        Event::PackAdded(_) => "packs entered",
        Event::LoanBegan(_) => "players sent out",
        Event::LoanEnded(_) => "players come back",
        Event::LoanMoved(e) if e.renewed => "loans renewed",
        Event::LoanMoved(_) => "due dates corrected",
        Event::Complained(_) => "complaints",
        Event::LoanWrittenOff(_) => "loans written off",
        Event::Removed(e) if !e.found => "packs not found in their player",
        Event::PackFound(_) => "packs that came alone",
        Event::PacksJoined(_) => "records joined",
        Event::EntryCorrected(_) => "entries corrected",
        Event::RunEnded(_) => "runs without a result",
        Event::SlotServiced(_) => "slots serviced",
        Event::NoticeIssued(_) => "safety notices issued",
        Event::NoticeLifted(_) => "safety notices lifted",
        Event::Overruled(_) => "verdicts overruled",
        Event::FindingSeen(_) => "findings",
        Event::PackRetired(_) => "packs retired",
        Event::ConsignmentLeft(_) => "consignments sent off",
        Event::MusterEnded(_) => "roll calls",
        _ => return None,
    })
}

/// The entries that count, of those that the review looks at.
pub(super) struct Month(Vec<Entry>);

/// Reads the entries recorded after one clock value and up to another; what was taken back or corrected by then is left out.
pub(super) fn read(ledger: &mut Ledger, after: i64, until: i64) -> Result<Month, LedgerError> {
    let mut entries: Vec<Entry> = Vec::new();
    let mut acts: HashSet<ActId> = HashSet::new();
    let mut corrections: Vec<(Position, ActId, EntryCorrected)> = Vec::new();
    ledger.each_entry(after, until, |entry| {
        match &entry.event {
            Event::ActVoided(void) => {
                acts.insert(void.act);
            }
            Event::EntryCorrected(e) => corrections.push((entry.position, entry.act, e.clone())),
            _ => {}
        }
        if words(&entry.event).is_some() {
            entries.push(entry);
        }
    })?;
    let standing = corrections.iter().filter(|(_, act, _)| !acts.contains(act));
    let wrong = corrected(standing.map(|(by, _, says)| Correction { by: *by, says }));
    entries.retain(|entry| {
        !acts.contains(&entry.act) && !wrong.contains_key(&(entry.position.writer, entry.position.number))
    });
    Ok(Month(entries))
}

impl Month {
    /// The entries.
    pub(super) fn entries(&self) -> &[Entry] {
        &self.0
    }

    /// How often each kind of thing was done.
    pub(super) fn count(&self) -> Vec<Deed> {
        let mut deeds: Vec<Deed> = Vec::new();
        for what in self.0.iter().filter_map(|entry| words(&entry.event)) {
            match deeds.iter_mut().find(|deed| deed.what == what) {
                Some(deed) => deed.count += 1,
                None => deeds.push(Deed { what, count: 1 }),
            }
        }
        deeds.sort_by_key(|deed| deed.what);
        deeds
    }
}
