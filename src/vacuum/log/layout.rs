//! Finds how a log is laid out from its first lines: separator, decimal mark, columns, units.

use std::cmp::Reverse;
use std::mem::discriminant;

use super::cell::{Kind, Separator, date_with_commas, is_fraction_behind, kind};
use super::heading::{self, Heading, Rank, Said, What};
use super::time::{self, Moment};
use super::unit::{self, Scaled};
use crate::vacuum::units::TimeUnit;

/// Where the time stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum TimeColumns {
    One(usize),
    /// A date and a clock in columns of their own.
    DateAndClock(usize, usize),
}

/// How a log is laid out, with the pressure in one of its columns.
#[derive(Clone, Debug)]
pub(super) struct Layout {
    pub(super) separator: Separator,
    pub(super) decimal_comma: bool,
    pub(super) time: TimeColumns,
    /// The heading of the time, or its place.
    pub(super) time_name: String,
    /// Seconds in one unit of an elapsed time, if the log says.
    pub(super) time_scale: Option<f64>,
    /// A column with the unit of each time.
    pub(super) time_unit_column: Option<usize>,
    /// What is not understood of the time's unit.
    pub(super) time_doubt: Option<Doubt>,
    /// Whether times read as days that a spreadsheet counts, from 1899-12-30.
    pub(super) spreadsheet_days: bool,
    /// Whether clocks of two parts are minutes and seconds.
    pub(super) minutes_first: bool,
    pub(super) pressure: usize,
    /// The heading of the pressure, or its place.
    pub(super) pressure_name: String,
    /// What is not understood of the pressure, or why it is none.
    pub(super) pressure_doubt: Option<Doubt>,
    /// Other columns that could have been the pressure.
    pub(super) passed_over: Vec<String>,
    pub(super) unit: Scaled,
    /// The unit that lines before the heading name, where that is another.
    pub(super) other_unit: Option<Scaled>,
    /// A column with the unit of each reading.
    pub(super) unit_column: Option<usize>,
    /// Sample lines before the first reading (header and preamble).
    pub(super) preamble: usize,
    /// The line of the heading, if there is one.
    pub(super) heading: Option<String>,
}

/// What of a column is not understood.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Doubt {
    pub(super) why: Why,
    /// The heading, or what stands in its place.
    pub(super) column: String,
    /// Place of its line in the sample.
    pub(super) place: usize,
}

