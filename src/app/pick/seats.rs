//! Which player a picked pack goes out in: the one that it rides in where that is of the make, else an empty one here.

use std::collections::{HashMap, VecDeque};

use crate::domain::facts::PlayerFacts;
use crate::domain::ids::{PlayerId, PlayerMakeId, ThingKind};
use crate::ledger::{Ledger, LedgerError};

use super::Loan;
use crate::app::lookup;

/// Gives each proposed pack a player, as far as there are any.
pub(super) fn assign(ledger: &mut Ledger, loans: &mut [Loan]) -> Result<(), LedgerError> {
    let mut free: HashMap<PlayerMakeId, Vec<(String, PlayerId)>> = HashMap::new();
    let mut names: HashMap<PlayerId, (Option<PlayerMakeId>, String)> = HashMap::new();
    ledger.each(ThingKind::Player, |thing, _, facts| {
        let Ok(player) = PlayerFacts::try_from(facts) else { return Ok(()) };
        if player.loan.is_some() || player.written_off.is_some() || player.arrived.is_some() {
            return Ok(());
        }
        let (id, name) = (PlayerId::new(thing.id), lookup::label(&player.codes));
        if let (None, Some(make)) = (player.ride, player.make) {
            free.entry(make).or_default().push((name.clone(), id));
        }
        names.insert(id, (player.make, name));
        Ok::<(), LedgerError>(())
    })?;
    let mut free: HashMap<PlayerMakeId, VecDeque<(String, PlayerId)>> = free
        .into_iter()
        .map(|(make, mut players)| {
            players.sort();
            (make, players.into())
        })
        .collect();
    for loan in loans {
        let make = loan.make;
        let Some(pack) = &mut loan.pack else { continue };
        let own = pack.rides_in.and_then(|player| {
            names.get(&player).filter(|(of, _)| *of == Some(make)).map(|(_, name)| (name.clone(), player))
        });
        let seat = own.or_else(|| free.get_mut(&make).and_then(VecDeque::pop_front));
        if let Some((name, player)) = seat {
            (pack.player, pack.player_id) = (Some(name), Some(player));
        }
    }
    Ok(())
}
