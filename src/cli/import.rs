//! `packmuster import`.

use std::fs::File;
use std::io::BufReader;
use std::path::{Path, PathBuf};

use serde::Serialize;

use crate::app::import::packs::{self, Packs};
use crate::app::import::readings::{self, Implausible, Readings};
use crate::app::import::{self, Import, Job, Mode, Report};
use crate::app::session::Here;
use crate::exchange::mapping::{Column, Dates, Decimal, Delimiter, Mapping, Overrides};

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;
use super::progress::Progress;

/// Bytes read from the file at a time.
const BUFFER: usize = 1 << 18;

/// Bring a fleet, past readings or bench results over from CSV files
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster import packs fleet.csv --make 'Kestrel 1100' --dry-run")]
pub(super) struct Args {
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, clap::Subcommand)]
enum Action {
    /// Packs that are there already: one row for each, with its code
    ///
    /// Fields: pack (a fresh tag of ours or any other code), code (further codes; any number of columns), serial, make, lot and
    /// `supplier_ref`, origin (new or service; else service), made (the maker's date), added (date received; else now),
    /// `prior_cycles` (nothing where they are not known). All but pack may be left out. Lots that are not there are made.
    #[command(
        after_help = "Example: packmuster import packs fleet.csv --column pack=Barcode --column make=Type --delimiter ';' --dates dmy\n\n\
        The same as a file for --map:\n  \
        delimiter = \";\"\n  dates = \"dmy\"\n  [columns]\n  pack = \"Barcode\"\n  make = \"Type\"\n  code = [\"Old number\", \"Library code\"]"
    )]
    Packs {
        #[command(flatten)]
        table: TableArgs,
        /// The make of rows that name none; else the only one
        #[arg(long, value_name = "NAME")]
        make: Option<String>,
    },
    /// Readings: past ones, and results of runs that are open at the bench
    ///
    /// Fields: pack (any of its codes; or nothing, where slot has an open run), at (a date, or local date and time), capacity (mAh),
    /// resistance (mOhm), temperature (C), took (min), slot (name or tag). Only at and capacity must be there. A reading taken
    /// since the pack went into its slot settles that run.
    #[command(
        after_help = "Example: packmuster import readings bench.csv --column pack=Cell --column at=End --column capacity=mAh --decimal ,"
    )]
    Readings {
        #[command(flatten)]
        table: TableArgs,
        /// Take readings that the policy finds implausible
        #[arg(long)]
        accept_implausible: bool,
    },
}

#[derive(Debug, clap::Args)]
struct TableArgs {
    /// The CSV file, in UTF-8, with a heading
    file: PathBuf,
    /// How the file is read: a TOML file with delimiter, decimal, dates and [columns]
    #[arg(long, value_name = "FILE")]
    map: Option<PathBuf>,
    /// A field and the file's heading for it; else the heading is the field's own name
    #[arg(long = "column", value_name = "FIELD=HEADING")]
    columns: Vec<Column>,
    /// What stands between fields: `,` `;` `|` `:` a space or `tab`; else `,`
    #[arg(long, value_name = "CHAR")]
    delimiter: Option<Delimiter>,
    /// The decimal mark: `.` or `,`; else `.`
    #[arg(long, value_name = "CHAR")]
    decimal: Option<Decimal>,
    /// The order of dates: ymd, dmy or mdy; else ymd
    #[arg(long, value_name = "ORDER")]
    dates: Option<Dates>,
    /// Write the good rows, and put the bad ones into FILE.bad.csv with the reason; else nothing is written if a row is bad
    #[arg(long, conflicts_with = "dry_run")]
    keep_good: bool,
    /// Check the file and write nothing
    #[arg(long)]
    dry_run: bool,
}

impl TableArgs {
    fn mode(&self) -> Mode {
        match (self.keep_good, self.dry_run) {
            (true, _) => Mode::KeepGood,
            (false, true) => Mode::DryRun,
            (false, false) => Mode::Whole,
        }
    }

    fn mapping(&self) -> Result<Mapping, CliError> {
        let mapping = match &self.map {
            None => Mapping::default(),
            Some(path) => {
                let text = std::fs::read_to_string(path).map_err(|error| CliError::file(path, &error))?;
                Mapping::parse(&text).map_err(|error| {
                    CliError::bad(
                        format!("{}: {error}", path.display()),
                        "mend the mapping; nothing was written",
                    )
                })?
            }
        };
        Ok(mapping.with(Overrides {
            delimiter: self.delimiter,
            decimal: self.decimal,
            dates: self.dates,
            columns: self.columns.clone(),
        }))
    }
}

