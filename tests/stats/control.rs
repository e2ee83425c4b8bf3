//! Control charts and their run lengths against handbooks, tables and exact identities, and slots of a simulated bench.

use std::f64::consts::TAU;

use packmuster::stats::control::arl;
use packmuster::stats::control::cusum::{Cusum, CusumPoint, Side};
use packmuster::stats::control::error::ControlError;
use packmuster::stats::control::ewma::Ewma;
use packmuster::stats::control::laws;
use packmuster::stats::control::slots::bias::{Bias, SlotReading, Spread};
use packmuster::stats::control::slots::watch::{SlotRules, SlotWatch, Standing, Verdict};
use packmuster::stats::normal;
use proptest::prelude::{any, prop, prop_assert, prop_assert_eq, proptest};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

fn near(what: &str, got: f64, expected: f64, tolerance: f64) {
    assert!((got - expected).abs() <= tolerance, "{what}: {got} for {expected}");
}

fn relative(what: &str, got: f64, expected: f64, tolerance: f64) {
    near(what, got / expected, 1.0, tolerance);
}

fn all_near(what: &str, got: impl IntoIterator<Item = f64>, expected: &[f64], tolerance: f64) {
    let got: Vec<f64> = got.into_iter().collect();
    assert_eq!(got.len(), expected.len(), "{what}");
    for (place, (got, expected)) in got.iter().zip(expected).enumerate() {
        near(&format!("{what} {place}"), *got, *expected, tolerance);
    }
}

/// Standard normal draws by Box and Muller.
fn gauss(rng: &mut ChaCha8Rng) -> f64 {
    let (one, other) = (1.0 - rng.random::<f64>(), rng.random::<f64>());
    (-2.0 * one.ln()).sqrt() * (TAU * other).cos()
}

/// NIST/SEMATECH e-Handbook 6.3.2.4 (seen in public copies): the averages as printed, and limits of the long run. It prints 47.4115 for
/// the lower one, cut and not rounded.
#[test]
fn the_handbooks_ewma() {
    let readings = [
        52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6,
        52.4, 53.6, 52.1,
    ];
    let printed = [
        50.6, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05,
        49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
    ];
    let chart = Ewma::new(50.0, 2.0539, 0.3, 3.0).unwrap();
    let points = chart.run(&readings).unwrap();
    all_near("average", points.iter().map(|point| point.value), &printed, 0.0051);
    let limits = chart.limits_at_last();
    near("upper", limits.high, 52.5884, 0.0001);
    near("lower", limits.low, 47.4115, 0.0001);
    // The same by hand: 3 * 2.0539 * sqrt(0.3 / 1.7).
    near("upper", limits.high, 52.588_431_738, 1e-8);
    assert!(points.iter().all(|point| !point.out && point.value > limits.low && point.value < limits.high));
}

/// NIST/SEMATECH e-Handbook 6.3.2.3 (seen in a public copy): sums in the unit of the readings, the first signal at group 14.
#[test]
fn the_handbooks_cusum() {
    let readings = [
        324.925, 324.675, 324.725, 324.35, 325.35, 325.225, 324.125, 324.525, 325.225, 324.6, 324.625,
        325.15, 328.325, 327.25, 327.825, 328.5, 326.675, 327.775, 326.875, 328.35,
    ];
    let high = [
        0.0, 0.0, 0.0, 0.0, 0.0325, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 3.0075, 4.94, 7.4475, 10.63, 11.9875,
        14.445, 16.0025, 19.035,
    ];
    let low = [
        0.0, 0.0075, 0.0, 0.3325, 0.0, 0.0, 0.5575, 0.715, 0.1725, 0.255, 0.3125, 0.0, 0.0, 0.0, 0.0, 0.0,
        0.0, 0.0, 0.0, 0.0,
    ];
    let raw = Cusum::new(0.3175, 4.1959).unwrap().run_raw(325.0, &readings).unwrap();
    all_near("high", raw.iter().map(|point| point.high), &high, 1e-9);
    all_near("low", raw.iter().map(|point| point.low), &low, 1e-9);
    assert_eq!(raw.iter().position(|point| point.signal.is_some()), Some(13));
    // Since the thirteenth group, by k + C / N: half a unit more than 4.94 / 2.
    let signal = raw[13].signal.unwrap();
    assert_eq!((signal.side, signal.since), (Side::Up, 12));
    near("size", signal.size, 0.3175 + 4.94 / 2.0, 1e-9);
    // Standardised with the handbook's sigma of the mean, 0.635, it is the same chart with k = 0.5.
    let z: Vec<f64> = readings.iter().map(|reading| (reading - 325.0) / 0.635).collect();
    let scaled = Cusum::new(0.5, 4.1959 / 0.635).unwrap().run(&z).unwrap();
    for (one, other) in scaled.iter().zip(&raw) {
        near("high", one.high * 0.635, other.high, 1e-9);
        assert_eq!(one.signal.is_some(), other.signal.is_some());
    }
}

