//! Acceptance sampling against the standard's printed tables, published worked examples, and exact fractions.

use packmuster::stats::sampling::chances::{binomial, hypergeometric};
use packmuster::stats::sampling::design::{self, Points};
use packmuster::stats::sampling::plan::{Double, Plan, Single};
use packmuster::stats::sampling::tables::{self, Level, QUALITIES, Severity, Switching};
use packmuster::stats::sampling::variables::{self, Variables};
use serde_json::Value;

fn near(what: &str, got: f64, expected: f64, tolerance: f64) {
    assert!((got - expected).abs() <= tolerance, "{what}: {got} for {expected}");
}

/// Six of a carton, by the identity `C(N - D, 6) / C(N, 6)` in whole fractions; common practice for the six, no source.
#[test]
fn six_of_a_carton_as_exact_fractions() {
    let six = Plan::Single(Single::of(6, 0));
    for (lot, bad, above, below) in [
        (24, 1, 3, 4),
        (24, 2, 51, 92),
        (24, 3, 102, 253),
        (24, 10, 39, 1748),
        (48, 1, 7, 8),
        (48, 2, 287, 376),
        (48, 4, 3731, 6486),
        (48, 5, 70_889, 142_692),
    ] {
        near("accepted", six.accepts(lot, bad), f64::from(above) / f64::from(below), 1e-14);
    }
    // With four bad ones among 48, six miss them all 58 times in 100.
    near("missed", six.accepts(48, 4), 0.575, 0.001);
    // With one bad one allowed, by scipy 1.17.1.
    let one = Plan::Single(Single::of(6, 1));
    near("24, 4", one.accepts(24, 4), 0.748_729_531_338_227, 1e-13);
    near("48, 5", one.accepts(48, 5), 0.889_005_690_578_308_6, 1e-13);
}

#[test]
fn laws_sum_to_one_and_have_their_means() {
    for (lot, bad, sample) in
        [(24, 5, 6), (48, 40, 30), (100_000, 700, 2_000), (10, 10, 10), (7, 0, 3), (5, 5, 0)]
    {
        let law = hypergeometric(lot, bad, sample);
        near("sum", law.iter().sum(), 1.0, 1e-12);
        let mean: f64 = (0..).zip(&law).map(|(k, chance)| f64::from(k) * chance).sum();
        near(
            "mean",
            mean,
            f64::from(sample) * f64::from(bad) / f64::from(lot),
            1e-9 * f64::from(sample.max(1)),
        );
    }
    let law = binomial(2_000, 0.3);
    near("sum", law.iter().sum(), 1.0, 1e-12);
    near("mean", (0..).zip(&law).map(|(k, chance)| f64::from(k) * chance).sum(), 600.0, 1e-7);
    assert_eq!(binomial(5, 0.0), [1.0]);
    assert_eq!(binomial(2, 1.0), [0.0, 0.0, 1.0]);
}

/// NIST/SEMATECH e-Handbook 6.2.3.2: 52 read, 3 allowed (printed to three digits; from memory, reproduced by scipy 1.17.1).
#[test]
fn the_handbooks_operating_characteristic() {
    let plan = Plan::Single(Single::of(52, 3));
    for (percent, accepted) in [(1, 0.998), (2, 0.980), (3, 0.930), (4, 0.845), (5, 0.739), (6, 0.620)] {
        near("accepted", plan.accepts_share(f64::from(percent) / 100.0), accepted, 0.0012);
    }
    near("at 0.05", plan.accepts_share(0.05), 0.738_317_410_796_620_7, 1e-12);
    near("at 0.20", plan.accepts_share(0.20), 0.004_039_110_970_357_878, 1e-13);
}

/// Kiermeier, "Visualizing and Assessing Acceptance Sampling Plans", Journal of Statistical Software 26(6), 2008: the plan
/// for 5 % at .95 and 15 % at .075, and two plans by variables (seen in a public copy).
#[test]
fn published_plans_for_two_points() {
    let points = Points { good: 0.05, producer: 0.05, bad: 0.15, consumer: 0.075 };
    assert_eq!(design::single(&points), Ok(Single::of(80, 7)));
    let plan = Plan::Single(Single::of(80, 7));
    near("good", plan.accepts_share(0.05), 0.953_408_472_5, 1e-9);
    near("bad", plan.accepts_share(0.15), 0.072_717_492_9, 1e-9);
    let none = Plan::Single(Single::of(20, 0));
    near("20, none, 5 %", none.accepts_share(0.05), 0.358_485_922_4, 1e-9);
    near("20, none, 15 %", none.accepts_share(0.15), 0.038_759_531_1, 1e-9);
    let unknown = variables::unknown_deviation(&points).unwrap();
    assert_eq!(unknown.sample, 49);
    near("k", unknown.k, 1.326_538, 1e-5);
    // By scipy 1.17.1's noncentral t law.
    near("k", unknown.k, 1.326_534_569_132_709_7, 1e-9);
    near("bad", unknown.accepts_share(0.15), 0.073_974_409_420_853_62, 1e-9);
    let known = variables::known_deviation(&points).unwrap();
    assert_eq!(known.sample, 26);
    near("k", known.k, 1.322_271, 1e-6);
    assert_eq!(variables::spared(&points), Ok(31));
}

