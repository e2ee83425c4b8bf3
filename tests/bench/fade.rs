//! Forecasts on fleets whose truth is known, beside simple methods; and what the statistics cost.
//!
//! `cargo bench --bench fade` does a small part. `-- forecasts PACKS [SEED]` prints the table for every truth, `-- cost PACKS` the times,
//! `-- beside PACKS` the time of R's lme4 on the same readings.
#![expect(clippy::print_stdout, reason = "tables are what a benchmark is for")]

#[path = "fade/beside.rs"]
mod beside;
#[path = "fade/cost.rs"]
mod cost;
#[path = "fade/ours.rs"]
mod ours;
#[path = "fade/score.rs"]
#[expect(dead_code, reason = "the tests use all of it")]
mod score;
#[path = "fade/simple.rs"]
#[expect(dead_code, reason = "the tests use all of it")]
mod simple;
#[path = "fade/split.rs"]
#[expect(dead_code, reason = "the tests use all of it")]
mod split;
#[path = "fade/world.rs"]
mod world;

use packmuster::stats::fade::learning;

use ours::Rounds;
use score::{Gap, Score};
use simple::FleetFade;
use split::{CUT_DAY, Split, events};
use world::{Truth, World};

/// The seed of a run in which none is given.
const SEED: u64 = 20_261_128;
/// Packs of the small part.
const FEW: usize = 4_000;

/// Done, or why not.
type Outcome = Result<(), Box<dyn std::error::Error>>;

fn main() -> Outcome {
    let given: Vec<String> = std::env::args().skip(1).filter(|given| !given.starts_with("--")).collect();
    let number = |place: usize| given.get(place).and_then(|given| given.parse::<usize>().ok());
    match given.first().map(String::as_str) {
        Some("forecasts") => {
            let seed = number(2).and_then(|seed| u64::try_from(seed).ok()).unwrap_or(SEED);
            for truth in Truth::ALL {
                forecasts(truth, number(1).unwrap_or(100_000), seed)?;
            }
        }
        Some("beside") => beside::print(number(1).unwrap_or(100_000), SEED)?,
        Some("cost") => cost::print(number(1).unwrap_or(1_000_000), SEED)?,
        _ => {
            for truth in [Truth::Straight, Truth::Bending] {
                forecasts(truth, FEW, SEED)?;
            }
            cost::print(FEW, SEED)?;
        }
    }
    Ok(())
}

/// Foretells every pack's next reading after the cut, and scores it.
fn forecasts(truth: Truth, packs: usize, seed: u64) -> Outcome {
    let world = World::simulate(truth, packs, seed);
    let split = Split::at(&world, CUT_DAY);
    let came = events(&split.cases);
    println!("{}: {packs} packs", truth.name());
    println!("  {}", Score::HEADER);
    let show = |name: &str, chances: &[f64]| println!("  {}", Score::of(name, chances, &came));
    let fleet_fade = FleetFade::learn(&split);
    let fade: Vec<f64> = split.cases.iter().map(|case| fleet_fade.forecast(&split, case)).collect();
    let line: Vec<f64> = split.cases.iter().map(|case| fleet_fade.line(&split, case)).collect();
    show("last reading + fleet fade", &fade);
    show("least squares per pack", &line);
    for rounds in [Rounds::Unrecorded, Rounds::Recorded] {
        if rounds == Rounds::Recorded && truth != Truth::Reconditioned {
            continue;
        }
        let fleet = ours::fleet(&split, rounds);
        let straight = learning::straight(&fleet, 1)?;
        let model = learning::learn(&fleet, 1, |_| ())?;
        let lines = ours::forecasts(&split, &world, &straight, rounds);
        let ours = ours::forecasts(&split, &world, &model, rounds);
        let name = if rounds == Rounds::Recorded { ", rounds recorded" } else { "" };
        show(&format!("robust mixed model{name}"), &lines);
        show(&format!("ours{name}"), &ours);
        let kind =
            if model.bends() { format!("bends along {:?}", model.bend.along) } else { "straight".into() };
        println!(
            "  by {}, {kind}; ours less mixed model: {}",
            model.clocks.base,
            Gap::between(&ours, &lines, &came)
        );
    }
    Ok(())
}
