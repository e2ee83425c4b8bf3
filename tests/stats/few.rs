//! Forecasts from a few packs: against a reference computation of the same likelihood, against what real cells did, and against
//! what the model itself would do.
//!
//! The cells are B0005, B0006, B0007 and B0018 of the NASA Ames Prognostics Center of Excellence battery data set (Saha and Goebel,
//! 2007): capacities in Ah, one for each discharge.

#![expect(clippy::print_stdout, reason = "what was foretold is shown to whoever runs the tests by hand")]

use std::f64::consts::TAU;
use std::time::Instant;

use packmuster::stats::fade::few::{
    Ask, FewError, Foresight, Level, Parameters, Past, Reading, Whose, foresee,
};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;

const CELLS: [&str; 4] = ["B0005", "B0006", "B0007", "B0018"];
const LIMIT_AH: f64 = 1.4;

fn cells() -> [Vec<Reading>; 4] {
    CELLS.map(|cell| {
        include_str!("data/nasa_capacity_4.csv")
            .lines()
            .filter(|line| line.starts_with(cell))
            .map(|line| {
                let fields: Vec<_> = line.split(',').collect();
                Reading { clock: fields[1].parse().unwrap(), capacity: fields[5].parse().unwrap() }
            })
            .collect()
    })
}

/// The other cells' whole records, and the first half of one.
fn halved(cell: usize) -> (Vec<Vec<Reading>>, Vec<Reading>) {
    let mut learners = cells().to_vec();
    let mut target = learners.remove(cell);
    target.truncate(target.len() / 2);
    (learners, target)
}

/// Every discharge from the last one known to three times the whole record.
fn every_discharge(cell: usize, limit: f64) -> Ask {
    let whole = cells()[cell].len();
    let clocks = (whole / 2 + 1..=3 * whole).map(|clock| f64::from(u32::try_from(clock).unwrap())).collect();
    Ask { limit, clocks, within: 0.8 }
}

fn seeded(seed: u64) -> ChaCha12Rng {
    ChaCha12Rng::seed_from_u64(seed)
}

fn forecast(cell: usize, seed: u64) -> Foresight {
    let (learners, target) = halved(cell);
    foresee(&learners, &target, &every_discharge(cell, LIMIT_AH), &mut seeded(seed)).unwrap()
}

#[track_caller]
fn near(what: &str, seen: f64, expected: f64, within: f64) {
    assert!((seen - expected).abs() <= within, "{what}: {seen}, expected {expected} within {within}");
}

/// Reference: the same model in Python with numpy, each cell's first half with the others whole.
#[test]
fn the_likelihood_is_that_of_the_reference() {
    let parameters = Parameters {
        noise: 0.005,
        levels: 0.07,
        slopes: 0.16,
        together: -0.4,
        power: 0.9,
        wander: 0.04,
        memory: 12.0,
    };
    let reference = [
        (1_446.595_954, -1_445.394_706, 1.913_424_45, [0.753_108, 1.487_067, 0.738_715, 1.0]),
        (1_460.067_519, -1_458.892_244, 1.854_788_09, [1.974_574, 1.0, 0.980_889, 1.327_831]),
        (1_447.922_872, -1_446.721_625, 1.899_790_99, [f64::NAN; 4]),
        (1_473.190_598, -1_472.015_323, 1.913_884_19, [1.587_56, 0.944_123, 2.438_038, 1.0]),
    ];
    for (cell, (likelihood, objective, start, rates)) in reference.into_iter().enumerate() {
        let (learners, target) = halved(cell);
        let past = Past::new(&learners, &target).unwrap();
        assert_eq!((past.learners, past.left_out), (3, 0), "no reading of the cells is a gross error");
        // The reference takes ln(2 pi) / 2 as 0.9189385, which is 3.3e-8 off for each of up to 588 readings.
        near("log likelihood", past.log_likelihood(&parameters).unwrap(), likelihood, 3e-5);
        near("objective", past.objective(&parameters).unwrap(), objective, 3e-5);
        near("start", past.start, start, 1e-8);
        near("whole", past.whole, 168.0, 0.0);
        near("step", past.step, 1.0, 0.0);
        // The reference has rates in the order of the cells; ours begin with the target's.
        for (seen, expected) in past.rates.iter().zip(rates).filter(|(_, expected)| !expected.is_nan()) {
            near("rate", *seen, expected, 1e-6);
        }
    }
    let fade = |cell| {
        let (learners, target) = halved(cell);
        Past::new(&learners, &target).unwrap().fade
    };
    near("fade", fade(0), 0.659_592_15, 1e-8);
    near("fade", fade(1), 0.649_591_23, 1e-8);
}

