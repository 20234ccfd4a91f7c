//! Times as loggers write them, turned into seconds.
//!
//! Days are counted in the proleptic Gregorian calendar from 1970-01-01; clock times without an
//! offset are taken as they stand, since only differences matter here. Forms: those of ISO 8601, extended
//! and basic; of RFC 5322 and RFC 9557 as far as they say date, clock and offset; numbers parted by
//! points, slashes or hyphens; months as words, in English, German, French, Spanish and Italian; two-digit years from 1969 to 2068
//! as POSIX `strptime` reads them (all from memory).

use super::date_order::OpenDate;
use super::unit;
use crate::vacuum::units::read_number;

/// What a cell of time looks like.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Moment {
    /// Seconds since 1970-01-01 00:00; without the days of a date whose order of parts is open.
    Instant(f64, Option<OpenDate>),
    /// A date alone.
    Day(Date),
    /// Seconds since midnight, from a clock alone.
    Clock(f64),
    /// Seconds from the beginning of a leap year, of a date without its year.
    Yearless(f64),
    /// Seconds that passed, with their unit.
    Span(f64),
}

/// A date.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Date {
    /// Whole days since 1970-01-01.
    Days(f64),
    /// One whose numbers may be day, month and year in more than one order.
    Open(OpenDate),
}

impl Date {
    /// Seconds of its midnight, as far as they are known, and what is open of it.
    pub(super) fn midnight(self) -> (f64, Option<OpenDate>) {
        match self {
            Self::Days(days) => (days * 86_400.0, None),
            Self::Open(open) => (0.0, Some(open)),
        }
    }
}

/// Reads a date, a clock time or both; `None` for anything else (a number alone too, unless it is a
/// date of eight digits).
pub(super) fn moment(text: &str) -> Option<Moment> {
    let text = text.trim();
    if text.len() < 4 || text.len() > 40 {
        return None;
    }
    // A time since the start: `T+00:00:05`.
    if let Some(clock) = text
        .strip_prefix(['T', 't'])
        .and_then(|t| t.strip_prefix('+'))
    {
        return clock
            .contains(':')
            .then(|| clock_seconds(clock))
            .flatten()
            .map(Moment::Clock);
    }
    if !text.as_bytes()[0].is_ascii_digit() || text.bytes().any(|b| b.is_ascii_alphabetic()) {
        // A month as a word may stand anywhere, even first.
        if let Some(moment) = worded(text) {
            return Some(moment);
        }
    }
    if !text.as_bytes()[0].is_ascii_digit() {
        return None;
    }
    if let Some(at) = text.find(['T', 't', ' ', '_']) {
        let (date, clock) = (&text[..at], text[at + 1..].trim());
        if let Some(date) = day(date) {
            if clock.is_empty() {
                return Some(Moment::Day(date));
            }
            let (midnight, open) = date.midnight();
            let seconds = match clock_between(clock) {
                Some(seconds) => seconds,
                None => clock_with_offset(clock)?,
            };
            return Some(Moment::Instant(midnight + seconds, open));
        }
        // `10:20:30 PM` has a space and no date.
        return clock_with_offset(text).map(Moment::Clock);
    }
    if text.contains(':') {
        return clock_with_offset(text).map(Moment::Clock);
    }
    day(text).map(Moment::Day)
}

/// Reads `23-55-00` and `23.55.00`, a clock behind a date.
fn clock_between(text: &str) -> Option<f64> {
    let sign = match text.as_bytes().get(2)? {
        b'-' => '-',
        b'.' => '.',
        _ => return None,
    };
    let mut parts = text.splitn(3, sign);
    let (hours, minutes, seconds) = (parts.next()?, parts.next()?, parts.next()?);
    if hours.len() != 2 || minutes.len() != 2 || seconds.len() < 2 {
        return None;
    }
    let (hours, minutes) = (whole(hours)?, whole(minutes)?);
    let seconds = seconds_of(seconds)?;
    (hours <= 24 && minutes <= 59).then(|| (hours * 3600 + minutes * 60) as f64 + seconds)
}

