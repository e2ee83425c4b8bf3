//! The review's further lists: what rounds brought, cartons, roll calls, packs nobody saw, and fans of packs near their end.

use std::collections::{BTreeMap, HashMap, HashSet};

use jiff::civil::Date;
use serde::Serialize;

use crate::app::reckon::{Ends, Frame};
use crate::app::{judging, lookup};
use crate::domain::event::{Event, Origin};
use crate::domain::facts::{CartonFacts, LotFacts, MusterFacts};
use crate::domain::ids::{CartonId, LotId, PackId};
use crate::domain::moment::{Moment, day_after};
use crate::domain::pack::PackFacts;
use crate::ledger::settings::Settings;
use crate::ledger::{Ledger, LedgerError};
use crate::policy::foresight::Holding;
use crate::policy::judge::carton::{Standing, standing};
use crate::policy::limits::{limit, thirstiest};

use super::deeds::Done;
use super::lines;

/// When a pack is expected to reach its end, by the fleet's model.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Coming {
    /// What it holds now: the mean.
    pub holds_mah: u32,
    /// The lower end of the 90 % interval.
    pub low_mah: u32,
    /// The upper end.
    pub high_mah: u32,
    /// The month by whose end it is more likely than not below its limit.
    pub month: String,
    /// The month by whose end the chance is one in ten.
    pub first: String,
    /// The month by whose end it is nine in ten; none when that lies beyond the time looked at.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last: Option<String>,
}

impl Coming {
    /// `months` are the first days of the months that are looked at.
    pub(super) fn of(ends: Ends, holds: Holding, months: &[Date]) -> Option<Self> {
        let month = |place: u8| months.get(usize::from(place)).map(|day| day.strftime("%Y-%m").to_string());
        Some(Self {
            holds_mah: holds.expected.raw(),
            low_mah: holds.low.raw(),
            high_mah: holds.high.raw(),
            month: month(ends.expected)?,
            first: month(ends.first)?,
            last: ends.last.and_then(month),
        })
    }

    /// "2027-03 (2026-12 to 2027-09)".
    pub fn words(&self) -> String {
        let last = self.last.as_deref().unwrap_or("later");
        if self.first == self.month && last == self.month {
            self.month.clone()
        } else {
            format!("{} ({} to {last})", self.month, self.first)
        }
    }
}

/// One round of the month.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RoundLine {
    /// The day.
    pub day: Date,
    /// The pack's tag.
    pub pack: String,
    /// Its make.
    pub make: String,
    /// What it gave before, if it was read.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub before_mah: Option<u32>,
    /// What it gave after, if it was read again.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub after_mah: Option<u32>,
    /// What it must hold.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit_mah: Option<u32>,
}

/// A carton that was sampled in the month, or whose sample is owed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CartonLine {
    /// The carton.
    pub carton: String,
    /// Its make.
    pub make: String,
    /// Packs that it holds, as far as is known.
    pub packs: u32,
    /// Packs of its sample that were read.
    pub read: u32,
    /// Bad ones among them.
    pub bad: u32,
    /// What came of it.
    pub result: String,
}

/// A roll call of the month.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RollLine {
    /// The place.
    pub place: String,
    /// When it ended, local time.
    pub ended: String,
    /// Packs that were there.
    pub present: usize,
    /// Packs that should have been.
    pub missing: usize,
    /// Packs that were there and not expected.
    pub unexpected: usize,
}

/// A pack that should be here and that nobody knows of.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Lost {
    /// Its tag.
    pub pack: String,
    /// Its make.
    pub make: String,
    /// When somebody last had it in hand.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub seen: Option<Date>,
    /// Where that was, as far as is known.
    #[serde(rename = "where")]
    pub place: String,
    /// Missing since a day, or not seen for so long.
    pub why: String,
}

/// What one pack gave, and what is foreseen of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Fan {
    /// Its tag.
    pub pack: String,
    /// What it must hold in service, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit_mah: Option<u32>,
    /// Its readings: the day, and what it gave.
    pub readings: Vec<(Date, u32)>,
    /// The day, what it is expected to hold, and the ends of the 90 % interval.
    pub ahead: Vec<(Date, u32, u32, u32)>,
}

/// Fans reach so many months ahead.
const FAN_MONTHS: u32 = 12;

