//! Which clock fade goes by: for the whole fleet, and for makes and lots whose readings say clearly that they go by another.

use super::super::clock::{Clock, Clocks, Own};
use super::super::fleet::Fleet;
use super::{Along, FEWEST_PACKS, FadeError, Lines, Stage, Warmth};

/// Packs, and rounds of learning, of the first comparison of all clocks; and of the second, among the best of them.
const FIRST: (usize, usize) = (1_000, 3);
const SECOND: (usize, usize) = (3_000, 7);
const BEST: usize = 3;
/// The same for one group; and how many groups are asked, the largest first.
const GROUP: (usize, usize) = (400, 3);
const GROUPS: usize = 12;
/// How much more likely, in logarithms, another clock must make a group's readings than the fleet's does. Both have the same number
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
    let large = large_groups(fleet);
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
    for (k, (packs, group)) in large.into_iter().enumerate() {
        tell(Stage::Clocks(2 + k, steps));
        chosen.push((own(&fleet.only(group), shared, threads), packs, group));
    }
    // Where makes differ, the clock of all together suits none of them: the fleet's is then the one that most packs go by.
    let going_by = |clock: Clock| -> usize {
        chosen.iter().filter(|(own, ..)| *own == clock).map(|(_, packs, _)| packs).sum()
    };
    let base = chosen.iter().map(|(own, ..)| *own).max_by_key(|clock| going_by(*clock)).unwrap_or(shared);
    let mut clocks = Clocks::all(base);
    for (clock, _, group) in chosen.into_iter().filter(|(own, ..)| *own != base) {
        clocks.own.insert(group, Own { clock, scale: scale(&fleet.only(group), base, clock) });
    }
    Ok(clocks)
}

/// The clock of a group: the shared one, unless another is clearly better. A group alone may not be enough for a line.
fn own(group: &Fleet, shared: Clock, threads: usize) -> Clock {
    let Ok(ranked) = likelihoods(group, Clock::ALL, GROUP, threads) else { return shared };
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

/// The groups with enough packs that tell something, and how many those are, largest first; none where one group is all there is.
fn large_groups(fleet: &Fleet) -> Vec<(usize, u16)> {
    let mut packs = vec![0_usize; fleet.groups()];
    for pack in fleet.iter().filter(|pack| pack.first_line().len() >= TELLING) {
        if let Some(count) = packs.get_mut(usize::from(pack.group)) {
            *count += 1;
        }
    }
    let mut large: Vec<(usize, u16)> =
        packs.into_iter().zip(0..).filter(|&(packs, _)| packs >= FEWEST_PACKS).collect();
    large.sort_by_key(|&(packs, group)| (std::cmp::Reverse(packs), group));
    large.truncate(GROUPS);
    if fleet.groups() < 2 { Vec::new() } else { large }
}

/// What brings a group's clock and other measure as far as the fleet's, by the medians of its packs' latest readings.
fn scale(group: &Fleet, base: Clock, own: Clock) -> [f64; 2] {
    let ends = |clock: Clock| {
        let end = |pack: super::Pack<'_>| {
            let last = pack.readings.last()?;
            Some(clock.at(f64::from(last.cycles), f64::from(last.day.saturating_sub(pack.born))))
        };
        let (clocks, others): (Vec<f64>, Vec<f64>) = group.iter().filter_map(end).unzip();
        [clocks, others].map(super::lift::median)
    };
    let ([base, base_other], [own, own_other]) = (ends(base), ends(own));
    [(base, own), (base_other, own_other)].map(|(base, own)| if own > 0.0 { base / own } else { 1.0 })
}
