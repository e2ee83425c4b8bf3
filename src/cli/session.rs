//! Running a session: scans from the arguments, from pictures, from stdin or from a person at the terminal.

use std::io::{BufRead, Write};
use std::path::{Path, PathBuf};

use serde::Serialize;

use crate::app::answer::{Answer, Outcome};
use crate::app::desk::Desk;
use crate::app::session::{Session, Work};
use crate::ledger::Ledger;
use crate::scan::picture::Limits;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;
use super::watch::Folder;

/// Longest line that is read as one scan, in bytes.
const LONGEST: usize = 4096;

/// What is scanned.
#[derive(Debug, Clone, clap::Args)]
pub(super) struct Scans {
    /// Codes, words or picture files (JPEG, PNG, WebP); without any, lines from stdin
    #[arg(value_name = "SCAN")]
    pub(super) scans: Vec<String>,
    /// Take in pictures as they arrive in a folder, each once; stop with Ctrl-C
    #[arg(long, value_name = "FOLDER", conflicts_with = "scans")]
    pub(super) watch: Option<PathBuf>,
}

#[derive(Serialize)]
struct Line<'a> {
    scan: &'a str,
    #[serde(flatten)]
    answer: &'a Answer,
}

/// Runs a session to its end. The exit code is the gravest that occurred.
///
/// # Errors
/// A fault of the ledger or of the streams.
pub(super) fn run<W: Work>(
    context: &Context,
    ledger: &mut Ledger,
    desk: &mut Desk,
    work: W,
    scans: &Scans,
) -> Result<Exit, CliError> {
    let mut runner = Runner { context, ledger, desk, session: Session::new(work), worst: Exit::Yes };
    let ended = if let Some(folder) = &scans.watch {
        runner.watch(folder)?
    } else if scans.scans.is_empty() {
        let ended = runner.stream()?;
        runner.ledger.settle()?;
        ended
    } else {
        runner.all(&scans.scans)?
    };
    // END has said it already.
    if let Some(left) = runner.session.left_over().filter(|_| !ended) {
        output::talk(&format!("left half done: {left}"));
    }
    Ok(runner.worst)
}

struct Runner<'a, W> {
    context: &'a Context,
    ledger: &'a mut Ledger,
    desk: &'a mut Desk,
    session: Session<W>,
    worst: Exit,
}

impl<W: Work> Runner<'_, W> {
    /// Gives scans from the arguments; true when one of them ends the session.
    fn all(&mut self, scans: &[String]) -> Result<bool, CliError> {
        for scan in scans {
            if self.give(scan)? {
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// Takes in pictures as they land in a folder; true when one of them ends the session.
    fn watch(&mut self, folder: &Path) -> Result<bool, CliError> {
        let mut folder = Folder::new(folder)?;
        output::talk("watching; stop with Ctrl-C");
        loop {
            for path in folder.next()? {
                let limits = Limits::default();
                let Some(answers) = self.session.picture_once(self.ledger, self.desk, &path, &limits)? else {
                    continue;
                };
                for (scan, answer) in answers {
                    self.tell(&scan, &answer)?;
                    if answer.ends {
                        return Ok(true);
                    }
                }
            }
        }
    }

    /// Gives scans from stdin; true when one of them ends the session.
    fn stream(&mut self) -> Result<bool, CliError> {
        let mut input = std::io::stdin().lock();
        let mut line = Vec::new();
        loop {
            self.ask();
            line.clear();
            let read = input
                .read_until(b'\n', &mut line)
                .map_err(|error| CliError::fault(format!("stdin: {error}")))?;
            if read == 0 {
                return Ok(false);
            }
            line.truncate(LONGEST);
            if self.give(String::from_utf8_lossy(&line).trim())? {
                return Ok(true);
            }
        }
    }

    /// Prompts a person; is silent elsewhere.
    fn ask(&self) {
        if self.context.interactive {
            let mut out = std::io::stderr().lock();
            let _gone = write!(out, "{} > ", self.session.prompt());
            let _gone = out.flush();
        }
    }

    /// Gives one scan, which may be a picture of several; true when the session ends.
    fn give(&mut self, scan: &str) -> Result<bool, CliError> {
        if scan.is_empty() {
            return Ok(false);
        }
        if !is_picture(scan) {
            return self.one(scan);
        }
        let answers = self.session.picture(self.ledger, self.desk, Path::new(scan), &Limits::default())?;
        let mut ends = false;
        for (scan, answer) in answers {
            self.tell(&scan, &answer)?;
            ends |= answer.ends;
        }
        Ok(ends)
    }

    fn one(&mut self, scan: &str) -> Result<bool, CliError> {
        let answer = match self.session.scan(self.ledger, self.desk, scan) {
            Ok(answer) => answer,
            Err(error) => {
                let error = CliError::from(error);
                if error.exit == Exit::Fault {
                    return Err(error);
                }
                Answer::unclear(error.text, error.hint.unwrap_or_default())
            }
        };
        self.tell(scan, &answer)?;
        Ok(answer.ends)
    }

    fn tell(&mut self, scan: &str, answer: &Answer) -> Result<(), CliError> {
        self.worst = self.worst.max(exit(answer.outcome));
        if self.context.globals.json {
            return output::json(&Line { scan, answer });
        }
        let mut lines = answer.lines();
        if self.context.interactive {
            // The prompt says it anyway.
            let prompt = format!("  next: {}", self.session.prompt());
            lines.retain(|line| *line != prompt);
        }
        let wrapped: Vec<String> = lines.iter().map(|line| output::wrap(line, self.context.width)).collect();
        output::lines(&wrapped)
    }
}

pub(super) fn exit(outcome: Outcome) -> Exit {
    match outcome {
        Outcome::Yes => Exit::Yes,
        Outcome::No => Exit::No,
        Outcome::Unclear => Exit::Bad,
    }
}

/// True for a scan that names a picture file.
pub(super) fn is_picture(scan: &str) -> bool {
    let ending = Path::new(scan).extension().and_then(|ending| ending.to_str()).unwrap_or("");
    let picture = ["png", "jpg", "jpeg", "webp", "heic", "heif", "gif", "tif", "tiff", "bmp"];
    picture.iter().any(|known| known.eq_ignore_ascii_case(ending))
}