const MONTGOMERY: [f64; 30] = [
    9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.2, 10.34, 9.03, 11.47, 10.51, 9.4, 10.08, 9.37,
    10.62, 10.31, 8.52, 10.84, 10.9, 9.33, 12.29, 11.5, 10.6, 11.08, 10.38, 11.62, 11.31, 10.52,
];

/// Montgomery, "Introduction to Statistical Quality Control", tables 9.1 and 9.2 (seen in a public copy): target 10, K 0.5, H 5.
#[test]
fn montgomerys_cusum() {
    let upper = [
        0.0, 0.0, 0.0, 1.16, 2.82, 2.5, 0.04, 1.0, 0.0, 0.0, 0.0, 0.97, 0.98, 0.0, 0.0, 0.0, 0.12, 0.0, 0.0,
        0.34, 0.74, 0.0, 1.79, 2.79, 2.89, 3.47, 3.35, 4.47, 5.28, 5.3,
    ];
    let points = Cusum::new(0.5, 5.0).unwrap().run_raw(10.0, &MONTGOMERY).unwrap();
    all_near("C+", points.iter().map(|point| point.high), &upper, 1e-9);
    assert_eq!(points.iter().position(|point| point.signal.is_some()), Some(28));
    // He counts seven periods up to the 29th, so since the 23rd (from memory), and a shift of 0.5 + 5.28 / 7.
    let signal = points[28].signal.unwrap();
    assert_eq!((signal.side, signal.since), (Side::Up, 22));
    near("size", signal.size, 0.5 + 5.28 / 7.0, 1e-9);
    near("size", signal.size, MONTGOMERY[22..29].iter().sum::<f64>() / 7.0 - 10.0, 1e-9);
    // The sum goes on after its signal.
    assert!(points[29].high > points[28].high && points[29].signal.is_some());
}

/// The same readings, lambda 0.1, L 2.7 (seen in a public copy; the limits' further digits by Python).
#[test]
fn montgomerys_ewma() {
    let chart = Ewma::new(10.0, 1.0, 0.1, 2.7).unwrap();
    let points = chart.run(&MONTGOMERY).unwrap();
    all_near("last", points[27..].iter().map(|point| point.value), &[10.5731, 10.6468, 10.6341], 5e-5);
    near("first limit", chart.limits_at(1).high, 10.27, 1e-9);
    near("second limit", points[1].high, 10.363_247_85, 1e-8);
    near("last limit", chart.limits_at_last().high, 10.619_422_48, 1e-8);
    near("last limit", chart.limits_at_last().low, 20.0 - 10.619_422_48, 1e-8);
    assert_eq!(points.iter().position(|point| point.out), Some(28));
}

const MEANS: [f64; 10] = [0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0];

/// Two-sided CUSUM, k 0.5 (Montgomery, table 9.3; from memory, with further digits by R's spc 0.6.7). The table's printed 465 and 168
/// are among them.
#[test]
fn run_lengths_of_the_cusum() {
    for (h, expected) in [
        (
            4.0,
            [
                167.683_79,
                74.224_028,
                26.630_203,
                13.285_088,
                8.383_131_9,
                4.747_168_2,
                3.342_770_1,
                2.619_518_9,
                2.194_480_9,
                1.708_457_2,
            ],
        ),
        (
            4.77,
            [
                368.561_39,
                121.312_66,
                35.208_169,
                16.172_921,
                9.917_042_5,
                5.517_152_4,
                3.855_294_1,
                2.998_585_9,
                2.484_444_1,
                1.955_816_3,
            ],
        ),
        (
            5.0,
            [
                465.443_51,
                139.493_69,
                37.996_143,
                17.048_326,
                10.375_97,
                5.747_217_7,
                4.008_871_1,
                3.113_688_4,
                2.573_252_1,
                2.012_567_5,
            ],
        ),
    ] {
        let chart = Cusum::new(0.5, h).unwrap();
        for (mean, expected) in MEANS.into_iter().zip(expected) {
            relative(&format!("h {h} mean {mean}"), arl::cusum(&chart, mean).unwrap(), expected, 1e-7);
            relative("other side", arl::cusum(&chart, -mean).unwrap(), expected, 1e-7);
        }
    }
    for (h, expected) in [(4.0, 335.367_58), (5.0, 930.887_01)] {
        let chart = Cusum::new(0.5, h).unwrap();
        relative("one side", arl::cusum_one_sided(&chart, 0.0).unwrap(), expected, 1e-7);
    }
}

