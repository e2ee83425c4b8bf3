//! Simulated fleets are as designed, their split leaks nothing, and scores and simple forecasts are right.
//!
//! Bounds are about four standard errors of what is drawn; the seeds are fixed, so that a test passes always or never.

#[path = "../bench/fade/ours.rs"]
pub(super) mod ours;
#[path = "../bench/fade/score.rs"]
pub(super) mod score;
#[path = "../bench/fade/simple.rs"]
mod simple;
#[path = "../bench/fade/split.rs"]
pub(super) mod split;
#[path = "../bench/fade/world.rs"]
#[expect(clippy::module_inception, reason = "the world's own tests are about more than it")]
pub(super) mod world;

use packmuster::stats::normal;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;

use score::{Gap, Score, WITHHELD_ABOVE, missed_at};
use simple::{FleetFade, Kalman, Population, last_reading};
use split::{CUT_DAY, Case, REHEARSED_DAYS, Split, events};
use world::{
    BENDING, BIAS_MAH, FADE, FRESH_MAH, FRESH_SPREAD_MAH, GROSS, GROSS_DOWN, LIMIT_SHARE, LOT_SPREAD, MAKES,
    NOISE_MAH, PACK_SPREAD, Pack, ROOT_OF_AGE, ROOT_OF_AGE_DAYS, ROOT_OF_USE, ROUND_MAH, Read, Truth, World,
};

#[derive(Default)]
struct Mean {
    count: f64,
    sum: f64,
    squares: f64,
}

impl Mean {
    fn of(values: impl IntoIterator<Item = f64>) -> Self {
        values.into_iter().fold(Self::default(), |mean, value| Self {
            count: mean.count + 1.0,
            sum: mean.sum + value,
            squares: mean.squares + value * value,
        })
    }

    fn mean(&self) -> f64 {
        self.sum / self.count
    }

    fn spread(&self) -> f64 {
        (self.squares / self.count - self.mean().powi(2)).sqrt()
    }
}

#[track_caller]
fn near(what: &str, seen: f64, expected: f64, within: f64) {
    assert!((seen - expected).abs() <= within, "{what}: {seen}, expected {expected} within {within}");
}

fn share(values: impl IntoIterator<Item = bool>) -> f64 {
    Mean::of(values.into_iter().map(|value| f64::from(u8::from(value)))).mean()
}

/// What a pack should read if its truth were a rule without exceptions, its slot's bias with it.
fn expected(truth: Truth, world: &World, pack: &Pack, read: &Read) -> f64 {
    let age = f64::from(read.day - pack.reads[0].day);
    let use_ = match truth {
        Truth::RootOfUse => ROOT_OF_USE * read.use_.sqrt(),
        Truth::RootOfAge => ROOT_OF_AGE * (age / ROOT_OF_AGE_DAYS).sqrt(),
        _ => read.use_,
    };
    pack.fresh - pack.fade * use_ + world.biases[usize::from(read.slot)]
}

/// What readings are off by, of packs and readings that a filter lets through.
fn offs(truth: Truth, world: &World, keep: impl Fn(&Pack, &Read) -> bool) -> Mean {
    let reads = world.packs.iter().flat_map(|pack| pack.reads.iter().map(move |read| (pack, read)));
    Mean::of(
        reads
            .filter(|(pack, read)| keep(pack, read))
            .map(|(pack, read)| read.mah - expected(truth, world, pack, read)),
    )
}

#[test]
fn a_seed_gives_a_fleet_and_a_small_one_begins_a_larger() {
    for truth in Truth::ALL {
        let fleet = World::simulate(truth, 200, 7);
        assert_eq!(fleet, World::simulate(truth, 200, 7), "{}", truth.name());
        assert_eq!(fleet.packs[..50], World::simulate(truth, 50, 7).packs, "{}", truth.name());
        assert_ne!(fleet.packs, World::simulate(truth, 200, 8).packs, "{}", truth.name());
    }
    let fleets = Truth::ALL.map(|truth| World::simulate(truth, 200, 7).packs);
    for (number, fleet) in fleets.iter().enumerate() {
        assert!(!fleets[..number].contains(fleet), "truth {number} is another's");
    }
}

