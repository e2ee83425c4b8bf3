//! `packmuster ahead`.

use std::fmt::Write as _;

use crate::app::ahead::{self, Ahead, AtRisk, Band, MakeAhead};
use crate::app::answer::count;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;
use super::progress::Progress;

/// Packs at risk that are shown unless all are asked for.
const SHOWN: usize = 20;

/// What is to come: retirements month by month, what to buy and when, packs out that will not keep the promise
///
/// A pack retires when it first holds less than its limit in service. The fleet's model foretells it, by each pack's own readings and
/// pace; packs that were never read go by the law of wear-out of their make. The bands tell in how many of ten cases what comes
/// lies within them: chance of single packs, widened by how far the fleet's own past forecasts bear the model out. What to buy
/// follows from the policy's [buying]: lead time, growth, ready stock, and the chance that there are packs enough.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster ahead --months 12")]
pub(super) struct Args {
    /// How many months to look ahead, this one among them
    #[arg(long, default_value_t = 24, value_name = "COUNT",
        value_parser = clap::value_parser!(u32).range(1..=120))]
    months: u32,
    /// Show every pack at risk
    #[arg(long)]
    all: bool,
}

#[derive(serde::Serialize)]
struct Report<'a> {
    ahead: &'a Ahead,
}

pub(super) fn run(context: &mut Context, args: &Args) -> Result<Exit, CliError> {
    let mut ledger = context.look()?;
    let now = context.clock()();
    let bar = Progress::new("packs");
    let ahead = ledger.transact(|ledger| ahead::ahead(ledger, now, args.months, |packs| bar.at(packs)))?;
    bar.end();
    let Some(ahead) = ahead else {
        output::talk("no model is learnt yet, and nothing can be foretold: packmuster model learn");
        return Ok(Exit::No);
    };
    if context.globals.json {
        output::json(&Report { ahead: &ahead })?;
    } else {
        output::line(&text(context, &ahead, args.all))?;
    }
    Ok(Exit::Yes)
}

fn band(band: Band) -> String {
    if band.low == band.high { band.low.to_string() } else { format!("{} to {}", band.low, band.high) }
}

fn retirements(context: &Context, of: &MakeAhead) -> String {
    let name = of.make.as_deref().unwrap_or("all makes");
    let mut part = format!(
        "RETIREMENTS, {name}: {}, {:.1} of them below the limit by now, {:.1} more to come\n",
        count(usize::try_from(of.packs).unwrap_or(usize::MAX), "pack", "packs"),
        of.below_now_expected,
        of.expected
    );
    part = output::wrap(part.trim_end(), context.width) + "\n";
    if of.not_enough_data > 0 {
        let line = format!(
            "not enough data on {} more: never read, and fewer than 5 of their make have failed",
            of.not_enough_data
        );
        let _infallible = writeln!(part, "{}", output::wrap(&line, context.width));
    }
    let rows: Vec<Vec<String>> = of
        .months
        .iter()
        .map(|month| {
            vec![
                month.month.clone(),
                format!("{:.1}", month.expected),
                band(month.band_50),
                band(month.band_90),
                format!("{:.1}", month.below_by_end_expected),
                band(month.below_by_end_90),
            ]
        })
        .collect();
    let heads = ["month", "expected", "50 %", "90 %", "below by its end", "90 %"];
    part.push_str(&output::table(context, &heads, &rows, &[1, 2, 3, 4, 5]));
    part
}

fn at_risk(context: &Context, ahead: &Ahead, all: bool) -> String {
    let Some(above) = ahead.at_risk_above_percent else {
        return "OUT AND AT RISK: not looked for, since the policy has the rule forecast off".to_owned();
    };
    let head = format!(
        "OUT AND AT RISK, chance above {above} % when they come back, about {} days late: {}",
        ahead.overrun_days,
        ahead.at_risk.all()
    );
    let mut part = output::wrap(&head, context.width);
    let shown = if all { ahead.at_risk.all() } else { SHOWN.min(ahead.at_risk.all()) };
    let row = |risk: &AtRisk| {
        vec![
            risk.pack.clone(),
            risk.player.clone().unwrap_or_default(),
            risk.due.to_string(),
            risk.expected_mah.to_string(),
            format!("{}-{}", risk.low_mah, risk.high_mah),
            risk.play_h.map_or_else(String::new, |hours| format!("{hours:.1}")),
            chance(risk.chance_percent),
        ]
    };
    let rows: Vec<Vec<String>> = ahead.at_risk.iter().take(shown).map(row).collect();
    if !rows.is_empty() {
        let heads = ["pack", "player", "due", "mAh", "90 %", "hours", "chance"];
        let _infallible = write!(part, "\n{}", output::table(context, &heads, &rows, &[3, 4, 5, 6]));
    }
    if shown < ahead.at_risk.all() {
        let more = ahead.at_risk.all() - shown;
        let _infallible = write!(part, "\n ... and {more} more: packmuster ahead --all");
    }
    part
}

/// Whole per cent; what is nearly nothing or nearly certain is said so.
pub(super) fn chance(percent: f64) -> String {
    if percent < 0.5 {
        "< 1 %".to_owned()
    } else if percent > 99.5 {
        "> 99 %".to_owned()
    } else {
        format!("{percent:.0} %")
    }
}

fn text(context: &Context, ahead: &Ahead, all: bool) -> String {
    let learnt = ahead.model_learnt.map_or_else(String::new, |day| format!(", by the model of {day}"));
    let doubt = &ahead.doubt;
    let mut parts = vec![format!(
        "AHEAD, as of {}{learnt}\n{}",
        ahead.as_of,
        output::wrap(
            &format!(
                "In the last twelve months {} readings fell below the limit, and {:.1} were to be expected; \
                 the bands allow for a rate of failing that is known to {:.0} % (standard deviation).",
                doubt.observed, doubt.expected, doubt.variation_percent
            ),
            context.width
        )
    )];
    parts.push(retirements(context, &ahead.all));
    if ahead.makes.len() > 1 {
        parts.extend(ahead.makes.iter().map(|make| retirements(context, make)));
    }
    let rows: Vec<Vec<String>> = ahead
        .buy
        .iter()
        .flat_map(|buy| {
            buy.orders.iter().map(|order| {
                vec![
                    buy.make.clone(),
                    order.order_by.to_string(),
                    if order.late { "late".to_owned() } else { String::new() },
                    order.packs.to_string(),
                    order.packs_so_far.to_string(),
                    order.needed_in.clone(),
                ]
            })
        })
        .collect();
    let mut part = output::wrap(&format!("TO BUY: {}", ahead.buying), context.width);
    part.push('\n');
    if rows.is_empty() {
        part.push_str("nothing: what is there lasts");
    } else {
        let heads = ["make", "order by", "", "packs", "in all", "needed in"];
        part.push_str(&output::table(context, &heads, &rows, &[3, 4]));
    }
    parts.push(part);
    parts.push(at_risk(context, ahead, all));
    parts.join("\n\n")
}
