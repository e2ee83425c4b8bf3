//! `packmuster consignment`.

use std::path::{Path, PathBuf};

use crate::app::answer::count;
use crate::app::consignment::{self, Gather, Manifest};
use crate::app::session::Here;
use crate::domain::finding::CAUTIONS;
use crate::domain::waste::Condition;
use crate::print::consignment::{DECIDES, chemistry, mass};

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::paper::{self, Paper};
use super::session::{self, Scans};
use super::{output, tell};

/// Dead packs that leave together: gather, pack by scanning, print the papers, send off
///
/// A box holds packs of one chemistry, and never damaged ones with sound ones. What has left can never go out again. Figures and
/// marks stand in the policy ([waste]) and are help, not legal advice: local rules and the licensed carrier decide.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster consignment open autumn --handler 'Ferry Metals'")]
pub(super) struct Args {
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, clap::Subcommand)]
enum Action {
    /// Open a consignment
    #[command(after_help = "Example: packmuster consignment open autumn --handler 'Ferry Metals'")]
    Open {
        /// Its name
        name: String,
        /// Who takes it: the recycler or carrier
        #[arg(long, value_name = "NAME")]
        handler: String,
    },
    /// Pack it: scan dead packs, what is seen on them, CARTON for the next box, NO to take one out
    ///
    /// A pack that is not at its end is refused; YES retires it all the same.
    #[command(after_help = "Example: packmuster consignment pack P7K3-Q9M2-DXWT-8 --name autumn")]
    Pack {
        #[command(flatten)]
        scans: Scans,
        /// Which consignment; else the only open one
        #[arg(long, value_name = "NAME")]
        name: Option<String>,
    },
    /// Show what is in it, and print its papers
    #[command(after_help = "Example: packmuster consignment show autumn --sheet autumn.pdf")]
    Show {
        /// Its name; else the only open one
        name: Option<String>,
        /// Write manifest, sheet of damaged packs, cautions and box labels as PDF
        #[arg(long, value_name = "FILE")]
        sheet: Option<PathBuf>,
        /// Its size
        #[arg(long, value_enum, default_value = "a4")]
        paper: Paper,
    },
    /// Send it off: what is in it can never go out again
    #[command(
        after_help = "Example: packmuster consignment leave autumn --reference W-2290 --sheet autumn.pdf"
    )]
    Leave {
        /// Its name; else the only open one
        name: Option<String>,
        /// The carrier's number
        #[arg(long, value_name = "TEXT")]
        reference: Option<String>,
        /// Write its papers as PDF
        #[arg(long, value_name = "FILE")]
        sheet: Option<PathBuf>,
        /// Its size
        #[arg(long, value_enum, default_value = "a4")]
        paper: Paper,
    },
    /// List all consignments, newest first
    #[command(after_help = "Example: packmuster consignment list")]
    List,
}

#[derive(serde::Serialize)]
struct Answer<'a> {
    consignment: &'a Manifest,
}

#[derive(serde::Serialize)]
struct Listed {
    consignments: Vec<Row>,
}

#[derive(serde::Serialize)]
struct Row {
    name: String,
    handler: String,
    packs: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    opened: Option<jiff::civil::Date>,
    #[serde(skip_serializing_if = "Option::is_none")]
    left: Option<jiff::civil::Date>,
}

pub(super) fn run(context: &Context, args: &Args) -> Result<Exit, CliError> {
    match &args.action {
        Action::Open { name, handler } => {
            let mut ledger = context.write()?;
            let mut desk = context.staffed_desk(&mut ledger)?;
            let here = &mut Here { ledger: &mut ledger, desk: &mut desk };
            tell(context, &consignment::open(here, name, handler)?)?;
        }
        Action::Pack { scans, name } => {
            let mut ledger = context.write()?;
            let mut desk = context.staffed_desk(&mut ledger)?;
            let work = Gather::new(&mut ledger, name.as_deref())?;
            return session::run(context, &mut ledger, &mut desk, work, scans);
        }
        Action::Show { name, sheet, paper } => {
            let manifest = consignment::manifest(&mut context.look()?, name.as_deref())?;
            show(context, &manifest, sheet.as_deref(), *paper)?;
        }
        Action::Leave { name, reference, sheet, paper } => {
            sheet.as_deref().map(paper::must_be_free).transpose()?;
            let mut ledger = context.write()?;
            let mut desk = context.staffed_desk(&mut ledger)?;
            let (_, facts) = consignment::find(&mut ledger, name.as_deref())?;
            let here = &mut Here { ledger: &mut ledger, desk: &mut desk };
            let answer = consignment::leave(here, Some(&facts.name), reference.as_deref())?;
            if !context.globals.json {
                tell(context, &answer)?;
            }
            let manifest = consignment::manifest(&mut ledger, Some(&facts.name))?;
            show(context, &manifest, sheet.as_deref(), *paper)?;
        }
        Action::List => list(context)?,
    }
    Ok(Exit::Yes)
}

