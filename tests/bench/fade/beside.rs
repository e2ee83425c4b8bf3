//! The mixed model beside R's lme4 on the same readings, each in a process of its own on one core.

use std::fmt::Write as _;
use std::process::Command;
use std::time::Instant;

use packmuster::stats::fade::Readings;
use packmuster::stats::fade::mixed::{self, Way};

use super::Outcome;
use super::ours::single;
use super::world::{Truth, World};

/// What R is asked to do: lme4's own defaults, and the time of the fit alone.
const SCRIPT: &str = "suppressMessages(library(lme4)); d <- read.csv(commandArgs(TRUE)[1]); \
    d$pack <- factor(d$pack); d$slot <- factor(d$slot); \
    t <- system.time(m <- lmer(mah ~ x + (1 + x | pack) + (1 | slot), d, REML = TRUE)); \
    cat(t[['elapsed']], REMLcrit(m))";

/// Prints both times and how far the criteria are apart.
pub(crate) fn print(packs: usize, seed: u64) -> Outcome {
    let world = World::simulate(Truth::Straight, packs, seed);
    let mut readings = Readings::new();
    let mut text = "pack,x,slot,mah\n".to_owned();
    for (place, pack) in world.packs.iter().enumerate() {
        let row = pack.reads.iter().map(|read| (single(read.use_), single(read.mah), read.slot));
        for (x, mah, slot) in row.clone() {
            writeln!(text, "{place},{x},{slot},{mah}")?;
        }
        readings.push(0, row);
    }
    let start = Instant::now();
    let fit = mixed::fit(&readings, &Way { tolerance: 1e-6, ..Way::restricted(1) })?;
    let ours = start.elapsed().as_secs_f64();
    let file = std::env::temp_dir().join("packmuster-beside.csv");
    std::fs::write(&file, text)?;
    let run = Command::new("Rscript").args(["-e", SCRIPT]).arg(&file).env("OMP_NUM_THREADS", "1").output();
    let _removed = std::fs::remove_file(&file);
    let Ok(run) = run else {
        println!("Rscript is not there: bash tests/run installs it");
        return Ok(());
    };
    let told = String::from_utf8_lossy(&run.stdout).into_owned();
    let mut told = told.split_whitespace().filter_map(|word| word.parse::<f64>().ok());
    let (Some(theirs), Some(criterion)) = (told.next(), told.next()) else {
        println!("lme4 gave no answer: {}", String::from_utf8_lossy(&run.stderr));
        return Ok(());
    };
    println!(
        "{packs} packs, {} readings: ours {ours:.3} s, lme4 {theirs:.1} s, {:.0} times",
        readings.len(),
        theirs / ours
    );
    println!("  criterion: ours {:.4}, lme4 {criterion:.4}", fit.criterion);
    Ok(())
}
