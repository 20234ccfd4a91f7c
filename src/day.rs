//! Days as statistics count them: whole days since 1 January 1970, UTC.

use jiff::{Timestamp, civil::Date, tz::TimeZone};

/// Microseconds in a day.
pub const MICROSECONDS: i64 = 86_400_000_000;

/// The day of a moment.
pub fn of(at: Timestamp) -> i64 {
    at.as_microsecond().div_euclid(MICROSECONDS)
}

/// The day of a date; none where the date lies outside what a moment can tell.
pub fn of_date(date: Date) -> Option<i64> {
    Some(of(start_of(date)?))
}

/// The first moment of a date; none where the date lies outside what a moment can tell.
pub fn start_of(date: Date) -> Option<Timestamp> {
    Some(date.to_zoned_datetime(TimeZone::UTC).ok()?.timestamp())
}

/// The first moment of a day; none for a day outside what a moment can tell.
pub fn start(day: i64) -> Option<Timestamp> {
    Timestamp::from_microsecond(day.checked_mul(MICROSECONDS)?).ok()
}
