//! What a pack will hold at the end of a loan: for anybody who asks before it goes out.

use jiff::civil::Date;
use serde::Serialize;

use crate::domain::event::Origin;
use crate::domain::facts::PlayerFacts;
use crate::domain::ids::{PackId, PlayerId};
use crate::domain::moment::{Moment, day_after, days_between};
use crate::domain::pack::PackFacts;
use crate::domain::units::MilliampHours;
use crate::ledger::{Ledger, LedgerError};
use crate::policy::foresight::Foresight as _;
use crate::policy::limits::{limit, thirstiest};

use super::answer::hours;
use super::judging;

/// What a pack will hold when it comes back, by the fleet's model.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Foretold {
    /// The day on which it is likely back: as long after it is due as most loans are.
    pub back: Date,
    /// The mean.
    pub expected_mah: u32,
    /// The lower end of the 90 % interval.
    pub low_mah: u32,
    /// The upper end.
    pub high_mah: u32,
    /// Hours of play that the mean gives in the player, or in the thirstiest that the pack fits.
    pub expected_hours: Option<f64>,
    /// What a pack in service must hold there.
    pub limit_mah: Option<u32>,
    /// The chance that it holds less, in per cent.
    pub below_percent: Option<f64>,
    /// All of it in words.
    pub text: String,
}

/// Foretells a pack; none without a model, or when the model knows nothing of the pack.
///
/// # Errors
/// A fault of the ledger.
pub fn foretold(
    ledger: &mut Ledger,
    (id, player): (PackId, Option<PlayerId>),
    due: Date,
    now: Moment,
) -> Result<Option<Foretold>, LedgerError> {
    let pack: PackFacts = ledger.facts(id.into())?.unwrap_or_default();
    let player: Option<PlayerFacts> = match player {
        Some(player) => ledger.facts(player.into())?,
        None => None,
    };
    let today = now.day(ledger.zone());
    let settings = ledger.settings()?;
    let make = pack.make.and_then(|make| settings.makes.get(&make));
    let meant = player.and_then(|player| player.make).and_then(|make| settings.player_makes.get(&make));
    let player = meant.or_else(|| make.and_then(|make| thirstiest(make, &settings.players)));
    let Some(sight) = judging::sight(settings, (id, &pack), player, now) else { return Ok(None) };
    let days = u32::try_from(days_between(today, due)).unwrap_or(0).saturating_add(sight.overrun());
    let back = day_after(today, i64::from(days));
    let holds = sight.holds(days);
    let play = player.and_then(|player| holds.expected.play(player.draw));
    let limit = make.and_then(|make| limit(&settings.policy, Origin::Service, make, player));
    let below = limit.map(|limit| sight.below(limit, days));
    let mut text = format!("likely back {back}: holds {holds} then");
    if let Some(play) = play {
        text = format!("{text}; about {play} of play");
    }
    if let (Some(limit), Some(below)) = (limit, below) {
        text = format!("{text}; below {limit}: {below}");
    }
    Ok(Some(Foretold {
        back,
        expected_mah: holds.expected.raw(),
        low_mah: holds.low.raw(),
        high_mah: holds.high.raw(),
        expected_hours: play.map(hours),
        limit_mah: limit.map(MilliampHours::raw),
        below_percent: below.map(|below| f64::from(below.raw()) / 1e4),
        text,
    }))
}
