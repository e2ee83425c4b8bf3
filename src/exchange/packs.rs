//! A fleet that is there already: one row for each pack.

use jiff::civil::Date;

use crate::domain::event::Origin;
use crate::domain::tag::TagKind;
use crate::domain::units::Cycles;

use super::cells::{Cells, Code};
use super::fault::Fault;
use super::layout::{Field, Shape, Wanted};

/// The pack's first code.
pub const PACK: usize = 0;
/// Further codes.
pub const CODE: usize = 1;
/// The maker's serial.
pub const SERIAL: usize = 2;
/// The make.
pub const MAKE: usize = 3;
/// The lot.
pub const LOT: usize = 4;
/// The supplier's reference of the lot.
pub const SUPPLIER_REF: usize = 5;
/// New, or in service.
pub const ORIGIN: usize = 6;
/// The maker's date.
pub const MADE: usize = 7;
/// When it was received.
pub const ADDED: usize = 8;
/// Cycles before it came into the ledger.
pub const PRIOR_CYCLES: usize = 9;

/// The table of packs.
pub const SHAPE: Shape = Shape {
    name: "packs",
    fields: &[
        Field { name: "pack", wanted: Wanted::Once },
        Field { name: "code", wanted: Wanted::Often },
        Field { name: "serial", wanted: Wanted::Maybe },
        Field { name: "make", wanted: Wanted::Maybe },
        Field { name: "lot", wanted: Wanted::Maybe },
        Field { name: "supplier_ref", wanted: Wanted::Maybe },
        Field { name: "origin", wanted: Wanted::Maybe },
        Field { name: "made", wanted: Wanted::Maybe },
        Field { name: "added", wanted: Wanted::Maybe },
        Field { name: "prior_cycles", wanted: Wanted::Maybe },
    ],
};

/// A pack as a file gives it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PackRow<'a> {
    /// Its codes, the first of which is the one that the row is about.
    pub codes: Vec<(usize, Code)>,
    /// The maker's serial.
    pub serial: Option<&'a str>,
    /// Its make.
    pub make: Option<&'a str>,
    /// Its lot.
    pub lot: Option<&'a str>,
    /// The supplier's reference of the lot.
    pub supplier_ref: Option<&'a str>,
    /// New, or in service.
    pub origin: Origin,
    /// The maker's date.
    pub made: Option<Date>,
    /// When it was received.
    pub added: Option<Date>,
    /// Cycles before it came into the ledger, if known.
    pub prior: Option<Cycles>,
}

impl<'a> PackRow<'a> {
    /// Reads a row.
    ///
    /// # Errors
    /// The first thing that is wrong with it.
    pub fn read(cells: &Cells<'a>) -> Result<Self, Fault> {
        let pack = cells.codes(PACK, TagKind::Pack)?;
        if pack.is_empty() {
            return Err(cells.fault(PACK, "a code"));
        }
        let further = cells.codes(CODE, TagKind::Pack)?;
        let mut codes: Vec<(usize, Code)> = pack.into_iter().map(|code| (PACK, code)).collect();
        codes.extend(further.into_iter().map(|code| (CODE, code)));
        let origin = match cells.text(ORIGIN) {
            text if text.is_empty() || text.eq_ignore_ascii_case("service") => Origin::Service,
            text if text.eq_ignore_ascii_case("new") => Origin::New,
            _ => return Err(cells.fault(ORIGIN, "new or service")),
        };
        let (lot, supplier_ref) = (cells.short(LOT)?, cells.short(SUPPLIER_REF)?);
        if lot.is_none() && supplier_ref.is_some() {
            return Err(cells.fault(LOT, "a lot, since there is a supplier_ref"));
        }
        let (made, added) = (cells.date(MADE)?, cells.date(ADDED)?);
        if let (Some(made), Some(added)) = (made, added)
            && made > added
        {
            return Err(cells.fault(MADE, format!("a date not after it was added, {added}")));
        }
        Ok(Self {
            codes,
            serial: cells.short(SERIAL)?,
            make: cells.short(MAKE)?,
            lot,
            supplier_ref,
            origin,
            made,
            added,
            prior: cells.quantity(PRIOR_CYCLES, Cycles::parse_bare, "a number of cycles, or nothing")?,
        })
    }
}
