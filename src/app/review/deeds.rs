//! What was done in the month, counted from its entries.

use std::collections::{BTreeMap, HashSet};

use serde::{Deserialize, Serialize};

use crate::domain::event::{
    ActVoided, Complained, ConsignmentLeft, EntryCorrected, Event, FindingSeen, LoanBegan, LoanEnded,
    LoanMoved, LoanWrittenOff, MusterEnded, NoticeIssued, NoticeLifted, Overruled, PackAdded, PackFound,
    PackRetired, PacksJoined, Removed, RunEnded, SlotServiced,
};
use crate::domain::finding::Finding;
use crate::domain::ids::{ActId, WriterId};
use crate::domain::position::Position;
use crate::ledger::entry::Entry;
use crate::ledger::story::{Correction, corrected};
use crate::ledger::{Ledger, LedgerError};

/// How often one kind of thing was done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Deed {
    /// What, in words.
    pub what: String,
    /// How often.
    pub count: u32,
}

/// The words for an entry that the review counts; `None` for one that it does not. Its kind stands in [`WORDED`].
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

/// What an entry is looked at again for.
#[derive(Debug, Clone, Copy)]
enum Again {
    Complaint,
    Roll,
    No,
}

impl Again {
    fn of(event: &Event) -> Self {
        match event {
            Event::Complained(_) => Self::Complaint,
            Event::FindingSeen(e) if e.finding == Finding::CutOutEarly => Self::Complaint,
            Event::MusterEnded(_) => Self::Roll,
            _ => Self::No,
        }
    }
}

const fn place(entry: &Entry) -> (WriterId, u64) {
    (entry.position.writer, entry.position.number)
}

/// What was done in a month: how often, and the entries that are looked at again.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub(crate) struct Done {
    counts: BTreeMap<String, u32>,
    /// Complaints and packs seen to cut out early: writer and number of each.
    complaints: Vec<(WriterId, u64)>,
    /// Roll calls that ended.
    rolls: Vec<(WriterId, u64)>,
}

/// The kinds of entry for which there are words.
const WORDED: [&str; 19] = [
    PackAdded::KIND,
    LoanBegan::KIND,
    LoanEnded::KIND,
    LoanMoved::KIND,
    Complained::KIND,
    LoanWrittenOff::KIND,
    Removed::KIND,
    PackFound::KIND,
    PacksJoined::KIND,
    EntryCorrected::KIND,
    RunEnded::KIND,
    SlotServiced::KIND,
    NoticeIssued::KIND,
    NoticeLifted::KIND,
    Overruled::KIND,
    FindingSeen::KIND,
    PackRetired::KIND,
    ConsignmentLeft::KIND,
    MusterEnded::KIND,
];

/// Reads the entries recorded after one clock value and up to another; what was taken back or corrected by then is left out.
pub(crate) fn read(ledger: &mut Ledger, after: i64, until: i64) -> Result<Done, LedgerError> {
    let mut acts: HashSet<ActId> = HashSet::new();
    let mut corrections: Vec<(Position, ActId, EntryCorrected)> = Vec::new();
    ledger.each_entry_of(&[ActVoided::KIND, EntryCorrected::KIND], (after, until), |entry| {
        match entry.event {
            Event::ActVoided(void) => {
                acts.insert(void.act);
            }
            Event::EntryCorrected(e) => corrections.push((entry.position, entry.act, e)),
            _ => {}
        }
    })?;
    let standing = corrections.iter().filter(|(_, act, _)| !acts.contains(act));
    let wrong = corrected(standing.map(|(by, _, says)| Correction { by: *by, says }));
    let mut done = Done::default();
    ledger.each_entry_of(&WORDED, (after, until), |entry| {
        if !acts.contains(&entry.act) && !wrong.contains_key(&place(&entry)) {
            done.take(&entry);
        }
    })?;
    Ok(done)
}

impl Done {
    /// Takes one entry.
    pub(crate) fn take(&mut self, entry: &Entry) {
        if let Some(what) = words(&entry.event) {
            self.add(what, place(entry), Again::of(&entry.event));
        }
    }

    fn add(&mut self, what: &str, place: (WriterId, u64), again: Again) {
        match self.counts.get_mut(what) {
            Some(count) => *count += 1,
            None => {
                self.counts.insert(what.to_owned(), 1);
            }
        }
        match again {
            Again::Complaint => self.complaints.push(place),
            Again::Roll => self.rolls.push(place),
            Again::No => {}
        }
    }

    /// Both together.
    pub(crate) fn and(mut self, other: Self) -> Self {
        for (what, count) in other.counts {
            *self.counts.entry(what).or_default() += count;
        }
        self.complaints.extend(other.complaints);
        self.rolls.extend(other.rolls);
        self
    }

    /// How many packs cut out early.
    pub(super) fn cut_out(&self) -> usize {
        self.complaints.len()
    }

    /// The entries of packs that cut out early.
    pub(super) fn complaints(&self, ledger: &Ledger) -> Result<Vec<Entry>, LedgerError> {
        entries(ledger, &self.complaints)
    }

    /// The entries of roll calls.
    pub(super) fn rolls(&self, ledger: &Ledger) -> Result<Vec<Entry>, LedgerError> {
        entries(ledger, &self.rolls)
    }

    /// How often each kind of thing was done.
    pub(super) fn count(&self) -> Vec<Deed> {
        self.counts.iter().map(|(what, &count)| Deed { what: what.clone(), count }).collect()
    }
}

fn entries(ledger: &Ledger, places: &[(WriterId, u64)]) -> Result<Vec<Entry>, LedgerError> {
    let mut entries = Vec::new();
    for &(writer, number) in places {
        entries.extend(ledger.entry_at(writer, number)?);
    }
    Ok(entries)
}