/// A head start of half the decision limit (Lucas and Crosier, Technometrics 24, 1982; from memory, with further digits by R's spc 0.6.7).
#[test]
fn run_lengths_with_a_head_start() {
    let chart = Cusum::new(0.5, 5.0).unwrap().with_head_start(2.5).unwrap();
    for (mean, expected) in
        [(0.0, 430.390_84), (0.5, 28.665_83), (1.0, 6.346_850_5), (2.0, 2.362_290_9), (3.0, 1.539_642_5)]
    {
        relative(&format!("mean {mean}"), arl::cusum(&chart, mean).unwrap(), expected, 1e-6);
    }
}

/// EWMA with the limits of the long run (Lucas and Saccucci, Technometrics 32, 1990, Montgomery, table 9.11; from memory, with further
/// digits by R's spc 0.6.7).
#[test]
fn run_lengths_of_the_ewma() {
    for (lambda, width, expected) in [
        (
            0.40,
            3.054,
            [
                499.951_34,
                223.727_81,
                71.200_502,
                28.418_385,
                14.262_764,
                5.874_941_8,
                3.521_539_2,
                2.539_150_3,
                2.018_629_6,
                1.439_895_8,
            ],
        ),
        (
            0.25,
            2.998,
            [
                499.836,
                170.295_85,
                48.293_875,
                20.114_748,
                11.135_502,
                5.463_744_1,
                3.613_710_8,
                2.744_753_2,
                2.257_563,
                1.727_027_5,
            ],
        ),
        (
            0.20,
            2.962,
            [
                499.735_12,
                150.216_4,
                41.764_396,
                18.149_623,
                10.541_666,
                5.500_648_7,
                3.743_439_1,
                2.880_269_7,
                2.380_903_5,
                1.864_365_7,
            ],
        ),
        (
            0.10,
            2.814,
            [
                499.579_55,
                106.321_85,
                31.297_435,
                15.847_544,
                10.330_665,
                6.084_184_3,
                4.362_253_4,
                3.441_698_2,
                2.868_003_5,
                2.193_095_4,
            ],
        ),
        (
            0.05,
            2.615,
            [
                499.933_01,
                84.005_862,
                28.763_728,
                16.374_154,
                11.382_804,
                7.112_490_6,
                5.224_879_8,
                4.167_863_5,
                3.496_171_8,
                2.694_547_7,
            ],
        ),
        (
            0.20,
            3.0,
            [
                559.874_08,
                163.119_71,
                44.127_405,
                18.842_63,
                10.835_879,
                5.604_721_4,
                3.800_854_6,
                2.918_560_4,
                2.408_253_9,
                1.884_561,
            ],
        ),
    ] {
        let chart = Ewma::new(0.0, 1.0, lambda, width).unwrap();
        for (mean, expected) in MEANS.into_iter().zip(expected) {
            let got = arl::ewma(&chart, mean).unwrap();
            relative(&format!("{lambda} {width} {mean}"), got, expected, 1e-7);
        }
    }
}

/// Limits that are exact without any table: an EWMA that forgets is Shewhart's chart, and a CUSUM with hardly a limit signals at `k`.
#[test]
fn run_lengths_that_are_known_exactly() {
    let chart = Ewma::new(0.0, 1.0, 1.0, 3.0).unwrap();
    relative("Shewhart", arl::ewma(&chart, 0.0).unwrap(), 0.5 / normal::below(-3.0), 1e-12);
    let off = 1.0 / (normal::below(-2.0) + normal::below(-4.0));
    relative("Shewhart, off", arl::ewma(&chart, 1.0).unwrap(), off, 1e-12);
    let chart = Cusum::new(3.0, 1e-9).unwrap();
    relative("no limit", arl::cusum(&chart, 0.0).unwrap(), 0.5 / normal::below(-3.0), 1e-7);
    // Far off, the first reading signals; the side that then never does has a rate of about 1e-40.
    let chart = Cusum::new(0.5, 5.0).unwrap();
    near("far off", arl::cusum(&chart, 20.0).unwrap(), 1.0, 1e-12);
    assert!(arl::cusum_one_sided(&chart, -8.0).unwrap() > 1e30);
}

