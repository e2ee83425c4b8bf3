//! `packmuster slot`.

use std::path::PathBuf;

use crate::app::session::Here;
use crate::app::slots::{self, Check, Trust};
use crate::app::{lookup, setup};
use crate::domain::facts::SlotFacts;
use crate::domain::ids::ThingKind;
use crate::print;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;
use super::paper::{self, Paper};

/// Slots of the test bench
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster slot add 'bench A, 1' --tag SB4E-1HWQ-7ZK0-C")]
pub(super) struct Args {
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, clap::Subcommand)]
enum Action {
    /// Add a slot; scanning a fresh slot tag at the bench adds one too
    #[command(after_help = "Example: packmuster slot add 'bench A, 1' --tag SB4E-1HWQ-7ZK0-C")]
    Add {
        /// Its name
        name: String,
        /// A fresh slot tag for it
        #[arg(long, value_name = "CODE")]
        tag: Option<String>,
    },
    /// Say which makes a slot takes; without --make, every make
    #[command(after_help = "Example: packmuster slot takes 'bench A, 1' --make 'Kestrel 1100'")]
    Takes {
        /// Its tag or name
        slot: String,
        /// A make that it takes; may be given several times
        #[arg(long = "make", value_name = "NAME")]
        makes: Vec<String>,
    },
    /// Are the slots to be trusted: which reads too much or too little, since when, and whose readings are in doubt
    ///
    /// Every reading is held against what was foretold of its pack from readings in other slots. What a slot reads off is summed and
    /// averaged (CUSUM and EWMA charts); one that is out of control is named with its bias, and the packs that it failed or passed
    /// narrowly are listed for a second reading. Ends with 1 when a slot is out of control. Nothing is entered.
    #[command(after_help = "Example: packmuster slot check --sheet slots.pdf")]
    Check {
        /// Write a paper with every slot's charts, as PDF
        #[arg(long, value_name = "FILE")]
        sheet: Option<PathBuf>,
        /// Its size
        #[arg(long, value_enum, default_value = "a4")]
        paper: Paper,
    },
    /// List the slots, with the pack in each
    #[command(after_help = "Example: packmuster slot list")]
    List,
}

#[derive(serde::Serialize)]
struct Checked<'a> {
    check: &'a Check,
}

#[derive(serde::Serialize)]
struct Report {
    slots: Vec<Row>,
}

#[derive(serde::Serialize)]
struct Row {
    name: String,
    code: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pack: Option<String>,
    readings: u32,
    no_results: u32,
}

pub(super) fn run(context: &mut Context, args: Args) -> Result<Exit, CliError> {
    match args.action {
        Action::Add { name, tag } => {
            let mut ledger = context.write()?;
            let mut desk = context.staffed_desk(&mut ledger)?;
            let here = &mut Here { ledger: &mut ledger, desk: &mut desk };
            let answer = setup::add_slot(here, &name, tag.as_deref())?;
            super::tell(context, &answer)?;
        }
        Action::Takes { slot, makes } => {
            let mut ledger = context.write()?;
            let mut desk = context.staffed_desk(&mut ledger)?;
            let here = &mut Here { ledger: &mut ledger, desk: &mut desk };
            let answer = setup::slot_takes(here, &slot, &makes)?;
            super::tell(context, &answer)?;
        }
        Action::Check { sheet, paper: size } => {
            let mut ledger = context.look()?;
            let now = context.clock()();
            let check = ledger.transact(|ledger| slots::check(ledger, now))?;
            if let Some(path) = sheet {
                let bytes = print::slots::paper(&check, size.into());
                paper::write(&path, &bytes.map_err(|error| CliError::fault(error.to_string()))?)?;
            }
            if context.globals.json {
                output::json(&Checked { check: &check })?;
            } else {
                output::line(&text(context, &check))?;
            }
            let bad = |slot: &slots::SlotCheck| matches!(slot.trust, Trust::ReadsHigh | Trust::ReadsLow);
            return Ok(if check.slots.iter().any(bad) { Exit::No } else { Exit::Yes });
        }
        Action::List => {
            let mut ledger = context.look()?;
            let mut slots = Vec::new();
            for (_, facts) in ledger.all(ThingKind::Slot)? {
                let Ok(facts) = SlotFacts::try_from(facts) else { continue };
                let pack = match facts.run {
                    Some((_, pack, _)) => Some(lookup::pack_name(&mut ledger, pack)?),
                    None => None,
                };
                slots.push(Row {
                    name: facts.name,
                    code: lookup::label(&facts.codes),
                    pack,
                    readings: facts.readings,
                    no_results: facts.no_results,
                });
            }
            let report = Report { slots };
            if context.globals.json {
                output::json(&report)?;
            } else {
                let row = |row: Row| {
                    let pack = row.pack.unwrap_or_else(|| "free".to_owned());
                    vec![row.name, row.code, pack, row.readings.to_string(), row.no_results.to_string()]
                };
                let rows: Vec<Vec<String>> = report.slots.into_iter().map(row).collect();
                let heads = ["slot", "tag", "pack", "readings", "no result"];
                output::line(&output::table(context, &heads, &rows, &[3, 4]))?;
            }
        }
    }
    Ok(Exit::Yes)
}

fn text(context: &Context, check: &Check) -> String {
    let wrap = |line: &str| output::wrap(line, context.width);
    if check.slots.is_empty() {
        return wrap("the bench has no slot yet: packmuster slot add, or scan a fresh slot tag at the bench");
    }
    let mut parts = vec![format!("SLOTS as of {}", check.as_of), wrap(print::slots::by(check))];
    let rows: Vec<Vec<String>> = check
        .slots
        .iter()
        .map(|slot| {
            let study = slot.study.as_ref().map(|(_, found)| {
                print::slots::bias(Some(found.bias_mah), Some(found.low_mah), Some(found.high_mah))
            });
            vec![
                slot.slot.clone(),
                slot.trust.words().to_owned(),
                print::slots::since(slot),
                slot.watched.to_string(),
                print::slots::bias(slot.bias_mah, slot.bias_low_mah, slot.bias_high_mah),
                study.unwrap_or_default(),
            ]
        })
        .collect();
    let heads = ["slot", "trust", "since", "readings", "bias, mAh (95 %)", "by a study"];
    parts.push(output::table(context, &heads, &rows, &[3, 4, 5]));
    if check.again.is_empty() {
        parts.push("no reading is in doubt for its slot".to_owned());
        return parts.join("\n");
    }
    parts.push(String::new());
    parts.push(wrap(&format!("to read again in another slot: {}", check.again.len())));
    let rows: Vec<Vec<String>> = check
        .again
        .iter()
        .map(|line| {
            vec![
                line.pack.clone(),
                line.slot.clone(),
                line.day.to_string(),
                line.read_mah.to_string(),
                line.corrected_mah.to_string(),
                line.limit_mah.to_string(),
                line.why.split(':').next().unwrap_or_default().to_owned(),
            ]
        })
        .collect();
    let heads = ["pack", "slot", "day", "read", "freed of bias", "limit", "it"];
    parts.push(output::table(context, &heads, &rows, &[3, 4, 5]));
    parts.join("\n")
}
