//! Risks of verdicts and guard bands, held against standards and against counting.

use packmuster::stats::guard::global::{Part, Risks};
use packmuster::stats::guard::{self, GuardError, Normal, Range};

fn normal(mean: f64, sd: f64) -> Normal {
    Normal::new(mean, sd).unwrap()
}

fn near(seen: f64, expected: f64, tolerance: f64) {
    assert!((seen - expected).abs() <= tolerance, "{seen} is not {expected}");
}

fn fleet(mean: f64, sd: f64) -> [Part; 1] {
    [Part { weight: 1.0, values: normal(mean, sd) }]
}

/// ILAC-G8:09/2019, with a guard band `w = r U` and `U = 2 u`: r = 1 (below 2.5 %) and r = 0 (below 50 %) as seen in a public
/// copy and quoted from it, the other rows from memory.
#[test]
fn risk_at_an_acceptance_limit_is_that_of_the_guideline() {
    let (limit, u) = (1600.0, 20.0);
    for (r, risk) in [
        (0.0, 0.5),
        (0.5, 0.158_655_253_93),
        (0.83, 0.048_457_226_27),
        (1.0, 0.022_750_131_95),
        (1.5, 0.001_349_898_03),
        (3.0, 9.865_876_45e-10),
    ] {
        let reading = normal(limit + r * 2.0 * u, u);
        let seen = Range::at_least(limit).unwrap().fails(reading);
        near(seen / risk, 1.0, 1e-8);
        near(seen, risk, 1e-9);
        near(guard::guard_band(u, risk).unwrap(), r * 2.0 * u, 1e-6);
    }
}

/// JCGM 106:2012, table 1 and the examples of 7.3.2 to 7.4 (from memory; the arithmetic by scipy 1.17.1).
#[test]
fn probabilities_of_conformity_are_those_of_the_guide() {
    for (conformity, z) in [(0.80, 0.8416), (0.90, 1.2816), (0.95, 1.6449), (0.99, 2.3263), (0.999, 3.0902)] {
        near(guard::guard_band(1.0, 1.0 - conformity).unwrap(), z, 5e-5);
        near(guard::acceptance_limit(490.0, 8.6, 1.0 - conformity).unwrap(), 490.0 + 8.6 * z, 5e-4);
    }
    let zener = Range::at_most(-5.40).unwrap();
    near(zener.holds(normal(-5.47, 0.05)), 0.919_243_3, 1e-6);
    let burst = Range::at_least(490.0).unwrap();
    near(burst.holds(normal(509.7, 8.6)), 0.989_009_5, 1e-6);
    let oil = Range::between(12.5, 16.3).unwrap();
    near(oil.holds(normal(13.6, 1.8)), 0.662_629_8, 1e-6);
    near(oil.holds(normal(13.6, 1.8)) + oil.fails(normal(13.6, 1.8)), 1.0, 1e-15);
}

/// The formulas of JCGM 106, clause 9.5, computed with scipy's quad only: no outside publication.
#[test]
fn global_risks_are_those_of_an_adaptive_quadrature() {
    let between = |limit: f64| Range::between(-limit, limit).unwrap();
    for (w, consumer, producer) in [
        (0.0, 0.018_942_206_7, 0.037_207_800_2),
        (0.04, 0.004_334_072_22, 0.114_656_578),
        (0.08, 0.000_468_633_599, 0.247_669_64),
        (-0.04, 0.044_898_165_3, 0.007_097_031_85),
    ] {
        let risks = Risks::of(&fleet(0.0, 0.12), 0.04, between(0.2), between(0.2 - w)).unwrap();
        near(risks.consumer, consumer, 1e-8);
        near(risks.producer, producer, 1e-8);
    }
    let limit = Range::at_least(1600.0).unwrap();
    for (lowest, consumer, producer) in [
        (1600.0, 0.005_180_757_13, 0.009_238_799_31),
        (1620.0, 0.001_168_175_27, 0.028_229_245_8),
        (1640.0, 0.000_125_120_206, 0.060_839_545_9),
    ] {
        let risks = Risks::of(&fleet(1750.0, 80.0), 20.0, limit, Range::at_least(lowest).unwrap()).unwrap();
        near(risks.consumer, consumer, 1e-8);
        near(risks.producer, producer, 1e-8);
    }
}

/// What is accepted is the good without the producer's risk, and the bad of the consumer's, whichever spread is the wider one.
#[test]
fn risks_add_up_for_any_spreads() {
    let (limit, rule) = (Range::at_least(1600.0).unwrap(), Range::at_least(1610.0).unwrap());
    for (sd, u) in [(80.0, 20.0), (1.0, 60.0), (300.0, 0.01), (40.0, 40.0), (80.0, 0.0), (0.0, 20.0)] {
        let risks = Risks::of(&fleet(1605.0, sd), u, limit, rule).unwrap();
        let good = limit.holds(normal(1605.0, sd));
        near(good - risks.producer + risks.consumer, risks.accepted, 1e-12);
        near(risks.accepted, rule.holds(normal(1605.0, sd.hypot(u))), 1e-12);
    }
}

