//! `packmuster correct`.

use jiff::civil::{Date, DateTime};

use crate::app::correct::{self, Corrected, Right};
use crate::app::session::Here;
use crate::domain::command::Command;
use crate::domain::finding::Finding;
use crate::domain::moment::Moment;
use crate::domain::units::MilliampHours;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;

/// Correct an entry of the past: a reading mistyped, the wrong pack, the wrong day
///
/// The entry stays in the record and no longer counts; what is right takes its place. A ride with its loans, and a run with its
/// reading, are corrected whole when the pack or the player was wrong. Refused when the rest of the record says that it cannot have
/// been so. The answer lists every verdict and dispatch that stood on it, packs that
/// are out now first, and the verdicts that change; the exit code is 1 when one of them is out.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: packmuster --operator EB correct 812 --mah 712 --reason 'read 8 for 7 off the slot'"
)]
pub(super) struct Args {
    /// The entry's number, as `show` prints it; with several sites as Site:number
    entry: String,
    /// The capacity that was read, in mAh
    #[arg(long)]
    mah: Option<u32>,
    /// The pack that it was
    #[arg(long, value_name = "CODE")]
    pack: Option<String>,
    /// The player that it was
    #[arg(long, value_name = "CODE")]
    player: Option<String>,
    /// The make that the pack or player is of
    #[arg(long, value_name = "NAME")]
    make: Option<String>,
    /// The local day, or day and time, at which it was
    #[arg(long, value_name = "WHEN")]
    at: Option<String>,
    /// What was seen, as the word on the command card
    #[arg(long, value_name = "WORD", value_parser = finding)]
    finding: Option<Finding>,
    /// It never happened
    #[arg(long)]
    nothing: bool,
    /// Why the entry was wrong; name no borrower
    #[arg(long)]
    reason: String,
}

fn finding(text: &str) -> Result<Finding, String> {
    match Command::from_word(text) {
        Some(Command::Finding(finding)) => Ok(finding),
        _ => Err("expected swollen, leaking, cracked, hot, corroded or cutout".to_owned()),
    }
}

#[derive(serde::Serialize)]
struct Report<'a> {
    correction: &'a Corrected,
}

pub(super) fn run(context: &mut Context, args: &Args) -> Result<Exit, CliError> {
    let mut ledger = context.write()?;
    let mut desk = context.staffed_desk(&mut ledger)?;
    let zone = ledger.zone().clone();
    let at = match &args.at {
        None => None,
        Some(text) => {
            let moment = match (text.parse::<Date>(), text.replace(' ', "T").parse::<DateTime>()) {
                (Ok(day), _) if text.trim().len() <= 10 => Some(Moment::noon_of(day, &zone)),
                (_, Ok(time)) => zone.to_timestamp(time).ok().map(Moment::from_timestamp),
                _ => None,
            };
            Some(moment.ok_or_else(|| {
                CliError::bad(format!("--at is `{text}`"), "give 2026-11-20 or '2026-11-20 14:30'")
            })?)
        }
    };
    let pack = args.pack.as_deref().map(|code| correct::pack(&mut ledger, code)).transpose()?;
    let player = args.player.as_deref().map(|code| correct::player(&mut ledger, code)).transpose()?;
    let right = Right {
        capacity: args.mah.map(MilliampHours::new),
        pack,
        player,
        make: args.make.clone(),
        at,
        finding: args.finding,
        nothing: args.nothing,
    };
    let here = &mut Here { ledger: &mut ledger, desk: &mut desk };
    let corrected = correct::correct(here, &args.entry, &right, &args.reason)?;
    if context.globals.json {
        output::json(&Report { correction: &corrected })?;
        return Ok(super::session::exit(corrected.answer.outcome));
    }
    let mut lines = corrected.answer.lines();
    for line in &corrected.stood {
        lines.push(format!("  {} {} {}: {}", line.when, line.what, line.pack, line.text));
    }
    for told in &corrected.now {
        lines.push("now".to_owned());
        lines.extend(told.lines());
    }
    let wrapped: Vec<String> = lines.iter().map(|line| output::wrap(line, context.width)).collect();
    output::lines(&wrapped)?;
    Ok(super::session::exit(corrected.answer.outcome))
}
