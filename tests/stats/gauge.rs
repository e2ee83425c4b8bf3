//! Gauge studies against published ones, and recovery of what simulated benches were made of.

use packmuster::stats::control::gauge::anova::{Anova, Test};
use packmuster::stats::control::gauge::components::{Gauge, Model};
use packmuster::stats::control::gauge::study::{Crossed, Design, Gap, GaugeError, Row};
use packmuster::stats::control::laws;
use packmuster::stats::normal;
use proptest::prelude::{Just, Strategy, prop, prop_assert, proptest};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

fn near(what: &str, got: f64, expected: f64, tolerance: f64) {
    assert!((got - expected).abs() <= tolerance, "{what}: {got} for {expected}");
}

fn relative(what: &str, got: f64, expected: f64, tolerance: f64) {
    near(what, got / expected, 1.0, tolerance);
}

fn gauss(rng: &mut ChaCha8Rng) -> f64 {
    normal::quantile(rng.random::<f64>().max(1e-12))
}

/// Reads a study: the columns of part, operator and value, names numbered as they come.
fn study(csv: &str, columns: [usize; 3], design: Design) -> Crossed {
    let place = |names: &mut Vec<String>, name: &str| {
        names.iter().position(|known| known == name).unwrap_or_else(|| {
            names.push(name.to_owned());
            names.len() - 1
        })
    };
    let (mut parts, mut operators) = (Vec::new(), Vec::new());
    let rows: Vec<Row> = csv
        .lines()
        .skip(1)
        .map(|line| {
            let cells: Vec<&str> = line.split(',').map(|cell| cell.trim().trim_matches('"')).collect();
            Row {
                part: place(&mut parts, cells[columns[0]]),
                operator: place(&mut operators, cells[columns[1]]),
                value: cells[columns[2]].parse().unwrap(),
            }
        })
        .collect();
    Crossed::from_rows(design, &rows).unwrap()
}

fn ten_by_three() -> Crossed {
    let csv = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/stats/data/grr_crossed_10x3x3.csv"));
    study(csv, [1, 2, 3], Design { parts: 10, operators: 3, repeats: 3 })
}

fn prototypes(column: usize) -> Gauge {
    let csv = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/stats/data/grr_sixsigma_3x3x3.csv"));
    study(csv, [0, 1, column], Design { parts: 3, operators: 3, repeats: 3 }).judge(0.05).unwrap()
}

fn squares(anova: &Anova) -> [f64; 4] {
    [anova.parts, anova.operators, anova.interaction, anova.repeatability].map(|line| line.squares)
}

/// Ten parts, three operators, three repeats: data and tables of the tests of jaspQualityControl, msaGaugeRR (seen in a public copy; reproduced
/// by R 4.2.2's aov; the small tail by its pf).
#[test]
fn ten_parts_by_three_operators() {
    let gauge = ten_by_three().judge(0.05).unwrap();
    let anova = gauge.anova;
    for (got, expected) in
        squares(&anova).into_iter().zip([880.555_555_556, 1.672_222_222, 2.827_777_778, 7.666_666_667])
    {
        near("squares", got, expected, 1e-9);
    }
    near("total", anova.total().squares, 892.722_222_222, 1e-9);
    near("total", anova.total().freedom, 89.0, 0.0);
    let lines = [anova.parts, anova.operators, anova.interaction, anova.repeatability];
    for (line, freedom) in lines.into_iter().zip([9.0, 2.0, 18.0, 60.0]) {
        near("freedom", line.freedom, freedom, 0.0);
    }
    let tests = [
        (anova.parts.against(&anova.interaction), 622.789_783_889_979, 1.415_812_807_374_65e-20),
        (anova.operators.against(&anova.interaction), 5.322_200_392_927_31, 0.015_278_997_897_119_3),
        (anova.interaction.against(&anova.repeatability), 1.229_468_599_033_82, 0.268_355_463_232_599),
    ];
    for (test, f, p) in tests {
        let Test { f: got, p: chance } = test.unwrap();
        relative("F", got, f, 1e-11);
        relative("p", chance, p, 1e-11);
    }

    // The interaction does not show at 0.05, and is pooled.
    assert_eq!(gauge.model, Model::Pooled);
    let pooled = gauge.components();
    near("repeatability", pooled.repeatability, 0.134_544_159_544_159, 1e-12);
    near("operators", pooled.operators, 0.023_385_565_052_231_8, 1e-12);
    near("gauge", pooled.gauge(), 0.157_929_724_596_391, 1e-12);
    near("parts", pooled.parts, 10.856_106_890_366_1, 1e-11);
    near("total", pooled.total(), 11.014_036_614_962_5, 1e-11);
    near("contribution", pooled.contribution().gauge, 1.433_895, 1e-6);
    near("study variation", pooled.study_variation().gauge, 11.974_536, 1e-6);
    let shares = pooled.contribution();
    near("shares add up", shares.repeatability + shares.reproducibility + shares.parts, 100.0, 1e-10);
    // By hand: 1.41 sqrt(10.8561 / 0.15793) = 11.69, cut.
    near("categories", pooled.categories(), 11.0, 0.0);

    // At 0.3 it is kept.
    let kept = ten_by_three().judge(0.3).unwrap();
    assert_eq!(kept.model, Model::WithInteraction);
    let full = kept.components();
    near("repeatability", full.repeatability, 0.127_777_777_8, 1e-9);
    near("interaction", full.interaction, 0.009_773_662_6, 1e-9);
    near("operators", full.operators, 0.022_633_744_9, 1e-9);
    near("parts", full.parts, 10.853_600_8, 1e-7);
}

