//! Taking the last act of a desk back, as a voiding entry.

use rusqlite::{OptionalExtension, params};

use crate::domain::event::{ActVoided, Event};
use crate::domain::ids::{ActId, Thing, ThingKind};

use super::entry::{Act, Entry};
use super::error::LedgerError;
use super::file::Ledger;

/// Why what was entered cannot be taken back, if so.
const fn stays(event: &Event) -> Option<&'static str> {
    match event {
        Event::ConsignmentLeft(_) => Some("the consignment is on its way, and what has left stays gone"),
        Event::TagsPrinted(_) => Some("the tags are on paper, and no code is printed twice"),
        _ => None,
    }
}

impl Ledger {
    /// Voids the last act of a desk that is not taken back yet, and returns its entries.
    ///
    /// `act` is filled in as the voiding act: its events are replaced.
    ///
    /// # Errors
    /// [`LedgerError::NothingToUndo`], or [`LedgerError::Overtaken`] when a later act touched the same pack, player, slot,
    /// loan or code, or [`LedgerError::Final`] when what was done has left the house; nothing is written then.
    pub fn undo(&mut self, mut act: Act) -> Result<Vec<Entry>, LedgerError> {
        self.transact(|ledger| {
            let target =
                ledger.last_act(&act.desk)?.ok_or_else(|| LedgerError::NothingToUndo(act.desk.clone()))?;
            let entries = ledger.entries_of_act(target)?;
            if let Some(why) = entries.iter().find_map(|entry| stays(&entry.event)) {
                return Err(LedgerError::Final(why));
            }
            let mut things: Vec<Thing> = entries.iter().flat_map(|entry| entry.event.things()).collect();
            things.sort_unstable();
            things.dedup();
            for &thing in &things {
                ledger.refuse_overtaken(&act.desk, target, thing, &entries)?;
            }
            act.events = vec![ActVoided { act: target, things }.into()];
            ledger.record(&act)?;
            Ok(entries)
        })
    }

    fn last_act(&self, desk: &str) -> Result<Option<ActId>, LedgerError> {
        let own = self.own.as_ref().ok_or(LedgerError::ReadOnly)?;
        let mut statement = self.conn.prepare_cached(
            "SELECT act FROM act WHERE desk = ?1 AND writer = ?2 AND voids = 0 AND desk <> ''
                 AND NOT EXISTS (SELECT 1 FROM voided WHERE voided.act = act.act)
             ORDER BY clock DESC LIMIT 1",
        )?;
        let found = statement
            .query_row(params![desk, own.writer.uuid().as_bytes()], |row| row.get::<_, [u8; 16]>(0))
            .optional()?;
        Ok(found.map(|act| ActId::new(uuid::Uuid::from_bytes(act))))
    }

    /// Cartons, lots, places, consignments and roll calls are shared by many scans that do not disturb each other, once they are
    /// there; all else may be undone only from its end. A consignment that leaves touches all its packs.
    fn refuse_overtaken(
        &self,
        desk: &str,
        target: ActId,
        thing: Thing,
        entries: &[Entry],
    ) -> Result<(), LedgerError> {
        let opens = entries.iter().any(|entry| match &entry.event {
            Event::LotReceived(e) => thing == e.lot.into(),
            Event::CartonOpened(e) => thing == e.carton.into(),
            Event::PlaceAdded(e) => thing == e.place.into(),
            Event::ConsignmentOpened(e) => thing == e.consignment.into(),
            Event::MusterBegan(e) => thing == e.muster.into(),
            _ => false,
        });
        let shared = matches!(
            thing.kind,
            ThingKind::Carton
                | ThingKind::Lot
                | ThingKind::Site
                | ThingKind::Place
                | ThingKind::Consignment
                | ThingKind::Muster
        );
        if shared && !opens {
            return Ok(());
        }
        let Some(last) = entries.last().map(|entry| entry.position) else { return Ok(()) };
        for act in self.last_touches(thing, last)? {
            let mut statement = self.conn.prepare_cached(
                "SELECT desk FROM act WHERE act = ?1 AND voids = 0
                 AND NOT EXISTS (SELECT 1 FROM voided WHERE voided.act = act.act)",
            )?;
            let by: Option<String> =
                statement.query_row([act.uuid().as_bytes()], |row| row.get(0)).optional()?;
            if let Some(by) = by.filter(|_| act != target) {
                return Err(LedgerError::Overtaken {
                    desk: desk.to_owned(),
                    thing: thing.kind.to_string(),
                    by,
                });
            }
        }
        Ok(())
    }
}
