//! The mixed model against published fits.
#![expect(clippy::unreadable_literal, reason = "published values stand as they were printed")]

use packmuster::stats::fade::mixed::{self, Criterion, Fit, Shape, Way};
use packmuster::stats::fade::{FadeError, NO_SLOT, Readings};

const EXACT: Way = Way { shape: Shape::WHOLE, criterion: Criterion::Restricted, tolerance: 1e-9, threads: 1 };

fn near(value: f64, expected: f64, relative: f64) {
    assert!((value - expected).abs() <= relative * expected.abs(), "{value} is not {expected}");
}

/// The rows of a file as readings: subject (in order of first sight), clock, value, slot.
fn read(
    text: &str,
    row: impl Fn(&[&str]) -> (String, f32, f32, String),
) -> (Readings, Vec<String>, Vec<String>) {
    let (mut subjects, mut slots): (Vec<String>, Vec<String>) = (Vec::new(), Vec::new());
    let place = |names: &mut Vec<String>, name: String| {
        names.iter().position(|known| *known == name).unwrap_or_else(|| {
            names.push(name);
            names.len() - 1
        })
    };
    let mut rows: Vec<Vec<(f32, f32, u16)>> = Vec::new();
    for line in text.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').map(|cell| cell.trim_matches('"')).collect();
        let (subject, clock, value, slot) = row(&cells);
        let subject = place(&mut subjects, subject);
        let slot = if slot.is_empty() { NO_SLOT } else { u16::try_from(place(&mut slots, slot)).unwrap() };
        rows.resize(rows.len().max(subject + 1), Vec::new());
        rows[subject].push((clock, value, slot));
    }
    let mut readings = Readings::new();
    for row in rows {
        readings.push(0, row);
    }
    (readings, subjects, slots)
}

fn sleepstudy() -> (Readings, Vec<String>) {
    let (readings, subjects, _) = read(include_str!("data/sleepstudy.csv"), |cells| {
        (cells[2].to_owned(), cells[1].parse().unwrap(), cells[0].parse().unwrap(), String::new())
    });
    (readings, subjects)
}

fn line_of(fit: &Fit, readings: &Readings, pack: usize) -> mixed::PackLine {
    fit.pack_line(0, readings.of(pack).map(|(x, y, slot)| (f64::from(x), f64::from(y), slot, 1.0)))
}

/// Belenky et al. (2003), `Reaction ~ Days + (Days | Subject)`: Bates, Maechler, Bolker and Walker, JSS 67(1), 2015 (criterion as in
/// lme4's reference pages; components from memory of the paper), to the digits of the closed form of the balanced design.
#[test]
fn the_sleep_study_is_fitted_as_published() {
    let (readings, subjects) = sleepstudy();
    let fit = mixed::fit(&readings, &EXACT).unwrap();
    near(fit.criterion, 1743.628272, 1e-7);
    near(fit.groups[0].level, 251.4051048, 1e-6);
    near(fit.groups[0].slope, 10.467286, 1e-6);
    near(fit.group_errors[0].level, 6.82455653, 1e-5);
    near(fit.group_errors[0].slope, 1.5457889, 1e-5);
    near(fit.pack[0], 612.0899387, 1e-5);
    near(fit.pack[1], 9.6043333, 2e-4);
    near(fit.pack[2], 35.0716605, 1e-5);
    near(fit.residual, 654.9410271, 1e-5);
    for (subject, level, slope) in
        [("308", 2.2585656, 9.1989719), ("309", -40.3985802, -8.6197026), ("337", 34.8903508, 8.628284)]
    {
        let place = subjects.iter().position(|name| name == subject).unwrap();
        let line = line_of(&fit, &readings, place);
        near(line.off.level, level, 1e-4);
        near(line.off.slope, slope, 1e-5);
    }
    let line = line_of(&fit, &readings, 0);
    for (value, expected) in line.covariance.into_iter().zip([145.70509, -21.44443, 5.31227]) {
        near(value, expected, 1e-4);
    }
}

