//! Waste on hand: packs at their end that have not left, against how much of them and how long they may be kept.

use std::collections::BTreeMap;

use jiff::civil::Date;
use serde::Serialize;

use crate::domain::facts::Facts;
use crate::domain::ids::{MakeId, ThingKind};
use crate::domain::make::Chemistry;
use crate::domain::moment::{Moment, day_after, days_between};
use crate::domain::pack::PackFacts;
use crate::domain::units::Grams;
use crate::ledger::settings::Settings;
use crate::ledger::{Ledger, LedgerError};

use super::answer::count;
use super::listed::Listed;
use super::lookup;

/// Waste on hand.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Waste {
    /// The day.
    pub as_of: Date,
    /// Packs.
    pub packs: u32,
    /// Of those, packed into an open consignment.
    pub packed: u32,
    /// Their mass, as far as it is known.
    pub mass_g: u64,
    /// Packs whose mass is not known.
    pub without_mass: u32,
    /// Less than this may be kept.
    pub limit_g: u64,
    /// When the oldest became waste.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub oldest: Option<Date>,
    /// The day by which the oldest must have left.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub leave_by: Option<Date>,
    /// Days until then; negative when it is past.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub days_left: Option<i64>,
    /// The rule set that both limits come from.
    pub rules: String,
    /// Packs by chemistry; makes that are not known as none.
    pub by_chemistry: Vec<OfChemistry>,
    /// What must be done, if anything.
    pub warnings: Vec<String>,
    /// Pack by pack, oldest first.
    pub items: Listed<Item>,
    /// Packs that may be dangerous.
    #[serde(skip)]
    pub damaged: u32,
}

/// Waste of one chemistry.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OfChemistry {
    /// The chemistry, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub chemistry: Option<Chemistry>,
    /// How many packs.
    pub packs: u32,
    /// Their mass, as far as it is known.
    pub mass_g: u64,
    /// Packs whose mass is not known.
    pub without_mass: u32,
}

/// One pack that waits for a recycler.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Item {
    /// Its tag.
    pub pack: String,
    /// Its make.
    pub make: String,
    /// When it became waste.
    pub since: Date,
    /// Where it lies.
    #[serde(rename = "where")]
    pub place: String,
    /// It is damaged, by what was seen on it.
    pub damaged: bool,
}

/// A growing tally of waste.
pub(crate) struct Tally {
    waste: Waste,
    items: Vec<Item>,
    by_chemistry: BTreeMap<Option<Chemistry>, (u32, u64, u32)>,
    warn_days: i64,
    accumulate_days: i64,
    zone: jiff::tz::TimeZone,
}

impl Tally {
    pub(crate) fn new(settings: &Settings, as_of: Date, zone: jiff::tz::TimeZone) -> Self {
        let rule = &settings.policy.waste;
        Self {
            waste: Waste {
                as_of,
                packs: 0,
                packed: 0,
                mass_g: 0,
                without_mass: 0,
                limit_g: u64::from(rule.handler_limit.raw()),
                oldest: None,
                leave_by: None,
                days_left: None,
                rules: rule.rules.clone(),
                by_chemistry: Vec::new(),
                warnings: Vec::new(),
                items: Listed::default(),
                damaged: 0,
            },
            items: Vec::new(),
            by_chemistry: BTreeMap::new(),
            warn_days: i64::from(rule.warn_days),
            accumulate_days: i64::from(rule.accumulate_days),
            zone,
        }
    }

    /// Takes a pack in, if it is waste that has not left.
    pub(crate) fn take(&mut self, settings: &Settings, pack: &PackFacts) {
        let Some(retired) = pack.retired.filter(|_| pack.left().is_none() && pack.joined.is_none()) else {
            return;
        };
        let item = item(settings, pack, retired.day(&self.zone));
        self.count(settings, pack.make, (item.since, pack.consigned.is_some(), item.damaged));
        self.items.push(item);
    }

