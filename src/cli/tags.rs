//! `packmuster tags`.

use std::collections::HashSet;
use std::path::{Path, PathBuf};

use crate::app::printing::{self, Lost, Printing};
use crate::app::session::Here;
use crate::domain::tag::{Tag, TagKind};
use crate::ledger::Ledger;
use crate::print::geometry::Geometry;
use crate::print::labels::{self, Drift, Label, Marks, SheetRequest};
use crate::print::{PrintError, calibration, card};

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;
use super::paper::{Paper, stage, write};

/// Print tags: sheets or rolls of fresh codes, the command card, a calibration page
///
/// Print at 100 %, never "fit to page". A fresh tag names nothing until it is scanned in.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster tags print pack --sheet a4-65 --out packs.pdf")]
pub(super) struct Args {
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, clap::Subcommand)]
enum Action {
    /// Fresh tags for packs, players, slots, places or operators
    #[command(
        after_help = "Example: packmuster tags print pack --sheet a4-65 --start 23 --count 40 --out packs.pdf"
    )]
    Print {
        /// What the tags are for
        #[arg(value_enum)]
        kind: Kind,
        #[command(flatten)]
        onto: Onto,
        /// How many tags; else one full sheet, or 20 on a roll
        #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=100_000))]
        count: Option<u32>,
    },
    /// The command card: what a desk can say without a keyboard, and the scanner trial
    #[command(after_help = "Example: packmuster tags card --out card.pdf")]
    Card {
        /// Paper
        #[arg(long, value_enum, default_value_t = Paper::A4)]
        paper: Paper,
        /// The PDF to write
        #[arg(long, value_name = "FILE", default_value = "command-card.pdf")]
        out: PathBuf,
    },
    /// A page with rulers and the outlines of the labels, to see how far a printer is off
    #[command(after_help = "Example: packmuster tags calibrate --sheet a4-65 --out rulers.pdf")]
    Calibrate {
        #[command(flatten)]
        placing: Placing,
        /// The PDF to write
        #[arg(long, value_name = "FILE", default_value = "calibration.pdf")]
        out: PathBuf,
    },
    /// Print lost tags again: exactly those, with the codes that they had
    #[command(after_help = "Example: packmuster tags again --of 3 --labels 41-65 --out lost.pdf")]
    Again {
        /// The tags, by code
        #[arg(value_name = "CODE", conflicts_with_all = ["of", "labels", "unused"])]
        codes: Vec<Tag>,
        /// Of which printing, by its number in `tags log`
        #[arg(long, value_name = "N")]
        of: Option<usize>,
        /// Which labels of it, counted from 1 in its order: 41-65,70
        #[arg(long, value_name = "LIST", requires = "of", conflicts_with = "unused")]
        labels: Option<String>,
        /// Those of it that were never scanned in
        #[arg(long, requires = "of")]
        unused: bool,
        #[command(flatten)]
        onto: Onto,
    },
    /// Which codes were printed when, and how many of them are in use
    #[command(after_help = "Example: packmuster tags log")]
    Log {
        /// Print every code
        #[arg(long)]
        codes: bool,
    },
    /// List the sheets and rolls that are built in
    #[command(after_help = "Example: packmuster tags sheets")]
    Sheets,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Kind {
    Pack,
    Player,
    Slot,
    Place,
    Operator,
}

impl From<Kind> for TagKind {
    fn from(kind: Kind) -> Self {
        match kind {
            Kind::Pack => Self::Pack,
            Kind::Player => Self::Player,
            Kind::Slot => Self::Slot,
            Kind::Place => Self::Place,
            Kind::Operator => Self::Operator,
        }
    }
}

#[derive(Debug, Clone, clap::Args)]
struct Placing {
    /// A built-in sheet or roll (see `tags sheets`), or a geometry file of your own
    #[arg(long, value_name = "NAME|FILE", default_value = "a4-65")]
    sheet: String,
    /// Move everything right by so many mm (negative: left)
    #[arg(long, value_name = "MM", default_value_t = 0.0, allow_negative_numbers = true)]
    shift_x: f32,
    /// Move everything down by so many mm (negative: up)
    #[arg(long, value_name = "MM", default_value_t = 0.0, allow_negative_numbers = true)]
    shift_y: f32,
    /// Move the last column right by so many mm more, the others in proportion
    #[arg(long, value_name = "MM", default_value_t = 0.0, allow_negative_numbers = true)]
    grow_x: f32,
    /// Move the last row down by so many mm more, the others in proportion
    #[arg(long, value_name = "MM", default_value_t = 0.0, allow_negative_numbers = true)]
    grow_y: f32,
}

