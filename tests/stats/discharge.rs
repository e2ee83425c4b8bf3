//! Charge counted from logs: NASA's cells, closed forms, and every way in which a log can be wrong.

use packmuster::stats::discharge::{Discharge, End, Flaw, Meter, Rule, Sample};

fn samples(text: &str) -> Vec<(String, Sample)> {
    text.lines()
        .skip(1)
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            let number = |place: usize| cells[place].parse::<f64>().unwrap();
            let sample = Sample {
                time_s: number(2),
                voltage_v: number(3),
                discharge_a: -number(4),
                temperature_c: Some(number(5)),
            };
            (format!("{} {}", cells[0], cells[1]), sample)
        })
        .collect()
}

fn measure(rule: Rule, samples: &[Sample]) -> Result<Discharge, Flaw> {
    let mut meter = Meter::new(rule);
    samples.iter().try_for_each(|&sample| meter.push(sample))?;
    meter.finish()
}

/// NASA Ames Prognostics Center of Excellence, "Battery Data Set" (Saha and Goebel, 2007; US Government work): raw logs of 39 discharges at 2 A against their
/// published capacities. Its rule: trapezoids until the first logged sample at or below 2.7 V under load (more than 1 A).
#[test]
fn the_charge_of_nasas_logs_is_their_published_capacity() {
    let capacities = include_str!("data/nasa_capacity_4.csv");
    let published = |name: &str| -> f64 {
        let row = capacities.lines().skip(1).map(|line| line.split(',').collect::<Vec<_>>());
        let found = row.into_iter().find(|row| format!("{} {}", row[0], row[1]) == name).unwrap();
        found[5].parse().unwrap()
    };
    let all = samples(include_str!("data/nasa_discharge_sample.csv"));
    let mut names: Vec<&String> = all.iter().map(|(name, _)| name).collect();
    names.dedup();
    assert_eq!(names.len(), 39);
    let (mut worst, mut sum, mut most) = (0.0_f64, 0.0, 0.0_f64);
    for name in &names {
        let log: Vec<Sample> =
            all.iter().filter(|(other, _)| other == *name).map(|&(_, sample)| sample).collect();
        let rule = Rule { end_v: 2.7, rest_a: 1.0, end: End::FirstSample, ..Rule::default() };
        let found = measure(rule, &log).unwrap();
        worst = worst.max((found.charge_ah - published(name)).abs());
        let between = measure(Rule { end: End::Interpolated, ..rule }, &log).unwrap();
        assert!((between.first_sample_ah - found.charge_ah).abs() < 1e-15);
        // The end lies between the last two samples: at 2 A and some 20 s apart that is at most 0.0112 Ah.
        let bias = between.charge_ah - found.charge_ah;
        assert!(bias <= 0.0, "{name}");
        (sum, most) = (sum + bias, most.max(-bias));
        // A 2 Ah cell at 2 A: its mean voltage lies between end and full, and the load's step tells its resistance.
        assert!(between.mean_v > 3.2 && between.mean_v < 3.7, "{name}: {}", between.mean_v);
        let step = between.step.unwrap();
        assert!(step.resistance_ohm > 0.05 && step.resistance_ohm < 0.3, "{name}: {step:?}");
        assert!(between.temperature_c.unwrap() > 24.0 && between.temperature_c.unwrap() < 45.0);
    }
    // Measured: off by 2.23e-5 Ah at most; interpolated -0.0040 Ah on average, 0.0095 at most.
    // Bar: 1e-4 Ah. The numpy computation of the same rule gives 6.92e-5 at most over all 636 logs.
    assert!(worst < 1e-4, "{worst}");
    // It interpolates -0.0033 Ah on average and 0.0112 at most over all logs (computed with numpy, not published).
    assert!((sum / 39.0 + 0.0033).abs() < 0.001 && most < 0.0113, "{} {most}", sum / 39.0);
}

fn line(count: u32, apart_s: f64, value: impl Fn(f64) -> (f64, f64)) -> Vec<Sample> {
    (0..count)
        .map(|place| {
            let time_s = apart_s * f64::from(place);
            let (voltage_v, discharge_a) = value(time_s);
            Sample { time_s, voltage_v, discharge_a, temperature_c: None }
        })
        .collect()
}

