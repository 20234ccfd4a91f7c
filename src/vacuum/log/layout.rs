//! Finds how a log is laid out from its first lines: separator, decimal mark, columns, units.

use super::cell::{Kind, Separator};
use super::heading::{Heading, Rank, Said, Unread, What};
use super::table::{self, Table, heading_cells};
use super::time_column::TimeOf;
use super::unit::{self, Scaled};
use crate::vacuum::units::TimeUnit;

/// Where the time stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum TimeColumns {
    One(usize),
    /// A date and a clock in columns of their own.
    DateAndClock(usize, usize),
}

impl TimeColumns {
    /// The column of the time of day, or of the whole time.
    pub(super) fn last(self) -> usize {
        match self {
            Self::One(column) | Self::DateAndClock(_, column) => column,
        }
    }

    fn holds(self, column: usize) -> bool {
        match self {
            Self::One(one) => column == one,
            Self::DateAndClock(date, clock) => column == date || column == clock,
        }
    }
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
    /// Whether the first times are all whole numbers.
    pub(super) whole_times: bool,
    /// How many columns the heading names, where it surely is one.
    pub(super) named: Option<usize>,
    pub(super) pressure: usize,
    /// How near it is to that of the chamber, by its heading.
    pub(super) pressure_rank: Rank,
    /// The heading of the pressure, or its place.
    pub(super) pressure_name: String,
    /// What is not understood of the pressure, or why it is none.
    pub(super) pressure_doubt: Option<Doubt>,
    /// Other columns that could have been the pressure.
    pub(super) passed_over: Vec<String>,
    /// Places and headings of further ones, which are not read.
    pub(super) left_out: Vec<(usize, String)>,
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
    /// This of its heading, or in the place of its unit, is not understood.
    Unread(Unread),
    /// The column holds something else.
    Other(&'static str),
    /// It is a setpoint, a limit or a scatter by its name.
    NotMeasured,
    /// Its numbers rise by one, as those that count the readings do.
    Counts,
    /// Its numbers may be clocks written without marks: `100530` for 10:05:30.
    PackedClock,
}

impl Why {
    /// This stands where units do, and is none known here.
    pub(super) fn unit(what: String) -> Self {
        Self::Unread(Unread::Unit(what))
    }
}

/// Why no layout was found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum NoLayout {
    /// No line has two cells that read as time and number.
    NoColumns,
    /// Separators and decimal commas cannot be told apart.
    CommaTwice,
    /// More cells than names, with the place of the first such line.
    Wider {
        place: usize,
        cells: usize,
        names: usize,
    },
    /// The time goes on in another column, with the place of the heading.
    TimeInParts { place: usize, columns: [String; 2] },
    /// Marks between thousands in a time, with the place of the first.
    Thousands { place: usize, cell: String },
    /// Hours and minutes, or minutes and seconds; with the place of the first in the sample.
    ClockOfTwo(usize),
}

/// The most columns that are read as the pressure, until the sender says which it is.
const MOST: usize = 6;

/// Finds the layouts of `sample`, the first lines of a log: one for each column that could be the
/// pressure, the likeliest first, and with them the one that is `wanted`, wherever it stands.
pub(super) fn find(sample: &[&str], wanted: Option<&str>) -> Result<Vec<Layout>, NoLayout> {
    let table = Table::of(sample)?;
    let around = Around::of(&table);
    let time = TimeOf::of(&table, &around)?;
    let mut columns = pressure_columns(&table, time.columns);
    if columns.is_empty() {
        return Err(NoLayout::NoColumns);
    }
    let mut left_out = columns.split_off(columns.len().min(MOST));
    let is_wanted = |column: &usize| {
        wanted.is_some_and(|wanted| goes_by(wanted, &table.name(*column), *column))
    };
    columns.extend(left_out.extract_if(.., |column| is_wanted(column)));
    let layout = |&column: &usize| Layout {
        separator: table.separator,
        decimal_comma: table.decimal_comma,
        time: time.columns,
        time_name: time.name.clone(),
        time_scale: time.scale,
        time_unit_column: time.unit_column,
        time_doubt: time.doubt.clone(),
        spreadsheet_days: time.spreadsheet_days,
        minutes_first: time.minutes_first,
        whole_times: time.whole,
        named: table.named(),
        pressure: column,
        pressure_rank: table.headings[column].rank,
        pressure_name: table.name(column),
        pressure_doubt: pressure_doubt(&table, &around, column),
        passed_over: columns
            .iter()
            .chain(&left_out)
            .filter(|&&other| other != column)
            .map(|&other| table.name(other))
            .collect(),
        left_out: left_out
            .iter()
            .map(|&other| (other, table.name(other)))
            .collect(),
        unit: around.unit_of(&table.headings[column]),
        other_unit: Some(around.unit).filter(|said| {
            said.unit.is_some() && said.unit != around.unit_of(&table.headings[column]).unit
        }),
        unit_column: table.units_behind(column, |kind| matches!(kind, Kind::Unit(_))),
        preamble: table.preamble,
        heading: table
            .header
            .as_ref()
            .map(|header| sample[header.place].to_owned()),
    };
    Ok(columns.iter().map(layout).collect())
}

