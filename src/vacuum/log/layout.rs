//! Finds how a log is laid out from its first lines: separator, decimal mark, columns, units.

use std::mem::discriminant;

use super::cell::{Kind, Separator, is_fraction_behind, kind};
use super::time::{self, Moment};
use crate::vacuum::units::{PressureUnit, TimeUnit};

/// Where the time stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum TimeColumns {
    One(usize),
    /// A date and a clock in columns of their own.
    DateAndClock(usize, usize),
}

/// How a log is laid out.
#[derive(Clone, Debug)]
pub(super) struct Layout {
    pub(super) separator: Separator,
    pub(super) decimal_comma: bool,
    pub(super) time: TimeColumns,
    /// Seconds in one unit of an elapsed time, if the header says.
    pub(super) time_scale: Option<f64>,
    /// Whether times read as days that a spreadsheet counts, from 1899-12-30.
    pub(super) spreadsheet_days: bool,
    /// Whether clocks of two parts are minutes and seconds.
    pub(super) minutes_first: bool,
    pub(super) pressure: usize,
    pub(super) pressure_name: Option<String>,
    /// Other columns that could have been the pressure.
    pub(super) passed_over: Vec<String>,
    pub(super) unit: Option<PressureUnit>,
    /// A column with the unit of each reading.
    pub(super) unit_column: Option<usize>,
    /// Sample lines before the first reading (header and preamble).
    pub(super) preamble: usize,
}

/// Why no layout was found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum NoLayout {
    /// No line has two cells that read as time and number.
    NoColumns,
    /// Separators and decimal commas cannot be told apart.
    CommaTwice,
    /// Hours and minutes, or minutes and seconds; with the place of the first in the sample.
    ClockOfTwo(usize),
}