/// Decision limits for a wanted run length (by R's spc 0.6.7 alone).
#[test]
fn limits_for_a_run_length() {
    near("370.4", arl::decision_for(0.5, 370.4).unwrap(), 4.774_897, 1e-6);
    near("500", arl::decision_for(0.5, 500.0).unwrap(), 5.070_703_9, 1e-6);
    for length in [5.0, 60.0, 1e4] {
        for setting in [0.25, 0.5, 1.0] {
            let chart = Cusum::new(setting, arl::decision_for(setting, length).unwrap()).unwrap();
            relative("there and back", arl::cusum(&chart, 0.0).unwrap(), length, 1e-9);
            let chart = Ewma::new(0.0, 1.0, setting, arl::width_for(setting, length).unwrap()).unwrap();
            relative("there and back", arl::ewma(&chart, 0.0).unwrap(), length, 1e-9);
        }
    }
    for length in [0.5, f64::NAN, f64::INFINITY] {
        assert!(matches!(arl::decision_for(0.5, length), Err(ControlError::RunLength(_))), "{length}");
        assert!(matches!(arl::width_for(0.2, length), Err(ControlError::RunLength(_))), "{length}");
    }
    // Near the end of what can be worked out, and beyond.
    let wide = Ewma::new(0.0, 1.0, 0.2, arl::width_for(0.2, 9e10).unwrap()).unwrap();
    relative("far", arl::ewma(&wide, 0.0).unwrap(), 9e10, 1e-4);
    assert!(matches!(arl::width_for(0.2, 1e12), Err(ControlError::RunLength(_))));
    // Shorter than with no limit at all, 1 / (2 * 0.3085).
    assert!(matches!(arl::decision_for(0.5, 1.5), Err(ControlError::RunLength(_))));
}

#[test]
fn run_lengths_beyond_the_arithmetic_are_errors() {
    let wide = Cusum::new(0.5, 1e4).unwrap();
    assert!(matches!(arl::cusum(&wide, 0.0), Err(ControlError::TooWide { .. })));
    let wide = Ewma::new(0.0, 1.0, 1e-5, 3.0).unwrap();
    assert!(matches!(arl::ewma(&wide, 0.0), Err(ControlError::TooWide { .. })));
    let long = Ewma::new(0.0, 1.0, 0.5, 12.0).unwrap();
    assert_eq!(arl::ewma(&long, 0.0), Err(ControlError::TooLong));
    let chart = Cusum::new(0.5, 5.0).unwrap();
    assert!(matches!(arl::cusum(&chart, f64::NAN), Err(ControlError::Setting { .. })));
    let ahead = chart.with_head_start(3.5).unwrap();
    assert!(matches!(arl::cusum(&ahead, 0.0), Err(ControlError::Setting { .. })));
    assert!(arl::cusum_one_sided(&ahead, 0.0).is_ok());
}

/// Tails by R 4.2.2's pf, pt and qt alone.
#[test]
fn tails_have_their_digits() {
    relative("F", laws::f_above(622.789_783_889_979, 9.0, 18.0), 1.415_812_807_374_65e-20, 1e-11);
    relative("F", laws::f_above(3.2, 4.0, 1000.0), 0.012_665_205_870_154_26, 1e-11);
    relative("F", laws::f_above(50.0, 30.0, 200.0), 6.312_761_713_385_403e-77, 1e-11);
    relative("F", laws::f_above(1.01, 1e5, 1e5), 5.782_719_932_715_371e-2, 1e-8);
    relative("F", laws::f_above(1.2, 999.0, 1e4), 3.222_618_310_503_048_6e-5, 1e-9);
    // Two degrees of freedom above the line, by its plain form.
    relative("F", laws::f_above(1e12, 2.0, 18.0), (1.0 + 2e12_f64 / 18.0).powi(-9), 1e-10);
    relative("t", laws::t_beyond(-3.0, 2.5), 0.072_576_095_549_031_84, 1e-11);
    relative("t", laws::t_beyond(40.0, 12.0), 3.851_229_580_772_037e-14, 1e-11);
    for (freedom, expected) in [
        (1.0, 12.706_204_736_174_69),
        (2.0, 4.302_652_729_749_462),
        (5.0, 2.570_581_835_636_314),
        (30.0, 2.042_272_456_301_238),
        (1_000.0, 1.962_339_080_826_408),
        (100_000.0, 1.959_987_707_534_609),
    ] {
        relative(&format!("t {freedom}"), laws::t_for(0.05, freedom), expected, 1e-9);
    }
    relative("t", laws::t_for(0.05 / 3.0, 78.0), 2.446_706_105_960_735, 1e-11);
    relative("t", laws::t_for(2e-10, 4.0), 416.175_131_720_817_4, 1e-6);
    assert!(laws::t_for(0.0, 4.0).is_infinite() && laws::t_for(1.0, 4.0) == 0.0);
    near("all", laws::f_above(0.0, 2.0, 3.0), 1.0, 0.0);
    near("nothing", laws::f_above(f64::INFINITY, 2.0, 3.0), 0.0, 0.0);
    assert!(laws::f_above(1.0, 0.0, 3.0).is_nan() && laws::t_for(0.05, 0.0).is_nan());
}