#[test]
fn packs_are_as_designed() {
    let world = World::simulate(Truth::Straight, 20_000, 1);
    let packs = &world.packs;
    near("limit", world.limit, 651.0, 1e-9);
    let fresh = Mean::of(packs.iter().map(|pack| pack.fresh));
    near("fresh", fresh.mean(), FRESH_MAH, 1.2);
    near("spread of fresh", fresh.spread(), FRESH_SPREAD_MAH, 0.8);
    for (make, gain) in MAKES.iter().enumerate() {
        let of_make: Vec<&Pack> = packs.iter().filter(|pack| usize::from(pack.make) == make).collect();
        near(
            "share of make",
            share(packs.iter().map(|pack| usize::from(pack.make) == make)),
            1.0 / 3.0,
            0.014,
        );
        let logs = Mean::of(of_make.iter().map(|pack| (pack.fade / FADE).ln()));
        // Ten lots are few: their mean wanders by 0.12 / sqrt 10.
        near("fade of make", logs.mean(), *gain, 4.0 * LOT_SPREAD / 10_f64.sqrt());
        let lots: Vec<Mean> = (0..30)
            .map(|lot| of_make.iter().filter(move |pack| pack.lot == lot))
            .map(|lot| Mean::of(lot.map(|pack| (pack.fade / FADE).ln())))
            .filter(|lot| lot.count > 0.0)
            .collect();
        assert_eq!(lots.len(), 10);
        for lot in lots {
            near("fade in a lot", lot.spread(), PACK_SPREAD, 0.043);
        }
    }
    for pack in packs {
        assert!((1..=12).contains(&pack.reads.len()));
        assert!((0..1500).contains(&pack.reads[0].day) && pack.reads[0].use_ == 0.0);
        for (place, read) in pack.reads.iter().enumerate() {
            assert!((read.mah * 10.0 - (read.mah * 10.0).round()).abs() < 1e-6, "{read:?}");
            assert!(read.mah >= world.limit || place + 1 == pack.reads.len(), "read after it was retired");
        }
        for (first, second) in pack.reads.iter().zip(&pack.reads[1..]) {
            assert!((30..=580).contains(&(second.day - first.day)) && second.use_ > first.use_);
        }
    }
    let loans = packs.iter().flat_map(|pack| pack.reads.iter().zip(pack.reads.iter().skip(1)));
    // Half of 30 to 180 days, and 90 days of shelf, cut at 400 and to whole days.
    let gap = Mean::of(loans.clone().map(|(first, second)| f64::from(second.day - first.day)));
    near("days between", gap.mean(), 105.0 + 90.0 * (1.0 - (-400.0_f64 / 90.0).exp()) - 0.5, 2.0);
    let use_ = Mean::of(loans.map(|(first, second)| second.use_ - first.use_));
    // The mean of a lognormal; packs of much use are retired earlier and count less.
    near("use of a loan", use_.mean(), 105.0 * 0.007 * 0.045_f64.exp(), 0.02);
}

