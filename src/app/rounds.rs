//! What rounds of reconditioning brought: how many packs came back over their limit, by make and age.
//!
//! A pack came back when its first reading after a round, and before the next one, reaches the limit of today. Rounds without such a
//! reading are told apart. Makes whose chemistry gains nothing from rounds are named as such.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::domain::facts::Facts;
use crate::domain::ids::{MakeId, ThingKind};
use crate::domain::moment::{Moment, days_between};
use crate::domain::pack::PackFacts;
use crate::ledger::settings::Settings;
use crate::ledger::{Ledger, LedgerError};
use crate::policy::limits::{limit, thirstiest};
use crate::stats::interval::Interval;
use crate::stats::normal;

/// Days of a year.
const YEAR: i64 = 365;
/// Years from which ages are taken together.
const OLDEST: i64 = 6;

/// What rounds brought.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Rounds {
    /// By make and age at the round.
    pub groups: Vec<Group>,
}

/// Rounds of packs of a make and age.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Group {
    /// The make.
    pub make: String,
    /// Its chemistry.
    pub chemistry: String,
    /// True where that gains from rounds at all.
    pub gains: bool,
    /// Whole years since the pack was made, or else came in; the last stands for all that are older.
    pub age_years: i64,
    /// The last group of ages: so old, or older.
    pub and_older: bool,
    /// Rounds with a reading after them.
    pub rounds: u32,
    /// Of those, the ones after which the pack held its limit.
    pub came_back: u32,
    /// That share, in per cent.
    pub share_percent: f64,
    /// The lower end of its 95 % interval (Wilson).
    pub low_percent: f64,
    /// The upper end.
    pub high_percent: f64,
    /// What the reading after a round was above the one before, on average; none where no pack was read before.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rise_mah: Option<f64>,
    /// Rounds that no reading followed yet.
    pub unread: u32,
}

#[derive(Debug, Clone, Default)]
struct Tally {
    rounds: u32,
    came_back: u32,
    rise: (f64, u32),
    unread: u32,
}

/// Counts the rounds of the whole fleet.
///
/// # Errors
/// A fault of the ledger.
pub fn rounds(ledger: &mut Ledger) -> Result<Rounds, LedgerError> {
    let settings = ledger.settings()?.clone();
    let zone = ledger.zone().clone();
    let mut tallies: BTreeMap<(MakeId, i64), Tally> = BTreeMap::new();
    ledger.each(ThingKind::Pack, |_, _, facts| {
        if let Facts::Pack(pack) = facts
            && pack.joined.is_none()
            && let Some(make) = pack.make
        {
            let age = |at: Moment| {
                let born = pack.made.or_else(|| pack.added.map(|added| added.day(&zone)));
                born.map_or(0, |born| days_between(born, at.day(&zone)).max(0) / YEAR).min(OLDEST)
            };
            for (round, next) in pack.rounds.iter().zip(pack.rounds.iter().skip(1).map(Some).chain([None])) {
                count(
                    tallies.entry((make, age(*round))).or_default(),
                    &settings,
                    (&pack, make),
                    *round,
                    next.copied(),
                );
            }
        }
        Ok::<(), LedgerError>(())
    })?;
    let groups = tallies.into_iter().filter_map(|((make, age), tally)| {
        let make = settings.makes.get(&make)?;
        let interval = wilson(tally.came_back, tally.rounds);
        let share = |part: f64| 100.0 * part;
        Some(Group {
            make: make.name.clone(),
            chemistry: make.chemistry.to_string(),
            gains: make.chemistry.gains_from_reconditioning(),
            age_years: age,
            and_older: age == OLDEST,
            rounds: tally.rounds,
            came_back: tally.came_back,
            share_percent: if tally.rounds == 0 {
                0.0
            } else {
                share(f64::from(tally.came_back) / f64::from(tally.rounds))
            },
            low_percent: share(interval.low),
            high_percent: share(interval.high),
            rise_mah: (tally.rise.1 > 0).then(|| tally.rise.0 / f64::from(tally.rise.1)),
            unread: tally.unread,
        })
    });
    let mut groups: Vec<Group> = groups.collect();
    groups.sort_by(|a, b| (&a.make, a.age_years).cmp(&(&b.make, b.age_years)));
    Ok(Rounds { groups })
}

fn count(
    tally: &mut Tally,
    settings: &Settings,
    (pack, make): (&PackFacts, MakeId),
    round: Moment,
    next: Option<Moment>,
) {
    let after = pack.readings.iter().find(|reading| reading.at > round);
    let Some(after) = after.filter(|reading| next.is_none_or(|next| reading.at <= next)) else {
        tally.unread += 1;
        return;
    };
    let Some(make) = settings.makes.get(&make) else { return };
    let player = thirstiest(make, &settings.players);
    let Some(must) = limit(&settings.policy, pack.origin(), make, player) else { return };
    tally.rounds += 1;
    tally.came_back += u32::from(after.capacity >= must);
    if let Some(before) = pack.readings.iter().rev().find(|reading| reading.at <= round) {
        tally.rise.0 += f64::from(after.capacity.raw()) - f64::from(before.capacity.raw());
        tally.rise.1 += 1;
    }
}

/// The 95 % interval of a share by Wilson's score (Wilson 1927, from memory): `(p + z^2 / 2n -+ z sqrt(p (1 - p) / n + z^2 / 4n^2)) / (1 +
/// z^2 / n)`; everything where nothing was counted.
fn wilson(hits: u32, of: u32) -> Interval {
    if of == 0 {
        return Interval { low: 0.0, high: 1.0 };
    }
    let (n, z) = (f64::from(of), normal::quantile(0.975));
    let share = f64::from(hits) / n;
    let square = z * z / n;
    let reach = z * (share * (1.0 - share) / n + square / (4.0 * n)).sqrt();
    Interval {
        low: ((share + square / 2.0 - reach) / (1.0 + square)).max(0.0),
        high: ((share + square / 2.0 + reach) / (1.0 + square)).min(1.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By R 4.2, `prop.test(x, n, correct = FALSE)`: 15 of 20 and 0 of 10.
    #[test]
    fn wilsons_interval() {
        for (hits, of, low, high) in [(15, 20, 0.531_299_1, 0.888_138_3), (0, 10, 0.0, 0.277_532_8)] {
            let found = wilson(hits, of);
            assert!((found.low - low).abs() < 1e-6 && (found.high - high).abs() < 1e-6, "{found:?}");
        }
        assert_eq!(wilson(0, 0), Interval { low: 0.0, high: 1.0 });
    }
}
