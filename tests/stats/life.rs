//! How long packs last, held against published examples, against direct search and against known truth.

use packmuster::stats::life::kaplan::Curve;
use packmuster::stats::life::weibull::Weibull;
use packmuster::stats::life::{Life, LifeError, logrank};
use packmuster::stats::normal;

const NIST: &str = include_str!("data/surv_nist_8413.csv");
const GEHAN: &str = include_str!("data/surv_gehan6mp.csv");
const AML: &str = include_str!("data/surv_aml_maintained.csv");
const LUNG: &str = include_str!("data/surv_lung.csv");
const OVARIAN: &str = include_str!("data/surv_ovarian.csv");
const SHOCK: &str = include_str!("data/surv_shock_absorber.csv");
const NASA: &str = include_str!("data/nasa_time_to_1p4.csv");

/// Rows that end in an age and 1 for a failure, 0 for a pack still good.
fn read(csv: &str) -> Vec<Life> {
    let rows = csv.lines().skip(1).filter(|line| !line.is_empty()).map(|line| {
        let (rest, failed) = line.rsplit_once(',').unwrap();
        let left = rest.rsplit(',').next().unwrap().parse().unwrap();
        Life { entered: 0.0, left, failed: failed.trim() == "1" }
    });
    rows.collect()
}

fn failed(ages: &[f64]) -> Vec<Life> {
    ages.iter().map(|&left| Life { entered: 0.0, left, failed: true }).collect()
}

fn good(ages: &[f64]) -> Vec<Life> {
    ages.iter().map(|&left| Life { entered: 0.0, left, failed: false }).collect()
}

#[track_caller]
fn near(seen: f64, expected: f64, tolerance: f64) {
    assert!((seen - expected).abs() <= tolerance, "{seen} is not {expected}");
}

/// Within a share of the value.
#[track_caller]
fn about(seen: f64, expected: f64, share: f64) {
    near(seen, expected, share * expected.abs());
}

/// Age, packs at risk, share, error.
#[track_caller]
fn steps_are(curve: &Curve, expected: &[(f64, u32, f64, f64)]) {
    assert_eq!(curve.steps().len(), expected.len());
    for (step, &(age, at_risk, surviving, error)) in curve.steps().iter().zip(expected) {
        assert_eq!((step.age, step.at_risk), (age, at_risk));
        near(step.surviving, surviving, 1e-6);
        near(step.error, error, 1e-6);
        assert_eq!(curve.surviving(age), Some(step.surviving));
    }
}

/// NIST/SEMATECH e-Handbook, 8.4.1.3 (data seen in a public copy); curve and errors computed with R survival 3.5-3 only.
#[test]
fn curve_of_the_handbook() {
    let curve = Curve::of(&read(NIST)).unwrap();
    steps_are(
        &curve,
        &[
            (54.0, 20, 0.95, 0.048_734),
            (187.0, 19, 0.9, 0.067_082),
            (216.0, 18, 0.85, 0.079_843_6),
            (240.0, 17, 0.8, 0.089_442_7),
            (244.0, 16, 0.75, 0.096_824_6),
            (335.0, 15, 0.7, 0.102_469_5),
            (361.0, 14, 0.65, 0.106_653_6),
            (373.0, 13, 0.6, 0.109_544_5),
            (375.0, 12, 0.55, 0.111_243),
            (386.0, 11, 0.5, 0.111_803_4),
        ],
    );
    assert_eq!(curve.median(), Some(386.0), "exactly half counts as reached, whatever the rounding");
    assert_eq!(curve.quantile(0.51), None);
    assert_eq!((curve.surviving(53.9), curve.surviving(500.0)), (Some(1.0), curve.surviving(386.0)));
    assert_eq!((curve.watched_until(), curve.surviving(500.1)), (500.0, None));
    assert_eq!((curve.interval(53.9, 0.9), curve.interval(500.1, 0.9)), (None, None));
}