/// Reads a time with its unit, or several: `0.5 h`, `12 min`, `1 h 5 min`, `23h55m00s`. The last, with hours
/// and parts of them, may be a clock's.
pub(super) fn with_unit(text: &str) -> Option<Moment> {
    const LONGEST: usize = 40;
    let text = text.trim();
    let begins = |c: char| c.is_ascii_digit() || matches!(c, '+' | '-' | '−' | '.');
    if text.len() > LONGEST || !text.starts_with(begins) {
        return None;
    }
    let joined = !text.contains(char::is_whitespace);
    let mut rest = text.to_owned();
    let (mut total, mut parts, mut metres) = (0.0, Vec::new(), false);
    while !rest.is_empty() {
        let (value, behind) = read_number(&rest).ok()?;
        if !value.is_finite() || (value < 0.0 && !parts.is_empty()) {
            return None;
        }
        let end = behind
            .find(|c: char| !c.is_alphabetic() && c != 'µ' && c != '.')
            .unwrap_or(behind.len());
        let (name, behind) = behind.split_at(end);
        let last = parts.last().copied();
        let seconds = match (unit::time(name), name) {
            (Some(seconds), _) => seconds,
            // Minutes, and not metres, beside hours or seconds.
            (None, "m") => 60.0,
            // `23h55`.
            (None, "") if last == Some(3_600.0) && joined && rest.len() == 2 => 60.0,
            _ => return None,
        };
        if last.is_some_and(|last| last <= seconds) {
            return None;
        }
        metres = name == "m";
        total += value * seconds;
        parts.push(seconds);
        rest = behind.trim().to_owned();
    }
    if !total.is_finite() || (metres && parts.len() == 1) {
        return None;
    }
    Some(if parts.len() > 1 && parts[0] == 3_600.0 {
        Moment::Clock(total)
    } else {
        Moment::Span(total)
    })
}

/// Reads `20250304102000`, a date and a clock in fourteen digits, which is a number too.
pub(super) fn in_digits(text: &str) -> Option<Moment> {
    let (date, clock) = text.split_at_checked(8)?;
    if clock.len() < 6 || !clock.as_bytes()[0].is_ascii_digit() {
        return None;
    }
    let (midnight, open) = day(date)?.midnight();
    Some(Moment::Instant(midnight + clock_in_digits(clock)?, open))
}

/// Whether a number is one that [`in_digits`] may read.
pub(super) fn may_be_in_digits(value: f64) -> bool {
    (1.9e13..2.21e13).contains(&value)
}

/// Reads `102000`, a clock in six digits, with a fraction after a point or comma. In seconds.
pub(super) fn clock_in_digits(text: &str) -> Option<f64> {
    let (digits, fraction) = text.split_at_checked(6)?;
    if !digits.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let two = |at: usize| digits[at..at + 2].parse::<i64>().ok();
    let (hours, minutes) = (two(0)?, two(2)?);
    if hours > 24 || minutes > 59 || !(fraction.is_empty() || fraction.starts_with(['.', ','])) {
        return None;
    }
    Some((hours * 3600 + minutes * 60) as f64 + seconds_of(&text[4..])?)
}

/// Reads `20250304`, a date in eight digits.
pub(super) fn day_in_digits(text: &str) -> Option<Date> {
    if text.len() != 8 || !text.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let number = |from: usize, to: usize| text[from..to].parse().ok();
    days(number(0, 4)?, number(4, 6)?, number(6, 8)?).map(Date::Days)
}

/// Counts of 100 ns from 1601 and from the year 1, for the years 1981 to 2107 and 1965 to 2124; as nanoseconds
/// since 1970 they would be of 1973 to 1975 and of 1989 to 1991 (common practice, no source).
const FILE_TIMES: std::ops::Range<f64> = 1.2e17..1.6e17;
const TICKS: std::ops::Range<f64> = 6.2e17..6.7e17;

/// Seconds of a number alone: elapsed in units of `scale` seconds, if the log says which, or an epoch if
/// it is too large to be elapsed.
pub(super) fn number_seconds(value: f64, scale: Option<f64>) -> f64 {
    match (value.abs(), scale) {
        // Thousandths of seconds and less reach such numbers in a day.
        (_, Some(scale)) if scale < 1.0 => value * scale,
        (size, _) if size < 5e8 => value * scale.unwrap_or(1.0),
        (size, _) if FILE_TIMES.contains(&size) || TICKS.contains(&size) => value * 1e-7,
        (size, _) if size >= 1e17 => value * 1e-9,
        (size, _) if size >= 1e14 => value * 1e-6,
        (size, _) if size >= 1e11 => value * 1e-3,
        _ => value,
    }
}

/// Whether a number alone is an epoch (since 1985) rather than an elapsed time.
pub(super) fn is_epoch(value: f64, scale: Option<f64>) -> bool {
    value * scale.filter(|scale| *scale < 1.0).unwrap_or(1.0) >= 5e8
}

/// Whether a word is the name of a month, or begins one.
pub(super) fn is_month(word: &str) -> bool {
    month_of(word).is_some()
}