/// Current and voltage that are straight in time: charge and energy have closed forms. `Q = a T - b T^2 / 2`; the energy is that of
/// the trapezoids, which for a product of two lines is too much by `dI dU n / 12` a piece (Euler and Maclaurin, by hand).
#[test]
fn straight_lines_give_their_closed_forms() {
    let log = line(401, 10.0, |t| (4.0 - t / 2000.0, 1.5 - t / 8000.0));
    let found = measure(Rule { end_v: 3.002_5, ..Rule::default() }, &log).unwrap();
    let end = 1995.0;
    assert!((found.time_s - end).abs() < 1e-9);
    assert!((found.charge_ah - (1.5 * end - end * end / 16_000.0) / 3600.0).abs() < 1e-12);
    let exact = 4.0 * 1.5 * end - (4.0 / 8000.0 + 1.5 / 2000.0) * end * end / 2.0
        + end.powi(3) / (3.0 * 8000.0 * 2000.0);
    let piece = |apart: f64| apart.powi(3) / (6.0 * 2000.0 * 8000.0);
    assert!((found.energy_wh - (exact + 199.0 * piece(10.0) + piece(5.0)) / 3600.0).abs() < 1e-12);
    assert!((found.mean_v - found.energy_wh / found.charge_ah).abs() < 1e-12);
    assert_eq!((found.step, found.temperature_c), (None, None));
}

/// A pack of 100 milliohm behind an open voltage that falls: a pulse of rest in the middle, and the step when the load comes on.
#[test]
fn a_step_of_the_current_tells_the_resistance() {
    let log = line(400, 5.0, |t| {
        let current = if t < 20.0 || (500.0..520.0).contains(&t) { 0.0 } else { 0.8 };
        (4.0 - t / 1500.0 - 0.1 * current, current)
    });
    let found = measure(Rule { end_v: 3.0, ..Rule::default() }, &log).unwrap();
    let step = found.step.unwrap();
    // The open voltage itself falls by 5 s / 1500 between the samples.
    assert!((step.resistance_ohm - 0.1 - 5.0 / 1500.0 / 0.8).abs() < 1e-9, "{step:?}");
    assert_eq!((step.from_to_a, step.over_s), ((0.0, 0.8), 5.0));
    assert!((found.time_s - (1380.0 - 20.0)).abs() < 1e-6, "{}", found.time_s);
    // The pause draws nothing, its two flanks half: 1,340 s at 0.8 A and a half interval each way, three flanks.
    assert!(
        (found.charge_ah - 0.8 * (1360.0 - 20.0 - 5.0 + 7.5) / 3600.0).abs() < 1e-9,
        "{}",
        found.charge_ah
    );
    // Samples a minute apart tell no resistance.
    let slow: Vec<Sample> = log.iter().copied().step_by(12).collect();
    assert_eq!(measure(Rule { end_v: 3.0, ..Rule::default() }, &slow).unwrap().step, None);
}

