//! What the review costs: the first of a month, which looks at every pack, and the next ones, which look at what changed.
//!
//! `cargo bench --bench review` builds a ledger of 20,000 packs that fade and bend (`fade/world.rs`), with some seven readings each in 144
//! slots, through the binary's imports, and learns a model; `cargo bench --bench review -- 1000000` builds another number (half an hour and 10 GB).
//! Every review is a process of its own; times are the middle of five, memory is the largest that any of them had.

#[expect(dead_code, reason = "of that fleet only its beginning is wanted")]
mod fleet;
#[expect(dead_code, reason = "the truth about each pack is for forecasts")]
#[path = "fade/world.rs"]
mod world;

use std::error::Error;
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use jiff::civil::{Date, date};
use packmuster::app::desk::Desk;
use packmuster::app::session::Here;
use packmuster::app::setup;
use packmuster::domain::moment::{Moment, day_after};
use rand::SeedableRng;
use rand_chacha::ChaCha12Rng;
use world::{Truth, World};

type Outcome<T> = Result<T, Box<dyn Error>>;

const BINARY: &str = env!("CARGO_BIN_EXE_packmuster");
const PACKS: usize = 20_000;
const RUNS: usize = 5;
/// Rows of one imported file.
const ROWS: usize = 1_000_000;
/// Packs that are read between two reviews.
const NEWS: usize = 500;
/// The day of the last reading of the past.
const LAST: Date = date(2026, 11, 7);
const BUILT: &str = "2026-11-20T09:00:00Z";
const LEARNT: &str = "2026-12-01T09:00:00Z";
const NOW: &str = "2026-12-20T13:00:00Z";

/// What one process cost.
struct Cost {
    took: Duration,
    peak_mb: f64,
}

fn main() -> Outcome<()> {
    let given = std::env::args().skip(1).find(|argument| !argument.starts_with('-'));
    let packs = given.map_or(Ok(PACKS), |text| text.replace('_', "").parse())?;
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("review-bench");
    if folder.exists() {
        std::fs::remove_dir_all(&folder)?;
    }
    std::fs::create_dir_all(&folder)?;
    say(&format!("a fleet of {packs} packs"))?;
    let readings = build(&folder, packs)?;
    run(&folder, LEARNT, &["model", "learn"])?;
    say(&format!("{readings} readings, and a model of them"))?;

    let first = run(&folder, NOW, &["review", "--pdf", "first.pdf"])?;
    say(&format!("first review of the month  {}", told(&first, None)))?;
    let few: Vec<Cost> =
        (0..RUNS).map(|_| run(&folder, NOW, &["review", "--figures"])).collect::<Outcome<_>>()?;
    say(&format!("figures                    {}", told(&middle(few), Some((0.5, 500.0)))))?;
    let pdf = |name: usize| run(&folder, NOW, &["review", "--pdf", &format!("{name}.pdf")]);
    let whole: Vec<Cost> = (0..RUNS).map(pdf).collect::<Outcome<_>>()?;
    say(&format!("whole, with its PDF        {}", told(&middle(whole), Some((5.0, 500.0)))))?;
    news(&folder)?;
    let after = run(&folder, NOW, &["review", "--figures"])?;
    say(&format!("figures after {NEWS} readings {}", told(&after, None)))?;
    std::fs::remove_dir_all(&folder)?;
    Ok(())
}

fn say(text: &str) -> Outcome<()> {
    let mut out = std::io::stdout().lock();
    writeln!(out, "{text}")?;
    out.flush()?;
    Ok(())
}

fn told(cost: &Cost, bar: Option<(f64, f64)>) -> String {
    let (took, peak) = (cost.took.as_secs_f64(), cost.peak_mb);
    let beside = bar.map_or_else(String::new, |(most_s, most_mb)| {
        format!(
            "  of the bars of {most_s} s and {most_mb} MB: {:.2} and {:.2}",
            took / most_s,
            peak / most_mb
        )
    });
    format!("{took:8.2} s {peak:7.0} MB{beside}")
}

