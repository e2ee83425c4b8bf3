//! Bench planning, held against Smith's rule, against all orders tried one by one, and against the order of arrival.

use std::time::Instant;

use packmuster::stats::queue::best::{MOST_ORDERS, best, orders};
use packmuster::stats::queue::hours::{Attended, Window};
use packmuster::stats::queue::job::{Bench, Job, Slot, Takes};
use packmuster::stats::queue::plan::{Act, LeftOver, Plan, Reason, Run};
use packmuster::stats::queue::rules::{first_come, greedy};
use packmuster::stats::queue::search::search;
use packmuster::stats::queue::{QueueError, arrange};
use proptest::prelude::{
    Just, ProptestConfig, Strategy, TestCaseError, prop, prop_assert, prop_assert_eq, prop_oneof, proptest,
};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha12Rng;

const HOUR: u32 = 60;
const DAY: u32 = 24 * HOUR;
const WEEK: u32 = 7 * DAY;

#[expect(clippy::print_stdout, reason = "what was measured is to be seen, with --nocapture")]
fn show(line: &str) {
    println!("{line}");
}

/// Somebody is there from one hour of the day until another, Monday to Friday, from midnight before a Monday on.
fn weekdays(from: u32, until: u32, weeks: u32) -> Vec<Window> {
    let days = (0..7 * weeks).filter(|day| day % 7 < 5).map(|day| day * DAY);
    days.map(|day| Window { from: day + from * HOUR, until: day + until * HOUR }).collect()
}

/// The same windows, with minute 0 somewhere in the first week.
fn seen_from(zero: u32, windows: &[Window]) -> Attended {
    let later = windows.iter().filter(|window| window.until > zero);
    Attended::new(later.map(|w| Window { from: w.from.saturating_sub(zero), until: w.until - zero })).unwrap()
}

fn always() -> Attended {
    Attended::new([Window { from: 0, until: 1000 * WEEK }]).unwrap()
}

fn job(stages: &[u32], chance: f64) -> Job {
    Job { kind: 0, stages: stages.to_vec(), chance, weight: 1.0, needed_by: None }
}

fn slots(number: usize) -> Vec<Slot> {
    vec![Slot { free_from: 0, takes: Takes::Any }; number]
}

/// A slot's jobs, in order.
fn order(plan: &Plan, slot: usize) -> Vec<usize> {
    plan.runs(slot).iter().map(|run| run.job).collect()
}

/// One in so many.
fn one_in(random: &mut ChaCha12Rng, number: u32) -> bool {
    random.random_range(0..number) == 0
}

/// A few jobs and slots: a week's hours with or without a lunch break or a late evening, tests and rounds, chances of 0, loans that
/// wait, runs that are open, adapters.
fn small(seed: u64) -> Bench {
    let mut random = ChaCha12Rng::seed_from_u64(seed);
    let from = random.random_range(7..11);
    // In some the hours end before all is done.
    let weeks = [2, 3, 6][random.random_range(0..3)];
    let mut windows = weekdays(from, random.random_range(from + 4..20), weeks);
    if one_in(&mut random, 3) {
        let evening = random.random_range(0..5) * DAY;
        windows.push(Window { from: evening + 18 * HOUR, until: evening + 22 * HOUR });
    }
    let attended = seen_from(random.random_range(0..WEEK), &windows);
    let slots = (0..random.random_range(1..4)).map(|_| Slot {
        free_from: if one_in(&mut random, 2) { 0 } else { random.random_range(0..2 * DAY) },
        takes: if one_in(&mut random, 2) {
            Takes::Any
        } else {
            Takes::Only((0..3).filter(|_| !one_in(&mut random, 3)).collect())
        },
    });
    let slots = slots.collect();
    let jobs = (0..random.random_range(2..8)).map(|_| {
        let test = 30 * random.random_range(2..24);
        let stages = match random.random_range(0..4) {
            0 => vec![16 * HOUR * random.random_range(1..4), test],
            1 => vec![30 * random.random_range(2..12), 30 * random.random_range(2..12), test],
            _ => vec![test],
        };
        Job {
            kind: random.random_range(0..3),
            stages,
            chance: if one_in(&mut random, 8) { 0.0 } else { random.random_range(0.05..1.0) },
            weight: [1.0, 1.0, 1.0, 0.25, 3.0][random.random_range(0..5)],
            needed_by: one_in(&mut random, 3).then(|| random.random_range(0..6 * DAY)),
        }
    });
    let jobs = jobs.collect();
    Bench::new(attended, slots, jobs).unwrap()
}

