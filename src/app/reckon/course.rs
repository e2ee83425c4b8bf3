//! The chance of being below a limit along the months.
//!
//! A chance takes some ten microseconds where bends are summed over, and there are two dozen months and as many packs as there are: it
//! is asked for at both ends, and in the middle of what lies between only where the ends differ by more than [`FINE`]. Elsewhere it goes
//! straight from one to the other, in days. It grows only, so no value is further off than that.

/// Chances below this at the end of the time looked at are nothing before it, and need no months.
const NOTHING: f64 = 1e-6;
/// Ends that differ by less than this have a straight line between them.
const FINE: f64 = 1e-3;

/// The chance now and at each month's end, made to grow only.
pub(super) fn along(days: &[u32], chance: impl Fn(u32) -> f64) -> (f64, Vec<f64>) {
    let now = chance(0);
    let end = days.last().map_or(now, |&days| chance(days)).max(now);
    if end < NOTHING {
        return (0.0, vec![0.0; days.len()]);
    }
    let mut course = Vec::with_capacity(days.len());
    between((0, now), (days, end), &chance, &mut course);
    (now, course)
}

/// Adds the chances at some days, of which that at the last is known, behind a day whose chance is known too.
fn between(
    (from, low): (u32, f64),
    (days, high): (&[u32], f64),
    chance: &impl Fn(u32) -> f64,
    course: &mut Vec<f64>,
) {
    let Some((&last, before)) = days.split_last() else { return };
    let middle = before.len() / 2;
    let Some(&at) = before.get(middle).filter(|_| high - low >= FINE) else {
        let span = f64::from(last.saturating_sub(from).max(1));
        course.extend(
            before.iter().map(|&day| low + (high - low) * f64::from(day.saturating_sub(from)) / span),
        );
        course.push(high);
        return;
    };
    let half = chance(at).clamp(low, high);
    let (first, second) = days.split_at(middle + 1);
    between((from, low), (first, half), chance, course);
    between((at, half), (second, high), chance, course);
}

#[cfg(test)]
mod tests {
    use std::cell::Cell;

    use super::*;

    fn months() -> Vec<u32> {
        (0..24).map(|month| 17 + month * 30).collect()
    }

    #[test]
    fn it_is_asked_for_only_where_it_moves_and_is_never_far_off() {
        for (middle, width) in [(200.0, 12.0), (50.0, 60.0), (700.0, 9.0), (-300.0, 30.0), (5000.0, 40.0)] {
            let true_chance = |days: u32| 1.0 / (1.0 + ((middle - f64::from(days)) / width).exp());
            let asked = Cell::new(0);
            let (now, course) = along(&months(), |days| {
                asked.set(asked.get() + 1);
                true_chance(days)
            });
            assert!((now - true_chance(0)).abs() < 1e-6);
            assert_eq!(course.len(), 24);
            assert!(course.is_sorted(), "{course:?}");
            for (&days, found) in months().iter().zip(&course) {
                assert!((found - true_chance(days)).abs() < FINE, "{middle} {days}: {found}");
            }
            assert!(asked.get() < 20, "{middle}: {} times", asked.get());
        }
    }

    #[test]
    fn what_falls_is_held() {
        let (now, course) = along(&months(), |days| if days == 0 { 0.5 } else { 0.2 });
        assert!((now - 0.5).abs() < 1e-9 && course.iter().all(|chance| (chance - 0.5).abs() < 1e-9));
        assert_eq!(along(&[], |_| 0.3), (0.3, Vec::new()));
    }
}
