//! Days to months of the calendar and back, so that figures can be kept by month.

/// The month of a day (days since 1 January 1970): years times twelve, plus 0 to 11. Proleptic
/// Gregorian calendar; a day outside ±10⁹ counts as the nearest within.
///
/// Counts whole eras of 400 years from 1 March of year 0, so that the leap day ends a year.
pub(super) fn month_of(day: i64) -> i64 {
    let day = day.clamp(-1_000_000_000, 1_000_000_000) + 719_468;
    let era = day.div_euclid(146_097);
    let of_era = day.rem_euclid(146_097);
    let year = (of_era - of_era / 1460 + of_era / 36_524 - of_era / 146_096) / 365;
    let of_year = of_era - (365 * year + year / 4 - year / 100);
    let from_march = (5 * of_year + 2) / 153;
    // March is month 2 of the calendar's year; ten months on it is January of the next.
    12 * (400 * era + year) + from_march + 2
}

/// The first day of a month as [`month_of`] counts them.
pub(super) fn first_day(month: i64) -> i64 {
    let from_march = month - 2;
    let (years, months) = (from_march.div_euclid(12), from_march.rem_euclid(12));
    let era = years.div_euclid(400);
    let of_era = years.rem_euclid(400);
    let day = 365 * of_era + of_era / 4 - of_era / 100 + (153 * months + 2) / 5;
    146_097 * era + day - 719_468
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    /// Held to the calendar of the date library for every day of 500 years.
    #[test]
    fn months_are_those_of_the_calendar() {
        let start = date(1970, 1, 1);
        for day in -100_000..100_000 {
            let date = start + jiff::Span::new().days(day);
            let month = 12 * i64::from(date.year()) + i64::from(date.month()) - 1;
            assert_eq!(month_of(day), month, "{date}");
            let first = day - i64::from(date.day()) + 1;
            assert_eq!(first_day(month), first, "{date}");
        }
        for month in [-30_000_000, -1, 0, 30_000_000] {
            assert_eq!(month_of(first_day(month)), month);
            assert_eq!(month_of(first_day(month) - 1), month - 1);
        }
        assert_eq!(month_of(i64::MIN), month_of(-1_000_000_000));
        assert_eq!(month_of(i64::MAX), month_of(1_000_000_000));
    }
}