/// Whether a column is meant by `wanted`: its heading, or its place counted from one.
pub(super) fn goes_by(wanted: &str, name: &str, column: usize) -> bool {
    let wanted = wanted.trim();
    name.trim().to_lowercase() == wanted.to_lowercase() || wanted.parse() == Ok(column + 1)
}

/// What the lines around the heading say of units.
pub(super) struct Around {
    /// A line right above the readings whose parts are not those of the columns.
    pub(super) above: Option<Said>,
    /// Lines before the heading.
    pub(super) seconds: Option<f64>,
    pub(super) unit: Scaled,
    /// What in the place of a unit there is none known here, and its place.
    unknown: Option<(usize, String)>,
}

impl Around {
    fn of(table: &Table<'_>) -> Self {
        let (sample, preamble) = (table.sample, table.preamble);
        let above = (preamble > 0 && table.header.is_none())
            .then(|| Heading::of_whole_line(sample[preamble - 1]))
            .filter(|_| table::is_heading(sample[preamble - 1]));
        let above_heading = match &table.header {
            Some(header) => header.place,
            None => preamble - usize::from(above.is_some()),
        };
        let (seconds, unit, unknown) = said_before(&sample[..above_heading]);
        Self {
            above,
            seconds,
            unit,
            unknown,
        }
    }

    /// The unit of a pressure under this heading, which goes before what stands above it.
    fn unit_of(&self, heading: &Heading) -> Scaled {
        let said = [
            Some(heading.unit),
            self.above.as_ref().map(|(_, unit, _)| *unit),
            Some(self.unit),
        ];
        let unit = said
            .into_iter()
            .flatten()
            .find(|unit| unit.unit.is_some())
            .unwrap_or(Scaled::UNSAID);
        let scale = if heading.unit.unit.is_none() && heading.unit.scale != 1.0 {
            heading.unit.scale * unit.scale
        } else {
            unit.scale
        };
        Scaled { scale, ..unit }
    }

    /// What in the line right above the readings stands in the place of a unit, unless that line says the
    /// one that is asked for.
    pub(super) fn doubt_above(
        &self,
        table: &Table<'_>,
        is_known: fn(&Said) -> bool,
    ) -> Option<Doubt> {
        let (.., unknown) = self.above.as_ref().filter(|said| !is_known(said))?;
        let place = table.preamble - 1;
        Some(Doubt {
            why: Why::unit(unknown.clone()?),
            column: table.sample[place].trim().to_owned(),
            place,
        })
    }
}

/// What is not understood of a pressure, or why it is none.
fn pressure_doubt(table: &Table<'_>, around: &Around, column: usize) -> Option<Doubt> {
    let heading = &table.headings[column];
    let doubt = |why: Why, place: usize| Doubt {
        why,
        column: table.name(column),
        place,
    };
    let why = match heading.what {
        What::Other(what) => Some(Why::Other(what)),
        What::Pressure if heading.rank == Rank::NotMeasured => Some(Why::NotMeasured),
        _ => heading.unread.clone().map(Why::Unread),
    };
    if let Some(why) = why {
        return Some(doubt(why, table.place()));
    }
    if let Some(word) = table.word_behind(column) {
        return Some(doubt(Why::unit(word), table.first().place));
    }
    let before = around.unknown.as_ref();
    if let Some((place, what)) = before.filter(|_| around.unit_of(heading).unit.is_none()) {
        return Some(Doubt {
            why: Why::unit(what.clone()),
            column: table.sample[*place].trim().to_owned(),
            place: *place,
        });
    }
    around.doubt_above(table, |(_, unit, _)| unit.unit.is_some())
}

/// The columns that could be the pressure, the likeliest first: a pressure by name, then a number of which
/// nothing is said. Where pressures are named, what is not is none.
fn pressure_columns(table: &Table<'_>, time: TimeColumns) -> Vec<usize> {
    let headings = &table.headings;
    let may_be = |column: usize| !time.holds(column) && !table.numbers(column).is_empty();
    // Of numbers under no name, one whole number throughout is a state or the number of a gauge.
    let is_state = |column: usize| {
        let numbers = table.numbers(column);
        let first = numbers[0];
        first.fract() == 0.0 && numbers.iter().all(|number| *number == first)
    };
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
                let unread = usize::from(heading.unread.is_some());
                let unsaid = usize::from(heading.unit.unit.is_none());
                (0, unread, 2 * heading.rank as usize + unsaid, column)
            }
            What::Other(_) => (3, 0, 0, column),
            // Of numbers under no name, those over decades.
            _ => {
                let plain = usize::from(!table.in_powers(column));
                (1, usize::from(is_state(column)), plain, column)
            }
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
    columns.truncate(keep);
    columns
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
                    && !["pa", "atm", "bar"].contains(word)
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

/// Seconds in one unit of time.
pub(super) fn seconds_in(unit: TimeUnit) -> f64 {
    match unit {
        TimeUnit::Second => 1.0,
        TimeUnit::Minute => 60.0,
        TimeUnit::Hour => 3600.0,
    }
}
