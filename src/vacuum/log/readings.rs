//! The readings of a log whose layout is known, line by line; what the log does not say of its units
//! is put in at the end.
//!
//! Numbers without a unit of their own are kept as written, in runs of one kind: see [`Runs`].

use std::borrow::Cow;

use super::alike::Alike;
use super::cell;
use super::date_order::{self, Because, OpenDate, Order, Undecided};
use super::layout::{self, Layout, TimeColumns};
use super::plain::{LastDate, PlainLines, Shape, WrittenTime};
use super::read::{LineProblem, LogError, LogOptions, PressureLog, Problems, shortened};
use super::time::{self, Moment};
use crate::vacuum::units::{PressureUnit, ReadingError, read_pressure};

/// Readings that there is room for from the start: what is not used of it takes no memory, and moving
/// the readings of a long log to more room, again and again, takes as long as reading its numbers.
const ROOM: usize = 1 << 17;

/// What a problem ends with whose line gave no reading.
const NOT_USED: &str = "line not used";

/// Readings so far.
#[derive(Debug)]
pub(super) struct Readings {
    layout: Layout,
    /// Empty between lines.
    cells: Vec<&'static str>,
    /// The quick way through lines of two plain numbers, if the layout has such.
    plain: Option<PlainLines>,
    log: PressureLog,
    /// Which pressures have which unit; `None` is for the sender to give.
    units: Runs<Option<PressureUnit>>,
    /// Which times are elapsed ones whose unit the sender may give.
    elapsed: Runs<bool>,
    /// Lines with another unit than the first reading.
    other_units: OtherUnits,
    clocks: Clocks,
    /// The date last read the quick way.
    date: LastDate,
    /// What is open of the date of which times.
    dates: Runs<Option<OpenDate>>,
    order: Option<(Order, Because)>,
    epoch_seen: bool,
    elapsed_seen: bool,
}

/// Clock times without a date, in the order of the lines.
#[derive(Debug, Default)]
struct Clocks {
    /// Added for each midnight passed.
    midnights: f64,
    last: Option<f64>,
}

impl Clocks {
    /// Seconds from the first midnight.
    fn seconds(&mut self, clock: f64) -> f64 {
        if self.last.is_some_and(|last| clock < last - 43_200.0) {
            self.midnights += 86_400.0;
        }
        self.last = Some(clock);
        clock + self.midnights
    }
}

/// A property that neighbouring readings share: where each run begins, and its value.
#[derive(Debug)]
struct Runs<T>(Vec<(usize, T)>);

impl<T: Copy + PartialEq> Runs<T> {
    fn note(&mut self, index: usize, value: T) {
        if self.last() != Some(value) {
            self.0.push((index, value));
        }
    }

    fn first(&self) -> Option<T> {
        self.0.first().map(|(_, value)| *value)
    }

    fn last(&self) -> Option<T> {
        self.0.last().map(|(_, value)| *value)
    }

    /// The numbers of each run with its value.
    fn each<'a>(&'a self, mut numbers: &'a mut [f64]) -> impl Iterator<Item = (&'a mut [f64], T)> {
        let ends = self.0.iter().skip(1).map(|(at, _)| *at);
        let mut done = 0;
        self.0
            .iter()
            .zip(ends.chain([numbers.len()]))
            .map(move |((_, value), end)| {
                let (run, rest) = std::mem::take(&mut numbers).split_at_mut(end - done);
                numbers = rest;
                done = end;
                (run, *value)
            })
    }
}

/// Lines whose unit is not that of the first reading, the first of them listed.
#[derive(Debug, Default)]
struct OtherUnits {
    listed: Vec<(u32, Option<PressureUnit>)>,
    counts: Vec<(Option<PressureUnit>, usize)>,
}

