//! Packs that are out and will hardly keep the promise till they come back.

use jiff::civil::Date;
use serde::Serialize;

use crate::app::answer::hours;
use crate::app::lookup;
use crate::domain::ids::PlayerId;
use crate::domain::units::{Draw, MilliampHours};
use crate::ledger::{Ledger, LedgerError};
use crate::policy::foresight::Holding;

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

/// The same, before its player's name was looked up.
#[derive(Debug)]
pub(super) struct Found {
    pub(super) codes: Vec<String>,
    pub(super) player: Option<PlayerId>,
    pub(super) due: Date,
    pub(super) limit: MilliampHours,
    pub(super) holds: Holding,
    pub(super) draw: Option<Draw>,
    pub(super) chance: f64,
}

/// Worst first, with names.
pub(super) fn named(ledger: &mut Ledger, mut found: Vec<Found>) -> Result<Vec<AtRisk>, LedgerError> {
    found.sort_by(|a, b| {
        b.chance.total_cmp(&a.chance).then(a.due.cmp(&b.due)).then_with(|| a.codes.cmp(&b.codes))
    });
    found
        .into_iter()
        .map(|found| {
            let player = found.player.map(|player| lookup::name_of(ledger, player.into())).transpose()?;
            Ok(AtRisk {
                pack: lookup::label(&found.codes),
                player,
                due: found.due,
                limit_mah: found.limit.raw(),
                expected_mah: found.holds.expected.raw(),
                low_mah: found.holds.low.raw(),
                high_mah: found.holds.high.raw(),
                play_h: found.draw.and_then(|draw| found.holds.expected.play(draw)).map(hours),
                chance_percent: (found.chance * 1e4).round() / 100.0,
            })
        })
        .collect()
}