/// The 6-MP arm of Freireich and others, 1963 (data seen in a public copy; curve and median as in Klein and Moeschberger, from
/// memory, then reproduced with R survival 3.5-3). Weibull fit computed with R survival 3.5-3 only.
#[test]
fn leukaemia_remissions() {
    let lives = read(GEHAN);
    let curve = Curve::of(&lives).unwrap();
    steps_are(
        &curve,
        &[
            (6.0, 21, 0.857_142_9, 0.076_360_4),
            (7.0, 17, 0.806_722_7, 0.086_935_3),
            (10.0, 15, 0.752_941_2, 0.096_349_7),
            (13.0, 12, 0.690_196_1, 0.106_814_7),
            (16.0, 11, 0.627_451, 0.114_053_9),
            (22.0, 7, 0.537_815_1, 0.128_233_8),
            (23.0, 6, 0.448_179_3, 0.134_591_5),
        ],
    );
    assert_eq!(curve.steps().iter().map(|step| step.failed).collect::<Vec<_>>(), [3, 1, 1, 1, 1, 1, 1]);
    assert_eq!(curve.median(), Some(23.0));
    let law = fits(&lives, 33.765_151, 1.353_734_52, -41.658_678_476_9, 1e-6);
    about(law.covariance.mu.sqrt(), 0.273_368_922, 1e-6);
}

/// Miller 1997, maintained arm, as carried by R's survival (data seen in a public copy); values computed with R survival 3.5-3.
#[test]
fn maintained_remissions() {
    let lives = read(AML);
    let curve = Curve::of(&lives).unwrap();
    steps_are(
        &curve,
        &[
            (9.0, 11, 0.909_090_9, 0.086_678_4),
            (13.0, 10, 0.818_181_8, 0.116_291_3),
            (18.0, 8, 0.715_909_1, 0.139_665),
            (23.0, 7, 0.613_636_4, 0.152_632_3),
            (31.0, 5, 0.490_909_1, 0.164_193_3),
            (34.0, 4, 0.368_181_8, 0.162_668_9),
            (48.0, 2, 0.184_090_9, 0.153_492_7),
        ],
    );
    assert_eq!(curve.median(), Some(31.0));
    assert_eq!(log_median_limits(&curve), (Some(18.0), None));
    for (age, low, high) in [
        (9.0, 0.508_080_206, 0.986_673_823),
        (13.0, 0.447_428_615, 0.951_162_229),
        (18.0, 0.350_190_386, 0.899_023_974),
    ] {
        let limits = curve.interval(age, 0.95).unwrap();
        near(limits.low, low, 1e-6);
        near(limits.high, high, 1e-6);
        let narrower = curve.interval(age, 0.90).unwrap();
        assert!(low < narrower.low && narrower.high < high);
    }
    // Definition: the first age at which the limit at that age alone is at or below a half.
    let first =
        |reached: &dyn Fn(f64) -> bool| curve.steps().iter().map(|step| step.age).find(|&age| reached(age));
    let low = first(&|age| curve.interval(age, 0.9).unwrap().low <= 0.5);
    let high = first(&|age| curve.interval(age, 0.9).unwrap().high <= 0.5);
    assert_eq!(curve.quantile_interval(0.5, 0.9), (low, high));
    assert!(low < curve.median() && high > curve.median());
    fits(&lives, 60.322_889_8, 1.031_854_24, -35.703_956_314_7, 1e-6);
}

/// R's default limits of a median, by the plain log transform, from the steps.
fn log_median_limits(curve: &Curve) -> (Option<f64>, Option<f64>) {
    let z = normal::quantile(0.975);
    let reached = |sign: f64| {
        let limit = move |surviving: f64, error: f64| surviving * (sign * z * error / surviving).exp();
        curve.steps().iter().find(|step| limit(step.surviving, step.error) <= 0.5).map(|step| step.age)
    };
    (reached(-1.0), reached(1.0))
}

/// Holds a fit against a scale, a shape and a log-likelihood.
#[track_caller]
fn fits(lives: &[Life], scale: f64, shape: f64, log_likelihood: f64, share: f64) -> Weibull {
    let law = Weibull::fit(lives).unwrap();
    about(law.scale, scale, share);
    about(law.shape, shape, share);
    about(law.log_likelihood, log_likelihood, share);
    law
}

