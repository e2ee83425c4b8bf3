//! How fast the ledger is, each figure beside its bar, measured in the same run on the same disk.
//!
//! `cargo bench` builds a fleet of 20,000 packs; `cargo bench -- 1000000` or `PACKMUSTER_BENCH_PACKS=1000000` another number.
//! The file is in the system's page cache throughout: what is measured is the work, not a cold disk.

mod csv;
mod figure;
mod fleet;
mod import;
mod process;
mod session;

use std::error::Error;
use std::io::Write;
use std::path::PathBuf;

use figure::Figure;

/// What a measurement gives, or why it could not be made.
pub(crate) type Outcome<T> = Result<T, Box<dyn Error>>;

/// Packs in the fleet, unless another number is given.
const PACKS: u32 = 20_000;

fn main() -> Outcome<()> {
    let packs = packs()?;
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("ledger-bench");
    if folder.exists() {
        std::fs::remove_dir_all(&folder)?;
    }
    std::fs::create_dir_all(&folder)?;
    say(&format!("a fleet of {packs} packs"))?;
    let built = fleet::build(&folder.join("fleet.muster"), packs)?;
    let bytes = fleet::settle(&built.path)?;
    say(&format!(
        "{} entries in {:.1} s, {} MB",
        built.entries,
        built.took.as_secs_f64(),
        bytes / 1_000_000
    ))?;
    let mut figures: Vec<Figure> = import::figures(&built, &folder)?;
    figures.extend(process::judge(&built)?);
    figures.extend(process::dispatch(&built, &folder)?);
    figures.extend(session::verdicts(&built)?);
    figures.extend(session::acts(&built, &folder)?);
    figures.extend(session::corrections(&built)?);
    figures.extend(csv::figures(packs, &folder)?);
    figures.push(Figure::size(bytes, built.entries));
    say(&figure::table(&figures))?;
    std::fs::remove_dir_all(&folder)?;
    Ok(())
}

/// The number of packs: the argument, the environment, or the default.
fn packs() -> Outcome<u32> {
    let given = std::env::args().skip(1).find(|argument| !argument.starts_with('-'));
    match given.or_else(|| std::env::var("PACKMUSTER_BENCH_PACKS").ok()) {
        None => Ok(PACKS),
        Some(text) => {
            let packs = text.replace('_', "").parse()?;
            if packs < 2_000 {
                return Err(format!("{packs} packs are too few to measure: give 2000 or more").into());
            }
            Ok(packs)
        }
    }
}

/// Writes a line at once: a run at a million packs takes minutes.
pub(crate) fn say(text: &str) -> Outcome<()> {
    let mut out = std::io::stdout().lock();
    writeln!(out, "{text}")?;
    out.flush()?;
    Ok(())
}