#[test]
fn what_is_wrong_with_a_log_is_said() {
    let good = line(200, 10.0, |t| (4.0 - t / 1000.0, 1.0));
    let rule = Rule { end_v: 3.0, ..Rule::default() };
    assert!(measure(rule, &good).is_ok());
    let change = |place: usize, change: fn(&mut Sample)| {
        let mut log = good.clone();
        change(&mut log[place]);
        measure(rule, &log)
    };
    assert_eq!(change(50, |sample| sample.time_s = 400.0), Err(Flaw::Backwards { by_s: 90.0 }));
    assert_eq!(change(50, |sample| sample.voltage_v = f64::NAN), Err(Flaw::NoNumber));
    assert_eq!(change(50, |sample| sample.temperature_c = Some(f64::INFINITY)), Err(Flaw::NoNumber));
    assert_eq!(change(50, |sample| sample.discharge_a = -0.5), Err(Flaw::Charged { charge_a: 0.5 }));
    let gap: Vec<Sample> = good.iter().copied().filter(|s| !(200.0..600.0).contains(&s.time_s)).collect();
    assert_eq!(measure(rule, &gap), Err(Flaw::Gap { gap_s: 410.0, most_s: 300.0 }));
    assert!(measure(Rule { gap_s: 410.0, ..rule }, &gap).is_ok());
    assert_eq!(measure(Rule { end_v: 4.0, ..rule }, &good), Err(Flaw::Empty { voltage_v: 4.0, end_v: 4.0 }));
    let Err(Flaw::NeverEnds { lowest_v, charge_ah, .. }) = measure(rule, &good[..100]) else { panic!() };
    assert!((lowest_v - 3.01).abs() < 1e-9 && (charge_ah - 990.0 / 3600.0).abs() < 1e-12);
    let turned: Vec<Sample> = good.iter().map(|s| Sample { discharge_a: -s.discharge_a, ..*s }).collect();
    assert_eq!(measure(rule, &turned), Err(Flaw::OnlyCharged));
    assert_eq!(measure(rule, &[]), Err(Flaw::NoLoad));
    // A second discharge after a charge: which one is meant? And times that stand still.
    let mut twice = good.clone();
    twice.push(Sample { time_s: 2000.0, voltage_v: 3.6, discharge_a: -0.5, temperature_c: None });
    twice.extend(good.iter().map(|s| Sample { time_s: s.time_s + 2010.0, ..*s }));
    assert_eq!(measure(rule, &twice), Err(Flaw::Several));
    let still: Vec<Sample> = good.iter().map(|s| Sample { time_s: 7.0, ..*s }).collect();
    assert_eq!(measure(rule, &still), Err(Flaw::NoTime));
    // Low while nothing is drawn is no end: the voltage counts under load.
    let idle = line(10, 10.0, |_| (2.0, 0.0));
    assert_eq!(measure(rule, &idle), Err(Flaw::NoLoad));
}

/// A charge before, and whatever comes after the end, are passed over; the curve is thinned and keeps its ends.
#[test]
fn only_the_first_discharge_is_measured() {
    let alone = line(200, 10.0, |t| (4.0 - t / 1000.0, 1.0));
    let rule = Rule { end_v: 3.0, points: 50, ..Rule::default() };
    let expected = measure(rule, &alone).unwrap();
    let mut whole = line(50, 10.0, |t| (3.5 + t / 1000.0, -0.5));
    whole.extend(line(5, 10.0, |_| (4.0, 0.0)).iter().map(|s| Sample { time_s: s.time_s + 500.0, ..*s }));
    whole.extend(alone.iter().map(|s| Sample { time_s: s.time_s + 550.0, ..*s }));
    whole.push(Sample { time_s: 3000.0, voltage_v: 3.6, discharge_a: -0.5, temperature_c: None });
    whole.push(Sample { time_s: 10.0, voltage_v: 3.6, discharge_a: -0.5, temperature_c: None });
    let found = measure(rule, &whole).unwrap();
    assert!(found.charged_before && !expected.charged_before);
    // The load came on somewhere in the last ten seconds of rest.
    assert!((found.charge_ah - expected.charge_ah - 0.5 * 10.0 / 3600.0).abs() < 1e-12);
    let ends = |curve: &[(f64, f64)]| (curve[0].0, curve[curve.len() - 1].0);
    assert!(found.curve.len() <= 51 && found.curve.len() > 20, "{}", found.curve.len());
    assert_eq!(ends(&found.curve), (0.0, 1000.0));
}

/// The rule at the sample itself where the load comes on only then: no line of voltages joins rest and load.
#[test]
fn the_end_is_not_interpolated_from_a_rest() {
    let mut log = line(50, 10.0, |t| (4.0 - t / 1000.0, 1.0));
    log.push(Sample { time_s: 500.0, voltage_v: 3.9, discharge_a: 0.0, temperature_c: None });
    log.push(Sample { time_s: 510.0, voltage_v: 2.9, discharge_a: 1.0, temperature_c: None });
    let found = measure(Rule { end_v: 3.0, ..Rule::default() }, &log).unwrap();
    assert_eq!((found.ended_s, found.charge_ah), (510.0, found.first_sample_ah));
}