/// NIST/SEMATECH e-Handbook, 8.4.1.3 (seen in a public copy; it prints the log-likelihood without its sign); the finer digits and
/// the errors computed with R survival 3.5-3.
#[test]
fn law_of_the_handbook() {
    let lives = read(NIST);
    fits(&lives, 606.528, 1.7208, -75.135, 1e-4);
    let law = fits(&lives, 606.527_558, 1.720_797_26, -75.134_618_164_5, 1e-6);
    near(2.0 * 2.0 - 2.0 * law.log_likelihood, 154.27, 1e-2);
    about(law.mean(), 540.737, 1e-4);
    about(law.sd(), 323.806, 1e-4);
    about(law.covariance.mu.sqrt(), 0.205_943_909, 1e-4);
    about(law.covariance.log_sigma.sqrt(), 0.291_812_763, 1e-4);
    about(law.scale_error(), 124.910_656, 1e-4);
    about(law.shape_error(), 0.502_150_603, 1e-4);
    about(law.quantile(0.1), 164.022_439, 1e-4);
    about(law.median(), 490.173_781, 1e-4);
    near(law.surviving(law.quantile(0.1)), 0.9, 1e-14);
    about(law.surviving_given(500.0, 300.0), law.surviving(500.0) / law.surviving(300.0), 1e-14);
    assert_eq!((law.surviving_given(300.0, 500.0), law.surviving(0.0)), (1.0, 1.0));
}

/// Data as carried by R's survival (seen in a public copy); values computed with R survival 3.5-3.
#[test]
fn lung_and_ovarian() {
    let lives = read(LUNG);
    let law = fits(&lives, 417.758_665, 1.316_840_17, -1_153.851_188_09, 1e-6);
    about(law.scale.ln(), 6.034_903_91, 1e-6);
    about(1.0 / law.shape, 0.759_393_601, 1e-6);
    let curve = Curve::of(&lives).unwrap();
    assert_eq!((curve.median(), log_median_limits(&curve)), (Some(310.0), (Some(285.0), Some(363.0))));
    for (age, surviving, error) in [
        (180.0, 0.721_670_653, 0.029_812_419_5),
        (365.0, 0.409_241_624, 0.035_823_638_2),
        (730.0, 0.115_693_098, 0.028_298_197_3),
    ] {
        let step = curve.steps().iter().rfind(|step| step.age <= age).unwrap();
        near(curve.surviving(age).unwrap(), surviving, 1e-6);
        near(step.error, error, 1e-6);
    }

    let lives = read(OVARIAN);
    fits(&lives, 1_225.418_958_93, 1.108_059_74, -97.953_901_047_1, 1e-6);
    let curve = Curve::of(&lives).unwrap();
    assert_eq!(curve.median(), Some(638.0));
    let step = curve.steps().iter().rfind(|step| step.age <= 638.0).unwrap();
    near(step.surviving, 0.496_732, 1e-6);
    near(step.error, 0.105_102_7, 1e-6);
}

/// Shock absorbers: Meeker and Escobar, 1998, table C.2 (data seen in a third party's transcription; mu 10.23 and sigma 0.3164
/// from memory, the finer digits computed with R survival 3.5-3).
#[test]
fn shock_absorbers() {
    let lives = read(SHOCK);
    assert_eq!((lives.len(), lives.iter().filter(|life| life.failed).count()), (38, 11));
    let law = fits(&lives, 27_718.718_1, 3.160_470_31, -123.995_361, 1e-6);
    about(law.scale.ln(), 10.229_863_2, 1e-6);
    about(1.0 / law.shape, 0.316_408_604, 1e-6);
    near(law.scale.ln(), 10.23, 5e-3);
    near(1.0 / law.shape, 0.3164, 5e-5);
}

/// Discharges until one below 1.4 Ah, NASA Ames "Battery Data Set" (Saha and Goebel, 2007), batteries at mixed temperatures and
/// loads: a check of numbers only. Computed with R survival 3.5-3 only.
#[test]
fn batteries() {
    let lives = read(NASA);
    assert_eq!((lives.len(), lives.iter().filter(|life| life.failed).count()), (18, 10));
    fits(&lives, 84.350_742_4, 0.814_374_21, -53.531_981_3, 1e-5);
    assert_eq!(Curve::of(&lives).unwrap().median(), Some(97.0));
}

/// Packs of which some came under watch at an age: small enough to count by hand.
fn late() -> Vec<Life> {
    let rows = [
        (0.0, 2.0, true),
        (0.0, 5.0, false),
        (1.0, 4.0, true),
        (2.0, 4.0, true),
        (3.0, 6.0, false),
        (3.5, 8.0, true),
        (4.0, 9.0, true),
        (0.0, 4.0, false),
        (0.5, 7.5, true),
        (5.0, 9.5, false),
    ];
    rows.map(|(entered, left, failed)| Life { entered, left, failed }).to_vec()
}

