//! Readings: past ones from an older record, and results of the bench.

use crate::domain::tag::TagKind;
use crate::domain::units::{Celsius, MilliampHours, Milliohms, Minutes};

use super::cells::{Cells, Code, When};
use super::fault::Fault;
use super::layout::{Field, Shape, Wanted};

/// A code of the pack.
pub const PACK: usize = 0;
/// When it was read.
pub const AT: usize = 1;
/// What it gave.
pub const CAPACITY: usize = 2;
/// Internal resistance.
pub const RESISTANCE: usize = 3;
/// Temperature.
pub const TEMPERATURE: usize = 4;
/// How long it took.
pub const TOOK: usize = 5;
/// In which slot.
pub const SLOT: usize = 6;

/// The table of readings.
pub const SHAPE: Shape = Shape {
    name: "readings",
    fields: &[
        Field { name: "pack", wanted: Wanted::Maybe },
        Field { name: "at", wanted: Wanted::Once },
        Field { name: "capacity", wanted: Wanted::Once },
        Field { name: "resistance", wanted: Wanted::Maybe },
        Field { name: "temperature", wanted: Wanted::Maybe },
        Field { name: "took", wanted: Wanted::Maybe },
        Field { name: "slot", wanted: Wanted::Maybe },
    ],
};

/// A reading as a file gives it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReadingRow<'a> {
    /// A code of the pack; without one, the pack in the slot.
    pub pack: Option<Code>,
    /// When it was taken.
    pub at: When,
    /// What it gave.
    pub capacity: MilliampHours,
    /// Internal resistance.
    pub resistance: Option<Milliohms>,
    /// Temperature.
    pub temperature: Option<Celsius>,
    /// How long it took.
    pub took: Option<Minutes>,
    /// Name or tag of the slot.
    pub slot: Option<&'a str>,
}

impl<'a> ReadingRow<'a> {
    /// Reads a row.
    ///
    /// # Errors
    /// The first thing that is wrong with it.
    pub fn read(cells: &Cells<'a>) -> Result<Self, Fault> {
        let pack = cells.codes(PACK, TagKind::Pack)?.into_iter().next();
        let slot = cells.short(SLOT)?;
        if pack.is_none() && slot.is_none() {
            return Err(cells.fault(PACK, "a code, or a slot with an open run"));
        }
        let at = cells.when(AT)?.ok_or_else(|| cells.fault(AT, "a date"))?;
        let capacity = cells
            .quantity(CAPACITY, MilliampHours::parse_bare, "whole mAh such as 812")?
            .ok_or_else(|| cells.fault(CAPACITY, "whole mAh such as 812"))?;
        Ok(Self {
            pack,
            at,
            capacity,
            resistance: cells.quantity(RESISTANCE, Milliohms::parse_bare, "mOhm such as 95 or 95.25")?,
            temperature: cells.quantity(
                TEMPERATURE,
                Celsius::parse_bare,
                "degrees Celsius such as 23 or 23.5",
            )?,
            took: cells.quantity(TOOK, Minutes::parse_bare, "whole minutes such as 410")?,
            slot,
        })
    }
}