/// Somebody is always there, and nobody waits.
fn round_the_clock(seed: u64, jobs: usize) -> Bench {
    let mut random = ChaCha12Rng::seed_from_u64(seed);
    let jobs = (0..jobs).map(|_| {
        let weight = random.random_range(0.1..4.0);
        Job { weight, ..job(&[random.random_range(30..3000)], random.random_range(0.05..1.0)) }
    });
    Bench::new(always(), slots(1), jobs.collect()).unwrap()
}

/// Largest `chance weight / time` first is the plan where somebody is always there, for one slot (Smith 1956).
#[test]
fn one_slot_that_is_always_attended_has_smiths_rule() {
    for seed in 0..200 {
        let bench = round_the_clock(seed, if seed < 150 { 6 } else { 60 });
        let rank = |&job: &usize| {
            let job: &Job = &bench.jobs()[job];
            job.chance * job.weight / f64::from(job.stages[0])
        };
        let mut smith: Vec<usize> = (0..bench.jobs().len()).collect();
        smith.sort_by(|a, b| rank(b).total_cmp(&rank(a)));
        for plan in [greedy(&bench), search(&bench), arrange(&bench)] {
            assert_eq!(order(&plan, 0), smith, "seed {seed}");
        }
    }
}

/// All plans of a bench, tried one by one and timed by a scan of the windows: what loans miss, and what is waited for.
fn tried(bench: &Bench) -> (f64, f64) {
    let next = |minute: u32| {
        let windows = bench.attended().windows();
        windows.iter().find(|w| minute < w.until).map(|w| if minute < w.from { w.from } else { minute })
    };
    let mut best = (f64::INFINITY, f64::INFINITY);
    let mut beginnings: Vec<Vec<Vec<usize>>> = vec![vec![Vec::new(); bench.slots().len()]];
    for job in 0..bench.jobs().len() {
        let mut longer = Vec::new();
        for orders in &beginnings {
            let mut taken = false;
            for slot in (0..bench.slots().len()).filter(|&slot| bench.fits(slot, job)) {
                taken = true;
                for place in 0..=orders[slot].len() {
                    let mut orders = orders.clone();
                    orders[slot].insert(place, job);
                    longer.push(orders);
                }
            }
            if !taken {
                longer.push(orders.clone());
            }
        }
        beginnings = longer;
    }
    for orders in beginnings {
        let mut ready = vec![None; bench.jobs().len()];
        for (slot, order) in bench.slots().iter().zip(orders) {
            let mut free = slot.free_from;
            for job in order {
                let mut at = next(free);
                for stage in &bench.jobs()[job].stages {
                    at = at.and_then(|at| next(at + stage));
                }
                ready[job] = at;
                free = at.unwrap_or(free);
            }
        }
        let (mut late, mut waiting) = (0.0, 0.0);
        for (job, ready) in bench.jobs().iter().zip(ready) {
            let worth = job.chance * job.weight;
            if job.needed_by.is_some_and(|by| ready.is_none_or(|ready| ready > by)) {
                late += worth;
            }
            waiting += worth * f64::from(ready.unwrap_or(bench.attended().end()));
        }
        if late < best.0 - 1e-5 || (late < best.0 + 1e-5 && waiting < best.1) {
            best = (late, waiting);
        }
    }
    best
}

#[test]
fn the_best_plan_is_the_best_of_all_orders() {
    let few = (0..1200).map(|seed| (seed, small(seed))).filter(|(_, bench)| bench.jobs().len() <= 5);
    let mut compared = 0;
    for (seed, bench) in few {
        let (late, waiting) = tried(&bench);
        let score = best(&bench).unwrap().score();
        assert!((score.late() - late).abs() < 1e-5, "seed {seed}");
        // Each worth is rounded to a millionth.
        let rounding =
            0.5e-6 * f64::from(u32::try_from(bench.jobs().len()).unwrap() * bench.attended().end());
        assert!((score.waiting() - waiting).abs() <= rounding + 1e-9 * waiting, "seed {seed}");
        compared += 1;
    }
    assert!(compared > 600, "{compared}");
}