/// Counted by hand: the one that entered at 2 is not at risk at 2, nor the one that entered at 4 at 4; the one last seen good at
/// 4 is.
#[test]
fn late_entries_are_at_risk_only_after_they_enter() {
    let curve = Curve::of(&late()).unwrap();
    let counts: Vec<_> = curve.steps().iter().map(|step| (step.age, step.at_risk, step.failed)).collect();
    assert_eq!(counts, [(2.0, 5, 1), (4.0, 7, 2), (7.5, 4, 1), (8.0, 3, 1), (9.0, 2, 1)]);
    let shares: [f64; 5] = [4.0 / 5.0, 5.0 / 7.0, 3.0 / 4.0, 2.0 / 3.0, 1.0 / 2.0];
    near(curve.surviving(9.2).unwrap(), shares.iter().product(), 1e-15);
    let greenwood: f64 = 1.0 / 20.0 + 2.0 / 35.0 + 1.0 / 12.0 + 1.0 / 6.0 + 1.0 / 2.0;
    let last = curve.steps().last().unwrap();
    near(last.error, last.surviving * greenwood.sqrt(), 1e-15);
}

/// The log-likelihood of `(ln scale, ln sigma)` as it is written down, pack by pack.
fn log_likelihood(lives: &[Life], mu: f64, log_sigma: f64) -> f64 {
    let (scale, shape) = (mu.exp(), (-log_sigma).exp());
    let one = |life: &Life| {
        let density = (shape / scale).ln() + (shape - 1.0) * (life.left / scale).ln();
        let survived = (life.entered / scale).powf(shape) - (life.left / scale).powf(shape);
        if life.failed { density + survived } else { survived }
    };
    lives.iter().map(one).sum()
}

/// The peak by a search that knows nothing but the likelihood, and the covariance by second differences.
#[test]
fn late_entries_give_the_peak_of_the_likelihood() {
    let lives = late();
    let law = Weibull::fit(&lives).unwrap();
    let (mut mu, mut log_sigma, mut width) = (1.0, 0.0, 1.0);
    let mut best = log_likelihood(&lives, mu, log_sigma);
    while width > 1e-9 {
        let around = [(1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0), (1.0, 1.0), (-1.0, -1.0)];
        let better = around
            .map(|(a, b)| (mu + a * width, log_sigma + b * width))
            .into_iter()
            .find(|&(m, s)| log_likelihood(&lives, m, s) > best);
        match better {
            Some(found) => {
                (mu, log_sigma) = found;
                best = log_likelihood(&lives, mu, log_sigma);
            }
            None => width *= 0.5,
        }
    }
    near(law.scale.ln(), mu, 1e-6);
    near(-law.shape.ln(), log_sigma, 1e-6);
    near(law.log_likelihood, best, 1e-12);

    let (m, s, h) = (law.scale.ln(), -law.shape.ln(), 1e-3);
    let at = |a: f64, b: f64| log_likelihood(&lives, m + a * h, s + b * h);
    let first = (2.0 * at(0.0, 0.0) - at(1.0, 0.0) - at(-1.0, 0.0)) / (h * h);
    let second = (2.0 * at(0.0, 0.0) - at(0.0, 1.0) - at(0.0, -1.0)) / (h * h);
    let cross = -(at(1.0, 1.0) - at(1.0, -1.0) - at(-1.0, 1.0) + at(-1.0, -1.0)) / (4.0 * h * h);
    let determinant = first * second - cross * cross;
    about(law.covariance.mu, second / determinant, 1e-4);
    about(law.covariance.log_sigma, first / determinant, 1e-4);
    about(law.covariance.both, -cross / determinant, 1e-4);

    // B10's variance by the gradient of ln t in (mu, ln sigma), written out.
    let w = (-(0.9_f64.ln())).ln() / law.shape;
    let variance = law.covariance.mu + 2.0 * w * law.covariance.both + w * w * law.covariance.log_sigma;
    let limits = law.quantile_interval(0.1, 0.9);
    let spread = 1.644_853_626_951_472_2 * variance.sqrt();
    about(limits.low, law.quantile(0.1) * (-spread).exp(), 1e-12);
    about(limits.high, law.quantile(0.1) * spread.exp(), 1e-12);
    let shape_limits = law.shape_interval(0.9);
    about(shape_limits.low * shape_limits.high, law.shape * law.shape, 1e-12);
    let spread = 1.644_853_626_951_472_2 * law.covariance.log_sigma.sqrt();
    about(shape_limits.high / law.shape, spread.exp(), 1e-12);
}

