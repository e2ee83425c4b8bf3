//! Figures: what was measured, the bar beside it, and the aim.

use std::fmt::Write as _;
use std::time::Duration;

/// One line of the table.
pub(crate) struct Figure {
    what: String,
    ours: String,
    bar: String,
    ratio: Option<f64>,
    aim: String,
}

impl Figure {
    /// A time beside the time of a bar, and the ratio that it should stay within.
    pub(crate) fn beside(what: &str, ours: Duration, bar: (&str, Duration), aim: Option<f64>) -> Self {
        let (name, bar) = bar;
        Self {
            what: what.to_owned(),
            ours: micros(ours),
            bar: format!("{} {name}", micros(bar)),
            ratio: Some(ours.as_secs_f64() / bar.as_secs_f64()),
            aim: aim.map_or_else(String::new, |aim| format!("{aim}x")),
        }
    }

    /// A time and the time that it should stay within.
    pub(crate) fn within(what: &str, ours: Duration, aim: Duration) -> Self {
        Self {
            what: what.to_owned(),
            ours: micros(ours),
            bar: format!("{} aimed at", micros(aim)),
            ratio: Some(ours.as_secs_f64() / aim.as_secs_f64()),
            aim: "1x".to_owned(),
        }
    }

    /// A rate beside a rate: the ratio is ours to the bar, so more is better.
    pub(crate) fn rate(what: &str, ours: f64, bar: (&str, f64), aim: &str) -> Self {
        Self {
            what: what.to_owned(),
            ours: format!("{ours:.0}/s"),
            bar: format!("{:.0}/s {}", bar.1, bar.0),
            ratio: Some(ours / bar.1),
            aim: aim.to_owned(),
        }
    }

    /// A figure that has no bar.
    pub(crate) fn alone(what: &str, ours: String, aim: &str) -> Self {
        Self { what: what.to_owned(), ours, bar: String::new(), ratio: None, aim: aim.to_owned() }
    }

    /// Bytes of the file for each entry.
    pub(crate) fn size(bytes: u64, entries: u64) -> Self {
        let each = float(bytes) / float(entries);
        Self::alone("file size per entry, projections and all", format!("{each:.0} B"), "240 to 400 B")
    }

    /// A figure that could not be taken.
    pub(crate) fn missing(what: &str, why: &str) -> Self {
        Self::alone(what, format!("not measured: {why}"), "")
    }
}

/// The table, its columns padded.
pub(crate) fn table(figures: &[Figure]) -> String {
    let wide =
        |column: fn(&Figure) -> &str| figures.iter().map(|figure| column(figure).len()).max().unwrap_or(0);
    let (what, ours, bar) = (wide(|f| &f.what), wide(|f| &f.ours), wide(|f| &f.bar));
    let mut text = format!("\n{:what$}  {:>ours$}  {:bar$}  {:>6}  aim", "what", "ours", "bar", "ratio");
    for figure in figures {
        let ratio = figure.ratio.map_or_else(String::new, |ratio| format!("{ratio:.2}x"));
        let _infallible = write!(
            text,
            "\n{:what$}  {:>ours$}  {:bar$}  {ratio:>6}  {}",
            figure.what, figure.ours, figure.bar, figure.aim
        );
    }
    text
}

/// The value below which a share (in per cent) of the times lies; sorts them.
pub(crate) fn quantile(times: &mut [Duration], percent: usize) -> Duration {
    times.sort_unstable();
    let place = times.len().saturating_sub(1) * percent / 100;
    times.get(place).copied().unwrap_or_default()
}

/// A count as a float; counts here are far below 2^53.
pub(crate) fn float(count: u64) -> f64 {
    let (high, low) = (count >> 32, count & u64::from(u32::MAX));
    f64::from(u32::try_from(high).unwrap_or(u32::MAX)) * 4_294_967_296.0
        + f64::from(u32::try_from(low).unwrap_or(u32::MAX))
}

fn micros(time: Duration) -> String {
    format!("{:.1} us", time.as_secs_f64() * 1e6)
}
