//! What a policy says of packs at their end: how long they may be kept, how much of them, and under which marks they leave.
//!
//! The defaults are those of the United States; a service elsewhere writes its own rule set's name and figures. They are help, and
//! no legal advice: local rules and the licensed carrier decide.

use std::collections::BTreeMap;

use serde::Deserialize;

use crate::domain::make::Chemistry;
use crate::domain::units::{Grams, WattHours};

use super::rules::PolicyError;

/// How waste is kept and marked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WasteRule {
    /// The rule set that the figures come from.
    pub rules: String,
    /// Days for which waste may be kept. One year by 40 CFR 273.15 (from memory) and 273.35.
    pub accumulate_days: u32,
    /// So many days before that it is told.
    pub warn_days: u32,
    /// Less than this may be kept at any time. 5,000 kg for a small quantity handler by 40 CFR 273.9.
    pub handler_limit: Grams,
    /// The words on each box. One of three by 40 CFR 273.14(a).
    pub label: String,
    /// Rated energy of a lithium ion cell up to which the lighter rules hold. 20 Wh by 49 CFR 173.185(c).
    pub cell: WattHours,
    /// The same of a lithium ion pack. 100 Wh by 49 CFR 173.185(c).
    pub battery: WattHours,
    /// The UN number of each chemistry; none where it is empty.
    pub un: BTreeMap<Chemistry, String>,
}

impl WasteRule {
    /// The UN number of a chemistry, if it has one.
    pub fn un(&self, chemistry: Chemistry) -> Option<&str> {
        self.un.get(&chemistry).map(String::as_str).filter(|number| !number.is_empty())
    }
}

/// Came with a later packmuster: a policy that is older says nothing of it.
#[derive(Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct WasteTable {
    rules: String,
    accumulate_days: u32,
    warn_days: u32,
    handler_limit_kg: u32,
    label: String,
    cell_wh: u32,
    battery_wh: u32,
    un: UnTable,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, default)]
struct UnTable {
    nimh: String,
    nicd: String,
    li_ion: String,
    lead_acid: String,
}

impl Default for WasteTable {
    fn default() -> Self {
        Self {
            rules: "40 CFR 273 (universal waste, USA)".to_owned(),
            accumulate_days: 365,
            warn_days: 30,
            handler_limit_kg: 5000,
            label: "Universal Waste-Battery(ies)".to_owned(),
            cell_wh: 20,
            battery_wh: 100,
            un: UnTable::default(),
        }
    }
}

/// UN3480 lithium ion, UN3496 nickel-metal hydride (by vessel, in certain quantities), UN2800 lead-acid that cannot spill; sealed
/// nickel-cadmium packs have none of their own. All but UN3496 from memory.
impl Default for UnTable {
    fn default() -> Self {
        Self {
            nimh: "UN3496".to_owned(),
            nicd: String::new(),
            li_ion: "UN3480".to_owned(),
            lead_acid: "UN2800".to_owned(),
        }
    }
}

impl WasteTable {
    pub(super) fn validate(self) -> Result<WasteRule, PolicyError> {
        let wrong = |key: &str, value: &dyn ToString, expected: &'static str| PolicyError::Value {
            key: format!("waste.{key}"),
            value: value.to_string(),
            expected,
        };
        for (key, text) in [("rules", &self.rules), ("label", &self.label)] {
            let length = text.trim().chars().count();
            if !(1..=80).contains(&length) || text.chars().any(char::is_control) {
                return Err(wrong(key, &format!("`{text}`"), "expected 1 to 80 characters on one line"));
            }
        }
        for (key, value, most) in [
            ("accumulate_days", self.accumulate_days, 36_500),
            ("handler_limit_kg", self.handler_limit_kg, 4_000_000),
            ("cell_wh", self.cell_wh, 4_000_000),
            ("battery_wh", self.battery_wh, 4_000_000),
        ] {
            if !(1..=most).contains(&value) {
                return Err(wrong(key, &value, "expected a number above zero, and no more than 4000000"));
            }
        }
        if self.warn_days > self.accumulate_days {
            return Err(wrong("warn_days", &self.warn_days, "expected no more than accumulate_days"));
        }
        let un = [
            (Chemistry::NiMh, self.un.nimh),
            (Chemistry::NiCd, self.un.nicd),
            (Chemistry::LiIon, self.un.li_ion),
            (Chemistry::LeadAcid, self.un.lead_acid),
        ];
        for (_, number) in &un {
            let digits = number.strip_prefix("UN").unwrap_or("");
            if !number.is_empty() && (digits.len() != 4 || !digits.bytes().all(|byte| byte.is_ascii_digit()))
            {
                return Err(wrong("un", &format!("`{number}`"), "expected UN and four digits, or nothing"));
            }
        }
        Ok(WasteRule {
            rules: self.rules,
            accumulate_days: self.accumulate_days,
            warn_days: self.warn_days,
            handler_limit: Grams::new(self.handler_limit_kg.saturating_mul(1000)),
            label: self.label,
            cell: WattHours::new(self.cell_wh.saturating_mul(1000)),
            battery: WattHours::new(self.battery_wh.saturating_mul(1000)),
            un: un.into_iter().collect(),
        })
    }
}
