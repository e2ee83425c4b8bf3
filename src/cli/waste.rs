//! `packmuster waste`.

use crate::app::answer::count;
use crate::app::waste::{self, Waste};
use crate::print::consignment::{DECIDES, chemistry, mass, weight};

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;

/// Packs at their end that have not left: how much, since when, and by when they must leave
///
/// Limits stand in the policy ([waste]). The exit code is 1 when one of them is reached or near.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster waste")]
pub(super) struct Args {
    /// List every pack
    #[arg(long)]
    all: bool,
}

#[derive(serde::Serialize)]
struct Report<'a> {
    waste: &'a Waste,
}

pub(super) fn run(context: &Context, args: &Args) -> Result<Exit, CliError> {
    let mut ledger = context.look()?;
    let waste = waste::on_hand(&mut ledger, context.clock()())?;
    if context.globals.json {
        output::json(&Report { waste: &waste })?;
    } else {
        output::line(&text(context, &waste, args.all))?;
    }
    Ok(if waste.warnings.is_empty() { Exit::Yes } else { Exit::No })
}

fn text(context: &Context, waste: &Waste, all: bool) -> String {
    let wrap = |line: &str| output::wrap(line, context.width);
    let mut parts = vec![wrap(&format!(
        "WASTE ON HAND, as of {}: {}, {} of them packed; {}, and less than {} kg may be kept",
        waste.as_of,
        count(usize::try_from(waste.packs).unwrap_or(usize::MAX), "pack", "packs"),
        waste.packed,
        weight(waste.mass_g, waste.without_mass),
        waste.limit_g / 1000
    ))];
    if let (Some(oldest), Some(by), Some(days)) = (waste.oldest, waste.leave_by, waste.days_left) {
        let when = match days {
            ..0 => format!("it should have left by {by}"),
            _ => format!("it must leave by {by}, {} to go", waste::days(days)),
        };
        parts.push(wrap(&format!("the oldest since {oldest}: {when}")));
    }
    parts.extend(waste.warnings.iter().map(|warning| wrap(&format!("NOW: {warning}"))));
    let rows: Vec<Vec<String>> = waste
        .by_chemistry
        .iter()
        .map(|of| vec![chemistry(of.chemistry), of.packs.to_string(), mass(of.mass_g, of.without_mass)])
        .collect();
    if !rows.is_empty() {
        parts.push(output::table(context, &["chemistry", "packs", "kg"], &rows, &[1, 2]));
    }
    if all && !waste.items.is_empty() {
        let row = |item: &waste::Item| {
            let damaged = if item.damaged { "damaged" } else { "" };
            vec![
                item.since.to_string(),
                item.pack.clone(),
                item.make.clone(),
                item.place.clone(),
                damaged.to_owned(),
            ]
        };
        let rows: Vec<Vec<String>> = waste.items.iter().map(row).collect();
        parts.push(output::table(context, &["since", "pack", "make", "where", ""], &rows, &[]));
    }
    parts.push(wrap(&format!("By {}. {DECIDES}", waste.rules)));
    parts.join("\n")
}