/// By how much more is waited for than in the best plan, as a share of that.
fn gap(found: &Plan, least: &Plan) -> f64 {
    let [found, least] = [found, least].map(|plan| plan.score().waiting());
    if least > 0.0 { found / least - 1.0 } else { found }
}

/// The local search, not the exact way that small benches are planned by, against all orders.
#[test]
fn search_comes_near_the_best() {
    let (mut worst, mut sum, mut same) = (0.0_f64, 0.0, 0);
    let (mut greedy_misses, mut greedy_sum) = (0, 0.0);
    let cases = 2000_u32;
    for seed in 0..cases {
        let bench = small(seed.into());
        let (found, least, start) = (search(&bench), best(&bench).unwrap(), greedy(&bench));
        assert!(least.score() <= found.score() && found.score() <= start.score(), "seed {seed}");
        let [lost, lost_at_least] = [&found, &least].map(|plan| plan.score().late());
        assert!(lost <= lost_at_least, "seed {seed}: {lost} for {lost_at_least}");
        let gap_here = gap(&found, &least);
        assert!(gap_here <= 0.01, "seed {seed}: {gap_here}");
        worst = worst.max(gap_here);
        sum += gap_here;
        same += u32::from(found.score() == least.score());
        greedy_misses += u32::from(start.score().late() > lost_at_least);
        if bench.jobs().iter().all(|job| job.needed_by.is_none()) {
            greedy_sum += gap(&start, &least);
        }
    }
    let mean = sum / f64::from(cases);
    show(&format!("search: worst gap {worst:.5}, mean {mean:.7}, as good as the best in {same} of {cases}"));
    show(&format!(
        "greedy: misses more for loans in {greedy_misses}, sum of gaps without loans {greedy_sum:.3}"
    ));
}

/// Packs in any order of arrival: a share of rounds of 48 h and a test (chance 0.3 to 0.7), the rest tests (0.2 to 0.97). Monday, 9:00.
fn queue(seed: u64, packs: usize, rounds: f64, test_hours: (u32, u32)) -> Bench {
    let mut random = ChaCha12Rng::seed_from_u64(seed);
    let jobs = (0..packs).map(|_| {
        let test = HOUR * random.random_range(test_hours.0..=test_hours.1);
        if random.random_range(0.0..1.0) < rounds {
            job(&[48 * HOUR, test], random.random_range(0.3..0.7))
        } else {
            job(&[test], random.random_range(0.2..0.97))
        }
    });
    let jobs = jobs.collect();
    Bench::new(seen_from(9 * HOUR, &weekdays(9, 17, 20)), slots(8), jobs).unwrap()
}

/// Expected good packs that are ready by a minute.
fn good_by(bench: &Bench, plan: &Plan, minute: u32) -> f64 {
    let runs = (0..bench.slots().len()).flat_map(|slot| plan.runs(slot));
    runs.filter(|run| run.taken_out <= minute).map(|run| bench.jobs()[run.job].chance).sum()
}

/// Eight slots, somebody there from 9 to 17, Monday to Friday, all slots empty on Monday at 9; what is ready on Friday before 17.
#[test]
fn a_week_gives_more_good_packs_than_the_order_of_arrival() {
    let friday = 4 * DAY + 8 * HOUR;
    for (packs, rounds, hours, at_least) in [
        (60, 0.3, (8, 8), 1.4),
        (100, 0.5, (8, 8), 1.8),
        (100, 0.5, (3, 8), 1.8),
        (150, 0.0, (3, 8), 1.4),
        (60, 1.0, (8, 8), 1.15),
    ] {
        let (mut ours, mut theirs, mut least) = (0.0, 0.0, f64::INFINITY);
        for seed in 0..8 {
            let bench = queue(seed, packs, rounds, hours);
            let (plan, arrival) = (arrange(&bench), first_come(&bench));
            assert!(plan.left_over().is_empty() && arrival.left_over().is_empty());
            assert!(plan.score() < arrival.score());
            let [good, otherwise] = [&plan, &arrival].map(|plan| good_by(&bench, plan, friday));
            least = least.min(good / otherwise);
            ours += good / 8.0;
            theirs += otherwise / 8.0;
        }
        show(&format!(
            "{packs} packs, rounds {rounds}, tests of {hours:?} h: {ours:.1} good packs, by arrival {theirs:.1}: {:.2}, least {least:.2}",
            ours / theirs
        ));
        assert!(least >= at_least, "{packs} packs, rounds {rounds}, tests of {hours:?} h: {least}");
    }
}

