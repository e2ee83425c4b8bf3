//! Limits in charge from the promise in hours.

use crate::domain::event::Origin;
use crate::domain::make::{PackMake, PlayerMake};
use crate::domain::units::MilliampHours;

use super::rules::{Limit, Policy};

/// The charge that a pack must hold: `limit = promise x draw`, or the charge that the policy states, or the policy's share
/// of the rated capacity, whichever is more.
///
/// `None` when the limit is in hours and no player is known that the pack could ride in.
pub fn limit(
    policy: &Policy,
    origin: Origin,
    make: &PackMake,
    player: Option<&PlayerMake>,
) -> Option<MilliampHours> {
    let limits = policy.limits(origin);
    let stated = match limits.limit {
        Limit::Hours(hours) => hours.charge(player?.draw),
        Limit::Charge(charge) => charge,
    };
    Some(stated.max(make.rated.percent(limits.percent_of_rated)))
}

/// The make of player with the highest draw among those that the pack fits: a loose pack is judged for it.
pub fn thirstiest<'a>(
    make: &PackMake,
    players: impl IntoIterator<Item = &'a PlayerMake>,
) -> Option<&'a PlayerMake> {
    players.into_iter().filter(|player| player.form == make.form).max_by_key(|player| player.draw)
}