/// The clock at which the straight line through the readings is below a limit.
fn straight_line(readings: &[Reading], limit: f64) -> f64 {
    let number = f64::from(u32::try_from(readings.len()).unwrap());
    let mean = |value: &dyn Fn(&Reading) -> f64| readings.iter().map(value).sum::<f64>() / number;
    let (x, y) = (mean(&|reading| reading.clock), mean(&|reading| reading.capacity));
    let slope = mean(&|reading| (reading.clock - x) * (reading.capacity - y))
        / mean(&|reading| (reading.clock - x).powi(2));
    x + (limit - y) / slope
}

#[test]
fn halves_of_real_cells_foretell_the_rest() {
    let (mut errors, mut line_errors) = (vec![], vec![]);
    for cell in 0..4 {
        let whole = &cells()[cell];
        let truth = whole.iter().find(|reading| reading.capacity < LIMIT_AH).map(|reading| reading.clock);
        assert_eq!(truth, [Some(125.0), Some(109.0), None, Some(97.0)][cell]);
        let began = Instant::now();
        let seen = forecast(cell, 1);
        let took = began.elapsed();
        let [low, median, high] =
            [0.1, 0.5, 0.9].map(|share| seen.first_below(share).unwrap_or(f64::INFINITY));
        let line = straight_line(&halved(cell).1, LIMIT_AH);
        let end = whole.last().unwrap().clock;
        let fails = seen.chance_by(end).unwrap();
        println!(
            "{} true {truth:?} median {median} [{low}, {high}] by {end}: {fails:.3} line {line} {took:.0?}",
            CELLS[cell]
        );
        if let Some(truth) = truth {
            assert!(low <= truth && truth <= high, "{}: {truth} is not in [{low}, {high}]", CELLS[cell]);
            errors.push((median - truth).abs());
            line_errors.push((line - truth).abs());
        } else {
            assert!(high > end, "{}: all but certain to fail by {high}", CELLS[cell]);
            assert!(fails < 0.95, "{}: {fails}", CELLS[cell]);
        }
        // What it then truly had, judged by what was read.
        let later = |level: &&Level| level.clock <= end;
        let inside =
            seen.levels.iter().filter(later).zip(&whole[whole.len() / 2..]).filter(|(level, reading)| {
                assert!(level.low < level.median && level.median < level.high);
                level.low <= reading.capacity && reading.capacity <= level.high
            });
        println!(
            "    readings within the 80 % limits: {} of {}",
            inside.count(),
            whole.len() - whole.len() / 2
        );
    }
    let sum = |errors: &[f64]| errors.iter().sum::<f64>();
    println!("errors {errors:?}, of the straight line {line_errors:?}");
    for (seen, expected) in line_errors.iter().zip([14.0, 16.0, 6.0]) {
        near("error of the straight line", *seen, expected, 1.0);
    }
    assert!(sum(&errors) < sum(&line_errors), "{errors:?}");
}

#[test]
fn chances_grow_and_agree_with_quantiles() {
    let seen = forecast(3, 7);
    assert_eq!(seen.draws(), 5_000);
    let chances: Vec<_> = seen.levels.iter().map(|level| seen.chance_by(level.clock).unwrap()).collect();
    assert!(chances.is_sorted());
    let median = seen.first_below(0.5).unwrap();
    assert!(seen.chance_by(median).unwrap() >= 0.5 && seen.chance_by(median - 1.0).unwrap() <= 0.5);
    for (level, chance) in seen.levels.iter().zip(chances) {
        assert!((level.below > 0.5) == (level.median < LIMIT_AH), "{level:?}");
        assert!((level.below > 0.9) == (level.high < LIMIT_AH), "{level:?}");
        assert!(
            level.below <= chance + 0.02,
            "who is below now has mostly read so by now: {level:?}, {chance}"
        );
    }
    let horizon = seen.levels.last().unwrap().clock;
    assert_eq!(seen.chance_by(horizon + 1.0), None);
    assert_eq!((seen.first_below(1.5), seen.chance_by(0.0)), (None, Some(0.0)));
    let never = foresee(&halved(3).0, &halved(3).1, &every_discharge(3, -1e3), &mut seeded(7)).unwrap();
    assert_eq!((never.first_below(0.1), never.chance_by(horizon)), (None, Some(0.0)));
}