#[test]
fn charts_refuse_what_is_no_chart_or_no_number() {
    for (target, sigma, lambda, width) in [
        (f64::NAN, 1.0, 0.2, 3.0),
        (0.0, 0.0, 0.2, 3.0),
        (0.0, 1.0, 0.0, 3.0),
        (0.0, 1.0, 1.1, 3.0),
        (0.0, 1.0, 0.2, -3.0),
        (0.0, f64::INFINITY, 0.2, 3.0),
    ] {
        assert!(matches!(Ewma::new(target, sigma, lambda, width), Err(ControlError::Setting { .. })));
    }
    let refused = Cusum::new(0.0, 5.0).unwrap_err();
    assert_eq!(refused.to_string(), "the reference must be above 0, not 0");
    assert!(Cusum::new(0.5, f64::NAN).is_err());
    let (cusum, ewma) = (Cusum::new(0.5, 5.0).unwrap(), Ewma::new(0.0, 1.0, 0.2, 3.0).unwrap());
    assert!(cusum.with_head_start(5.0).is_err() && cusum.with_head_start(-0.1).is_err());
    let no_number = [0.1, f64::NAN, 0.2];
    assert_eq!(cusum.run(&no_number), Err(ControlError::NotFinite { index: 1 }));
    assert_eq!(ewma.run(&no_number), Err(ControlError::NotFinite { index: 1 }));
    assert_eq!(ewma.run(&[f64::INFINITY]), Err(ControlError::NotFinite { index: 0 }));
    assert!(ewma.run(&[-9.0]).unwrap()[0].out && ewma.run(&[9.0]).unwrap()[0].out);
    assert_eq!(cusum.run(&[]), Ok(vec![]));
    assert_eq!(ewma.run(&[]), Ok(vec![]));
    near("no width before the first", ewma.limits_at(0).high, 0.0, 0.0);
}

#[test]
fn a_head_start_is_no_shift() {
    let chart = Cusum::new(0.5, 5.0).unwrap().with_head_start(2.5).unwrap();
    let points = chart.run(&[1.5, 2.5, 1.7]).unwrap();
    let signal = points[2].signal.unwrap();
    assert_eq!((signal.side, signal.since), (Side::Up, 0));
    near("the mean of the readings", signal.size, 5.7 / 3.0, 1e-12);
    near("the head start falls away", chart.run(&[0.0]).unwrap()[0].low, 2.0, 1e-12);
    // A sum on the limit is no signal yet: 4 + 2 less twice 0.5.
    assert_eq!(Cusum::new(0.5, 5.0).unwrap().run(&[4.0, 2.0]).unwrap()[1].signal, None);
}

fn off(by_mah: f64, spread_mah: f64) -> SlotReading {
    SlotReading { reading_mah: 2000.0 + by_mah, foretold_mah: 2000.0, spread_mah, tolerated_mah: 0.0 }
}

fn watched(offs: &[f64]) -> SlotWatch {
    let mut watch = SlotWatch::new(&SlotRules::default()).unwrap();
    for by in offs {
        watch.take(off(*by, 20.0)).unwrap();
    }
    watch
}

#[test]
fn a_slot_of_few_readings() {
    let none = watched(&[]).standing(Spread::Known);
    assert_eq!(none, Standing { verdict: Verdict::InControl, since: 0, alarm: None, bias: None });
    let one = watched(&[-30.0]);
    let known = one.standing(Spread::Known).bias.unwrap();
    near("one reading", known.mah, -30.0, 1e-12);
    near("its limit", known.limits_mah.unwrap().low, -30.0 - 20.0 * 1.959_963_984_540_054, 1e-9);
    assert_eq!(one.standing(Spread::Uncertain).bias.unwrap().limits_mah, None);
    // Readings that are all alike say nothing of an uncertain spread.
    let alike = watched(&[-0.1; 3]).standing(Spread::Uncertain);
    assert_eq!((alike.verdict, alike.bias.unwrap().limits_mah), (Verdict::InControl, None));
    // Two readings by hand: mean -5, s 7.07 over the square root of 2 is 5, times t of one degree of freedom.
    let two = watched(&[0.0, -10.0]).standing(Spread::Uncertain).bias.unwrap();
    near("t", two.limits_mah.unwrap().high, -5.0 + 5.0 * 12.706_204_736_174_69, 1e-8);
}