/// Cano, Moguerza and Redchuk, "Six Sigma with R", 2012, chapter 5 (data seen in a public copy; reproduced by R 4.2.2's aov): components
/// that come out below 0 are 0, and F on repeatability.
#[test]
fn three_prototypes_by_three_operators() {
    let gauge = prototypes(3);
    for (got, expected) in
        squares(&gauge.anova).into_iter().zip([1.200_718_52, 0.052_940_74, 0.083_392_59, 0.3854])
    {
        near("squares", got, expected, 1e-8);
    }
    let Anova { parts, operators, interaction, repeatability } = gauge.anova;
    for (line, expected) in [(parts, 28.039_61), (operators, 1.236_29), (interaction, 0.973_71)] {
        near("F", line.against(&repeatability).unwrap().f, expected, 5e-6);
    }
    let full = gauge.full;
    near("repeatability", full.repeatability, 0.021_411_111_1, 1e-10);
    near("interaction", full.interaction, 0.0, 0.0);
    near("operators", full.operators, 0.000_624_691_358, 1e-12);
    near("parts", full.parts, 0.064_390_123_5, 1e-10);

    let gauge = prototypes(4);
    for (got, expected) in
        squares(&gauge.anova).into_iter().zip([2.355_118_52, 0.013_562_96, 0.052_348_15, 0.1474])
    {
        near("squares", got, expected, 1e-8);
    }
    let full = gauge.full;
    near("repeatability", full.repeatability, 0.008_188_888_89, 1e-11);
    near("interaction", full.interaction, 0.001_632_716_05, 1e-11);
    near("operators", full.operators, 0.0, 0.0);
    near("parts", full.parts, 0.129_385_803, 1e-9);
}

/// Operators' biases add up to nothing, and their limits rest on the error of the chosen model.
#[test]
fn biases_of_operators() {
    let gauge = ten_by_three().judge(0.05).unwrap();
    let biases = gauge.biases(0.95);
    near("sum", biases.iter().map(|bias| bias.bias).sum::<f64>(), 0.0, 1e-12);
    // Sum of squares of operators: 30 readings each.
    let squares: f64 = biases.iter().map(|bias| 30.0 * bias.bias.powi(2)).sum();
    near("squares", squares, gauge.anova.operators.squares, 1e-9);
    // By hand: pooled mean square 10.494444 / 78, t by R 4.2.2's qt(1 - 0.05 / 6, 78) alone.
    let reach = 2.446_706_105_960_735 * (0.134_544_159_544_159 * 2.0 / 90.0_f64).sqrt();
    near("reach", biases[0].limits.high - biases[0].bias, reach, 1e-11);
    // With the interaction kept, on that, with fewer degrees of freedom.
    let kept = ten_by_three().judge(0.3).unwrap();
    let reach = laws::t_for(0.05 / 3.0, 18.0) * (2.827_777_778 / 18.0 * 2.0 / 90.0_f64).sqrt();
    near("reach", kept.biases(0.95)[2].limits.high - kept.biases(0.95)[2].bias, reach, 1e-9);
}

