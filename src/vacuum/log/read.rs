//! Streams a log line by line into times and pressures.

use std::io::BufRead;

use super::cell;
use super::layout::{self, Layout, NoLayout, TimeColumns};
use super::plain::PlainLines;
use super::time::{self, Moment};
use crate::vacuum::units::{PressureUnit, TimeUnit, read_pressure};

/// What the sender knows that the log does not say.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LogOptions {
    /// Unit of pressures for which the log gives none.
    pub pressure_unit: Option<PressureUnit>,
    /// Unit of elapsed times for which the log gives none; seconds if `None`.
    pub time_unit: Option<TimeUnit>,
}

/// Readings of a log, in the order of its lines, with all that was odd about it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PressureLog {
    /// Seconds, from an origin of the log's own; may fall where the clock jumped.
    pub seconds: Vec<f64>,
    /// Pressures in Pa, all finite and above zero.
    pub pascals: Vec<f64>,
    /// Line of each reading, counted from one.
    pub lines: Vec<u32>,
    /// Lines that were not used, or used with a reservation.
    pub problems: Problems,
    /// What was guessed, in words.
    pub assumed: Vec<String>,
    /// Unit of the first reading.
    pub unit: Option<PressureUnit>,
}

/// Problems of single lines.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Problems {
    /// The first problems, at most [`Problems::LISTED`].
    pub listed: Vec<LineProblem>,
    /// All problems, listed or not.
    pub count: usize,
}

impl Problems {
    /// The most problems that are listed.
    pub const LISTED: usize = 100;

    fn note(&mut self, line: u32, problem: String) {
        self.count += 1;
        if self.listed.len() < Self::LISTED {
            self.listed.push(LineProblem { line, problem });
        }
    }
}

/// A problem of one line.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct LineProblem {
    /// The line, counted from one.
    pub line: u32,
    /// What is wrong and what became of the line.
    pub problem: String,
}

/// Why a log as a whole cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum LogError {
    /// Nothing but blank lines.
    #[error("the log is empty; accepted: lines with a time and a pressure")]
    Empty,
    /// Binary data or another text encoding.
    #[error(
        "line {line}: not plain text; accepted: text in UTF-8 (save a UTF-16 or spreadsheet file as CSV first)"
    )]
    NotText {
        /// The line, counted from one.
        line: u32,
    },
    /// No line with a time and a pressure.
    #[error(
        "line {line}: no time and pressure found in {text:?}; accepted: two or more columns separated by comma, semicolon, tab, bar or spaces"
    )]
    NoColumns {
        /// The first line that is not blank.
        line: u32,
        /// That line, shortened.
        text: String,
    },
    /// Commas both between columns and inside numbers.
    #[error(
        "line {line}: commas seem to stand both between columns and inside numbers; accepted: semicolons or tabs between columns where numbers have decimal commas"
    )]
    CommaTwice {
        /// The first line with readings.
        line: u32,
    },
    /// No unit anywhere.
    #[error(
        "line {line}: the pressure has no unit, in the header or beside the number; give its unit ({})",
        PressureUnit::ALL.map(|unit| unit.to_string()).join(", ")
    )]
    UnitMissing {
        /// The first line with a reading.
        line: u32,
    },
    /// Columns were found but no line gave a reading.
    #[error("no line gave a time and a pressure; the first problem is in line {line}: {problem}")]
    NoReadings {
        /// Line of the first problem.
        line: u32,
        /// That problem.
        problem: String,
    },
    /// One reading alone.
    #[error("line {line} is the only reading; accepted: two readings or more")]
    OneReading {
        /// Its line.
        line: u32,
    },
    /// More lines than can be counted.
    #[error("more than {most} lines; split the log")]
    TooLong {
        /// The most lines.
        most: u32,
    },
    /// The input failed while it was being read.
    #[error("the log could not be read to its end: {0}")]
    Input(#[from] std::io::Error),
}

/// Lines kept to find the layout.
const SAMPLE: usize = 60;
/// A line longer than this is not a line of readings.
const LONGEST_LINE: usize = 1 << 16;
/// The most lines of a log.
const MOST_LINES: u32 = 20_000_000;