/// `P(x < 0, y >= 0) = acos(r) / (2 pi)` for two normal values around 0 with correlation `r` (W. F. Sheppard, 1899, from memory).
#[test]
fn risk_at_the_middle_of_a_fleet_has_a_closed_form() {
    let limit = Range::at_least(0.0).unwrap();
    for (sd, u) in [(1.0, 1.0), (5.0, 0.2), (0.1, 3.0), (1.0, 1e-4)] {
        let risks = Risks::of(&fleet(0.0, sd), u, limit, limit).unwrap();
        let correlation: f64 = sd / f64::hypot(sd, u);
        near(risks.consumer, correlation.acos() / std::f64::consts::TAU, 1e-9);
        near(risks.producer, risks.consumer, 1e-14);
    }
}

/// A fleet of parts risks the mean of what they risk, and one cut into known values comes near its normal law.
#[test]
fn parts_of_a_fleet_count_by_their_weights() {
    let (limit, rule) = (Range::at_least(1600.0).unwrap(), Range::at_least(1620.0).unwrap());
    let (new, old) = (normal(1900.0, 60.0), normal(1620.0, 90.0));
    let of = |parts: &[Part]| Risks::of(parts, 20.0, limit, rule).unwrap();
    let both = of(&[Part { weight: 30.0, values: new }, Part { weight: 10.0, values: old }]);
    let (of_new, of_old) =
        (of(&[Part { weight: 7.0, values: new }]), of(&[Part { weight: 0.1, values: old }]));
    near(both.consumer, 0.75 * of_new.consumer + 0.25 * of_old.consumer, 1e-15);
    near(both.producer, 0.75 * of_new.producer + 0.25 * of_old.producer, 1e-15);
    near(both.consumer_of_accepted(), both.consumer / both.accepted, 1e-15);

    let grain = 0.05;
    let known: Vec<Part> = (-14_000..14_000)
        .map(|place| {
            let x = 1620.0 + grain * (f64::from(place) + 0.5);
            let weight = (-0.5 * ((x - 1620.0) / 90.0).powi(2)).exp();
            Part { weight, values: normal(x, 0.0) }
        })
        .collect();
    near(of(&known).consumer, of_old.consumer, 1e-7);
    near(of(&known).producer, of_old.producer, 1e-7);
}

/// What was known before and the reading, by their precisions: the product of the two densities, summed on a grid.
#[test]
fn a_reading_updates_what_was_known() {
    let (before, reading) = (normal(1750.0, 80.0), normal(1640.0, 35.0));
    let after = before.updated(reading);
    let (mut weight, mut mean, mut square) = (0.0, 0.0, 0.0);
    for step in 0..20_000 {
        let x = 1200.0 + 0.05 * f64::from(step);
        let density = (-0.5 * (((x - 1750.0) / 80.0).powi(2) + ((x - 1640.0) / 35.0).powi(2))).exp();
        weight += density;
        mean += density * x;
        square += density * x * x;
    }
    near(after.mean(), mean / weight, 1e-6);
    near(after.sd(), (square / weight - (mean / weight).powi(2)).sqrt(), 1e-6);
    assert_eq!(normal(5.0, 0.0).updated(reading), normal(5.0, 0.0), "what is certain stays");
    assert_eq!(before.updated(normal(7.0, 0.0)), normal(7.0, 0.0), "an exact reading tells all");
    assert_eq!(normal(5.0, 0.0).updated(normal(7.0, 0.0)), normal(7.0, 0.0));
}

#[test]
fn impossible_numbers_are_errors() {
    assert!(matches!(Normal::new(f64::NAN, 1.0), Err(GuardError::NotNormal { .. })));
    assert!(matches!(Normal::new(0.0, -1.0), Err(GuardError::NotNormal { .. })));
    assert_eq!(Range::between(2.0, 2.0), Err(GuardError::Empty { low: 2.0, high: 2.0 }));
    assert!(Range::at_least(f64::NAN).is_err());
    assert_eq!(guard::guard_band(1.0, 1.0), Err(GuardError::Risk(1.0)));
    assert!(guard::guard_band(-1.0, 0.5).is_err());
    let limit = Range::at_least(0.0).unwrap();
    assert_eq!(Risks::of(&[], 1.0, limit, limit), Err(GuardError::Weights));
    let weight = |weight| Part { weight, values: normal(0.0, 1.0) };
    assert_eq!(Risks::of(&[weight(-1.0), weight(3.0)], 1.0, limit, limit), Err(GuardError::Weights));
    assert_eq!(
        guard::guard_band(1.0, 1.5).unwrap_err().to_string(),
        "a risk lies between 0 and 1, and 1.5 does not"
    );
}