/// Finds the layout of `sample`, the first lines of a log.
pub(super) fn find(sample: &[&str]) -> Result<Layout, NoLayout> {
    let mut best: Option<(usize, usize, Separator, bool)> = None;
    let mut cells = Vec::new();
    for comma in [false, true] {
        for separator in Separator::ALL {
            let quoted = sample.iter().any(|line| line.contains('"'));
            if comma && separator == Separator::Comma && !quoted {
                continue;
            }
            let (mut whole, mut usable) = (0, 0);
            for line in sample {
                separator.cut(line, &mut cells);
                // Less would be no reading.
                if cells.len() < 2 {
                    continue;
                }
                let kinds: Vec<Kind> = cells.iter().map(|cell| kind(cell, comma)).collect();
                if is_reading(&kinds) {
                    usable += 1;
                    if !kinds.contains(&Kind::Words) {
                        whole += 1;
                    }
                }
            }
            if usable > 0 && best.is_none_or(|(w, u, ..)| (whole, usable) > (w, u)) {
                best = Some((whole, usable, separator, comma));
            }
        }
    }
    let Some((_, _, separator, decimal_comma)) = best else {
        return Err(NoLayout::NoColumns);
    };
    let separator = match separator {
        Separator::Comma if has_comma_fractions(sample) => Separator::CommaAndFraction,
        other => other,
    };
    let rows: Vec<(usize, Vec<&str>, Vec<Kind>)> = sample
        .iter()
        .enumerate()
        .map(|(index, line)| {
            let mut cells = Vec::new();
            separator.cut(line, &mut cells);
            let kinds = cells.iter().map(|cell| kind(cell, decimal_comma)).collect();
            (index, cells, kinds)
        })
        .collect();
    let readings: Vec<_> = rows
        .iter()
        .filter(|(.., kinds)| is_reading(kinds))
        .collect();
    let Some((first_reading, first_cells, first)) = readings.first() else {
        return Err(NoLayout::NoColumns);
    };
    let width = first_cells.len();
    let preamble = begin(&rows[..*first_reading], first);
    let header: Option<Vec<String>> = header_of(sample, preamble, separator, width);
    if separator == Separator::Comma
        && width >= 4
        && width % 2 == 0
        && header.as_ref().is_none_or(|names| names.len() * 2 == width)
        && readings
            .iter()
            .all(|(_, cells, _)| cells.iter().step_by(2).all(|cell| is_whole(cell)))
    {
        return Err(NoLayout::CommaTwice);
    }
    let name = |column: usize| header.as_ref().and_then(|names| names.get(column));
    let words = |column: usize| name(column).map_or_else(Vec::new, |name| words_of(name));
    let time = time_columns(first, &readings, &words);
    let minutes_first = minutes_first(time, first_cells, &words)
        .map_err(|()| NoLayout::ClockOfTwo(*first_reading))?;
    let is_time = |column: usize| match time {
        TimeColumns::One(one) => column == one,
        TimeColumns::DateAndClock(date, clock) => column == date || column == clock,
    };
    let candidates: Vec<usize> = (0..width)
        .filter(|&column| {
            !is_time(column)
                && readings
                    .iter()
                    .any(|(.., kinds)| matches!(kinds.get(column), Some(Kind::Number(_))))
                && !words(column)
                    .iter()
                    .any(|word| INDEX_WORDS.contains(&word.as_str()))
        })
        .collect();
    let unit_in_name = |column: usize| words(column).iter().find_map(|word| unit_of(word));
    let named: Vec<usize> = candidates
        .iter()
        .copied()
        .filter(|&column| {
            unit_in_name(column).is_some()
                || words(column).iter().any(|word| {
                    word == "p" || PRESSURE_STEMS.iter().any(|stem| word.starts_with(stem))
                })
        })
        .collect();
    let pressure = *named
        .first()
        .or(candidates.first())
        .ok_or(NoLayout::NoColumns)?;
    let others = if named.is_empty() {
        &candidates
    } else {
        &named
    };
    let unit_column = (pressure + 1 < width
        && readings
            .iter()
            .all(|(.., kinds)| matches!(kinds.get(pressure + 1), Some(Kind::Unit(_)))))
    .then_some(pressure + 1);
    let time_column = match time {
        TimeColumns::One(column) => column,
        TimeColumns::DateAndClock(_, clock) => clock,
    };
    let spreadsheet_days = matches!(time, TimeColumns::One(column)
        if are_spreadsheet_days(column, &readings, &words(column)));
    Ok(Layout {
        spreadsheet_days,
        separator,
        decimal_comma,
        time,
        time_scale: words(time_column)
            .iter()
            .rev()
            .find_map(|word| time_scale(word)),
        minutes_first,
        pressure,
        pressure_name: name(pressure).cloned(),
        passed_over: others
            .iter()
            .filter(|&&column| column != pressure)
            .map(|&column| {
                name(column)
                    .cloned()
                    .unwrap_or_else(|| format!("column {}", column + 1))
            })
            .collect(),
        unit: unit_in_name(pressure).or_else(|| {
            // `# unit: mbar` in the preamble, if just one unit stands there.
            let mut units: Vec<PressureUnit> = sample[..preamble]
                .iter()
                .flat_map(|line| words_of(line))
                .filter_map(|word| unit_of(&word))
                .collect();
            units.dedup();
            (units.len() == 1).then(|| units[0])
        }),
        unit_column,
        preamble,
    })
}

const INDEX_WORDS: [&str; 7] = ["no", "nr", "index", "row", "line", "sample", "count"];
const PRESSURE_STEMS: [&str; 4] = ["press", "druck", "vacuum", "gauge"];
const TIME_STEMS: [&str; 5] = ["time", "elapsed", "date", "zeit", "clock"];

fn is_reading(kinds: &[Kind]) -> bool {
    let numbers = kinds
        .iter()
        .filter(|kind| matches!(kind, Kind::Number(_)))
        .count();
    let moments = kinds
        .iter()
        .filter(|kind| matches!(kind, Kind::Moment(_)))
        .count();
    numbers >= 1 && numbers + moments >= 2
}