/// The same by the full likelihood, and without correlation: tests of MixedModels.jl (objectives 1751.9393444636682 and
/// 1752.003255140962; seen in a public copy).
#[test]
fn the_sleep_study_is_fitted_by_full_likelihood_too() {
    let (readings, _) = sleepstudy();
    let full = Way { criterion: Criterion::Full, ..EXACT };
    let fit = mixed::fit(&readings, &full).unwrap();
    near(fit.criterion, 1751.9393444636682, 1e-8);
    near(fit.pack[0].sqrt(), 23.78066438213187, 1e-5);
    near(fit.pack[2].sqrt(), 5.7168446983832775, 1e-5);
    near(fit.group_errors[0].level, 6.632295312722272, 1e-5);
    near(fit.group_errors[0].slope, 1.5022387911441102, 1e-5);
    let apart = Shape { correlated: false, ..Shape::WHOLE };
    let fit = mixed::fit(&readings, &Way { shape: apart, ..full }).unwrap();
    near(fit.criterion, 1752.003255140962, 1e-7);
    near(fit.pack[0].sqrt(), 24.171269957611873, 1e-4);
    near(fit.pack[2].sqrt(), 5.79939919963132, 1e-4);
    near(fit.residual.sqrt(), 25.55613836753517, 1e-4);
    let fit = mixed::fit(&readings, &Way { shape: apart, ..EXACT }).unwrap();
    near(fit.criterion, 1743.66929358, 1e-7);
    near(fit.pack[0], 627.56911673, 1e-4);
    near(fit.pack[2], 35.85820178, 1e-4);
    near(fit.residual, 653.58380495, 1e-4);
}

/// Davies and Goldsmith (1972), yields of dyestuff by batch: the closed form of a balanced one-way layout.
#[test]
fn the_dyestuff_is_fitted_as_published() {
    let (readings, names, _) = read(include_str!("data/dyestuff.csv"), |cells| {
        (cells[0].to_owned(), 0.0, cells[1].parse().unwrap(), String::new())
    });
    let level = Shape { slope: false, correlated: false, slots: false };
    let fit = mixed::fit(&readings, &Way { shape: level, ..EXACT }).unwrap();
    near(fit.criterion, 319.654276842, 1e-8);
    near(fit.groups[0].level, 1527.5, 1e-9);
    near(fit.group_errors[0].level, 19.38341194, 1e-5);
    near(fit.pack[0], 1764.05, 1e-5);
    near(fit.residual, 2451.25, 1e-5);
    let expected = [-17.6068512, 0.39126336, 28.5622253, -23.0845383, 56.7331873, -44.9952865];
    for (pack, expected) in expected.into_iter().enumerate() {
        near(line_of(&fit, &readings, pack).off.level, expected, 1e-5);
    }
    assert_eq!(names, ["A", "B", "C", "D", "E", "F"]);
    let fit = mixed::fit(&readings, &Way { shape: level, criterion: Criterion::Full, ..EXACT }).unwrap();
    near(fit.criterion, 327.32705988112673, 1e-8);
    near(fit.pack[0].sqrt(), 37.260343703061764, 1e-5);
    near(fit.group_errors[0].level, 17.69455374, 1e-5);
}

/// Davies and Goldsmith (1972), diameters by plate and sample, crossed: the analysis of variance in closed form, and MixedModels.jl's
/// objective 332.1883486700085 (seen in a public copy).
#[test]
fn the_penicillin_is_fitted_as_published() {
    let (readings, _, samples) = read(include_str!("data/penicillin.csv"), |cells| {
        (cells[1].to_owned(), 0.0, cells[0].parse().unwrap(), cells[2].to_owned())
    });
    let crossed = Shape { slope: false, correlated: false, slots: true };
    let fit = mixed::fit(&readings, &Way { shape: crossed, ..EXACT }).unwrap();
    near(fit.criterion, 330.860588991, 1e-8);
    near(fit.groups[0].level, 22.97222222, 1e-8);
    near(fit.group_errors[0].level, 0.8085735, 1e-5);
    near(fit.pack[0], 0.7169082126, 1e-5);
    near(fit.slot, 3.7309178744, 1e-5);
    near(fit.residual, 0.3024154589, 1e-5);
    assert_eq!((samples.len(), fit.islands), (6, 1));
    let expected = [2.18705797, -1.01047615, 1.93789947, -0.09689497, -0.01384214, -3.00374417];
    for (slot, expected) in fit.slots.iter().zip(expected) {
        near(*slot, expected, 1e-5);
    }
    near(line_of(&fit, &readings, 0).off.level, 0.80454706, 1e-5);
    let fit = mixed::fit(&readings, &Way { shape: crossed, criterion: Criterion::Full, ..EXACT }).unwrap();
    near(fit.criterion, 332.1883486700085, 1e-8);
    near(fit.pack[0].sqrt(), 0.845571948, 1e-5);
    // The public optimum stops this far from the lowest point.
    near(fit.slot.sqrt(), 1.770666461, 2e-5);
    near(fit.residual.sqrt(), 0.549931907, 1e-5);
}