/// What can be done within the week is done either way: then there is nothing to win by Friday.
#[test]
fn a_short_queue_is_done_either_way() {
    let bench = queue(1, 20, 0.0, (8, 8));
    let [good, otherwise] =
        [arrange(&bench), first_come(&bench)].map(|plan| good_by(&bench, &plan, 4 * DAY + 8 * HOUR));
    assert!((good - otherwise).abs() < 1e-9);
}

/// A long queue with loans, adapters and open runs.
fn long(packs: u32, slots: u32) -> Bench {
    let mut random = ChaCha12Rng::seed_from_u64(packs.into());
    let jobs = (0..packs).map(|number| {
        let test = random.random_range(120..600);
        let stages = if one_in(&mut random, 3) { vec![48 * HOUR, test] } else { vec![test] };
        Job {
            kind: number % 5,
            needed_by: one_in(&mut random, 10).then(|| random.random_range(DAY..3 * WEEK)),
            ..job(&stages, random.random_range(0.0..0.97))
        }
    });
    let jobs = jobs.collect();
    let slots = (0..slots).map(|slot| Slot {
        free_from: slot % 4 * 7 * HOUR,
        takes: if slot % 4 == 0 { Takes::Any } else { Takes::Only(vec![slot % 5, (slot + 1) % 5, 4]) },
    });
    let slots = slots.collect();
    Bench::new(seen_from(9 * HOUR, &weekdays(9, 17, 120)), slots, jobs).unwrap()
}

#[test]
fn long_queues_are_planned_in_a_moment() {
    let calm = round_the_clock(1, 3000);
    let calm = Bench::new(calm.attended().clone(), slots(16), calm.jobs().to_vec()).unwrap();
    for bench in [long(150, 8), long(500, 16), long(3000, 16), calm] {
        let (packs, slots) = (bench.jobs().len(), bench.slots().len());
        let clock = Instant::now();
        let start = greedy(&bench);
        let greedily = clock.elapsed().as_secs_f64();
        let clock = Instant::now();
        let found = search(&bench);
        let searched = clock.elapsed().as_secs_f64();
        let arrival = first_come(&bench);
        for (way, plan) in [("arrival", &arrival), ("greedy", &start), ("search", &found)] {
            let score = plan.score();
            show(&format!(
                "{packs} packs, {slots} slots, {way}: {:.2}, {:.0}",
                score.late(),
                score.waiting()
            ));
            keeps_the_rules(&bench, plan).unwrap();
        }
        show(&format!("greedy {greedily:.3} s, search {searched:.3} s"));
        assert!(found.score() < start.score() && start.score() < arrival.score());
        // A bound for a busy machine and a build without optimisation, not a measure.
        assert!(searched < 60.0, "{searched}");
    }
}

#[test]
fn eight_jobs_in_three_slots_are_planned_exactly() {
    assert_eq!([orders(0, 3), orders(1, 3), orders(2, 2), orders(4, 1)], [1, 3, 6, 24]);
    assert_eq!([orders(8, 3), orders(1000, 1000)], [1_814_400, u64::MAX]);
    assert!(orders(8, 3) <= MOST_ORDERS);
    let mut longest = 0.0_f64;
    for seed in 0..20 {
        let bench = queue(seed, 8, 0.4, (3, 8));
        let bench = Bench::new(bench.attended().clone(), slots(3), bench.jobs().to_vec()).unwrap();
        let clock = Instant::now();
        let least = best(&bench).unwrap();
        longest = longest.max(clock.elapsed().as_secs_f64());
        assert_eq!(arrange(&bench), least);
        assert!(gap(&search(&bench), &least) < 0.01, "seed {seed}");
    }
    show(&format!("8 jobs, 3 slots: the best in {longest:.3} s at most"));
    assert_eq!(best(&queue(1, 9, 0.4, (3, 8))), None);
}

/// From 9 to 17, today and the days after.
fn days() -> Attended {
    seen_from(9 * HOUR, &weekdays(9, 17, 3))
}

