//! The watch over the slots on paper, and its charts as a picture.

use crate::app::slots::{Again, Check, SlotCheck, Trust};
use crate::stats::control::slots::watch::SlotRules;

use super::chart::{Chart, Look, Mark, Series};
use super::paper::Paper;
use super::table::{Column, Table};
use super::{PageSize, PrintError};

const CHART_MM: f32 = 58.0;

/// The moving average of a slot, with its limits.
pub fn average(slot: &SlotCheck) -> Chart {
    let rules = SlotRules::crossed();
    // The limits of the long run: L sqrt(lambda / (2 - lambda)) spreads.
    let limit = rules.width * (rules.lambda / (2.0 - rules.lambda)).sqrt();
    let title = format!("{}: {}", slot.slot, slot.trust.words());
    let off = Series::new("each reading", Look::Dots, along(slot, |point| point.off.clamp(-6.0, 6.0)));
    chart(title, "spreads off what was foretold")
        .series(off)
        .series(Series::new("moving average", Look::Line, along(slot, |point| point.average)))
        .mark(Mark::Level { at: limit, label: format!("{limit:.2}: limit of the average") })
        .mark(Mark::Level { at: -limit, label: String::new() })
}

/// The two sums of a slot, with their limit; the lower one is drawn downwards.
pub fn sums(slot: &SlotCheck) -> Chart {
    let limit = SlotRules::crossed().decision;
    chart(format!("{}: sums", slot.slot), "spreads, summed (CUSUM)")
        .series(Series::new("too high", Look::Line, along(slot, |point| point.high)))
        .series(Series::new("too low", Look::Dashed, along(slot, |point| -point.low)))
        .mark(Mark::Level { at: limit, label: format!("{limit:.1}: limit of the sums") })
        .mark(Mark::Level { at: -limit, label: String::new() })
}

fn chart(title: String, up: &str) -> Chart {
    Chart::new(title, "readings of the slot, the latest on the right", up)
}

fn along(slot: &SlotCheck, value: impl Fn(&crate::app::slots::Point) -> f64) -> Vec<(f64, f64)> {
    let numbers = (1_u32..).map(f64::from);
    numbers.zip(&slot.charts).map(|(number, point)| (number, value(point))).collect()
}

/// Since when a slot is out of control.
pub fn since(slot: &SlotCheck) -> String {
    let bad = matches!(slot.trust, Trust::ReadsHigh | Trust::ReadsLow);
    slot.since.filter(|_| bad).map(|day| day.to_string()).unwrap_or_default()
}

/// A bias with its interval: "-38 (-46 to -30)".
pub fn bias(value: Option<f64>, low: Option<f64>, high: Option<f64>) -> String {
    match (value, low, high) {
        (Some(value), Some(low), Some(high)) => format!("{value:+.0} ({low:+.0} to {high:+.0})"),
        (Some(value), ..) => format!("{value:+.0}"),
        _ => String::new(),
    }
}

/// What foretold the readings.
pub const fn by(check: &Check) -> &'static str {
    if check.by_model {
        "Each reading is held against what the fleet's model foretold of its pack from earlier readings in other slots."
    } else {
        "Each reading is held against its pack's last reading in another slot; no model of the fleet is learnt yet."
    }
}

/// Prints a check of the slots.
///
/// # Errors
/// [`PrintError`] when the embedded typeface is damaged or the file cannot be made.
pub fn paper(check: &Check, size: PageSize) -> Result<Vec<u8>, PrintError> {
    let mut paper = Paper::new(size, "The slots of the bench", &format!("as of {}", check.as_of))?;
    let bad: Vec<&SlotCheck> =
        check.slots.iter().filter(|slot| matches!(slot.trust, Trust::ReadsHigh | Trust::ReadsLow)).collect();
    for slot in &bad {
        let since = slot.since.map(|day| format!(" since {day}")).unwrap_or_default();
        paper.callout(&format!(
            "{} {}{since}: {} mAh. Have it cleaned and calibrated; scan SERVICED when that is done.",
            slot.slot,
            slot.trust.words(),
            bias(slot.bias_mah, slot.bias_low_mah, slot.bias_high_mah)
        ));
    }
    paper.note(by(check));
    table(&mut paper, check);
    second_readings(&mut paper, &check.again);
    if check.slots.iter().any(|slot| !slot.charts.is_empty()) {
        paper.heading("Charts");
        paper.note(
            "A good slot's readings lie about zero. The moving average (EWMA) and the sums (CUSUM) show small lasting shifts; beyond a \
             limit the slot is out of control. Readings more than six spreads off are drawn at six.",
        );
    }
    for slot in check.slots.iter().filter(|slot| !slot.charts.is_empty()) {
        paper.keep_mm(2.0 * CHART_MM + 8.0);
        for chart in [average(slot), sums(slot)] {
            paper.drawing(CHART_MM, |canvas, area| chart.draw(canvas, area));
        }
    }
    paper.finish()
}

fn table(paper: &mut Paper, check: &Check) {
    let mut table = Table::new(vec![
        Column::text("slot", 1.5),
        Column::text("trust", 1.6),
        Column::text("since", 1.5),
        Column::number("readings", 1.3),
        Column::number("bias, mAh (95 %)", 2.1),
        Column::text("by a study", 2.2),
    ]);
    for slot in &check.slots {
        let study = slot.study.as_ref().map(|(name, found)| {
            format!("{name}: {}", bias(Some(found.bias_mah), Some(found.low_mah), Some(found.high_mah)))
        });
        table.row([
            slot.slot.clone(),
            slot.trust.words().to_owned(),
            since(slot),
            slot.watched.to_string(),
            bias(slot.bias_mah, slot.bias_low_mah, slot.bias_high_mah),
            study.unwrap_or_default(),
        ]);
    }
    paper.table(&table);
}

fn second_readings(paper: &mut Paper, again: &[Again]) {
    paper.heading(&format!("To read again in another slot: {}", again.len()));
    paper.table(&to_read_again(again));
}

/// Packs whose readings are in doubt, as a table.
pub fn to_read_again(again: &[Again]) -> Table {
    let mut table = Table::new(vec![
        Column::text("pack", 2.7),
        Column::text("slot", 1.3),
        Column::text("day", 1.3),
        Column::number("read", 0.8),
        Column::number("freed of bias", 1.1),
        Column::number("limit", 0.8),
        Column::text("why", 3.2),
    ])
    .or_else_say("no reading is in doubt");
    for line in again {
        table.row([
            line.pack.clone(),
            line.slot.clone(),
            line.day.to_string(),
            line.read_mah.to_string(),
            line.corrected_mah.to_string(),
            line.limit_mah.to_string(),
            line.why.clone(),
        ]);
    }
    table
}