#[test]
fn readings_are_as_designed() {
    let world = World::simulate(Truth::Straight, 20_000, 2);
    assert_eq!((world.slots, world.biases.len()), (144, 144));
    let biases = Mean::of(world.biases.iter().copied());
    near("mean bias", biases.mean(), 0.0, 4.0);
    near("spread of biases", biases.spread(), BIAS_MAH, 2.8);
    let all: Vec<(u16, f64)> = world
        .packs
        .iter()
        .flat_map(|pack| {
            pack.reads
                .iter()
                .map(|read| (read.slot, read.mah - expected(Truth::Straight, &world, pack, read)))
        })
        .collect();
    // Beyond five standard deviations of noise is a gross error; some 2 % of those lie within.
    let gross: Vec<f64> = all.iter().map(|(_, off)| *off).filter(|off| off.abs() > 5.0 * NOISE_MAH).collect();
    let (reads, errors) = (Mean::of(all.iter().map(|_| 0.0)).count, Mean::of(gross.iter().copied()).count);
    near("gross errors", errors / reads, GROSS * 0.983, 0.0011);
    near("gross errors downwards", share(gross.iter().map(|off| *off < 0.0)), GROSS_DOWN, 0.055);
    let fine = |slot: Option<u16>| {
        let kept =
            all.iter().filter(move |(at, off)| slot.is_none_or(|slot| slot == *at) && off.abs() <= 75.0);
        Mean::of(kept.map(|(_, off)| *off))
    };
    near("noise", fine(None).spread(), NOISE_MAH, 0.15);
    for slot in 0..144 {
        near("off in a slot", fine(Some(slot)).mean(), 0.0, 2.2);
    }
    let home = world.packs.iter().filter(|pack| pack.reads.len() >= 6).map(|pack| {
        let at = |bench: u16| pack.reads.iter().filter(|read| read.slot / 6 == bench).count();
        let most = (0..24).max_by_key(|bench| at(*bench)).unwrap();
        share(pack.reads.iter().map(|read| read.slot / 6 == most))
    });
    // At home 8 in 10, and by chance one in 24 of the others.
    near("read on the own bench", Mean::of(home).mean(), 0.8 + 0.2 / 24.0, 0.008);
}

#[test]
fn every_truth_fades_as_its_name_says() {
    for truth in Truth::ALL {
        let world = World::simulate(truth, 10_000, 3);
        let name = truth.name();
        near(name, share(world.packs.iter().map(|pack| pack.bends)), truth.bending(), 0.019);
        let regular = offs(truth, &world, |pack, _| !pack.bends && pack.rounds.is_empty());
        // The mean gross error is -0.38 mAh.
        near(name, regular.mean(), -0.38, 0.5);
        let early = offs(truth, &world, |pack, read| pack.bends && read.use_ < 1.0);
        let late = offs(truth, &world, |pack, read| pack.bends && read.use_ > 7.0);
        if truth.bending() > 0.0 {
            assert!((truth.bending() - BENDING).abs() < 1e-9);
            near(name, early.mean(), -0.5, 3.0);
            assert!(late.count > 50.0 && late.mean() < -60.0, "{name}: {}", late.mean());
        }
    }
}

/// How many times what they should lose beyond the straight line, by the design, bending packs lost: by least squares.
///
/// Only where a pack's own truth leaves it far above the limit: others are seen by what their errors were.
fn bent(truth: Truth, design: impl Fn(&Pack, &Read) -> f64) -> f64 {
    const RESERVE_MAH: f64 = 130.0;
    let world = World::simulate(truth, 100_000, 4);
    let (mut lost, mut due) = (0.0, 0.0);
    for pack in world.packs.iter().filter(|pack| pack.bends) {
        for read in &pack.reads {
            let beyond = design(pack, read);
            if pack.fresh - pack.fade * read.use_ - beyond > world.limit + RESERVE_MAH {
                lost += beyond * (expected(truth, &world, pack, read) - read.mah - 0.38);
                due += beyond * beyond;
            }
        }
    }
    lost / due
}

/// The mean of what lies beyond a bend whose place is normal, with its mean and standard deviation.
fn past_bend(at: f64, mean: f64, spread: f64) -> f64 {
    let z = (at - mean) / spread;
    (at - mean) * normal::below(z) + spread * normal::density(z)
}

#[test]
fn bends_are_as_designed() {
    let by_use = bent(Truth::Bending, |pack, read| 2.0 * pack.fade * past_bend(read.use_, 5.5, 1.0));
    near("by use", by_use, 1.0, 0.06);
    let added = bent(Truth::BendAdded, |_, read| 70.0 * past_bend(read.use_, 5.5, 1.0));
    near("additive", added, 1.0, 0.07);
    let by_fade = bent(Truth::BendByFade, |pack, read| 2.0 * past_bend(pack.fade * read.use_, 230.0, 30.0));
    near("by fade", by_fade, 1.0, 0.06);
    let by_age = bent(Truth::BendByAge, |pack, read| {
        let age = f64::from(read.day - pack.reads[0].day);
        // Use of a day is about the same all along.
        2.0 * pack.fade * read.use_ * past_bend(age, 700.0, 200.0) / age.max(1.0)
    });
    near("by age", by_age, 1.0, 0.03);
    let squared = bent(Truth::Quadratic, |pack, read| 0.06 * pack.fade * read.use_.powi(2));
    near("quadratic", squared, 1.0, 0.02);
}

