//! Appending acts, and opening sites.

use rusqlite::params;

use crate::domain::event::{Event, RestoredHead, SiteOpened, WriterOpened};
use crate::domain::ids::{ActId, SiteId, ThingKind, WriterId};
use crate::domain::moment::Moment;

use super::chain::{GENESIS, Link};
use super::entry::{Act, Position, Receipt, clock_of};
use super::error::LedgerError;
use super::file::{Ledger, Own};
use super::project::Told;
use super::story::corrects;

/// The head of a chain, as it stands in its row.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Head {
    pub(crate) number: u64,
    pub(crate) clock: i64,
    pub(crate) hash: [u8; 32],
}

/// An act that is being written, with the end of the chain as it stands. See [`Ledger::record_each`].
#[derive(Debug)]
pub struct Pen {
    act: Act,
    writer: WriterId,
    first: u64,
    head: Head,
    voids: bool,
    voided: bool,
    /// The entry before corrects one of this kind: what comes now may stand in its place.
    corrects: Option<String>,
}

impl Pen {
    /// When the act is recorded.
    pub const fn now(&self) -> Moment {
        self.act.now
    }

    /// How many entries it has so far.
    pub const fn entries(&self) -> u64 {
        self.head.number + 1 - self.first
    }
}

impl Ledger {
    /// Appends an act and brings the projections up to date, in one transaction.
    ///
    /// # Errors
    /// A fault of the file; nothing is written then.
    pub fn record(&mut self, act: &Act) -> Result<Receipt, LedgerError> {
        self.transact(|ledger| ledger.append_act(act))
    }

    /// Appends an act of any length, entry by entry, in one transaction: `work` hands each event to [`Ledger::append`].
    ///
    /// The act comes without events. When `work` appends nothing, nothing is written.
    ///
    /// # Errors
    /// What `work` returns, or a fault of the file; nothing is written then.
    pub fn record_each<T, E: From<LedgerError>>(
        &mut self,
        act: Act,
        work: impl FnOnce(&mut Self, &mut Pen) -> Result<T, E>,
    ) -> Result<T, E> {
        self.transact(|ledger| {
            let mut pen = ledger.begin_act(act)?;
            let done = work(ledger, &mut pen)?;
            ledger.end_act(&pen)?;
            Ok(done)
        })
    }

    fn append_act(&mut self, act: &Act) -> Result<Receipt, LedgerError> {
        let header = Act {
            id: act.id,
            now: act.now,
            desk: act.desk.clone(),
            operator: act.operator.clone(),
            events: Vec::new(),
        };
        let mut pen = self.begin_act(header)?;
        for event in &act.events {
            self.append(&mut pen, event)?;
        }
        self.end_act(&pen)?;
        Ok(Receipt { last: pen.head.number, entries: act.events.len() })
    }

    fn begin_act(&mut self, act: Act) -> Result<Pen, LedgerError> {
        let writer = self.own.as_ref().ok_or(LedgerError::ReadOnly)?.writer;
        let mut head = self.head(writer)?;
        let latest: i64 = self
            .conn
            .prepare_cached("SELECT coalesce(max(clock), 0) FROM writer")?
            .query_row([], |row| row.get(0))?;
        head.clock = head.clock.max(latest).max(clock_of(act.now).saturating_sub(1));
        let voided = self.is_voided(act.id)?;
        Ok(Pen { act, writer, first: head.number + 1, head, voids: false, voided, corrects: None })
    }

    fn end_act(&mut self, pen: &Pen) -> Result<(), LedgerError> {
        if pen.entries() == 0 {
            return Ok(());
        }
        self.enter_act(pen)?;
        let head = pen.head;
        self.conn
            .prepare_cached("UPDATE writer SET number = ?2, clock = ?3, hash = ?4 WHERE writer = ?1")?
            .execute(params![pen.writer.uuid().as_bytes(), signed(head.number)?, head.clock, head.hash])?;
        Ok(())
    }

