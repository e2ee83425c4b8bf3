//! What is in a consignment: by chemistry and condition, box by box, and pack by pack.

use std::collections::BTreeMap;

use jiff::civil::Date;
use serde::Serialize;

use crate::domain::finding::Finding;
use crate::domain::make::Chemistry;
use crate::domain::pack::PackFacts;
use crate::domain::units::{Grams, WattHours};
use crate::domain::waste::Condition;
use crate::ledger::Ledger;
use crate::policy::waste::WasteRule;

use crate::app::error::AppError;
use crate::app::lookup;

/// A consignment as its papers tell it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Manifest {
    /// Its name.
    pub name: String,
    /// Who takes it.
    pub handler: String,
    /// The day on which it was opened.
    pub opened: Date,
    /// The day on which it left.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub left: Option<Date>,
    /// The carrier's number.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reference: Option<String>,
    /// The rule set that marks and limits come from.
    pub rules: String,
    /// The words on each box.
    pub label: String,
    /// By chemistry and condition.
    pub rows: Vec<Row>,
    /// Box by box.
    pub boxes: Vec<Container>,
    /// Pack by pack: damaged ones last.
    pub packs: Vec<Item>,
}

/// Packs of one chemistry in one condition.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Row {
    /// The chemistry, if the makes are known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub chemistry: Option<Chemistry>,
    /// Their condition.
    pub condition: Condition,
    /// How many.
    pub packs: u32,
    /// Their mass, as far as it is known.
    pub mass_g: u64,
    /// Packs whose mass is not known.
    pub without_mass: u32,
    /// Their rated energy.
    pub energy_wh: f64,
    /// That of the largest of them.
    pub largest_wh: f64,
    /// The UN number, if they have one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub un: Option<String>,
    /// What the rules say of them beyond that.
    pub notes: Vec<String>,
}

/// One box.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Container {
    /// Its number.
    pub number: u32,
    /// The chemistry, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub chemistry: Option<Chemistry>,
    /// The condition of its packs.
    pub condition: Condition,
    /// How many.
    pub packs: u32,
    /// Their mass, as far as it is known.
    pub mass_g: u64,
    /// Packs whose mass is not known.
    pub without_mass: u32,
    /// Their rated energy.
    pub energy_wh: f64,
    /// The UN number, if they have one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub un: Option<String>,
    /// When the first of them became waste.
    pub since: Date,
}

/// One pack.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Item {
    /// Its tag.
    pub pack: String,
    /// Its make.
    pub make: String,
    /// The chemistry, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub chemistry: Option<Chemistry>,
    /// Its condition.
    pub condition: Condition,
    /// Its box.
    #[serde(rename = "box")]
    pub number: u32,
    /// When it became waste.
    pub since: Date,
    /// Its mass, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mass_g: Option<u32>,
    /// Its rated energy, if its make is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub energy_wh: Option<f64>,
    /// What was seen on it.
    pub seen: String,
}

/// A sum over packs.
#[derive(Default)]
struct Sum {
    packs: u32,
    mass_g: u64,
    without_mass: u32,
    energy: u64,
    largest: WattHours,
    largest_cell: WattHours,
    since: Option<Date>,
}

/// Watt-hours as a number for people and JSON.
fn wh(thousandths: u64) -> f64 {
    f64::from(u32::try_from(thousandths).unwrap_or(u32::MAX)) / 1000.0
}

