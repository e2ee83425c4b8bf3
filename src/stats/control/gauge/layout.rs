//! The order in which a crossed study is read: visit by visit, each slot with another pack.

use rand::Rng;

use super::study::Design;

/// One visit to the bench: (part, operator) pairs, no part and no operator twice.
pub type Visit = Vec<(usize, usize)>;

/// Lays a study out so that every part meets every operator as often as the design says, in as few visits as that takes: by the
/// rows of a cyclic Latin square (a rectangle of it where there are more of one than of the other), with parts, operators and visits
/// shuffled, so that neither order nor time stands for either. All visits of one repeat come before those of the next.
///
/// Cochran and Cox, "Experimental Designs", 1957, chapter 4; from memory. The shuffle is that of Fisher and Yates.
///
/// ```
/// use packmuster::stats::control::gauge::layout::visits;
/// use packmuster::stats::control::gauge::study::Design;
/// use rand::SeedableRng as _;
/// let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(1);
/// let visits = visits(Design { parts: 10, operators: 4, repeats: 2 }, &mut random);
/// assert_eq!((visits.len(), visits[0].len()), (20, 4));
/// ```
pub fn visits(design: Design, random: &mut impl Rng) -> Vec<Visit> {
    let Design { parts, operators, repeats } = design;
    let most = parts.max(operators);
    let mut all = Vec::new();
    for _ in 0..repeats {
        let (part, operator) = (shuffled(parts, random), shuffled(operators, random));
        for start in shuffled(most, random) {
            let mut visit: Visit = (0..parts.min(operators))
                .filter_map(|place| {
                    let turned = (start + place) % most;
                    if parts >= operators {
                        Some((*part.get(turned)?, *operator.get(place)?))
                    } else {
                        Some((*part.get(place)?, *operator.get(turned)?))
                    }
                })
                .collect();
            visit.sort_by_key(|&(_, operator)| operator);
            all.push(visit);
        }
    }
    all
}

/// The numbers below a count, shuffled. By whole 64-bit draws, so that the same randomness gives the same order for ever.
fn shuffled(count: usize, random: &mut impl Rng) -> Vec<usize> {
    let mut numbers: Vec<usize> = (0..count).collect();
    for last in (1..count).rev() {
        let below = u128::try_from(last + 1).unwrap_or(1);
        let drawn = (u128::from(random.next_u64()) * below) >> 64;
        numbers.swap(last, usize::try_from(drawn).unwrap_or(last));
    }
    numbers
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng as _;
    use std::collections::{BTreeMap, BTreeSet};

    #[test]
    fn every_part_meets_every_operator_as_often_and_no_visit_uses_one_twice() {
        for (parts, operators, repeats) in [(10, 4, 2), (3, 8, 3), (5, 5, 2), (2, 2, 2)] {
            let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(9);
            let all = visits(Design { parts, operators, repeats }, &mut random);
            assert_eq!(all.len(), parts.max(operators) * repeats);
            let mut met: BTreeMap<(usize, usize), usize> = BTreeMap::new();
            for visit in &all {
                let parts: BTreeSet<usize> = visit.iter().map(|run| run.0).collect();
                let operators: BTreeSet<usize> = visit.iter().map(|run| run.1).collect();
                assert!(parts.len() == visit.len() && operators.len() == visit.len());
                for run in visit {
                    *met.entry(*run).or_default() += 1;
                }
            }
            assert!(met.len() == parts * operators && met.values().all(|times| *times == repeats), "{met:?}");
        }
    }
}