pub(super) fn run(context: &mut Context, args: &Args) -> Result<Exit, CliError> {
    let mut ledger = context.write()?;
    let mut desk = context.staffed_desk(&mut ledger)?;
    let mut here = Here { ledger: &mut ledger, desk: &mut desk };
    match &args.action {
        Action::Packs { table, make } => {
            let import = Packs::new(here.ledger, make.as_deref())?;
            let report = bring(&mut here, table, import)?;
            tell(context, &report, pack_lines)
        }
        Action::Readings { table, accept_implausible } => {
            let implausible = if *accept_implausible { Implausible::Accepted } else { Implausible::Refused };
            let import = Readings::new(here.ledger, implausible)?;
            let report = bring(&mut here, table, import)?;
            tell(context, &report, reading_lines)
        }
    }
}

fn bring<I: Import>(
    here: &mut Here<'_>,
    table: &TableArgs,
    mut import: I,
) -> Result<Report<I::Summary>, CliError> {
    let mapping = table.mapping()?;
    let file = open(&table.file)?;
    let job = Job { path: &table.file, mapping: &mapping, mode: table.mode() };
    let progress = Progress::new("importing rows");
    let input = BufReader::with_capacity(BUFFER, file);
    let report = import::run(here, &job, input, &mut import, |done| progress.at(done));
    progress.end();
    Ok(report?)
}

fn open(path: &Path) -> Result<File, CliError> {
    if path.is_dir() {
        return Err(CliError::bad(format!("{} is a folder", path.display()), "give a CSV file"));
    }
    File::open(path).map_err(|error| CliError::file(path, &error))
}

/// Tells what is bad on stderr and what was done on stdout.
fn tell<S: Serialize>(
    context: &Context,
    report: &Report<S>,
    lines: fn(&S) -> Vec<String>,
) -> Result<Exit, CliError> {
    for fault in &report.bad {
        output::talk(&format!("{}:{}: {fault}", report.file, fault.line));
    }
    let named = u64::try_from(report.bad.len()).unwrap_or(u64::MAX);
    if report.bad_rows > named {
        output::talk(&format!("and {} more", report.bad_rows - named));
    }
    if !report.unread_columns.is_empty() {
        output::talk(&format!("columns not read: {}", report.unread_columns.join(", ")));
    }
    if context.globals.json {
        output::json(report)?;
    } else {
        let mut told = vec![format!("rows      {}, {} of them bad", report.rows, report.bad_rows)];
        told.extend(lines(&report.summary));
        told.push(match (&report.bad_file, report.written) {
            (Some(bad), _) => {
                format!(
                    "written   the good rows, as {} entries; bad rows are in {}",
                    report.entries,
                    bad.display()
                )
            }
            (None, true) => format!("written   {} entries", report.entries),
            (None, false) => "written   nothing".to_owned(),
        });
        output::lines(&told)?;
    }
    Ok(if report.bad_rows > 0 { Exit::Bad } else { Exit::Yes })
}

fn pack_lines(summary: &packs::Summary) -> Vec<String> {
    vec![
        format!(
            "packs     {}: {} new, {} in service",
            summary.packs, summary.packs_new, summary.packs_service
        ),
        format!("codes     {}", summary.codes),
        format!("lots      {} made", summary.lots),
    ]
}

fn reading_lines(summary: &readings::Summary) -> Vec<String> {
    let range = match (summary.lowest_mah, summary.highest_mah) {
        (Some(low), Some(high)) => format!(", {} to {high}", low.raw()),
        _ => String::new(),
    };
    let verdicts: Vec<String> = summary
        .packs_by_verdict
        .iter()
        .filter(|(_, count)| **count > 0)
        .map(|(verdict, count)| format!("{verdict} {count}"))
        .collect();
    let verdicts = if verdicts.is_empty() { "none".to_owned() } else { verdicts.join(", ") };
    vec![
        format!("readings  {}{range}", summary.readings),
        format!("packs     {}", summary.packs),
        format!("runs      {} settled", summary.runs_settled),
        format!("verdicts  {verdicts}"),
    ]
}