/// Whether a word is the name of a day of the week, or begins one.
pub(super) fn is_weekday(word: &str) -> bool {
    let word = word.trim_end_matches(['.', ',']).to_ascii_lowercase();
    const DAYS: [&str; 14] = [
        "monday",
        "tuesday",
        "wednesday",
        "thursday",
        "friday",
        "saturday",
        "sunday",
        "montag",
        "dienstag",
        "mittwoch",
        "donnerstag",
        "freitag",
        "samstag",
        "sonntag",
    ];
    word.len() >= 2 && DAYS.iter().any(|day| day.starts_with(&word))
}

fn month_of(word: &str) -> Option<i64> {
    const MONTHS: [&[&str]; 12] = [
        &["january", "januar", "janvier", "enero", "gennaio"],
        &[
            "february", "februar", "février", "fevrier", "fevr", "febrero", "febbraio",
        ],
        &["march", "märz", "mär", "mrz", "mars", "marzo"],
        &["april", "avril", "abril", "aprile"],
        &["may", "mai", "mayo", "maggio"],
        &["june", "juni", "juin", "junio", "giugno"],
        &["july", "juli", "juillet", "julio", "luglio"],
        &["august", "août", "aout", "agosto"],
        &["september", "septembre", "septiembre", "settembre"],
        &["october", "oktober", "octobre", "octubre", "ottobre"],
        &["november", "novembre", "noviembre"],
        &[
            "december",
            "dezember",
            "décembre",
            "decembre",
            "diciembre",
            "dicembre",
        ],
    ];
    let word = word.trim_end_matches(['.', ',']).to_lowercase();
    if word.chars().count() < 3 {
        return None;
    }
    let named = |names: &&[&str]| names.iter().any(|name| name.starts_with(&word));
    let sept = || (word == "sept").then_some(8);
    MONTHS
        .iter()
        .position(named)
        .or_else(sept)
        .map(|at| at as i64 + 1)
}

/// A date whose month is a word, with a clock or without: `30-Nov-2026 14:05:02`, `Nov 30, 2026 2:05 PM`,
/// `Mon Nov 30 14:05:02 2026`.
fn worded(text: &str) -> Option<Moment> {
    // A `T` between the date and the clock is no letter of a month.
    let between = |at: &usize| {
        let digit = |at: usize| text.as_bytes().get(at).is_some_and(u8::is_ascii_digit);
        digit(at.wrapping_sub(1)) && digit(at + 1)
    };
    let apart = text.match_indices('T').map(|(at, _)| at).find(between);
    let text = match apart {
        Some(at) => &format!("{} {}", &text[..at], &text[at + 1..]),
        None => text,
    };
    let mut month = None;
    let mut numbers = [""; 2];
    let mut found = 0;
    let mut clock: Option<(usize, usize)> = None;
    let mut at = 0;
    for part in text.split([' ', '-', '/', ',', '_']) {
        let from = at;
        at += part.len() + 1;
        let word = part.trim_end_matches('.');
        if part.is_empty() || (is_weekday(word) && month.is_none() && found == 0) {
            continue;
        }
        // A clock may hold signs of its own: `+01:00`, `,5`, `PM`.
        if part.contains(':') && clock.is_none() {
            let end = match text[from..].rfind(' ') {
                // The year behind it, as in `Nov 30 14:05:02 2026`.
                Some(space)
                    if found < 2 && month.is_some() && is_year(&text[from + space + 1..]) =>
                {
                    numbers[found] = &text[from + space + 1..];
                    found += 1;
                    from + space
                }
                _ => text.len(),
            };
            clock = Some((from, end));
            break;
        }
        for piece in word.split('.').filter(|piece| !piece.is_empty()) {
            if piece.bytes().all(|b| b.is_ascii_digit()) {
                *numbers.get_mut(found)? = piece;
                found += 1;
            } else if month.is_none() {
                month = Some(month_of(piece)?);
            } else {
                return None;
            }
        }
    }
    let month = month?;
    if let (1, Some((from, to))) = (found, clock) {
        let midnight = days(2000, month, whole(numbers[0])?)? - days(2000, 1, 1)?;
        let clock = clock_with_offset(text[from..to].trim())?;
        return (numbers[0].len() <= 2).then_some(Moment::Yearless(midnight * 86_400.0 + clock));
    }
    if found < 2 {
        return None;
    }
    let [one, two] = numbers;
    let (year, day) = if one.len() == 4 {
        (one, two)
    } else {
        (two, one)
    };
    if day.len() > 2 {
        return None;
    }
    let midnight = days(full_year(year)?, month, whole(day)?)? * 86_400.0;
    Some(match clock {
        None => Moment::Day(Date::Days(midnight / 86_400.0)),
        Some((from, to)) => {
            Moment::Instant(midnight + clock_with_offset(text[from..to].trim())?, None)
        }
    })
}

