//! The end of the demo's day: what is at its end on this island is laid into the drum, and most of it leaves with the ferry.

use crate::app::answer::Answer;
use crate::app::consignment::{self, Gather};
use crate::app::error::AppError;
use crate::app::session::{Here, Session};
use crate::app::{judging, lookup, on_pack};
use crate::domain::facts::Facts;
use crate::domain::ids::{PackId, PlaceId, ThingKind};
use crate::domain::tag::Tag;
use crate::domain::verdict::Verdict;
use crate::ledger::LedgerError;

use super::error::DemoError;
use super::visit::World;

/// The consignment of the day.
pub(super) const NAME: &str = "autumn";
/// Dead packs that come too late for the ferry.
const LEFT_BEHIND: usize = 4;

/// Lays dead packs into the drum, packs a consignment and sends it off; `told` gets each scan with its answer.
///
/// # Errors
/// When an operation fails.
pub(super) fn clear(world: &mut World, mut told: impl FnMut(&str, &Answer)) -> Result<(), DemoError> {
    let dead = dead(world)?;
    let drum = world
        .ledger
        .settings()?
        .places
        .iter()
        .find(|(_, place)| place.tray == Some(Verdict::Recycle))
        .map(|(id, place)| (*id, lookup::label(&place.codes)));
    let Some((drum, drum_tag)) = drum else { return Ok(()) };
    for (pack, _) in &dead {
        step(world);
        let mut here = Here { ledger: &mut world.ledger, desk: &mut world.desk };
        let answer = on_pack::put(&mut here, *pack, PlaceId::new(drum.uuid()))?;
        told(&drum_tag, &answer);
    }
    let mut here = Here { ledger: &mut world.ledger, desk: &mut world.desk };
    let answer = consignment::open(&mut here, NAME, "Saltness Metals")?;
    told("packmuster consignment open autumn --handler 'Saltness Metals'", &answer);
    let mut session = Session::new(Gather::new(&mut world.ledger, Some(NAME))?);
    let leaving = dead.len().saturating_sub(LEFT_BEHIND);
    for (_, tag) in dead.iter().take(leaving) {
        step(world);
        let answer = session.scan(&mut world.ledger, &mut world.desk, tag.text())?;
        told(&tag.to_string(), &answer);
    }
    step(world);
    let mut here = Here { ledger: &mut world.ledger, desk: &mut world.desk };
    let answer = consignment::leave(&mut here, Some(NAME), Some("ferry 2210"))?;
    told("packmuster consignment leave autumn --reference 'ferry 2210'", &answer);
    Ok(())
}

fn step(world: &World) {
    world.clock.set(world.clock.get().plus_millis(20_000));
}

/// Packs of this island that lie loose and are at their end, by tag.
fn dead(world: &mut World) -> Result<Vec<(PackId, Tag)>, DemoError> {
    let writer = world.ledger.own().map(|own| own.writer);
    let settings = world.ledger.settings()?.clone();
    let cartons = std::collections::HashMap::new();
    let zone = world.ledger.zone().clone();
    let now = world.clock.get();
    let mut found = Vec::new();
    world.ledger.each(ThingKind::Pack, |thing, _, facts| {
        let id = PackId::new(thing.id);
        if let Facts::Pack(pack) = facts
            && pack.joined.is_none()
            && pack.loan.is_none()
            && pack.ride.is_none()
            && pack.run.is_none()
            && pack.missing.is_none()
            && pack.written_off.is_none()
            && judging::loose((id, &pack), &settings, &cartons, (now, &zone)).verdict == Verdict::Recycle
            && let Some(tag) = pack.codes.iter().rev().find_map(|code| code.parse::<Tag>().ok())
        {
            found.push((id, tag));
        }
        Ok::<(), LedgerError>(())
    })?;
    let mut here = Vec::new();
    for (id, tag) in found {
        if world.ledger.last_home_of(id.into()).map_err(AppError::from)? == writer {
            here.push((id, tag));
        }
    }
    Ok(here)
}
