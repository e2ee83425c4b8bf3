//! `packmuster start`.

use std::io::{BufRead, Write};
use std::path::PathBuf;

use crate::app::setup::{self, Beginning};
use crate::domain::make::{Chemistry, PackMake, PlayerMake};
use crate::domain::units::{MilliampHours, Millivolts, PlayHours};
use crate::policy::template::Answers;

use super::Exit;
use super::context::{Context, ENDING};
use super::error::CliError;
use super::output;

/// Begin a ledger: a few questions, or the same as options
///
/// Makes NAME.muster, and NAME.policy.toml beside it: the policy, with a comment at every setting. What is not given as an option
/// is asked for.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: packmuster start skerrow --service 'Skerrow Isles' --site Skerrow --promise 16 \\\n  \
    --player-make Wren --draw '650 mAh in 16 h' --make 'Kestrel 1100' --chemistry NiMH --rated 1100 --cells 3"
)]
pub(super) struct Args {
    /// The ledger's file name, without ending
    name: Option<String>,
    /// The service's name
    #[arg(long, value_name = "TEXT")]
    service: Option<String>,
    /// The first workshop's name
    #[arg(long = "site-name", value_name = "NAME")]
    first_site: Option<String>,
    /// Its time zone
    #[arg(long, value_name = "IANA NAME")]
    zone: Option<String>,
    /// Hours of play that a borrower is promised from one charge
    #[arg(long, value_name = "HOURS")]
    promise: Option<String>,
    /// Limit for packs in service, instead of the promise: "16 h" or "650 mAh"
    #[arg(long, value_name = "LIMIT")]
    service_limit: Option<String>,
    /// Limit for new packs: "24 h" or "1000 mAh"
    #[arg(long, value_name = "LIMIT")]
    new_limit: Option<String>,
    /// A make of player
    #[arg(long, value_name = "NAME")]
    player_make: Option<String>,
    /// Its mean draw: "41 mA", or a known pair "650 mAh in 16 h"
    #[arg(long, value_name = "DRAW")]
    draw: Option<String>,
    /// A make of pack
    #[arg(long, value_name = "NAME")]
    make: Option<String>,
    /// Its chemistry: NiMH, NiCd, Li-ion or lead-acid
    #[arg(long, value_name = "CHEMISTRY")]
    chemistry: Option<String>,
    /// Its rated capacity in mAh
    #[arg(long, value_name = "MAH")]
    rated: Option<String>,
    /// Its cells in series
    #[arg(long, value_name = "N")]
    cells: Option<String>,
}

