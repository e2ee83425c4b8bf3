//! `packmuster sampling`.

use std::path::{Path, PathBuf};

use clap::ValueEnum;

use crate::app::sampling::carton::{Sample, of_policy, sample};
use crate::app::sampling::{self, Chance, Study, Wish};
use crate::print::{self, PageSize};
use crate::stats::sampling::design::Points;
use crate::stats::sampling::tables::{Level, Severity};

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;
use super::paper::{self, Drawn};

/// How many packs of a new carton to read, and what that says of the rest
///
/// Three kinds of plan: so many of every carton (`--take`), a plan of MIL-STD-105E, which ISO 2859-1 took over (`--quality`), or the
/// smallest sample that keeps two risks (`--good` and `--bad`). With none of these, what the policy takes of every carton. The chances are
/// exact for the carton's size. Which packs are the sample is drawn at random when a carton is received, and told as each is scanned;
/// `--carton` names them again. Nothing is entered, and no ledger is needed but for the policy's plan and a carton's sample.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster sampling 48 --take 6")]
pub(super) struct Args {
    /// Packs in the carton
    #[arg(value_name = "PACKS", required_unless_present = "carton")]
    lot: Option<u32>,
    /// Name the packs that were drawn as the sample of this carton
    #[arg(long, value_name = "NAME", conflicts_with_all = ["lot", "take", "quality", "good"])]
    carton: Option<String>,
    /// Read so many
    #[arg(long, value_name = "PACKS", conflicts_with_all = ["quality", "good"])]
    take: Option<u32>,
    /// Accept with so many bad ones among them
    #[arg(long, value_name = "PACKS", default_value_t = 0, conflicts_with_all = ["quality", "good"])]
    accept: u32,
    /// The standard's plan for this acceptance quality, per cent bad
    #[arg(long, value_name = "PERCENT", conflicts_with = "good")]
    quality: Option<f64>,
    /// How large the standard's samples are
    #[arg(long, value_enum, default_value = "ii", requires = "quality", conflicts_with = "take")]
    level: GivenLevel,
    /// How severely the standard inspects
    #[arg(long, value_enum, default_value = "normal", requires = "quality", conflicts_with = "take")]
    severity: GivenSeverity,
    /// The standard's plan with two samples
    #[arg(long, requires = "quality")]
    double: bool,
    /// A carton with so many per cent bad is good enough
    #[arg(long, value_name = "PERCENT", requires = "bad")]
    good: Option<f64>,
    /// One with so many per cent bad is not
    #[arg(long, value_name = "PERCENT", requires = "good")]
    bad: Option<f64>,
    /// How often a good one may be stopped, per cent
    #[arg(long, value_name = "PERCENT", default_value_t = 5.0, requires = "good")]
    producer: f64,
    /// How often a bad one may be accepted, per cent
    #[arg(long, value_name = "PERCENT", default_value_t = 10.0, requires = "good")]
    consumer: f64,
    /// Draw the operating characteristic: a picture if the name ends in .svg, a paper if it ends in .pdf
    #[arg(long, value_name = "FILE", conflicts_with = "carton")]
    plot: Option<PathBuf>,
}

/// Inspection levels.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum GivenLevel {
    S1,
    S2,
    S3,
    S4,
    I,
    #[value(name = "ii")]
    Ii,
    #[value(name = "iii")]
    Iii,
}

/// Severities.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum GivenSeverity {
    Normal,
    Tightened,
    Reduced,
}

#[derive(serde::Serialize)]
struct Report<'a> {
    sampling: &'a Study,
}

#[derive(serde::Serialize)]
struct SampleReport<'a> {
    sample: &'a Sample,
}

pub(super) fn run(context: &Context, args: &Args) -> Result<Exit, CliError> {
    if let Some(name) = &args.carton {
        let sample = sample(&mut context.look()?, name)?;
        return told(context, &sample);
    }
    let lot = args.lot.unwrap_or_default();
    let study = sampling::study(lot, &wish(context, args, lot)?)?;
    if let Some(path) = &args.plot {
        draw(path, &study)?;
    }
    if context.globals.json {
        output::json(&Report { sampling: &study })?;
    } else {
        output::line(&text(context, &study))?;
    }
    Ok(Exit::Yes)
}

