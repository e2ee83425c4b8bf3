//! Checking a ledger: the chains, the heads and the projections.
//!
//! A changed, dropped or swapped entry breaks its chain. A truncated tail leaves the chain whole, and shows against the
//! head row; where that was forged too, against the projections or a checkpoint kept elsewhere (the heads that the review
//! prints).

use rusqlite::params;
use serde::Serialize;

use crate::domain::event::Event;
use crate::domain::ids::WriterId;

use super::acts::Acts;
use super::chain::{GENESIS, Link, hex};
use super::error::LedgerError;
use super::file::Ledger;
use super::project::code;
use super::write::signed;

/// Faults named one by one; the rest are counted.
const NAMED: usize = 20;

/// What a check found.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CheckReport {
    /// Entries read.
    pub entries: u64,
    /// Chains read.
    pub chains: usize,
    /// Things whose facts were folded anew and compared.
    pub things: u64,
    /// How many faults there are.
    pub fault_count: u64,
    /// The first of them, in words.
    pub faults: Vec<String>,
}

impl CheckReport {
    pub(crate) fn fault(&mut self, text: String) {
        self.fault_count += 1;
        if self.faults.len() < NAMED {
            self.faults.push(text);
        }
    }

    /// True when nothing is wrong.
    pub const fn is_sound(&self) -> bool {
        self.fault_count == 0
    }
}

impl Ledger {
    /// Checks every chain against its hashes and head, and every projection against a fresh fold.
    ///
    /// # Errors
    /// A fault of the file. What is wrong with the ledger is in the report.
    pub fn check(&mut self, mut progress: impl FnMut(u64)) -> Result<CheckReport, LedgerError> {
        self.transact(|ledger| {
            let mut report =
                CheckReport { entries: 0, chains: 0, things: 0, fault_count: 0, faults: Vec::new() };
            let integrity: String = ledger.conn.query_row("PRAGMA quick_check", [], |row| row.get(0))?;
            if integrity != "ok" {
                report.fault(format!("the file itself is damaged: {integrity}"));
            }
            let touches = ledger.check_chains(&mut report, &mut progress)?;
            ledger.check_projections(&mut report, touches, &mut progress)?;
            Ok(report)
        })
    }

    fn check_chains(
        &mut self,
        report: &mut CheckReport,
        progress: &mut impl FnMut(u64),
    ) -> Result<u64, LedgerError> {
        let mut statement = self.conn.prepare(
            "SELECT writer, number, clock, recorded, desk, operator, act, kind, body, hash FROM entry
             ORDER BY writer, number",
        )?;
        let mut rows = statement.query([])?;
        let mut chain = Chain::default();
        let mut acts = Acts::default();
        let mut touches = 0;
        while let Some(row) = rows.next()? {
            let writer: [u8; 16] = row.get(0)?;
            if chain.writer != Some(writer) {
                self.check_head(&chain, report)?;
                chain = Chain { writer: Some(writer), ..Chain::default() };
                report.chains += 1;
            }
            let link = Link {
                writer: &writer,
                number: row.get::<_, i64>(1)?.unsigned_abs(),
                clock: row.get(2)?,
                recorded: row.get(3)?,
                desk: &row.get::<_, String>(4)?,
                operator: &row.get::<_, String>(5)?,
                act: &row.get(6)?,
                kind: &row.get::<_, String>(7)?,
                body: &row.get::<_, String>(8)?,
            };
            let stored: [u8; 32] = row.get(9)?;
            chain.follow(&link, &stored, report);
            if acts.follow(&link) {
                self.check_act(&acts, report)?;
            }
            touches += self.check_entry(&link, &mut acts, report)?;
            report.entries += 1;
            progress(report.entries);
        }
        self.check_head(&chain, report)?;
        if acts.close() {
            self.check_act(&acts, report)?;
        }
        self.check_voided(&acts, report)?;
        let heads: i64 =
            self.conn.query_row("SELECT count(*) FROM writer WHERE number > 0", [], |row| row.get(0))?;
        if heads.unsigned_abs() != u64::try_from(report.chains).unwrap_or(u64::MAX) {
            report.fault(format!("{heads} chains have a head and {} have entries", report.chains));
        }
        Ok(touches)
    }