impl OtherUnits {
    fn note(&mut self, line: u32, unit: Option<PressureUnit>) {
        if self.listed.len() < Problems::LISTED {
            self.listed.push((line, unit));
        }
        match self.counts.iter_mut().find(|(known, _)| *known == unit) {
            Some((_, count)) => *count += 1,
            None => self.counts.push((unit, 1)),
        }
    }
}

impl Readings {
    pub(super) fn new(layout: Layout) -> Self {
        Self {
            plain: PlainLines::of(&layout),
            layout,
            cells: Vec::new(),
            log: PressureLog {
                seconds: Vec::with_capacity(ROOM),
                pascals: Vec::with_capacity(ROOM),
                lines: Vec::with_capacity(ROOM),
                ..PressureLog::default()
            },
            units: Runs(Vec::new()),
            elapsed: Runs(Vec::new()),
            other_units: OtherUnits::default(),
            clocks: Clocks::default(),
            date: LastDate::default(),
            dates: Runs(Vec::new()),
            order: None,
            epoch_seen: false,
            elapsed_seen: false,
        }
    }

    /// Leaves every line to the general reader.
    #[cfg(test)]
    pub(super) fn go_carefully(&mut self) {
        self.plain = None;
    }

    /// Takes lines of plain numbers from the front of `bytes`, after line `line` and up to line
    /// `most`, the quick way; gives how many lines and bytes it took. The line after them is for
    /// [`Self::take`].
    pub(super) fn take_plain(&mut self, bytes: &[u8], line: u32, most: u32) -> (u32, usize) {
        let Some(plain) = &self.plain else {
            return (0, 0);
        };
        // Readings of another unit are noted line by line.
        if self.units.first() != Some(plain.unit) || self.units.last() != Some(plain.unit) {
            return (0, 0);
        }
        let per_unit = plain.unit.map_or(1.0, PressureUnit::pascals_per_unit);
        let scale = self.layout.time_scale.unwrap_or(1.0);
        let PressureLog {
            seconds,
            pascals,
            lines,
            ..
        } = &mut self.log;
        let begun = seconds.len();
        let mut run = self.elapsed.last();
        let mut dated = self.dates.last();
        let (mut epoch_seen, mut elapsed_seen) = (false, false);
        let mut used = 0;
        let mut before: Option<Shape> = None;
        let mut alike: Option<Alike> = None;
        let date = &mut self.date;
        while line + ((seconds.len() - begun) as u32) < most {
            let rest = &bytes[used..];
            let like_before = match &alike {
                Some(alike) => alike.read(rest, date),
                None => None,
            };
            let (time, pressure, length) = match like_before {
                Some(read) => read,
                None => {
                    let Some((shape, time, pressure)) = plain.find(rest, date) else {
                        break;
                    };
                    // Two alike promise more of their kind.
                    if before == Some(shape) {
                        alike = Alike::to(shape, rest);
                    }
                    before = Some(shape);
                    (time, pressure, shape.length)
                }
            };
            let pressure = pressure * per_unit;
            if !(pressure > 0.0 && pressure < f64::INFINITY) {
                break;
            }
            let (time, elapsed, open) = match time {
                // A date and a clock without signs between.
                WrittenTime::Number(time) if time::may_be_in_digits(time) => break,
                WrittenTime::Number(time) => {
                    let epoch = time::is_epoch(time);
                    epoch_seen |= epoch;
                    elapsed_seen |= !epoch;
                    (time::number_seconds(time, scale), !epoch, None)
                }
                WrittenTime::Instant(time, open) => (time, false, open),
                WrittenTime::Clock(time) => (self.clocks.seconds(time), false, None),
            };
            if dated != Some(open) {
                dated = Some(open);
                self.dates.note(seconds.len(), open);
            }
            if run != Some(elapsed) {
                run = Some(elapsed);
                self.elapsed.note(seconds.len(), elapsed);
            }
            used += length;
            seconds.push(time);
            pascals.push(pressure);
        }
        self.epoch_seen |= epoch_seen;
        self.elapsed_seen |= elapsed_seen;
        let taken = (seconds.len() - begun) as u32;
        lines.extend(line + 1..=line + taken);
        (taken, used)
    }

