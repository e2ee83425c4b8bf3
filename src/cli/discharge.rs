//! `packmuster discharge`.

use std::collections::BTreeSet;
use std::fs::File;
use std::io::BufReader;
use std::path::{Path, PathBuf};

use jiff::civil::DateTime;
use serde::Serialize;

use crate::app::answer::count;
use crate::app::discharge::{self, Entered, Entering, Job, Log, Report};
use crate::app::error::AppError;
use crate::app::import::readings::Implausible;
use crate::app::session::Here;
use crate::domain::units::Millivolts;
use crate::exchange::fault::ExchangeError;
use crate::exchange::log::LogMapping;
use crate::print::discharge as drawn;
use crate::stats::discharge::End;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;
use super::paper::{self, Drawn, Paper, drawn_as};
use super::progress::Progress;

/// Bytes read from the file at a time.
const BUFFER: usize = 1 << 18;
/// Points of a curve that is drawn.
const POINTS: usize = 400;

/// Measure discharge logs of the bench, draw them, and enter them as readings
///
/// A log is a CSV file of times, voltages and currents; `--map` names its columns and units. Charge is counted by trapezoids from the
/// moment the load comes on to the end voltage, which is that of the pack's make unless it is given. A file may hold many
/// logs: its columns pack, slot and log tell one from another. A log with a gap, with time that runs backwards, with a current
/// of the wrong sign, or one that never reaches the end voltage gives no figure but the line and what is wrong there.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster discharge bench.csv --map bench.toml --plot curves.svg\n\n\
    A mapping; all of it may be left out:\n  \
    delimiter = \",\"\n  decimal = \".\"\n  heading_line = 1\n  discharge = \"negative\"   # the sign of current out of a pack; else positive\n  \
    rest_ma = 20             # less current is none\n  longest_gap_s = 300      # without a sample\n  \
    [columns]                # our field = the file's heading\n  time = \"Elapsed\"\n  voltage = \"U\"\n  current = \"I\"\n  \
    temperature = \"T\"\n  pack = \"Cell\"\n  slot = \"Channel\"\n  log = [\"Program\", \"Cycle\"]\n  \
    [units]\n  time = \"s\"               # s, ms, min, h, clock (1:02:03), date\n  voltage = \"V\"            # V, mV\n  \
    current = \"A\"            # A, mA\n  temperature = \"C\"        # C, K, F")]
#[expect(clippy::struct_excessive_bools, reason = "each is an option of its own")]
pub(super) struct Args {
    /// The CSV file, in UTF-8, with a heading
    file: PathBuf,
    /// How the file is read: a TOML file, see below
    #[arg(long, value_name = "FILE")]
    map: Option<PathBuf>,
    /// The voltage at which each discharge ends; else that of the pack's make
    #[arg(long, value_name = "VOLTAGE")]
    end: Option<Millivolts>,
    /// Count to the first sample at or below the end voltage, not to the place between two samples
    #[arg(long)]
    first_sample: bool,
    /// The pack of logs that name none
    #[arg(long, value_name = "CODE")]
    pack: Option<String>,
    /// The slot of logs that name none, by name or tag
    #[arg(long, value_name = "SLOT")]
    slot: Option<String>,
    /// Draw the curves: a picture if the name ends in .svg, a paper with the figures if it ends in .pdf
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
    /// Size of that paper
    #[arg(long, value_enum, default_value = "a4")]
    paper: Paper,
    /// Enter the logs as readings
    #[arg(long)]
    enter: bool,
    /// When logs ended that have no dates; else now
    #[arg(long, value_name = "DATE TIME", requires = "enter")]
    at: Option<DateTime>,
    /// Enter the logs that can be, and leave the others; else nothing is entered if one is bad
    #[arg(long, requires = "enter")]
    keep_good: bool,
    /// Take readings that the policy finds implausible
    #[arg(long, requires = "enter")]
    accept_implausible: bool,
}

#[derive(Serialize)]
struct Answer<'a> {
    #[serde(flatten)]
    report: &'a Report,
    #[serde(skip_serializing_if = "Option::is_none")]
    entered: Option<&'a Entered>,
}