/// At 9 the short tests, at 16 the long run, which has the night: though it is worth more for each of its hours than they are, and
/// goes first where somebody is always there.
#[test]
fn long_runs_go_over_the_night() {
    let jobs = vec![job(&[17 * HOUR], 0.9), job(&[3 * HOUR], 0.1), job(&[4 * HOUR], 0.1)];
    let bench = |attended| Bench::new(attended, slots(1), jobs.clone()).unwrap();
    for make in [search, arrange] {
        let plan = make(&bench(days()));
        let runs: Vec<_> = plan.runs(0).iter().map(|run| (run.job, run.put_in, run.taken_out)).collect();
        assert_eq!(runs, [(1, 0, 3 * HOUR), (2, 3 * HOUR, 7 * HOUR), (0, 7 * HOUR, DAY)]);
        assert_eq!(order(&make(&bench(always())), 0), [0, 1, 2]);
    }
}

/// At 16 a test of 2 h and a run of 14 h both hold the slot until 9: the run with the better chance goes in, though Smith's rule on
/// their lengths says the test.
#[test]
fn the_hour_of_the_day_decides_what_goes_first() {
    let jobs = vec![job(&[2 * HOUR], 0.5), job(&[14 * HOUR], 0.9)];
    let first = |attended| order(&greedy(&Bench::new(attended, slots(1), jobs.clone()).unwrap()), 0);
    assert_eq!(first(seen_from(16 * HOUR, &weekdays(9, 17, 3))), [1, 0]);
    assert_eq!(first(days()), [0, 1]);
    assert_eq!(first(always()), [0, 1]);
}

#[test]
fn stages_wait_for_somebody_to_start_them() {
    let bench =
        Bench::new(days(), slots(1), vec![job(&[48 * HOUR, 10 * HOUR], 0.5), job(&[HOUR], 0.0)]).unwrap();
    let plan = Plan::of(&bench, &[vec![0, 1]]).unwrap();
    let next_monday = 7 * DAY;
    let first = Run { job: 0, put_in: 0, moved_on: vec![2 * DAY], done: 58 * HOUR, taken_out: 3 * DAY };
    let second =
        Run { job: 1, put_in: 3 * DAY, moved_on: vec![], done: 3 * DAY + HOUR, taken_out: 3 * DAY + HOUR };
    assert_eq!(plan.runs(0), [first, second]);
    let steps: Vec<_> = plan.steps().iter().map(|step| (step.at, step.act, step.job)).collect();
    assert_eq!(steps[..3], [(0, Act::PutIn, 0), (2 * DAY, Act::MoveOn, 0), (3 * DAY, Act::TakeOut, 0)]);
    assert_eq!(steps[3..], [(3 * DAY, Act::PutIn, 1), (3 * DAY + HOUR, Act::TakeOut, 1)]);
    assert!((plan.score().waiting() - 0.5 * f64::from(3 * DAY)).abs() < 1e-9);
    // One that ends as the last person leaves on Friday is taken out on Monday.
    let friday = Slot { free_from: 4 * DAY, takes: Takes::Any };
    let bench = Bench::new(days(), vec![friday], vec![job(&[8 * HOUR], 0.5)]).unwrap();
    assert_eq!(bench.ready(0, 4 * DAY), Some(next_monday));
    assert_eq!(arrange(&bench).score().end(), next_monday);
}

#[test]
fn loans_come_before_all_else_if_they_can_be_met() {
    let needed = |by| Job { needed_by: Some(by), ..job(&[7 * HOUR], 0.3) };
    let plan_of = |by| {
        let bench = Bench::new(days(), slots(1), vec![job(&[7 * HOUR], 0.9), needed(by)]).unwrap();
        assert_eq!(order(&search(&bench), 0), order(&arrange(&bench), 0));
        arrange(&bench)
    };
    assert_eq!(order(&plan_of(7 * HOUR), 0), [1, 0]);
    // Time for both, or for neither: the better chance first.
    assert_eq!(order(&plan_of(DAY), 0), [0, 1]);
    assert_eq!(order(&plan_of(7 * HOUR - 1), 0), [0, 1]);
    assert!((plan_of(7 * HOUR - 1).score().late() - 0.3).abs() < 1e-9);
}

