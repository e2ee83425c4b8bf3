//! The charts of the review, each with the sentence that says what is to be read from it.

use jiff::civil::Date;

use crate::app::ahead::MonthAhead;
use crate::app::answer::count;
use crate::app::review::{Alike, Fan, Lives, Review};
use crate::app::slots::Trust;
use crate::domain::moment::days_between;

use crate::print::chart::{Band, Bar, Chart, Look, Mark, Ridge, Series};
use crate::print::document::Document;
use crate::print::slots;

const HEIGHT_MM: f32 = 72.0;
/// Months of retirements that are drawn.
const MONTHS: usize = 12;
/// Slots in doubt that are drawn; `slot check --sheet` draws all.
const SLOTS: usize = 3;
/// Failures of a make from which its lives are drawn.
const FAILURES: u32 = 3;
/// Curves in one chart of lives.
const CURVES: usize = 5;

/// Adds every chart for which there is something to draw.
pub(super) fn all(document: &mut Document, review: &Review) {
    document.heading("The fleet in pictures");
    document.chart(capacities(review), height_of_rows(review.capacities.len()));
    if review.ahead.is_some() {
        document.chart(retirements(review), HEIGHT_MM);
    }
    for fan in &review.fans {
        document.chart(fading(fan), HEIGHT_MM);
    }
    for make in makes(review) {
        document.chart(survival(review, &make), HEIGHT_MM);
    }
    let slots_of = review.slots.iter().flat_map(|check| &check.slots);
    let bad = slots_of.filter(|slot| matches!(slot.trust, Trust::ReadsHigh | Trust::ReadsLow));
    for slot in bad.take(SLOTS) {
        let reading = format!("Slot {} {}: its readings are in doubt.", slot.slot, slot.trust.words());
        document.chart(slots::average(slot).reading(reading), 58.0);
    }
}

fn height_of_rows(rows: usize) -> f32 {
    let rows = u8::try_from(rows.clamp(2, 10)).unwrap_or(10);
    30.0 + 17.0 * f32::from(rows)
}

/// What the packs hold: one ridge for each make.
pub(super) fn capacities(review: &Review) -> Chart {
    let mut chart = Chart::new("What the packs hold, by their last reading", "mAh", "packs, by make");
    let (mut below, mut packs) = (0, 0);
    for of in &review.capacities {
        let bins =
            of.bins.iter().map(|bin| (f64::from(bin.from_mah), f64::from(bin.to_mah), f64::from(bin.packs)));
        let mut ridge = Ridge::new(of.make.clone(), bins.collect());
        if let Some(limit) = of.limit_mah {
            ridge = ridge.limit(f64::from(limit), format!("limit {limit} mAh: {} below", of.below));
        }
        below += of.below;
        packs += of.packs;
        chart = chart.ridge(ridge);
    }
    chart.reading(format!("{below} of {packs} packs that were read hold less than a pack in service must."))
}

/// Retirements to come, month by month, with the middle 90 % of what may come.
pub(super) fn retirements(review: &Review) -> Chart {
    let mut chart = Chart::new("Retirements to come", "", "packs in a month");
    let Some(ahead) = &review.ahead else { return chart };
    let mut expected = 0.0;
    let mut until = "";
    for month in ahead.all.months.iter().take(MONTHS) {
        expected += month.expected;
        until = &month.month;
        chart = chart.bar(bar(month));
    }
    chart
        .reading(format!(
            "About {expected:.0} packs will fall below their limit until the end of {until}, beside about {:.0} that may lie below \
             it already; the whiskers hold what comes in 9 of 10 cases.",
            ahead.all.below_now_expected
        ))
}

fn bar(month: &MonthAhead) -> Bar {
    let band = month.band_90;
    Bar::new(month.month.clone(), month.expected).between(f64::from(band.low), f64::from(band.high))
}

