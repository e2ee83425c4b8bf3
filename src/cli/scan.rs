//! `packmuster scan`.

use std::path::{Path, PathBuf};
use std::time::Duration;

use crate::app::error::AppError;
use crate::app::tray::{self, Tray};
use crate::domain::verdict::Verdict;
use crate::print::marked;
use crate::scan::picture::{self, Limits};

use super::Exit;
use super::context::{Context, report};
use super::error::CliError;
use super::output;

/// Look at pictures: every tag in them, with what the ledger knows of it; nothing is entered
///
/// With --mark a copy of each picture goes into a folder, with a mark on every tag: the verdict by shape, letter and word, and
/// a broken frame around what was seen and could not be read. The exit code is 1 when a pack in a picture is not FIT, and 2
/// when something in one could not be read.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster scan tray.jpg --mark marked")]
pub(super) struct Args {
    /// Picture files: JPEG, PNG or WebP
    #[arg(required = true, value_name = "PICTURE")]
    pictures: Vec<PathBuf>,
    /// A folder for marked copies; made if it is not there
    #[arg(long, value_name = "FOLDER")]
    mark: Option<PathBuf>,
    /// How many seconds the search of one picture may take; what was found by then is told
    #[arg(long, value_name = "SECONDS", default_value = "4", value_parser = seconds)]
    within: Duration,
}

fn seconds(text: &str) -> Result<Duration, String> {
    let given = text.parse().ok().filter(|seconds| (0.0..=600.0).contains(seconds));
    given.map(Duration::from_secs_f64).ok_or_else(|| "expected seconds, from 0 to 600".to_owned())
}

#[derive(serde::Serialize)]
struct Report<'a> {
    tray: &'a Tray,
    #[serde(skip_serializing_if = "Option::is_none")]
    marked: Option<String>,
}

pub(super) fn run(context: &mut Context, args: &Args) -> Result<Exit, CliError> {
    let mut ledger = context.look()?;
    let (now, limits) = (context.clock()(), Limits { budget: args.within, ..Limits::default() });
    let mut worst = Exit::Yes;
    let mut copies = Vec::new();
    for path in &args.pictures {
        // A picture that cannot be looked at must not keep the others of the crate from being told.
        let tray = match ledger.transact(|ledger| tray::look(ledger, path, &limits, now)) {
            Ok(tray) => tray,
            Err(error @ AppError::Input { .. }) => {
                report(&error.into());
                worst = worst.max(Exit::Bad);
                continue;
            }
            Err(error) => return Err(error.into()),
        };
        let copy = match &args.mark {
            Some(folder) => {
                let copy = free_name(path, folder, &copies);
                copies.push(copy.clone());
                Some(write_copy(path, &copy, &tray, &limits)?)
            }
            None => None,
        };
        let unfit =
            |seen: &tray::Seen| seen.verdict.as_ref().is_some_and(|told| told.verdict != Verdict::Fit);
        worst = worst.max(if !tray.unread.is_empty() || tray.seen.is_empty() {
            Exit::Bad
        } else if tray.seen.iter().any(unfit) {
            Exit::No
        } else {
            Exit::Yes
        });
        let marked = copy.map(|path| path.display().to_string());
        if context.globals.json {
            output::json(&Report { tray: &tray, marked })?;
        } else {
            tell(context, &tray, marked)?;
        }
    }
    Ok(worst)
}

fn tell(context: &Context, tray: &Tray, marked: Option<String>) -> Result<(), CliError> {
    let mut lines = vec![tray.summary.clone()];
    for seen in &tray.seen {
        let head = match (&seen.verdict, seen.kind) {
            (Some(told), _) => told.verdict.to_string(),
            (None, Some(kind)) => kind.to_string(),
            (None, None) => "code".to_owned(),
        };
        lines.push(format!("  {head} {}: {}", seen.code, seen.state));
    }
    lines.extend(marked.map(|path| format!("  marked copy: {path}")));
    let wrapped: Vec<String> = lines.iter().map(|line| output::wrap(line, context.width)).collect();
    output::lines(&wrapped)
}

/// A name for the marked copy of a picture that no other picture of this call has: two folders may hold a `tray.jpg` each.
fn free_name(path: &Path, folder: &Path, taken: &[PathBuf]) -> PathBuf {
    let stem = path.file_stem().map_or_else(|| "picture".into(), std::ffi::OsStr::to_string_lossy);
    let plain = folder.join(format!("{stem}-marked.png"));
    let numbered = (2_usize..).map(|number| folder.join(format!("{stem}-marked-{number}.png")));
    std::iter::once(plain.clone()).chain(numbered).find(|name| !taken.contains(name)).unwrap_or(plain)
}

/// Writes a marked copy; the picture itself is never touched.
fn write_copy(path: &Path, copy: &Path, tray: &Tray, limits: &Limits) -> Result<PathBuf, CliError> {
    if let Some(folder) = copy.parent() {
        std::fs::create_dir_all(folder).map_err(|error| CliError::file(folder, &error))?;
    }
    let mut picture =
        picture::colour(path, limits).map_err(|error| CliError::bad(error.to_string(), error.hint()))?;
    marked::mark(&mut picture, tray).map_err(|error| CliError::fault(error.to_string()))?;
    picture.save(copy).map_err(|error| CliError::fault(format!("{}: {error}", copy.display())))?;
    Ok(copy.to_owned())
}
