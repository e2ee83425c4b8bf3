//! One line about one pack, by its facts.

use crate::app::answer::hours;
use crate::app::lookup;
use crate::app::reckon::Frame;
use crate::domain::moment::Moment;
use crate::domain::pack::{PackFacts, ReadingFact};
use crate::domain::units::MilliampHours;
use crate::policy::limits::thirstiest;
use crate::policy::reason::Reason;

use super::{Line, ReadingLine, RoundLine, Whereabouts};

pub(super) fn make_name(frame: &Frame, pack: &PackFacts) -> String {
    let make = pack.make.and_then(|make| frame.settings.makes.get(&make));
    make.map_or_else(|| "unknown".to_owned(), |make| make.name.clone())
}

fn play(frame: &Frame, pack: &PackFacts, reading: Option<&ReadingFact>) -> Option<f64> {
    let make = frame.settings.makes.get(&pack.make?)?;
    let player = thirstiest(make, &frame.settings.players)?;
    reading?.capacity.play(player.draw).map(hours)
}

pub(super) fn line(frame: &Frame, pack: &PackFacts, place: Whereabouts, reason: &Reason) -> Line {
    Line {
        pack: lookup::label(&pack.codes),
        make: make_name(frame, pack),
        place,
        rule: reason.rule,
        found: reason.found.clone(),
        limit: reason.limit.clone(),
        margin: reason.margin.clone(),
        play_h: play(frame, pack, pack.readings.last()),
        due: pack.loan.map(|loan| loan.due),
        coming: None,
    }
}

fn within(frame: &Frame) -> impl Fn(Moment) -> bool {
    let (begin, end) = (frame.begin, frame.as_of);
    move |at: Moment| at >= begin && at <= end
}

/// A reading of the month, by its number; `slot` names slots.
pub(super) fn reading(
    frame: &Frame,
    pack: &PackFacts,
    number: usize,
    slot: impl Fn(&ReadingFact) -> Option<String>,
) -> Option<ReadingLine> {
    let within = within(frame);
    let reading = pack.readings.iter().filter(|reading| within(reading.at)).nth(number)?;
    let rated = pack.make.and_then(|make| frame.settings.makes.get(&make)).map(|make| make.rated);
    let health = rated.and_then(|rated| reading.capacity.per_mille_of(rated));
    Some(ReadingLine {
        day: reading.at.day(&frame.zone),
        pack: lookup::label(&pack.codes),
        make: make_name(frame, pack),
        capacity_mah: reading.capacity.raw(),
        limit_mah: frame.limit_of(pack, pack.origin()).map(MilliampHours::raw),
        play_h: play(frame, pack, Some(reading)),
        health_percent: health.map(|per_mille| f64::from(per_mille) / 10.0),
        slot: slot(reading),
    })
}

/// A round of the month, by its number.
pub(super) fn round(frame: &Frame, pack: &PackFacts, number: usize) -> Option<RoundLine> {
    let within = within(frame);
    let (place, &at) = pack.rounds.iter().enumerate().filter(|(_, at)| within(**at)).nth(number)?;
    let next = pack.rounds.get(place + 1).copied();
    let before = pack.readings.iter().rev().find(|reading| reading.at <= at);
    let after =
        pack.readings.iter().find(|reading| reading.at > at && next.is_none_or(|next| reading.at <= next));
    Some(RoundLine {
        day: at.day(&frame.zone),
        pack: lookup::label(&pack.codes),
        make: make_name(frame, pack),
        before_mah: before.map(|reading| reading.capacity.raw()),
        after_mah: after.map(|reading| reading.capacity.raw()),
        limit_mah: frame.limit_of(pack, pack.origin()).map(MilliampHours::raw),
    })
}