fn draw(path: &Path, study: &Study) -> Result<(), CliError> {
    let bytes = match paper::drawn_as(path)? {
        Drawn::Picture => print::sampling::chart(study).svg(160.0, 100.0).map(String::into_bytes),
        Drawn::Paper => print::sampling::paper(study, PageSize::A4),
    };
    paper::write(path, &bytes.map_err(|error| CliError::fault(error.to_string()))?)
}

/// The sample of a carton.
fn told(context: &Context, sample: &Sample) -> Result<Exit, CliError> {
    if context.globals.json {
        output::json(&SampleReport { sample })?;
        return Ok(Exit::Yes);
    }
    let wrap = |line: &String| output::wrap(line, context.width);
    let mut parts = vec![format!("SAMPLE of carton {}, {} packs", sample.carton, sample.holds)];
    parts.push(wrap(&sample.verdict));
    parts.extend(sample.plan.iter().map(wrap));
    if let Some(severity) = sample.severity {
        parts.push(format!("by the standard (MIL-STD-105E, ISO 2859-1), {severity} inspection"));
    }
    let read =
        |reading: Option<u32>| reading.map_or("not read yet".to_owned(), |mah| format!("read {mah} mAh"));
    let rows: Vec<Vec<String>> =
        sample.packs.iter().map(|(pack, reading)| vec![pack.clone(), read(*reading)]).collect();
    parts.push(output::table(context, &["pack", "first reading"], &rows, &[]));
    if sample.missing > 0 {
        parts.push(format!("{} more of the sample will be told as the carton is scanned in", sample.missing));
    }
    parts.extend(sample.risks.iter().map(wrap));
    output::line(&parts.join("\n"))?;
    Ok(Exit::Yes)
}

fn wish(context: &Context, args: &Args, lot: u32) -> Result<Wish, CliError> {
    let share = |percent: f64| percent / 100.0;
    if let (Some(good), Some(bad)) = (args.good, args.bad) {
        return Ok(Wish::Points(Points {
            good: share(good),
            producer: share(args.producer),
            bad: share(bad),
            consumer: share(args.consumer),
        }));
    }
    if let Some(quality) = args.quality {
        let level = match args.level {
            GivenLevel::S1 => Level::S1,
            GivenLevel::S2 => Level::S2,
            GivenLevel::S3 => Level::S3,
            GivenLevel::S4 => Level::S4,
            GivenLevel::I => Level::I,
            GivenLevel::Ii => Level::II,
            GivenLevel::Iii => Level::III,
        };
        let severity = match args.severity {
            GivenSeverity::Normal => Severity::Normal,
            GivenSeverity::Tightened => Severity::Tightened,
            GivenSeverity::Reduced => Severity::Reduced,
        };
        return Ok(Wish::Standard { quality, level, severity, double: args.double });
    }
    if let Some(sample) = args.take {
        return Ok(Wish::Take { sample, accept: args.accept });
    }
    let mut ledger = context.look()?;
    let Some(rule) = ledger.settings()?.policy.rules.carton else {
        return Err(CliError::bad(
            "the policy samples no cartons: its rule `carton` is off",
            "say what to read: --take, --quality, or --good and --bad",
        ));
    };
    Ok(of_policy(rule, lot))
}

fn text(context: &Context, study: &Study) -> String {
    let wrap = |line: &String| output::wrap(line, context.width);
    let mut parts = vec![format!("SAMPLING of a carton of {}", study.lot)];
    parts.extend(study.plan.iter().map(wrap));
    parts.push(String::new());
    // How many are read is told where the first sample may decide alone.
    let read = |chance: &Chance| chance.read_on_average;
    let differs =
        study.curve.windows(2).any(|pair| matches!(pair, [a, b] if (read(a) - read(b)).abs() > 1e-9));
    let columns = if differs { 4 } else { 3 };
    let rows: Vec<Vec<String>> = study
        .curve
        .iter()
        .map(|chance| {
            let mut row = vec![
                chance.bad.to_string(),
                format!("{:.1} %", chance.bad_percent),
                format!("{:.1} %", chance.accepted_percent),
                format!("{:.1}", chance.read_on_average),
            ];
            row.truncate(columns);
            row
        })
        .collect();
    let heads: Vec<&str> = ["bad", "share", "accepted", "read"].into_iter().take(columns).collect();
    let right: Vec<usize> = (0..columns).collect();
    parts.push(output::table(context, &heads, &rows, &right));
    if !study.risks.is_empty() {
        parts.push(String::new());
        parts.extend(study.risks.iter().map(wrap));
    }
    parts.join("\n")
}
