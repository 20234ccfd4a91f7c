//! Finds the column of the time, or the two of date and clock, and what of it is not understood.

use std::cmp::Reverse;

use super::cell::Kind;
use super::heading::{self, What};
use super::layout::{Around, Doubt, NoLayout, TimeColumns, Why};
use super::packed_clock;
use super::table::Table;
use super::time::{self, Moment};

/// The time of a log.
pub(super) struct TimeOf {
    pub(super) columns: TimeColumns,
    /// The heading, or the place.
    pub(super) name: String,
    /// Seconds in one unit of an elapsed time, if the log says.
    pub(super) scale: Option<f64>,
    pub(super) unit_column: Option<usize>,
    pub(super) doubt: Option<Doubt>,
    pub(super) spreadsheet_days: bool,
    pub(super) minutes_first: bool,
    /// Whether all times of the sample are whole numbers.
    pub(super) whole: bool,
}

impl TimeOf {
    /// The time of this table.
    pub(super) fn of(table: &Table<'_>, around: &Around) -> Result<Self, NoLayout> {
        let columns = columns(table);
        let column = columns.last();
        let minutes_first =
            minutes_first(columns, &table.first().cells, &table.headings[column].text)
                .map_err(|()| NoLayout::ClockOfTwo(table.first().place))?;
        let one = match columns {
            TimeColumns::One(column) => Some(column),
            TimeColumns::DateAndClock(..) => None,
        };
        if let Some(column) = one {
            refuse_date_beside_time(table, column)?;
            refuse_parts(table, column)?;
            refuse_thousands(table, column)?;
        }
        let scale = table.headings[column]
            .seconds
            .or_else(|| around.above.as_ref().and_then(|(seconds, ..)| *seconds))
            .or(around.seconds);
        let unit_column = table.units_behind(column, |kind| *kind == Kind::TimeUnit);
        let spreadsheet_days = one.is_some_and(|column| are_spreadsheet_days(table, column));
        let said = scale.is_some() || unit_column.is_some() || spreadsheet_days;
        let marked = |row: &super::table::Row<'_>| {
            let cell = row.cells.get(column);
            cell.is_none_or(|cell| !cell.bytes().all(|b| b.is_ascii_digit() || b == b'-'))
        };
        Ok(Self {
            columns,
            name: match columns {
                TimeColumns::One(column) => format!("{:?}", table.name(column)),
                TimeColumns::DateAndClock(date, clock) => {
                    format!("{:?} and {:?}", table.name(date), table.name(clock))
                }
            },
            scale,
            unit_column,
            doubt: doubt(table, around, column, said),
            spreadsheet_days,
            minutes_first,
            whole: one.is_some() && !table.readings.iter().any(marked),
        })
    }
}

/// What is not understood of a time that is a number.
fn doubt(table: &Table<'_>, around: &Around, column: usize, said: bool) -> Option<Doubt> {
    let heading = &table.headings[column];
    let doubt = |why: Why| Doubt {
        why,
        column: table.name(column),
        place: table.place(),
    };
    let other = match heading.what {
        What::Index => Some("a count of readings"),
        What::Other(what) => Some(what),
        What::Pressure => Some("a pressure"),
        What::Time | What::Unsaid => None,
    };
    if let Some(what) = other {
        return Some(doubt(Why::Other(what)));
    }
    if let Some(unread) = &heading.unread {
        return Some(doubt(Why::Unread(unread.clone())));
    }
    let strange = || heading::strange_words(&heading.text).filter(|_| !said);
    if let Some(words) = strange() {
        return Some(doubt(Why::unit(words)));
    }
    let may_count = table.header.is_some() || another_rises(table, column);
    if heading.what == What::Unsaid && !said && may_count && counts(table, column) {
        return Some(doubt(Why::Counts));
    }
    if !said && packed_clock::may_be(&table.numbers(column)) {
        return Some(doubt(Why::PackedClock));
    }
    let behind = || {
        Some(Doubt {
            place: table.first().place,
            ..doubt(Why::unit(table.word_behind(column)?))
        })
    };
    behind().or_else(|| around.doubt_above(table, |(seconds, ..)| seconds.is_some()))
}

/// Whether beside pressures over decades another column rises from each reading to the next, which may be the time.
fn another_rises(table: &Table<'_>, column: usize) -> bool {
    let columns = || 0..table.width();
    let rises = |other: usize| {
        let numbers = table.numbers(other);
        numbers.len() > 1 && numbers.is_sorted_by(|one, next| one < next)
    };
    columns().any(|other| table.in_powers(other))
        && columns().any(|other| other != column && !table.in_powers(other) && rises(other))
}

/// Whether the numbers of a column rise by one from each reading to the next.
fn counts(table: &Table<'_>, column: usize) -> bool {
    const FEWEST: usize = 5;
    let numbers = table.numbers(column);
    numbers.len() > FEWEST
        && numbers
            .windows(2)
            .all(|two| two[0].fract() == 0.0 && two[1] - two[0] == 1.0)
}