#[test]
fn a_study_that_is_not_whole_says_what_is_missing() {
    let design = Design { parts: 2, operators: 2, repeats: 2 };
    let row = |part, operator, value| Row { part, operator, value };
    let mut rows =
        vec![row(0, 0, 1.0), row(0, 0, 2.0), row(0, 0, 2.5), row(1, 0, 4.0), row(1, 1, 5.0), row(1, 1, 6.0)];
    let gap = |part, operator, readings| Gap { part, operator, readings, planned: 2 };
    let error = Crossed::from_rows(design, &rows).unwrap_err();
    assert_eq!(error, GaugeError::Unbalanced(vec![gap(0, 0, 3), gap(0, 1, 0), gap(1, 0, 1)]));
    assert_eq!(
        error.to_string(),
        "not balanced: part 0 by operator 0 has 3 of 2 readings, part 0 by operator 1 has 0 of 2 readings, \
         part 1 by operator 0 has 1 of 2 readings"
    );
    rows.push(row(2, 0, 1.0));
    let outside = GaugeError::Outside { index: 6, part: 2, operator: 0 };
    assert_eq!(Crossed::from_rows(design, &rows), Err(outside));
    let outside = GaugeError::Outside { index: 0, part: 0, operator: 2 };
    assert_eq!(Crossed::from_rows(design, &[row(0, 2, 1.0)]), Err(outside));
    let none = Crossed::from_rows(design, &[]).unwrap_err();
    assert!(matches!(&none, GaugeError::Unbalanced(gaps) if gaps.len() == 4), "{none}");
    assert_eq!(Crossed::from_rows(design, &[row(0, 0, f64::NAN)]), Err(GaugeError::NotFinite { index: 0 }));
    assert_eq!(Crossed::new(design, &[1.0; 7]), Err(GaugeError::Count { readings: 7, planned: 8 }));
    for design in [
        Design { parts: 1, ..design },
        Design { operators: 1, ..design },
        Design { repeats: 1, ..design },
        Design { repeats: 0, ..design },
        Design { parts: usize::MAX, ..design },
        Design { parts: 1_000_000, ..design },
    ] {
        assert_eq!(Crossed::from_rows(design, &[]), Err(GaugeError::Design(design)));
        assert_eq!(Crossed::new(design, &[]), Err(GaugeError::Design(design)));
    }
    assert!(Crossed::new(Design { repeats: usize::MAX, ..design }, &[]).is_err());
}

#[test]
fn studies_without_noise() {
    let design = Design { parts: 2, operators: 2, repeats: 3 };
    let judge = |values: &[f64]| Crossed::new(design, values).unwrap().judge(0.25);
    // Thirds that are no whole binary numbers leave no rounding behind.
    assert_eq!(judge(&[0.1; 12]), Err(GaugeError::NoVariation));
    assert_eq!(judge(&[1e9 / 3.0; 12]), Err(GaugeError::NoVariation));
    // Only packs differ: all of it is theirs, and the bench tells any number of classes apart.
    let [small, large] = [[0.1; 6], [0.7; 6]];
    let gauge = judge(&[small, large].concat()).unwrap();
    assert_eq!(gauge.model, Model::Pooled);
    near("parts", gauge.components().contribution().parts, 100.0, 1e-9);
    assert!(gauge.components().categories().is_infinite());
    assert_eq!(gauge.anova.interaction.against(&gauge.anova.repeatability), None);
    assert_eq!(gauge.anova.parts.against(&gauge.anova.pooled()), Some(Test { f: f64::INFINITY, p: 0.0 }));
    // Ties in every cell, but an interaction: it shows beyond doubt.
    let crossed = [[1.0; 3], [2.0; 3], [2.0; 3], [1.0; 3]].concat();
    let gauge = judge(&crossed).unwrap();
    assert_eq!(gauge.model, Model::WithInteraction);
    // Mean square 3 from three readings in a cell.
    near("interaction", gauge.components().interaction, 1.0, 1e-12);
    let study = Crossed::new(design, &crossed).unwrap();
    for alpha in [-0.1, 1.1, f64::NAN] {
        assert!(matches!(study.judge(alpha), Err(GaugeError::Chance { .. })), "{alpha}");
    }
}