#[test]
fn the_same_seed_gives_the_same_answer() {
    let one = forecast(0, 3);
    assert_eq!(one, forecast(0, 3));
    let other = forecast(0, 4);
    assert_ne!(one, other);
    near("another seed's median", other.first_below(0.5).unwrap(), one.first_below(0.5).unwrap(), 3.0);
}

#[test]
fn units_do_not_matter() {
    let (learners, target) = halved(3);
    let ask = every_discharge(3, LIMIT_AH);
    let one = foresee(&learners, &target, &ask, &mut seeded(5)).unwrap();
    // mAh, and a clock of two hours for each discharge.
    let turned = |readings: &[Reading]| -> Vec<_> {
        readings.iter().map(|r| Reading { clock: 2.0 * r.clock, capacity: 1e3 * r.capacity }).collect()
    };
    let learners: Vec<_> = learners.iter().map(|learner| turned(learner)).collect();
    let clocks = ask.clocks.iter().map(|clock| 2.0 * clock).collect();
    let ask = Ask { limit: 1e3 * ask.limit, clocks, ..ask };
    let other = foresee(&learners, &turned(&target), &ask, &mut seeded(5)).unwrap();
    for share in [0.1, 0.25, 0.5, 0.75, 0.9] {
        let (one, other) = (one.first_below(share).unwrap(), other.first_below(share).unwrap());
        near("clock", other / 2.0, one, 1.0);
    }
    for (one, other) in one.levels.iter().zip(&other.levels).take(50) {
        near("level", other.median / 1e3, one.median, 1e-3);
        near("chance", other.below, one.below, 0.01);
    }
}

#[test]
fn gross_errors_are_left_out_and_counted() {
    let ask = every_discharge(0, LIMIT_AH);
    let (mut learners, mut target) = halved(0);
    let broken = [(0, 0.2), (1, 0.0), (40, 1.0), (83, 2.5)];
    let is_whole = |place: usize| broken.iter().all(|&(at, _)| at != place);
    let clean: Vec<_> =
        (0..target.len()).filter(|&place| is_whole(place)).map(|place| target[place]).collect();
    let without =
        learners.iter().map(|learner| [&learner[..60], &learner[61..]].concat()).collect::<Vec<_>>();
    let mut expected = foresee(&without, &clean, &ask, &mut seeded(2)).unwrap();
    for (place, capacity) in broken {
        target[place].capacity = capacity;
    }
    for learner in &mut learners {
        learner[60].capacity *= 0.88;
    }
    let seen = foresee(&learners, &target, &ask, &mut seeded(2)).unwrap();
    assert_eq!((expected.left_out, seen.left_out), (0, 7));
    expected.left_out = 7;
    assert_eq!(seen, expected);
}

/// What will be: a pack's true levels and first reading below the limit, at clocks of every `step` or so.
struct Simulated {
    known: Vec<Reading>,
    clocks: Vec<f64>,
    levels: Vec<f64>,
    first_below: Option<f64>,
}

const WHOLE: f64 = 400.0;
const LIMIT_MAH: f64 = 2_150.0;

fn normal(random: &mut ChaCha12Rng) -> f64 {
    (-2.0 * random.random::<f64>().ln()).sqrt() * (TAU * random.random::<f64>()).cos()
}

/// A pack of the model: it begins near 2,600 mAh, loses about 500 over a whole record, wanders by 25 and is read with an error of 6
/// at uneven clocks. Levels and slopes of packs have spreads, 50 and 120 mAh.
fn simulated(known: usize, ahead: usize, random: &mut ChaCha12Rng) -> Simulated {
    spread_out([50.0, 120.0], known, ahead, random)
}