#[test]
fn rounds_give_back_capacity() {
    let world = World::simulate(Truth::Reconditioned, 20_000, 5);
    let second = Mean::of(
        world
            .packs
            .iter()
            .filter(|pack| pack.reads.len() > 1)
            .map(|pack| f64::from(u8::from(pack.rounds.first() == Some(&pack.reads[1].day)))),
    );
    near("rounds before the second reading", second.mean(), 0.12, 0.0095);
    let given = offs(Truth::Reconditioned, &world, |pack, read| pack.rounds.contains(&read.day));
    near("given back", given.mean(), f64::midpoint(ROUND_MAH.0, ROUND_MAH.1) - 0.38, 1.5);
    for pack in &world.packs {
        assert!(pack.rounds.len() <= 1);
        for round in &pack.rounds {
            assert!(pack.reads[1..].iter().any(|read| read.day == *round), "a round is seen by no reading");
        }
    }
    for truth in Truth::ALL.into_iter().filter(|truth| *truth != Truth::Reconditioned) {
        assert!(World::simulate(truth, 500, 5).packs.iter().all(|pack| pack.rounds.is_empty()));
    }
}

#[test]
fn a_split_leaks_nothing() {
    let world = World::simulate(Truth::Reconditioned, 3000, 6);
    let mut changed = world.clone();
    for pack in &mut changed.packs {
        for read in pack.reads.iter_mut().filter(|read| read.day >= CUT_DAY) {
            *read = Read { day: read.day + 1, use_: 99.0, slot: 0, mah: 1.0 };
        }
        pack.rounds.retain(|round| *round < CUT_DAY);
    }
    let (split, other) = (Split::at(&world, CUT_DAY), Split::at(&changed, CUT_DAY));
    assert_eq!((split.cut, split.slots), (CUT_DAY, 144));
    assert_ne!(split.cases, other.cases);
    assert_eq!(split.known, other.known);
    assert_eq!(split.rehearsals(REHEARSED_DAYS), other.rehearsals(REHEARSED_DAYS));
    assert_eq!(FleetFade::learn(&split), FleetFade::learn(&other));

    let mut of_cases = split.cases.iter();
    for (place, known) in split.known.iter().enumerate() {
        assert!(!known.reads.is_empty() && known.lot / 10 == known.make);
        assert!(known.reads.iter().all(|read| read.day < CUT_DAY));
        assert!(known.rounds.iter().all(|round| *round < CUT_DAY));
        let pack = world.packs.iter().find(|pack| pack.reads.as_ptr() == known.reads.as_ptr()).unwrap();
        // The world retires packs, so that a pack read again was not below the limit.
        if let Some(next) = pack.reads.get(known.reads.len()) {
            let Read { day, use_, slot, mah } = *next;
            let case = Case { pack: place, day, use_, slot, mah, event: mah < world.limit };
            assert!(day >= CUT_DAY);
            assert_eq!(of_cases.next(), Some(&case));
            assert_eq!(split.before(&case).unwrap(), *known);
        }
    }
    assert_eq!(of_cases.next(), None);
    assert!(split.known.iter().any(|known| !known.rounds.is_empty()));

    let rehearsals = split.rehearsals(REHEARSED_DAYS);
    assert!(rehearsals.len() > 1000);
    for case in &rehearsals {
        assert!((CUT_DAY - REHEARSED_DAYS..CUT_DAY).contains(&case.day));
        let before = split.before(case).unwrap();
        assert!(!before.reads.is_empty() && before.reads.iter().all(|read| read.day < case.day));
        assert!(before.rounds.iter().all(|round| *round < case.day));
    }
}