/// What tags are printed onto.
#[derive(Debug, Clone, clap::Args)]
struct Onto {
    #[command(flatten)]
    placing: Placing,
    /// The first position to use on a half-used sheet, counted along the rows from 1
    #[arg(long, value_name = "N", default_value_t = 1)]
    start: usize,
    /// Marks between the labels, for plain paper that is cut by hand
    #[arg(long)]
    cut: bool,
    /// The PDF to write
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
}

impl Placing {
    fn geometry(&self) -> Result<Geometry, CliError> {
        let path = Path::new(&self.sheet);
        let text = match labels::named(&self.sheet) {
            Some(text) => text.to_owned(),
            None if path.extension().is_some() => {
                std::fs::read_to_string(path).map_err(|error| CliError::file(path, &error))?
            }
            None => {
                let known: Vec<&str> = labels::names().collect();
                return Err(CliError::bad(
                    format!("no sheet is named `{}`", self.sheet),
                    format!("known: {}; or give a geometry file ending in .toml", known.join(", ")),
                ));
            }
        };
        Geometry::parse(&text)
            .map_err(|error| CliError::bad(format!("{}: {error}", self.sheet), "mend the geometry file"))
    }

    const fn drift(&self) -> Drift {
        Drift { x_mm: self.shift_x, y_mm: self.shift_y, grow_x_mm: self.grow_x, grow_y_mm: self.grow_y }
    }
}

#[derive(serde::Serialize)]
struct Printed {
    file: String,
    kind: TagKind,
    #[serde(skip_serializing_if = "Option::is_none")]
    printing: Option<usize>,
    tags: Vec<String>,
}

#[derive(serde::Serialize)]
struct Written {
    file: String,
}

pub(super) fn run(context: &mut Context, args: Args) -> Result<Exit, CliError> {
    match args.action {
        Action::Print { kind, onto, count } => print(context, kind, &onto, count)?,
        Action::Card { paper, out } => {
            write(&out, &card::command_card(paper.into()).map_err(|error| fault(&error))?)?;
            written(context, &out)?;
        }
        Action::Calibrate { placing, out } => {
            let page = calibration::calibration(&placing.geometry()?, &placing.drift())
                .map_err(|error| fault(&error))?;
            write(&out, &page)?;
            written(context, &out)?;
        }
        Action::Again { codes, of, labels, unused, onto } => {
            let lost = match (of, labels, unused) {
                (Some(of), None, true) => Lost::Unused(of),
                (Some(of), Some(labels), false) => Lost::Labels(of, printing::numbers(&labels)?),
                (None, ..) if !codes.is_empty() => Lost::Codes(codes),
                _ => {
                    return Err(CliError::bad(
                        "it is not said which tags were lost",
                        "give their codes, or --of N with --labels or --unused; see packmuster tags log",
                    ));
                }
            };
            let mut ledger = context.write_any()?;
            let tags = printing::lost(&mut ledger, &lost)?;
            sheet(context, Some(&mut ledger), &tags, true, &onto)?;
        }
        Action::Log { codes } => log(context, codes)?,
        Action::Sheets => sheets(context)?,
    }
    Ok(Exit::Yes)
}

fn print(context: &Context, kind: Kind, onto: &Onto, count: Option<u32>) -> Result<(), CliError> {
    let kind = TagKind::from(kind);
    let full = match onto.placing.geometry()?.positions() {
        1 => 20,
        positions => positions.saturating_sub(onto.start.saturating_sub(1)),
    };
    let count = count.and_then(|count| usize::try_from(count).ok()).unwrap_or(full);
    let mut random = context.random()?;
    let mut ledger = context.write_if_any()?;
    let tags = match &mut ledger {
        Some(ledger) => printing::fresh(ledger, kind, count, &mut random)?,
        None => (0..count).map(|_| Tag::draw(kind, &mut random)).collect(),
    };
    sheet(context, ledger.as_mut(), &tags, false, onto)
}

