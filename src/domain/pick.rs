//! A list of packs that are to go out: one line for each loan.

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::ids::{PackId, PlayerId, PlayerMakeId};

/// One loan of a list: which pack goes out in which player, and until when.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct PickLine {
    /// The pack.
    pub pack: PackId,
    /// The make of player.
    pub make: PlayerMakeId,
    /// The player, where one was free.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub player: Option<PlayerId>,
    /// When the loan is due.
    pub due: Date,
}