    /// Reads the entry and checks that each thing that it touches knows of it; returns how many there are.
    fn check_entry(
        &self,
        link: &Link<'_>,
        acts: &mut Acts,
        report: &mut CheckReport,
    ) -> Result<u64, LedgerError> {
        let event = match Event::from_json(link.kind, link.body) {
            Some(Ok(event)) => event,
            Some(Err(error)) => {
                report.fault(format!("entry {} ({}) does not read: {error}", link.number, link.kind));
                return Ok(0);
            }
            None => {
                report.fault(format!("entry {} is of the unknown kind `{}`", link.number, link.kind));
                return Ok(0);
            }
        };
        if let Event::ActVoided(void) = &event {
            acts.voids(void.act);
        }
        let mut things = event.things();
        things.sort_unstable();
        things.dedup();
        for thing in &things {
            let known: bool = self
                .conn
                .prepare_cached(
                    "SELECT EXISTS (SELECT 1 FROM touch
                     WHERE kind = ?1 AND id = ?2 AND clock = ?3 AND writer = ?4 AND number = ?5)",
                )?
                .query_row(
                    params![
                        code(thing.kind),
                        thing.id.as_bytes(),
                        link.clock,
                        link.writer,
                        signed(link.number)?
                    ],
                    |row| row.get(0),
                )?;
            if !known {
                report.fault(format!(
                    "entry {} ({}) is missing from the history of a {}",
                    link.number, link.kind, thing.kind
                ));
            }
        }
        Ok(u64::try_from(things.len()).unwrap_or(0))
    }

    fn check_head(&self, chain: &Chain, report: &mut CheckReport) -> Result<(), LedgerError> {
        let Some(writer) = chain.writer else { return Ok(()) };
        let name = WriterId::new(uuid::Uuid::from_bytes(writer));
        let mut statement = self.conn.prepare_cached("SELECT number, hash FROM writer WHERE writer = ?1")?;
        let mut rows = statement.query([writer])?;
        let Some(row) = rows.next()? else {
            report.fault(format!("writer {name} has entries and no head"));
            return Ok(());
        };
        let (number, hash): (i64, [u8; 32]) = (row.get(0)?, row.get(1)?);
        if number.unsigned_abs() != chain.number || hash != chain.hash {
            report.fault(format!(
                "writer {name} ends at entry {}, and its head says entry {number}: entries are missing at the end",
                chain.number
            ));
        }
        Ok(())
    }

    fn check_projections(
        &mut self,
        report: &mut CheckReport,
        touches: u64,
        progress: &mut impl FnMut(u64),
    ) -> Result<(), LedgerError> {
        let count =
            |sql: &str| self.conn.query_row(sql, [], |row| row.get::<_, i64>(0)).map(i64::unsigned_abs);
        let stored = count("SELECT count(*) FROM touch")?;
        if stored != touches {
            report.fault(format!("the histories hold {stored} entries and the ledger gives {touches}"));
        }
        let rows = count("SELECT count(*) FROM thing")?;
        let touched = count("SELECT count(*) FROM (SELECT DISTINCT kind, id FROM touch)")?;
        if rows != touched {
            report.fault(format!("{rows} things have facts and {touched} have a history"));
        }
        for thing in self.every_thing()? {
            let fresh = match self.fold_until(thing, i64::MAX) {
                Ok(fresh) => fresh,
                Err(LedgerError::Kind { .. } | LedgerError::Json { .. }) => continue, // named with its entry above
                Err(error) => return Err(error),
            };
            let equal = match (&fresh, self.stored_row(thing)) {
                (Some((facts, last)), Ok(Some(row))) => *facts == row.facts && *last == row.last,
                (_, Ok(_) | Err(LedgerError::Json { .. })) => false,
                (_, Err(error)) => return Err(error),
            };
            if !equal {
                report
                    .fault(format!("the facts of {} {} are not what its entries give", thing.kind, thing.id));
            }
            report.things += 1;
            progress(report.entries + report.things);
        }
        Ok(())
    }
}

/// A chain as it is walked.
#[derive(Default)]
struct Chain {
    writer: Option<[u8; 16]>,
    number: u64,
    clock: i64,
    hash: [u8; 32],
}

impl Chain {
    fn follow(&mut self, link: &Link<'_>, stored: &[u8; 32], report: &mut CheckReport) {
        let previous = if self.number == 0 { GENESIS } else { self.hash };
        if link.number != self.number + 1 {
            report.fault(format!(
                "after entry {} comes entry {}: entries are missing",
                self.number, link.number
            ));
        }
        if link.clock <= self.clock {
            report.fault(format!("the clock of entry {} does not go forward", link.number));
        }
        let computed = link.hash(&previous);
        if computed != *stored {
            report.fault(format!(
                "entry {} ({}) is not what was written: its hash is {} and should be {}",
                link.number,
                link.kind,
                hex(stored.get(..4).unwrap_or_default()),
                hex(computed.get(..4).unwrap_or_default())
            ));
        }
        (self.number, self.clock, self.hash) = (link.number, link.clock, *stored);
    }
}
