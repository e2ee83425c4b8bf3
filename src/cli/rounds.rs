//! `packmuster rounds`.

use crate::app::rounds::{self, Group, Rounds};

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;

/// What rounds of reconditioning brought: the share of packs that came back, by make and age
///
/// A pack came back when its first reading after the round reaches the limit that its origin has today. The interval holds the true
/// share in 95 of 100 cases; where it is wide, few rounds were done. What a round promises for one pack, `show` and `plan` tell.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster rounds")]
pub(super) struct Args {}

#[derive(serde::Serialize)]
struct Report<'a> {
    #[serde(flatten)]
    rounds: &'a Rounds,
}

pub(super) fn run(context: &Context, _args: &Args) -> Result<Exit, CliError> {
    let rounds = rounds::rounds(&mut context.look()?)?;
    if context.globals.json {
        output::json(&Report { rounds: &rounds })?;
    } else {
        output::line(&text(context, &rounds))?;
    }
    Ok(Exit::Yes)
}

fn text(context: &Context, rounds: &Rounds) -> String {
    if rounds.groups.is_empty() {
        return "no round is entered yet".to_owned();
    }
    let row = |group: &Group| {
        let age = match (group.and_older, group.age_years) {
            (true, years) => format!("{years} or older"),
            (false, years) => format!("{years} to {}", years + 1),
        };
        let share = if group.rounds == 0 {
            String::new()
        } else {
            format!("{:.0} % ({:.0} to {:.0})", group.share_percent, group.low_percent, group.high_percent)
        };
        vec![
            group.make.clone(),
            age,
            group.rounds.to_string(),
            group.came_back.to_string(),
            share,
            group.rise_mah.map(|rise| format!("{rise:+.0}")).unwrap_or_default(),
            group.unread.to_string(),
        ]
    };
    let rows: Vec<Vec<String>> = rounds.groups.iter().map(row).collect();
    let heads = ["make", "age, years", "rounds", "came back", "share (95 %)", "mAh", "unread"];
    let mut parts = vec![output::table(context, &heads, &rows, &[2, 3, 4, 5, 6])];
    let mut named: Vec<(&str, &str)> = rounds
        .groups
        .iter()
        .filter(|group| !group.gains)
        .map(|group| (group.make.as_str(), group.chemistry.as_str()))
        .collect();
    named.dedup();
    for (make, chemistry) in named {
        parts.push(output::wrap(
            &format!("{make}: {chemistry} gains nothing from rounds, they only wear it; none is asked for"),
            context.width,
        ));
    }
    parts.join("\n")
}