pub(super) fn run(context: &Context, args: &Args) -> Result<Exit, CliError> {
    let plot = args.plot.as_deref().map(|path| Ok::<_, CliError>((path, drawn_as(path)?))).transpose()?;
    let name = args.file.display().to_string();
    let job = Job {
        file: &name,
        mapping: mapping(args.map.as_deref())?,
        end: if args.first_sample { End::FirstSample } else { End::Interpolated },
        end_voltage: args.end,
        pack: args.pack.clone(),
        slot: args.slot.clone(),
        points: if plot.is_some() { POINTS } else { 0 },
    };
    let mut ledger = match (args.enter, args.end) {
        (true, _) => Some(context.write()?),
        (false, Some(_)) => None,
        // Without an end voltage the packs' makes have it, where there is a ledger.
        (false, None) => context.ledger_path().is_ok().then(|| context.look()).transpose()?,
    };
    let file = File::open(&args.file).map_err(|error| CliError::file(&args.file, &error))?;
    let bar = Progress::new("rows");
    let input = BufReader::with_capacity(BUFFER, file);
    let report = discharge::measure(ledger.as_mut(), &job, input, |rows| bar.at(rows));
    bar.end();
    let report = report.map_err(|error| match error {
        AppError::Exchange(error @ ExchangeError::Missing { .. }) => CliError::bad(
            error.to_string(),
            "say in a mapping which heading is which field, and what stands between fields: --map FILE",
        ),
        other => other.into(),
    })?;
    if report.logs.is_empty() {
        return Err(CliError::bad(format!("{name} has no row below its heading"), "give a file with a log"));
    }
    if let Some((path, kind)) = plot {
        draw(path, kind, &report, args.paper)?;
    }
    let entered = match ledger.as_mut().filter(|_| args.enter) {
        Some(ledger) => {
            let mut desk = context.staffed_desk(ledger)?;
            let entering = if args.keep_good { Entering::KeepGood } else { Entering::Whole };
            let implausible =
                if args.accept_implausible { Implausible::Accepted } else { Implausible::Refused };
            let mut here = Here { ledger, desk: &mut desk };
            Some(discharge::enter(&mut here, &report, entering, args.at, implausible)?)
        }
        None => None,
    };
    tell(context, &report, entered.as_ref())
}

fn mapping(path: Option<&Path>) -> Result<LogMapping, CliError> {
    let Some(path) = path else { return Ok(LogMapping::default()) };
    let text = std::fs::read_to_string(path).map_err(|error| CliError::file(path, &error))?;
    LogMapping::parse(&text).map_err(|error| {
        CliError::bad(format!("{}: {error}", path.display()), "mend the mapping; nothing was read")
    })
}

fn draw(path: &Path, kind: Drawn, report: &Report, size: Paper) -> Result<(), CliError> {
    let bytes = match kind {
        Drawn::Paper => drawn::paper(report, size.into()),
        Drawn::Picture => {
            let good = report.logs.iter().filter(|log| log.discharge.is_some());
            if good.clone().count() > drawn::TOGETHER {
                output::talk(&format!(
                    "the picture shows the first {} logs; a name that ends in .pdf shows them all",
                    drawn::TOGETHER
                ));
            }
            let title = format!("Discharge: {}", report.file);
            drawn::chart(&title, good.take(drawn::TOGETHER)).svg(180.0, 110.0).map(String::into_bytes)
        }
    }
    .map_err(|error| CliError::fault(error.to_string()))?;
    paper::write(path, &bytes)
}