/// One pack's readings, and what is foreseen of it.
pub(super) fn fading(fan: &Fan) -> Chart {
    let today = fan.ahead.first().map(|&(day, ..)| day);
    let x = |day: Date| f64::from(i32::try_from(days_between(Date::constant(2000, 1, 1), day)).unwrap_or(0));
    let readings = fan.readings.iter().map(|&(day, mah)| (x(day), f64::from(mah))).collect();
    let mean = fan.ahead.iter().map(|&(day, mean, ..)| (x(day), f64::from(mean))).collect();
    let band =
        fan.ahead.iter().map(|&(day, _, low, high)| (x(day), f64::from(low), f64::from(high))).collect();
    let mut chart = Chart::new(format!("Pack {}", fan.pack), "", "mAh")
        .band(Band::new("90 %", band))
        .series(Series::new("expected", Look::Dashed, mean))
        .series(Series::new("read", Look::Crosses, readings))
        .ticks_across(ticks(fan, x));
    if let Some(limit) = fan.limit_mah {
        chart = chart.mark(Mark::Level { at: f64::from(limit), label: format!("limit {limit} mAh") });
    }
    let end = fan.ahead.iter().find(|&&(_, mean, ..)| fan.limit_mah.is_some_and(|limit| mean < limit));
    let reading = match (end, today, fan.limit_mah) {
        (Some((day, ..)), Some(today), _) if *day == today => {
            "It is expected to lie below its limit now.".to_owned()
        }
        (Some((day, ..)), ..) => {
            format!("It is expected to fall below its limit by {}.", day.strftime("%Y-%m"))
        }
        (None, _, Some(_)) => "It is expected to hold its limit for the year drawn.".to_owned(),
        (None, ..) => "No limit is known for it.".to_owned(),
    };
    chart.reading(format!("Pack {}: {reading}", fan.pack))
}

/// A tick at each half year from the first reading to the last day foreseen.
fn ticks(fan: &Fan, x: impl Fn(Date) -> f64) -> Vec<(f64, String)> {
    let days = fan.readings.iter().map(|&(day, _)| day).chain(fan.ahead.iter().map(|&(day, ..)| day));
    let (Some(first), Some(last)) = (days.clone().min(), days.max()) else { return Vec::new() };
    let mut ticks = Vec::new();
    let mut day = Date::new(first.year(), 1, 1).unwrap_or(first);
    while day <= last {
        if day >= first {
            ticks.push((x(day), day.strftime("%Y-%m").to_string()));
        }
        let month = day.month();
        let next = if month < 7 { (day.year(), 7) } else { (day.year().saturating_add(1), 1) };
        match Date::new(next.0, next.1, 1) {
            Ok(next) => day = next,
            Err(_) => break,
        }
    }
    ticks
}

/// The makes of which enough packs have failed.
fn makes(review: &Review) -> Vec<String> {
    let whole = review.lives.iter().filter(|lives| lives.alike == Alike::Make && lives.failed >= FAILURES);
    whole.map(|lives| lives.make.clone()).collect()
}

/// How long packs of a make last: all of it, and the lots in which most failed.
pub(super) fn survival(review: &Review, make: &str) -> Chart {
    let of_make = |lives: &&Lives| lives.make == make;
    let whole = review.lives.iter().filter(of_make).find(|lives| lives.alike == Alike::Make);
    let mut lots: Vec<&Lives> = review
        .lives
        .iter()
        .filter(of_make)
        .filter(|lives| lives.alike == Alike::Lot && lives.failed > 0 && !lives.curve.is_empty())
        .collect();
    lots.sort_by_key(|lives| (!lives.early, std::cmp::Reverse(lives.failed), lives.name.clone()));
    lots.truncate(CURVES);
    let mut chart =
        Chart::new(format!("How long packs last: {make}"), "years", "share that still holds its limit")
            .upright(0.0, 1.0);
    for (lives, look) in whole.into_iter().chain(lots.iter().copied()).zip(Look::LINES) {
        let name = if lives.alike == Alike::Make { "all".to_owned() } else { lives.name.clone() };
        let start = (0.0, 1.0);
        let curve = std::iter::once(start).chain(lives.curve.iter().copied()).collect();
        chart = chart.series(Series::new(name, look, curve).stepped(lives.censored.clone()));
    }
    let early: Vec<&str> = lots.iter().filter(|lives| lives.early).map(|lives| lives.name.as_str()).collect();
    let failed = whole.map_or(0, |lives| lives.failed);
    let packs = usize::try_from(whole.map_or(0, |lives| lives.packs)).unwrap_or(usize::MAX);
    let median = whole.filter(|lives| !lives.median().is_empty()).map(|lives| {
        let when = lives.median();
        match lives.median_years {
            Some(_) => format!("; half have failed by {when} years"),
            None => {
                format!("; half are expected to have failed by about {} years", when.trim_start_matches('~'))
            }
        }
    });
    let median = median.unwrap_or_default();
    let lots = if early.is_empty() {
        "no lot dies earlier than the others".to_owned()
    } else {
        format!("{} dies early", early.join(", "))
    };
    chart.reading(format!("{failed} of {} have failed{median}; {lots}.", count(packs, "pack", "packs")))
}
