//! Work shared out over the processor's cores. What comes back stands in the order of what was given, so that nothing hangs on the
//! number of cores.

use std::num::NonZero;
use std::panic::resume_unwind;
use std::thread;

/// Does a job on every item, at least so many items to a thread.
pub(crate) fn share_out<T: Send, R: Send>(
    items: Vec<T>,
    least: usize,
    job: impl Fn(T) -> R + Sync,
) -> Vec<R> {
    let threads = thread::available_parallelism().map_or(1, NonZero::get);
    let share = items.len().div_ceil(threads).max(least);
    if items.len() <= share {
        return items.into_iter().map(job).collect();
    }
    let mut rest = items;
    let mut parts = Vec::new();
    while rest.len() > share {
        let next = rest.split_off(share);
        parts.push(std::mem::replace(&mut rest, next));
    }
    parts.push(rest);
    let job = &job;
    thread::scope(|scope| {
        let work: Vec<_> = parts
            .into_iter()
            .map(|part| scope.spawn(move || part.into_iter().map(job).collect::<Vec<R>>()))
            .collect();
        work.into_iter().flat_map(|part| part.join().unwrap_or_else(|panic| resume_unwind(panic))).collect()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_stand_in_the_order_of_the_items() {
        for count in [0_usize, 1, 2, 3, 7, 100] {
            let items: Vec<usize> = (0..count).collect();
            let expected: Vec<usize> = items.iter().map(|item| item * 2).collect();
            for least in [1, 3, 1000] {
                assert_eq!(share_out(items.clone(), least, |item| item * 2), expected);
            }
        }
    }
}