#[test]
fn a_pack_without_a_chance_is_tested_last() {
    let jobs = vec![job(&[HOUR], 0.0), job(&[48 * HOUR], 0.1), job(&[30 * HOUR], 0.2)];
    let bench = Bench::new(days(), slots(1), jobs).unwrap();
    for plan in [greedy(&bench), search(&bench), arrange(&bench)] {
        assert_eq!(order(&plan, 0).last(), Some(&0));
        assert!(plan.left_over().is_empty());
    }
}

#[test]
fn what_cannot_be_done_is_left_over_with_the_reason() {
    let two_days =
        Attended::new([Window { from: 0, until: 480 }, Window { from: DAY, until: DAY + 480 }]).unwrap();
    let only = vec![Slot { free_from: 0, takes: Takes::Only(vec![1]) }];
    let kind = |kind, hours| Job { kind, ..job(&[hours * HOUR], 0.5) };
    let jobs = vec![kind(2, 1), kind(1, 40), kind(1, 3), kind(1, 30)];
    let bench = Bench::new(two_days, only, jobs).unwrap();
    let left = [(0, Reason::NoSlot), (1, Reason::NoHours)].map(|(job, reason)| LeftOver { job, reason });
    for plan in [first_come(&bench), greedy(&bench), search(&bench), arrange(&bench)] {
        assert_eq!(plan.left_over()[..2], left);
    }
    // Either of the two others can be done, and the short one leaves no time for the long one.
    assert_eq!(order(&first_come(&bench), 0), [2]);
    assert_eq!(arrange(&bench).left_over().len(), 3);
    let nobody = Bench::new(Attended::new([]).unwrap(), slots(2), vec![job(&[1], 1.0)]).unwrap();
    assert_eq!(arrange(&nobody).left_over(), [LeftOver { job: 0, reason: Reason::NoHours }]);
    let no_slots = Bench::new(always(), vec![], vec![job(&[1], 1.0)]).unwrap();
    assert_eq!(arrange(&no_slots).left_over(), [LeftOver { job: 0, reason: Reason::NoSlot }]);
}

#[test]
fn what_makes_no_sense_is_turned_down() {
    let window = Attended::new([Window { from: 5, until: 5 }]);
    assert_eq!(window, Err(QueueError::Window { from: 5, until: 5 }));
    let bench = |job| Bench::new(always(), slots(1), vec![job]);
    assert_eq!(bench(job(&[], 0.5)), Err(QueueError::Stages { job: 0 }));
    assert_eq!(bench(job(&[5, 0], 0.5)), Err(QueueError::Stages { job: 0 }));
    assert_eq!(bench(job(&[5], 1.5)), Err(QueueError::Chance { job: 0, chance: 1.5 }));
    assert!(matches!(bench(job(&[5], f64::NAN)), Err(QueueError::Chance { .. })));
    let heavy = Job { weight: f64::INFINITY, ..job(&[5], 0.5) };
    assert_eq!(bench(heavy), Err(QueueError::Weight { job: 0, weight: f64::INFINITY }));
    let other = Job { kind: 1, ..job(&[5], 0.5) };
    let only = Slot { free_from: 0, takes: Takes::Only(vec![0]) };
    let bench = Bench::new(always(), vec![only.clone(), only], vec![job(&[5], 0.5), other]).unwrap();
    assert_eq!(Plan::of(&bench, &[vec![0]]), Err(QueueError::Slots { orders: 1, slots: 2 }));
    assert_eq!(Plan::of(&bench, &[vec![0], vec![0]]), Err(QueueError::Misplaced { slot: 1, job: 0 }));
    assert_eq!(Plan::of(&bench, &[vec![1], vec![0]]), Err(QueueError::Misplaced { slot: 0, job: 1 }));
    assert_eq!(Plan::of(&bench, &[vec![0, 2], vec![]]), Err(QueueError::Misplaced { slot: 0, job: 2 }));
    assert_eq!(Plan::of(&bench, &[vec![], vec![]]), Err(QueueError::Missing { job: 0 }));
    assert!(Plan::of(&bench, &[vec![], vec![0]]).is_ok());
}

/// Made anew from the same numbers, and in another thread, the plan is the same.
#[test]
fn the_same_bench_has_the_same_plan() {
    for make in [|| small(7), || queue(3, 60, 0.4, (3, 8)), || long(150, 8)] {
        let plan = arrange(&make());
        assert_eq!(std::thread::spawn(move || arrange(&make())).join().unwrap(), plan);
        assert_eq!(arrange(&make()).steps(), plan.steps());
    }
}

