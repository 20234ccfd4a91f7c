//! Times as loggers write them, turned into seconds.
//!
//! Days are counted in the proleptic Gregorian calendar from 1970-01-01; clock times without an
//! offset are taken as they stand, since only differences matter here.

/// What a cell of time looks like.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Moment {
    /// Seconds since 1970-01-01 00:00; the flag says that day and month could be exchanged.
    Instant(f64, bool),
    /// Whole days since 1970-01-01, from a date alone; the flag says that day and month could be
    /// exchanged.
    Day(f64, bool),
    /// Seconds since midnight, from a clock alone.
    Clock(f64),
}

/// Reads a date, a clock time or both; `None` for anything else (a number alone too).
pub(super) fn moment(text: &str) -> Option<Moment> {
    let text = text.trim();
    if text.len() < 4 || text.len() > 40 || !text.as_bytes()[0].is_ascii_digit() {
        return None;
    }
    if let Some(at) = text.find(['T', 't', ' ', '_']) {
        let (date, clock) = (&text[..at], text[at + 1..].trim());
        if let Some((days, unsure)) = day(date) {
            if clock.is_empty() {
                return Some(Moment::Day(days, unsure));
            }
            let (clock, offset) = split_offset(clock)?;
            return Some(Moment::Instant(
                days * 86_400.0 + clock_seconds(clock)? - offset,
                unsure,
            ));
        }
        // `10:20:30 PM` has a space and no date.
        return clock_seconds(text).map(Moment::Clock);
    }
    if text.contains(':') {
        return clock_seconds(text).map(Moment::Clock);
    }
    day(text).map(|(days, unsure)| Moment::Day(days, unsure))
}

/// Seconds of a number alone: elapsed in units of `scale`
/// seconds, or an epoch if it is too large to be elapsed.
pub(super) fn number_seconds(value: f64, scale: f64) -> f64 {
    match value.abs() {
        size if size < 5e8 => value * scale,
        size if size >= 1e17 => value * 1e-9,
        size if size >= 1e14 => value * 1e-6,
        size if size >= 1e11 => value * 1e-3,
        _ => value,
    }
}

/// Whether a number alone is an epoch (since 1985) rather than an elapsed time.
pub(super) fn is_epoch(value: f64) -> bool {
    value >= 5e8
}

fn day(text: &str) -> Option<(f64, bool)> {
    let mark = text.chars().find(|c| matches!(c, '-' | '/' | '.'))?;
    let mut parts = text.split(mark);
    let (first, second, third) = (parts.next()?, parts.next()?, parts.next()?);
    if parts.next().is_some() {
        return None;
    }
    let (one, two, three) = (whole(first)?, whole(second)?, whole(third)?);
    let (year, month, day, unsure) = if first.len() == 4 {
        (one, two, three, false)
    } else if third.len() == 4 && first.len() <= 2 {
        match (mark, one, two) {
            ('/', _, 13..) => (three, one, two, false),
            ('/', 13.., _) | ('.' | '-', ..) => (three, two, one, false),
            _ => (three, two, one, one != two),
        }
    } else {
        return None;
    };
    ((1900..=2200).contains(&year)
        && (1..=12).contains(&month)
        && (1..=month_length(year, month)).contains(&day))
    .then(|| (days_from_civil(year, month, day) as f64, unsure))
}

fn whole(text: &str) -> Option<i64> {
    (!text.is_empty() && text.len() <= 4 && text.bytes().all(|b| b.is_ascii_digit()))
        .then(|| text.parse().ok())
        .flatten()
}

fn month_length(year: i64, month: i64) -> i64 {
    match month {
        2 if year % 4 == 0 && (year % 100 != 0 || year % 400 == 0) => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    }
}

/// Days since 1970-01-01, counting years from March so that the leap day comes last.
fn days_from_civil(year: i64, month: i64, day: i64) -> i64 {
    let year = if month <= 2 { year - 1 } else { year };
    let month_from_march = (month + 9) % 12;
    let day_of_year = (153 * month_from_march + 2) / 5 + day - 1;
    365 * year + year.div_euclid(4) - year.div_euclid(100) + year.div_euclid(400) + day_of_year
        - 719_468
}

