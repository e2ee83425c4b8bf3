//! A fence around foreign code that may panic or never come back.
//!
//! A panic inside the fence becomes `None`, and nothing is printed for it: one hook is put in front of the present one,
//! once, and stays quiet only on a thread that is inside the fence at that moment. All other panics reach the hook that
//! was there before.

use std::cell::Cell;
use std::panic::{self, AssertUnwindSafe};
use std::sync::{Once, mpsc};
use std::thread;
use std::time::{Duration, Instant};

thread_local! {
    static FENCED: Cell<bool> = const { Cell::new(false) };
}

/// Marks this thread as fenced until dropped; nested fences leave the outer one standing.
struct Quiet {
    before: bool,
}

impl Quiet {
    fn enter() -> Self {
        static HOOK: Once = Once::new();
        HOOK.call_once(|| {
            let previous = panic::take_hook();
            panic::set_hook(Box::new(move |info| {
                // `try_with`: a thread that is being torn down has no flag any more, and is not fenced.
                if !FENCED.try_with(Cell::get).unwrap_or(false) {
                    previous(info);
                }
            }));
        });
        Self { before: FENCED.replace(true) }
    }
}

impl Drop for Quiet {
    fn drop(&mut self) {
        FENCED.set(self.before);
    }
}

/// Runs `work`; `None` when it panics. What `work` touched must not be used after a `None`.
pub(super) fn quietly<T>(work: impl FnOnce() -> T) -> Option<T> {
    // The hook can only be changed by a thread that is not itself panicking.
    if thread::panicking() {
        return None;
    }
    let _quiet = Quiet::enter();
    panic::catch_unwind(AssertUnwindSafe(work)).ok()
}

/// Runs `work` on a thread of its own; `None` when it panics or is not done within `limit`.
///
/// A thread cannot be stopped from outside: one that runs over goes on by itself and its answer is dropped. The caller
/// must not start another for the same picture.
pub(super) fn within<T: Send + 'static>(
    limit: Duration,
    work: impl FnOnce() -> T + Send + 'static,
) -> Option<T> {
    let (answer, answered) = mpsc::sync_channel(1);
    let run = move || {
        if let Some(value) = quietly(work) {
            // Nobody listens any more when the time was over.
            drop(answer.try_send(value));
        }
    };
    thread::Builder::new().name("decoder".to_owned()).spawn(run).ok()?;
    answered.recv_timeout(limit).ok()
}

/// The time that one picture may take.
#[derive(Debug, Clone, Copy)]
pub(super) struct Deadline {
    start: Instant,
    budget: Duration,
}

impl Deadline {
    /// Starts the clock.
    pub(super) fn start(budget: Duration) -> Self {
        Self { start: Instant::now(), budget }
    }

    /// What is left; zero when the time is over.
    pub(super) fn left(&self) -> Duration {
        self.budget.saturating_sub(self.start.elapsed())
    }

    /// Whether the time is over.
    pub(super) fn is_over(&self) -> bool {
        self.left().is_zero()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_becomes_none_and_the_fence_comes_down() {
        assert_eq!(quietly(|| 3), Some(3));
        assert_eq!(quietly(|| -> u8 { panic!("a fault of the decoder") }), None);
        assert!(!FENCED.get());
        let nested = quietly(|| {
            assert_eq!(quietly(|| -> u8 { panic!("inner") }), None);
            FENCED.get()
        });
        assert_eq!(nested, Some(true));
    }

    #[test]
    fn work_that_does_not_end_is_left_behind() {
        let start = Instant::now();
        let slow = within(Duration::from_millis(50), || thread::sleep(Duration::from_secs(5)));
        assert_eq!(slow, None);
        assert!(start.elapsed() < Duration::from_secs(4));
        assert_eq!(within(Duration::from_secs(5), || 7), Some(7));
        assert_eq!(within(Duration::from_secs(5), || -> u8 { panic!("on its own thread") }), None);
    }
}