/// Where the readings begin among the rows before the first whole one: rows that stand right before
/// it with a time like its own are readings that failed, and no header.
fn begin(before: &[(usize, Vec<&str>, Vec<Kind>)], first: &[Kind]) -> usize {
    let time = first
        .iter()
        .position(|kind| matches!(kind, Kind::Moment(_)))
        .or_else(|| {
            first
                .iter()
                .position(|kind| matches!(kind, Kind::Number(_)))
        });
    let failed = before.iter().rev().take_while(|(.., kinds)| {
        kinds.len() == first.len()
            && time.is_some_and(|time| discriminant(&kinds[time]) == discriminant(&first[time]))
    });
    before.len() - failed.count()
}

/// Whether clocks of two parts are minutes and seconds: beside a date they are hours and minutes,
/// else the header has to say, since a rise would come out sixty times too fast or slow.
fn minutes_first(
    time: TimeColumns,
    first: &[&str],
    words: &dyn Fn(usize) -> Vec<String>,
) -> Result<bool, ()> {
    let TimeColumns::One(column) = time else {
        return Ok(false);
    };
    let cell = first[column];
    if !time::has_two_parts(cell) {
        return Ok(false);
    }
    let words = words(column);
    let says = |wanted: &[&str]| words.iter().any(|word| wanted.contains(&word.as_str()));
    if says(&["hh", "h"]) {
        Ok(false)
    } else if says(&["mm", "m"]) && says(&["ss", "s"]) || cell.contains(['.', ',']) {
        Ok(true)
    } else {
        Err(())
    }
}

fn header_of(
    sample: &[&str],
    preamble: usize,
    separator: Separator,
    width: usize,
) -> Option<Vec<String>> {
    let line = sample[..preamble]
        .iter()
        .rev()
        .find(|line| !line.trim().is_empty())?;
    let line = line.trim_start_matches(['#', '%', ';', ' ']);
    let mut cells = Vec::new();
    separator.cut(line, &mut cells);
    let two = cells.len() >= 2 || width < 2;
    two.then(|| cells.into_iter().map(str::to_owned).collect::<Vec<_>>())
        .filter(|names| separator != Separator::Spaces || names.len() == width)
}