/// Refuses a date in figures that cannot be read (`260314`, `14032026`) beside a column named as a time: the
/// clock would be left out, and the date taken for seconds.
fn refuse_date_beside_time(table: &Table<'_>, column: usize) -> Result<(), NoLayout> {
    let is_date = |column: usize| {
        heading::words(&table.headings[column].text)
            .iter()
            .any(|word| matches!(word.as_str(), "date" | "datum" | "fecha" | "day" | "tag"))
    };
    let in_figures = |column: usize| {
        let numbers = table.numbers(column);
        !numbers.is_empty()
            && numbers
                .iter()
                .all(|value| value.fract() == 0.0 && !time::is_epoch(*value, None))
    };
    let is_time = |other: &usize| {
        *other != column
            && table.headings[*other].what == What::Time
            && !is_date(*other)
            && !table.numbers(*other).is_empty()
    };
    if !is_date(column) || !in_figures(column) {
        return Ok(());
    }
    match (0..table.width()).find(is_time) {
        Some(other) => Err(NoLayout::TimeInParts {
            place: table.place(),
            columns: [column.min(other), column.max(other)].map(|column| table.name(column)),
        }),
        None => Ok(()),
    }
}

/// Refuses a time whose hours, minutes or seconds go on in other columns of numbers.
fn refuse_parts(table: &Table<'_>, column: usize) -> Result<(), NoLayout> {
    let seconds = |column: usize| {
        let heading = &table.headings[column];
        heading.seconds.filter(|_| heading.what == What::Time)
    };
    let Some(unit) = seconds(column) else {
        return Ok(());
    };
    if table
        .numbers(column)
        .iter()
        .any(|value| value.fract() != 0.0)
    {
        return Ok(());
    }
    // Less than the next unit, and not the same throughout.
    let is_part = |other: usize| {
        let numbers = table.numbers(other);
        let smaller = seconds(other).is_some_and(|of_other| of_other < unit && of_other >= 1.0);
        smaller
            && numbers.iter().all(|value| (0.0..60.0).contains(value))
            && numbers.iter().any(|value| *value != numbers[0])
    };
    match (0..table.width()).find(|other| *other != column && is_part(*other)) {
        Some(other) => Err(NoLayout::TimeInParts {
            place: table.place(),
            columns: [column.min(other), column.max(other)].map(|column| table.name(column)),
        }),
        None => Ok(()),
    }
}

/// Refuses times of which some have three figures behind a mark and others are whole: `0`, `5.000`, `10.000`
/// are thousands.
fn refuse_thousands(table: &Table<'_>, column: usize) -> Result<(), NoLayout> {
    let mark = if table.decimal_comma { ',' } else { '.' };
    let (mut whole, mut grouped) = (false, None);
    let mut before: Vec<f64> = Vec::new();
    for row in &table.readings {
        let (Some(cell), Some(Kind::Number(value))) =
            (row.cells.get(column), row.kinds.get(column))
        else {
            return Ok(());
        };
        if !cell.contains(mark) {
            whole = true;
        } else if is_grouped(cell, mark) && !goes_on(&before, *value, 1e3 * value) {
            grouped = grouped.or(Some((row.place, *cell)));
        } else {
            return Ok(());
        }
        if !cell.contains(mark) {
            before.push(*value);
        }
    }
    match grouped {
        Some((place, cell)) if whole => Err(NoLayout::Thousands {
            place,
            cell: cell.to_owned(),
        }),
        _ => Ok(()),
    }
}

/// Whether a time goes on from the whole ones before as they went, and would not if it were a thousand times as much: then its
/// mark is a decimal one.
pub(super) fn goes_on(before: &[f64], time: f64, thousandfold: f64) -> bool {
    const STEPS: f64 = 3.0;
    let [.., first, second] = before else {
        return false;
    };
    let reach = STEPS * (second - first);
    let within = |time: f64| (0.0..=reach).contains(&(time - second));
    within(time) && !within(thousandfold)
}

/// Whether a number may have a mark between its thousands: `5.000`, but not `0.005` and not `5.25`.
pub(super) fn is_grouped(cell: &str, mark: char) -> bool {
    let digits = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
    cell.trim_start_matches(['-', '+'])
        .split_once(mark)
        .is_some_and(|(whole, part)| {
            (1..=3).contains(&whole.len())
                && !whole.starts_with('0')
                && part.len() == 3
                && digits(whole)
                && digits(part)
        })
}

