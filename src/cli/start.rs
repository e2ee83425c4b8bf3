//! `packmuster start`.

use std::io::{BufRead, Write};
use std::path::PathBuf;

use crate::app::setup::{self, Beginning};
use crate::domain::make::{Chemistry, ChemistryError, PackMake, PlayerMake};
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
    let name = ask(
        context,
        args.name,
        &Question { text: "A file name for the ledger", default: Some("fleet"), option: "NAME" },
        words,
    )?;
    let ledger = PathBuf::from(format!("{name}.{ENDING}"));
    let policy_file = PathBuf::from(format!("{name}.policy.toml"));
    for path in [&ledger, &policy_file] {
        if path.exists() {
            return Err(CliError::bad(format!("{} exists already", path.display()), "choose another name"));
        }
    }
    let question = Question { text: "The service's name", default: Some(&name), option: "--service" };
    let service = ask(context, args.service, &question, words)?;
    let question = Question { text: "The workshop's name", default: Some(&service), option: "--site-name" };
    let site = ask(context, args.first_site, &question, words)?;
    let question =
        Question { text: "Hours of play promised from one charge", default: Some("16"), option: "--promise" };
    let promise: PlayHours = ask(context, args.promise, &question, |text| {
        PlayHours::parse_bare(text.trim_end_matches(['h', ' '])).map_err(|error| error.to_string())
    })?;
    let question = Question { text: "A make of player", default: None, option: "--player-make" };
    let player_name = ask(context, args.player_make, &question, words)?;
    let text = "Its mean draw ('41 mA'), or a known pair ('650 mAh in 16 h')";
    let question = Question { text, default: None, option: "--draw" };
    let draw =
        ask(context, args.draw, &question, |text| setup::draw(text).map_err(|error| error.to_string()))?;
    let player = PlayerMake { name: player_name, draw, form: "standard".to_owned() };
    let question = Question { text: "A make of pack", default: None, option: "--make" };
    let pack_name = ask(context, args.make, &question, words)?;
    let text = "Its chemistry (NiMH, NiCd, Li-ion, lead-acid)";
    let question = Question { text, default: Some("NiMH"), option: "--chemistry" };
    let chemistry: Chemistry = ask(context, args.chemistry, &question, |text| {
        text.parse().map_err(|error: ChemistryError| error.to_string())
    })?;
    let question = Question { text: "Its rated capacity in mAh", default: None, option: "--rated" };
    let rated: MilliampHours = ask(context, args.rated, &question, |text| {
        MilliampHours::parse_bare(text.trim_end_matches(['m', 'A', 'h', ' ']))
            .map_err(|error| error.to_string())
    })?;
    let question = Question { text: "Its cells in series", default: Some("3"), option: "--cells" };
    let cells: u32 = ask(context, args.cells, &question, |text| {
        text.parse().map_err(|_no_number| format!("`{text}` is no count of cells"))
    })?;
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
    let report = Report {
        ledger: ledger.display().to_string(),
        site: site.clone(),
        zone: zone.clone(),
        policy: policy_file.display().to_string(),
    };
    let beginning = Beginning { site, zone, policy: policy.clone(), player, pack };
    let mut desk = context.desk()?;
    setup::begin(&ledger, &mut desk, &beginning)?;
    std::fs::write(&policy_file, policy).map_err(|error| CliError::file(&policy_file, &error))?;
    tell(context, &report)?;
    Ok(Exit::Yes)
}

#[derive(serde::Serialize)]
struct Report {
    ledger: String,
    site: String,
    zone: String,
    policy: String,
}

fn tell(context: &Context, report: &Report) -> Result<(), CliError> {
    if context.globals.json {
        return output::json(report);
    }
    let told = [
        format!("ledger {}", report.ledger),
        format!("site {}, time zone {} (another one: --zone)", report.site, report.zone),
        format!("policy {} (read it; after a change: packmuster policy adopt)", report.policy),
        "next: print tags with `packmuster tags print pack`".to_owned(),
    ];
    output::lines(&told.map(|line| output::wrap(&line, context.width)))
}

/// A question with its option.
struct Question<'a> {
    text: &'a str,
    default: Option<&'a str>,
    option: &'a str,
}

/// The option's value, or the answer to a question; a person is asked again when the answer makes no sense.
fn ask<T>(
    context: &Context,
    given: Option<String>,
    question: &Question<'_>,
    read: impl Fn(&str) -> Result<T, String>,
) -> Result<T, CliError> {
    let wrong = |answer: &str, why: String| {
        CliError::bad(format!("{} is `{answer}`: {why}", question.option), "nothing was made")
    };
    if let Some(given) = given {
        return read(given.trim()).map_err(|why| wrong(&given, why));
    }
    loop {
        let answer = answer(question)?;
        match read(&answer) {
            Ok(value) => return Ok(value),
            Err(why) if context.interactive => output::talk(&format!("  {why}")),
            Err(why) => return Err(wrong(&answer, why)),
        }
    }
}

fn answer(question: &Question<'_>) -> Result<String, CliError> {
    let mut talk = std::io::stderr().lock();
    let shown = question.default.map(|default| format!(" [{default}]")).unwrap_or_default();
    let _gone = write!(talk, "{}{shown}: ", question.text);
    let _gone = talk.flush();
    let mut line = String::new();
    let read = std::io::stdin()
        .lock()
        .read_line(&mut line)
        .map_err(|error| CliError::fault(format!("stdin: {error}")))?;
    match (line.trim(), question.default) {
        ("", Some(default)) if read > 0 => Ok(default.to_owned()),
        ("", _) if read == 0 => Err(CliError::bad(
            format!("no answer to: {}", question.text),
            format!("give {}", question.option),
        )),
        (answer, _) => Ok(answer.to_owned()),
    }
}

/// Any words will do.
fn words(text: &str) -> Result<String, String> {
    if text.is_empty() { Err("an answer is needed".to_owned()) } else { Ok(text.to_owned()) }
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
