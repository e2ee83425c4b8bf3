//! Whole processes: the binary beside the `sqlite3` shell, run in turn.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;

use super::Outcome;
use super::figure::{Figure, quantile};
use super::fleet::{Fleet, NOW};

pub(crate) const BINARY: &str = env!("CARGO_BIN_EXE_packmuster");
const RUNS: usize = 80;

/// True when the shell is there.
pub(crate) fn has_shell() -> bool {
    let asked = Command::new("sqlite3").arg("-version").stdout(Stdio::null()).stderr(Stdio::null()).status();
    asked.is_ok_and(|status| status.success())
}

fn timed(command: &mut Command, codes: &[i32]) -> Outcome<Duration> {
    command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::piped());
    let start = Instant::now();
    let output = command.output()?;
    let took = start.elapsed();
    if output.status.code().is_some_and(|code| codes.contains(&code)) {
        return Ok(took);
    }
    Err(format!("{command:?}: {}", String::from_utf8_lossy(&output.stderr)).into())
}

fn packmuster(fleet: &Fleet) -> Command {
    let mut command = Command::new(BINARY);
    command.env("PACKMUSTER_CLOCK", NOW).arg("--ledger").arg(&fleet.path);
    command
}

fn shell(file: &Path, sql: &str) -> Command {
    let mut command = Command::new("sqlite3");
    command.arg(file).arg(sql);
    command
}

/// One-shot verdicts beside one indexed look-up in the same file.
pub(crate) fn judge(fleet: &Fleet) -> Outcome<Vec<Figure>> {
    const WHAT: &str = "one-shot verdict (judge), whole process";
    if !has_shell() {
        return Ok(vec![Figure::missing(WHAT, "no sqlite3 shell")]);
    }
    let mut random = ChaCha12Rng::seed_from_u64(3);
    let (mut ours, mut bar) = (Vec::new(), Vec::new());
    for _ in 0..RUNS {
        let pack = fleet.packs.get(random.random_range(0..fleet.packs.len())).ok_or("no packs")?;
        ours.push(timed(packmuster(fleet).args(["judge", pack.tag.text()]), &[0, 1])?);
        let pack = fleet.packs.get(random.random_range(0..fleet.packs.len())).ok_or("no packs")?;
        let sql = format!("SELECT state FROM thing WHERE kind = 1 AND id = x'{}'", pack.id.uuid().simple());
        bar.push(timed(&mut shell(&fleet.path, &sql), &[0])?);
    }
    let bar = ("sqlite3 look-up", quantile(&mut bar, 50));
    Ok(vec![Figure::beside(WHAT, quantile(&mut ours, 50), bar, Some(1.2))])
}

/// One-shot dispatches beside one durable insert into a copy of the file.
pub(crate) fn dispatch(fleet: &Fleet, folder: &Path) -> Outcome<Vec<Figure>> {
    const WHAT: &str = "one-shot dispatch, whole process";
    if !has_shell() {
        return Ok(vec![Figure::missing(WHAT, "no sqlite3 shell")]);
    }
    let copy: PathBuf = folder.join("bar.db");
    std::fs::copy(&fleet.path, &copy)?;
    let table = "CREATE TABLE bar (number INTEGER PRIMARY KEY, body TEXT NOT NULL)";
    timed(&mut shell(&copy, table), &[0])?;
    let (mut ours, mut bar) = (Vec::new(), Vec::new());
    for (number, &place) in fleet.fit.iter().take(RUNS).enumerate() {
        let pack = fleet.packs.get(place).ok_or("no packs")?;
        let player = fleet.players.get(number).ok_or("too few players")?;
        let args = ["dispatch", "--for", "8 weeks", pack.tag.text(), player.tag.text()];
        ours.push(timed(packmuster(fleet).args(args), &[0])?);
        let sql =
            format!("PRAGMA synchronous = FULL; INSERT INTO bar VALUES ({number}, hex(randomblob(200)))");
        bar.push(timed(&mut shell(&copy, &sql), &[0])?);
    }
    std::fs::remove_file(&copy)?;
    let bar = ("sqlite3 durable insert", quantile(&mut bar, 50));
    Ok(vec![Figure::beside(WHAT, quantile(&mut ours, 50), bar, Some(1.1))])
}