/// A world of one pack with readings of day, hundreds of cycles and mAh.
fn small(reads: &[(i32, f64, f64)]) -> World {
    let reads =
        reads.iter().map(|(day, use_, mah)| Read { day: *day, use_: *use_, slot: 0, mah: *mah }).collect();
    let pack = Pack { make: 0, lot: 0, reads, rounds: vec![], fresh: 1050.0, fade: 50.0, bends: false };
    World { packs: vec![pack], slots: 1, limit: LIMIT_SHARE * FRESH_MAH, biases: vec![0.0] }
}

#[test]
fn a_pack_below_the_limit_is_no_case() {
    let cases = |mah: f64| Split::at(&small(&[(0, 0.0, mah), (10, 1.0, 640.0), (20, 2.0, 900.0)]), 10).cases;
    assert_eq!(cases(650.9), []);
    assert!(cases(651.0)[0].event);
    assert_eq!(Split::at(&small(&[(10, 0.0, 900.0)]), 10).known, []);
}

#[test]
fn calibrated_chances_have_no_calibration_error() {
    let mut random = ChaCha12Rng::seed_from_u64(9);
    let chances: Vec<f64> = (0..100_000).map(|_| random.random()).collect();
    let events: Vec<bool> = chances.iter().map(|chance| random.random::<f64>() < *chance).collect();
    let score = Score::of("calibrated", &chances, &events);
    assert!(score.calibration < 0.005, "{}\n{score}", Score::HEADER);
    // Names stand above their numbers.
    assert_eq!(score.to_string().len(), Score::HEADER.len());
    // The mean entropy of chances that are spread evenly is 1/2.
    near("log-loss", score.log_loss, 0.5, 0.006);
    // Above the threshold lie 0.9 of the packs; of events, of chance p each, 0.1^2 lie below.
    assert_eq!(score.withheld, chances.iter().filter(|chance| **chance > WITHHELD_ABOVE).count());
    near("missed", score.missed, 0.01, 0.002);
    near("catch 90 %", score.to_catch, 1.0 - 0.1_f64.sqrt(), 0.006);
    near("missed at half", missed_at(&chances, &events, 50_000), 0.25, 0.008);
    let sure: Vec<f64> = chances.iter().map(|chance| chance.sqrt()).collect();
    // The mean of sqrt p - p.
    near("shifted", Score::of("too high", &sure, &events).calibration, 1.0 / 6.0, 0.006);
    let gap = Gap::between(&sure, &chances, &events);
    assert!(gap.mean > 20.0 * gap.error && gap.error > 0.0, "{gap}");
}

#[test]
fn constant_chances_lose_the_entropy() {
    let events: Vec<bool> = (0..1000).map(|case| case % 20 == 0).collect();
    let entropy = -(0.05 * 0.05_f64.ln() + 0.95 * 0.95_f64.ln());
    let score = Score::of("constant", &[0.05; 1000], &events);
    near("log-loss", score.log_loss, entropy, 1e-12);
    near("calibration", score.calibration, 0.0, 1e-12);
    assert_eq!((score.cases, score.events, score.withheld), (1000, 50, 0));
    // Without order, catching 90 % takes 90 % of the packs, and withholding a fifth catches a fifth.
    near("catch 90 %", score.to_catch, 0.9, 1e-12);
    near("missed", score.missed, 1.0, 0.0);
    near("missed at a fifth", missed_at(&[0.05; 1000], &events, 200), 0.8, 1e-12);
    let high = Score::of("constant", &[0.35; 1000], &events);
    near("calibration", high.calibration, 0.3, 1e-12);

    let perfect: Vec<f64> = events.iter().map(|event| f64::from(u8::from(*event))).collect();
    let score = Score::of("perfect", &perfect, &events);
    near("log-loss", score.log_loss, -0.9999_f64.ln(), 1e-12);
    near("catch 90 %", score.to_catch, 0.045, 1e-12);
    assert_eq!((score.withheld, score.missed), (50, 0.0));
    let wrong: Vec<f64> = perfect.iter().map(|chance| 1.0 - chance).collect();
    near("log-loss", Score::of("wrong", &wrong, &events).log_loss, -1e-4_f64.ln(), 1e-9);

    let gap = Gap::between(&[0.5, 0.5], &[0.25, 0.25], &[true, false]);
    // The losses differ by -ln 2 and by ln 1.5.
    let (low, high) = (-2_f64.ln(), 1.5_f64.ln());
    near("gap", gap.mean, f64::midpoint(low, high), 1e-12);
    near("error of gap", gap.error, (high - low) / 8_f64.sqrt(), 1e-12);
    assert_eq!(Gap::between(&[0.2, 0.7], &[0.2, 0.7], &[true, false]), Gap { mean: 0.0, error: 0.0 });
}

