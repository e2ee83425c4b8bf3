//! `packmuster demo`.

use std::path::PathBuf;

use crate::demo;
use crate::demo::error::DemoError;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;
use super::progress::Progress;

/// Make the Skerrow Isles demo: a ledger with years of history, tag sheets, pictures, sessions and the review
///
/// All in one folder, the same every time. Nothing outside the folder is touched.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster demo --out skerrow-demo")]
pub(super) struct Args {
    /// The folder to make; it must not be there yet
    #[arg(long, value_name = "FOLDER", default_value = "skerrow-demo")]
    out: PathBuf,
}

pub(super) fn run(context: &mut Context, args: &Args) -> Result<Exit, CliError> {
    if args.out.exists() {
        return Err(CliError::bad(
            format!("{} exists already", args.out.display()),
            "move it away, or give --out FOLDER",
        ));
    }
    let progress = Progress::new("days");
    let made = demo::make(&args.out, |days| progress.at(days)).map_err(|error| match error {
        DemoError::App(error) => error.into(),
        DemoError::Ledger(error) => error.into(),
        other => CliError::fault(other.to_string()),
    })?;
    progress.end();
    let write = |name: &str, text: String| {
        let path = args.out.join(name);
        std::fs::write(&path, text).map_err(|error| CliError::file(&path, &error))
    };
    write("review.csv", super::review::csv(&made.review)?)?;
    write("review.txt", super::review::text(context, &made.review))?;
    let json =
        serde_json::to_string_pretty(&made.review).map_err(|error| CliError::fault(error.to_string()))?;
    write("review.json", json)?;
    let folder = args.out.display();
    let (read, tags) = made.read;
    output::lines(&[
        format!(
            "{folder}: {} packs, {} entries in {} chains",
            made.packs,
            made.entries,
            made.review.heads.len()
        ),
        format!("  {} pictures, {read} of {tags} tags read from them", made.pictures),
        format!("  {}", made.sessions.join("\n  ")),
        String::new(),
        "Look at".to_owned(),
        "  review.pdf              the month, as the service gets it (also .html .txt .csv .json)".to_owned(),
        "  consignment.pdf         what left for the recycler, with labels for its boxes".to_owned(),
        "  sheets/command-card.pdf what a desk can say without a keyboard".to_owned(),
        "  sheets/packs.pdf        the tags of the packs in the pictures".to_owned(),
        "  pictures/intake-11.png  a smudged tag; how the session went on: sessions/intake.txt".to_owned(),
        "  sessions/dispatch.txt   who may go out, and who must not".to_owned(),
        "Try".to_owned(),
        format!("  packmuster --ledger {} ledger check", made.ledger.display()),
        format!("  packmuster --ledger {} show 'Skerrow 1'", made.ledger.display()),
    ])?;
    Ok(Exit::Yes)
}
