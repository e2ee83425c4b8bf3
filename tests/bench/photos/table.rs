//! What was read of each kind of picture, and in how much processor time.

use std::collections::BTreeMap;
use std::time::Duration;

use packmuster::scan::picture::{self, Limits, Want};
use rustix::time::{ClockId, clock_gettime};

use super::truth::Shot;
use crate::Outcome;

/// Enough that a loaded machine changes no result.
const PATIENT: Limits = Limits { pixels: 64_000_000, budget: Duration::from_secs(60), want: Want::All };

/// One kind of picture.
#[derive(Debug, Default)]
struct Kind {
    pictures: usize,
    texts: usize,
    read: usize,
    whole: usize,
    wrong: usize,
    unread: usize,
    all: Vec<f64>,
    first: Vec<f64>,
}

/// All kinds.
#[derive(Debug, Default)]
pub(crate) struct Table {
    kinds: BTreeMap<String, Kind>,
}

fn cpu() -> f64 {
    let now = clock_gettime(ClockId::ProcessCPUTime);
    let (seconds, nanos) = (now.tv_sec, now.tv_nsec);
    #[expect(clippy::as_conversions, clippy::cast_precision_loss, reason = "milliseconds for people")]
    let millis = seconds as f64 * 1e3 + nanos as f64 / 1e6;
    millis
}

impl Table {
    /// Reads a picture, twice: all that is in it, and the first that comes.
    pub(crate) fn take(&mut self, shot: &Shot) -> Outcome<()> {
        let grey = image::open(&shot.file)?.into_luma8();
        let start = cpu();
        let found = picture::read_grey(grey.clone(), &PATIENT);
        let all = cpu() - start;
        let start = cpu();
        let _first = picture::read_grey(grey, &Limits { want: Want::First, ..PATIENT });
        let first = cpu() - start;
        let texts: Vec<&str> = found.found.iter().map(|found| found.text.as_str()).collect();
        let kind = self.kinds.entry(shot.kind.clone()).or_default();
        let read = shot.texts.iter().filter(|text| texts.contains(&text.as_str())).count();
        kind.pictures += 1;
        kind.texts += shot.texts.len();
        kind.read += read;
        kind.whole += usize::from(read == shot.texts.len());
        kind.wrong += texts.iter().filter(|text| !shot.texts.iter().any(|meant| meant == *text)).count();
        kind.unread += found.unread.len();
        kind.all.push(all);
        kind.first.push(first);
        if std::env::var_os("PACKMUSTER_MISSES").is_some() && read < shot.texts.len() {
            crate::say(&format!(
                "{} {read}/{} +{}",
                shot.file.display(),
                shot.texts.len(),
                found.unread.len()
            ))?;
        }
        Ok(())
    }

    /// Prints the table.
    pub(crate) fn print(mut self) -> Outcome<()> {
        crate::say(&format!(
            "{:24} {:>8} {:>6} {:>6} {:>7} {:>5} {:>6}  {:>8} {:>8} {:>8}  {:>8}",
            "kind", "pictures", "texts", "read", "share", "whole", "unread", "ms p50", "mean", "max", "first"
        ))?;
        for (name, kind) in &mut self.kinds {
            kind.all.sort_by(f64::total_cmp);
            kind.first.sort_by(f64::total_cmp);
            let middle = |times: &[f64]| times.get(times.len() / 2).copied().unwrap_or_default();
            #[expect(clippy::as_conversions, clippy::cast_precision_loss, reason = "a share for people")]
            let (share, mean) = (
                100.0 * kind.read as f64 / kind.texts.max(1) as f64,
                kind.all.iter().sum::<f64>() / kind.pictures.max(1) as f64,
            );
            let wrong = if kind.wrong > 0 { format!("  {} WRONG", kind.wrong) } else { String::new() };
            crate::say(&format!(
                "{name:24} {:>8} {:>6} {:>6} {share:>6.1}% {:>5} {:>6}  {:>8.1} {mean:>8.1} {:>8.1}  {:>8.2}{wrong}",
                kind.pictures,
                kind.texts,
                kind.read,
                kind.whole,
                kind.unread,
                middle(&kind.all),
                kind.all.last().copied().unwrap_or_default(),
                middle(&kind.first),
            ))?;
        }
        Ok(())
    }
}