#[test]
fn scores_of_few_packs_count_whole_ones_and_bin_by_bin() {
    let events: Vec<bool> = (0..15).map(|case| case == 3).collect();
    // Nine tenths of 15 packs.
    near("catch 90 %", Score::of("even", &[0.2; 15], &events).to_catch, 14.0 / 15.0, 1e-12);
    // Two of five where one was said, three of five where four were: right in the mean of all.
    let chances = [[0.2; 5], [0.8; 5]].concat();
    let events = [true, true, false, false, false, true, true, true, false, false];
    near("calibration", Score::of("flat", &chances, &events).calibration, 0.2, 1e-12);
}

#[test]
fn simple_forecasts_are_what_they_say() {
    let world = small(&[(0, 0.0, 800.0), (10, 1.0, 740.0), (20, 2.0, 700.0), (30, 2.5, 0.0)]);
    let split = Split::at(&world, 30);
    let case = split.cases[0];
    let variance = NOISE_MAH.powi(2) + BIAS_MAH.powi(2);
    near(
        "last",
        last_reading(&split, &case),
        normal::below((651.0 - 700.0) / (2.0 * variance).sqrt()),
        1e-15,
    );
    let fleet = FleetFade::learn(&split);
    // Steps of -60 and -40 about their mean of -50.
    near("slope", fleet.slope, -50.0, 1e-9);
    near("spread", fleet.spread, 10.0, 1e-9);
    near("fleet", fleet.forecast(&split, &case), normal::below((651.0 - 675.0) / 10.0), 1e-12);
    // The line through (1, 746.67) with a slope of -50, at 2.5; the variance is 1 + 1/3 + 9/8 times the nominal.
    let sigmas = (651.0 - (2240.0 / 3.0 - 75.0)) / (variance * (1.0 + 1.0 / 3.0 + 1.125)).sqrt();
    near("line", fleet.line(&split, &case), normal::below(sigmas), 1e-12);
    let one = Split::at(&world, 5);
    let case = one.cases[0];
    near("line by one reading", fleet.line(&one, &case), fleet.forecast(&one, &case), 0.0);
}

/// Without drift and gross errors, a filter is Bayes' rule on a straight line: here by the normal equations.
#[test]
fn a_filter_without_drift_is_a_line_with_a_prior() {
    let world = small(&[(0, 0.0, 1000.0), (10, 1.0, 930.0), (20, 2.5, 850.0), (30, 5.0, 0.0)]);
    let split = Split::at(&world, 30);
    let population = population_of_few();
    let determinant = 1600.0 * 400.0 - 60.0 * 60.0;
    let mut precision = [400.0 / determinant, -60.0 / determinant, 1600.0 / determinant];
    let mut right = [0.0, 0.0];
    for read in split.known[0].reads {
        let off = read.mah - 3.0 - 1050.0 + 50.0 * read.use_;
        precision = [
            precision[0] + 1.0 / 225.0,
            precision[1] + read.use_ / 225.0,
            precision[2] + read.use_.powi(2) / 225.0,
        ];
        right = [right[0] + off / 225.0, right[1] + off * read.use_ / 225.0];
    }
    let determinant = precision[0] * precision[2] - precision[1].powi(2);
    let variance = [precision[2] / determinant, -precision[1] / determinant, precision[0] / determinant];
    let start = variance[0] * right[0] + variance[1] * right[1];
    let slope = variance[1] * right[0] + variance[2] * right[1];
    let mean = 1050.0 + start + (slope - 50.0) * 5.0;
    let spread = (variance[0] + 10.0 * variance[1] + 25.0 * variance[2] + 225.0 + 144.0).sqrt();
    let chance = Kalman::new(&population, 0.0).forecast(&split, &split.cases[0]);
    near("chance", chance, normal::below((651.0 - mean) / spread), 1e-12);
}