/// The same vignette: the double plan of letter E at 4.0, eight and eight, 0 or 2, then 1 or 2.
#[test]
fn a_published_double_plan() {
    let found = tables::double(60, Level::II, 4.0, Severity::Normal).unwrap();
    let first = Single { sample: 8, accept: 0, reject: 2 };
    assert_eq!(found.plan, Plan::Double(Double { first, second: Single::of(8, 1) }));
    for (share, accepted) in [(0.01, 0.991_549), (0.04, 0.894_857), (0.1, 0.595_18), (0.2, 0.224_067)] {
        near("accepted", found.plan.accepts_share(share), accepted, 1e-6);
    }
    // Fewer are read on average than by the single plan of the same letter, and never more than both samples.
    let expected = found.plan.expected_sample(60, 1);
    assert!((8.0..13.0).contains(&expected), "{expected}");
}

/// How many must be read to meet one of so many bad ones with 95 in 100 (by scipy 1.17.1 alone).
#[test]
fn samples_that_find_one() {
    for (lot, expected) in [
        (24, [(1, 23), (2, 19), (3, 15), (5, 10), (10, 5)]),
        (48, [(1, 46), (2, 37), (3, 30), (5, 21), (10, 12)]),
        (100, [(1, 95), (2, 78), (3, 63), (5, 45), (10, 25)]),
    ] {
        for (bad, sample) in expected {
            assert_eq!(design::to_find_one(lot, bad, 0.95), sample, "{bad} of {lot}");
        }
    }
}

/// A plan for a lot reads fewer than one for a lot without end, and keeps both points exactly.
#[test]
fn a_plan_for_the_lots_own_size() {
    let points = Points { good: 0.02, producer: 0.05, bad: 0.15, consumer: 0.10 };
    let endless = design::single(&points).unwrap();
    let own = design::single_for_lot(100, &points).unwrap();
    assert!(own.sample < endless.sample, "{own:?} {endless:?}");
    let plan = Plan::Single(own);
    assert!(plan.accepts(100, 2) >= 0.95 && plan.accepts(100, 15) <= 0.10);
    // One pack fewer, with the same number or one less, keeps one of them no longer.
    for accept in 0..=own.accept {
        let less = Plan::Single(Single::of(own.sample - 1, accept));
        assert!(less.accepts(100, 2) < 0.95 || less.accepts(100, 15) > 0.10, "{accept}");
    }
    for wrong in
        [Points { good: 0.2, ..points }, Points { producer: 0.0, ..points }, Points { bad: 1.0, ..points }]
    {
        assert!(
            design::single(&wrong).is_err() && variables::unknown_deviation(&wrong).is_err(),
            "{wrong:?}"
        );
    }
}

/// MIL-STD-105E (1989), Table I, which is ISO 2859-1, Table 1 (seen in a public copy).
#[test]
fn code_letters() {
    let lots = [8, 15, 25, 50, 90, 150, 280, 500, 1200, 3200, 10_000, 35_000, 150_000, 500_000];
    for (level, letters) in [
        (Level::S1, "AAAABBBBCCCCDDD"),
        (Level::S2, "AAABBBCCCDDDEEE"),
        (Level::S3, "AABBCCDDEEFFGGH"),
        (Level::S4, "AABCCDEEFGGHJJK"),
        (Level::I, "AABCCDEFGHJKLMN"),
        (Level::II, "ABCDEFGHJKLMNPQ"),
        (Level::III, "BCDEFGHJKLMNPQR"),
    ] {
        let expected: Vec<char> = letters.chars().collect();
        for (row, &most) in lots.iter().enumerate() {
            assert_eq!(tables::code_letter(most, level), Ok(expected[row]), "{most} {level:?}");
            assert_eq!(tables::code_letter(most + 1, level), Ok(expected[row + 1]), "{most} {level:?}");
        }
    }
    assert!(tables::code_letter(1, Level::II).is_err());
}