/// Prints tags of one kind, and keeps their codes where there is a ledger.
fn sheet(
    context: &Context,
    ledger: Option<&mut Ledger>,
    tags: &[Tag],
    again: bool,
    onto: &Onto,
) -> Result<(), CliError> {
    let kind = tags.first().map_or(TagKind::Pack, Tag::kind);
    let geometry = onto.placing.geometry()?;
    let labels: Vec<Label<'_>> = tags.iter().map(|&tag| Label { tag, caption: None }).collect();
    let marks = if onto.cut { Marks::Cut } else { Marks::None };
    let drift = onto.placing.drift();
    let request = SheetRequest { geometry: &geometry, labels: &labels, start: onto.start, drift, marks };
    let bytes = labels::sheet(&request).map_err(|error| fault(&error))?;
    let out = onto.out.clone().unwrap_or_else(|| PathBuf::from(format!("tags-{kind}.pdf")));
    // The log first: a code that is in it and on no paper is only lost, the other way round it could be drawn again.
    let staged = stage(&out, &bytes)?;
    let printing = match ledger {
        Some(ledger) => {
            let mut desk = context.staffed_desk(ledger)?;
            let here = &mut Here { ledger, desk: &mut desk };
            Some(printing::enter(here, (kind, tags), again, (&onto.placing.sheet, onto.start))?)
        }
        None => None,
    };
    staged.place()?;
    let printed = Printed {
        file: out.display().to_string(),
        kind,
        printing,
        tags: tags.iter().map(ToString::to_string).collect(),
    };
    if context.globals.json {
        return output::json(&printed);
    }
    let kept = printing.map_or_else(
        || "no ledger is here: these codes are in no log".to_owned(),
        |number| format!("printing {number} in the log"),
    );
    output::lines(&[
        format!("{} {kind} tags in {}; {kept}", printed.tags.len(), printed.file),
        "print at 100 %; stick them where no vent or contact is covered".to_owned(),
    ])
}

fn log(context: &Context, codes: bool) -> Result<(), CliError> {
    #[derive(serde::Serialize)]
    struct Report {
        printings: Vec<Printing>,
    }
    let report = Report { printings: printing::all(&mut context.look()?)? };
    if context.globals.json {
        return output::json(&report);
    }
    let rows: Vec<Vec<String>> = report
        .printings
        .iter()
        .map(|of| {
            vec![
                of.number.to_string(),
                of.printed.to_string(),
                if of.again { format!("{}, again", of.kind) } else { of.kind.to_string() },
                of.sheet.clone(),
                of.start.to_string(),
                of.codes.len().to_string(),
                of.unused.len().to_string(),
            ]
        })
        .collect();
    let heads = ["printing", "day", "tags for", "sheet", "from", "tags", "not in use"];
    output::line(&output::table(context, &heads, &rows, &[0, 4, 5, 6]))?;
    if codes {
        for of in &report.printings {
            let unused: HashSet<&str> = of.unused.iter().map(String::as_str).collect();
            for (place, code) in of.codes.iter().enumerate() {
                let state = if unused.contains(code.as_str()) { ", not in use" } else { "" };
                let shown = code.parse::<Tag>().map_or_else(|_foreign| code.clone(), |tag| tag.to_string());
                output::line(&format!("printing {}, label {}: {shown}{state}", of.number, place + 1))?;
            }
        }
    }
    Ok(())
}

fn sheets(context: &Context) -> Result<(), CliError> {
    #[derive(serde::Serialize)]
    struct Report {
        sheets: Vec<Row>,
    }
    #[derive(serde::Serialize)]
    struct Row {
        name: &'static str,
        title: String,
        labels: usize,
        symbol_mm: f32,
    }
    let mut rows = Vec::new();
    for name in labels::names() {
        let geometry = Geometry::parse(labels::named(name).unwrap_or_default())
            .map_err(|error| CliError::fault(format!("{name}: {error}")))?;
        rows.push(Row {
            name,
            title: geometry.title().to_owned(),
            labels: geometry.positions(),
            symbol_mm: geometry.symbol_mm(),
        });
    }
    let report = Report { sheets: rows };
    if context.globals.json {
        return output::json(&report);
    }
    let rows: Vec<Vec<String>> = report
        .sheets
        .into_iter()
        .map(|row| {
            vec![row.name.to_owned(), row.title, row.labels.to_string(), format!("{:.1}", row.symbol_mm)]
        })
        .collect();
    output::line(&output::table(context, &["sheet", "what it is", "labels", "symbol mm"], &rows, &[2, 3]))
}

fn written(context: &Context, path: &Path) -> Result<(), CliError> {
    let report = Written { file: path.display().to_string() };
    if context.globals.json { output::json(&report) } else { output::line(&report.file) }
}

fn fault(error: &PrintError) -> CliError {
    CliError::bad(error.to_string(), "nothing was written")
}