/// What is known of a pack without doubt spreads with use by a third of the drift times its cube.
#[test]
fn a_filter_doubts_as_its_slope_drifts() {
    let world = small(&[(0, 0.0, 1050.0), (10, 6.0, 0.0)]);
    let split = Split::at(&world, 10);
    let population = Population { covariance: [0.0; 3], biases: vec![0.0], ..population_of_few() };
    let chance = Kalman::new(&population, 100.0).forecast(&split, &split.cases[0]);
    let spread = (225.0 + 144.0 + 100.0 * 6_f64.powi(3) / 3.0).sqrt();
    near("chance", chance, normal::below((651.0 - 750.0) / spread), 1e-12);
}

/// A gross error moves a filter that expects some by little, and one that does not by much.
#[test]
fn a_filter_trusts_no_gross_error() {
    let error = small(&[(0, 0.0, 900.0), (10, 1.0, 840.0), (20, 2.0, 990.0), (30, 4.0, 0.0)]);
    let none = small(&[(0, 0.0, 900.0), (10, 1.0, 840.0), (30, 4.0, 0.0)]);
    let forecast = |world: &World, gross: f64| {
        let split = Split::at(world, 30);
        let population = Population { gross, ..population_of_few() };
        Kalman::new(&population, 0.0).forecast(&split, &split.cases[0])
    };
    let (expected, robust, plain) = (forecast(&none, 0.01), forecast(&error, 0.01), forecast(&error, 0.0));
    assert!((robust - expected).abs() < 0.1 && expected - plain > 0.3, "{expected} {robust} {plain}");
}

fn population_of_few() -> Population {
    Population {
        means: vec![[1050.0, -50.0]],
        covariance: [1600.0, 60.0, 400.0],
        biases: vec![3.0],
        bias_variance: 144.0,
        noise_variance: 225.0,
        gross: 0.0,
    }
}

/// A population by the truth of a straight fleet.
fn population(world: &World) -> Population {
    let spread = (LOT_SPREAD.powi(2) + PACK_SPREAD.powi(2)).exp();
    let mean_fade = |make: usize| {
        let of_make = world.packs.iter().filter(|pack| usize::from(pack.make) == make);
        Mean::of(of_make.map(|pack| pack.fade)).mean()
    };
    Population {
        means: (0..3).map(|make| [FRESH_MAH, -mean_fade(make)]).collect(),
        covariance: [FRESH_SPREAD_MAH.powi(2), 0.0, FADE.powi(2) * spread * (spread - 1.0)],
        biases: world.biases.clone(),
        bias_variance: BIAS_MAH.powi(2),
        noise_variance: NOISE_MAH.powi(2),
        gross: GROSS,
    }
}

#[test]
fn forecasts_rank_as_they_know() {
    let drift = |truth| {
        let world = World::simulate(truth, 20_000, 11);
        let split = Split::at(&world, CUT_DAY);
        let (fleet, population) = (FleetFade::learn(&split), population(&world));
        let filter = Kalman::learn(&split, &population, REHEARSED_DAYS);
        let loss = |chance: &dyn Fn(&Case) -> f64| {
            let chances: Vec<f64> = split.cases.iter().map(chance).collect();
            Score::of(truth.name(), &chances, &events(&split.cases)).log_loss
        };
        let last = loss(&|case| last_reading(&split, case));
        let faded = loss(&|case| fleet.forecast(&split, case));
        let filtered = loss(&|case| filter.forecast(&split, case));
        assert!(filtered < 0.9 * faded && faded < 0.6 * last, "{filtered} {faded} {last}");
        filter.drift
    };
    let (straight, bending) = (drift(Truth::Straight), drift(Truth::Bending));
    assert!(straight < 20.0 && bending > 60.0, "{straight} {bending}");
}
