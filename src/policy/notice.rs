//! Which packs a safety notice covers.

use std::cmp::Ordering;

use crate::domain::event::Scope;
use crate::domain::pack::PackFacts;

/// True when every field that the scope gives matches the pack. A pack without a serial is covered by no serial range.
pub fn covers(scope: &Scope, pack: &PackFacts) -> bool {
    let make = scope.make.is_none_or(|make| pack.make == Some(make));
    let lot = scope.lot.is_none_or(|lot| pack.lot == Some(lot));
    let serial = scope.serials.as_ref().is_none_or(|(first, last)| {
        pack.serial.as_ref().is_some_and(|serial| {
            by_serial(first, serial) != Ordering::Greater && by_serial(serial, last) != Ordering::Greater
        })
    });
    make && lot && serial
}

/// Serial numbers in the order in which they are counted up: shorter first, then by text.
fn by_serial(a: &str, b: &str) -> Ordering {
    a.len().cmp(&b.len()).then_with(|| a.cmp(b))
}
