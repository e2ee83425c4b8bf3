//! Projections: the facts of every thing, kept up to date with each entry, in the same transaction.
//!
//! The invariant: a thing's row is the fold of its entries that count, in the order of its `story`. An entry that lies behind what
//! a row already holds, a void, a correction and what replaces the corrected entry, or an entry of an act that was voided before
//! it arrived, folds that thing anew from its entries.
//!
//! Within a transaction, changed rows and the index from thing to entry are kept in memory and written out in key order,
//! at the latest at its end: a batch that names many things in any order then walks each table a few times, rather than
//! jumping to a page for every entry. Whoever reads those tables by other ways than `Ledger::row` flushes first.

use std::collections::HashMap;

use rusqlite::{OptionalExtension, params};

use crate::domain::event::{Event, ReadingTaken};
use crate::domain::facts::Facts;
use crate::domain::ids::{ActId, PackId, Thing, ThingKind, WriterId};

use super::entry::Position;
use super::error::LedgerError;
use super::file::Ledger;
use super::story::corrects;
use super::write::signed;

/// Things held in memory at most before they are written out: about 1 kB each.
const CACHED: usize = 250_000;

/// How long a chain of joined records is followed.
const JOINS: usize = 16;

/// Index rows held in memory at most before they are written out: 64 bytes each.
const TOUCHES: usize = 1_000_000;

/// Rows of `thing` that were read or changed in this transaction, and rows of `touch` that are still to be written.
#[derive(Default)]
pub(crate) struct Cache {
    rows: HashMap<Thing, Row>,
    touches: Vec<(Thing, Position)>,
}

/// What is known of an entry from what came before it.
pub(crate) struct Told {
    /// Its act was taken back before it arrived.
    pub(crate) voided: bool,
    /// It takes the place of an entry of this kind.
    pub(crate) replaces: Option<String>,
}

#[derive(Clone)]
pub(crate) struct Row {
    pub(crate) last: Position,
    pub(crate) facts: Facts,
    dirty: bool,
}

impl Cache {
    pub(crate) fn clear(&mut self) {
        self.rows.clear();
        self.touches.clear();
    }
}

/// The stored number of a kind.
pub(crate) fn code(kind: ThingKind) -> i64 {
    let place = ThingKind::ALL.iter().position(|known| *known == kind).unwrap_or(usize::MAX);
    i64::try_from(place).unwrap_or(i64::MAX)
}

pub(crate) fn kind_of(code: i64) -> Option<ThingKind> {
    usize::try_from(code).ok().and_then(|place| ThingKind::ALL.get(place)).copied()
}

impl Ledger {
    /// Takes one new entry into the projections.
    pub(crate) fn project(
        &mut self,
        position: Position,
        told: &Told,
        event: &Event,
    ) -> Result<(), LedgerError> {
        let mut things = event.things();
        things.sort_unstable();
        things.dedup();
        self.cache.touches.extend(things.iter().map(|&thing| (thing, position)));
        let mut anew = told.voided || matches!(event, Event::PacksJoined(_));
        let corrects = corrects(event);
        let what = corrects.as_deref().or(told.replaces.as_deref());
        if let Event::ActVoided(void) = event {
            self.mark_voided(void.act)?;
            anew = true;
        }
        for thing in things {
            if anew || what.is_some_and(|what| folds_corrections(thing.kind, what)) {
                self.refold(thing)?;
            } else {
                self.advance(thing, position, event)?;
            }
            self.refold_joined(thing)?;
            self.settings_changed(thing.kind);
        }
        if self.cache.touches.len() > TOUCHES {
            self.flush_touches()?;
        }
        self.bound_cache()
    }

    /// Writes everything out and forgets it when there is too much of it.
    fn bound_cache(&mut self) -> Result<(), LedgerError> {
        if self.cache.rows.len() > CACHED {
            self.flush()?;
            self.cache.clear();
        }
        Ok(())
    }

    pub(crate) fn flush_touches(&mut self) -> Result<(), LedgerError> {
        if self.cache.touches.is_empty() {
            return Ok(());
        }
        let mut touches = std::mem::take(&mut self.cache.touches);
        touches.sort_unstable();
        let mut statement = self.conn.prepare_cached(
            "INSERT INTO touch (kind, id, clock, writer, number) VALUES (?1, ?2, ?3, ?4, ?5)",
        )?;
        for (thing, position) in &touches {
            statement.execute(params![
                code(thing.kind),
                thing.id.as_bytes(),
                position.clock,
                position.writer.uuid().as_bytes(),
                signed(position.number)?
            ])?;
        }
        drop(statement);
        // The room is used again.
        touches.clear();
        self.cache.touches = touches;
        Ok(())
    }

    fn advance(&mut self, thing: Thing, position: Position, event: &Event) -> Result<(), LedgerError> {
        let behind = match self.row(thing)? {
            Some(row) if row.last > position => true,
            Some(row) => {
                row.facts.apply(thing, event);
                row.last = position;
                row.dirty = true;
                false
            }
            None => {
                let mut facts = Facts::unknown(thing.kind);
                facts.apply(thing, event);
                self.cache.rows.insert(thing, Row { last: position, facts, dirty: true });
                false
            }
        };
        if behind { self.refold(thing) } else { Ok(()) }
    }

