//! `packmuster policy try`.

use std::path::PathBuf;

use jiff::civil::Date;

use crate::app::answer::count;
use crate::app::past::{self, Asked, Change, Limits, Point, Trial};
use crate::cli::Exit;
use crate::cli::context::Context;
use crate::cli::error::CliError;
use crate::cli::output;
use crate::policy::rules::{Policy, PolicyError};

/// Makes whose limits the curve shows as text; the JSON has all.
const MAKES: usize = 2;

/// What is asked, as typed.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The policy file to try
    file: PathBuf,
    /// Count loans and readings from this day on; else all
    #[arg(long, value_name = "DATE")]
    since: Option<Date>,
    /// Also try its service limit at 60 to 140 % of the one in force, to choose by
    #[arg(long)]
    curve: bool,
}

pub(super) fn run(context: &Context, args: Args) -> Result<Exit, CliError> {
    let (path, text) = super::read(context, Some(args.file))?;
    let policy = Policy::parse(&text).map_err(|error| {
        let line = line_of(&text, &error).map(|line| format!(", line {line}")).unwrap_or_default();
        CliError::bad(format!("{}{line}: {error}", path.display()), "mend the policy file; nothing was tried")
    })?;
    let mut ledger = context.look()?;
    let limits = if args.curve { Limits::Curve } else { Limits::Own };
    let asked = Asked { since: args.since, now: context.clock()(), limits };
    let trial = past::tried(&mut ledger, &policy, asked)?;
    if context.globals.json {
        output::json(&trial)?;
    } else {
        output::line(&told(context, &trial))?;
    }
    Ok(Exit::Yes)
}

/// The line on which a value stands that makes no sense; what is not TOML names its line itself.
fn line_of(text: &str, error: &PolicyError) -> Option<usize> {
    let PolicyError::Value { key, .. } = error else { return None };
    let (table, key) = key.rsplit_once('.')?;
    let mut lines = text.lines().map(str::trim_start).enumerate();
    lines.by_ref().find(|(_, line)| line.starts_with(&format!("[{table}]")))?;
    let value = |line: &str| line.strip_prefix(key).is_some_and(|rest| rest.trim_start().starts_with('='));
    lines
        .take_while(|(_, line)| !line.starts_with('['))
        .find(|(_, line)| value(line))
        .map(|(place, _)| place + 1)
}

fn told(context: &Context, trial: &Trial) -> String {
    let since = trial.since.map(|day| format!("from {day} ")).unwrap_or_default();
    let loans = trial.loans;
    let mut lines = vec![
        format!("POLICY {} TRIED, beside {} in force", trial.policy_tried, trial.policy_in_force),
        format!(
            "{} of {} {since}until {}: {} cut out early, {} came back below the service limit in force, {} kept \
             their promise, {} not known (still out, or not read before the next round or loan)",
            count_of(loans.all(), "loan", "loans"),
            count_of(trial.packs_lent, "pack", "packs"),
            trial.until,
            loans.cut_out,
            loans.short,
            loans.kept,
            loans.unknown
        ),
    ];
    wrap(context, &mut lines);
    lines.push(String::new());
    lines.push(columns(context, trial));
    lines.push(String::new());
    let mut rest = vec![change(&trial.recycling)];
    wrap(context, &mut rest);
    lines.append(&mut rest);
    if !trial.curve.is_empty() {
        lines.push(String::new());
        lines.push("THE TRIED POLICY WITH OTHER SERVICE LIMITS".to_owned());
        lines.push(curve(context, &trial.curve));
    }
    lines.push(String::new());
    rest.extend(trial.beware.iter().map(|&sentence| sentence.to_owned()));
    wrap(context, &mut rest);
    lines.append(&mut rest);
    lines.join("\n")
}

fn count_of(number: u32, one: &str, many: &str) -> String {
    count(usize::try_from(number).unwrap_or(usize::MAX), one, many)
}

fn wrap(context: &Context, lines: &mut [String]) {
    for line in lines {
        *line = output::wrap(line, context.width);
    }
}

fn columns(context: &Context, trial: &Trial) -> String {
    let (was, now) = (&trial.in_force, &trial.tried);
    let row = |what: &str, was: u32, now: u32| {
        let more = i64::from(now) - i64::from(was);
        let more = if more == 0 { String::new() } else { format!("{more:+}") };
        vec![what.to_owned(), was.to_string(), now.to_string(), more]
    };
    let rows = [
        row("loans stopped", was.stopped.all(), now.stopped.all()),
        row("- that cut out early", was.stopped.cut_out, now.stopped.cut_out),
        row("- that came back short", was.stopped.short, now.stopped.short),
        row("- good packs, stopped for nothing", was.stopped.kept, now.stopped.kept),
        row("- not known", was.stopped.unknown, now.stopped.unknown),
        row("loans let through that failed", was.let_through.failed(), now.let_through.failed()),
        row("rounds asked for", was.rounds, now.rounds),
        row("second readings asked for", was.second_readings, now.second_readings),
        row("bench hours for both", was.bench_h, now.bench_h),
        row("packs to recycle, and to buy", was.packs_recycled, now.packs_recycled),
    ];
    output::table(context, &["", "in force", "tried", "change"], &rows, &[1, 2, 3])
}

fn change(change: &Change) -> String {
    let packs = |number: u32| count_of(number, "pack", "packs");
    let days = |all: i64, packs: u32| all / i64::from(packs.max(1));
    let mut parts = Vec::new();
    if change.packs_earlier > 0 {
        let days = days(change.earlier_days, change.packs_earlier);
        parts.push(format!("{} earlier, by {days} days on average", packs(change.packs_earlier)));
    }
    if change.packs_later > 0 {
        let days = days(change.later_days, change.packs_later);
        parts.push(format!("{} later, by {days} days on average", packs(change.packs_later)));
    }
    if change.packs_tried_only > 0 {
        parts.push(format!("{} only by the tried policy", packs(change.packs_tried_only)));
    }
    if change.packs_in_force_only > 0 {
        parts.push(format!("{} only by the one in force", packs(change.packs_in_force_only)));
    }
    if parts.is_empty() {
        "recycling: the same packs on the same days".to_owned()
    } else {
        format!("recycling: {}", parts.join("; "))
    }
}

fn curve(context: &Context, points: &[Point]) -> String {
    let makes: Vec<String> = points
        .first()
        .map(|point| point.limits.iter().take(MAKES).map(|limit| limit.make.clone()).collect())
        .unwrap_or_default();
    let mut heads = vec!["%"];
    heads.extend(makes.iter().map(String::as_str));
    heads.extend(["failures stopped", "good packs stopped", "rounds asked", "packs recycled"]);
    let row = |point: &Point| {
        let mut row = vec![point.limit_percent.to_string()];
        row.extend(point.limits.iter().take(MAKES).map(|limit| {
            let hours = limit.limit_h.map(|hours| format!(" {hours:.1} h")).unwrap_or_default();
            format!("{} mAh{hours}", limit.limit_mah)
        }));
        let counts = [point.failures_stopped, point.kept_stopped, point.rounds, point.packs_recycled];
        row.extend(counts.iter().map(ToString::to_string));
        row
    };
    let rows: Vec<Vec<String>> = points.iter().map(row).collect();
    let right: Vec<usize> = (0..heads.len()).collect();
    output::table(context, &heads, &rows, &right)
}