/// MIL-STD-105E, Tables II-A (seen in public copies) and II-B (from memory, spot-checked), every cell; arrows followed as printed.
#[test]
fn master_tables_for_single_samples() {
    let checks: Value = serde_json::from_str(include_str!("data/sampling_tables.json")).unwrap();
    let letters = "ABCDEFGHJKLMNPQR";
    for (table, severity) in [("normal", Severity::Normal), ("tightened", Severity::Tightened)] {
        let grid = &checks[table];
        let cell = |letter: char, quality: f64| {
            let row = grid[letter.to_string()].as_object().unwrap();
            let found =
                row.iter().find(|(name, _)| (name.parse::<f64>().unwrap() / quality - 1.0).abs() < 1e-9);
            found.unwrap().1.clone()
        };
        let mut compared = 0;
        for letter in letters.chars() {
            for quality in QUALITIES {
                let (mut at, mut seen) = (letters.find(letter).unwrap(), 0);
                let expected = loop {
                    let name = letters.as_bytes().get(at).map(|&byte| char::from(byte));
                    let Some(name) = name.filter(|_| seen < 20) else { break None };
                    seen += 1;
                    match cell(name, quality) {
                        Value::String(arrow) if arrow == "v" => at += 1,
                        Value::String(_) if at == 0 => break None,
                        Value::String(_) => at -= 1,
                        number => break Some((name, u32::try_from(number.as_u64().unwrap()).unwrap())),
                    }
                };
                let got = tables::single_of_letter(letter, quality, severity).ok().map(|found| {
                    let Plan::Single(plan) = found.plan else { panic!("double") };
                    assert_eq!(plan.reject, plan.accept + 1);
                    (found.letter, plan.accept)
                });
                assert_eq!(got, expected, "{table} {letter} {quality}");
                compared += 1;
            }
        }
        assert_eq!(compared, 16 * 26);
    }
    // Arrows resolved (derived from the table as seen), with samples.
    for (letter, quality, expected) in [
        ('B', 1.0, ('E', 13, 0)),
        ('D', 2.5, ('C', 5, 0)),
        ('D', 4.0, ('E', 13, 1)),
        ('E', 2.5, ('F', 20, 1)),
        ('G', 1.0, ('H', 50, 1)),
        ('H', 2.5, ('H', 50, 3)),
        ('J', 1.0, ('J', 80, 2)),
    ] {
        let found = tables::single_of_letter(letter, quality, Severity::Normal).unwrap();
        assert_eq!(
            (found.letter, found.plan),
            (expected.0, Plan::Single(Single::of(expected.1, expected.2)))
        );
    }
}

/// MIL-STD-105E, Table II-C, a few rows (from memory): reduced plans have a gap between accepting and rejecting.
#[test]
fn reduced_plans() {
    for (letter, quality, sample, accept, reject) in [
        ('D', 1.5, 3, 0, 1),
        ('D', 6.5, 3, 0, 2),
        ('F', 4.0, 8, 1, 3),
        ('J', 1.0, 32, 1, 3),
        ('L', 1.5, 80, 3, 6),
    ] {
        let found = tables::single_of_letter(letter, quality, Severity::Reduced).unwrap();
        assert_eq!(found.plan, Plan::Single(Single { sample, accept, reject }), "{letter} {quality}");
    }
}

/// MIL-STD-105E, 4.7 (from memory): two of five rejected tighten, five good ones loosen, ten reduce, one bad one or gap ends that.
#[test]
fn switching_rules() {
    let plan = Single { sample: 13, accept: 1, reject: 3 };
    let after = |bad: &[u32]| {
        let mut switching = Switching::default();
        for bad in bad {
            switching.enter(plan, *bad);
        }
        (switching.severity(), switching.is_stopped())
    };
    assert_eq!(after(&[3, 0, 0, 0]).0, Severity::Normal);
    assert_eq!(after(&[3, 0, 0, 0, 3]).0, Severity::Tightened);
    assert_eq!(after(&[3, 0, 0, 0, 0, 3]).0, Severity::Normal, "two of six are no reason");
    assert_eq!(after(&[3, 3, 0, 0, 0, 0]).0, Severity::Tightened);
    assert_eq!(after(&[3, 3, 0, 0, 0, 0, 0]).0, Severity::Normal);
    assert_eq!(after(&[0; 9]).0, Severity::Normal);
    assert_eq!(after(&[0; 10]).0, Severity::Reduced);
    let mut reduced = vec![0; 12];
    reduced.push(2);
    assert_eq!(after(&reduced).0, Severity::Normal, "in the gap");
    let mut stays = vec![3, 3];
    stays.extend([3, 0, 0, 0, 0, 3, 0, 0, 0, 3]);
    assert_eq!(after(&stays), (Severity::Tightened, true));
}

/// A sample by hand: 5 capacities, limit 900 mAh.
#[test]
fn a_sample_is_judged_by_its_mean_and_spread() {
    let plan = Variables { sample: 5, k: 1.2 };
    let judged = plan.judge(&[950.0, 970.0, 990.0, 960.0, 980.0], 900.0).unwrap();
    near("mean", judged.mean, 970.0, 1e-12);
    near("deviation", judged.deviation, 250.0_f64.sqrt(), 1e-12);
    near("above", judged.above, 70.0 / 250.0_f64.sqrt(), 1e-12);
    assert!(judged.accepted);
    assert!(!plan.judge(&[905.0, 1100.0, 990.0, 890.0, 980.0], 900.0).unwrap().accepted);
    assert!(plan.judge(&[950.0], 900.0).is_none() && plan.judge(&[950.0, 950.0], 900.0).is_none());
}
