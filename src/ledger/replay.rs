//! Replaying the entries of a whole ledger into empty projections.

use std::collections::{HashMap, VecDeque};

use rusqlite::params;

use crate::domain::event::Event;
use crate::domain::ids::{ActId, WriterId};

use super::entry::Entry;
use super::error::LedgerError;
use super::file::Ledger;
use super::project::Told;
use super::story::corrects;
use super::write::signed;

impl Ledger {
    /// Makes the projections anew from the entries alone.
    ///
    /// # Errors
    /// A fault of the file, or an entry that does not read; the old projections stay then.
    pub fn rebuild(&mut self, mut progress: impl FnMut(u64)) -> Result<u64, LedgerError> {
        self.transact(|ledger| {
            ledger.cache.clear();
            ledger.settings = None;
            ledger.conn.execute_batch(super::schema::DROP_PROJECTIONS)?;
            ledger.conn.execute_batch(super::schema::PROJECTIONS)?;
            ledger.replay(&mut progress)
        })
    }

    /// Takes every entry into empty projections, in the order of the fold; returns how many there are.
    ///
    /// Each chain is in clock order already, so the chains are merged page by page.
    fn replay(&mut self, progress: &mut impl FnMut(u64)) -> Result<u64, LedgerError> {
        let mut chains: Vec<(WriterId, VecDeque<Entry>)> = Vec::new();
        // What the last entry of a chain corrects, and in which act.
        let mut corrected: HashMap<WriterId, (ActId, String)> = HashMap::new();
        for writer in self.writers()? {
            chains.push((writer, self.page_of(writer, 0)?.into()));
        }
        let mut done = 0;
        let mut asked: Option<(ActId, bool)> = None;
        loop {
            let next = chains
                .iter_mut()
                .filter(|(_, page)| !page.is_empty())
                .min_by_key(|(_, page)| page.front().map(|entry| entry.position));
            let Some((writer, page)) = next else { return Ok(done) };
            let Some(entry) = page.pop_front() else { return Ok(done) };
            if page.is_empty() {
                *page = self.page_of(*writer, entry.position.number)?.into();
            }
            self.extend_act(&entry)?;
            let voided = match asked {
                Some((act, voided)) if act == entry.act => voided,
                _ => self.is_voided(entry.act)?,
            };
            let before = corrected.remove(&entry.position.writer);
            let replaces = before.filter(|(act, _)| *act == entry.act).map(|(_, what)| what);
            self.project(entry.position, &Told { voided, replaces }, &entry.event)?;
            if let Some(what) = corrects(&entry.event) {
                corrected.insert(entry.position.writer, (entry.act, what));
            }
            asked = (!matches!(entry.event, Event::ActVoided(_))).then_some((entry.act, voided));
            done += 1;
            progress(done);
        }
    }

    /// Enters an entry's act, or stretches it to this entry.
    fn extend_act(&mut self, entry: &Entry) -> Result<(), LedgerError> {
        let voids = matches!(entry.event, Event::ActVoided(_));
        let number = signed(entry.position.number)?;
        self.conn
            .prepare_cached(
                "INSERT INTO act (act, desk, clock, writer, first, last, voids)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?5, ?6)
                 ON CONFLICT (act) DO UPDATE SET last = excluded.last, clock = excluded.clock,
                     voids = max(voids, excluded.voids)",
            )?
            .execute(params![
                entry.act.uuid().as_bytes(),
                entry.desk,
                entry.position.clock,
                entry.position.writer.uuid().as_bytes(),
                number,
                voids
            ])?;
        Ok(())
    }
}
