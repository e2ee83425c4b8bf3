//! Forecasts on simulated fleets, made from what was known before a day and held against what came after it.

use packmuster::stats::fade::learning;
use packmuster::stats::fade::model::Model;

use super::world::ours::{self, Rounds};
use super::world::score::{Gap, Score};
use super::world::split::{CUT_DAY, Split, events};
use super::world::world::{Truth, World};

struct Foretold {
    model: Model,
    ours: Vec<f64>,
    lines: Vec<f64>,
    came: Vec<bool>,
}

fn foretold(truth: Truth, packs: usize, rounds: Rounds) -> Foretold {
    let world = World::simulate(truth, packs, 11);
    let split = Split::at(&world, CUT_DAY);
    let fleet = ours::fleet(&split, rounds);
    let straight = learning::straight(&fleet, 2).unwrap();
    let model = learning::learn(&fleet, 2, |_| ()).unwrap();
    Foretold {
        ours: ours::forecasts(&split, &world, &model, rounds),
        lines: ours::forecasts(&split, &world, &straight, rounds),
        came: events(&split.cases),
        model,
    }
}

impl Foretold {
    fn score(&self) -> Score {
        Score::of("ours", &self.ours, &self.came)
    }

    /// Log-loss less that of straight lines: mean and standard error.
    fn gap(&self) -> Gap {
        Gap::between(&self.ours, &self.lines, &self.came)
    }
}

#[test]
fn where_nothing_bends_it_is_as_good_as_straight_lines() {
    let fleet = foretold(Truth::Straight, 1_500, Rounds::Unrecorded);
    assert!(fleet.score().calibration < 0.012);
    let gap = fleet.gap();
    assert!(gap.mean < 2.0 * gap.error, "{gap}");
}

#[test]
fn where_packs_bend_it_is_better_and_its_chances_are_true() {
    let fleet = foretold(Truth::Bending, 6_000, Rounds::Unrecorded);
    assert!(fleet.model.bends(), "{:?}", fleet.model.evidence);
    assert!(fleet.score().calibration < 0.006);
    let gap = fleet.gap();
    assert!(gap.mean < -3.0 * gap.error, "{gap}");
}

#[test]
fn recorded_rounds_are_worth_recording() {
    let recorded = foretold(Truth::Reconditioned, 6_000, Rounds::Recorded);
    let lift = &recorded.model.bend.lift;
    // Rounds give back 20 to 80 mAh, evenly: 50 in the mean, with a standard deviation of 17, whatever the make, age and loss.
    for make in 0..3 {
        let (mean, _) = lift.of(make, lift.centre[0], lift.centre[1]);
        assert!((mean - 50.0).abs() < 6.0 && lift.rounds_of(make) > 100, "{lift:?}");
    }
    let [_, of_year, of_depth] = lift.groups[0].mean;
    assert!(of_year.abs() < 6.0 && of_depth.abs() < 0.06, "{lift:?}");
    assert!((lift.variance.sqrt() - 17.3).abs() < 10.0, "{lift:?}");
    let unrecorded = foretold(Truth::Reconditioned, 6_000, Rounds::Unrecorded);
    let gap = Gap::between(&recorded.ours, &unrecorded.ours, &recorded.came);
    assert!(gap.mean < -2.0 * gap.error, "{gap}");
}

/// Age that goes by the root: the clock is found, and with it what straight lines cannot know.
#[test]
fn the_clock_is_found() {
    let fleet = foretold(Truth::RootOfUse, 3_000, Rounds::Unrecorded);
    let clock = fleet.model.clocks.base;
    assert!((clock.power - 0.5).abs() < 1e-9 && clock.to_string().starts_with("cycles"), "{clock}");
    assert!(fleet.gap().mean < -3.0 * fleet.gap().error);
}