    /// Counts a pack of waste: since when it is, whether it is packed, and whether it is damaged.
    pub(crate) fn count(
        &mut self,
        settings: &Settings,
        make: Option<MakeId>,
        (since, packed, damaged): (Date, bool, bool),
    ) {
        let waste = &mut self.waste;
        let make = make.and_then(|make| settings.makes.get(&make));
        waste.packs += 1;
        waste.packed += u32::from(packed);
        waste.damaged += u32::from(damaged);
        let mass = make.and_then(|make| make.mass).map(Grams::raw);
        match mass {
            Some(mass) => waste.mass_g += u64::from(mass),
            None => waste.without_mass += 1,
        }
        let of = self.by_chemistry.entry(make.map(|make| make.chemistry)).or_default();
        *of = (of.0 + 1, of.1 + u64::from(mass.unwrap_or(0)), of.2 + u32::from(mass.is_none()));
        waste.oldest = Some(waste.oldest.map_or(since, |oldest| oldest.min(since)));
    }

    /// The tally, with the items that were taken.
    pub(crate) fn finish(mut self) -> Waste {
        let mut items = std::mem::take(&mut self.items);
        items.sort_by(|a, b| (a.since, &a.pack).cmp(&(b.since, &b.pack)));
        self.finish_with(items.into())
    }

    /// The tally, with items that were gathered elsewhere.
    pub(crate) fn finish_with(self, items: Listed<Item>) -> Waste {
        let mut waste = Waste { items, ..self.waste };
        waste.by_chemistry = self
            .by_chemistry
            .into_iter()
            .map(|(chemistry, (packs, mass_g, without_mass))| OfChemistry {
                chemistry,
                packs,
                mass_g,
                without_mass,
            })
            .collect();
        if let Some(oldest) = waste.oldest {
            let by = day_after(oldest, self.accumulate_days);
            let left = days_between(waste.as_of, by);
            (waste.leave_by, waste.days_left) = (Some(by), Some(left));
            if left < 0 {
                waste.warnings.push(format!(
                    "the oldest pack became waste on {oldest} and should have left by {by}: {} over",
                    days(-left)
                ));
            } else if left <= self.warn_days {
                waste.warnings.push(format!(
                    "the oldest pack became waste on {oldest} and must have left by {by}: {} to go",
                    days(left)
                ));
            }
        }
        let damaged = usize::try_from(waste.damaged).unwrap_or(usize::MAX);
        if damaged > 0 {
            waste.warnings.push(format!(
                "{} of it may be dangerous: keep that apart, and send it off first",
                count(damaged, "pack", "packs")
            ));
        }
        if waste.mass_g >= waste.limit_g {
            waste.warnings.push(format!(
                "{} kg are on hand, and less than {} kg may be kept",
                waste.mass_g / 1000,
                waste.limit_g / 1000
            ));
        }
        waste
    }
}

/// What is told of a pack of waste.
pub(crate) fn item(settings: &Settings, pack: &PackFacts, since: Date) -> Item {
    let make = pack.make.and_then(|make| settings.makes.get(&make));
    let place = match (pack.consigned, pack.place) {
        (Some(consigned), _) => format!("box {} of a consignment", consigned.number),
        (None, Some((place, _))) => {
            settings.places.get(&place).map(|place| place.name.clone()).unwrap_or_default()
        }
        (None, None) => "in no place".to_owned(),
    };
    Item {
        pack: lookup::label(&pack.codes),
        make: make.map_or_else(|| "unknown".to_owned(), |make| make.name.clone()),
        since,
        place,
        damaged: is_damaged(pack),
    }
}

/// Something dangerous was seen on it.
pub(crate) fn is_damaged(pack: &PackFacts) -> bool {
    pack.findings.iter().any(|(finding, _)| finding.is_dangerous())
}

/// A number of days in words.
pub fn days(days: i64) -> String {
    count(usize::try_from(days).unwrap_or(0), "day", "days")
}

/// Works out what waste is on hand.
///
/// # Errors
/// A fault of the ledger.
pub fn on_hand(ledger: &mut Ledger, now: Moment) -> Result<Waste, LedgerError> {
    let settings = ledger.settings()?.clone();
    let zone = ledger.zone().clone();
    let mut tally = Tally::new(&settings, now.day(&zone), zone.clone());
    ledger.each(ThingKind::Pack, |_, _, facts| {
        if let Facts::Pack(pack) = facts {
            tally.take(&settings, &pack);
        }
        Ok::<(), LedgerError>(())
    })?;
    Ok(tally.finish())
}
