//! Moments and days: ledger time is integer milliseconds UTC; people see and give local days.

use std::fmt;

use jiff::civil::Date;
use jiff::tz::{TimeZone, TimeZoneDatabase};
use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};

/// One calendar day in milliseconds, for ages and waits that need no calendar.
const DAY_MS: i64 = 86_400_000;

/// A moment: milliseconds since 1970-01-01T00:00:00Z, within the years 1 to 9999.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Moment(i64);

impl Moment {
    /// Takes a count of milliseconds since the epoch.
    pub const fn from_millis(millis: i64) -> Self {
        Self(millis)
    }

    /// Milliseconds since the epoch.
    pub const fn millis(self) -> i64 {
        self.0
    }

    /// The moment of a timestamp, cut to a millisecond.
    pub fn from_timestamp(at: Timestamp) -> Self {
        Self(at.as_millisecond())
    }

    /// The timestamp of this moment; a moment outside the calendar becomes the epoch.
    pub fn timestamp(self) -> Timestamp {
        Timestamp::from_millisecond(self.0).unwrap_or(Timestamp::UNIX_EPOCH)
    }

    /// The local day of this moment.
    pub fn day(self, zone: &TimeZone) -> Date {
        zone.to_datetime(self.timestamp()).date()
    }

    /// The first moment of a local day.
    pub fn start_of(day: Date, zone: &TimeZone) -> Self {
        zone.to_timestamp(day.at(0, 0, 0, 0)).map_or(Self(0), Self::from_timestamp)
    }

    /// Noon of a local day: for records that know the day only.
    pub fn noon_of(day: Date, zone: &TimeZone) -> Self {
        let noon = day.at(12, 0, 0, 0);
        zone.to_timestamp(noon)
            .map_or_else(|_out_of_calendar| Self::start_of(day, zone), Self::from_timestamp)
    }

    /// Whole days from `earlier` to this moment; negative when it is later.
    pub const fn days_since(self, earlier: Self) -> i64 {
        self.0.saturating_sub(earlier.0).div_euclid(DAY_MS)
    }

    /// This moment, some days on.
    #[must_use]
    pub const fn plus_days(self, days: i64) -> Self {
        Self(self.0.saturating_add(days.saturating_mul(DAY_MS)))
    }

    /// This moment, some milliseconds on.
    #[must_use]
    pub const fn plus_millis(self, millis: i64) -> Self {
        Self(self.0.saturating_add(millis))
    }

    /// The wall clock text of this moment, to the minute: `2026-11-25 09:00`.
    pub fn local(self, zone: &TimeZone) -> String {
        zone.to_datetime(self.timestamp()).strftime("%Y-%m-%d %H:%M").to_string()
    }
}

impl fmt::Display for Moment {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.timestamp())
    }
}

/// The time zone of an IANA name, from the database that is built in: the same on every machine, and found without
/// walking the system's folders.
pub fn zone(name: &str) -> Option<TimeZone> {
    TimeZoneDatabase::bundled().get(name).ok()
}

/// The day `days` after `day`; stays within the calendar.
pub fn day_after(day: Date, days: i64) -> Date {
    day.checked_add(SignedDuration::from_hours(days.saturating_mul(24))).unwrap_or(day)
}

/// Whole days from `from` to `to`.
pub fn days_between(from: Date, to: Date) -> i64 {
    from.duration_until(to).as_hours().div_euclid(24)
}

/// The same day of the calendar some years on; 29 February becomes 28 February where there is none.
pub fn years_after(day: Date, years: u32) -> Date {
    day.checked_add(jiff::Span::new().years(i64::from(years.min(9000)))).unwrap_or(Date::MAX)
}