/// The cartons that were sampled in the month or whose sample is owed.
pub(super) fn cartons(
    settings: &Settings,
    (cartons, lots): (&HashMap<CartonId, CartonFacts>, &BTreeMap<LotId, LotFacts>),
    sampled: &HashSet<CartonId>,
) -> Vec<CartonLine> {
    let Some(rule) = settings.policy.rules.carton else { return Vec::new() };
    let mut lines = Vec::new();
    for (id, carton) in cartons.iter().filter(|(_, carton)| carton.packs > 0) {
        let make = carton.lot.and_then(|lot| lots.get(&lot)).and_then(|lot| settings.makes.get(&lot.make?));
        let Some(make) = make else { continue };
        let must = limit(&settings.policy, Origin::New, make, thirstiest(make, &settings.players));
        let Some(must) = must else { continue };
        let (read, bad, result) = match standing(carton, rule, must) {
            Standing::Waits { read, of, .. } => {
                (read, 0, format!("{} more to read", of.saturating_sub(read)))
            }
            Standing::Accepted { read, bad } if sampled.contains(id) => (read, bad, "accepted".to_owned()),
            Standing::Short { read, bad, dangerous } if sampled.contains(id) => {
                let why = if dangerous > 0 { "short: something dangerous was seen" } else { "short" };
                (read, bad, why.to_owned())
            }
            _ => continue,
        };
        lines.push(CartonLine {
            carton: carton.name.clone(),
            make: make.name.clone(),
            packs: carton.holds(),
            read,
            bad,
            result,
        });
    }
    lines.sort_by(|a, b| (&a.make, &a.carton).cmp(&(&b.make, &b.carton)));
    lines
}

/// The roll calls that ended in the month.
pub(super) fn rolls(ledger: &mut Ledger, done: &Done) -> Result<Vec<RollLine>, LedgerError> {
    let mut lines = Vec::new();
    for entry in done.rolls(ledger)? {
        let Event::MusterEnded(e) = &entry.event else { continue };
        let seen: MusterFacts = ledger.facts(e.muster.into())?.unwrap_or_default();
        let line = RollLine {
            place: lookup::name_of(ledger, e.place.into())?,
            ended: e.at.local(ledger.zone()),
            present: usize::try_from(e.present).unwrap_or(usize::MAX),
            missing: e.missing.len(),
            unexpected: seen.seen.values().filter(|expected| !**expected).count(),
        };
        lines.push((e.at, line));
    }
    lines.sort_by(|(at, a), (then, b)| (at, &a.place).cmp(&(then, &b.place)));
    Ok(lines.into_iter().map(|(_, line)| line).collect())
}

/// A pack that should be here and that nobody saw for long, or that is missing.
pub(super) fn lost(frame: &Frame, pack: &PackFacts) -> Lost {
    let seen = pack.last_seen();
    let why = match (pack.missing, seen) {
        (Some(since), _) => format!("missing since {}", since.day(&frame.zone)),
        (None, seen) => {
            format!("not seen for {} days", seen.map_or(0, |seen| frame.as_of.days_since(seen)))
        }
    };
    let place = pack.place.and_then(|(place, _)| frame.settings.places.get(&place));
    let place = match (place, pack.ride.is_some(), pack.run.is_some()) {
        (Some(place), ..) => place.name.clone(),
        (None, true, _) => "in a player".to_owned(),
        (None, _, true) => "in a slot".to_owned(),
        _ => String::new(),
    };
    Lost {
        pack: lookup::label(&pack.codes),
        make: lines::make_name(frame, pack),
        seen: seen.map(|at| at.day(&frame.zone)),
        place,
        why,
    }
}

/// The fan of a pack: none without a model, or when it says nothing of the pack.
pub(super) fn fan(
    settings: &Settings,
    (id, pack): (PackId, &PackFacts),
    limit_mah: Option<u32>,
    share_out: f64,
    (now, zone): (Moment, &jiff::tz::TimeZone),
) -> Option<Fan> {
    let sight = judging::sight(settings, (id, pack), None, now)?;
    let today = now.day(zone);
    let ahead = (0..=FAN_MONTHS).map(|month| {
        let days = month * 30;
        let holds = sight.holds_then(days, sight.pace() * share_out * f64::from(days));
        (day_after(today, i64::from(days)), holds.expected.raw(), holds.low.raw(), holds.high.raw())
    });
    Some(Fan {
        pack: lookup::label(&pack.codes),
        limit_mah,
        ahead: ahead.collect(),
        readings: pack
            .readings
            .iter()
            .map(|reading| (reading.at.day(zone), reading.capacity.raw()))
            .collect(),
    })
}