/// Packs of a known law that wear out from a new start, some of which the books only know from an age on; those that failed before
/// are not in them. Evenly spread numbers by the golden ratio and the square root of 2.
fn simulated(count: u32, scale: f64, shape: f64) -> Vec<Life> {
    let spread = |i: u32, step: f64| (0.5 + f64::from(i) * step).fract();
    let lives = (0..count).filter_map(|i| {
        let age = scale * (-spread(i, 0.618_033_988_749_894_9).ln()).powf(1.0 / shape);
        let drawn = spread(i, std::f64::consts::SQRT_2);
        let entered = (drawn - 0.4).max(0.0) * 2.0 * scale;
        let watched_until = entered + 0.7 * scale;
        (age > entered).then(|| Life { entered, left: age.min(watched_until), failed: age <= watched_until })
    });
    lives.collect()
}

#[test]
fn a_known_law_is_found_again() {
    for (count, scale, shape) in [(5000, 4.0, 2.5), (200_000, 1200.0, 1.3), (100_000, 0.01, 0.7)] {
        let lives = simulated(count, scale, shape);
        assert!(lives.len() < usize::try_from(count).unwrap(), "some failed before they were known");
        let law = Weibull::fit(&lives).unwrap();
        near(law.scale, scale, 2.0 * law.scale_error());
        near(law.shape, shape, 2.0 * law.shape_error());
        let curve = Curve::of(&lives).unwrap();
        let age = law.median();
        near(curve.surviving(age).unwrap(), 0.5, 0.02);
        let ignored: Vec<Life> = lives.iter().map(|life| Life { entered: 0.0, ..*life }).collect();
        let wrong = Weibull::fit(&ignored).unwrap();
        assert!((wrong.scale - scale).abs() > 5.0 * law.scale_error(), "the watch's beginning matters");
    }
}

/// A change of unit changes the scale alone; ages near the ends of the number range do not overflow.
#[test]
fn units_do_not_matter() {
    let lives = late();
    let law = Weibull::fit(&lives).unwrap();
    for unit in [1e-200, 1e-3, 8760.0, 1e200] {
        let scaled: Vec<Life> = lives
            .iter()
            .map(|life| Life { entered: life.entered * unit, left: life.left * unit, ..*life })
            .collect();
        let other = Weibull::fit(&scaled).unwrap();
        about(other.shape, law.shape, 1e-10);
        about(other.scale, law.scale * unit, 1e-10);
        about(other.covariance.mu, law.covariance.mu, 1e-8);
    }
}

/// Placebo against 6-MP: chi-square 16.8 on 1 degree of freedom, 21 failures for 10.7 expected and 9 for 19.3 (Freireich and
/// others, 1963; data of the placebo arm and values from memory, as R's `survdiff` prints them).
#[test]
fn placebo_and_mercaptopurine_differ() {
    let placebo = failed(&[
        1.0, 1.0, 2.0, 2.0, 3.0, 4.0, 4.0, 5.0, 5.0, 8.0, 8.0, 8.0, 8.0, 11.0, 11.0, 12.0, 12.0, 15.0, 17.0,
        22.0, 23.0,
    ]);
    let test = logrank::compare(&[&placebo, &read(GEHAN)]).unwrap();
    assert_eq!((test.degrees, test.groups[0].observed, test.groups[1].observed), (1, 21, 9));
    near(test.groups[0].expected, 10.7, 0.06);
    near(test.groups[1].expected, 19.3, 0.06);
    near(test.statistic, 16.8, 0.05);
    about(test.probability, 2.0 * normal::below(-test.statistic.sqrt()), 1e-9);
}

/// Maintained against not: chi-square 3.4, probability 0.07, 7 failures for 10.69 expected and 11 for 7.31 (the `aml` data of R's
/// survival; second arm and values from memory, as `survdiff` prints them).
#[test]
fn maintenance_does_not_quite_differ() {
    let mut not_maintained = failed(&[5.0, 5.0, 8.0, 8.0, 12.0, 23.0, 27.0, 30.0, 33.0, 43.0, 45.0]);
    not_maintained.extend(good(&[16.0]));
    let test = logrank::compare(&[&read(AML), &not_maintained]).unwrap();
    near(test.statistic, 3.4, 0.05);
    near(test.probability, 0.07, 0.005);
    near(test.groups[0].expected, 10.69, 0.005);
    near(test.groups[1].expected, 7.31, 0.005);
}