pub(super) fn run(context: &mut Context, args: Args) -> Result<Exit, CliError> {
    let name = ask(args.name, "A file name for the ledger", Some("fleet"), "NAME")?;
    let ledger = PathBuf::from(format!("{name}.{ENDING}"));
    let policy_file = PathBuf::from(format!("{name}.policy.toml"));
    for path in [&ledger, &policy_file] {
        if path.exists() {
            return Err(CliError::bad(format!("{} exists already", path.display()), "choose another name"));
        }
    }
    let service = ask(args.service, "The service's name", Some(&name), "--service")?;
    let site = ask(args.first_site, "The workshop's name", Some(&service), "--site-name")?;
    let promise: PlayHours = parse(
        &ask(args.promise, "Hours of play promised from one charge", Some("16"), "--promise")?,
        |text| PlayHours::parse_bare(text.trim_end_matches(['h', ' '])),
    )?;
    let player = PlayerMake {
        name: ask(args.player_make, "A make of player", None, "--player-make")?,
        draw: setup::draw(&ask(
            args.draw,
            "Its mean draw ('41 mA'), or a known pair ('650 mAh in 16 h')",
            None,
            "--draw",
        )?)?,
        form: "standard".to_owned(),
    };
    let pack_name = ask(args.make, "A make of pack", None, "--make")?;
    let chemistry: Chemistry =
        parse(&ask(args.chemistry, "Its chemistry", Some("NiMH"), "--chemistry")?, str::parse)?;
    let rated: MilliampHours =
        parse(&ask(args.rated, "Its rated capacity in mAh", None, "--rated")?, |text| {
            MilliampHours::parse_bare(text.trim_end_matches(['m', 'A', 'h', ' ']))
        })?;
    let cells: u32 = parse(&ask(args.cells, "Its cells in series", Some("3"), "--cells")?, str::parse)?;
    let times = |each: Millivolts| Millivolts::new(each.raw().saturating_mul(cells));
    let pack = PackMake {
        name: pack_name,
        chemistry,
        rated,
        nominal: times(chemistry.nominal_voltage_per_cell()),
        cells,
        mass: None,
        end: times(chemistry.end_voltage_per_cell()),
        max_resistance: None,
        form: "standard".to_owned(),
    };
    let hours = promise.to_string();
    let mut answers = Answers::for_promise(&service, hours.trim_end_matches(" h"));
    if let Some(limit) = &args.service_limit {
        answers.service_limit = limit_line(limit, "--service-limit")?;
        answers.service_percent = 0;
    }
    if let Some(limit) = &args.new_limit {
        answers.new_limit = limit_line(limit, "--new-limit")?;
        answers.new_percent = 0;
    }
    let policy = answers.text();
    let zone = args.zone.unwrap_or_else(system_zone);
    let beginning = Beginning { site, zone, policy: policy.clone(), player, pack };
    let mut desk = context.desk()?;
    setup::begin(&ledger, &mut desk, &beginning)?;
    std::fs::write(&policy_file, policy).map_err(|error| CliError::file(&policy_file, &error))?;
    tell(context, &ledger, &policy_file)?;
    Ok(Exit::Yes)
}

#[derive(serde::Serialize)]
struct Report {
    ledger: String,
    policy: String,
}

fn tell(context: &Context, ledger: &std::path::Path, policy: &std::path::Path) -> Result<(), CliError> {
    let report = Report { ledger: ledger.display().to_string(), policy: policy.display().to_string() };
    if context.globals.json {
        return output::json(&report);
    }
    output::lines(&[
        format!("ledger  {}", report.ledger),
        format!("policy  {} (read it; after a change: packmuster policy adopt)", report.policy),
        "next    print tags: packmuster tags print pack".to_owned(),
    ])
}

/// The option's value, or the answer to a question.
fn ask(
    given: Option<String>,
    question: &str,
    default: Option<&str>,
    option: &str,
) -> Result<String, CliError> {
    if let Some(given) = given {
        return Ok(given);
    }
    let mut talk = std::io::stderr().lock();
    let shown = default.map(|default| format!(" [{default}]")).unwrap_or_default();
    let _gone = write!(talk, "{question}{shown}: ");
    let _gone = talk.flush();
    let mut line = String::new();
    let read = std::io::stdin()
        .lock()
        .read_line(&mut line)
        .map_err(|error| CliError::fault(format!("stdin: {error}")))?;
    match (line.trim(), default) {
        ("", Some(default)) if read > 0 => Ok(default.to_owned()),
        ("", _) => Err(CliError::bad(format!("no answer to: {question}"), format!("give {option}"))),
        (answer, _) => Ok(answer.to_owned()),
    }
}

fn parse<T, E: std::fmt::Display>(
    text: &str,
    read: impl FnOnce(&str) -> Result<T, E>,
) -> Result<T, CliError> {
    read(text.trim()).map_err(|error| CliError::bad(format!("`{text}`: {error}"), "nothing was made"))
}

/// A limit as a line of the policy.
fn limit_line(text: &str, option: &str) -> Result<String, CliError> {
    if let Ok(hours) = text.parse::<PlayHours>() {
        return Ok(format!("hours = {}", hours.to_string().trim_end_matches(" h")));
    }
    match text.parse::<MilliampHours>() {
        Ok(charge) => Ok(format!("mAh = {}", charge.raw())),
        Err(_) => {
            Err(CliError::bad(format!("{option} is `{text}`"), "give hours ('16 h') or charge ('650 mAh')"))
        }
    }
}

fn system_zone() -> String {
    jiff::tz::TimeZone::system().iana_name().unwrap_or("UTC").to_owned()
}