#[test]
fn readings_that_are_known_better_weigh_more() {
    let readings = [off(-40.0, 10.0), off(-10.0, 20.0)];
    let bias = Bias::since(&readings, 0, Spread::Known, 4.0, 0.95).unwrap();
    // Weights 4 to 1.
    near("mean", bias.mah, -34.0, 1e-12);
    near("reach", bias.limits_mah.unwrap().high + 34.0, 1.959_963_984_540_054 * 80_f64.sqrt(), 1e-9);
    near("shift", bias.shift, (-4.0 - 0.5) / 2.0, 1e-12);
    assert_eq!(Bias::since(&readings, 2, Spread::Known, 4.0, 0.95), None);
}

#[test]
fn slots_refuse_what_is_no_reading() {
    let mut watch = watched(&[1.0, 2.0]);
    let before = watch.standing(Spread::Known);
    for spread_mah in [0.0, -1.0, f64::NAN, f64::INFINITY, 1e-200] {
        assert!(matches!(watch.take(off(0.0, spread_mah)), Err(ControlError::Spread { index: 2, .. })));
    }
    assert_eq!(watch.take(off(f64::NAN, 20.0)), Err(ControlError::NotFinite { index: 2 }));
    assert_eq!(watch.take(off(f64::INFINITY, 20.0)), Err(ControlError::NotFinite { index: 2 }));
    assert_eq!(watch.standing(Spread::Known), before);
    assert_eq!(watch.points().len(), 2);
    for rules in [
        SlotRules { cap: 0.5, ..SlotRules::default() },
        SlotRules { level: 1.0, ..SlotRules::default() },
        SlotRules { lambda: 0.0, ..SlotRules::default() },
    ] {
        assert!(SlotWatch::new(&rules).is_err(), "{rules:?}");
    }
}

/// A pack that has failed reads 500 mAh low: the slot is not to blame, and its bias is not touched.
#[test]
fn one_wild_reading_blames_no_slot() {
    let watch = watched(&[5.0, -5.0, -500.0, 5.0, -5.0, 0.0]);
    assert!(watch.points().iter().all(|point| point.verdict == Verdict::InControl));
    let bias = watch.standing(Spread::Known).bias.unwrap();
    assert_eq!((bias.set_aside, bias.used), (vec![2], 5));
    near("bias", bias.mah, 0.0, 1e-12);
    near("the chart's point is not cut", watch.points()[2].z, -25.0, 1e-12);
    // Several of them do.
    assert_eq!(watched(&[-500.0, -500.0]).standing(Spread::Known).verdict, Verdict::BiasedDown);
}

/// Biased from the eleventh reading to the fortieth, then repaired: without noise the places are known by hand.
#[test]
fn a_slot_goes_wrong_and_comes_back() {
    let offs = [vec![0.0; 10], vec![-40.0; 30], vec![0.0; 20]].concat();
    let watch = watched(&offs);
    let verdicts: Vec<Verdict> = watch.points().iter().map(|point| point.verdict).collect();
    // Each reading is 2 spreads low, so the average is 2 (1 - 0.8^n) against 3.05 / 3: out at the fourth, when the sum holds 6 too.
    assert_eq!(verdicts.iter().position(|verdict| *verdict == Verdict::BiasedDown), Some(13));
    // Back: half a spread each, 5.3 at the eleventh.
    let back = verdicts.iter().skip(13).position(|verdict| *verdict == Verdict::InControl);
    assert_eq!(back.map(|back| back + 13), Some(50));
    near("a new start", watch.points()[51].average, 0.0, 0.0);
    let biased = watched(&offs[..40]).standing(Spread::Known);
    assert_eq!((biased.since, biased.alarm), (10, Some(13)));
    near("bias", biased.bias.unwrap().mah, -40.0, 1e-9);
    let now = watch.standing(Spread::Known);
    assert_eq!((now.verdict, now.since, now.alarm), (Verdict::InControl, 40, None));
    near("bias", now.bias.unwrap().mah, 0.0, 1e-9);
}

/// What a simulated bench reads: the pack is known to within 15 mAh from a reading before, the slot reads with a noise of 15 mAh.
fn reading(rng: &mut ChaCha8Rng, bias_mah: f64) -> SlotReading {
    let capacity = 2000.0 + 100.0 * gauss(rng);
    SlotReading {
        foretold_mah: capacity + 15.0 * gauss(rng),
        reading_mah: capacity + 15.0 * gauss(rng) + bias_mah,
        spread_mah: 15.0 * 2.0_f64.sqrt(),
        tolerated_mah: 0.0,
    }
}

/// Readings until a slot is called anything but in control, and what it is then called.
fn until_alarm(rng: &mut ChaCha8Rng, bias_mah: f64) -> (f64, SlotWatch) {
    let mut watch = SlotWatch::new(&SlotRules::default()).unwrap();
    let mut count = 0.0;
    loop {
        let reading = reading(rng, bias_mah);
        count += 1.0;
        if watch.take(reading).unwrap().verdict != Verdict::InControl {
            return (count, watch);
        }
    }
}

