//! Which clock fade goes by: for the whole fleet, and for makes whose readings say clearly that they go by another.

use super::super::clock::{Clock, Clocks, Own};
use super::super::fleet::{Fleet, Pack};
use super::{Along, FEWEST_PACKS, FadeError, Lines, Stage, Warmth};

/// Packs, and rounds of learning, of the first comparison of all clocks; and of the second, among the best of them.
const FIRST: (usize, usize) = (1_000, 3);
const SECOND: (usize, usize) = (3_000, 7);
const BEST: usize = 3;
/// The same for one make; and how many makes are asked, the largest first.
const MAKE: (usize, usize) = (400, 3);
const MAKES: usize = 12;
/// How much more likely, in logarithms, another clock must make a make's readings than the fleet's does. Both have the same number
/// of parameters, so this is half a difference of Akaike's criterion; beyond five hardly anything speaks for the worse of two
/// (Burnham and Anderson, Model Selection, 2002, from memory). Twice that, as seven clocks are compared.
const CLEARLY: f64 = 10.0;
/// Readings of a pack that tell which clock it goes by.
const TELLING: usize = 3;

/// Chooses the clocks under which samples are most likely, bends and all.
///
/// # Errors
/// When there are not enough data for a line.
pub(super) fn choose(
    fleet: &Fleet,
    threads: usize,
    tell: &mut impl FnMut(Stage),
) -> Result<Clocks, FadeError> {
    let large = large_makes(fleet);
    let steps = 2 + large.len();
    tell(Stage::Clocks(0, steps));
    let mut best = likelihoods(fleet, Clock::ALL, FIRST, threads)?;
    tell(Stage::Clocks(1, steps));
    if fleet.packs() > FIRST.0 {
        best.truncate(BEST);
        best = likelihoods(fleet, best.into_iter().map(|(_, clock)| clock), SECOND, threads)?;
    }
    let shared = best.first().map_or(Clock::CYCLES, |(_, clock)| *clock);
    let mut chosen = Vec::new();
    for (k, (packs, make)) in large.into_iter().enumerate() {
        tell(Stage::Clocks(2 + k, steps));
        chosen.push((own(&fleet.only(make), shared, threads), packs, make));
    }
    // Where makes differ, the clock of all together suits none of them: the fleet's is then the one that most packs go by.
    let going_by = |clock: Clock| -> usize {
        chosen.iter().filter(|(own, ..)| *own == clock).map(|(_, packs, _)| packs).sum()
    };
    let base = chosen.iter().map(|(own, ..)| *own).max_by_key(|clock| going_by(*clock)).unwrap_or(shared);
    let mut clocks = Clocks::all(base);
    for (clock, _, make) in chosen.into_iter().filter(|(own, ..)| *own != base) {
        let own = Own { clock, scale: scale(&fleet.only(make), base, clock) };
        let groups = (0..).take(fleet.groups()).filter(|&group| fleet.make(usize::from(group)) == make);
        clocks.own.extend(groups.map(|group: u16| (group, own)));
    }
    Ok(clocks)
}

/// The clock of a make: the shared one, unless another is clearly better. A make alone may not be enough for a line.
fn own(make: &Fleet, shared: Clock, threads: usize) -> Clock {
    let Ok(ranked) = likelihoods(make, Clock::ALL, MAKE, threads) else { return shared };
    let of_shared = ranked.iter().find(|(_, clock)| *clock == shared).map(|(likelihood, _)| *likelihood);
    match (ranked.first(), of_shared) {
        (Some(&(likelihood, clock)), Some(of_shared)) if likelihood > of_shared + CLEARLY => clock,
        _ => shared,
    }
}

/// Clocks with the logarithms of the likelihood that they give a sample, likeliest first.
fn likelihoods(
    fleet: &Fleet,
    clocks: impl IntoIterator<Item = Clock>,
    (packs, rounds): (usize, usize),
    threads: usize,
) -> Result<Vec<(f64, Clock)>, FadeError> {
    let sample = fleet.thinned(packs, i32::MAX);
    let along = (sample.packs() >= FEWEST_PACKS).then_some(Along::Clock);
    let mut ranked = Vec::new();
    let mut fault = None;
    for clock in clocks {
        match Lines::fit(&sample, &Clocks::all(clock), Warmth::NONE, threads) {
            Ok(lines) => ranked.push((lines.learn(&sample, along, rounds, threads).1, clock)),
            Err(error) => fault = fault.or(Some(error)),
        }
    }
    ranked.sort_by(|(one, _), (other, _)| other.total_cmp(one));
    if ranked.is_empty() { Err(fault.unwrap_or(FadeError::Singular)) } else { Ok(ranked) }
}

/// The makes with enough packs that tell something, and how many those are, largest first; none where one is all there is.
fn large_makes(fleet: &Fleet) -> Vec<(usize, u16)> {
    let mut packs = vec![0_usize; fleet.groups()];
    for pack in fleet.iter().filter(|pack| pack.first_line().len() >= TELLING) {
        let make = fleet.make(usize::from(pack.group));
        if let Some(count) = packs.get_mut(usize::from(make)) {
            *count += 1;
        }
    }
    let several = packs.iter().filter(|packs| **packs > 0).count() > 1;
    let mut large: Vec<(usize, u16)> =
        packs.into_iter().zip(0..).filter(|&(packs, _)| several && packs >= FEWEST_PACKS).collect();
    large.sort_by_key(|&(packs, make)| (std::cmp::Reverse(packs), make));
    large.truncate(MAKES);
    large
}

/// What brings a make's clock and other measure as far as the fleet's, by the medians of its packs' latest readings.
fn scale(make: &Fleet, base: Clock, own: Clock) -> [f64; 2] {
    let ends = |clock: Clock| {
        let end = |pack: Pack<'_>| {
            let last = pack.readings.last()?;
            Some(clock.at(f64::from(last.cycles), f64::from(last.day.saturating_sub(pack.born))))
        };
        let (clocks, others): (Vec<f64>, Vec<f64>) = make.iter().filter_map(end).unzip();
        [clocks, others].map(median)
    };
    let ([base, base_other], [own, own_other]) = (ends(base), ends(own));
    [(base, own), (base_other, own_other)].map(|(base, own)| if own > 0.0 { base / own } else { 1.0 })
}

fn median(mut values: Vec<f64>) -> f64 {
    let middle = values.len() / 2;
    if values.is_empty() { 0.0 } else { *values.select_nth_unstable_by(middle, f64::total_cmp).1 }
}
