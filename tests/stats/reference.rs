//! A simulated fleet of 1,000 packs, fitted here and by R's lme4 and survival in the same run.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::process::Command;

use packmuster::stats::fade::Readings;
use packmuster::stats::fade::mixed::{self, Criterion, Shape, Way};
use packmuster::stats::life::kaplan::Curve;
use packmuster::stats::life::weibull::Weibull;
use packmuster::stats::life::{Life, logrank};

use super::world::ours::single;
use super::world::world::{Pack, Truth, World};

const SCRIPT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/stats/reference.R");

/// What R says of the files in a folder.
fn by_r(folder: &std::path::Path) -> BTreeMap<String, f64> {
    let run = Command::new("Rscript").arg(SCRIPT).arg(folder).output();
    let run = run.expect("Rscript with lme4 and survival: bash tests/run installs them");
    let told = String::from_utf8(run.stdout).unwrap();
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    told.lines()
        .filter_map(|line| line.split_once(' '))
        .map(|(name, value)| (name.to_owned(), value.parse().unwrap()))
        .collect()
}

fn life(pack: &Pack, place: usize, limit: f64) -> Life {
    let failed = pack.reads.iter().find(|read| read.mah < limit);
    let left = failed.or(pack.reads.last()).map_or(0.0, |read| read.use_).max(0.001);
    // Every third pack is watched from some use on.
    let entered = if place.is_multiple_of(3) { 0.3 * left } else { 0.0 };
    Life { entered, left, failed: failed.is_some() }
}

#[test]
fn a_fleet_is_fitted_as_by_reference_libraries() {
    let world = World::simulate(Truth::Straight, 1_000, 7);
    let folder = tempfile::tempdir().unwrap();
    let mut readings = Readings::new();
    let (mut rows, mut lives_text) =
        ("pack,x,slot,mah\n".to_owned(), "entered,left,failed,make\n".to_owned());
    let mut lives: Vec<(u16, Life)> = Vec::new();
    for (place, pack) in world.packs.iter().enumerate() {
        // The same single precision for both.
        let row: Vec<(f32, f32, u16)> =
            pack.reads.iter().map(|read| (single(read.use_), single(read.mah), read.slot)).collect();
        for (x, mah, slot) in &row {
            writeln!(rows, "{place},{},{slot},{}", f64::from(*x), f64::from(*mah)).unwrap();
        }
        readings.push(0, row);
        let life = life(pack, place, world.limit);
        writeln!(lives_text, "{},{},{},{}", life.entered, life.left, u8::from(life.failed), pack.make)
            .unwrap();
        lives.push((pack.make, life));
    }
    std::fs::write(folder.path().join("readings.csv"), rows).unwrap();
    std::fs::write(folder.path().join("lives.csv"), lives_text).unwrap();
    let r = by_r(folder.path());
    let near = |name: &str, value: f64, relative: f64| {
        let expected = r[name];
        assert!((value - expected).abs() <= relative * expected.abs(), "{name}: {value}, R says {expected}");
    };

    let way = Way { shape: Shape::WHOLE, criterion: Criterion::Restricted, tolerance: 1e-8, threads: 2 };
    let fit = mixed::fit(&readings, &way).unwrap();
    near("criterion", fit.criterion, 1e-9);
    near("level", fit.groups[0].level, 1e-7);
    near("slope", fit.groups[0].slope, 1e-6);
    near("level_error", fit.group_errors[0].level, 1e-4);
    near("slope_error", fit.group_errors[0].slope, 1e-4);
    near("pack_level", fit.pack[0], 1e-3);
    near("pack_slope", fit.pack[2], 1e-3);
    near("slot", fit.slot, 1e-3);
    near("residual", fit.residual, 1e-4);
    let correlation = |across: f64, level: f64, slope: f64| across / (level * slope).sqrt();
    let ours = correlation(fit.pack[1], fit.pack[0], fit.pack[2]);
    let theirs = correlation(r["pack_across"], r["pack_level"], r["pack_slope"]);
    assert!((ours - theirs).abs() < 1e-3, "{ours} {theirs}");
    for place in [0, 1, 499, 999] {
        let rows = readings.of(place).map(|(x, y, slot)| (f64::from(x), f64::from(y), slot, 1.0));
        let line = fit.pack_line(0, rows);
        for (name, value) in [("level", line.off.level), ("slope", line.off.slope)] {
            let expected = r[&format!("line_{name}_{place}")];
            assert!((value - expected).abs() < 0.01, "{name} of {place}: {value}, R says {expected}");
        }
    }
    for slot in [0, 77, 143] {
        let (value, expected) = (fit.bias(slot), r[&format!("bias_{slot}")]);
        assert!((value - expected).abs() < 0.01, "slot {slot}: {value}, R says {expected}");
    }

    let new: Vec<Life> = lives.iter().map(|(_, life)| Life { entered: 0.0, ..*life }).collect();
    let law = Weibull::fit(&new).unwrap();
    near("weibull_scale", law.scale, 1e-6);
    near("weibull_shape", law.shape, 1e-6);
    near("weibull_loglik", law.log_likelihood, 1e-9);
    let late: Vec<Life> = lives.iter().map(|(_, life)| *life).collect();
    let curve = Curve::of(&late).unwrap();
    for age in [2.0, 4.0, 6.0] {
        near(&format!("surviving_{age}"), curve.surviving(age).unwrap(), 1e-9);
        let step = curve.steps().iter().rev().find(|step| step.age <= age).unwrap();
        near(&format!("error_{age}"), step.error, 1e-9);
    }
    let of_make = |make: u16| -> Vec<Life> {
        lives.iter().filter(|(of, _)| *of == make).map(|(_, life)| Life { entered: 0.0, ..*life }).collect()
    };
    let makes = [of_make(0), of_make(1), of_make(2)];
    let groups: Vec<&[Life]> = makes.iter().map(Vec::as_slice).collect();
    near("logrank", logrank::compare(&groups).unwrap().statistic, 1e-8);
}