/// Why a column is in doubt.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Why {
    /// This stands where units do, and is none known here.
    Unit(String),
    /// The column holds something else.
    Other(&'static str),
    /// It is a setpoint, a limit or a scatter by its name.
    NotMeasured,
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

/// The most columns that are read as the pressure, until the sender says which it is.
const MOST: usize = 6;

/// Finds the layouts of `sample`, the first lines of a log: one for each column that could be the
/// pressure, the likeliest first.
pub(super) fn find(sample: &[&str]) -> Result<Vec<Layout>, NoLayout> {
    let (separator, decimal_comma) = parted_by(sample).ok_or(NoLayout::NoColumns)?;
    let rows: Vec<Row<'_>> = sample
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
    let header = header_of(sample, preamble, separator, width);
    let names = header.as_ref().map(|header| header.names.len());
    if separator == Separator::Comma
        && width >= 4
        && width % 2 == 0
        && names.is_none_or(|names| names * 2 == width)
        && readings
            .iter()
            .all(|(_, cells, _)| cells.iter().step_by(2).all(|cell| is_whole(cell)))
    {
        return Err(NoLayout::CommaTwice);
    }
    let place = header
        .as_ref()
        .map_or(*first_reading, |header| header.place);
    let headings: Vec<Heading> = (0..width)
        .map(|column| {
            let name = header.as_ref().and_then(|header| header.names.get(column));
            Heading::read(name.map_or("", String::as_str))
        })
        .collect();
    let name = |column: usize| match headings[column].text.as_str() {
        "" => format!("column {}", column + 1),
        text => text.to_owned(),
    };
    // Units over columns that are not parted as they are, and units in the lines before.
    let line_above = (preamble > 0 && header.is_none())
        .then(|| Heading::of_whole_line(sample[preamble - 1]))
        .filter(|_| is_heading(sample[preamble - 1]));
    let above_heading = match &header {
        Some(header) => header.place,
        None => preamble - usize::from(line_above.is_some()),
    };
    let (said_seconds, said_unit, said_unknown) = said_before(&sample[..above_heading]);
    let time = time_columns(first, &readings, &headings);
    let time_column = match time {
        TimeColumns::One(column) => column,
        TimeColumns::DateAndClock(_, clock) => clock,
    };
    let minutes_first = minutes_first(time, first_cells, &headings[time_column].text)
        .map_err(|()| NoLayout::ClockOfTwo(*first_reading))?;
    let is_time = |column: usize| match time {
        TimeColumns::One(one) => column == one,
        TimeColumns::DateAndClock(date, clock) => column == date || column == clock,
    };
    let behind = |column: usize, is: fn(&Kind) -> bool| {
        let all = |(.., kinds): &&Row<'_>| kinds.get(column + 1).is_some_and(is);
        (column + 1 < width && readings.iter().all(all)).then_some(column + 1)
    };
    // Where it begins with units, a word among them is one that is not known.
    let units_behind = |column: usize, is: fn(&Kind) -> bool| {
        let begins = first.get(column + 1).is_some_and(is);
        let no_other = |kind: &Kind| {
            matches!(
                kind,
                Kind::Unit(_) | Kind::TimeUnit | Kind::Words | Kind::Empty
            )
        };
        behind(column, no_other).filter(|_| begins)
    };
    // A word behind every number, under no name of its own, stands where units do.
    let word_behind = |column: usize| {
        let next = behind(column, |kind| *kind == Kind::Words).filter(|_| header.is_none())?;
        let word = first_cells[next];
        let same = |(_, cells, _): &&Row<'_>| cells[next] == word;
        (readings.iter().all(same) && is_like_a_unit(word)).then(|| word.to_owned())
    };
    let doubt = |column: usize, why: Why| Doubt {
        why,
        column: name(column),
        place,
    };
    let is_number = |column: usize| {
        readings
            .iter()
            .any(|(.., kinds)| matches!(kinds.get(column), Some(Kind::Number(_))))
    };
    let columns = pressure_columns(&headings, |column| !is_time(column) && is_number(column));
    if columns.is_empty() {
        return Err(NoLayout::NoColumns);
    }
    let spreadsheet_days = matches!(time, TimeColumns::One(column)
        if are_spreadsheet_days(column, &readings, &headings[column]));
    let time_heading = &headings[time_column];
    let above = line_above.as_ref();
    let doubt_behind = |column: usize| {
        Some(Doubt {
            place: *first_reading,
            ..doubt(column, Why::Unit(word_behind(column)?))
        })
    };
    let doubt_above = |is_known: fn(&Said) -> bool| {
        let (.., unknown) = above.filter(|said| !is_known(said))?;
        Some(Doubt {
            why: Why::Unit(unknown.clone()?),
            column: sample[preamble - 1].trim().to_owned(),
            place: preamble - 1,
        })
    };
    let time_doubt = time_heading
        .unknown
        .clone()
        .map(|what| doubt(time_column, Why::Unit(what)))
        .or_else(|| doubt_behind(time_column))
        .or_else(|| doubt_above(|(seconds, ..)| seconds.is_some()));
    let layout = |column: usize| {
        let heading = &headings[column];
        let why = match heading.what {
            What::Other(what) => Some(Why::Other(what)),
            What::Pressure if heading.rank == Rank::NotMeasured => Some(Why::NotMeasured),
            _ => heading.unknown.clone().map(Why::Unit),
        };
        let said = [
            Some(heading.unit),
            above.map(|(_, unit, _)| *unit),
            Some(said_unit),
        ];
        let unit = said
            .into_iter()
            .flatten()
            .find(|unit| unit.unit.is_some())
            .unwrap_or(Scaled::UNSAID);
        let unit = Scaled {
            scale: if heading.unit.unit.is_none() && heading.unit.scale != 1.0 {
                heading.unit.scale * unit.scale
            } else {
                unit.scale
            },
            ..unit
        };
        let pressure_doubt = why
            .map(|why| doubt(column, why))
            .or_else(|| doubt_behind(column))
            .or_else(|| {
                let (place, what) = said_unknown.clone()?;
                unit.unit.is_none().then(|| Doubt {
                    why: Why::Unit(what),
                    column: sample[place].trim().to_owned(),
                    place,
                })
            })
            .or_else(|| doubt_above(|(_, unit, _)| unit.unit.is_some()));
        Layout {
            spreadsheet_days,
            separator,
            decimal_comma,
            time,
            time_name: match time {
                TimeColumns::One(column) => format!("{:?}", name(column)),
                TimeColumns::DateAndClock(date, clock) => {
                    format!("{:?} and {:?}", name(date), name(clock))
                }
            },
            time_scale: time_heading
                .seconds
                .or_else(|| above.and_then(|(seconds, ..)| *seconds))
                .or(said_seconds),
            time_unit_column: units_behind(time_column, |kind| *kind == Kind::TimeUnit),
            time_doubt: time_doubt.clone(),
            minutes_first,
            pressure: column,
            pressure_name: name(column),
            pressure_doubt,
            passed_over: columns
                .iter()
                .filter(|&&other| other != column)
                .map(|&other| name(other))
                .collect(),
            other_unit: Some(said_unit)
                .filter(|said| said.unit.is_some() && said.unit != unit.unit),
            unit,
            unit_column: units_behind(column, |kind| matches!(kind, Kind::Unit(_))),
            preamble,
            heading: header
                .as_ref()
                .map(|header| sample[header.place].to_owned()),
        }
    };
    Ok(columns.iter().map(|&column| layout(column)).collect())
}

/// The columns that could be the pressure, the likeliest first: a pressure by name, then a number of which
/// nothing is said. Where pressures are named, what is not is none.
fn pressure_columns(headings: &[Heading], may_be: impl Fn(usize) -> bool) -> Vec<usize> {
    let what = |column: usize| headings[column].what;
    let numbers = || (0..headings.len()).filter(|&column| may_be(column));
    let mut columns: Vec<usize> = numbers()
        .filter(|&column| !matches!(what(column), What::Index | What::Time))
        .collect();
    if columns.is_empty() {
        columns.extend(numbers());
    }
    columns.sort_by_key(|&column| {
        let heading = &headings[column];
        match heading.what {
            What::Pressure if heading.rank == Rank::NotMeasured => (2, 0, 0, column),
            What::Pressure => {
                let unread = usize::from(heading.unknown.is_some());
                let unsaid = usize::from(heading.unit.unit.is_none());
                (0, unread, 2 * heading.rank as usize + unsaid, column)
            }
            What::Other(_) => (3, 0, 0, column),
            _ => (1, 0, 0, column),
        }
    });
    let Some(&likely) = columns.first() else {
        return columns;
    };
    let is_named = |column: usize| what(column) == What::Pressure;
    let of_pressure = columns.iter().filter(|&&column| is_named(column)).count();
    let keep = match of_pressure {
        0 => columns.len(),
        named => named,
    };
    columns.retain(|&column| {
        column == likely
            || match what(column) {
                What::Pressure => true,
                What::Other(_) => false,
                _ => of_pressure == 0,
            }
    });
    columns.truncate(keep.min(MOST));
    columns
}

/// Place in the sample, cells and kinds of a line.
type Row<'a> = (usize, Vec<&'a str>, Vec<Kind>);