    /// Notes that a line is not used.
    pub(super) fn pass_over(&mut self, line: u32, problem: impl Into<String>) {
        self.log.problems.note(line, problem.into());
    }

    /// Takes any line.
    pub(super) fn take(&mut self, line: u32, text: Cow<'_, str>) {
        if text.trim_ascii().is_empty() {
            return;
        }
        // The vector of the line before is used again: one allocation for the whole log.
        let mut cells: Vec<&str> = std::mem::take(&mut self.cells);
        self.layout.separator.cut(&text, &mut cells);
        self.take_cells(line, &cells);
        cells.clear();
        self.cells = cells.into_iter().map(|_| "").collect();
    }

    fn take_cells(&mut self, line: u32, cells: &[&str]) {
        let Some((seconds, elapsed, open)) = self.time_of(cells) else {
            let cell = self.time_cell(cells);
            let problem = if cells
                .first()
                .is_some_and(|cell| cell.starts_with(['#', '%']))
            {
                "a remark; line not used".to_owned()
            } else {
                format!("cannot read {cell:?} as a time; line not used")
            };
            self.log.problems.note(line, problem);
            return;
        };
        match self.pressure_of(cells) {
            Ok((pressure, unit)) => {
                let index = self.log.seconds.len();
                if self.units.first().is_some_and(|first| first != unit) {
                    self.other_units.note(line, unit);
                }
                self.units.note(index, unit);
                self.elapsed.note(index, elapsed);
                self.dates.note(index, open);
                self.log.seconds.push(seconds);
                self.log.pascals.push(pressure);
                self.log.lines.push(line);
            }
            Err(problem) => self.log.problems.note(line, problem),
        }
    }

    fn time_cell(&self, cells: &[&str]) -> String {
        let column = match self.layout.time {
            TimeColumns::One(column) | TimeColumns::DateAndClock(_, column) => column,
        };
        shortened(cells.get(column).copied().unwrap_or(""))
    }

    /// The time of a line, in seconds unless its unit is not known; whether it is an elapsed one; and
    /// what is open of its date.
    fn time_of(&mut self, cells: &[&str]) -> Option<(f64, bool, Option<OpenDate>)> {
        match self.layout.time {
            TimeColumns::DateAndClock(date, clock) => {
                let Some(Moment::Day(date)) = time::moment(cells.get(date)?) else {
                    return None;
                };
                let clock = cells.get(clock)?;
                let seconds = match time::moment(clock) {
                    Some(Moment::Clock(seconds)) => seconds,
                    _ => time::clock_in_digits(clock)?,
                };
                let (midnight, open) = date.midnight();
                Some((midnight + seconds, false, open))
            }
            TimeColumns::One(column) => {
                let cell = cells.get(column)?;
                if let Some(value) = cell::number(cell, self.layout.decimal_comma) {
                    if !value.is_finite() {
                        return None;
                    }
                    if time::may_be_in_digits(value)
                        && let Some(Moment::Instant(seconds, open)) = time::in_digits(cell)
                    {
                        return Some((seconds, false, open));
                    }
                    let epoch = time::is_epoch(value);
                    self.epoch_seen |= epoch;
                    self.elapsed_seen |= !epoch;
                    let scale = self.layout.time_scale.unwrap_or(1.0);
                    return Some((time::number_seconds(value, scale), !epoch, None));
                }
                if self.layout.minutes_first
                    && let Some(seconds) = time::minutes_and_seconds(cell)
                {
                    return Some((seconds, false, None));
                }
                match time::moment(cell)? {
                    Moment::Instant(seconds, open) => Some((seconds, false, open)),
                    Moment::Day(_) => None,
                    Moment::Clock(seconds) => Some((self.clocks.seconds(seconds), false, None)),
                }
            }
        }
    }