/// Reads a whole log, keeping its readings and not its text.
pub fn read_log<R: BufRead>(mut input: R, options: &LogOptions) -> Result<PressureLog, LogError> {
    let mut sample: Vec<(u32, String)> = Vec::with_capacity(SAMPLE);
    let mut buffer = Vec::with_capacity(256);
    let mut line = 0;
    while sample.len() < SAMPLE && next_line(&mut input, &mut buffer, &mut line)? {
        let text = std::str::from_utf8(&buffer)
            .ok()
            .filter(|text| !text.contains('\0'))
            .ok_or(LogError::NotText { line })?;
        let text = text.trim_start_matches('\u{feff}');
        if !text.trim().is_empty() {
            sample.push((line, text.to_owned()));
        }
    }
    let Some((first_line, first_text)) = sample.first() else {
        return Err(LogError::Empty);
    };
    let texts: Vec<&str> = sample.iter().map(|(_, text)| text.as_str()).collect();
    let layout = layout::find(&texts).map_err(|reason| match reason {
        NoLayout::NoColumns => LogError::NoColumns {
            line: *first_line,
            text: shortened(first_text),
        },
        NoLayout::CommaTwice => LogError::CommaTwice { line: *first_line },
    })?;
    let mut reader = Reader::new(layout, options);
    for (line, text) in sample.iter().skip(reader.layout.preamble) {
        reader.take(*line, text)?;
    }
    while next_line(&mut input, &mut buffer, &mut line)? {
        if reader.take_plain(line, &buffer) {
            continue;
        }
        match std::str::from_utf8(&buffer) {
            Ok(text) if !text.contains('\0') => reader.take(line, text)?,
            _ => reader
                .log
                .problems
                .note(line, "not plain text; line not used".to_owned()),
        }
    }
    reader.finish()
}

/// Reads the next line into `buffer`, without its end; `false` at the end of the input.
fn next_line<R: BufRead>(
    input: &mut R,
    buffer: &mut Vec<u8>,
    line: &mut u32,
) -> Result<bool, LogError> {
    buffer.clear();
    if input.read_until(b'\n', buffer)? == 0 {
        return Ok(false);
    }
    if *line >= MOST_LINES {
        return Err(LogError::TooLong { most: MOST_LINES });
    }
    *line += 1;
    while matches!(buffer.last(), Some(b'\n' | b'\r')) {
        buffer.pop();
    }
    Ok(true)
}

struct Reader<'o> {
    layout: Layout,
    /// Empty between lines.
    cells: Vec<&'static str>,
    options: &'o LogOptions,
    /// The quick way through lines of two plain numbers, if the layout has such.
    plain: Option<PlainLines>,
    log: PressureLog,
    scale: f64,
    /// Added to clock times, for each midnight passed.
    midnights: f64,
    last_clock: Option<f64>,
    epoch_seen: bool,
    elapsed_seen: bool,
    unsure_date: bool,
}

impl<'o> Reader<'o> {
    fn new(layout: Layout, options: &'o LogOptions) -> Self {
        let scale = layout
            .time_scale
            .or(options.time_unit.map(layout::seconds_in))
            .unwrap_or(1.0);
        Self {
            plain: PlainLines::of(&layout, options.pressure_unit),
            layout,
            cells: Vec::new(),
            options,
            log: PressureLog::default(),
            scale,
            midnights: 0.0,
            last_clock: None,
            epoch_seen: false,
            elapsed_seen: false,
            unsure_date: false,
        }
    }

    /// Takes a line of plain numbers the quick way; `false` leaves it to [`Self::take`].
    fn take_plain(&mut self, line: u32, bytes: &[u8]) -> bool {
        let Some(plain) = &self.plain else {
            return false;
        };
        let Some((time, pressure)) = plain.read(bytes) else {
            return false;
        };
        let pascals = pressure * plain.unit.pascals_per_unit();
        if !(pascals > 0.0 && pascals.is_finite()) || self.log.unit != Some(plain.unit) {
            return false;
        }
        let seconds = self.number_seconds(time);
        self.log.seconds.push(seconds);
        self.log.pascals.push(pascals);
        self.log.lines.push(line);
        true
    }

    /// Seconds of a time that is a number alone.
    fn number_seconds(&mut self, value: f64) -> f64 {
        if time::is_epoch(value) {
            self.epoch_seen = true;
        } else {
            self.elapsed_seen = true;
        }
        time::number_seconds(value, self.scale)
    }

    fn take(&mut self, line: u32, text: &str) -> Result<(), LogError> {
        if text.len() > LONGEST_LINE {
            self.log.problems.note(
                line,
                "too long for a line of readings; line not used".to_owned(),
            );
            return Ok(());
        }
        if text.trim_ascii().is_empty() {
            return Ok(());
        }
        // The vector of the line before is used again: one allocation for the whole log.
        let mut cells: Vec<&str> = std::mem::take(&mut self.cells);
        self.layout.separator.cut(text, &mut cells);
        let taken = self.take_cells(line, &cells);
        cells.clear();
        self.cells = cells.into_iter().map(|_| "").collect();
        taken
    }

    fn take_cells(&mut self, line: u32, cells: &[&str]) -> Result<(), LogError> {
        let Some(seconds) = self.time_of(cells) else {
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
            return Ok(());
        };
        match self.pressure_of(line, cells)? {
            Ok((pascals, unit)) => {
                if self.log.unit.is_none() {
                    self.log.unit = Some(unit);
                }
                self.log.seconds.push(seconds);
                self.log.pascals.push(pascals);
                self.log.lines.push(line);
            }
            Err(problem) => self.log.problems.note(line, problem),
        }
        Ok(())
    }

