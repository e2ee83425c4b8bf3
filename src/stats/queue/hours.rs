//! When somebody is there.
//!
//! Windows of minutes, sorted and apart. What makes them, a week's opening hours, holidays and the change of the clocks, is for the
//! caller: here an hour is an hour.

use super::QueueError;

/// A time in which somebody is there: from its first minute until just before its last one, which is no part of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Window {
    /// First minute.
    pub from: u32,
    /// First minute after it.
    pub until: u32,
}

/// All times in which somebody is there, as far as they are known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Attended {
    windows: Vec<Window>,
    /// Time is cut into stretches of `2^stretch` minutes, about as many as windows...
    stretch: u32,
    /// ...and for each it is known which window is the first that ends after it begins.
    first: Vec<usize>,
}

impl Attended {
    /// Sorts windows and makes one of those that overlap or touch; none at all is allowed.
    ///
    /// ```
    /// use packmuster::stats::queue::hours::{Attended, Window};
    /// let attended = Attended::new([
    ///     Window { from: 900, until: 960 },
    ///     Window { from: 0, until: 120 },
    ///     Window { from: 60, until: 240 },
    /// ])?;
    /// assert_eq!(attended.windows(), [Window { from: 0, until: 240 }, Window { from: 900, until: 960 }]);
    /// assert_eq!(attended.next(239), Some(239));
    /// assert_eq!(attended.next(240), Some(900));
    /// assert_eq!(attended.next(960), None);
    /// # Ok::<(), packmuster::stats::queue::QueueError>(())
    /// ```
    ///
    /// # Errors
    /// [`QueueError::Window`] for one that ends before it begins, or as it does.
    pub fn new(windows: impl IntoIterator<Item = Window>) -> Result<Self, QueueError> {
        let mut given: Vec<Window> = windows.into_iter().collect();
        if let Some(&Window { from, until }) = given.iter().find(|window| window.until <= window.from) {
            return Err(QueueError::Window { from, until });
        }
        given.sort_unstable();
        let mut windows: Vec<Window> = Vec::with_capacity(given.len());
        for window in given {
            match windows.last_mut() {
                Some(last) if window.from <= last.until => last.until = last.until.max(window.until),
                _ => windows.push(window),
            }
        }
        let end = windows.last().map_or(0, |window| window.until);
        let most = u32::try_from(windows.len()).unwrap_or(u32::MAX).saturating_mul(4);
        let stretch = (0..u32::BITS - 1).find(|&stretch| end >> stretch <= most).unwrap_or(u32::BITS - 1);
        let begins = (0..=end >> stretch).map(|number| number << stretch);
        let first = begins.map(|begin| windows.partition_point(|window| window.until <= begin)).collect();
        Ok(Self { windows, stretch, first })
    }

    /// The windows, sorted, with a gap between any two.
    pub fn windows(&self) -> &[Window] {
        &self.windows
    }

    /// The first attended minute at or after one: it never falls when that one rises. `None` when none is known.
    pub fn next(&self, minute: u32) -> Option<u32> {
        let &first = self.first.get(usize::try_from(minute >> self.stretch).ok()?)?;
        let mut later = self.windows.get(first..)?.iter();
        later.find(|window| minute < window.until).map(|window| window.from.max(minute))
    }

    /// The first minute of which nothing is known: the end of the last window, or 0.
    pub fn end(&self) -> u32 {
        self.windows.last().map_or(0, |window| window.until)
    }
}