fn list(context: &Context) -> Result<(), CliError> {
    let mut ledger = context.look()?;
    let all = consignment::all(&mut ledger)?;
    let rows = all.into_iter().map(|(_, facts)| Row {
        name: facts.name,
        handler: facts.handler,
        packs: facts.packs.len(),
        opened: facts.opened.map(|at| at.day(ledger.zone())),
        left: facts.left.map(|at| at.day(ledger.zone())),
    });
    let listed = Listed { consignments: rows.collect() };
    if context.globals.json {
        return output::json(&listed);
    }
    let day = |day: Option<jiff::civil::Date>| day.map(|day| day.to_string()).unwrap_or_default();
    let rows: Vec<Vec<String>> = listed
        .consignments
        .iter()
        .map(|row| {
            vec![row.name.clone(), row.handler.clone(), row.packs.to_string(), day(row.opened), day(row.left)]
        })
        .collect();
    output::line(&output::table(context, &["consignment", "handler", "packs", "opened", "left"], &rows, &[2]))
}

fn show(context: &Context, manifest: &Manifest, sheet: Option<&Path>, size: Paper) -> Result<(), CliError> {
    if let Some(path) = sheet {
        let bytes = crate::print::consignment::paper(manifest, size.into())
            .map_err(|error| CliError::fault(error.to_string()))?;
        paper::write(path, &bytes)?;
    }
    if context.globals.json {
        return output::json(&Answer { consignment: manifest });
    }
    output::line(&text(context, manifest))
}

fn text(context: &Context, manifest: &Manifest) -> String {
    let wrap = |line: &str| output::wrap(line, context.width);
    let left = manifest.left.map_or_else(|| "open".to_owned(), |left| format!("left on {left}"));
    let mut parts = vec![wrap(&format!(
        "CONSIGNMENT {} for {}, {left}: {}",
        manifest.name,
        manifest.handler,
        count(manifest.packs.len(), "pack", "packs")
    ))];
    let rows: Vec<Vec<String>> = manifest
        .rows
        .iter()
        .map(|row| {
            vec![
                chemistry(row.chemistry),
                row.condition.to_string(),
                row.packs.to_string(),
                mass(row.mass_g, row.without_mass),
                format!("{:.1}", row.energy_wh),
                row.un.clone().unwrap_or_else(|| "none".to_owned()),
            ]
        })
        .collect();
    if !rows.is_empty() {
        let heads = ["chemistry", "condition", "packs", "kg", "Wh", "UN number"];
        parts.push(output::table(context, &heads, &rows, &[2, 3, 4]));
    }
    for row in &manifest.rows {
        for note in row.notes.iter().map(|note| wrap(&format!("{}: {note}", chemistry(row.chemistry)))) {
            // What holds for sound and damaged ones alike is said once.
            if !parts.contains(&note) {
                parts.push(note);
            }
        }
    }
    let rows: Vec<Vec<String>> = manifest
        .boxes
        .iter()
        .map(|of| {
            vec![
                of.number.to_string(),
                chemistry(of.chemistry),
                of.condition.to_string(),
                of.packs.to_string(),
                mass(of.mass_g, of.without_mass),
                of.since.to_string(),
            ]
        })
        .collect();
    if !rows.is_empty() {
        let heads = ["box", "chemistry", "condition", "packs", "kg", "waste since"];
        parts.push(output::table(context, &heads, &rows, &[0, 3, 4]));
    }
    if manifest.rows.iter().any(|row| row.condition == Condition::Damaged) {
        parts.push(wrap(CAUTIONS));
    }
    parts.push(wrap(&format!("By {}. {DECIDES}", manifest.rules)));
    parts.join("\n")
}
