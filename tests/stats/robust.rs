//! The robust fit on simulated fleets of which 30 % bend, where gross errors are hard to tell from bends.

use packmuster::stats::fade::Readings;
use packmuster::stats::fade::mixed::Way;
use packmuster::stats::fade::robust::{self, Robust};

use super::world::ours::single;
use super::world::world::{Truth, World};

/// Packs up to which a fit takes all readings from the start, and of a fleet whose fit begins on a sample.
const OUTRIGHT: usize = 40_000;
const ON_SAMPLE: usize = 50_000;

fn fitted(world: &World, packs: usize, threads: usize) -> Robust {
    let mut readings = Readings::with_capacity(packs, 8 * packs);
    for pack in world.packs.iter().take(packs) {
        let row = pack.reads.iter().map(|read| (single(read.use_), single(read.mah), read.slot));
        readings.push(pack.make, row);
    }
    robust::fit(&mut readings, &Way::restricted(threads)).unwrap()
}

/// Packs are drawn alike, so both fits are to find the same: the variance of errors and the share of gross ones to about four standard
/// errors of the difference. With any number of threads the fit is the same to the last bit.
#[test]
fn a_fit_begun_on_a_sample_ends_where_one_on_all_readings_does() {
    let world = World::simulate(Truth::Bending, ON_SAMPLE, 7);
    let (whole, part) = (fitted(&world, ON_SAMPLE, 1), fitted(&world, OUTRIGHT, 2));
    let apart = |one: f64, other: f64| (one / other - 1.0).abs();
    let (residual, expected) = (whole.fit.residual, part.fit.residual);
    assert!(apart(residual, expected) < 0.01, "{residual} {expected}");
    assert!(apart(whole.gross, part.gross) < 0.03, "{} {}", whole.gross, part.gross);
    assert_eq!(fitted(&world, ON_SAMPLE, 2), whole);
}