/// Works out what is in a consignment.
///
/// # Errors
/// When it is not clear which, or a fault of the ledger.
pub fn manifest(ledger: &mut Ledger, name: Option<&str>) -> Result<Manifest, AppError> {
    let (_, facts) = super::find(ledger, name)?;
    let zone = ledger.zone().clone();
    let mut packs = Vec::new();
    let mut sums: BTreeMap<(Condition, Option<Chemistry>), Sum> = BTreeMap::new();
    // By what is in it too: should a box ever hold two kinds, the paper says so.
    let mut boxes: BTreeMap<(u32, Condition, Option<Chemistry>), Sum> = BTreeMap::new();
    for (&pack, &(condition, number)) in &facts.packs {
        let keep = ledger.joined_to(pack)?;
        let of: PackFacts = ledger.facts(keep.into())?.unwrap_or_default();
        let settings = ledger.settings()?;
        let make = of.make.and_then(|make| settings.makes.get(&make));
        let chemistry = make.map(|make| make.chemistry);
        let since = of.retired.or(facts.opened).unwrap_or_default().day(&zone);
        let mass = make.and_then(|make| make.mass);
        let energy = make.map(|make| (make.energy(), make.cell_energy()));
        let kind = sums.entry((condition, chemistry)).or_default();
        kind.add(mass, energy, since);
        boxes.entry((number, condition, chemistry)).or_default().add(mass, energy, since);
        let mut seen: Vec<&str> = of
            .findings
            .iter()
            .map(|&(finding, _)| finding)
            .filter(|finding| finding.is_dangerous())
            .map(Finding::words)
            .collect();
        seen.dedup();
        if seen.is_empty() && condition == Condition::Damaged {
            seen.push("under a safety notice, or isolated by the policy");
        }
        packs.push(Item {
            pack: lookup::label(&of.codes),
            make: make.map_or_else(|| "unknown".to_owned(), |make| make.name.clone()),
            chemistry,
            condition,
            number,
            since,
            mass_g: mass.map(Grams::raw),
            energy_wh: energy.map(|(pack, _)| wh(u64::from(pack.raw()))),
            seen: seen.join(", "),
        });
    }
    packs.sort_by(|a, b| (a.condition, a.number, &a.pack).cmp(&(b.condition, b.number, &b.pack)));
    let rule = &ledger.settings()?.policy.waste;
    let un = |chemistry: Option<Chemistry>| chemistry.and_then(|of| rule.un(of)).map(str::to_owned);
    let rows = sums.into_iter().map(|((condition, chemistry), sum)| Row {
        chemistry,
        condition,
        packs: sum.packs,
        mass_g: sum.mass_g,
        without_mass: sum.without_mass,
        energy_wh: wh(sum.energy),
        largest_wh: wh(u64::from(sum.largest.raw())),
        un: un(chemistry),
        notes: notes(rule, chemistry, condition, &sum),
    });
    let containers = boxes.into_iter().map(|((number, condition, chemistry), sum)| Container {
        number,
        chemistry,
        condition,
        packs: sum.packs,
        mass_g: sum.mass_g,
        without_mass: sum.without_mass,
        energy_wh: wh(sum.energy),
        un: un(chemistry),
        since: sum.since.unwrap_or_default(),
    });
    Ok(Manifest {
        name: facts.name.clone(),
        handler: facts.handler.clone(),
        opened: facts.opened.unwrap_or_default().day(&zone),
        left: facts.left.map(|left| left.day(&zone)),
        reference: facts.reference.clone(),
        rules: rule.rules.clone(),
        label: rule.label.clone(),
        rows: rows.collect(),
        boxes: containers.collect(),
        packs,
    })
}

/// What the rules say of packs of a kind. The lithium limits are 49 CFR 173.185(c), damaged ones 173.185(f).
fn notes(rule: &WasteRule, chemistry: Option<Chemistry>, condition: Condition, sum: &Sum) -> Vec<String> {
    let mut notes = Vec::new();
    match chemistry {
        None => notes.push("chemistry unknown: enter the make before it leaves".to_owned()),
        Some(Chemistry::LiIon) => {
            if sum.largest > rule.battery || sum.largest_cell > rule.cell {
                notes.push(format!(
                    "above {} a cell or {} a pack: the full rules for lithium hold (49 CFR 173.185(c))",
                    rule.cell, rule.battery
                ));
            } else {
                notes.push(format!(
                    "within {} a cell and {} a pack; mark the watt-hours outside (49 CFR 173.185(c))",
                    rule.cell, rule.battery
                ));
            }
            if condition == Condition::Damaged {
                notes.push(
                    "damaged, defective or recalled lithium: 49 CFR 173.185(f); not by air; ask the carrier \
                     before it moves"
                        .to_owned(),
                );
            }
        }
        Some(Chemistry::NiMh) => notes.push(
            "UN3496 holds by vessel, in certain quantities; protect against short circuit on every way"
                .to_owned(),
        ),
        Some(Chemistry::NiCd | Chemistry::LeadAcid) => {
            notes.push("toxic metal inside; protect against short circuit".to_owned());
        }
    }
    if condition == Condition::Damaged && chemistry != Some(Chemistry::LiIon) {
        notes.push(
            "each damaged one into a closed, sound container that suits it (40 CFR 273.13(a))".to_owned(),
        );
    }
    notes
}

impl Sum {
    fn add(&mut self, mass: Option<Grams>, energy: Option<(WattHours, WattHours)>, since: Date) {
        self.packs = self.packs.saturating_add(1);
        match mass {
            Some(mass) => self.mass_g += u64::from(mass.raw()),
            None => self.without_mass += 1,
        }
        if let Some((pack, cell)) = energy {
            self.energy += u64::from(pack.raw());
            self.largest = self.largest.max(pack);
            self.largest_cell = self.largest_cell.max(cell);
        }
        self.since = Some(self.since.map_or(since, |first| first.min(since)));
    }
}