/// A bench of six slots, one of them 40 mAh low, read with 12 packs and a noise of 15 mAh: variances come back, and the slots' biases lie
/// within their limits as often as they should.
#[test]
fn simulated_studies_give_back_what_they_were_made_of() {
    let design = Design { parts: 12, operators: 6, repeats: 2 };
    let slots = [-40.0, 6.0, 10.0, 4.0, 8.0, 12.0];
    let mut rng = ChaCha8Rng::seed_from_u64(5);
    let studies = 2_000;
    let (mut chosen, mut repeatability, mut operators, mut parts) = (0.0, 0.0, 0.0, 0.0);
    let (mut held, mut found) = (0_u32, 0_u32);
    for _ in 0..studies {
        let packs: Vec<f64> = (0..design.parts).map(|_| 2000.0 + 60.0 * gauss(&mut rng)).collect();
        let values: Vec<f64> = packs
            .iter()
            .flat_map(|pack| slots.iter().map(move |slot| pack + slot))
            .flat_map(|mean| [mean, mean])
            .map(|mean| mean + 15.0 * gauss(&mut rng))
            .collect();
        let gauge = Crossed::new(design, &values).unwrap().judge(0.25).unwrap();
        let biases = gauge.biases(0.95);
        held += u32::from(biases.iter().zip(slots).all(|(bias, slot)| bias.limits.holds(slot)));
        found += u32::from(biases[0].limits.high < 0.0 && biases[0].operator == 0);
        chosen += gauge.components().repeatability / f64::from(studies);
        repeatability += gauge.pooled.repeatability / f64::from(studies);
        operators += gauge.pooled.operators / f64::from(studies);
        parts += gauge.pooled.parts / f64::from(studies);
    }
    relative("repeatability", repeatability, 225.0, 0.01);
    relative("parts", parts, 3_600.0, 0.03);
    // The slots' own variance about their mean of 0: 1960 / 5.
    relative("operators", operators, 392.0, 0.02);
    // No interaction was put in; where it is kept by chance, repeatability is too small.
    relative("repeatability of the chosen model", chosen, 0.965 * 225.0, 0.01);
    assert_eq!(found, studies);
    // Bonferroni holds a little more often than it says; choosing the model by the data costs some of it.
    let share = f64::from(held) / f64::from(studies);
    assert!((0.94..0.98).contains(&share), "{share}");
}

proptest! {
    /// Rows in any order are the same study, and a constant on all readings changes no variance.
    #[test]
    fn order_and_origin_do_not_matter(
        values in prop::collection::vec(-100.0_f64..100.0, 12),
        order in Just((0..12_usize).collect::<Vec<_>>()).prop_shuffle(),
        origin in -1e4_f64..1e4,
    ) {
        let design = Design { parts: 3, operators: 2, repeats: 2 };
        let rows: Vec<Row> = order
            .iter()
            .map(|at| Row { part: at / 4, operator: at / 2 % 2, value: values[*at] + origin })
            .collect();
        let one = Crossed::new(design, &values).unwrap().judge(0.25).unwrap();
        let other = Crossed::from_rows(design, &rows).unwrap().judge(0.25).unwrap();
        for (one, other) in squares(&one.anova).into_iter().zip(squares(&other.anova)) {
            prop_assert!((one - other).abs() <= 1e-6 * (1.0 + one));
        }
        // The parts of the sum of squares add up to that about the grand mean.
        let mean = values.iter().sum::<f64>() / 12.0;
        let total: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
        prop_assert!((one.anova.total().squares / total - 1.0).abs() < 1e-9);
        prop_assert!((one.mean() - mean).abs() < 1e-9);
    }
}
