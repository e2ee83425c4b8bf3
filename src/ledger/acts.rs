//! The index of acts: held against the entries when the chains are checked.

use std::collections::BTreeSet;

use rusqlite::OptionalExtension;

use crate::domain::ids::ActId;

use super::chain::Link;
use super::check::CheckReport;
use super::error::LedgerError;
use super::file::Ledger;

/// The row of an act, as its entries give it.
#[derive(Debug, Clone, PartialEq, Eq)]
struct ActRow {
    id: [u8; 16],
    writer: [u8; 16],
    desk: String,
    first: i64,
    last: i64,
    clock: i64,
    voids: bool,
}

/// The acts as the chains are walked: an act's entries stand in a row.
#[derive(Default)]
pub(crate) struct Acts {
    open: Option<ActRow>,
    done: Option<ActRow>,
    voided: BTreeSet<[u8; 16]>,
    count: u64,
}

impl Acts {
    /// Takes an entry; true when it begins another act and the one before is done.
    pub(crate) fn follow(&mut self, link: &Link<'_>) -> bool {
        let (number, clock) = (i64::try_from(link.number).unwrap_or(i64::MAX), link.clock);
        if let Some(act) = self.open.as_mut().filter(|act| act.id == *link.act && act.writer == *link.writer)
        {
            (act.last, act.clock) = (number, clock);
            return false;
        }
        self.count += 1;
        let next = ActRow {
            id: *link.act,
            writer: *link.writer,
            desk: link.desk.to_owned(),
            first: number,
            last: number,
            clock,
            voids: false,
        };
        self.done = self.open.replace(next);
        self.done.is_some()
    }

    /// The end of the last chain; true when an act was open.
    pub(crate) fn close(&mut self) -> bool {
        self.done = self.open.take();
        self.done.is_some()
    }

    /// The open act takes another back.
    pub(crate) fn voids(&mut self, act: ActId) {
        self.voided.insert(*act.uuid().as_bytes());
        if let Some(open) = &mut self.open {
            open.voids = true;
        }
    }
}

impl Ledger {
    /// Holds the row of an act that was walked over against its entries.
    pub(crate) fn check_act(&self, acts: &Acts, report: &mut CheckReport) -> Result<(), LedgerError> {
        let Some(act) = &acts.done else { return Ok(()) };
        let stored = self
            .conn
            .prepare_cached("SELECT writer, desk, first, last, clock, voids FROM act WHERE act = ?1")?
            .query_row([act.id], |row| {
                Ok(ActRow {
                    id: act.id,
                    writer: row.get(0)?,
                    desk: row.get(1)?,
                    first: row.get(2)?,
                    last: row.get(3)?,
                    clock: row.get(4)?,
                    voids: row.get(5)?,
                })
            })
            .optional()?;
        if stored.as_ref() != Some(act) {
            report.fault(format!(
                "entries {} to {} are one act, and the index of acts has it otherwise",
                act.first, act.last
            ));
        }
        Ok(())
    }

    pub(crate) fn check_voided(&self, acts: &Acts, report: &mut CheckReport) -> Result<(), LedgerError> {
        let mut statement = self.conn.prepare("SELECT act FROM voided")?;
        let marked: BTreeSet<[u8; 16]> =
            statement.query_map([], |row| row.get(0))?.collect::<Result<_, _>>()?;
        let wrong = marked.symmetric_difference(&acts.voided).count();
        if wrong > 0 {
            report.fault(format!("{wrong} acts are taken back by an entry or by the index, and not by both"));
        }
        let rows: i64 = self.conn.query_row("SELECT count(*) FROM act", [], |row| row.get(0))?;
        if rows.unsigned_abs() != acts.count {
            report.fault(format!("the index holds {rows} acts and the ledger gives {}", acts.count));
        }
        Ok(())
    }
}
