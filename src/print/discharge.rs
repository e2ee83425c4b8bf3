//! Discharge logs drawn: curves with their end voltage, as a picture or on paper with their figures.

use crate::app::discharge::{Figures, Log, Report};

use super::chart::{Chart, Look, Mark, Series};
use super::paper::Paper;
use super::table::{Column, Table};
use super::{PageSize, PrintError};

/// Curves in one chart.
pub const TOGETHER: usize = 8;
const CHART_MM: f32 = 92.0;

/// Draws curves together, at most [`TOGETHER`] of them to be told apart.
pub fn chart<'a>(title: &str, logs: impl IntoIterator<Item = &'a Log>) -> Chart {
    let mut chart = Chart::new(title, "hours under load", "volts");
    let mut ends = Vec::new();
    for log in logs {
        let (Some(figures), Some(end)) = (&log.discharge, log.end_voltage_mv) else { continue };
        let name = format!("{}: {:.0} mAh", log.name, figures.capacity_mah);
        chart = chart.series(Series::new(name, Look::Line, figures.curve.clone()));
        let last = figures.curve.last().copied().into_iter().collect();
        chart = chart.series(Series::new("", Look::Crosses, last));
        if !ends.contains(&end) {
            ends.push(end);
        }
    }
    for end in ends {
        let at = f64::from(end.raw()) / 1000.0;
        chart = chart.mark(Mark::Level { at, label: format!("end voltage {at} V") });
    }
    chart
}

/// A duration as hours and minutes, `6:05`.
pub fn hours(time_s: f64) -> String {
    let minutes = (time_s / 60.0).round();
    format!("{:.0}:{:02.0}", (minutes / 60.0).floor(), minutes % 60.0)
}

/// The resistance with the time that it is over.
fn resistance(figures: &Figures) -> String {
    match (figures.resistance_mohm, figures.resistance_over_s) {
        (Some(resistance), Some(over)) => format!("{resistance:.0} ({over:.0} s)"),
        _ => String::new(),
    }
}

/// Prints logs with their curves.
///
/// # Errors
/// [`PrintError`] when the embedded typeface is damaged or the file cannot be made.
pub fn paper(report: &Report, size: PageSize) -> Result<Vec<u8>, PrintError> {
    let mut paper = Paper::new(size, "Discharge logs", &report.file)?;
    let good: Vec<&Log> = report.logs.iter().filter(|log| log.discharge.is_some()).collect();
    let bad: Vec<&Log> = report.logs.iter().filter(|log| log.fault.is_some()).collect();
    for together in good.chunks(TOGETHER) {
        let title = match together {
            [only] => format!("Discharge of {}", only.name),
            several => format!("{} discharges", several.len()),
        };
        let chart = chart(&title, together.iter().copied());
        paper.drawing(CHART_MM, |canvas, area| chart.draw(canvas, area));
    }
    if !good.is_empty() {
        figures(&mut paper, report, &good);
    }
    if !bad.is_empty() {
        paper.heading(&format!("Without a figure: {}", bad.len()));
        let mut table =
            Table::new(vec![Column::text("log", 2.0), Column::number("line", 0.8), Column::text("why", 5.0)]);
        for log in bad {
            let (line, text) =
                log.fault.as_ref().map(|f| (f.line.to_string(), f.text.clone())).unwrap_or_default();
            table.row([log.name.clone(), line, text]);
        }
        paper.table(&table);
    }
    paper.finish()
}

fn figures(paper: &mut Paper, report: &Report, logs: &[&Log]) {
    // The heading, its note and the first rows belong together.
    paper.keep_mm(70.0);
    paper.heading("Figures");
    paper.note(&format!(
        "Charge by counting the current over time (trapezoids) to the end voltage, {}. The column beside it counts to the first sample at \
         or below the end voltage. Resistance: from the first step of the current, over the time in brackets.",
        report.rule
    ));
    let mut table = Table::new(vec![
        Column::text("log", 2.6),
        Column::number("mAh", 0.9),
        Column::number("to a sample", 1.2),
        Column::number("Wh", 0.8),
        Column::number("mean V", 0.9),
        Column::number("h:min", 0.9),
        Column::number("mOhm", 1.2),
        Column::number("mean C", 0.9),
        Column::number("to V", 0.8),
    ]);
    for log in logs {
        let Some(figures) = &log.discharge else { continue };
        table.row([
            log.name.clone(),
            format!("{:.1}", figures.capacity_mah),
            format!("{:.1}", figures.first_sample_mah),
            format!("{:.3}", figures.energy_wh),
            format!("{:.3}", figures.mean_v),
            hours(figures.time_s),
            resistance(figures),
            figures.temperature_c.map(|found| format!("{found:.1}")).unwrap_or_default(),
            log.end_voltage_mv.map(|end| format!("{}", f64::from(end.raw()) / 1000.0)).unwrap_or_default(),
        ]);
    }
    paper.table(&table);
}