/// Three groups with late entries, by the definition: counts at each age, and Cramer's rule on the first two groups.
#[test]
fn three_groups_by_the_definition() {
    let all = simulated(90, 4.0, 2.0);
    let rounded: Vec<Life> =
        all.iter().map(|life| Life { left: (life.left * 4.0).ceil() / 4.0, ..*life }).collect();
    let groups: Vec<Vec<Life>> =
        (0..3).map(|group| rounded.iter().skip(group).step_by(3).copied().collect()).collect();
    let mut ages: Vec<f64> = rounded.iter().filter(|life| life.failed).map(|life| life.left).collect();
    ages.sort_by(f64::total_cmp);
    ages.dedup();
    assert!(ages.len() > 10 && ages.len() < rounded.len() / 3, "ties");
    let count = |lives: &[Life], holds: &dyn Fn(&Life) -> bool| {
        f64::from(u32::try_from(lives.iter().filter(|life| holds(life)).count()).unwrap())
    };
    let (mut u, mut v, mut expected) = ([0.0; 2], [[0.0; 2]; 2], [0.0; 3]);
    for age in ages {
        let at_risk = |lives: &[Life]| count(lives, &|life| life.entered < age && age <= life.left);
        let fails =
            |lives: &[Life]| count(lives, &|life| life.failed && life.left >= age && life.left <= age);
        let (n, d) = (at_risk(&rounded), fails(&rounded));
        for i in 0..3 {
            expected[i] += d * at_risk(&groups[i]) / n;
        }
        for i in 0..2 {
            u[i] += fails(&groups[i]) - d * at_risk(&groups[i]) / n;
            for j in 0..2 {
                let same = if i == j { 1.0 } else { 0.0 };
                let spread = if n > 1.0 { d * (n - d) / (n - 1.0) } else { 0.0 };
                v[i][j] += spread * at_risk(&groups[i]) / n * (same - at_risk(&groups[j]) / n);
            }
        }
    }
    let determinant = v[0][0] * v[1][1] - v[0][1] * v[1][0];
    let statistic =
        (u[0] * u[0] * v[1][1] - 2.0 * u[0] * u[1] * v[0][1] + u[1] * u[1] * v[0][0]) / determinant;
    let test = logrank::compare(&[&groups[0], &groups[1], &groups[2]]).unwrap();
    about(test.statistic, statistic, 1e-10);
    assert_eq!(test.degrees, 2);
    // With 2 degrees of freedom, the tail of chi-square is an exponential.
    about(test.probability, (-0.5 * statistic).exp(), 1e-10);
    for (group, expected) in test.groups.iter().zip(expected) {
        near(group.expected, expected, 1e-10);
    }
    let turned = logrank::compare(&[&groups[2], &groups[0], &groups[1]]).unwrap();
    about(turned.statistic, statistic, 1e-10);
}

/// A group that was never under watch when a pack failed has no say; alike groups do not differ.
#[test]
fn groups_that_cannot_be_compared() {
    let (short, long) = (failed(&[1.0, 2.0, 3.0]), failed(&[2.0, 4.0, 6.0]));
    let two = logrank::compare(&[&short, &long]).unwrap();
    let three = logrank::compare(&[&short, &good(&[0.5]), &long]).unwrap();
    assert_eq!((three.degrees, three.groups[1].expected), (1, 0.0));
    about(three.statistic, two.statistic, 1e-12);
    let alike = logrank::compare(&[&short, &short]).unwrap();
    assert_eq!((alike.statistic, alike.probability), (0.0, 1.0));
    let after = [Life { entered: 7.0, left: 8.0, failed: true }];
    assert_eq!(logrank::compare(&[&long, &after]), Err(LifeError::NothingToCompare));
    assert_eq!(logrank::compare(&[&long]), Err(LifeError::NothingToCompare));
    assert_eq!(logrank::compare(&[]), Err(LifeError::NoFailures));
    assert_eq!(logrank::compare(&[&long, &[]]), Err(LifeError::NoLives));
    assert_eq!(logrank::compare(&[&good(&[1.0]), &good(&[2.0])]), Err(LifeError::NoFailures));
}