    /// The pressure of a line, in Pa unless its unit is not known, or what is wrong with it.
    fn pressure_of(&self, cells: &[&str]) -> Result<(f64, Option<PressureUnit>), String> {
        let cell = cells
            .get(self.layout.pressure)
            .filter(|cell| !cell.is_empty())
            .ok_or("no pressure in this line; line not used")?;
        let beside = self
            .layout
            .unit_column
            .and_then(|column| cells.get(column))
            .and_then(|cell| cell.parse().ok());
        let unit = beside.or(self.layout.unit);
        let (value, unit) = match cell::number(cell, self.layout.decimal_comma) {
            Some(value) => (value, unit),
            None => typed(cell, unit).map_err(|error| format!("{error}; line not used"))?,
        };
        let pascals = value * unit.map_or(1.0, PressureUnit::pascals_per_unit);
        if !pascals.is_finite() {
            return Err(format!(
                "the pressure {:?} is not a finite number; line not used",
                shortened(cell)
            ));
        }
        if pascals <= 0.0 {
            let what = if pascals < 0.0 { "negative" } else { "zero" };
            return Err(format!(
                "the pressure {:?} is {what}; line not used",
                shortened(cell)
            ));
        }
        Ok((pascals, unit))
    }

    pub(super) fn finish(mut self, options: &LogOptions) -> Result<PressureLog, LogError> {
        self.give_units(options)?;
        match (self.log.seconds.len(), self.log.problems.listed.first()) {
            (0, Some(first)) => {
                return Err(LogError::NoReadings {
                    line: first.line,
                    problem: first.problem.clone(),
                });
            }
            (0, None) => return Err(LogError::Empty),
            (1, first) => {
                let line = self.log.lines[0];
                return Err(match first {
                    Some(first) if first.problem.ends_with(NOT_USED) => LogError::OnlyOne {
                        first: first.line,
                        problem: first.problem.clone(),
                        line,
                    },
                    _ => LogError::OneReading { line },
                });
            }
            _ => {}
        }
        self.put_in_dates()?;
        self.log.assumed = self.assumed(options);
        Ok(self.log)
    }

    /// Decides the order of day, month and year, where it is open, and puts in the days.
    fn put_in_dates(&mut self) -> Result<(), LogError> {
        let dates: Vec<Option<OpenDate>> = self.dates.0.iter().map(|(_, open)| *open).collect();
        let line = |place: usize| self.log.lines[self.dates.0[place].0];
        self.order = date_order::decide(&dates).map_err(|undecided| match undecided {
            Undecided::NoOrderFits(place) => LogError::DatesDisagree { line: line(place) },
            Undecided::MoreThanOne(place) => LogError::DateOrder { line: line(place) },
        })?;
        let Some((order, _)) = self.order else {
            return Ok(());
        };
        for (run, open) in self.dates.each(&mut self.log.seconds) {
            if let Some(midnight) = open.and_then(|open| open.midnight(order)) {
                run.iter_mut().for_each(|time| *time += midnight);
            }
        }
        Ok(())
    }