/// The separator and whether numbers have decimal commas.
fn parted_by(sample: &[&str]) -> Option<(Separator, bool)> {
    let mut best: Option<(usize, usize, Separator, bool)> = None;
    let mut cells = Vec::new();
    let has_dates = sample.iter().any(|line| {
        Separator::Comma.cut(line, &mut cells);
        (0..cells.len()).any(|at| date_with_commas(&cells[at..]).is_some())
    });
    let quoted = sample.iter().any(|line| line.contains('"'));
    for comma in [false, true] {
        for separator in Separator::ALL {
            if comma && separator == Separator::Comma && !quoted {
                continue;
            }
            let separator = match separator {
                Separator::Comma if has_dates => Separator::CommaAndDate,
                other => other,
            };
            let (mut whole, mut usable) = (0, 0);
            for line in sample {
                // Where a mark parts cells, blanks do not part a cell once more.
                if separator == Separator::Spaces && is_marked(line) {
                    continue;
                }
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
    let (_, _, separator, decimal_comma) = best?;
    let separator = match separator {
        Separator::Comma if has_comma_fractions(sample) => Separator::CommaAndFraction,
        other => other,
    };
    Some((separator, decimal_comma))
}

/// Whether a tab, semicolon or bar parts cells of this line of which one holds blanks.
fn is_marked(line: &str) -> bool {
    ['\t', ';', '|'].into_iter().any(|mark| {
        let cells: Vec<&str> = line.split(mark).map(str::trim).collect();
        let filled = cells.iter().filter(|cell| !cell.is_empty()).count();
        let blank = |cell: &&str| cell.contains(' ');
        filled > 1 && (mark != '\t' || cells.iter().any(blank))
    })
}

/// Cells that cannot be read in a line that a mark parts: the first such cell that holds a figure.
pub(super) fn unreadable(line: &str) -> Option<&str> {
    let mut cells = Vec::new();
    for separator in Separator::ALL {
        separator.cut(line, &mut cells);
        let kinds: Vec<Kind> = cells.iter().map(|cell| kind(cell, false)).collect();
        let read = |kind: &Kind| matches!(kind, Kind::Number(_) | Kind::Moment(_));
        let cell = cells
            .iter()
            .zip(&kinds)
            .find(|(cell, kind)| {
                **kind == Kind::Words
                    && cell.starts_with(|c: char| c.is_ascii_digit() || "-−+.<>~".contains(c))
            })
            .map(|(cell, _)| *cell);
        if cells.len() > 1 && kinds.iter().any(read) && cell.is_some() {
            return cell;
        }
    }
    None
}

/// Whether a word behind a number looks like a unit: short, of letters, and no state.
fn is_like_a_unit(word: &str) -> bool {
    const STATES: [&str; 28] = [
        "ok", "on", "off", "open", "opened", "closed", "shut", "true", "false", "valid", "good",
        "auto", "run", "hi", "lo", "high", "low", "normal", "up", "down", "yes", "no", "ja",
        "nein", "an", "aus", "idle", "x",
    ];
    word.chars().count() <= 8
        && word.starts_with(|c: char| c.is_alphabetic() || matches!(c, '°' | '%'))
        && !word.contains(|c: char| c.is_ascii_digit())
        && !STATES.contains(&word.to_lowercase().as_str())
}

/// Units of time and pressure that the lines before the readings name, and the place and name of one that
/// is not known. A unit behind a number is that of a value, unless the line says that it is about units.
fn said_before(lines: &[&str]) -> (Option<f64>, Scaled, Option<(usize, String)>) {
    let (mut seconds, mut units, mut unknown) = (Vec::new(), Vec::new(), None);
    for (place, line) in lines.iter().enumerate() {
        let lower = line.to_lowercase();
        let about = ["unit", "einheit", "unité", "unidad"]
            .into_iter()
            .any(|word| lower.contains(word));
        if about {
            let list = line.split_once([':', '=']).map_or("", |(_, list)| list);
            let of_time = ["time", "zeit"].iter().any(|word| lower.contains(word));
            for name in list.split([',', ';', '\t', '|']).map(str::trim) {
                let name = name.trim_matches(['"', '(', ')', '[', ']']);
                let found = unit::pressure(name).or_else(|| unit::scaled_pressure(name));
                match (unit::time(name), found) {
                    (Some(scale), _) => seconds.push(scale),
                    (None, Some(unit)) if unit.unit.is_some() => units.push(unit),
                    _ if name.is_empty() || of_time => {}
                    _ => unknown = unknown.or_else(|| Some((place, name.to_owned()))),
                }
            }
            continue;
        }
        let words: Vec<&str> = line
            .split(|c: char| {
                c.is_whitespace() || matches!(c, ',' | ';' | '(' | ')' | '[' | ']' | ':')
            })
            .filter(|word| !word.is_empty())
            .collect();
        for (at, word) in words.iter().enumerate() {
            // As it is written, since words of other meanings differ by case alone.
            let written = unit::pressure(word).filter(|found| {
                found
                    .unit
                    .is_some_and(|unit| unit.to_string() == *word || unit.id() == *word)
                    && (*word != "pa" && *word != "atm")
            });
            let value = at > 0 && words[at - 1].ends_with(|c: char| c.is_ascii_digit());
            if let Some(unit) = written.filter(|_| !value) {
                units.push(unit);
            }
        }
    }
    let first = units.first().copied();
    let same = units.iter().all(|unit| Some(*unit) == first);
    let one_time = seconds.iter().all(|scale| *scale == seconds[0]);
    (
        seconds.first().copied().filter(|_| one_time),
        first.filter(|_| same).unwrap_or(Scaled::UNSAID),
        unknown,
    )
}

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
fn begin(before: &[Row<'_>], first: &[Kind]) -> usize {
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

/// The names of columns and the place of their line in the sample.
struct Header {
    names: Vec<String>,
    place: usize,
}

fn header_of(
    sample: &[&str],
    preamble: usize,
    separator: Separator,
    width: usize,
) -> Option<Header> {
    // Readings that failed may stand between the heading and the first whole one.
    let filled = |below: usize| {
        sample[..below]
            .iter()
            .rposition(|line| line.contains(char::is_alphanumeric) && !may_be_reading(line))
    };
    let place = filled(preamble)?;
    let names = heading_cells(sample[place], separator, width)?;
    let two = names.len() >= 2 || width < 2;
    if !two {
        return None;
    }
    // A line of units below one of names.
    let units =
        names.iter().all(|name| Heading::is_unit(name)) && names.iter().any(|name| name.len() > 1);
    let above = filled(place).filter(|_| units).and_then(|above| {
        let names = heading_cells(sample[above], separator, width)?;
        names
            .iter()
            .any(|name| !name.is_empty())
            .then_some((above, names))
    });
    Some(match above {
        Some((above, over)) if over.len() == names.len() => Header {
            names: over
                .iter()
                .zip(&names)
                .map(|(name, unit)| {
                    let unit = unit.trim_matches(['(', ')', '[', ']']);
                    match (name.as_str(), unit) {
                        (name, "" | "-") => name.to_owned(),
                        ("", unit) => unit.to_owned(),
                        (name, unit) => format!("{name} ({unit})"),
                    }
                })
                .collect(),
            place: above,
        },
        _ => Header { names, place },
    })
}

/// The cells of a heading; with blanks between columns, brackets belong to the name before them.
pub(super) fn heading_cells(line: &str, separator: Separator, width: usize) -> Option<Vec<String>> {
    let line = line.trim_start_matches(['#', '%', ';', ' ']);
    let mut cells = Vec::new();
    match separator {
        // The fractions and dates that are put together are those of readings.
        Separator::CommaAndFraction | Separator::CommaAndDate => {
            Separator::Comma.cut(line, &mut cells);
        }
        other => other.cut(line, &mut cells),
    }
    if separator != Separator::Spaces || cells.len() == width {
        return Some(cells.into_iter().map(str::to_owned).collect());
    }
    let mut names: Vec<String> = Vec::new();
    let mut open = false;
    for cell in cells {
        match names.last_mut() {
            Some(name) if open || cell.starts_with(['(', '[']) => {
                name.push(' ');
                name.push_str(cell);
            }
            _ => names.push(cell.to_owned()),
        }
        open = cell.contains(['(', '[']) && !cell.ends_with([')', ']'])
            || open && !cell.ends_with([')', ']']);
    }
    if names.len() == width {
        return Some(names);
    }
    // Names of several words, parted by two blanks and more.
    let apart: Vec<String> = line
        .split("  ")
        .flat_map(|part| part.split('\t'))
        .map(str::trim)
        .filter(|name| !name.is_empty())
        .map(str::to_owned)
        .collect();
    (apart.len() == width).then_some(apart)
}

fn time_columns(first: &[Kind], readings: &[&Row<'_>], headings: &[Heading]) -> TimeColumns {
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
            .any(|(.., kinds)| matches!(kinds.get(column), Some(Kind::Moment(Moment::Span(_)))))
    });
    if let Some(column) = with_unit {
        return TimeColumns::One(column);
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
    let of_time = |column: &usize| headings[*column].what == What::Time;
    let by_name = numbers
        .iter()
        .copied()
        .filter(of_time)
        .max_by_key(|&column| (headings[column].unknown.is_none(), Reverse(column)));
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

/// Days that a spreadsheet counts for 1990 to 2099, from 1899-12-30 as the zeroth (ECMA-376 part 1,
/// 18.17.4, from memory).
const SPREADSHEET_DAYS: std::ops::Range<f64> = 32_874.0..73_051.0;

/// Whether a column of numbers under the name of a time reads as days that a spreadsheet counts: within
/// this and the last century, with a fraction of four figures and more, an hour apart at most. Seconds
/// would have to come 24 a second, and hours after the start.
fn are_spreadsheet_days(column: usize, readings: &[&Row<'_>], heading: &Heading) -> bool {
    let named = heading.what == What::Time
        && heading.seconds.is_none()
        && !heading::words(&heading.text)
            .iter()
            .any(|word| word == "elapsed");
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
    let named = |cell: &str| matches!(Heading::read(cell).what, What::Time | What::Pressure);
    let assigned = line
        .split('=')
        .skip(1)
        .any(|behind| may_be_reading(behind.trim_start()));
    !may_be_reading(line)
        && !assigned
        && (named(line) || line.split([',', ';', '\t', '|', ' ']).any(named))
}

/// Whether a heading within a log names a time and a pressure in the columns of this layout.
pub(super) fn is_other_heading(line: &str, layout: &Layout, width: usize) -> bool {
    let Some(names) = heading_cells(line, layout.separator, width) else {
        return false;
    };
    let what = |column: usize| names.get(column).map(|name| Heading::read(name).what);
    let time = match layout.time {
        TimeColumns::One(column) => column,
        TimeColumns::DateAndClock(date, _) => date,
    };
    what(time) == Some(What::Time) && what(layout.pressure) == Some(What::Pressure)
}

/// Whether a line begins as a reading does, with a number or a time.
pub(super) fn may_be_reading(line: &str) -> bool {
    line.trim_start_matches(['"', ' ', '\t', '+', '-', '.'])
        .starts_with(|c: char| c.is_ascii_digit())
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
