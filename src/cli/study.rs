//! `packmuster study`.

use std::path::PathBuf;

use crate::app::session::Here;
use crate::app::study::{self, Report};
use crate::print;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;
use super::paper::{self, Paper};

/// Studies of the bench: the same packs are read in every slot, and tell what the bench itself adds to readings
///
/// A study is planned once and read at the bench as always; its sheet says which pack goes into which slot at each visit. Once every
/// reading is there, `study show` tells how well a reading repeats, how much slots differ, and each slot's bias.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: packmuster study plan autumn --pack P7K3-Q9M2-DXWT-8 --pack PKE9-51XB-RX7P-9"
)]
pub(super) struct Args {
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, clap::Subcommand)]
enum Action {
    /// Plan a study: each pack is to be read so often in each slot, in an order drawn at random
    #[command(
        after_help = "Example: packmuster study plan autumn --pack P7K3-Q9M2-DXWT-8 --pack PKE9-51XB-RX7P-9 --sheet autumn.pdf"
    )]
    Plan {
        /// Its name
        name: String,
        /// A pack, by any code; ten of different strength tell much
        #[arg(long = "pack", value_name = "CODE", required = true)]
        packs: Vec<String>,
        /// A slot, by name or tag; else every slot
        #[arg(long = "slot", value_name = "SLOT")]
        slots: Vec<String>,
        /// How often each pack is read in each slot
        #[arg(long, value_name = "COUNT", default_value_t = 2)]
        repeats: u32,
        /// Write a sheet of what to scan at each visit, as PDF
        #[arg(long, value_name = "FILE")]
        sheet: Option<PathBuf>,
        /// Its size
        #[arg(long, value_enum, default_value = "a4")]
        paper: Paper,
    },
    /// Show a study: what is to be read next, and what came of it
    #[command(after_help = "Example: packmuster study show autumn")]
    Show {
        /// Its name; else the only one
        name: Option<String>,
        /// Write it as PDF
        #[arg(long, value_name = "FILE")]
        sheet: Option<PathBuf>,
        /// Its size
        #[arg(long, value_enum, default_value = "a4")]
        paper: Paper,
    },
}

#[derive(serde::Serialize)]
struct Answer<'a> {
    study: &'a Report,
}

pub(super) fn run(context: &Context, args: &Args) -> Result<Exit, CliError> {
    let (report, sheet, size) = match &args.action {
        Action::Plan { name, packs, slots, repeats, sheet, paper } => {
            let mut ledger = context.write()?;
            let mut desk = context.staffed_desk(&mut ledger)?;
            let mut here = Here { ledger: &mut ledger, desk: &mut desk };
            (study::plan(&mut here, name, (packs, slots), *repeats)?, sheet, *paper)
        }
        Action::Show { name, sheet, paper } => {
            (study::show(&mut context.look()?, name.as_deref())?, sheet, *paper)
        }
    };
    if let Some(path) = sheet {
        let bytes =
            print::study::paper(&report, size.into()).map_err(|error| CliError::fault(error.to_string()))?;
        paper::write(path, &bytes)?;
    }
    if context.globals.json {
        output::json(&Answer { study: &report })?;
    } else {
        output::line(&text(context, &report))?;
    }
    Ok(Exit::Yes)
}

fn text(context: &Context, study: &Report) -> String {
    let wrap = |line: &str| output::wrap(line, context.width);
    let mut parts = vec![wrap(&format!(
        "STUDY {}, planned {}: {} packs, {} slots, {} times each; {} of {} readings are there",
        study.name,
        study.planned,
        study.packs.len(),
        study.slots.len(),
        study.repeats,
        study.read,
        study.runs
    ))];
    parts.extend(study.warnings.iter().map(|warning| wrap(warning)));
    if let Some(result) = &study.result {
        parts.push(format!("{:.1} mAh  the same pack again in the same slot", result.repeatability_mah));
        parts.push(format!("{:.1} mAh  from slot to slot", result.slots_mah));
        parts.push(format!("{:.1} mAh  from pack to pack", result.packs_mah));
        if let Some(classes) = result.classes {
            parts.push(format!("{classes:.0} classes of packs are told apart"));
        }
        parts.extend(print::study::words(result).iter().map(|line| wrap(line)));
        let rows: Vec<Vec<String>> = result
            .biases
            .iter()
            .map(|found| {
                let bias =
                    print::slots::bias(Some(found.bias_mah), Some(found.low_mah), Some(found.high_mah));
                vec![found.slot.clone(), bias, if found.off { "off" } else { "" }.to_owned()]
            })
            .collect();
        parts.push(output::table(context, &["slot", "bias, mAh (95 % for all)", ""], &rows, &[1]));
        return parts.join("\n");
    }
    let next =
        study.visits.iter().enumerate().find(|(_, visit)| visit.iter().any(|run| run.read_mah.is_none()));
    if let Some((number, visit)) = next {
        parts.push(format!("next, visit {} of {}:", number + 1, study.visits.len()));
        let rows: Vec<Vec<String>> = visit
            .iter()
            .map(|run| {
                let read = run.read_mah.map_or_else(|| "to read".to_owned(), |mah| format!("read {mah} mAh"));
                vec![run.slot.clone(), run.pack.clone(), read]
            })
            .collect();
        parts.push(output::table(context, &["slot", "pack", ""], &rows, &[]));
    }
    parts.join("\n")
}