/// NASA's four cells, discharges 1 to 80, clock in tens of discharges: lme4 1.1-31 only.
#[test]
fn four_cells_are_fitted_as_by_a_reference_library() {
    let (readings, names, _) = read(include_str!("data/nasa_capacity_4.csv"), |cells| {
        (
            cells[0].to_owned(),
            0.1 * cells[1].parse::<f32>().unwrap(),
            cells[5].parse().unwrap(),
            String::new(),
        )
    });
    let mut first = Readings::new();
    for pack in 0..readings.packs() {
        first.push(0, readings.of(pack).take(80));
    }
    let fit = mixed::fit(&first, &EXACT).unwrap();
    near(fit.criterion, -1262.6097796, 1e-5);
    near(fit.groups[0].level, 1.9284312935, 1e-6);
    near(fit.groups[0].slope, -0.0457147338, 1e-5);
    near(fit.pack[0], 0.007822347552, 1e-3);
    near(fit.pack[2], 0.000289369218, 1e-3);
    near(fit.residual, 0.000959482943, 1e-5);
    for (name, level, slope) in [("B0005", 1.88739569, -0.0336761866), ("B0006", 2.05063228, -0.069540142)] {
        let place = names.iter().position(|known| known == name).unwrap();
        let line = line_of(&fit, &first, place);
        near(fit.groups[0].level + line.off.level, level, 1e-5);
        near(fit.groups[0].slope + line.off.slope, slope, 1e-4);
    }
}

#[test]
fn what_cannot_be_told_apart_is_refused() {
    let mut first_readings = Readings::new();
    for pack in 0..50_u16 {
        first_readings.push(0, [(0.0, 1000.0 + f32::from(pack), pack % 5)]);
    }
    assert_eq!(
        mixed::fit(&first_readings, &EXACT),
        Err(FadeError::FewPacks { packs: 0, times: 3, needed: 3 })
    );
    let mut twice = Readings::new();
    for pack in 0..50_u16 {
        let level = 1000.0 + f32::from(pack * 7 % 13);
        twice.push(0, [(0.0, level, 0), (1.0, level - 50.0, 0)]);
    }
    let refused = mixed::fit(&twice, &EXACT);
    assert!(
        matches!(refused, Err(FadeError::FewPacks { packs: 0, .. })),
        "two readings make any line: {refused:?}"
    );
    assert!(mixed::fit(&Readings::new(), &EXACT).is_err());
}

/// Packs that never change their slot carry no slots: they are left out, and nothing is said of them.
#[test]
fn slots_that_no_pack_connects_are_left_out() {
    let mut apart = Readings::new();
    for pack in 0..60_u16 {
        let reading = |k: u16| {
            let wobble = f32::from((pack * 31 + k * 17) % 23) - 11.0;
            (f32::from(k), 1000.0 + f32::from(pack % 7) * 9.0 - 40.0 * f32::from(k) + wobble, pack % 6)
        };
        apart.push(0, (0..5).map(reading));
    }
    let fit = mixed::fit(&apart, &EXACT).unwrap();
    assert!(fit.slots.is_empty() && fit.islands == 0);
    assert!((fit.groups[0].slope + 40.0).abs() < 2.0, "{}", fit.groups[0].slope);
}