    /// Folds a thing anew from its entries.
    pub(crate) fn refold(&mut self, thing: Thing) -> Result<(), LedgerError> {
        if let Some((facts, last)) = self.fold_until(thing, i64::MAX)? {
            self.cache.rows.insert(thing, Row { last, facts, dirty: true });
        }
        Ok(())
    }

    /// The record that a pack's record belongs to: itself, unless it was joined to another.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn joined_to(&mut self, pack: PackId) -> Result<PackId, LedgerError> {
        let mut keep = pack;
        for _ in 0..JOINS {
            let joined = match self.row(keep.into())?.map(|row| &row.facts) {
                Some(Facts::Pack(facts)) => facts.joined,
                _ => None,
            };
            let Some(next) = joined else { break };
            keep = next;
        }
        Ok(keep)
    }

    /// Folds the pack that a record was joined to anew, when that record has changed.
    fn refold_joined(&mut self, thing: Thing) -> Result<(), LedgerError> {
        let mut pack = thing;
        // Records may be joined to records that are joined again; a ring of them would be somebody's forgery.
        for _ in 0..JOINS {
            let Some(Facts::Pack(facts)) = self.cached(pack) else { return Ok(()) };
            let Some(keep) = facts.joined else { return Ok(()) };
            pack = keep.into();
            self.refold(pack)?;
        }
        Ok(())
    }

    /// The row of a thing, from memory or the file.
    pub(crate) fn row(&mut self, thing: Thing) -> Result<Option<&mut Row>, LedgerError> {
        if !self.cache.rows.contains_key(&thing) {
            let Some(row) = self.stored_row(thing)? else { return Ok(None) };
            self.bound_cache()?;
            self.cache.rows.insert(thing, row);
        }
        Ok(self.cache.rows.get_mut(&thing))
    }

    /// The facts of a thing, if they are in memory.
    pub(crate) fn cached(&self, thing: Thing) -> Option<&Facts> {
        self.cache.rows.get(&thing).map(|row| &row.facts)
    }

    pub(crate) fn stored_row(&self, thing: Thing) -> Result<Option<Row>, LedgerError> {
        let mut statement = self
            .conn
            .prepare_cached("SELECT state, clock, writer, number FROM thing WHERE kind = ?1 AND id = ?2")?;
        let found = statement
            .query_row(params![code(thing.kind), thing.id.as_bytes()], |row| {
                Ok((row.get::<_, String>(0)?, position(row, 1)?))
            })
            .optional()?;
        let Some((state, last)) = found else { return Ok(None) };
        let facts = Facts::from_json(thing.kind, &state)
            .map_err(|source| LedgerError::Json { what: format!("the state of a {}", thing.kind), source })?;
        Ok(Some(Row { last, facts, dirty: false }))
    }

    /// Writes changed rows out.
    pub(crate) fn flush(&mut self) -> Result<(), LedgerError> {
        self.flush_touches()?;
        let mut changed: Vec<(&Thing, &mut Row)> =
            self.cache.rows.iter_mut().filter(|(_, row)| row.dirty).collect();
        // In key order, so that a large batch walks the table once.
        changed.sort_unstable_by_key(|(thing, _)| **thing);
        if changed.is_empty() {
            return Ok(());
        }
        let mut statement = self.conn.prepare_cached(
            "INSERT INTO thing (kind, id, name, state, clock, writer, number)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)
             ON CONFLICT (kind, id) DO UPDATE SET name = excluded.name, state = excluded.state,
                 clock = excluded.clock, writer = excluded.writer, number = excluded.number",
        )?;
        for (thing, row) in changed {
            let state = row.facts.to_json().map_err(|source| LedgerError::Json {
                what: format!("the state of a {}", thing.kind),
                source,
            })?;
            statement.execute(params![
                code(thing.kind),
                thing.id.as_bytes(),
                row.facts.name(),
                state,
                row.last.clock,
                row.last.writer.uuid().as_bytes(),
                signed(row.last.number)?
            ])?;
            row.dirty = false;
        }
        Ok(())
    }

    fn mark_voided(&mut self, act: ActId) -> Result<(), LedgerError> {
        self.conn
            .prepare_cached("INSERT OR IGNORE INTO voided (act) VALUES (?1)")?
            .execute([act.uuid().as_bytes()])?;
        Ok(())
    }

    pub(crate) fn is_voided(&self, act: ActId) -> Result<bool, LedgerError> {
        let mut statement =
            self.conn.prepare_cached("SELECT EXISTS (SELECT 1 FROM voided WHERE act = ?1)")?;
        Ok(statement.query_row([act.uuid().as_bytes()], |row| row.get(0))?)
    }
}

/// Whether the fold of a kind of thing leaves out corrected entries of a kind, and puts what replaces them in their place.
///
/// A slot holds years of readings: folding them all anew for one mistyped number would take seconds, and nothing that is known of
/// a slot depends on what a reading gave. Its fold counts corrected readings off instead.
pub(crate) fn folds_corrections(kind: ThingKind, what: &str) -> bool {
    kind != ThingKind::Slot || what != ReadingTaken::KIND
}

/// Reads (clock, writer, number) from three columns of a row.
pub(crate) fn position(row: &rusqlite::Row<'_>, at: usize) -> rusqlite::Result<Position> {
    Ok(Position {
        clock: row.get(at)?,
        writer: WriterId::new(uuid::Uuid::from_bytes(row.get(at + 1)?)),
        number: row.get::<_, i64>(at + 2)?.unsigned_abs(),
    })
}
