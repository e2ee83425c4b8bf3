//! A bar for long work: on a terminal only, on stderr.

use std::io::IsTerminal;

use indicatif::{ProgressBar, ProgressStyle};

/// Steps between two looks of the bar.
const STEP: u64 = 1000;

/// Progress of one long piece of work.
pub(super) struct Progress(Option<ProgressBar>);

impl Progress {
    /// Begins; silent where stderr is no terminal.
    pub(super) fn new(what: &'static str) -> Self {
        if !std::io::stderr().is_terminal() {
            return Self(None);
        }
        let bar = ProgressBar::new_spinner().with_message(what);
        if let Ok(style) = ProgressStyle::with_template("{msg} {human_pos}  {per_sec}") {
            bar.set_style(style);
        }
        Self(Some(bar))
    }

    /// Begins a piece of work that is told step by step.
    pub(super) fn steps() -> Self {
        if !std::io::stderr().is_terminal() {
            return Self(None);
        }
        let bar = ProgressBar::new_spinner();
        if let Ok(style) = ProgressStyle::with_template("{spinner} {elapsed} {msg}") {
            bar.set_style(style);
        }
        Self(Some(bar))
    }

    /// This is being done now.
    pub(super) fn say(&self, what: String) {
        if let Some(bar) = &self.0 {
            bar.set_message(what);
            bar.tick();
        }
    }

    /// So much is done.
    pub(super) fn at(&self, done: u64) {
        if let Some(bar) = self.0.as_ref().filter(|_| done.is_multiple_of(STEP)) {
            bar.set_position(done);
        }
    }

    /// It is over.
    pub(super) fn end(&self) {
        if let Some(bar) = &self.0 {
            bar.finish_and_clear();
        }
    }
}