/// Mean and its standard error.
fn mean(counts: &[f64]) -> (f64, f64) {
    let n = f64::from(u32::try_from(counts.len()).unwrap());
    let mean = counts.iter().sum::<f64>() / n;
    let squares: f64 = counts.iter().map(|count| (count - mean).powi(2)).sum();
    (mean, (squares / (n - 1.0) / n).sqrt())
}

/// Readings until a CUSUM alone alarms on a simulated slot.
fn until_signal(chart: &Cusum, rng: &mut ChaCha8Rng, bias_mah: f64) -> f64 {
    let mut sums = chart.start();
    let mut count = 0.0;
    loop {
        count += 1.0;
        let CusumPoint { signal, .. } = chart.step(&mut sums, reading(rng, bias_mah).z()).unwrap();
        if signal.is_some() {
            return count;
        }
    }
}

/// The CUSUM alone on the simulated bench runs as long as the integral equation says, with and without a head start.
#[test]
fn simulated_slots_under_a_cusum_alone() {
    let plain = Cusum::new(0.5, 5.0).unwrap();
    let cases = [
        (plain, 0.0, 400.0..500.0),
        (plain, -40.0, 1.0..25.0),
        (plain, 10.0, 1.0..60.0),
        (plain.with_head_start(2.5).unwrap(), -10.0, 1.0..60.0),
        (plain.with_head_start(3.0).unwrap(), 0.0, 400.0..500.0),
    ];
    for (chart, bias_mah, wanted) in cases {
        let mut rng = ChaCha8Rng::seed_from_u64(11);
        let counts: Vec<f64> = (0..6_000).map(|_| until_signal(&chart, &mut rng, bias_mah)).collect();
        let (mean, error) = mean(&counts);
        let expected = arl::cusum(&chart, bias_mah / (15.0 * 2.0_f64.sqrt())).unwrap();
        near(&format!("{chart:?} {bias_mah}"), mean, expected, 3.5 * error);
        assert!(wanted.contains(&mean), "{chart:?} {bias_mah}: {mean}");
    }
}

/// Both charts together: more than 400 readings between false alarms, and no further apart than the better of the two alone.
#[test]
fn simulated_good_slots_alarm_rarely() {
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    let counts: Vec<f64> = (0..6_000).map(|_| until_alarm(&mut rng, 0.0).0).collect();
    let (mean, error) = mean(&counts);
    assert!(mean - 4.0 * error > 400.0, "{mean} +- {error}");
    let rules = SlotRules::default();
    let cusum = arl::cusum(&Cusum::new(rules.reference, rules.decision).unwrap(), 0.0).unwrap();
    let ewma = arl::ewma(&Ewma::new(0.0, 1.0, rules.lambda, rules.width).unwrap(), 0.0).unwrap();
    assert!(mean + 4.0 * error < cusum.min(ewma), "{mean} {cusum} {ewma}");
    assert!(mean - 4.0 * error > 1.0 / (1.0 / cusum + 1.0 / ewma), "{mean} {cusum} {ewma}");
}

/// A slot 40 mAh low is found within a few readings, named as low, and its bias estimated; so is one that goes wrong after fifty good ones.
#[test]
fn simulated_biased_slots_are_found() {
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    let mut counts = Vec::new();
    let (mut low, mut held, mut total) = (0_u32, 0_u32, 0.0);
    let slots = 4_000;
    for _ in 0..slots {
        let (count, mut watch) = until_alarm(&mut rng, -40.0);
        counts.push(count);
        low += u32::from(watch.standing(Spread::Known).verdict == Verdict::BiasedDown);
        for _ in 0..20 {
            watch.take(reading(&mut rng, -40.0)).unwrap();
        }
        let bias = watch.standing(Spread::Known).bias.unwrap();
        held += u32::from(bias.limits_mah.unwrap().holds(-40.0));
        total += bias.mah;
    }
    let (found, error) = mean(&counts);
    assert!(found + 4.0 * error < 25.0, "{found}");
    assert!(f64::from(low) > 0.999 * f64::from(slots), "{low}");
    let share = f64::from(held) / f64::from(slots);
    assert!((0.93..0.97).contains(&share), "{share}");
    near("bias", total / f64::from(slots), -40.0, 0.5);

    let mut counts = Vec::new();
    while counts.len() < 2_000 {
        let mut watch = SlotWatch::new(&SlotRules::default()).unwrap();
        for _ in 0..50 {
            watch.take(reading(&mut rng, 0.0)).unwrap();
        }
        if watch.points().iter().any(|point| point.verdict != Verdict::InControl) {
            continue;
        }
        let mut count = 1.0;
        while watch.take(reading(&mut rng, -40.0)).unwrap().verdict == Verdict::InControl {
            count += 1.0;
        }
        counts.push(count);
    }
    let (later, error) = mean(&counts);
    assert!(later + 4.0 * error < 25.0, "{later}");
}

