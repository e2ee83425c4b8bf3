//! The story of a thing: its entries in the order of the fold, with a mark on those that do not count.
//!
//! An entry does not count when its act was taken back, or when a later entry corrects it (a correction never reaches forward, and
//! one that is itself corrected does not count). What replaces a corrected entry is told where that one stands. The story of a pack
//! holds that of every record that was joined to it, told as its own.

use std::collections::{HashMap, HashSet};

use crate::domain::event::{EntryCorrected, Event};
use crate::domain::facts::Facts;
use crate::domain::ids::{ActId, PackId, Thing, WriterId};

use super::entry::{Entry, Position};
use super::error::LedgerError;
use super::file::Ledger;
use super::project::folds_corrections;

/// A correction, where it stands, and the act that it is part of.
pub struct Correction<'a> {
    /// Its entry.
    pub by: Position,
    /// What it says.
    pub says: &'a EntryCorrected,
}

/// The entries, by writer and number, that corrections take out: one that is itself corrected by a later one takes out nothing.
pub fn corrected<'a>(
    corrections: impl Iterator<Item = Correction<'a>>,
) -> HashMap<(WriterId, u64), (Position, &'a EntryCorrected)> {
    let mut latest_first: Vec<Correction<'a>> = corrections.collect();
    latest_first.sort_unstable_by_key(|correction| std::cmp::Reverse(correction.by));
    let mut wrong: HashMap<(WriterId, u64), (Position, &EntryCorrected)> = HashMap::new();
    for Correction { by, says } in latest_first {
        if !wrong.contains_key(&(by.writer, by.number)) {
            wrong.entry((says.writer, says.number)).or_insert((by, says));
        }
    }
    wrong
}

/// The kind of entry that an event corrects, if it does.
pub(crate) fn corrects(event: &Event) -> Option<String> {
    if let Event::EntryCorrected(e) = event { Some(e.what.clone()) } else { None }
}

impl Ledger {
    /// The entries of a thing up to a clock value, in order, with a mark on those that do not count.
    pub(crate) fn story(&self, thing: Thing, clock: i64) -> Result<Vec<(Entry, bool)>, LedgerError> {
        let mut entries = self.entries_of(thing, clock)?;
        if let Some(keep) = thing.pack() {
            self.add_joined(keep, clock, &mut entries)?;
        }
        let acts = taken_back(&entries);
        let in_place: HashMap<(ActId, WriterId, u64), &EntryCorrected> = corrections(&entries, &acts)
            .filter(|(_, correction)| folds_corrections(thing.kind, &correction.says.what))
            .map(|(act, Correction { by, says })| ((act, by.writer, by.number + 1), says))
            .collect();
        let wrong = corrected(corrections(&entries, &acts).map(|(_, correction)| correction));
        let told = |entry: &Entry| {
            let at = entry.position;
            let wrong = acts.contains(&entry.act)
                || wrong
                    .get(&(at.writer, at.number))
                    .is_some_and(|(by, says)| *by > at && folds_corrections(thing.kind, &says.what));
            let replaces = in_place.get(&(entry.act, at.writer, at.number));
            let replaces = replaces.filter(|_| corrects(&entry.event).is_none());
            (replaces.map_or(at, |says| says.stands), wrong)
        };
        let told: Vec<(Position, bool)> = entries.iter().map(told).collect();
        let mut story: Vec<(Position, Entry, bool)> =
            told.into_iter().zip(entries).map(|((stands, wrong), entry)| (stands, entry, wrong)).collect();
        // Entries are in order already: what stands at one place is told in the order in which it was entered.
        story.sort_by_key(|(stands, ..)| *stands);
        Ok(story.into_iter().map(|(_, entry, wrong)| (entry, wrong)).collect())
    }

    /// Where an entry stands in the order of the fold: where it was entered, or where the entry stands that it replaces.
    ///
    /// # Errors
    /// A fault of the file, or an entry that does not read.
    pub fn stands(&self, entry: &Entry) -> Result<Position, LedgerError> {
        let at = entry.position;
        let before = self.entry_at(at.writer, at.number.saturating_sub(1))?;
        Ok(match before.filter(|before| before.act == entry.act).map(|before| before.event) {
            Some(Event::EntryCorrected(e)) if corrects(&entry.event).is_none() => e.stands,
            _ => at,
        })
    }

    /// Adds the entries of records that were joined to a pack, and of those joined to them.
    fn add_joined(&self, keep: PackId, clock: i64, entries: &mut Vec<Entry>) -> Result<(), LedgerError> {
        let mut told = vec![keep];
        let mut looked = 0;
        while let Some(&pack) = told.get(looked) {
            looked += 1;
            let acts = taken_back(entries);
            let wrong = corrected(corrections(entries, &acts).map(|(_, correction)| correction));
            let joins: Vec<PackId> = entries
                .iter()
                .filter(|entry| !acts.contains(&entry.act))
                .filter(|entry| !wrong.contains_key(&(entry.position.writer, entry.position.number)))
                .filter_map(|entry| match &entry.event {
                    Event::PacksJoined(e) if e.keep == pack => Some(e.gone),
                    _ => None,
                })
                .collect();
            for gone in joins {
                if told.contains(&gone) {
                    continue;
                }
                told.push(gone);
                entries.extend(self.entries_of(gone.into(), clock)?);
            }
        }
        if told.len() == 1 {
            return Ok(());
        }
        entries.sort_by_key(|entry| entry.position);
        entries.dedup_by_key(|entry| entry.position);
        for entry in entries.iter_mut() {
            for &gone in told.iter().skip(1) {
                // The join itself names both, and goes on doing so.
                if !matches!(entry.event, Event::PacksJoined(_)) {
                    entry.event = entry.event.told_of(gone.uuid(), keep.uuid()).map_err(|source| {
                        LedgerError::Json { what: format!("a {} entry", entry.event.kind()), source }
                    })?;
                }
            }
        }
        Ok(())
    }

    /// The fold of a thing's entries up to a clock value, and the position of the last of them; `None` when it has none.
    ///
    /// Acts that are voided by an entry up to that clock value are left out.
    pub(crate) fn fold_until(
        &mut self,
        thing: Thing,
        clock: i64,
    ) -> Result<Option<(Facts, Position)>, LedgerError> {
        self.flush_touches()?;
        let story = self.story(thing, clock)?;
        let Some(last) = story.iter().map(|(entry, _)| entry.position).max() else { return Ok(None) };
        let mut facts = Facts::unknown(thing.kind);
        for (entry, _) in story.iter().filter(|(_, wrong)| !wrong) {
            facts.apply(thing, &entry.event);
        }
        Ok(Some((facts, last)))
    }
}

/// The acts that some of these entries take back.
fn taken_back(entries: &[Entry]) -> HashSet<ActId> {
    let target =
        |entry: &Entry| if let Event::ActVoided(void) = &entry.event { Some(void.act) } else { None };
    entries.iter().filter_map(target).collect()
}

/// The corrections among some entries, with their acts; those that were taken back are left out.
fn corrections<'a>(
    entries: &'a [Entry],
    acts: &HashSet<ActId>,
) -> impl Iterator<Item = (ActId, Correction<'a>)> {
    entries.iter().filter(|entry| !acts.contains(&entry.act)).filter_map(|entry| match &entry.event {
        Event::EntryCorrected(says) => Some((entry.act, Correction { by: entry.position, says })),
        _ => None,
    })
}
