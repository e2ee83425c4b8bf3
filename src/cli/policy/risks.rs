//! `packmuster policy risks`.

use crate::app::risks::{self, Doubt, GroupRisks, PolicyRisks};
use crate::cli::Exit;
use crate::cli::context::Context;
use crate::cli::error::CliError;
use crate::cli::output;

pub(super) fn run(context: &Context) -> Result<Exit, CliError> {
    let mut ledger = context.look()?;
    let now = context.clock()();
    let Some(risks) = risks::risks(&mut ledger, now)? else {
        output::talk("no model is learnt yet: packmuster model learn");
        return Ok(Exit::No);
    };
    if context.globals.json {
        output::json(&risks)?;
    } else {
        output::line(&text(context, &risks))?;
    }
    Ok(Exit::Yes)
}

fn text(context: &Context, risks: &PolicyRisks) -> String {
    let learnt = risks.learnt.map(|day| format!(", model learnt on {day}")).unwrap_or_default();
    let mut lines = vec![
        format!("RISKS of policy {} on {}{learnt}", risks.policy, risks.day),
        format!(
            "a reading's standard uncertainty is {} mAh in any slot: {} beside its slot's bias, {} between slots",
            risks.uncertainty_mah, risks.residual_mah, risks.slots_mah
        ),
    ];
    if risks.risks.is_empty() {
        lines.push("the model knows no pack that may be read again".to_owned());
    }
    for group in &risks.risks {
        lines.push(String::new());
        lines.extend(of_group(group));
    }
    lines.push(String::new());
    lines.push(match (risks.wrong_pass_percent, risks.wrong_fail_percent) {
        (Some(pass), Some(fail)) => format!(
            "The rule `doubt` bears a risk of {pass} % for a pass and {fail} % for a fail. The bands are by the reading \
             alone; the judge also weighs each pack's past, and asks no more than the bench hours allow."
        ),
        _ => "The rule `doubt` is off: one reading decides, and the policy states no risk to guard against."
            .to_owned(),
    });
    lines.push(
        "Consumer's risk: holds less than its limit and passes; producer's: holds it and fails (JCGM 106:2012, 9.5). \
         Packs that are to be recycled or kept apart are left out: they are not read again."
            .to_owned(),
    );
    let lines: Vec<String> = lines.iter().map(|line| output::wrap(line, context.width)).collect();
    lines.join("\n")
}

fn of_group(group: &GroupRisks) -> Vec<String> {
    let mut lines = vec![
        format!("{}, {}: limit {} mAh, {} packs", group.make, group.origin, group.limit_mah, group.packs),
        format!(
            "  they truly hold {} +- {} mAh; {:.2} % of them less than the limit",
            group.fleet_mean_mah, group.fleet_sd_mah, group.below_limit_percent
        ),
        format!(
            "  one reading against the limit: consumer's risk {:.2} %, producer's {:.2} %",
            group.consumer_percent, group.producer_percent
        ),
        format!("  of those that pass, {:.2} % hold less", group.wrong_of_accepted_percent),
        format!(
            "  a reading just at the limit is wrong with {:.2} % in this fleet, 50 % by itself",
            group.at_limit_percent
        ),
    ];
    lines.extend(group.doubt.iter().flat_map(of_doubt));
    lines
}

fn of_doubt(doubt: &Doubt) -> Vec<String> {
    let in_fleet = doubt.guard_in_fleet_mah.map_or_else(
        || "none is enough in this fleet".to_owned(),
        |band| format!("{band} mAh in this fleet"),
    );
    vec![
        format!(
            "  guard band for the policy's risk: {} mAh by the reading alone, {in_fleet}",
            doubt.guard_mah
        ),
        format!(
            "  taken again: readings from {} to {} mAh, {:.2} % of them",
            doubt.again_from_mah, doubt.passes_from_mah, doubt.again_percent
        ),
        format!(
            "  left at the first reading: consumer's risk {:.2} %, producer's {:.2} %",
            doubt.consumer_at_once_percent, doubt.producer_at_once_percent
        ),
    ]
}