/// Sees that nobody is asked for who is not there, that no slot has two runs at once, and that each job is done once or left over.
fn keeps_the_rules(bench: &Bench, plan: &Plan) -> Result<(), TestCaseError> {
    let attended = |at: u32| bench.attended().windows().iter().any(|w| (w.from..w.until).contains(&at));
    let mut seen = vec![0; bench.jobs().len()];
    for (slot, given) in bench.slots().iter().enumerate() {
        let mut free = given.free_from;
        for run in plan.runs(slot) {
            let stages = &bench.jobs()[run.job].stages;
            prop_assert!(given.takes.takes(bench.jobs()[run.job].kind));
            prop_assert!(run.put_in >= free && attended(run.put_in) && attended(run.taken_out));
            prop_assert_eq!(run.moved_on.len() + 1, stages.len());
            let mut at = run.put_in;
            for (stage, &moved_on) in stages.iter().zip(&run.moved_on) {
                prop_assert!(moved_on >= at + stage && attended(moved_on));
                at = moved_on;
            }
            prop_assert_eq!(Some(run.done), stages.last().map(|stage| at + stage));
            prop_assert!(run.taken_out >= run.done);
            prop_assert_eq!(bench.ready(run.job, free), Some(run.taken_out));
            free = run.taken_out;
            seen[run.job] += 1;
        }
    }
    for left in plan.left_over() {
        let fits = (0..bench.slots().len()).any(|slot| bench.fits(slot, left.job));
        prop_assert_eq!(left.reason, if fits { Reason::NoHours } else { Reason::NoSlot });
        seen[left.job] += 1;
    }
    prop_assert!(seen.iter().all(|&times| times == 1));
    Ok(())
}

/// Any windows, also ones that overlap, too few for the jobs or none.
fn any_windows() -> impl Strategy<Value = Vec<Window>> {
    let window = (0..6000_u32, 1..700_u32).prop_map(|(from, long)| Window { from, until: from + long });
    prop::collection::vec(window, 0..12)
}

fn any_bench() -> impl Strategy<Value = Bench> {
    let takes = prop_oneof![Just(Takes::Any), prop::collection::vec(0..3_u32, 0..3).prop_map(Takes::Only)];
    let slot = (0..900_u32, takes).prop_map(|(free_from, takes)| Slot { free_from, takes });
    let chance = prop_oneof![Just(0.0), 0.0..1.0];
    let job =
        (0..3_u32, prop::collection::vec(1..500_u32, 1..4), chance, 0.0..3.0, prop::option::of(0..6000_u32));
    let job = job.prop_map(|(kind, stages, chance, weight, needed_by)| Job {
        kind,
        stages,
        chance,
        weight,
        needed_by,
    });
    let (slots, jobs) = (prop::collection::vec(slot, 0..4), prop::collection::vec(job, 0..30));
    (any_windows(), slots, jobs)
        .prop_map(|(windows, slots, jobs)| Bench::new(Attended::new(windows).unwrap(), slots, jobs).unwrap())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn windows_are_apart_and_the_next_minute_is_the_first(given in any_windows(), minute in 0..7000_u32) {
        let attended = Attended::new(given.clone()).unwrap();
        prop_assert!(attended.windows().windows(2).all(|pair| pair[0].until < pair[1].from));
        let there = |at: u32| given.iter().any(|window| (window.from..window.until).contains(&at));
        prop_assert_eq!(attended.next(minute), (minute..7000).find(|&at| there(at)));
    }

    #[test]
    fn every_plan_keeps_the_rules(bench in any_bench()) {
        for plan in [first_come(&bench), greedy(&bench), search(&bench), arrange(&bench)] {
            keeps_the_rules(&bench, &plan)?;
        }
        prop_assert!(search(&bench).score() <= greedy(&bench).score());
    }

    /// Waiting on purpose: a slot that is loaded later has nothing ready earlier.
    #[test]
    fn to_idle_never_helps(bench in any_bench(), job in 0..30_usize, free in 0..6000_u32, idle in 0..2000_u32) {
        let (early, late) = (bench.ready(job, free), bench.ready(job, free + idle));
        prop_assert!(late.is_none() || early <= late);
        prop_assert!(early.is_some() || late.is_none());
    }
}