fn tell(context: &Context, report: &Report, entered: Option<&Entered>) -> Result<Exit, CliError> {
    let faulty: Vec<&Log> = report.logs.iter().filter(|log| log.fault.is_some()).collect();
    match entered {
        None => {
            for log in &faulty {
                let Some(fault) = &log.fault else { continue };
                output::talk(&format!("{}:{}: {}: {}", report.file, fault.line, log.name, fault.text));
            }
        }
        Some(entered) => {
            for fault in &entered.refused {
                output::talk(&format!("{}:{}: {fault}", report.file, fault.line));
            }
        }
    }
    if !report.unread_columns.is_empty() {
        output::talk(&format!("columns not read: {}", report.unread_columns.join(", ")));
    }
    if context.globals.json {
        output::json(&Answer { report, entered })?;
    } else {
        output::line(&text(context, report, entered))?;
    }
    let refused = entered.is_some_and(|entered| !entered.refused.is_empty());
    Ok(if refused || !faulty.is_empty() { Exit::Bad } else { Exit::Yes })
}

fn text(context: &Context, report: &Report, entered: Option<&Entered>) -> String {
    let good: Vec<&Log> = report.logs.iter().filter(|log| log.discharge.is_some()).collect();
    let mut parts =
        vec![format!("DISCHARGE {}: {} of {} logs measured", report.file, good.len(), report.logs.len())];
    if !good.is_empty() {
        figures(context, report, &good, &mut parts);
    }
    if let Some(entered) = entered {
        parts.push(if entered.written {
            format!(
                "written   {} of {}, {} settled",
                count(usize::try_from(entered.summary.readings).unwrap_or(usize::MAX), "reading", "readings"),
                count(entered.summary.packs, "pack", "packs"),
                count(usize::try_from(entered.summary.runs_settled).unwrap_or(usize::MAX), "run", "runs")
            )
        } else {
            "written   nothing".to_owned()
        });
        let verdicts: Vec<String> = entered
            .summary
            .packs_by_verdict
            .iter()
            .filter(|(_, count)| entered.written && **count > 0)
            .map(|(verdict, count)| format!("{verdict} {count}"))
            .collect();
        if !verdicts.is_empty() {
            parts.push(format!("verdicts  {}", verdicts.join(", ")));
        }
    }
    parts.join("\n")
}

fn figures(context: &Context, report: &Report, good: &[&Log], parts: &mut Vec<String>) {
    let ends: BTreeSet<Millivolts> = good.iter().filter_map(|log| log.end_voltage_mv).collect();
    let to = match ends.first() {
        Some(end) if ends.len() == 1 => end.to_string(),
        _ => "the end voltage of each".to_owned(),
    };
    let wrap = |text: &str| output::wrap(text, context.width);
    parts.push(wrap(&format!("to {to}, {}; beside it to the first sample at or below", report.rule)));
    let mut heads = vec!["log", "mAh", "to sample", "Wh", "mean V", "h:min", "mOhm", "C"];
    if ends.len() > 1 {
        heads.push("to");
    }
    let mut overs = Vec::new();
    let mut rows = Vec::new();
    for log in good {
        let Some(figures) = &log.discharge else { continue };
        overs.extend(figures.resistance_over_s);
        let number = |value: Option<f64>, places: usize| {
            value.map(|value| format!("{value:.places$}")).unwrap_or_default()
        };
        let mut row = vec![
            log.name.clone(),
            number(Some(figures.capacity_mah), 1),
            number(Some(figures.first_sample_mah), 1),
            number(Some(figures.energy_wh), 3),
            number(Some(figures.mean_v), 3),
            drawn::hours(figures.time_s),
            number(figures.resistance_mohm, 1),
            number(figures.temperature_c, 1),
        ];
        if ends.len() > 1 {
            row.extend(log.end_voltage_mv.map(|end| end.to_string()));
        }
        rows.push(row);
    }
    let right: Vec<usize> = (1..heads.len()).collect();
    parts.push(output::table(context, &heads, &rows, &right));
    let (least, most) =
        overs.iter().fold((f64::INFINITY, 0.0_f64), |(a, b), &over| (a.min(over), b.max(over)));
    if !overs.is_empty() {
        let over =
            if most - least < 0.5 { format!("{most:.0} s") } else { format!("{least:.0} to {most:.0} s") };
        parts.push(wrap(&format!(
            "mOhm: voltage over current at the first step of the current, within {over}"
        )));
    }
}
