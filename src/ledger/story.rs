//! The story of a thing: its entries in the order of the fold, with a mark on those that do not count.
//!
//! An entry does not count when its act was taken back, or when a later entry corrects it (a correction never reaches forward).
//! The story of a pack holds that of every record that was joined to it, told as its own.

use crate::domain::event::Event;
use crate::domain::facts::Facts;
use crate::domain::ids::{ActId, PackId, Thing, WriterId};

use super::entry::{Entry, Position};
use super::error::LedgerError;
use super::file::Ledger;
use super::project::folds_corrections;

impl Ledger {
    /// The entries of a thing up to a clock value, in order, with a mark on those that do not count.
    pub(crate) fn story(&self, thing: Thing, clock: i64) -> Result<Vec<(Entry, bool)>, LedgerError> {
        let mut entries = self.entries_of(thing, clock)?;
        if let Some(keep) = thing.pack() {
            self.add_joined(keep, clock, &mut entries)?;
        }
        let acts = taken_back(&entries);
        let corrected: Vec<(WriterId, u64, Position)> = entries
            .iter()
            .filter(|entry| folds_corrections(thing.kind) && !acts.contains(&entry.act))
            .filter_map(|entry| match &entry.event {
                Event::EntryCorrected(e) => Some((e.writer, e.number, entry.position)),
                _ => None,
            })
            .collect();
        let wrong = |entry: &Entry| {
            let at = entry.position;
            acts.contains(&entry.act)
                || corrected
                    .iter()
                    .any(|&(writer, number, by)| (writer, number) == (at.writer, at.number) && by > at)
        };
        Ok(entries
            .into_iter()
            .map(|entry| {
                let wrong = wrong(&entry);
                (entry, wrong)
            })
            .collect())
    }

    /// Adds the entries of records that were joined to a pack, and of those joined to them.
    fn add_joined(&self, keep: PackId, clock: i64, entries: &mut Vec<Entry>) -> Result<(), LedgerError> {
        let mut told = vec![keep];
        let mut looked = 0;
        while let Some(&pack) = told.get(looked) {
            looked += 1;
            let acts = taken_back(entries);
            let joins: Vec<PackId> = entries
                .iter()
                .filter(|entry| !acts.contains(&entry.act))
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
                    entry.event = entry.event.told_of(gone, keep).map_err(|source| LedgerError::Json {
                        what: format!("a {} entry", entry.event.kind()),
                        source,
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
        let Some(last) = story.last().map(|(entry, _)| entry.position) else { return Ok(None) };
        let mut facts = Facts::unknown(thing.kind);
        for (entry, _) in story.iter().filter(|(_, wrong)| !wrong) {
            facts.apply(thing, &entry.event);
        }
        Ok(Some((facts, last)))
    }
}

/// The acts that some of these entries take back.
fn taken_back(entries: &[Entry]) -> Vec<ActId> {
    let target =
        |entry: &Entry| if let Event::ActVoided(void) = &entry.event { Some(void.act) } else { None };
    entries.iter().filter_map(target).collect()
}