    /// Puts in what the sender knows of the units, and notes which lines have another than the first.
    fn give_units(&mut self, options: &LogOptions) -> Result<(), LogError> {
        let log = &mut self.log;
        let without = self.units.0.iter().find(|(_, unit)| unit.is_none());
        if let (Some((index, _)), None) = (without, options.pressure_unit) {
            return Err(LogError::UnitMissing {
                line: log.lines[*index],
            });
        }
        for (run, unit) in self.units.each(&mut log.pascals) {
            if let (None, Some(given)) = (unit, options.pressure_unit) {
                for pressure in run {
                    // A number so large that it is none in pascals is none of a chamber either.
                    *pressure = (*pressure * given.pascals_per_unit()).min(f64::MAX);
                }
            }
        }
        let scale = match (self.layout.time_scale, options.time_unit) {
            (None, Some(unit)) => Some(layout::seconds_in(unit)),
            (None, None) if self.layout.spreadsheet_days => Some(86_400.0),
            _ => None,
        };
        if let Some(scale) = scale {
            for (run, elapsed) in self.elapsed.each(&mut log.seconds) {
                if elapsed {
                    run.iter_mut().for_each(|time| *time *= scale);
                }
            }
        }
        let resolved = |unit: Option<PressureUnit>| unit.or(options.pressure_unit);
        log.unit = self.units.first().and_then(resolved);
        let Some(first) = log.unit else {
            return Ok(());
        };
        let other = |unit: Option<PressureUnit>| resolved(unit).filter(|unit| *unit != first);
        let noted = self.other_units.listed.iter().filter_map(|(line, unit)| {
            let unit = other(*unit)?;
            Some(LineProblem {
                line: *line,
                problem: format!(
                    "unit {unit} where the log began with {first}; read in its own unit"
                ),
            })
        });
        log.problems.listed.extend(noted);
        log.problems.listed.sort_by_key(|problem| problem.line);
        log.problems.listed.truncate(Problems::LISTED);
        log.problems.count += self
            .other_units
            .counts
            .iter()
            .filter(|(unit, _)| other(*unit).is_some())
            .map(|(_, count)| count)
            .sum::<usize>();
        Ok(())
    }

    /// What was guessed, in words.
    fn assumed(&self, options: &LogOptions) -> Vec<String> {
        let layout = &self.layout;
        let mut assumed = vec![format!(
            "columns separated by {}, decimal {}",
            layout.separator.words(),
            if layout.decimal_comma {
                "comma"
            } else {
                "point"
            }
        )];
        let name = layout
            .pressure_name
            .clone()
            .unwrap_or_else(|| format!("column {}", layout.pressure + 1));
        if layout.passed_over.is_empty() {
            assumed.push(format!("pressure from {name:?}"));
        } else {
            assumed.push(format!(
                "pressure from {name:?}; not from {}",
                layout.passed_over.join(", ")
            ));
        }
        if let (None, None, Some(unit)) = (layout.unit, layout.unit_column, options.pressure_unit) {
            assumed.push(format!("pressures without a unit are in {unit}, as given"));
        }
        if self.elapsed_seen && layout.time_scale.is_none() && options.time_unit.is_none() {
            assumed.push(if layout.spreadsheet_days {
                "times are days as spreadsheets count them, since they read so; give their unit if they are another".to_owned()
            } else {
                "elapsed times without a unit are in seconds".to_owned()
            });
        }
        if layout.minutes_first {
            assumed.push("times of two parts are minutes and seconds".to_owned());
        }
        if self.epoch_seen {
            assumed.push("large time numbers are epoch times".to_owned());
        }
        if let Some((order, because)) = self.order {
            let because = match because {
                Because::OnlyOne => "the only order in which all of them are dates",
                Because::NoMatter => "another order would give the same elapsed times",
                Because::DaysFollow => "only so the days follow one another",
            };
            assumed.push(format!("dates read as {}: {because}", order.words()));
        }
        if self.clocks.midnights > 0.0 {
            assumed
                .push("a clock time that falls by more than 12 h has passed midnight".to_owned());
        }
        assumed
    }
}

/// A pressure as people type it, with its unit where one is known.
fn typed(
    cell: &str,
    unit: Option<PressureUnit>,
) -> Result<(f64, Option<PressureUnit>), ReadingError> {
    match read_pressure(cell, unit) {
        Ok(typed) => Ok((typed.value, Some(typed.unit))),
        // The unit is a stand-in for the one the sender gives.
        Err(ReadingError::UnitMissing { .. }) => {
            let typed = read_pressure(cell, Some(PressureUnit::Pascal))?;
            Ok((typed.value, None))
        }
        Err(error) => Err(error),
    }
}