fn spread_out([levels, slopes]: [f64; 2], known: usize, ahead: usize, random: &mut ChaCha12Rng) -> Simulated {
    let (level, slope) = (2_600.0 + levels * normal(random), -500.0 - slopes * normal(random));
    let (mut clock, mut wandering) = (0.0, 25.0 * normal(random));
    let mut pack = Simulated { known: vec![], clocks: vec![], levels: vec![], first_below: None };
    for place in 0..known + ahead {
        let step: f64 = random.random_range(4.0..12.0);
        clock += step;
        let kept = (-step / 40.0_f64).exp();
        wandering = kept * wandering + 25.0 * (1.0 - kept * kept).sqrt() * normal(random);
        let truth = level + slope * (clock / WHOLE).powf(1.2) + wandering;
        let capacity = truth + 6.0 * normal(random);
        if place < known {
            pack.known.push(Reading { clock, capacity });
        } else {
            pack.clocks.push(clock);
            pack.levels.push(truth);
            if capacity < LIMIT_MAH && pack.first_below.is_none() {
                pack.first_below = Some(clock);
            }
        }
    }
    pack
}

/// With 40 cases, four in five within the limits is 32, give or take 2.5.
#[test]
fn intervals_hold_what_they_promise_on_packs_of_the_model() {
    let mut random = seeded(11);
    let (mut first_inside, mut level_inside, mut brier, mut dull) = (0, 0, 0.0, 0.0);
    let cases = 40;
    for _ in 0..cases {
        let learners: Vec<_> = (0..3).map(|_| simulated(50, 0, &mut random).known).collect();
        let pack = simulated(22, 60, &mut random);
        let ask = Ask { limit: LIMIT_MAH, clocks: pack.clocks.clone(), within: 0.8 };
        let seen = foresee(&learners, &pack.known, &ask, &mut random).unwrap();
        let [low, high] = [0.1, 0.9].map(|share| seen.first_below(share).unwrap_or(f64::INFINITY));
        let truth = pack.first_below.unwrap_or(f64::INFINITY);
        first_inside += usize::from(low <= truth && truth <= high);
        let (level, then) = (&seen.levels[25], pack.levels[25]);
        level_inside += usize::from(level.low <= then && then <= level.high);
        let failed = f64::from(u8::from(then < LIMIT_MAH));
        brier += (level.below - failed).powi(2);
        dull += (0.5 - failed).powi(2);
    }
    println!(
        "of {cases}: first below {first_inside}, level {level_inside}; Brier {brier:.2} against {dull:.2}"
    );
    assert!((25..=39).contains(&first_inside), "{first_inside}");
    assert!((25..=39).contains(&level_inside), "{level_inside}");
    assert!(brier < 0.6 * dull, "chances say something: {brier} against {dull}");
}

/// Packs of one line that was seen often: what is not known of a level is the wandering, little at first and then all of it, and
/// 80 % of it is within 1.2816 of its standard deviation.
#[test]
fn wandering_is_forgotten_and_comes_back() {
    let mut random = seeded(5);
    let learners: Vec<_> = (0..3).map(|_| spread_out([0.0; 2], 150, 0, &mut random).known).collect();
    let target = spread_out([0.0; 2], 100, 0, &mut random).known;
    let last = target.last().unwrap().clock;
    let ask = Ask { limit: 0.0, clocks: vec![last + 0.1, last + 8.0, last + 200.0], within: 0.8 };
    let seen = foresee(&learners, &target, &ask, &mut random).unwrap();
    let halves: Vec<_> = seen.levels.iter().map(|level| 0.5 * (level.high - level.low)).collect();
    println!("half widths just after the last reading, a step later and long after: {halves:.1?}");
    assert!(halves[0] < 1.2816 * 6.0, "no more than a reading's own error: {halves:?}");
    // A step of 8 with a memory of 40 brings sqrt(1 - exp(-0.4)) = 0.574 of the wandering back, beside what a reading leaves open.
    near("a step later", halves[1], 1.2816 * (0.574_f64 * 25.0).hypot(5.0), 4.0);
    assert!((0.85..1.5).contains(&(halves[2] / (1.2816 * 25.0))), "{halves:?}");
}

