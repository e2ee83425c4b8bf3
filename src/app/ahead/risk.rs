//! Packs that are out and will hardly keep the promise till they come back.

use jiff::civil::Date;
use serde::Serialize;

use crate::app::answer::hours;
use crate::app::lookup;
use crate::app::reckon::Frame;
use crate::domain::facts::PlayerFacts;
use crate::domain::ids::PackId;
use crate::domain::pack::PackFacts;
use crate::ledger::{Ledger, LedgerError};

/// A pack that is out, and too likely to be below its limit when it comes back.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AtRisk {
    /// The pack's tag.
    pub pack: String,
    /// The player's, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub player: Option<String>,
    /// When it is due.
    pub due: Date,
    /// What it must hold.
    pub limit_mah: u32,
    /// What it is expected to hold when it comes back: the mean.
    pub expected_mah: u32,
    /// The lower end of the 90 % interval.
    pub low_mah: u32,
    /// The upper end.
    pub high_mah: u32,
    /// Hours of play that the expected capacity gives: capacity over draw.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub play_h: Option<f64>,
    /// The chance that it will hold less than its limit, in per cent.
    pub chance_percent: f64,
}

/// What is told of a pack at risk, as entries up to a clock value gave it; none when it is not at risk.
pub(super) fn line(
    ledger: &mut Ledger,
    frame: &Frame,
    id: PackId,
    clock: i64,
) -> Result<Option<AtRisk>, LedgerError> {
    let Some((pack, last)) = ledger.facts_and_last::<PackFacts>(id.into(), clock)? else { return Ok(None) };
    let player = match pack.ride {
        Some(ride) => ledger.facts_until::<PlayerFacts>(ride.player.into(), clock)?,
        None => None,
    };
    let player = player.map(|player| lookup::label(&player.codes));
    Ok(frame.risk_of(id, &pack, last).map(|risk| AtRisk {
        pack: lookup::label(&pack.codes),
        player,
        due: risk.due,
        limit_mah: risk.limit.raw(),
        expected_mah: risk.holds.expected.raw(),
        low_mah: risk.holds.low.raw(),
        high_mah: risk.holds.high.raw(),
        play_h: risk.draw.and_then(|draw| risk.holds.expected.play(draw)).map(hours),
        chance_percent: (risk.chance * 1e4).round() / 100.0,
    }))
}
