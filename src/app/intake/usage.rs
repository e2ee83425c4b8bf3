//! What a ride cost its pack.

use crate::domain::event::{Basis, Use};
use crate::domain::facts::PlayerFacts;
use crate::domain::ids::PlayerId;
use crate::domain::moment::Moment;
use crate::domain::pack::{OpenRide, PackFacts};
use crate::domain::units::{Cycles, PlayHours};
use crate::ledger::{Ledger, LedgerError};

/// What a ride cost, in words.
pub(super) fn tell_use(used: Use) -> String {
    match used.basis {
        Basis::Counted(hours) => format!("{} by the player's {hours}", used.cycles),
        Basis::Unused => "no use: it stood on the shelf".to_owned(),
        Basis::Estimated { days } => format!("{} estimated from {days} days out", used.cycles),
    }
}

/// What a ride cost: by the player's hours if they are known, else estimated from the days out.
///
/// A ride that was never lent costs nothing.
pub(crate) fn usage(
    ledger: &mut Ledger,
    facts: &PackFacts,
    ride: OpenRide,
    lent: bool,
    hours: Option<PlayHours>,
    now: Moment,
) -> Result<Use, LedgerError> {
    if let Some(hours) = hours {
        return counted(ledger, facts, ride.player, hours);
    }
    if !lent {
        return Ok(Use { cycles: Cycles::default(), basis: Basis::Unused });
    }
    let since = facts.loan.map_or(ride.since, |loan| loan.since);
    let days = u32::try_from(now.days_since(since).max(0)).unwrap_or(u32::MAX);
    estimated(ledger, facts, ride.player, days)
}

/// What a ride cost, by the days that it was out.
pub(crate) fn estimated(
    ledger: &mut Ledger,
    facts: &PackFacts,
    player: PlayerId,
    days: u32,
) -> Result<Use, LedgerError> {
    let per_day = ledger.settings()?.policy.hours_per_day;
    let hours = PlayHours::new(per_day.raw().saturating_mul(days));
    let used = counted(ledger, facts, player, hours)?;
    Ok(Use { cycles: used.cycles, basis: Basis::Estimated { days } })
}

/// What a ride cost, by the player's own count.
pub(crate) fn counted(
    ledger: &mut Ledger,
    facts: &PackFacts,
    player: PlayerId,
    hours: PlayHours,
) -> Result<Use, LedgerError> {
    let player: PlayerFacts = ledger.facts(player.into())?.unwrap_or_default();
    let settings = ledger.settings()?;
    let draw = player.make.and_then(|make| settings.player_makes.get(&make)).map(|make| make.draw);
    let rated = facts.make.and_then(|make| settings.makes.get(&make)).map(|make| make.rated);
    let cycles = draw.zip(rated).map(|(draw, rated)| hours.cycles(draw, rated)).unwrap_or_default();
    Ok(Use { cycles, basis: Basis::Counted(hours) })
}