#[test]
fn what_cannot_be_foreseen_is_an_error_that_says_why() {
    let (learners, target) = halved(0);
    let ask = every_discharge(0, LIMIT_AH);
    let fails = |learners: &[Vec<Reading>], target: &[Reading], ask: &Ask| {
        foresee(learners, target, ask, &mut seeded(1)).unwrap_err()
    };
    assert_eq!(fails(&[], &target, &ask), FewError::NoLearner { given: 0 });
    assert_eq!(fails(&[learners[0][..7].to_vec()], &target, &ask), FewError::NoLearner { given: 1 });
    let still = vec![Reading { clock: 3.0, capacity: 1.8 }; 20];
    assert_eq!(fails(&[still], &target, &ask), FewError::NoLearner { given: 1 });
    let few = fails(&learners, &target[..7], &ask);
    assert_eq!(few, FewError::FewReadings { readings: 7 });
    assert_eq!(few.to_string(), "not enough data: the pack has 7 good readings, and 8 are needed");
    assert!(foresee(&learners, &target[..8], &ask, &mut seeded(1)).is_ok());

    for (clock, capacity) in
        [(41.0, f64::NAN), (41.0, f64::INFINITY), (41.0, -0.1), (f64::NAN, 1.8), (-1.0, 1.8)]
    {
        let mut wrong = target.clone();
        wrong[40] = Reading { clock, capacity };
        let error = fails(&learners, &wrong, &ask);
        assert!(matches!(error, FewError::NotANumber { whose: Whose::Target, place: 40, .. }), "{error}");
    }
    let mut turned = learners.clone();
    turned[1].swap(4, 5);
    let error = fails(&turned, &target, &ask);
    assert_eq!(error, FewError::OutOfOrder { whose: Whose::Learner(1), place: 5, clock: 5.0, before: 6.0 });
    assert_eq!(error.to_string(), "reading 6 of learner 2 is out of order: clock 5 after 6");

    let limit = f64::NAN;
    assert!(matches!(fails(&learners, &target, &Ask { limit, ..ask.clone() }), FewError::NoQuestion { .. }));
    let wide = Ask { within: 1.0, ..ask.clone() };
    assert_eq!(fails(&learners, &target, &wide), FewError::NoQuestion { value: 1.0 });
    for clocks in [vec![], vec![84.0], vec![86.0, 86.0], vec![f64::NAN]] {
        let error = fails(&learners, &target, &Ask { clocks, ..ask.clone() });
        assert!(matches!(error, FewError::NoHorizon { .. }), "{error}");
    }
}

/// A learner that was read too seldom is left out, and the others still teach; equal clocks and capacities do no harm.
#[test]
fn odd_series_are_borne() {
    let (mut learners, target) = halved(2);
    let ask = every_discharge(2, LIMIT_AH);
    learners.push(learners[0][..5].to_vec());
    assert_eq!(foresee(&learners, &target, &ask, &mut seeded(1)).unwrap().learners, 3);
    let flat: Vec<_> = (0..30).map(|day| Reading { clock: f64::from(day / 2), capacity: 2_000.0 }).collect();
    let clocks = vec![20.0, 40.0];
    let seen = foresee(
        std::slice::from_ref(&flat),
        &flat,
        &Ask { limit: 1_000.0, clocks, within: 0.8 },
        &mut seeded(1),
    )
    .unwrap();
    assert!(seen.levels.iter().all(|level| level.low < 2_000.0 && level.high > 1_900.0), "{:?}", seen.levels);
    assert!(seen.levels[1].below < 0.05);
    let still = vec![Reading { clock: 7.0, capacity: 1_990.0 }; 12];
    let ask = Ask { limit: 1_000.0, clocks: vec![8.0], within: 0.8 };
    let seen = foresee(&[flat], &still, &ask, &mut seeded(1)).unwrap();
    near("a clock that stands still", seen.levels[0].median, 1_990.0, 5.0);
}