/// The middle of the times, and the largest memory.
fn middle(mut costs: Vec<Cost>) -> Cost {
    costs.sort_by_key(|cost| cost.took);
    let took = costs.get(costs.len() / 2).map(|cost| cost.took).unwrap_or_default();
    Cost { took, peak_mb: costs.iter().map(|cost| cost.peak_mb).fold(0.0, f64::max) }
}

/// Runs the binary on the ledger, and watches its memory as Linux tells it.
fn run(folder: &Path, clock: &str, args: &[&str]) -> Outcome<Cost> {
    let begin = Instant::now();
    let said = std::fs::File::create(folder.join("said"))?;
    let mut child = Command::new(BINARY)
        .args(["--ledger", "fleet.muster"])
        .args(args)
        .env("PACKMUSTER_CLOCK", clock)
        .current_dir(folder)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(said)
        .spawn()?;
    let status = format!("/proc/{}/status", child.id());
    let mut peak_mb = 0.0_f64;
    let code = loop {
        if let Ok(text) = std::fs::read_to_string(&status)
            && let Some(line) = text.lines().find_map(|line| line.strip_prefix("VmHWM:"))
        {
            peak_mb = peak_mb.max(line.trim().trim_end_matches(" kB").parse::<f64>()? / 1000.0);
        }
        if let Some(code) = child.try_wait()? {
            break code;
        }
        std::thread::sleep(Duration::from_millis(2));
    };
    if !code.success() {
        return Err(format!("{args:?}: {}", std::fs::read_to_string(folder.join("said"))?).into());
    }
    Ok(Cost { took: begin.elapsed(), peak_mb })
}

/// Imports what a simulated fleet went through; gives the number of readings.
fn build(folder: &Path, packs: usize) -> Outcome<usize> {
    let world = World::simulate(Truth::Bending, packs, 7);
    let now = Moment::from_timestamp(BUILT.parse()?);
    let mut desk = Desk::new("bench", ChaCha12Rng::seed_from_u64(1), Box::new(move || now));
    let mut ledger = setup::begin(&folder.join("fleet.muster"), &mut desk, &fleet::beginning()?)?;
    for slot in 0..world.slots {
        let here = &mut Here { ledger: &mut ledger, desk: &mut desk };
        setup::add_slot(here, &format!("slot {slot}"), None)?;
    }
    drop(ledger);
    let last =
        world.packs.iter().filter_map(|pack| pack.reads.last()).map(|read| read.day).max().unwrap_or(0);
    let day = |day: i32| day_after(LAST, i64::from(day) - i64::from(last));
    let mut text = "pack,added,lot\n".to_owned();
    for (number, pack) in world.packs.iter().enumerate() {
        let first = pack.reads.first().map_or(0, |read| read.day);
        writeln!(text, "FX-{number:07},{},L{:03}", day(first), pack.lot)?;
    }
    import(folder, "packs", &text, BUILT)?;
    let (mut rows, mut all) = (0, 0);
    let mut text = HEADS.to_owned();
    for (number, pack) in world.packs.iter().enumerate() {
        for read in &pack.reads {
            writeln!(text, "FX-{number:07},{},{:.0},slot {}", day(read.day), read.mah, read.slot)?;
        }
        rows += pack.reads.len();
        if rows >= ROWS {
            import(folder, "readings", &text, BUILT)?;
            all += std::mem::take(&mut rows);
            HEADS.clone_into(&mut text);
        }
    }
    import(folder, "readings", &text, BUILT)?;
    Ok(all + rows)
}

const HEADS: &str = "pack,at,capacity,slot\n";

fn import(folder: &Path, what: &str, text: &str, clock: &str) -> Outcome<()> {
    std::fs::write(folder.join("rows.csv"), text)?;
    let accept: &[&str] = if what == "readings" { &["--accept-implausible"] } else { &[] };
    run(folder, clock, &[&["import", what, "rows.csv"], accept].concat())?;
    Ok(())
}

/// Some packs are read again.
fn news(folder: &Path) -> Outcome<()> {
    let mut text = HEADS.to_owned();
    for number in 0..NEWS {
        writeln!(text, "FX-{:07},2026-12-19,800,slot {}", number * 37, number % 24)?;
    }
    import(folder, "readings", &text, NOW)
}
