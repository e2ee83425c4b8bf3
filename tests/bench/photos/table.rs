//! What was read of each kind of picture, and in how much processor time.

use std::collections::BTreeMap;
use std::time::Duration;

use packmuster::scan::picture::{self, Limits, Want};
use rustix::time::{ClockId, clock_gettime};

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

/// Processor time of this process, milliseconds.
pub(crate) fn cpu() -> f64 {
    let now = clock_gettime(ClockId::ProcessCPUTime);
    let (seconds, nanos) = (now.tv_sec, now.tv_nsec);
    #[expect(clippy::as_conversions, clippy::cast_precision_loss, reason = "milliseconds for people")]
    let millis = seconds as f64 * 1e3 + nanos as f64 / 1e6;
    millis
}

impl Table {
    /// How many texts there were to read.
    pub(crate) fn texts(&self) -> usize {
        self.kinds.values().map(|kind| kind.texts).sum()
    }

    /// Fails unless every picture of the kinds whose names end so was read whole.
    pub(crate) fn all_whole(&self, end: &str) -> Outcome<()> {
        for (name, kind) in self.kinds.iter().filter(|(name, _)| name.ends_with(end)) {
            if kind.whole < kind.pictures {
                return Err(format!("{name}: {} of {} pictures whole", kind.whole, kind.pictures).into());
            }
        }
        Ok(())
    }

    /// Reads a picture, twice: all that is in it, and the first that comes.
    pub(crate) fn take(&mut self, name: &str, bytes: &[u8], texts: &[String]) -> Outcome<()> {
        let grey = image::load_from_memory(bytes)?.into_luma8();
        let start = cpu();
        let found = picture::read_grey(&grey, &PATIENT);
        let all = cpu() - start;
        let start = cpu();
        let first = picture::read_grey(&grey, &Limits { want: Want::First, ..PATIENT });
        let quick = cpu() - start;
        if first.found.is_empty() != found.found.is_empty() {
            return Err("asked for one, and for all, the reader sees differently".into());
        }
        let seen: Vec<&str> = found.found.iter().map(|found| found.text.as_str()).collect();
        let kind = self.kinds.entry(name.to_owned()).or_default();
        let read = texts.iter().filter(|text| seen.contains(&text.as_str())).count();
        kind.pictures += 1;
        kind.texts += texts.len();
        kind.read += read;
        kind.whole += usize::from(read == texts.len());
        kind.wrong += seen.iter().filter(|text| !texts.iter().any(|meant| meant == *text)).count();
        kind.unread += found.unread.len();
        kind.all.push(all);
        kind.first.push(quick);
        Ok(())
    }

    /// Prints the table, with a line for all that are of one sort. Fails when a text was invented.
    pub(crate) fn print(mut self) -> Outcome<()> {
        crate::say(&format!(
            "{:24} {:>8} {:>6} {:>6} {:>7} {:>5} {:>6}  {:>8} {:>8} {:>8}  {:>8}",
            "kind", "pictures", "texts", "read", "share", "whole", "unread", "ms p50", "mean", "max", "first"
        ))?;
        for sort in ["none", "one", "tray"] {
            let mut sum = Kind::default();
            for (_, kind) in self.kinds.iter().filter(|(name, _)| name.starts_with(sort)) {
                sum.add(kind);
            }
            if sum.pictures > 0 {
                self.kinds.insert(format!("{sort}: all"), sum);
            }
        }
        let mut wrong = 0;
        for (name, kind) in &mut self.kinds {
            crate::say(&format!("{name:24} {}", kind.line()))?;
            wrong += kind.wrong;
        }
        if wrong > 0 { Err("a text was read that stands in no picture".into()) } else { Ok(()) }
    }
}

impl Kind {
    fn add(&mut self, other: &Self) {
        self.pictures += other.pictures;
        self.texts += other.texts;
        self.read += other.read;
        self.whole += other.whole;
        self.wrong += other.wrong;
        self.unread += other.unread;
        self.all.extend(&other.all);
        self.first.extend(&other.first);
    }

    fn line(&mut self) -> String {
        self.all.sort_by(f64::total_cmp);
        self.first.sort_by(f64::total_cmp);
        let middle = |times: &[f64]| times.get(times.len() / 2).copied().unwrap_or_default();
        #[expect(clippy::as_conversions, clippy::cast_precision_loss, reason = "a share for people")]
        let (share, mean) = (
            100.0 * self.read as f64 / self.texts.max(1) as f64,
            self.all.iter().sum::<f64>() / self.pictures.max(1) as f64,
        );
        let wrong = if self.wrong > 0 { format!("  {} WRONG", self.wrong) } else { String::new() };
        format!(
            "{:>8} {:>6} {:>6} {share:>6.1}% {:>5} {:>6}  {:>8.1} {mean:>8.1} {:>8.1}  {:>8.2}{wrong}",
            self.pictures,
            self.texts,
            self.read,
            self.whole,
            self.unread,
            middle(&self.all),
            self.all.last().copied().unwrap_or_default(),
            middle(&self.first),
        )
    }
}