fn time_columns(
    first: &[Kind],
    readings: &[&(usize, Vec<&str>, Vec<Kind>)],
    words: &dyn Fn(usize) -> Vec<String>,
) -> TimeColumns {
    let find = |wanted: fn(&Kind) -> bool| first.iter().position(wanted);
    if let Some(column) = find(|kind| matches!(kind, Kind::Moment(Moment::Instant(..)))) {
        return TimeColumns::One(column);
    }
    let clock = find(|kind| matches!(kind, Kind::Moment(Moment::Clock(_))));
    let date = find(|kind| matches!(kind, Kind::Moment(Moment::Day(..))));
    match (date, clock) {
        (Some(date), Some(clock)) => return TimeColumns::DateAndClock(date, clock),
        (None, Some(clock)) => return TimeColumns::One(clock),
        _ => {}
    }
    // `20250304 102000`: numbers too.
    let all = |column: usize, is: fn(&str) -> bool| {
        readings
            .iter()
            .all(|(_, cells, _)| cells.get(column).is_some_and(|cell| is(cell)))
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
    let by_name = numbers.iter().copied().find(|&column| {
        let words = words(column);
        words
            .iter()
            .any(|word| word == "t" || TIME_STEMS.iter().any(|stem| word.starts_with(stem)))
            || (!words.is_empty() && words.iter().any(|word| time_scale(word).is_some()))
    });
    let rises = |column: usize| {
        let mut before = f64::NEG_INFINITY;
        readings.iter().all(|(.., kinds)| match kinds.get(column) {
            Some(Kind::Number(value)) => {
                let rises = *value > before;
                before = *value;
                rises
            }
            _ => false,
        })
    };
    let not_index = |column: &usize| {
        !words(*column)
            .iter()
            .any(|word| INDEX_WORDS.contains(&word.as_str()))
    };
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

/// Days that a spreadsheet counts for 1990 to 2099, from 1899-12-30 as the zeroth (ECMA-376 part 1,
/// 18.17.4, from memory).
const SPREADSHEET_DAYS: std::ops::Range<f64> = 32_874.0..73_051.0;

/// Whether a column of numbers under the name of a time reads as days that a spreadsheet counts: within
/// this and the last century, with a fraction of four figures and more, an hour apart at most. Seconds
/// would have to come 24 a second, and hours after the start.
fn are_spreadsheet_days(
    column: usize,
    readings: &[&(usize, Vec<&str>, Vec<Kind>)],
    words: &[String],
) -> bool {
    let of_time = |word: &String| TIME_STEMS.iter().any(|stem| word.starts_with(stem));
    let named = words.iter().any(of_time)
        && !words
            .iter()
            .any(|word| word == "elapsed" || time_scale(word).is_some());
    let mut days = Vec::new();
    for (_, _, kinds) in readings {
        match kinds.get(column) {
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
        .any(|(_, cells, _)| cells.get(column).is_some_and(fine));
    named
        && is_fine
        && days.len() > 1
        && days
            .windows(2)
            .all(|two| (0.0..1.0 / 24.0).contains(&(two[1] - two[0])))
}

/// Whether the seconds of clocks have a decimal comma where commas part the columns: there is always a
/// cell of three digits behind the clock, and the heading has one name fewer than there are cells.
fn has_comma_fractions(sample: &[&str]) -> bool {
    let (mut cells, mut readings, mut names) = (Vec::new(), 0, None);
    for line in sample {
        Separator::Comma.cut(line, &mut cells);
        let clock = (0..cells.len()).find(|&at| is_fraction_behind(&cells[at..]));
        match clock {
            Some(_) if names == Some(cells.len() - 1) => readings += 1,
            None if readings == 0 => names = Some(cells.len()),
            _ => return false,
        }
    }
    readings > 0
}

/// Whether a line reads as the heading of columns: names of times, pressures or their units, and no number
/// or time first.
pub(super) fn is_heading(line: &str) -> bool {
    let named = |word: &String| {
        matches!(word.as_str(), "t" | "p")
            || TIME_STEMS
                .iter()
                .chain(&PRESSURE_STEMS)
                .any(|stem| word.starts_with(stem))
            || unit_of(word).is_some()
            || time_scale(word).is_some()
    };
    !may_be_reading(line) && words_of(line).iter().any(named)
}

/// Whether a line begins as a reading does, with a number or a time.
pub(super) fn may_be_reading(line: &str) -> bool {
    line.trim_start_matches(['"', ' ', '\t', '+', '-', '.'])
        .starts_with(|c: char| c.is_ascii_digit())
}

fn words_of(name: &str) -> Vec<String> {
    name.split(|c: char| !(c.is_alphanumeric() || c == 'µ'))
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect()
}

fn unit_of(word: &str) -> Option<PressureUnit> {
    word.parse().ok()
}

fn time_scale(word: &str) -> Option<f64> {
    match word.parse() {
        Ok(unit) => Some(seconds_in(unit)),
        Err(_) => match word {
            "ms" => Some(1e-3),
            "day" | "days" => Some(86_400.0),
            _ => None,
        },
    }
}

/// Seconds in one unit of time.
pub(super) fn seconds_in(unit: TimeUnit) -> f64 {
    match unit {
        TimeUnit::Second => 1.0,
        TimeUnit::Minute => 60.0,
        TimeUnit::Hour => 3600.0,
    }
}

fn is_whole(cell: &str) -> bool {
    !cell.is_empty() && cell.bytes().all(|b| b.is_ascii_digit())
}
