//! What a round of reconditioning brings, learnt from simulated fleets in which that is known.

use packmuster::stats::fade::bend::{Lift, Rise};
use packmuster::stats::fade::fleet::{Fleet, History, Reading};
use packmuster::stats::fade::learning;
use packmuster::stats::fade::model::{Model, Predictor, Seen, When};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;

/// New packs hold so much in the mean, and differ by so much, mAh.
const FRESH: (f64, f64) = (1000.0, 30.0);
/// Median fade, mAh per 100 cycles, and the standard deviation of its logarithm.
const FADE: (f64, f64) = (50.0, 0.3);
/// Standard deviation of a reading, mAh.
const NOISE: f64 = 10.0;
/// What a round brings each make at two years and 200 mAh lost, mAh, and how rounds differ.
const MAKES: [f64; 2] = [90.0, 40.0];
const ROUND: f64 = 15.0;
/// What a year of age, and each mAh lost, change of it.
const YEAR: f64 = -12.0;
const LOST: f64 = 0.15;
/// Packs are asked to hold this, mAh.
const LIMIT: f64 = 880.0;

/// A pack that had a round, and what came of it.
struct Case {
    /// Until the round.
    before: History,
    round: When,
    /// What it truly held right after it, mAh.
    truth: f64,
    /// What the round brought, mAh.
    gain: f64,
}

struct World {
    random: ChaCha12Rng,
}

impl World {
    fn new(seed: u64) -> Self {
        Self { random: ChaCha12Rng::seed_from_u64(seed) }
    }

    /// A standard normal variate: the sum of twelve even ones, exact enough here.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.random.random::<f64>()).sum::<f64>() - 6.0
    }

    /// A pack read every 50 to 150 cycles, at a pace of its own, with a round before its last readings where one is wanted.
    #[expect(clippy::cast_possible_truncation, clippy::as_conversions, reason = "small numbers")]
    fn pack(&mut self, make: u16, round: bool) -> (History, Option<Case>) {
        let fresh = FRESH.0 + FRESH.1 * self.normal();
        let fade = FADE.0 * (FADE.1 * self.normal()).exp();
        // Years for each hundred cycles: age and loss are not the same.
        let pace = self.random.random_range(0.2..1.2);
        let before = self.random.random_range(3..7);
        let mut history = History { group: make, born: 0, limit: LIMIT as f32, ..History::default() };
        let (mut hundreds, mut gained, mut case) = (0.0, 0.0, None);
        for read in 0..before + 2 {
            if read > 0 {
                hundreds += self.random.random_range(0.5..1.5);
            }
            let day = (365.25 * pace * hundreds) as i32;
            if round && read == before {
                let lost = fade * hundreds - (fresh - FRESH.0);
                let years = f64::from(day) / 365.25;
                let gain = MAKES[usize::from(make)]
                    + YEAR * (years - 2.0)
                    + LOST * (lost - 200.0)
                    + ROUND * self.normal();
                let truth = fresh - fade * hundreds + gain;
                let round = When { day, cycles: 100.0 * hundreds };
                case = Some(Case { before: history.clone(), round, truth, gain });
                gained = gain;
                history.rounds.push((day, 100.0 * hundreds as f32));
            }
            let reads = fresh - fade * hundreds + gained + NOISE * self.normal();
            let rounds = u16::try_from(history.rounds.len()).unwrap();
            history
                .readings
                .push(Reading { rounds, ..Reading::bare(day, 100.0 * hundreds as f32, reads as f32) });
        }
        (history, case)
    }

    /// A fleet of so many packs of each make, of which so many had a round; and those.
    fn fleet(&mut self, packs: [usize; 2], rounds: [usize; 2]) -> (Fleet, Vec<Case>) {
        let (mut fleet, mut cases) = (Fleet::default(), Vec::new());
        for (make, (packs, rounds)) in (0..).zip(packs.into_iter().zip(rounds)) {
            for number in 0..packs {
                let (history, case) = self.pack(make, number < rounds);
                fleet.push(&history);
                cases.extend(case);
            }
        }
        (fleet, cases)
    }
}

fn learnt(fleet: &Fleet) -> Model {
    learning::learn(fleet, 2, |_| ()).unwrap()
}

