//! `packmuster show`.

use crate::app::lookup;
use crate::app::show::{self, Life};

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;

/// Show the life of any scanned thing
///
/// A pack, player, slot, place, operator, lot or carton, by its tag, another code of it, or its name.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster show P7K3-Q9M2-DXWT-8")]
pub(super) struct Args {
    /// A code or name of the thing
    thing: String,
}

#[derive(serde::Serialize)]
struct Report<'a> {
    life: &'a Life,
}

pub(super) fn run(context: &mut Context, args: &Args) -> Result<Exit, CliError> {
    let mut ledger = context.look()?;
    let thing = lookup::find(&mut ledger, &args.thing)?;
    let life = show::life(&mut ledger, thing, context.clock()())?;
    if context.globals.json {
        output::json(&Report { life: &life })?;
        return Ok(Exit::Yes);
    }
    let mut lines = Vec::new();
    match &life.verdict {
        Some(told) => lines.extend(told.lines()),
        None if life.name.starts_with(life.kind.word()) => lines.push(life.name.clone()),
        None => lines.push(format!("{} {}", life.kind, life.name)),
    }
    let width = life.facts.iter().map(|(word, _)| word.len()).max().unwrap_or(0);
    lines.push(String::new());
    lines.extend(life.facts.iter().map(|(word, value)| format!("{word:width$}  {value}")));
    lines.push(String::new());
    for happening in &life.history {
        let who =
            if happening.operator.is_empty() { String::new() } else { format!(" [{}]", happening.operator) };
        let back = if happening.taken_back { " (no longer counts)" } else { "" };
        let what = format!("#{} {}{who}{back}", happening.entry, happening.text);
        lines.push(format!("{}  {what}", happening.recorded));
    }
    let wrapped: Vec<String> = lines.iter().map(|line| output::wrap(line, context.width)).collect();
    output::lines(&wrapped)?;
    Ok(Exit::Yes)
}
