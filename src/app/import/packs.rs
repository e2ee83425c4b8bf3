//! Importing packs.

use std::collections::HashMap;

use serde::Serialize;
use uuid::Uuid;

use crate::domain::event::{Entrance, Event, LotReceived, Origin, PackAdded, TagBound};
use crate::domain::facts::LotFacts;
use crate::domain::ids::{LotId, MakeId, PackId, Thing, ThingKind};
use crate::domain::moment::Moment;
use crate::exchange::cells::{Cells, Code};
use crate::exchange::layout::Shape;
use crate::exchange::packs::{self, PackRow};
use crate::ledger::query::Named;
use crate::ledger::{Ledger, LedgerError};

use super::super::error::AppError;
use super::super::input::Input;
use super::super::lookup;
use super::super::session::Here;
use super::{Import, Refusal};

/// A lot that rows name.
#[derive(Debug, Clone)]
struct Lot {
    id: LotId,
    make: Option<MakeId>,
    supplier_ref: String,
}

/// What an import of packs did.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize)]
pub struct Summary {
    /// Packs added.
    pub packs: u32,
    /// Of these, as new.
    pub packs_new: u32,
    /// Of these, as in service.
    pub packs_service: u32,
    /// Codes bound to them.
    pub codes: u32,
    /// Lots that were not there before.
    pub lots: u32,
}

/// An import of packs.
#[derive(Debug)]
pub struct Packs {
    makes: Vec<(String, MakeId)>,
    /// The make of rows that name none.
    default: Option<MakeId>,
    /// Every lot by name, of the ledger and of the file.
    lots: HashMap<String, Lot>,
    /// Every code of the file, good or bad, with its line.
    seen: HashMap<Uuid, u64>,
    summary: Summary,
}

impl Packs {
    /// Begins an import; `make` is the make of rows that name none. Without it, the only make there is.
    ///
    /// # Errors
    /// When there is no such make, or a fault of the ledger.
    pub fn new(ledger: &mut Ledger, make: Option<&str>) -> Result<Self, AppError> {
        let makes: Vec<(String, MakeId)> =
            ledger.settings()?.makes.iter().map(|(id, make)| (make.name.clone(), *id)).collect();
        let default = match (make, makes.as_slice()) {
            (Some(_), _) => Some(lookup::make(ledger, make)?),
            (None, [(_, only)]) => Some(*only),
            (None, _) => None,
        };
        let mut lots = HashMap::new();
        for (thing, facts) in ledger.all(ThingKind::Lot)? {
            if let Ok(LotFacts { name, make, supplier_ref, .. }) = facts.try_into() {
                lots.entry(name).or_insert(Lot { id: LotId::new(thing.id), make, supplier_ref });
            }
        }
        Ok(Self { makes, default, lots, seen: HashMap::new(), summary: Summary::default() })
    }

    fn make(&self, cells: &Cells<'_>, row: &PackRow<'_>) -> Result<MakeId, Refusal> {
        let known = || self.makes.iter().map(|(name, _)| name.as_str()).collect::<Vec<_>>().join(", ");
        let Some(given) = row.make else {
            let expected = || format!("a make, here or as --make; known are {}", known());
            return self.default.ok_or_else(|| cells.fault(packs::MAKE, expected()).into());
        };
        let exact = self.makes.iter().find(|(name, _)| name == given);
        let alike = || self.makes.iter().find(|(name, _)| name.eq_ignore_ascii_case(given));
        match exact.or_else(alike) {
            Some((_, make)) => Ok(*make),
            None => {
                Err(cells.fault(packs::MAKE, format!("a make of the ledger; known are {}", known())).into())
            }
        }
    }

    /// Refuses codes that are taken, stand in the file already, or cannot be scanned as codes.
    fn check_codes(
        &mut self,
        ledger: &mut Ledger,
        cells: &Cells<'_>,
        row: &PackRow<'_>,
    ) -> Result<(), Refusal> {
        let mut refused = None;
        for (field, code) in &row.codes {
            let id = Thing::code(code.text()).id;
            let before = *self.seen.entry(id).or_insert(cells.line());
            let twice = before != cells.line() || is_repeated(row, code);
            let expected = if twice {
                format!("a code that stands in the file once; it is in line {before} too")
            } else if let Some(named) = ledger.resolve(code.text())? {
                taken(ledger, named)?
            } else if let Code::Foreign(text) = code
                && !matches!(Input::read(text), Input::Other(_) | Input::Number(_))
            {
                "a code, and this is a word or an amount that desks understand".to_owned()
            } else {
                continue;
            };
            // All codes of a bad row are remembered, so the first fault waits.
            refused = refused.or_else(|| Some(cells.fault_of(*field, code.text(), expected)));
        }
        refused.map_or(Ok(()), |fault| Err(fault.into()))
    }