/// What the lift says of a make at two years and 200 mAh lost, and what a year and 100 mAh add to that.
fn said(lift: &Lift, make: usize) -> [f64; 3] {
    let at = |years: f64, lost: f64| lift.of(make, years, lost).0;
    let level = at(2.0, 200.0);
    [level, at(3.0, 200.0) - level, at(2.0, 300.0) - level]
}

/// The fleet, had the rounds of a make brought so many mAh more.
fn lifted_more(fleet: &Fleet, make: u16, more: f32) -> Fleet {
    let mut other = Fleet::default();
    for mut history in fleet.iter().map(|pack| pack.owned()) {
        for reading in
            history.readings.iter_mut().filter(|reading| history.group == make && reading.rounds > 0)
        {
            reading.capacity += more;
        }
        other.push(&history);
    }
    other
}

/// The chance that each round brings its pack over the limit, and whether it did.
fn told(model: &Model, cases: &[Case]) -> Vec<(f64, bool)> {
    let predictor = Predictor::new(model.clone());
    let mut seen = Seen::default();
    let chance = |case: &Case| {
        predictor.see(&case.before.pack(), &mut seen);
        (1.0 - predictor.after_round(&seen, case.round).below(LIMIT), case.truth >= LIMIT)
    };
    cases.iter().map(chance).collect()
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, n) = values.fold((0.0, 0.0), |(sum, n), value| (sum + value, n + 1.0));
    sum / n
}

/// Mean log-loss.
fn loss(told: &[(f64, bool)]) -> f64 {
    let loss = |(chance, came): &(f64, bool)| -(if *came { *chance } else { 1.0 - chance }).max(1e-9).ln();
    mean(told.iter().map(loss))
}

/// The model with the best lift that is the same for every pack: mean and variance of what its rounds truly brought.
fn one_number(model: &Model, cases: &[Case]) -> Model {
    let gain = mean(cases.iter().map(|case| case.gain));
    let variance = mean(cases.iter().map(|case| (case.gain - gain).powi(2)));
    let rise = Rise { mean: [gain, 0.0, 0.0], spread: [0.0; 6], rounds: 0 };
    let mut model = model.clone();
    model.bend.lift = Lift { groups: vec![rise; 2], centre: [0.0; 2], variance, ..model.bend.lift };
    model
}

#[test]
fn what_rounds_bring_hangs_on_make_age_and_loss() {
    let mut world = World::new(5);
    let (fleet, cases) = world.fleet([700, 700], [500, 500]);
    let model = learnt(&fleet);
    let lift = &model.bend.lift;
    for (make, truth) in MAKES.into_iter().enumerate() {
        let [level, of_year, of_lost] = said(lift, make);
        assert!((level - truth).abs() < 5.0, "{level} {lift:?}");
        assert!((of_year - YEAR).abs() < 3.0 && (of_lost - 100.0 * LOST).abs() < 4.0, "{of_year} {of_lost}");
        assert_eq!(lift.rounds_of(make), 500);
    }
    assert!((lift.variance.sqrt() - ROUND).abs() < 4.0, "{}", lift.variance.sqrt());

    // Rounds that it did not learn from.
    let (_, held_out) = world.fleet([1000, 1000], [1000, 1000]);
    let ours = told(&model, &held_out);
    let one = told(&one_number(&model, &cases), &held_out);
    assert!(loss(&ours) < 0.7 * loss(&one), "{} {}", loss(&ours), loss(&one));
    let came = |told: &[(f64, bool)]| told.iter().map(|(_, came)| f64::from(u8::from(*came))).sum::<f64>();
    assert!((0.2..0.8).contains(&(came(&ours) / 2000.0)), "both must happen");
    // Of all to whom about the same chance was told, about as many were lifted; four standard errors.
    for low in [0.0, 0.2, 0.4, 0.6, 0.8] {
        let like: Vec<_> = ours.iter().copied().filter(|(p, _)| (low..low + 0.2).contains(p)).collect();
        let expected: f64 = like.iter().map(|(p, _)| p).sum();
        let variance: f64 = like.iter().map(|(p, _)| p * (1.0 - p)).sum();
        assert!(
            like.len() > 50 && (came(&like) - expected).abs() < 4.0 * variance.sqrt(),
            "{low} {expected}"
        );
    }
    // Nor does either make get more or less than it is told.
    for make in 0..2 {
        let of_make = |told: &[(f64, bool)]| {
            told.iter()
                .zip(&held_out)
                .filter(|(_, case)| case.before.group == make)
                .map(|(told, _)| *told)
                .collect()
        };
        let (ours, one): (Vec<_>, Vec<_>) = (of_make(&ours), of_make(&one));
        let off = |told: &[(f64, bool)]| told.iter().map(|(p, _)| p).sum::<f64>() - came(told);
        assert!(off(&ours).abs() < 30.0 && off(&one).abs() > 60.0, "{} {}", off(&ours), off(&one));
    }
}

