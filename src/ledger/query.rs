//! Reading facts and histories.

use std::collections::BTreeMap;

use rusqlite::{OptionalExtension, Row as SqlRow, params};

use crate::domain::event::Event;
use crate::domain::facts::{CodeFacts, Facts};
use crate::domain::ids::{ActId, PackId, PlaceId, Thing, ThingKind, WriterId};
use crate::domain::moment::Moment;

use super::entry::{Entry, Position};
use super::error::LedgerError;
use super::file::Ledger;
use super::project::{code, kind_of, position};
use super::write::signed;

/// What a code names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Named {
    /// It names this thing.
    Now(Thing),
    /// It named this thing once, and was replaced or retired.
    Once(Thing),
}

/// Columns of an entry, in the order that [`entry`] reads.
const ENTRY: &str =
    "entry.clock, entry.writer, entry.number, entry.recorded, entry.desk, entry.operator, entry.act,
    entry.kind, entry.body";

impl Ledger {
    /// The facts of a thing as they stand; `None` when nothing is known of it.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn facts<T: TryFrom<Facts>>(&mut self, thing: Thing) -> Result<Option<T>, LedgerError> {
        Ok(self.row(thing)?.map(|row| row.facts.clone()).and_then(|facts| facts.try_into().ok()))
    }

    /// The facts of a thing as they stand, without a copy of them.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn peek(&mut self, thing: Thing) -> Result<Option<&Facts>, LedgerError> {
        Ok(self.row(thing)?.map(|row| &row.facts))
    }

    /// The facts of a thing as all entries up to a clock value gave them.
    ///
    /// A row whose last entry lies within the bound is that fold already; else it is folded from the entries.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn facts_until<T: TryFrom<Facts>>(
        &mut self,
        thing: Thing,
        clock: i64,
    ) -> Result<Option<T>, LedgerError> {
        let facts = match self.row(thing)? {
            None => return Ok(None),
            Some(row) if row.last.clock <= clock => Some(row.facts.clone()),
            Some(_) => self.fold_until(thing, clock)?.map(|(facts, _)| facts),
        };
        Ok(facts.and_then(|facts| facts.try_into().ok()))
    }

    /// The same, with the clock of the last of those entries.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn facts_and_last<T: TryFrom<Facts>>(
        &mut self,
        thing: Thing,
        clock: i64,
    ) -> Result<Option<(T, i64)>, LedgerError> {
        let found = match self.row(thing)? {
            None => return Ok(None),
            Some(row) if row.last.clock <= clock => Some((row.facts.clone(), row.last.clock)),
            Some(_) => self.fold_until(thing, clock)?.map(|(facts, last)| (facts, last.clock)),
        };
        Ok(found.and_then(|(facts, last)| Some((facts.try_into().ok()?, last))))
    }

    /// What a code names, if anything.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn resolve(&mut self, text: &str) -> Result<Option<Named>, LedgerError> {
        let code = Thing::code(text);
        // A code is looked up once and gives the thing that counts: it is not worth keeping in memory.
        let facts: Option<CodeFacts> = match self.cached(code) {
            Some(facts) => facts.clone().try_into().ok(),
            None => self.stored_row(code)?.and_then(|row| row.facts.try_into().ok()),
        };
        Ok(facts.and_then(|facts| {
            let thing = facts.thing?;
            Some(if facts.retired { Named::Once(thing) } else { Named::Now(thing) })
        }))
    }

    /// Every thing of a kind, in the order of their identities.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn all(&mut self, kind: ThingKind) -> Result<Vec<(Thing, Facts)>, LedgerError> {
        let mut all = Vec::new();
        self.each(kind, |thing, _last, facts| {
            all.push((thing, facts));
            Ok::<(), LedgerError>(())
        })?;
        Ok(all)
    }

    /// Walks every thing of a kind, in the order of their identities, with the clock of its last entry.
    ///
    /// # Errors
    /// A fault of the file, or what `visit` returns.
    pub fn each<E: From<LedgerError>>(
        &mut self,
        kind: ThingKind,
        mut visit: impl FnMut(Thing, i64, Facts) -> Result<(), E>,
    ) -> Result<(), E> {
        self.flush()?;
        let fault = |error: rusqlite::Error| E::from(LedgerError::from(error));
        let mut statement = self
            .conn
            .prepare_cached("SELECT id, state, clock FROM thing WHERE kind = ?1 ORDER BY id")
            .map_err(fault)?;
        let mut rows = statement.query([code(kind)]).map_err(fault)?;
        while let Some(row) = rows.next().map_err(fault)? {
            let id = uuid::Uuid::from_bytes(row.get(0).map_err(fault)?);
            let state = row.get_ref(1).and_then(|value| Ok(value.as_str()?)).map_err(fault)?;
            let facts = Facts::from_json(kind, state)
                .map_err(|source| LedgerError::Json { what: format!("the state of a {kind}"), source })?;
            visit(Thing { kind, id }, row.get(2).map_err(fault)?, facts)?;
        }
        Ok(())
    }

    /// Walks every thing of a kind as all entries up to a clock value gave it, with the clock of the last of them; those that were
    /// changed later come last.
    ///
    /// # Errors
    /// A fault of the file, or what `visit` returns.
    pub fn each_until<E: From<LedgerError>>(
        &mut self,
        kind: ThingKind,
        clock: i64,
        mut visit: impl FnMut(Thing, i64, Facts) -> Result<(), E>,
    ) -> Result<(), E> {
        let mut later = Vec::new();
        self.each(kind, |thing, last, facts| {
            if last <= clock {
                return visit(thing, last, facts);
            }
            later.push(thing);
            Ok(())
        })?;
        for thing in later {
            if let Some((facts, last)) = self.fold_until(thing, clock)? {
                visit(thing, last.clock, facts)?;
            }
        }
        Ok(())
    }

    /// The things of a kind that bear a name.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn named(&mut self, kind: ThingKind, name: &str) -> Result<Vec<Thing>, LedgerError> {
        self.flush()?;
        let mut statement =
            self.conn.prepare_cached("SELECT id FROM thing WHERE kind = ?1 AND name = ?2 ORDER BY id")?;
        let ids = statement.query_map(params![code(kind), name], |row| row.get::<_, [u8; 16]>(0))?;
        let mut things = Vec::new();
        for id in ids {
            things.push(Thing { kind, id: uuid::Uuid::from_bytes(id?) });
        }
        Ok(things)
    }

    /// The entries of a thing, in the order of the fold, with a mark on those that were taken back or corrected.
    ///
    /// # Errors
    /// A fault of the file, or an entry that does not read.
    pub fn history(&mut self, thing: Thing) -> Result<Vec<(Entry, bool)>, LedgerError> {
        self.history_until(thing, i64::MAX)
    }

    /// The same by what was entered up to a clock value: what was taken back or corrected later still counts.
    ///
    /// # Errors
    /// A fault of the file, or an entry that does not read.
    pub fn history_until(&mut self, thing: Thing, clock: i64) -> Result<Vec<(Entry, bool)>, LedgerError> {
        self.flush()?;
        self.story(thing, clock)
    }

    /// The chain in which a thing was first heard of.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn home_of(&mut self, thing: Thing) -> Result<Option<WriterId>, LedgerError> {
        self.flush()?;
        let mut statement = self.conn.prepare_cached(
            "SELECT writer FROM touch WHERE kind = ?1 AND id = ?2 ORDER BY clock, writer, number LIMIT 1",
        )?;
        let writer = statement
            .query_row(params![code(thing.kind), thing.id.as_bytes()], |row| row.get::<_, [u8; 16]>(0))
            .optional()?;
        Ok(writer.map(|writer| WriterId::new(uuid::Uuid::from_bytes(writer))))
    }

    /// The chain in which a thing was last heard of: the site where it is, as far as anybody knows.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn last_home_of(&mut self, thing: Thing) -> Result<Option<WriterId>, LedgerError> {
        self.flush()?;
        let mut statement = self.conn.prepare_cached(
            "SELECT writer FROM touch WHERE kind = ?1 AND id = ?2
             ORDER BY clock DESC, writer DESC, number DESC LIMIT 1",
        )?;
        let writer = statement
            .query_row(params![code(thing.kind), thing.id.as_bytes()], |row| row.get::<_, [u8; 16]>(0))
            .optional()?;
        Ok(writer.map(|writer| WriterId::new(uuid::Uuid::from_bytes(writer))))
    }

    /// The entries of a thing up to a clock value, in order.
    pub(crate) fn entries_of(&self, thing: Thing, clock: i64) -> Result<Vec<Entry>, LedgerError> {
        let mut statement = self.conn.prepare_cached(&format!(
            "SELECT {ENTRY} FROM touch JOIN entry ON entry.writer = touch.writer AND entry.number = touch.number
             WHERE touch.kind = ?1 AND touch.id = ?2 AND touch.clock <= ?3
             ORDER BY touch.clock, touch.writer, touch.number"
        ))?;
        let mut rows = statement.query(params![code(thing.kind), thing.id.as_bytes(), clock])?;
        let mut entries = Vec::new();
        while let Some(row) = rows.next()? {
            entries.push(entry(row)?);
        }
        Ok(entries)
    }

    /// One entry of a chain, if it is there.
    ///
    /// # Errors
    /// A fault of the file, or an entry that does not read.
    pub fn entry_at(&self, writer: WriterId, number: u64) -> Result<Option<Entry>, LedgerError> {
        let mut statement = self
            .conn
            .prepare_cached(&format!("SELECT {ENTRY} FROM entry WHERE writer = ?1 AND number = ?2"))?;
        let mut rows = statement.query(params![writer.uuid().as_bytes(), signed(number)?])?;
        rows.next()?.map(entry).transpose()
    }

    /// The entries of an act, in order; empty when there is no such act.
    ///
    /// # Errors
    /// A fault of the file, or an entry that does not read.
    pub fn entries_of_act(&self, act: ActId) -> Result<Vec<Entry>, LedgerError> {
        let mut statement = self.conn.prepare_cached("SELECT writer, first, last FROM act WHERE act = ?1")?;
        let found = statement
            .query_row([act.uuid().as_bytes()], |row| {
                Ok((row.get::<_, [u8; 16]>(0)?, row.get::<_, i64>(1)?, row.get::<_, i64>(2)?))
            })
            .optional()?;
        let Some((writer, first, last)) = found else { return Ok(Vec::new()) };
        let mut statement = self.conn.prepare_cached(&format!(
            "SELECT {ENTRY} FROM entry WHERE writer = ?1 AND number BETWEEN ?2 AND ?3 ORDER BY number"
        ))?;
        let mut rows = statement.query(params![writer, first, last])?;
        let mut entries = Vec::new();
        while let Some(row) = rows.next()? {
            entries.push(entry(row)?);
        }
        Ok(entries)
    }

    /// The packs that were ever put into a place or seen there, each once; joined records as what they belong to.
    ///
    /// # Errors
    /// A fault of the file, or an entry that does not read.
    pub fn packs_of(&mut self, place: PlaceId) -> Result<Vec<PackId>, LedgerError> {
        self.flush()?;
        let mut packs = Vec::new();
        for entry in self.entries_of(place.into(), i64::MAX)? {
            match entry.event {
                Event::PackPlaced(e) => packs.push(e.pack),
                Event::PackSeen(e) => packs.push(e.pack),
                _ => {}
            }
        }
        for pack in &mut packs {
            *pack = self.joined_to(*pack)?;
        }
        packs.sort_unstable();
        packs.dedup();
        Ok(packs)
    }

    /// The next entries of one chain, behind a number.
    pub(crate) fn page_of(&self, writer: WriterId, after: u64) -> Result<Vec<Entry>, LedgerError> {
        let mut statement = self.conn.prepare_cached(&format!(
            "SELECT {ENTRY} FROM entry WHERE writer = ?1 AND number > ?2 ORDER BY number LIMIT 10000"
        ))?;
        let mut rows = statement.query(params![writer.uuid().as_bytes(), signed(after)?])?;
        let mut entries = Vec::new();
        while let Some(row) = rows.next()? {
            entries.push(entry(row)?);
        }
        Ok(entries)
    }

    /// Every chain, own or foreign.
    pub(crate) fn writers(&self) -> Result<Vec<WriterId>, LedgerError> {
        let mut statement = self.conn.prepare("SELECT writer FROM writer ORDER BY writer")?;
        let rows = statement.query_map([], |row| row.get::<_, [u8; 16]>(0))?;
        rows.map(|row| Ok(WriterId::new(uuid::Uuid::from_bytes(row?)))).collect()
    }

    /// The acts that touched a thing after a position.
    pub(crate) fn last_touches(&self, thing: Thing, after: Position) -> Result<Vec<ActId>, LedgerError> {
        let mut statement = self.conn.prepare_cached(
            "SELECT entry.act FROM touch JOIN entry ON entry.writer = touch.writer AND entry.number = touch.number
             WHERE touch.kind = ?1 AND touch.id = ?2 AND (touch.clock, touch.writer, touch.number) > (?3, ?4, ?5)",
        )?;
        let acts = statement.query_map(
            params![
                code(thing.kind),
                thing.id.as_bytes(),
                after.clock,
                after.writer.uuid().as_bytes(),
                signed(after.number)?
            ],
            |row| row.get::<_, [u8; 16]>(0),
        )?;
        acts.map(|act| Ok(ActId::new(uuid::Uuid::from_bytes(act?)))).collect()
    }

    /// The head of every chain as of a clock value: writer, number, hash in hex; chains that began later are left out.
    ///
    /// Clocks go forward along a chain, so the head is found by halving.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn heads_until(&self, clock: i64) -> Result<Vec<(String, u64, String)>, LedgerError> {
        let mut heads = Vec::new();
        for writer in self.writers()? {
            let number = self.last_until(writer, clock)?;
            if number > 0 {
                let (_, hash) = self.link_of(writer, number)?;
                heads.push((writer.to_string(), number, super::chain::hex(&hash)));
            }
        }
        Ok(heads)
    }

    /// The number of a chain's last entry up to a clock value; zero when it began later.
    fn last_until(&self, writer: WriterId, clock: i64) -> Result<u64, LedgerError> {
        let (mut low, mut high) = (0, self.head(writer)?.number);
        while low < high {
            let middle = low + (high - low).div_ceil(2);
            if self.link_of(writer, middle)?.0 <= clock { low = middle } else { high = middle - 1 }
        }
        Ok(low)
    }

    /// Clock and hash of an entry that is there.
    fn link_of(&self, writer: WriterId, number: u64) -> Result<(i64, [u8; 32]), LedgerError> {
        let mut statement =
            self.conn.prepare_cached("SELECT clock, hash FROM entry WHERE writer = ?1 AND number = ?2")?;
        let read = |row: &SqlRow<'_>| Ok((row.get(0)?, row.get(1)?));
        Ok(statement.query_row(params![writer.uuid().as_bytes(), signed(number)?], read)?)
    }

    /// The hash, in hex, of an entry of the chain of a writer; none when there is no such entry.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn hash_at(&self, writer: &str, number: u64) -> Result<Option<String>, LedgerError> {
        let Ok(writer) = writer.parse() else { return Ok(None) };
        let writer = WriterId::new(writer);
        if number == 0 || self.head(writer)?.number < number {
            return Ok(None);
        }
        Ok(Some(super::chain::hex(&self.link_of(writer, number)?.1)))
    }

    /// Walks every entry that stands behind a number in its chain, chain by chain; chains that are not named from their beginning.
    ///
    /// # Errors
    /// A fault of the file, or an entry that does not read.
    pub fn each_entry_behind(
        &mut self,
        numbers: &BTreeMap<&str, u64>,
        mut visit: impl FnMut(Entry),
    ) -> Result<(), LedgerError> {
        for writer in self.writers()? {
            let mut number = numbers.get(writer.to_string().as_str()).copied().unwrap_or(0);
            loop {
                let page = self.page_of(writer, number)?;
                let Some(last) = page.last() else { break };
                number = last.position.number;
                page.into_iter().for_each(&mut visit);
            }
        }
        Ok(())
    }

    /// Walks every entry of some kinds that was recorded after one clock value and up to another, chain by chain.
    ///
    /// # Errors
    /// A fault of the file, or an entry that does not read.
    pub fn each_entry_of(
        &mut self,
        kinds: &[&str],
        (after, until): (i64, i64),
        mut visit: impl FnMut(Entry),
    ) -> Result<(), LedgerError> {
        let kinds = format!("[\"{}\"]", kinds.join("\",\""));
        for writer in self.writers()? {
            let (first, last) = (self.last_until(writer, after)?, self.last_until(writer, until)?);
            let mut statement = self.conn.prepare_cached(&format!(
                "SELECT {ENTRY} FROM entry WHERE writer = ?1 AND number > ?2 AND number <= ?3
                     AND kind IN (SELECT value FROM json_each(?4))
                 ORDER BY number"
            ))?;
            let mut rows =
                statement.query(params![writer.uuid().as_bytes(), signed(first)?, signed(last)?, kinds])?;
            while let Some(row) = rows.next()? {
                visit(entry(row)?);
            }
        }
        Ok(())
    }

    /// Every thing that has a row, for checks.
    pub(crate) fn every_thing(&self) -> Result<Vec<Thing>, LedgerError> {
        let mut statement = self.conn.prepare("SELECT kind, id FROM thing ORDER BY kind, id")?;
        let rows = statement.query_map([], |row| Ok((row.get::<_, i64>(0)?, row.get::<_, [u8; 16]>(1)?)))?;
        let mut things = Vec::new();
        for row in rows {
            let (kind, id) = row?;
            let kind = kind_of(kind).ok_or(LedgerError::Range("a kind of thing"))?;
            things.push(Thing { kind, id: uuid::Uuid::from_bytes(id) });
        }
        Ok(things)
    }
}

/// Reads an entry from the columns of [`ENTRY`].
fn entry(row: &SqlRow<'_>) -> Result<Entry, LedgerError> {
    let position = position(row, 0)?;
    let kind: String = row.get(7)?;
    let body: String = row.get(8)?;
    let event = Event::from_json(&kind, &body)
        .ok_or_else(|| LedgerError::Kind { number: position.number, kind: kind.clone() })?
        .map_err(|source| LedgerError::Json {
            what: format!("entry {} ({kind})", position.number),
            source,
        })?;
    Ok(Entry {
        position,
        recorded: Moment::from_millis(row.get(3)?),
        desk: row.get(4)?,
        operator: row.get(5)?,
        act: ActId::new(uuid::Uuid::from_bytes(row.get(6)?)),
        event,
    })
}