    /// The lot of a row, and its event when it is not there yet.
    fn lot(
        &mut self,
        here: &mut Here<'_>,
        cells: &Cells<'_>,
        row: &PackRow<'_>,
        (make, now, at): (MakeId, Moment, Moment),
    ) -> Result<Option<(LotId, Option<Event>)>, Refusal> {
        let Some(name) = row.lot else { return Ok(None) };
        if let Some(lot) = self.lots.get(name) {
            if lot.make != Some(make) {
                return Err(cells.fault(packs::LOT, "a lot of this make; it is of another").into());
            }
            if row.supplier_ref.is_some_and(|given| given != lot.supplier_ref) {
                let expected = format!("`{}`, the reference of lot {name}", lot.supplier_ref);
                return Err(cells.fault(packs::SUPPLIER_REF, expected).into());
            }
            return Ok(Some((lot.id, None)));
        }
        let id = LotId::draw(now, &mut here.desk.random);
        let supplier_ref = row.supplier_ref.unwrap_or_default().to_owned();
        let lot = Lot { id, make: Some(make), supplier_ref: supplier_ref.clone() };
        self.lots.insert(name.to_owned(), lot);
        self.summary.lots = self.summary.lots.saturating_add(1);
        let event = LotReceived { lot: id, make, name: name.to_owned(), supplier_ref, at };
        Ok(Some((id, Some(event.into()))))
    }
}

impl Import for Packs {
    type Summary = Summary;
    const SHAPE: Shape = packs::SHAPE;

    fn take(
        &mut self,
        here: &mut Here<'_>,
        now: Moment,
        cells: &Cells<'_>,
        events: &mut Vec<Event>,
    ) -> Result<(), Refusal> {
        let row = PackRow::read(cells)?;
        self.check_codes(here.ledger, cells, &row)?;
        let make = self.make(cells, &row)?;
        let today = now.day(here.ledger.zone());
        for (field, date) in [(packs::ADDED, row.added), (packs::MADE, row.made)] {
            if date.is_some_and(|date| date > today) {
                return Err(cells.fault(field, format!("a date not after today, {today}")).into());
            }
        }
        let at = row.added.map_or(now, |day| Moment::noon_of(day, here.ledger.zone()).min(now));
        // The lot comes last: all else of the row is known to be good when it is opened.
        let lot = self.lot(here, cells, &row, (make, now, at))?;
        let pack = PackId::draw_nth(now, self.summary.packs, &mut here.desk.random);
        let (lot, opened) = lot.map_or((None, None), |(lot, opened)| (Some(lot), opened));
        events.extend(opened);
        events.push(
            PackAdded {
                pack,
                make,
                origin: row.origin,
                entrance: Entrance::Imported,
                lot,
                carton: None,
                made: row.made,
                serial: row.serial.map(str::to_owned),
                prior: row.prior,
                at,
            }
            .into(),
        );
        for (_, code) in &row.codes {
            events.push(TagBound { code: code.text().to_owned(), thing: pack.into() }.into());
            self.summary.codes = self.summary.codes.saturating_add(1);
        }
        self.summary.packs = self.summary.packs.saturating_add(1);
        let by_origin = match row.origin {
            Origin::New => &mut self.summary.packs_new,
            Origin::Service => &mut self.summary.packs_service,
        };
        *by_origin = by_origin.saturating_add(1);
        Ok(())
    }

    fn summary(&mut self, _ledger: &mut Ledger, _now: Moment) -> Result<Summary, LedgerError> {
        Ok(self.summary.clone())
    }
}

/// True for a code that its own row has twice.
fn is_repeated(row: &PackRow<'_>, code: &Code) -> bool {
    row.codes.iter().filter(|(_, other)| other == code).count() > 1
}

/// What was expected of a code that names something, or did.
fn taken(ledger: &mut Ledger, named: Named) -> Result<String, LedgerError> {
    Ok(match named {
        Named::Now(thing) => {
            let name = lookup::name_of(ledger, thing)?;
            format!("a code that is not in the ledger yet; it names the {} {name}", thing.kind)
        }
        Named::Once(thing) => {
            let name = lookup::name_of(ledger, thing)?;
            format!("a code that was never used; the {} {name} wore it once", thing.kind)
        }
    })
}