    fn time_cell(&self, cells: &[&str]) -> String {
        let column = match self.layout.time {
            TimeColumns::One(column) | TimeColumns::DateAndClock(_, column) => column,
        };
        shortened(cells.get(column).copied().unwrap_or(""))
    }

    fn time_of(&mut self, cells: &[&str]) -> Option<f64> {
        match self.layout.time {
            TimeColumns::DateAndClock(date, clock) => {
                let Some(Moment::Day(days, unsure)) = time::moment(cells.get(date)?) else {
                    return None;
                };
                let Some(Moment::Clock(seconds)) = time::moment(cells.get(clock)?) else {
                    return None;
                };
                self.unsure_date |= unsure;
                Some(days * 86_400.0 + seconds)
            }
            TimeColumns::One(column) => {
                let cell = cells.get(column)?;
                if let Some(value) = cell::number(cell, self.layout.decimal_comma) {
                    if !value.is_finite() {
                        return None;
                    }
                    return Some(self.number_seconds(value));
                }
                match time::moment(cell)? {
                    Moment::Instant(seconds) => Some(seconds),
                    Moment::Day(..) => None,
                    Moment::Clock(seconds) => {
                        if self
                            .last_clock
                            .is_some_and(|last| seconds < last - 43_200.0)
                        {
                            self.midnights += 86_400.0;
                        }
                        self.last_clock = Some(seconds);
                        Some(seconds + self.midnights)
                    }
                }
            }
        }
    }

    /// The pressure of a line; the inner error is a problem of that line alone.
    fn pressure_of(
        &mut self,
        line: u32,
        cells: &[&str],
    ) -> Result<Result<(f64, PressureUnit), String>, LogError> {
        let Some(cell) = cells
            .get(self.layout.pressure)
            .filter(|cell| !cell.is_empty())
        else {
            return Ok(Err("no pressure in this line; line not used".to_owned()));
        };
        let beside = self
            .layout
            .unit_column
            .and_then(|column| cells.get(column))
            .and_then(|cell| cell.parse().ok());
        let unit = beside.or(self.layout.unit).or(self.options.pressure_unit);
        let (value, unit) = match cell::number(cell, self.layout.decimal_comma) {
            Some(value) => match unit {
                Some(unit) => (value, unit),
                None => return Err(LogError::UnitMissing { line }),
            },
            None => match read_pressure(cell, unit) {
                Ok(typed) => (typed.value, typed.unit),
                Err(error) => return Ok(Err(format!("{error}; line not used"))),
            },
        };
        let pascals = value * unit.pascals_per_unit();
        if !pascals.is_finite() {
            return Ok(Err(format!(
                "the pressure {:?} is not a finite number; line not used",
                shortened(cell)
            )));
        }
        if pascals <= 0.0 {
            let what = if pascals < 0.0 { "negative" } else { "zero" };
            return Ok(Err(format!(
                "the pressure {:?} is {what}; line not used",
                shortened(cell)
            )));
        }
        if let Some(first) = self.log.unit.filter(|first| *first != unit) {
            self.log.problems.note(
                line,
                format!("unit {unit} where the log began with {first}; read in its own unit"),
            );
        }
        Ok(Ok((pascals, unit)))
    }

    fn finish(mut self) -> Result<PressureLog, LogError> {
        match (self.log.seconds.len(), self.log.problems.listed.first()) {
            (0, Some(first)) => {
                return Err(LogError::NoReadings {
                    line: first.line,
                    problem: first.problem.clone(),
                });
            }
            (0, None) => return Err(LogError::Empty),
            (1, _) => {
                return Err(LogError::OneReading {
                    line: self.log.lines[0],
                });
            }
            _ => {}
        }
        let layout = &self.layout;
        let assumed = &mut self.log.assumed;
        assumed.push(format!(
            "columns separated by {}, decimal {}",
            layout.separator.words(),
            if layout.decimal_comma {
                "comma"
            } else {
                "point"
            }
        ));
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
        if let (None, None, Some(unit)) =
            (layout.unit, layout.unit_column, self.options.pressure_unit)
        {
            assumed.push(format!("pressures without a unit are in {unit}, as given"));
        }
        if self.elapsed_seen && layout.time_scale.is_none() && self.options.time_unit.is_none() {
            assumed.push("elapsed times without a unit are in seconds".to_owned());
        }
        if self.epoch_seen {
            assumed.push("large time numbers are epoch times".to_owned());
        }
        if self.unsure_date {
            assumed.push("dates read as day, month, year".to_owned());
        }
        if self.midnights > 0.0 {
            assumed
                .push("a clock time that falls by more than 12 h has passed midnight".to_owned());
        }
        Ok(self.log)
    }
}

fn shortened(text: &str) -> String {
    const LONGEST: usize = 60;
    let text = text.trim();
    if text.chars().count() <= LONGEST {
        text.to_owned()
    } else {
        text.chars().take(LONGEST).chain(['…']).collect()
    }
}