#[test]
fn few_rounds_lean_on_the_fleet_and_none_are_the_prior() {
    let mut world = World::new(6);
    // Three rounds of a make beside many of another: the less they are, the less what came of them moves what is said of the make.
    let (fleet, _) = world.fleet([300, 150], [200, 3]);
    let lift = learnt(&fleet).bend.lift;
    let moves = |make: u16| {
        let moved = learnt(&lifted_more(&fleet, make, 40.0)).bend.lift;
        (said(&moved, make.into())[0] - said(&lift, make.into())[0]) / 40.0
    };
    let (many, three) = (moves(0), moves(1));
    assert!(many > 0.99 && (0.4..0.95).contains(&three), "{many} {three}");
    assert_eq!((lift.rounds_of(0), lift.rounds_of(1)), (200, 3));
    // What is not known of it stays wide.
    assert!(lift.groups[1].spread[0] > 4.0 * lift.groups[0].spread[0], "{lift:?}");

    // Three rounds of the whole fleet: a mean, and hardly a word on age or loss.
    let (fleet, _) = world.fleet([150, 150], [3, 0]);
    let lift = learnt(&fleet).bend.lift;
    let [level, of_year, of_lost] = said(&lift, 0);
    let [other, ..] = said(&lift, 1);
    assert!((30.0..110.0).contains(&level) && (10.0..level).contains(&other), "{level} {other}");
    assert!(of_year.abs() < 6.0 && of_lost.abs() < 7.5, "{of_year} {of_lost}");
    assert_eq!((lift.rounds_of(0), lift.rounds_of(1), lift.rounds), (3, 0, 3));

    // None: nothing, more or less by six hundredths of what a pack holds when new.
    let (fleet, _) = world.fleet([150, 150], [0, 0]);
    let lift = learnt(&fleet).bend.lift;
    let (mean, variance) = lift.of(0, 3.0, 100.0);
    assert!(mean.abs() < 1e-9 && (variance.sqrt() - 60.0).abs() < 2.0 && lift.rounds == 0, "{lift:?}");
}

/// A lot with lines of its own leans on its make, not on the whole fleet.
#[test]
fn a_lot_without_rounds_leans_on_its_make() {
    let mut world = World::new(7);
    let (mut fleet, _) = world.fleet([300, 300], [200, 200]);
    for _ in 0..60 {
        let (history, _) = world.pack(1, false);
        fleet.push(&History { group: 2, ..history });
    }
    fleet.set_makes(vec![0, 1, 1]);
    let lift = learnt(&fleet).bend.lift;
    let [own, ..] = said(&lift, 1);
    let [lot, ..] = said(&lift, 2);
    assert!((own - lot).abs() < 1.0 && (own - MAKES[1]).abs() < 8.0, "{own} {lot}");
    assert!(lift.groups[2].spread[0] > lift.groups[1].spread[0] && lift.rounds_of(2) == 200, "{lift:?}");
}

/// A gross error after a round moves a rare make by little.
#[test]
fn one_gross_error_is_not_what_a_round_brings() {
    let lift = |wrong: f32| {
        let (mut fleet, mut known) = (Fleet::default(), 0);
        let (all, _) = World::new(8).fleet([200, 60], [100, 12]);
        for mut history in all.iter().map(|pack| pack.owned()) {
            if history.group == 1 && !history.rounds.is_empty() {
                known += 1;
                if known == 6 {
                    let after = history.readings.iter().position(|reading| reading.rounds > 0).unwrap();
                    history.readings[after].capacity += wrong;
                }
            }
            fleet.push(&history);
        }
        said(&learnt(&fleet).bend.lift, 1)[0]
    };
    let (right, wrong) = (lift(0.0), lift(-600.0));
    assert!((right - wrong).abs() < 8.0, "{right} {wrong}");
}