fn columns(table: &Table<'_>) -> TimeColumns {
    let (first, headings) = (&table.first().kinds, &table.headings);
    let readings = &table.readings;
    let find = |wanted: fn(&Kind) -> bool| first.iter().position(wanted);
    let is_whole = |kind: &Kind| {
        matches!(
            kind,
            Kind::Moment(Moment::Instant(..) | Moment::Yearless(_))
        )
    };
    if let Some(column) = find(is_whole) {
        return TimeColumns::One(column);
    }
    let clock = find(|kind| matches!(kind, Kind::Moment(Moment::Clock(_))));
    let date = find(|kind| matches!(kind, Kind::Moment(Moment::Day(..))));
    match (date, clock) {
        (Some(date), Some(clock)) => return TimeColumns::DateAndClock(date, clock),
        (None, Some(clock)) => return TimeColumns::One(clock),
        _ => {}
    }
    // A time with its unit, though the first may be a zero without.
    let with_unit = (0..first.len()).find(|&column| {
        readings
            .iter()
            .any(|row| matches!(row.kinds.get(column), Some(Kind::Moment(Moment::Span(_)))))
    });
    if let Some(column) = with_unit {
        return TimeColumns::One(column);
    }
    // `20250304 102000`: numbers too.
    let all = |column: usize, is: fn(&str) -> bool| {
        readings
            .iter()
            .all(|row| row.cells.get(column).is_some_and(|cell| is(cell)))
    };
    let in_digits = (1..first.len()).find(|&clock| {
        all(clock - 1, |cell| time::day_in_digits(cell).is_some())
            && all(clock, |cell| time::clock_in_digits(cell).is_some())
    });
    if let Some(clock) = in_digits {
        return TimeColumns::DateAndClock(clock - 1, clock);
    }
    let numbers: Vec<usize> = (0..first.len())
        .filter(|&column| matches!(first[column], Kind::Number(_)))
        .collect();
    let of_time = |column: &usize| headings[*column].what == What::Time;
    let by_name = numbers
        .iter()
        .copied()
        .filter(of_time)
        .max_by_key(|&column| (headings[column].unread.is_none(), Reverse(column)));
    let rises = |column: usize| {
        let mut before = f64::NEG_INFINITY;
        readings.iter().all(|row| match row.kinds.get(column) {
            Some(Kind::Number(value)) => {
                let rises = *value > before;
                before = *value;
                rises
            }
            _ => false,
        })
    };
    let not_index =
        |column: &usize| !matches!(headings[*column].what, What::Index | What::Pressure);
    let column = by_name
        .or_else(|| {
            numbers
                .iter()
                .copied()
                .filter(not_index)
                .find(|&column| rises(column))
        })
        .or_else(|| numbers.first().copied())
        .unwrap_or(0);
    TimeColumns::One(column)
}

/// Whether clocks of two parts are minutes and seconds: beside a date they are hours and minutes,
/// else the header has to say, since a rise would come out sixty times too fast or slow.
fn minutes_first(time: TimeColumns, first: &[&str], heading: &str) -> Result<bool, ()> {
    let TimeColumns::One(column) = time else {
        return Ok(false);
    };
    let cell = first[column];
    if !time::has_two_parts(cell) {
        return Ok(false);
    }
    let words = heading::words(heading);
    let says = |wanted: &[&str]| words.iter().any(|word| wanted.contains(&word.as_str()));
    if says(&["hh", "h", "hr", "hour", "hours"]) {
        Ok(false)
    } else if says(&["mm", "m", "min"]) && says(&["ss", "s", "sec"]) || cell.contains(['.', ',']) {
        Ok(true)
    } else {
        Err(())
    }
}

/// Days that a spreadsheet counts for 1990 to 2099, from 1899-12-30 as the zeroth (ECMA-376 part 1,
/// 18.17.4, from memory).
const SPREADSHEET_DAYS: std::ops::Range<f64> = 32_874.0..73_051.0;

/// Whether a column of numbers under the name of a time reads as days that a spreadsheet counts: within
/// this and the last century, with a fraction of four figures and more, an hour apart at most. Seconds
/// would have to come 24 a second, and hours after the start.
fn are_spreadsheet_days(table: &Table<'_>, column: usize) -> bool {
    let (readings, heading) = (&table.readings, &table.headings[column]);
    let named = heading.what == What::Time
        && heading.seconds.is_none()
        && !heading::words(&heading.text)
            .iter()
            .any(|word| word == "elapsed");
    let mut days = Vec::new();
    for row in readings {
        match row.kinds.get(column) {
            Some(Kind::Number(value)) if SPREADSHEET_DAYS.contains(value) => days.push(*value),
            _ => return false,
        }
    }
    let fine = |cell: &&str| {
        cell.rsplit_once(['.', ','])
            .is_some_and(|(_, part)| part.len() >= 4)
    };
    let is_fine = readings
        .iter()
        .any(|row| row.cells.get(column).is_some_and(fine));
    named
        && is_fine
        && days.len() > 1
        && days
            .windows(2)
            .all(|two| (0.0..1.0 / 24.0).contains(&(two[1] - two[0])))
}
