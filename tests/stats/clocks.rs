//! What fade goes by is chosen for each make: on fleets of two makes whose truth is known.
#![expect(clippy::cast_possible_truncation, clippy::as_conversions, reason = "small numbers")]

use packmuster::stats::fade::clock::{Clock, Measure};
use packmuster::stats::fade::fleet::{Fleet, History, Reading};
use packmuster::stats::fade::learning;
use packmuster::stats::fade::model::{Model, Predictor, Seen, When};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha12Rng;

/// Packs of each make.
const PACKS: usize = 900;

/// How a make fades: mAh after cycles and years.
type Fade = fn(f64, f64) -> f64;

const BY_USE: Fade = |cycles, _years| 0.9 * cycles;
const BY_AGE: Fade = |_cycles, years| 120.0 * years.sqrt();

/// A fleet of two makes, all readings of which are off by 12 mAh; use and age are far from going together.
fn fleet(makes: [Fade; 2], seed: u64) -> Vec<(History, Fade)> {
    let mut random = ChaCha12Rng::seed_from_u64(seed);
    let mut packs = Vec::new();
    for pack in 0..2 * PACKS {
        let group = pack % 2;
        let pace = random.random_range(20.0..160.0_f64);
        let (level, own) = (1_080.0 + 20.0 * normal(&mut random), 1.0 + 0.2 * normal(&mut random));
        let born = random.random_range(0..800);
        let mut days = 0;
        let mut readings = Vec::new();
        for _ in 0..random.random_range(4..9) {
            days += random.random_range(60..260);
            let years = f64::from(days) / 365.25;
            let cycles = pace * years;
            let capacity = level - own * makes[group](cycles, years) + 12.0 * normal(&mut random);
            readings.push(Reading {
                slot: random.random_range(0..6),
                ..Reading::bare(born + days, cycles as f32, capacity as f32)
            });
        }
        let group = u16::try_from(group).unwrap();
        let history = History { group, born, limit: 700.0, readings, rounds: Vec::new() };
        packs.push((history, makes[usize::from(group)]));
    }
    packs
}

/// A number of the standard normal distribution (Box and Muller, Annals of Mathematical Statistics 29, 1958).
fn normal(random: &mut ChaCha12Rng) -> f64 {
    let (one, other) = (random.random_range(f64::EPSILON..1.0), random.random_range(0.0..1.0_f64));
    (-2.0 * one.ln()).sqrt() * (std::f64::consts::TAU * other).cos()
}

/// The mean of how far a make's last readings are from what was expected before them, mAh.
fn off(model: &Model, packs: &[(History, Fade)], group: u16) -> f64 {
    let predictor = Predictor::new(model.clone());
    let mut seen = Seen::default();
    let offs: Vec<f64> = packs
        .iter()
        .filter(|(pack, _)| pack.group == group)
        .map(|(pack, _)| {
            let last = pack.readings.last().unwrap();
            predictor.see(&pack.pack().up_to(pack.readings.len() - 1), &mut seen);
            let when = When { day: last.day, cycles: f64::from(last.cycles) };
            (predictor.outlook(&seen, when).mean() - f64::from(last.capacity)).abs()
        })
        .collect();
    offs.iter().sum::<f64>() / offs.len() as f64
}

/// All but each pack's last reading.
fn known(packs: &[(History, Fade)]) -> Fleet {
    let mut fleet = Fleet::default();
    for (pack, _) in packs {
        fleet.push(&pack.pack().up_to(pack.readings.len() - 1).owned());
    }
    fleet
}

#[test]
fn a_make_that_goes_by_age_does_so_beside_one_that_goes_by_use() {
    let packs = fleet([BY_USE, BY_AGE], 1);
    let model = learning::learn(&known(&packs), 2, |_| ()).unwrap();
    let of = |group: u16| model.clocks.of(group);
    assert_eq!(of(0), Clock::CYCLES, "{:?}", model.clocks);
    assert_eq!((of(1).measure, of(1).power), (Measure::Age, 0.5), "{:?}", model.clocks);
    // One clock for both foretells one of them worse.
    let straight = learning::straight(&known(&packs), 2).unwrap();
    let (own, shared) = (off(&model, &packs, 1), off(&straight, &packs, 1));
    assert!(own < 0.8 * shared, "{own:.1} mAh against {shared:.1}");
    // Readings are off by 12 mAh, whose mean without a sign is 9.6.
    assert!(own < 16.0 && off(&model, &packs, 0) < 16.0, "{own:.1} mAh");
    // It is kept, and read again.
    let text = serde_json::to_string(&model).unwrap();
    assert_eq!(serde_json::from_str::<Model>(&text).unwrap().clocks.of(1), model.clocks.of(1));
}

#[test]
fn makes_that_go_by_one_clock_share_it() {
    for (seed, fade) in [(2, BY_USE), (3, BY_AGE)] {
        let model = learning::learn(&known(&fleet([fade, fade], seed)), 2, |_| ()).unwrap();
        assert!(model.clocks.own.is_empty(), "{:?}", model.clocks);
        let expected = if seed == 2 { Measure::Cycles } else { Measure::Age };
        assert_eq!(model.clocks.base.measure, expected);
    }
}

/// One pack of a make of its own, and one of a make that nobody read twice: the others' model does not suffer, and they have one.
#[test]
fn a_make_of_one_pack_spoils_nothing() {
    let packs = fleet([BY_USE, BY_USE], 4);
    let whole = learning::learn(&known(&packs), 2, |_| ()).unwrap();
    // Groups 0 and 3 are the thin ones, so that the lines of all others have other numbers than their groups.
    let mut thin = Fleet::default();
    let lone = |group: u16, readings: u16| {
        let reading =
            |k: u16| Reading::bare(100 * i32::from(k), 30.0 * f32::from(k), 2_000.0 - 40.0 * f32::from(k));
        let readings = (1..=readings).map(reading).collect();
        History { group, born: 0, limit: 1_300.0, readings, rounds: Vec::new() }
    };
    thin.push(&lone(0, 4));
    for (pack, _) in &packs {
        let known = pack.pack().up_to(pack.readings.len() - 1).owned();
        thin.push(&History { group: pack.group + 1, ..known });
    }
    thin.push(&lone(3, 1));
    let model = learning::learn(&thin, 2, |_| ()).unwrap();
    let moved: Vec<(History, Fade)> =
        packs.iter().map(|(pack, fade)| (History { group: pack.group + 1, ..pack.clone() }, *fade)).collect();
    for group in [0, 1] {
        let (alone, beside) = (off(&whole, &packs, group), off(&model, &moved, group + 1));
        assert!((alone - beside).abs() < 0.1, "{alone:.2} and {beside:.2} mAh");
    }
    // They stand where they were read, and fade as their like do: by about as large a share.
    let predictor = Predictor::new(model);
    let mut seen = Seen::default();
    for (group, readings, last) in [(0, 4, 1_840.0), (3, 1, 1_960.0)] {
        let pack = lone(group, readings);
        predictor.see(&pack.pack(), &mut seen);
        let at = |cycles: f64| predictor.outlook(&seen, When { day: 100, cycles }).mean();
        let now = at(30.0 * f64::from(readings));
        assert!((now - last).abs() < 40.0, "{now:.0} mAh");
        let later = at(30.0 * f64::from(readings) + 100.0);
        assert!((80.0..280.0).contains(&(now - later)), "{now:.0} and {later:.0} mAh");
    }
}
