//! What reports need of one player.

use serde::{Deserialize, Serialize};

use crate::domain::facts::PlayerFacts;
use crate::domain::ids::PlayerId;

use super::{Raw, Reckoned};
use crate::app::lookup;

/// One player.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Player {
    pub(crate) label: String,
    pub(crate) make: Option<Raw>,
    /// It could go out today.
    pub(crate) here: bool,
    /// It says that it holds a pack which says otherwise: in words.
    pub(crate) odd: Option<String>,
}

impl Player {
    /// Reckons a player; `holds` is the pack that it should hold, if that counts.
    pub(crate) fn of(id: PlayerId, player: &PlayerFacts, holds: Option<&Reckoned>) -> Self {
        let own = Some(id.uuid().into_bytes());
        let riding = holds.filter(|pack| pack.place.active() && pack.player.is_some());
        let odd = match (player.ride, riding) {
            (None, _) => None,
            (Some(_), Some(pack)) if pack.player == own => None,
            (Some(_), Some(pack)) => {
                Some(format!("pack {} should be in it, and rides in another player", pack.label))
            }
            (Some(_), None) => Some("a pack should be in it that rides in no player".to_owned()),
        };
        Self {
            label: lookup::label(&player.codes),
            make: player.make.map(|make| make.uuid().into_bytes()),
            here: player.loan.is_none() && player.written_off.is_none() && player.arrived.is_none(),
            odd,
        }
    }
}