fn is_year(text: &str) -> bool {
    text.len() == 4 && text.bytes().all(|b| b.is_ascii_digit())
}

/// The year of two or four digits.
pub(super) fn full_year(text: &str) -> Option<i64> {
    let year = whole(text)?;
    match (text.len(), year) {
        (4, _) => Some(year),
        (2, ..69) => Some(2000 + year),
        (2, _) => Some(1900 + year),
        _ => None,
    }
}

fn day(text: &str) -> Option<Date> {
    if text.len() == 8 && text.bytes().all(|b| b.is_ascii_digit()) {
        return day_in_digits(text);
    }
    if text.bytes().any(|b| b.is_ascii_alphabetic()) {
        return match worded(text)? {
            Moment::Day(date) => Some(date),
            _ => None,
        };
    }
    let mark = text.chars().find(|c| matches!(c, '-' | '/' | '.'))?;
    let mut parts = text.split(mark);
    let (first, second, third) = (parts.next()?, parts.next()?, parts.next()?);
    if parts.next().is_some() {
        return None;
    }
    if first.len() == 4 {
        return days(whole(first)?, whole(second)?, whole(third)?).map(Date::Days);
    }
    if mark == '.' {
        // Points part day, month and year wherever they are used with the year last.
        return days(full_year(third)?, whole(second)?, whole(first)?)
            .filter(|_| first.len() <= 2 && second.len() <= 2)
            .map(Date::Days);
    }
    OpenDate::new(first, second, third).map(Date::Open)
}

pub(super) fn whole(text: &str) -> Option<i64> {
    (!text.is_empty() && text.len() <= 4 && text.bytes().all(|b| b.is_ascii_digit()))
        .then(|| text.parse().ok())
        .flatten()
}

/// Whole days from 1970-01-01 to a date; `None` if there is no such date.
pub(super) fn days(year: i64, month: i64, day: i64) -> Option<f64> {
    ((1900..=2200).contains(&year)
        && (1..=12).contains(&month)
        && (1..=month_length(year, month)).contains(&day))
    .then(|| days_from_civil(year, month, day) as f64)
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

/// A clock, with colons or in six digits, less its offset from universal time if it has one.
fn clock_with_offset(text: &str) -> Option<f64> {
    let (clock, offset) = split_offset(text)?;
    let seconds = match clock.contains(':') {
        true => clock_seconds(clock)?,
        false => clock_in_digits(clock)?,
    };
    Some(seconds - offset)
}

/// Zones by their names, with hours from universal time: those of North America as in RFC 5322, those of Europe, with
/// the German names, as in the tz database (from memory). A name stands for other zones too; which
/// it is matters only where a log changes from one to another.
const ZONES: [(&str, f64); 22] = [
    ("UTC", 0.0),
    ("GMT", 0.0),
    ("WET", 0.0),
    ("WEST", 1.0),
    ("CET", 1.0),
    ("MEZ", 1.0),
    ("CEST", 2.0),
    ("MESZ", 2.0),
    ("EET", 2.0),
    ("OEZ", 2.0),
    ("EEST", 3.0),
    ("OESZ", 3.0),
    ("EST", -5.0),
    ("EDT", -4.0),
    ("CST", -6.0),
    ("CDT", -5.0),
    ("MST", -7.0),
    ("MDT", -6.0),
    ("PST", -8.0),
    ("PDT", -7.0),
    ("JST", 9.0),
    ("KST", 9.0),
];

/// Splits `Z`, the name of a zone, `+01:00`, `-0500` or `UTC+1` off a clock time; the offset is in seconds.
fn split_offset(text: &str) -> Option<(&str, f64)> {
    if let Some(rest) = text.strip_suffix(['Z', 'z'])
        && rest.ends_with(|c: char| c.is_ascii_digit() || c == ' ')
    {
        return Some((rest.trim_end(), 0.0));
    }
    let begins = text
        .trim_end_matches(|c: char| c.is_ascii_alphabetic())
        .len();
    if let Some((_, hours)) = ZONES.iter().find(|(name, _)| *name == &text[begins..]) {
        return Some((text[..begins].trim_end(), hours * 3600.0));
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
        (None, 1 | 2) => (offset, "0"),
        _ => return None,
    };
    let (hours, minutes) = (whole(hours)?, whole(minutes)?);
    let clock = text[..at].trim_end();
    let from_universal = clock
        .strip_suffix("UTC")
        .or_else(|| clock.strip_suffix("GMT"));
    (hours <= 14 && minutes < 60).then(|| {
        (
            from_universal.unwrap_or(clock).trim_end(),
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
