//! Bulk: entries with chain and projections, beside the `sqlite3` shell importing the same rows into the same tables.

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

use super::Outcome;
use super::figure::{Figure, float};
use super::fleet::Fleet;
use super::process::has_shell;

/// The tables of the ledger without their guards; the shell imports blobs as hex text, so the columns take any type.
const TABLES: &str = "
PRAGMA journal_mode = WAL;
CREATE TABLE entry (writer, number, clock, recorded, desk, operator, act, kind, body, hash,
    PRIMARY KEY (writer, number)) WITHOUT ROWID;
CREATE TABLE thing (kind, id, clock, writer, number, name, state, UNIQUE (kind, id));
CREATE INDEX thing_by_name ON thing (kind, name) WHERE name IS NOT NULL;
CREATE TABLE touch (kind, id, clock, writer, number, PRIMARY KEY (kind, id, clock, writer, number)) WITHOUT ROWID;
";

/// The rate of building the fleet, beside the shell's.
pub(crate) fn figures(fleet: &Fleet, folder: &Path) -> Outcome<Vec<Figure>> {
    const WHAT: &str = "bulk acts, entries with chain and projections";
    let ours = float(fleet.entries) / fleet.took.as_secs_f64();
    let aimed = Figure::rate(WHAT, ours, ("aimed at", 40_000.0), "1x");
    if !has_shell() {
        return Ok(vec![aimed, Figure::missing("import beside the shell", "no sqlite3 shell")]);
    }
    let tables = [
        ("entry", "hex(writer), number, clock, recorded, desk, operator, hex(act), kind, body, hex(hash)"),
        ("touch", "kind, hex(id), clock, hex(writer), number"),
        ("thing", "kind, hex(id), clock, hex(writer), number, name, state"),
    ];
    for (table, columns) in tables {
        let sql = format!("SELECT {columns} FROM {table}");
        let file = std::fs::File::create(folder.join(table).with_extension("csv"))?;
        let mut shell = Command::new("sqlite3");
        let status = shell.args(["-csv"]).arg(&fleet.path).arg(&sql).stdout(file).status()?;
        if !status.success() {
            return Err("the shell does not export".into());
        }
    }
    let bar = folder.join("import.db");
    let import =
        |table: &str| format!(".import --csv {} {table}", folder.join(table).with_extension("csv").display());
    let start = Instant::now();
    let status = Command::new("sqlite3")
        .arg(&bar)
        .args([TABLES, &import("entry"), &import("touch"), &import("thing")])
        .stdout(Stdio::null())
        .status()?;
    let took = start.elapsed();
    if !status.success() {
        return Err("the shell does not import".into());
    }
    let theirs = float(fleet.entries) / took.as_secs_f64();
    Ok(vec![
        aimed,
        Figure::rate("the same, beside the shell", ours, ("sqlite3 .import of the rows", theirs), ""),
    ])
}
