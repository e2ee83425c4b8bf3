//! What a policy says of the bench.

use serde::Deserialize;

use super::attended::Shift;
use super::rules::PolicyError;

/// How the bench is run.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BenchRule {
    /// After so many runs in a row without a result, a slot takes no more packs until it is serviced.
    pub close_slot_after: u32,
    /// Hours that a test takes, as far as nothing better is known.
    pub test_hours: u32,
    /// Hours that a full charge/discharge cycle of a round takes.
    pub cycle_hours: u32,
    /// How far off a slot may read before it is out of control, in per cent of a pack's rated capacity.
    pub slot_tolerance_percent: u32,
    /// When people are there to put packs in and take them out.
    pub attended: Vec<Shift>,
}

/// Came with a later packmuster: a policy that is older says nothing of it, or of its later settings.
#[derive(Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct BenchTable {
    close_slot_after: u32,
    test_hours: u32,
    cycle_hours: Option<u32>,
    slot_tolerance_percent: u32,
    attended: Vec<String>,
}

impl Default for BenchTable {
    fn default() -> Self {
        Self {
            close_slot_after: 3,
            test_hours: 8,
            cycle_hours: None,
            slot_tolerance_percent: 1,
            attended: vec!["mon-fri 09:00-17:00".to_owned()],
        }
    }
}

/// Hours of a cycle where nothing is said: a charge of some eight hours, a discharge of some six, and rests.
const CYCLE_HOURS: u32 = 16;

impl BenchTable {
    /// Checks the table. An older policy gave the hours of a cycle where rounds are weighed.
    pub(super) fn validate(&self, older_cycle_hours: Option<u32>) -> Result<BenchRule, PolicyError> {
        let cycle_hours =
            self.cycle_hours.or(older_cycle_hours.filter(|hours| *hours > 0)).unwrap_or(CYCLE_HOURS);
        for (key, value) in [
            ("bench.close_slot_after", self.close_slot_after),
            ("bench.test_hours", self.test_hours),
            ("bench.cycle_hours", cycle_hours),
        ] {
            if !(1..=1000).contains(&value) {
                let (key, value) = (key.to_owned(), value.to_string());
                return Err(PolicyError::Value { key, value, expected: "expected 1 to 1000" });
            }
        }
        let slot_tolerance_percent = self.slot_tolerance_percent;
        if slot_tolerance_percent > 20 {
            let (key, value) =
                ("bench.slot_tolerance_percent".to_owned(), slot_tolerance_percent.to_string());
            return Err(PolicyError::Value { key, value, expected: "expected 0 to 20" });
        }
        let mut attended = Vec::new();
        for text in &self.attended {
            attended.push(text.parse().map_err(|_no_hours: String| PolicyError::Value {
                key: "bench.attended".to_owned(),
                value: format!("`{text}`"),
                expected: "expected days and hours such as `mon-fri 09:00-17:00`",
            })?);
        }
        if attended.is_empty() {
            let (key, value) = ("bench.attended".to_owned(), "empty".to_owned());
            let expected = "expected days and hours such as `mon-fri 09:00-17:00`";
            return Err(PolicyError::Value { key, value, expected });
        }
        Ok(BenchRule {
            close_slot_after: self.close_slot_after,
            test_hours: self.test_hours,
            cycle_hours,
            slot_tolerance_percent,
            attended,
        })
    }
}