#[test]
fn what_cannot_be_told_is_an_error() {
    assert_eq!(Curve::of(&[]), Err(LifeError::NoLives));
    assert_eq!(Weibull::fit(&[]), Err(LifeError::NoLives));
    assert_eq!(Weibull::fit(&good(&[1.0, 2.0])), Err(LifeError::NoFailures));
    let one = [failed(&[1.0]), good(&[2.0])].concat();
    assert_eq!(Weibull::fit(&one), Err(LifeError::TooFewFailures { failed: 1, needed: 2 }));
    let backwards = [failed(&[1.0]), vec![Life { entered: 3.0, left: 3.0, failed: true }]].concat();
    assert_eq!(
        Curve::of(&backwards).unwrap_err().to_string(),
        "pack 1 was under watch from age 3 to age 3: not 0 or more, then later"
    );
    let before_new = [Life { entered: -1.0, left: 3.0, failed: true }];
    assert!(matches!(Curve::of(&before_new), Err(LifeError::Unordered { index: 0, .. })));
    assert_eq!(Curve::of(&failed(&[1.0, f64::NAN])), Err(LifeError::NotFinite { index: 1 }));
    assert_eq!(Curve::of(&failed(&[f64::INFINITY])), Err(LifeError::NotFinite { index: 0 }));

    let untouched = Curve::of(&good(&[1.0, 2.0])).unwrap();
    assert_eq!((untouched.surviving(2.0), untouched.median()), (Some(1.0), None));
    let gone = Curve::of(&failed(&[1.0, 2.0])).unwrap();
    assert_eq!((gone.surviving(9.0), gone.interval(2.0, 0.9), gone.steps()[1].error), (Some(0.0), None, 0.0));
}

/// All at the same age: the likelihood rises with the shape without end. Hazard that falls from the first late entry on: it rises
/// as the shape goes to 0.
#[test]
fn a_law_without_a_best_shape_is_not_invented() {
    let same_age = failed(&[5.0, 5.0, 5.0]);
    assert!(matches!(Weibull::fit(&same_age), Err(LifeError::NotConverged { shape }) if shape > 1000.0));
    let mut soon: Vec<Life> =
        (1..9).map(|i| Life { entered: 1.0, left: 1.0 + 0.01 * f64::from(i), failed: true }).collect();
    soon.extend([20.0, 40.0, 60.0].map(|left| Life { entered: 1.0, left, failed: false }));
    assert!(matches!(Weibull::fit(&soon), Err(LifeError::NotConverged { shape }) if shape < 0.01));
}

/// Each lot against the rest is what the test of two groups finds; Holm's rule on the example of his paper's kind, by hand.
#[test]
fn each_group_against_the_rest_is_the_test_of_two_groups() {
    let late = |ages: &[(f64, f64, bool)]| -> Vec<Life> {
        ages.iter().map(|&(entered, left, failed)| Life { entered, left, failed }).collect()
    };
    let groups = [
        late(&[(0.0, 1.0, true), (0.0, 2.0, true), (0.5, 2.0, false), (0.0, 3.0, true)]),
        late(&[(0.0, 2.0, true), (1.0, 4.0, true), (0.0, 5.0, false)]),
        late(&[(0.0, 3.0, true), (2.5, 6.0, true), (0.0, 6.0, true), (0.0, 7.0, false)]),
        Vec::new(),
    ];
    let slices: Vec<&[Life]> = groups.iter().map(Vec::as_slice).collect();
    let found = logrank::each_against_the_rest(&slices).unwrap();
    assert_eq!(found[3], None, "nobody was there");
    for (place, found) in found.iter().enumerate().take(3) {
        let rest: Vec<Life> = groups
            .iter()
            .enumerate()
            .filter(|&(other, _)| other != place)
            .flat_map(|(_, g)| g.clone())
            .collect();
        let two = logrank::compare(&[&groups[place], &rest]).unwrap();
        let found = found.unwrap();
        assert_eq!(found.group.observed, two.groups[0].observed);
        near(found.group.expected, two.groups[0].expected, 1e-12);
        near(found.statistic, two.statistic, 1e-10);
        near(found.probability, two.probability, 1e-10);
    }
    assert_eq!(logrank::each_against_the_rest(&[&good(&[1.0, 2.0])]), Err(LifeError::NoFailures));
    for (seen, expected) in
        logrank::holm(&[0.01, 0.04, 0.03, 0.005]).into_iter().zip([0.03, 0.06, 0.06, 0.02])
    {
        near(seen, expected, 1e-12);
    }
    assert!(logrank::holm(&[]).is_empty());
}