/// Splits `Z`, `+01:00` or `-0500` off a clock time; the offset is in seconds.
fn split_offset(text: &str) -> Option<(&str, f64)> {
    if let Some(rest) = text.strip_suffix(['Z', 'z']) {
        return Some((rest, 0.0));
    }
    let Some(at) = text.rfind(['+', '-']) else {
        return Some((text, 0.0));
    };
    let sign = if text.as_bytes()[at] == b'-' {
        -1.0
    } else {
        1.0
    };
    let offset = &text[at + 1..];
    let (hours, minutes) = match (offset.split_once(':'), offset.len()) {
        (Some(parts), _) => parts,
        (None, 4) if offset.is_ascii() => offset.split_at(2),
        (None, 2) => (offset, "0"),
        _ => return None,
    };
    let (hours, minutes) = (whole(hours)?, whole(minutes)?);
    (hours <= 14 && minutes < 60).then(|| {
        (
            text[..at].trim_end(),
            sign * (hours * 3600 + minutes * 60) as f64,
        )
    })
}

/// `hh:mm`, `hh:mm:ss`, with a fraction after a point or comma, and AM or PM. Hours may pass 24,
/// as in elapsed times.
fn clock_seconds(text: &str) -> Option<f64> {
    let text = text.trim();
    let (text, half) = match text
        .len()
        .checked_sub(2)
        .and_then(|at| text.split_at_checked(at))
    {
        Some((rest, tail)) if tail.eq_ignore_ascii_case("am") => (rest.trim_end(), Some(0)),
        Some((rest, tail)) if tail.eq_ignore_ascii_case("pm") => (rest.trim_end(), Some(12)),
        _ => (text, None),
    };
    let mut parts = text.split(':');
    let (first, second, third) = (parts.next()?, parts.next()?, parts.next());
    if third.is_none() && half.is_none() && second.contains(['.', ',']) {
        return minutes_and_seconds(text);
    }
    let (mut hours, minutes) = (whole(first)?, whole(second)?);
    if parts.next().is_some() || minutes > 59 {
        return None;
    }
    let seconds = seconds_of(third.unwrap_or("0"))?;
    if let Some(half) = half {
        if !(1..=12).contains(&hours) {
            return None;
        }
        hours = hours % 12 + half;
    }
    Some((hours * 3600 + minutes * 60) as f64 + seconds)
}

/// `mm:ss`, with a fraction after a point or comma; minutes may pass 60. In seconds.
pub(super) fn minutes_and_seconds(text: &str) -> Option<f64> {
    let (minutes, seconds) = text.trim().split_once(':')?;
    Some(60.0 * whole(minutes)? as f64 + seconds_of(seconds)?)
}

/// Whether a clock has two parts, which hours and minutes have and minutes and seconds too.
pub(super) fn has_two_parts(text: &str) -> bool {
    text.bytes().filter(|byte| *byte == b':').count() == 1
        && text
            .bytes()
            .all(|byte| byte.is_ascii_digit() || matches!(byte, b':' | b'.' | b',' | b' '))
}

/// The seconds of a clock, with a fraction after a point or comma.
fn seconds_of(text: &str) -> Option<f64> {
    let (seconds, fraction) = match text.find(['.', ',']) {
        Some(at) => (&text[..at], &text[at + 1..]),
        None => (text, ""),
    };
    let seconds = whole(seconds).filter(|seconds| *seconds <= 60)?;
    let fraction = if fraction.is_empty() {
        0.0
    } else if fraction.len() <= 9 && fraction.bytes().all(|b| b.is_ascii_digit()) {
        fraction.parse::<f64>().ok()? / 10f64.powi(fraction.len() as i32)
    } else {
        return None;
    };
    Some(seconds as f64 + fraction)
}
