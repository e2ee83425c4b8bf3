//! The `import` command as a whole process: CSV rows checked, judged for sense, and entered with chain and projections.

use std::fmt::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

use packmuster::app::setup;
use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use rusqlite::Connection;

use super::Outcome;
use super::figure::{Figure, float};
use super::fleet::{NOW, beginning, desk};
use super::process::{BINARY, has_shell};

/// Rates of importing a fleet of `packs` packs, and two past readings of each in any order.
pub(crate) fn figures(packs: u32, folder: &Path) -> Outcome<Vec<Figure>> {
    let ledger = folder.join("csv.muster");
    drop(setup::begin(&ledger, &mut desk(5)?, &beginning()?)?);
    let mut random = ChaCha12Rng::seed_from_u64(6);
    let mut order: Vec<(u32, u32)> =
        (0..packs).map(|pack| (pack, 8)).chain((0..packs).map(|pack| (pack, 17))).collect();
    order.shuffle(&mut random);
    let mut fleet = "pack,serial,lot,added\n".to_owned();
    for pack in 0..packs {
        writeln!(fleet, "FX-{pack:07},S{pack},L{},2025-03-{:02}", pack / 2_000, 1 + pack % 28)?;
    }
    let mut readings = "pack,at,capacity\n".to_owned();
    for (row, (pack, hour)) in (0_u32..).zip(order) {
        let (month, day) = (1 + row % 10, 1 + row / 10 % 28);
        let capacity = random.random_range(850..1000);
        writeln!(readings, "FX-{pack:07},2026-{month:02}-{day:02} {hour:02}:{:02},{capacity}", row % 60)?;
    }
    let mut figures = Vec::new();
    for (what, text) in [("packs", fleet), ("readings", readings)] {
        let file = folder.join(what).with_extension("csv");
        std::fs::write(&file, &text)?;
        let before = entries(&ledger)?;
        let start = Instant::now();
        let output = Command::new(BINARY)
            .env("PACKMUSTER_CLOCK", NOW)
            .arg("--ledger")
            .arg(&ledger)
            .args(["import", what])
            .arg(&file)
            .stdin(Stdio::null())
            .output()?;
        let took = start.elapsed().as_secs_f64();
        if !output.status.success() {
            return Err(String::from_utf8_lossy(&output.stderr).into_owned().into());
        }
        let rate = float(entries(&ledger)? - before) / took;
        let name = format!("import {what} from CSV, whole process, entries");
        figures.push(Figure::rate(&name, rate, ("aimed at", 40_000.0), "1x"));
        let rows = float(u64::try_from(text.lines().count() - 1)?);
        let name = format!("import {what} from CSV, rows");
        figures.push(match shell(&file, folder)? {
            Some(bar) => Figure::rate(&name, rows / took, ("sqlite3 .import of the file", rows / bar), ""),
            None => Figure::missing(&name, "no sqlite3 shell"),
        });
        std::fs::remove_file(&file)?;
    }
    for ending in ["", "-wal", "-shm"] {
        let file = folder.join(format!("csv.muster{ending}"));
        if file.exists() {
            std::fs::remove_file(file)?;
        }
    }
    Ok(figures)
}

/// How long the shell takes to put the same file into a table of its own, in seconds.
fn shell(file: &Path, folder: &Path) -> Outcome<Option<f64>> {
    if !has_shell() {
        return Ok(None);
    }
    let bar = folder.join("csv-bar.db");
    let start = Instant::now();
    let status = Command::new("sqlite3")
        .arg(&bar)
        .args(["PRAGMA journal_mode = WAL", &format!(".import --csv {} rows", file.display())])
        .stdout(Stdio::null())
        .status()?;
    let took = start.elapsed().as_secs_f64();
    std::fs::remove_file(&bar)?;
    status.success().then_some(Some(took)).ok_or_else(|| "the shell does not import".into())
}

fn entries(ledger: &Path) -> Outcome<u64> {
    let count: i64 =
        Connection::open(ledger)?.query_row("SELECT sum(number) FROM writer", [], |row| row.get(0))?;
    Ok(count.unsigned_abs())
}
