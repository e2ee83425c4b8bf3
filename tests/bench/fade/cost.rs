//! What the statistics cost on one core.

use std::hint::black_box;
use std::time::{Duration, Instant};

use packmuster::stats::fade::learning::Stage;
use packmuster::stats::fade::mixed::{self, Way};
use packmuster::stats::fade::model::{Predictor, Seen, When};
use packmuster::stats::fade::{Readings, learning, robust};
use packmuster::stats::life::Life;
use packmuster::stats::life::kaplan::Curve;
use packmuster::stats::life::weibull::Weibull;

use super::Outcome;
use super::ours::{self, Rounds, single};
use super::split::Split;
use super::world::{Truth, World};

/// Packs of which a forecast is timed one by one.
const TIMED: usize = 20_000;

fn timed<T>(work: impl FnOnce() -> T) -> (T, Duration) {
    let start = Instant::now();
    let done = work();
    (done, start.elapsed())
}

/// Prints what each piece takes on one core.
pub(crate) fn print(packs: usize, seed: u64) -> Outcome {
    let world = World::simulate(Truth::Bending, packs, seed);
    let mut readings = Readings::new();
    for pack in &world.packs {
        let row = |read: &super::world::Read| (single(read.use_), single(read.mah), read.slot);
        readings.push(pack.make, pack.reads.iter().map(row));
    }
    println!("{packs} packs, {} readings, one core", readings.len());
    let (fit, plain) = timed(|| mixed::fit(&readings, &Way::restricted(1)));
    let fit = fit?;
    println!("  mixed model, crossed slots          {plain:>9.2?}  {} evaluations", fit.evaluations);
    let (fit, took) = timed(|| robust::fit(&mut readings, &Way::restricted(1)));
    let fit = fit?;
    println!("  the same, robust                    {took:>9.2?}  {} rounds on all", fit.rounds);
    drop(readings);
    let lives: Vec<Life> = world.packs.iter().map(|pack| life(pack, world.limit)).collect();
    let (law, took) = timed(|| Weibull::fit(&lives));
    let law = law?;
    println!("  Weibull                             {took:>9.2?}  shape {:.3}", law.shape);
    let (_, took) = timed(|| black_box(Curve::of(&lives)).is_ok());
    println!("  Kaplan and Meier                    {took:>9.2?}");
    let split = Split::at(&world, i32::MAX);
    let fleet = ours::fleet(&split, Rounds::Unrecorded);
    let mut stages: Vec<(Stage, Instant)> = Vec::new();
    let (model, learning) =
        timed(|| learning::learn(&fleet, 1, |stage| stages.push((stage, Instant::now()))));
    let model = model?;
    let end = Instant::now();
    for (place, (stage, begun)) in stages.iter().enumerate() {
        let next = stages.get(place + 1).map_or(end, |(_, next)| *next);
        println!("    {:<34}{:>9.2?}", format!("{stage:?}"), next - *begun);
    }
    println!("  by {}, bends: {}, tried on {:?}", model.clocks.base, model.bends(), model.evidence.tried);
    println!("  whole model learnt                  {learning:>9.2?}");
    let predictor = Predictor::new(model);
    let mut seen = Seen::default();
    let limit = f64::from(single(world.limit));
    let mut foretell = |place: usize| {
        let pack = fleet.pack(place);
        predictor.see(&pack, &mut seen);
        let last = pack.readings.last().map_or((0, 0.0), |last| (last.day, f64::from(last.cycles)));
        let outlook = predictor.outlook(&seen, When { day: last.0 + 90, cycles: last.1 + 60.0 });
        predictor.chance_below(&outlook, limit)
    };
    let ((), all) = timed(|| {
        for place in 0..fleet.packs() {
            black_box(foretell(place));
        }
    });
    println!("  a forecast for each pack            {all:>9.2?}  learnt and foretold {:.2?}", learning + all);
    let step = fleet.packs().div_ceil(TIMED);
    let mut each: Vec<Duration> =
        (0..fleet.packs()).step_by(step).map(|place| timed(|| black_box(foretell(place))).1).collect();
    each.sort_unstable();
    let at = |share: usize| each.get(each.len() * share / 100).copied().unwrap_or_default();
    println!("  one pack after a new reading        {:>9.2?}  median; {:.2?} for 99 of 100", at(50), at(99));
    if let Some(peak) = peak() {
        println!("  most memory                         {peak} MB");
    }
    Ok(())
}

/// A pack's life in use: it fails at its first reading below the limit.
fn life(pack: &super::world::Pack, limit: f64) -> Life {
    let failed = pack.reads.iter().find(|read| read.mah < limit);
    let end = failed.or(pack.reads.last()).map_or(0.0, |read| read.use_);
    Life { entered: 0.0, left: end.max(1e-3), failed: failed.is_some() }
}

/// The most memory that this process held, where the system tells, in MB.
fn peak() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM"))?;
    line.split_whitespace().nth(1)?.parse::<u64>().ok().map(|kb| kb / 1024)
}
