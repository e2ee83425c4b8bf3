//! Which slots were ever compared: two slots are, when one pack was read in both, or through a chain of such packs.

use super::{NO_SLOT, Readings};

/// How the slots of a bench hang together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Mixing {
    /// Slots with readings.
    pub(super) used: usize,
    /// Groups of slots that no pack connects.
    pub(super) islands: usize,
}

/// Joins the slots that share a pack (union by path halving).
pub(super) fn mixing(readings: &Readings) -> Mixing {
    let mut parent: Vec<Option<usize>> = vec![None; readings.slot_count];
    let mut used = 0;
    let mut joins = 0;
    for pack in 0..readings.packs() {
        let mut first: Option<usize> = None;
        let slots = readings.slot.get(readings.range(pack)).unwrap_or_default();
        for slot in slots.iter().filter(|&&slot| slot != NO_SLOT).map(|&slot| usize::from(slot)) {
            if let Some(entry @ None) = parent.get_mut(slot) {
                *entry = Some(slot);
                used += 1;
            }
            let root = root(&mut parent, slot);
            match first {
                Some(other) => {
                    let other = self::root(&mut parent, other);
                    if other != root {
                        if let Some(entry) = parent.get_mut(root) {
                            *entry = Some(other);
                        }
                        joins += 1;
                    }
                }
                None => first = Some(root),
            }
        }
    }
    Mixing { used, islands: used - joins }
}

fn root(parent: &mut [Option<usize>], mut slot: usize) -> usize {
    while let Some(Some(up)) = parent.get(slot).copied() {
        if up == slot {
            break;
        }
        let over = parent.get(up).copied().flatten().unwrap_or(up);
        if let Some(entry) = parent.get_mut(slot) {
            *entry = Some(over);
        }
        slot = over;
    }
    slot
}