/// At its alarm the estimate of a small shift is too large, since it is looked at when it is large; a repaired slot is called good again
/// after some ten readings, one that stays a spread off hardly ever.
#[test]
fn simulated_small_shifts_and_repairs() {
    let mut rng = ChaCha8Rng::seed_from_u64(13);
    let spread = 15.0 * 2.0_f64.sqrt();
    let (mut shift, mut held, mut stayed, mut left) = (0.0, 0_u32, 0.0, 0.0);
    let mut delays = Vec::new();
    for _ in 0..2_000 {
        let (_, mut watch) = until_alarm(&mut rng, spread);
        let bias = watch.standing(Spread::Known).bias.unwrap();
        shift += bias.shift / 2_000.0;
        held += u32::from(bias.limits_mah.unwrap().holds(spread));
        let mut biased = true;
        for _ in 0..50 {
            biased = watch.take(reading(&mut rng, spread)).unwrap().verdict == Verdict::BiasedUp;
            stayed += 1.0;
            if !biased {
                left += 1.0;
                break;
            }
        }
        let mut delay = 0.0;
        while biased {
            biased = watch.take(reading(&mut rng, 0.0)).unwrap().verdict == Verdict::BiasedUp;
            delay += 1.0;
        }
        if delay > 0.0 {
            delays.push(delay);
        }
    }
    near("estimate at the alarm", shift, 1.34, 0.06);
    near("limits at the alarm", f64::from(held) / 2_000.0, 0.93, 0.03);
    assert!(left > 0.0 && stayed / left > 800.0, "{stayed} {left}");
    let (delay, error) = mean(&delays);
    assert!((9.0..12.0).contains(&delay), "{delay} +- {error}");
}

/// Spreads that are foretold a tenth too small cost more than half of the distance between false alarms.
#[test]
fn simulated_slots_with_too_small_a_spread() {
    let mut rng = ChaCha8Rng::seed_from_u64(17);
    let mut counts = Vec::new();
    for _ in 0..4_000 {
        let mut watch = SlotWatch::new(&SlotRules::default()).unwrap();
        let mut count = 1.0;
        while watch.take(off(1.1 * gauss(&mut rng), 1.0)).unwrap().verdict == Verdict::InControl {
            count += 1.0;
        }
        counts.push(count);
    }
    let (mean, error) = mean(&counts);
    near("a tenth too small", mean, 216.0, 4.0 * error);
}

proptest! {
    /// Readings turned over give the same chart turned over; sums are never below 0; nothing panics.
    #[test]
    fn charts_turned_over(
        readings in prop::collection::vec(-6.0_f64..6.0, 0..60),
        k in 0.1_f64..2.0,
        h in 0.5_f64..8.0,
        start in 0.0_f64..0.99,
    ) {
        let chart = Cusum::new(k, h).unwrap().with_head_start(start * h).unwrap();
        let over: Vec<f64> = readings.iter().map(|z| -z).collect();
        let (one, other) = (chart.run(&readings).unwrap(), chart.run(&over).unwrap());
        for (place, (one, other)) in one.iter().zip(&other).enumerate() {
            prop_assert_eq!((one.high, one.low), (other.low, other.high));
            prop_assert!(one.high >= 0.0 && one.low >= 0.0);
            prop_assert_eq!(one.signal.is_some(), one.high.max(one.low) > h);
            if let Some(signal) = one.signal {
                prop_assert!(signal.since <= place);
                let run = &readings[signal.since..=place];
                let mean = run.iter().sum::<f64>() / f64::from(u32::try_from(run.len()).unwrap());
                prop_assert!((signal.size - mean).abs() < 1e-9);
            }
        }
    }

    /// Whatever a slot reads, the watch answers with a number or an error, and `since` is a reading that there is.
    #[test]
    fn no_reading_breaks_the_watch(readings in prop::collection::vec((any::<f64>(), any::<f64>()), 0..40)) {
        let mut watch = SlotWatch::new(&SlotRules::default()).unwrap();
        for (reading_mah, spread_mah) in readings {
            let _refused = watch.take(SlotReading { reading_mah, foretold_mah: 0.0, spread_mah, tolerated_mah: 0.0 });
        }
        let standing = watch.standing(Spread::Uncertain);
        prop_assert!(standing.since <= watch.points().len());
        prop_assert_eq!(standing.bias.is_some(), !watch.points().is_empty());
    }
}