    /// Appends the next entry of an act that is being written, and brings the projections up to date.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn append(&mut self, pen: &mut Pen, event: &Event) -> Result<(), LedgerError> {
        let (writer, act) = (pen.writer, &pen.act);
        let number = pen.head.number + 1;
        let clock = pen.head.clock.saturating_add(1);
        let body = body(event)?;
        let (writer_id, act_id) = (writer.uuid(), act.id.uuid());
        let link = Link {
            writer: writer_id.as_bytes(),
            number,
            clock,
            recorded: act.now.millis(),
            desk: &act.desk,
            operator: &act.operator,
            act: act_id.as_bytes(),
            kind: event.kind(),
            body: &body,
        };
        let hash = link.hash(&pen.head.hash);
        self.conn
            .prepare_cached(
                "INSERT INTO entry (writer, number, clock, recorded, desk, operator, act, kind, body, hash)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
            )?
            .execute(params![
                link.writer,
                signed(number)?,
                clock,
                link.recorded,
                link.desk,
                link.operator,
                link.act,
                link.kind,
                link.body,
                hash
            ])?;
        if let Event::ActVoided(void) = event {
            pen.voids = true;
            pen.voided |= void.act == pen.act.id;
        }
        let told = Told { voided: pen.voided, replaces: pen.corrects.take() };
        self.project(Position { clock, writer, number }, &told, event)?;
        pen.corrects = corrects(event);
        pen.head = Head { number, clock, hash };
        Ok(())
    }

    fn enter_act(&mut self, pen: &Pen) -> Result<(), LedgerError> {
        self.conn
            .prepare_cached(
                "INSERT INTO act (act, desk, clock, writer, first, last, voids)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
            )?
            .execute(params![
                pen.act.id.uuid().as_bytes(),
                pen.act.desk,
                pen.head.clock,
                pen.writer.uuid().as_bytes(),
                signed(pen.first)?,
                signed(pen.head.number)?,
                pen.voids
            ])?;
        Ok(())
    }

    pub(crate) fn head(&self, writer: WriterId) -> Result<Head, LedgerError> {
        let mut statement =
            self.conn.prepare_cached("SELECT number, clock, hash FROM writer WHERE writer = ?1")?;
        Ok(statement.query_row([writer.uuid().as_bytes()], |row| {
            Ok(Head { number: row.get::<_, i64>(0)?.unsigned_abs(), clock: row.get(1)?, hash: row.get(2)? })
        })?)
    }

    /// Opens a site with a chain of its own, and makes it the one that this copy writes for.
    ///
    /// # Errors
    /// When the zone is not known, a site has that name already, or the file does not take it.
    pub fn open_site(
        &mut self,
        (site, writer, act): (SiteId, WriterId, ActId),
        name: &str,
        zone: &str,
        now: Moment,
    ) -> Result<(), LedgerError> {
        crate::domain::moment::zone(zone).ok_or_else(|| LedgerError::Zone(zone.to_owned()))?;
        let event = SiteOpened { site, name: name.to_owned(), zone: zone.to_owned() };
        self.open_writer((site, writer, act), name, vec![event.into()], None, now)
    }

    /// Opens a new chain for a site. A restored copy names the head that it stands on.
    pub(crate) fn open_writer(
        &mut self,
        (site, writer, act): (SiteId, WriterId, ActId),
        name: &str,
        mut events: Vec<Event>,
        restored: Option<RestoredHead>,
        now: Moment,
    ) -> Result<(), LedgerError> {
        events.push(WriterOpened { writer, site, restored }.into());
        let before = self.own.replace(Own { site, site_name: name.to_owned(), writer });
        let result = self.transact(|ledger| {
            ledger.conn.execute(
                "INSERT INTO writer (writer, site, own, number, clock, hash) VALUES (?1, ?2, 1, 0, 0, ?3)",
                params![writer.uuid().as_bytes(), site.uuid().as_bytes(), GENESIS],
            )?;
            let act = Act { id: act, now, desk: String::new(), operator: String::new(), events };
            ledger.append_act(&act)?;
            Ok::<(), LedgerError>(())
        });
        if result.is_err() {
            self.own = before;
            return result;
        }
        let own = self.own.clone();
        self.pick_zone(own.as_ref().map(|own| own.site))
    }

    /// Chooses the site to write for; without a name, the only one there is.
    ///
    /// # Errors
    /// When no site has that name, or several could be meant.
    pub fn write_for(&mut self, given: Option<&str>) -> Result<(), LedgerError> {
        let sites = self.sites()?;
        let known = || sites.iter().map(|(_, name, _)| name.as_str()).collect::<Vec<_>>().join(", ");
        let (site, name, writer) =
            match (given, sites.as_slice()) {
                (None, [only]) => only.clone(),
                (None, []) => return Err(LedgerError::ReadOnly),
                (None, _) => return Err(LedgerError::WhichSite(known())),
                (Some(given), _) => sites
                    .iter()
                    .find(|(_, name, _)| name.eq_ignore_ascii_case(given))
                    .cloned()
                    .ok_or_else(|| LedgerError::Site { given: given.to_owned(), known: known() })?,
            };
        self.own = Some(Own { site, site_name: name, writer });
        self.pick_zone(Some(site))
    }

    /// The sites that this copy writes for, by name, with the chain of each.
    ///
    /// # Errors
    /// A fault of the file.
    pub fn sites(&mut self) -> Result<Vec<(SiteId, String, WriterId)>, LedgerError> {
        let rows: Vec<([u8; 16], [u8; 16])> = self
            .conn
            .prepare_cached("SELECT site, writer FROM writer WHERE own = 1")?
            .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?
            .collect::<Result<_, _>>()?;
        let mut sites = Vec::new();
        for (site, writer) in rows {
            let site = SiteId::new(uuid::Uuid::from_bytes(site));
            let facts: crate::domain::facts::SiteFacts = self.facts(site.into())?.unwrap_or_default();
            sites.push((site, facts.name, WriterId::new(uuid::Uuid::from_bytes(writer))));
        }
        sites.sort_by(|a, b| a.1.cmp(&b.1));
        Ok(sites)
    }

    /// Takes the time zone of a site; without one, of the first by name whose zone is known here.
    pub(crate) fn pick_zone(&mut self, site: Option<SiteId>) -> Result<(), LedgerError> {
        let mut sites: Vec<(SiteId, crate::domain::facts::SiteFacts)> = Vec::new();
        for (thing, facts) in self.all(ThingKind::Site)? {
            if let Ok(facts) = facts.try_into() {
                sites.push((SiteId::new(thing.id), facts));
            }
        }
        sites.sort_by(|a, b| a.1.name.cmp(&b.1.name));
        let zone_of = |facts: &crate::domain::facts::SiteFacts| crate::domain::moment::zone(&facts.zone);
        match site {
            Some(site) => {
                if let Some((_, facts)) = sites.iter().find(|(id, _)| *id == site) {
                    self.zone = zone_of(facts).ok_or_else(|| LedgerError::Zone(facts.zone.clone()))?;
                }
            }
            // Looking must always be possible, even where a site's own entry is missing or its zone is a later invention.
            None => {
                if let Some(zone) = sites.iter().find_map(|(_, facts)| zone_of(facts)) {
                    self.zone = zone;
                }
            }
        }
        Ok(())
    }
}

/// The stored body of an event: its JSON with the version in front.
pub(crate) fn body(event: &Event) -> Result<String, LedgerError> {
    let json = event
        .to_json()
        .map_err(|source| LedgerError::Json { what: format!("a {} entry", event.kind()), source })?;
    let rest = json.strip_prefix('{').unwrap_or(&json);
    let comma = if rest.starts_with('}') { "" } else { "," };
    Ok(format!("{{\"v\":1{comma}{rest}"))
}

pub(crate) fn signed(number: u64) -> Result<i64, LedgerError> {
    i64::try_from(number).map_err(|_large| LedgerError::Range("an entry number"))
}
