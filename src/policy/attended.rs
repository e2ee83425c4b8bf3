//! When people are at the bench: "mon-fri 09:00-17:00".

use std::fmt;
use std::str::FromStr;

use jiff::civil::{Date, Weekday};
use jiff::tz::TimeZone;

use crate::domain::moment::{Moment, day_after};

const DAYS: [(&str, Weekday); 7] = [
    ("mon", Weekday::Monday),
    ("tue", Weekday::Tuesday),
    ("wed", Weekday::Wednesday),
    ("thu", Weekday::Thursday),
    ("fri", Weekday::Friday),
    ("sat", Weekday::Saturday),
    ("sun", Weekday::Sunday),
];
/// Minutes of a day.
const DAY: u16 = 1440;
const MINUTE_MS: i64 = 60_000;

/// Hours of some days of the week, in local time.
///
/// ```
/// use packmuster::policy::attended::Shift;
/// let shift: Shift = "mon-wed,sat 09:30-17:00".parse()?;
/// assert_eq!(shift.to_string(), "mon-wed,sat 09:30-17:00");
/// assert!("fri 17:00-09:00".parse::<Shift>().is_err());
/// # Ok::<(), String>(())
/// ```
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shift {
    /// From Monday to Sunday.
    days: [bool; 7],
    /// First minute of the day.
    from: u16,
    /// First minute after it.
    until: u16,
}

impl FromStr for Shift {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let bad = || format!("`{text}` says no hours; give days and hours such as mon-fri 09:00-17:00");
        let (days, hours) = text.trim().split_once(' ').ok_or_else(bad)?;
        let (from, until) = hours.trim().split_once('-').ok_or_else(bad)?;
        let (from, until) = (minute(from).ok_or_else(bad)?, minute(until).ok_or_else(bad)?);
        let mut on = [false; 7];
        for part in days.split(',') {
            let (first, last) = match part.split_once('-') {
                Some((first, last)) => (day(first).ok_or_else(bad)?, day(last).ok_or_else(bad)?),
                None if part.eq_ignore_ascii_case("daily") => (0, 6),
                None => (day(part).ok_or_else(bad)?, day(part).ok_or_else(bad)?),
            };
            if first > last {
                return Err(bad());
            }
            on.iter_mut().take(last + 1).skip(first).for_each(|on| *on = true);
        }
        if from >= until { Err(bad()) } else { Ok(Self { days: on, from, until }) }
    }
}

impl fmt::Display for Shift {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let days: Vec<(usize, &str)> = DAYS
            .iter()
            .map(|day| day.0)
            .enumerate()
            .filter(|(day, _)| self.days.get(*day) == Some(&true))
            .collect();
        let days: Vec<String> = days
            .chunk_by(|a, b| a.0 + 1 == b.0)
            .flat_map(|run| match run {
                [(_, first), _, .., (_, last)] => vec![format!("{first}-{last}")],
                short => short.iter().map(|(_, day)| (*day).to_owned()).collect(),
            })
            .collect();
        let clock = |minute: u16| format!("{:02}:{:02}", minute / 60, minute % 60);
        write!(f, "{} {}-{}", days.join(","), clock(self.from), clock(self.until))
    }
}

fn day(text: &str) -> Option<usize> {
    DAYS.iter().position(|(name, _)| name.eq_ignore_ascii_case(text.trim()))
}

fn minute(text: &str) -> Option<u16> {
    let (hour, minute) = text.trim().split_once(':')?;
    let (hour, minute): (u16, u16) = (hour.parse().ok()?, minute.parse().ok()?);
    let at = hour.checked_mul(60)?.checked_add(minute)?;
    (minute < 60 && at <= DAY).then_some(at)
}

/// The stretches in which somebody is there, in minutes from now (first minute, first minute after), over so many days;
/// where shifts overlap they are told as they are.
pub fn stretches(shifts: &[Shift], now: Moment, zone: &TimeZone, days: u16) -> Vec<(u32, u32)> {
    let today = now.day(zone);
    let mut found = Vec::new();
    for ahead in 0..=i64::from(days) {
        let date = day_after(today, ahead);
        let of_week = DAYS.iter().position(|(_, day)| *day == date.weekday());
        for shift in shifts.iter().filter(|shift| of_week.and_then(|day| shift.days.get(day)) == Some(&true))
        {
            let (from, until) =
                (since(now, at(date, shift.from, zone)), since(now, at(date, shift.until, zone)));
            if until > from {
                found.push((from, until));
            }
        }
    }
    found
}

fn at(date: Date, minute: u16, zone: &TimeZone) -> Moment {
    if minute >= DAY {
        return Moment::start_of(day_after(date, 1), zone);
    }
    let part = |value: u16| i8::try_from(value).unwrap_or(0);
    let time = date.at(part(minute / 60), part(minute % 60), 0, 0);
    zone.to_timestamp(time)
        .map_or_else(|_out_of_calendar| Moment::start_of(date, zone), Moment::from_timestamp)
}

/// Whole minutes from now, rounded up; zero for what is past.
fn since(now: Moment, then: Moment) -> u32 {
    let minutes = then.millis().saturating_sub(now.millis()).max(0);
    u32::try_from((minutes + MINUTE_MS - 1) / MINUTE_MS).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    #[test]
    fn hours_are_told_from_now_in_local_time() {
        let zone = TimeZone::get("Europe/London").unwrap();
        let shifts: Vec<Shift> =
            vec!["mon-fri 09:00-17:00".parse().unwrap(), "sat 10:00-24:00".parse().unwrap()];
        // A Friday, half past ten.
        let now = Moment::from_timestamp(zone.to_timestamp(date(2026, 10, 23).at(10, 30, 0, 0)).unwrap());
        let found = stretches(&shifts, now, &zone, 3);
        let hour = 60;
        // The clock goes back an hour on the Sunday: Monday at nine is 71.5 hours on, not 70.5.
        assert_eq!(
            found,
            [(0, 13 * hour / 2), (47 * hour / 2, 75 * hour / 2), (143 * hour / 2, 159 * hour / 2)]
        );
    }

    #[test]
    fn what_says_no_hours_is_refused() {
        for text in [
            "",
            "mon",
            "mon 9-17",
            "moon 09:00-17:00",
            "fri-mon 09:00-17:00",
            "mon 09:00-25:00",
            "mon 09:60-17:00",
        ] {
            assert!(text.parse::<Shift>().is_err(), "{text}");
        }
    }
}
