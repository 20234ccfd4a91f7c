//! Streams a log, in pieces of any length, into times and pressures.

use std::borrow::Cow;
use std::io::BufRead;

use super::layout::{self, NoLayout};
use super::readings::Readings;
use super::table;
use crate::vacuum::units::{PressureUnit, TimeUnit};

/// What the sender knows that the log does not say.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LogOptions<'a> {
    /// Unit of pressures for which the log gives none.
    pub pressure_unit: Option<PressureUnit>,
    /// Unit of elapsed times for which the log gives none; seconds if `None`.
    pub time_unit: Option<TimeUnit>,
    /// The column of the pressures, by its heading or its number counted from one; the likeliest if `None`.
    pub pressure_column: Option<&'a str>,
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

    pub(super) fn note(&mut self, line: u32, problem: String) {
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
        "line {line}: not plain text; accepted: text in UTF-8, or in UTF-16 with its byte order mark (save a spreadsheet file as CSV first)"
    )]
    NotText {
        /// The line, counted from one.
        line: u32,
    },
    /// A heading and nothing below it.
    #[error(
        "line {line}: a heading, with no readings behind it; accepted: a heading, if there is one, and below it lines with a time and a pressure"
    )]
    HeadingAlone {
        /// The line, counted from one.
        line: u32,
    },
    /// No line with a time and a pressure.
    #[error(
        "line {line}: no time and pressure found in {text:?}; accepted: two or more columns separated by comma, semicolon, tab, bar or spaces"
    )]
    NoColumns {
        /// The first line that is neither blank nor a heading.
        line: u32,
        /// That line, shortened.
        text: String,
    },
    /// A first line that is no line, in a log without readings.
    #[error(
        "line {line}: too long for a line of readings; accepted: a line for each reading, with a time and a pressure"
    )]
    LineTooLong {
        /// The line, counted from one.
        line: u32,
    },
    /// Commas both between columns and inside numbers.
    #[error(
        "line {line}: commas seem to stand both between columns and inside numbers; accepted: semicolons or tabs between columns where numbers have decimal commas"
    )]
    CommaTwice {
        /// The first line with readings.
        line: u32,
    },
    /// Times that may be hours and minutes, or minutes and seconds.
    #[error(
        "line {line}: the time in {text:?} may be hours and minutes or minutes and seconds; accepted: hh:mm or mm:ss in the header of its column, or times as hh:mm:ss"
    )]
    ClockOfTwo {
        /// The first line with readings.
        line: u32,
        /// That line, shortened.
        text: String,
    },
    /// More cells than the heading names.
    #[error(
        "line {line}: {cells} cells under a heading of {names}, so that which is which cannot be told; accepted: a cell for each name, and semicolons or tabs between columns where numbers have decimal commas"
    )]
    WiderThanHeading {
        /// The first such line.
        line: u32,
        /// Its cells.
        cells: usize,
        /// Names of the heading.
        names: usize,
    },
    /// A time whose smaller parts stand in a column of their own.
    #[error(
        "line {line}: the time stands in more than one column of numbers ({first:?} and {second:?}); accepted: the whole time in one column (23:55:00, or seconds), or a date and a clock (2026-11-30 and 23:55:00, or 20261130 and 235500)"
    )]
    TimeInParts {
        /// The line of the heading.
        line: u32,
        /// One of the columns.
        first: String,
        /// Another.
        second: String,
    },
    /// Marks between thousands in a time.
    #[error(
        "line {line}: the time {cell:?} has a mark before three figures, where other times are whole numbers: a mark between thousands or a decimal one, which cannot be told; accepted: times without marks between thousands"
    )]
    Thousands {
        /// The first line with such a time.
        line: u32,
        /// The time.
        cell: String,
    },
    /// Many lines without a time that can be read.
    #[error(
        "line {line}: {problem}, nor can that of {others} lines more; accepted: times in one form, such as 2026-11-30 23:55:00, and numbers with one decimal mark and no marks between thousands"
    )]
    TimesUnread {
        /// The first such line.
        line: u32,
        /// What is wrong with it.
        problem: String,
        /// How many others there are.
        others: usize,
    },
    /// The column that would be the time is something else.
    #[error(
        "line {line}: no column is a time; {column:?} is {what}, by its heading; accepted: a column of times, such as 2026-11-30 23:55:00, or seconds under a heading such as Time (s)"
    )]
    NoTime {
        /// The line of the heading.
        line: u32,
        /// The heading.
        column: String,
        /// What it holds, in words.
        what: &'static str,
    },
    /// No unit that is known, anywhere.
    #[error(
        "line {line}: no unit of pressure known here stands in {heading} or beside the number; give its unit ({})",
        PressureUnit::ALL.map(|unit| unit.to_string()).join(", ")
    )]
    UnitMissing {
        /// The first line with a reading.
        line: u32,
        /// The heading of its column, in words.
        heading: String,
    },
    /// A line with two columns and more, in which this cell cannot be read.
    #[error(
        "line {line}: cannot read {cell:?}; accepted: times, with their offset (2026-01-05 10:00:00+01:00) or without rather than with the name of a zone, and numbers such as 5.06e-5, 5,06E-5 or 5.06x10^-5, with a unit or without"
    )]
    Unreadable {
        /// The first such line.
        line: u32,
        /// The cell, shortened.
        cell: String,
    },
    /// Text of another kind than lines of readings.
    #[error(
        "line {line}: {kind}, and no table of readings; accepted: lines with a time and a pressure, separated by comma, semicolon, tab, bar or spaces"
    )]
    OtherText {
        /// The line, counted from one.
        line: u32,
        /// What it looks like.
        kind: &'static str,
    },
    /// A heading with a unit or scale that is not known.
    #[error(
        "line {line}: {what:?} of the column {column:?} is no unit of pressure known here; accepted: {}, or a number and one of them, such as 1e-6 mbar; or the column and its unit, both chosen",
        PressureUnit::ALL.map(|unit| unit.to_string()).join(", ")
    )]
    UnknownPressureUnit {
        /// The line of the heading, or of the first reading.
        line: u32,
        /// The heading.
        column: String,
        /// What is not known.
        what: String,
    },
    /// A scale that stands apart from the unit.
    #[error(
        "line {line}: whether the numbers of the column {column:?} are to be multiplied by its {what:?}, or were already, cannot be told; accepted: a number and a unit together, such as (1e-6 mbar) for a pressure; or the column and its unit, both chosen"
    )]
    ScaleApart {
        /// The line of the heading.
        line: u32,
        /// The heading.
        column: String,
        /// The scale.
        what: String,
    },
    /// A heading with two units.
    #[error(
        "line {line}: the column {column:?} names two units, {first:?} and {second:?}; accepted: one unit a column; or the column and its unit, both chosen"
    )]
    TwoUnits {
        /// The line of the heading.
        line: u32,
        /// The heading.
        column: String,
        /// The first.
        first: String,
        /// The second.
        second: String,
    },
    /// The same of times that are numbers.
    #[error(
        "line {line}: {what:?} of the column {column:?} is no unit of time known here; accepted: s, ms, min, h or days, in the heading, or the unit chosen"
    )]
    UnknownTimeUnit {
        /// The line of the heading, or of the first reading.
        line: u32,
        /// The heading.
        column: String,
        /// What is not known.
        what: String,
    },
    /// Numbers that rise by one, and no heading names a time.
    #[error(
        "line {line}: the numbers of the column {column:?} rise by one from line to line, and no heading names a time: they may count the readings; accepted: a heading with its unit, such as Time (s), or the unit chosen"
    )]
    MayCount {
        /// The line of the heading.
        line: u32,
        /// The heading.
        column: String,
    },
    /// Numbers that may be clocks without marks.
    #[error(
        "line {line}: the numbers of the column {column:?} may be clocks without marks (100530 for 10:05:30, or 1005 for 10:05) or a time that passed; accepted: clocks with marks (10:05:30), a date of eight digits beside a clock of six (20261130 and 100530), or the unit of the time that passed, in the heading as in Time (s), or chosen"
    )]
    MayBeClock {
        /// The line of the heading.
        line: u32,
        /// The heading.
        column: String,
    },
    /// A setpoint, a limit or a scatter, and no other column.
    #[error(
        "line {line}: the column {column:?} is no pressure that was measured, by its heading; accepted: a column of measured pressures, or this one by name"
    )]
    NotMeasured {
        /// The line of the heading.
        line: u32,
        /// The heading.
        column: String,
    },
    /// No column but such of other quantities.
    #[error(
        "line {line}: no column is a pressure; {column:?} is {what}, by its heading; accepted: a column of pressures"
    )]
    NoPressure {
        /// The line of the heading.
        line: u32,
        /// The heading.
        column: String,
        /// What it holds, in words.
        what: &'static str,
    },
    /// The column that was asked for is none of the pressures.
    #[error("no column of pressures is called {wanted:?}; accepted: {}", .columns.join(", "))]
    NoSuchColumn {
        /// The heading or number.
        wanted: String,
        /// The columns there are.
        columns: Vec<String>,
    },
    /// The column that was asked for is one of the pressures, but was not kept.
    #[error(
        "the column {wanted:?} is one of more pressures than are kept while a log is read; accepted: {}, or the choice of the column sent before the log", .columns.join(", ")
    )]
    ColumnNotKept {
        /// The heading or number.
        wanted: String,
        /// The columns that were kept.
        columns: Vec<String>,
    },
    /// A heading among the readings that is not the first one.
    #[error(
        "line {line}: {text:?} is a heading of its own, and what follows may be in other units; accepted: one heading a log, each of the two in a log of its own"
    )]
    OtherHeading {
        /// The line, counted from one.
        line: u32,
        /// The heading, shortened.
        text: String,
    },
    /// Dates without a year, where it makes a difference.
    #[error(
        "line {line}: the dates have no year, and here the year ends or February does; accepted: dates with their year (2026-11-30)"
    )]
    YearMissing {
        /// The line, counted from one.
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
    /// One reading alone, and other lines that gave none.
    #[error("line {first}: {problem}; line {line} is the only reading, and two or more are needed")]
    OnlyOne {
        /// The first line that gave none.
        first: u32,
        /// Why it gave none.
        problem: String,
        /// Line of the reading.
        line: u32,
    },
    /// Dates of which some put the day first and others the month.
    #[error(
        "line {line}: the numbers of this date are no day, month and year in an order that fits the dates before it; accepted: one order for all dates, best with the year first (2026-11-30)"
    )]
    DatesDisagree {
        /// The line, counted from one.
        line: u32,
    },
    /// Dates that may put the day first or the month.
    #[error(
        "line {line}: the date changes, and whether its day or its month stands first cannot be told; accepted: dates with the year first (2026-11-30) or with the month as a word (30-Nov-2026), or elapsed times"
    )]
    DateOrder {
        /// The first line where it makes a difference.
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
pub(super) const LONGEST_LINE: usize = 1 << 16;
const TOO_LONG: &str = "too long for a line of readings; line not used";
/// The most lines of a log.
const MOST_LINES: u32 = 20_000_000;

/// Takes a log in pieces as they arrive and keeps its readings, not its text.
///
/// What the sender knows of units and columns may come last: it is asked for by [`LogReader::finish`], and
/// until then the readings of every column are kept that could be the pressure, up to six; beyond these, the
/// one that was chosen before the log came.
#[derive(Debug, Default)]
pub struct LogReader {
    stage: Stage,
    /// The column that was chosen before.
    chosen: Option<String>,
    /// The end of what came.
    tail: Tail,
    #[cfg(test)]
    careful: bool,
}

#[derive(Debug)]
enum Stage {
    Sample(Sample),
    /// The readings of each column that could be the pressure, the likeliest first.
    Columns(Vec<Column>),
    Failed(LogError),
}

impl Default for Stage {
    fn default() -> Self {
        Self::Sample(Sample::default())
    }
}

/// The last bytes of a text that comes in pieces: a log that was copied while it was written ends within a line, whose
/// number is none.
#[derive(Debug, Default)]
struct Tail(Vec<u8>);

const CUT: &str = "the last line does not end and is shorter than those before it, as where a log was copied while it was written; line not used";

impl Tail {
    /// How many bytes are looked at.
    const LENGTH: usize = 2048;

    fn push(&mut self, bytes: &[u8]) {
        let from = bytes.len().saturating_sub(Self::LENGTH);
        self.0.extend_from_slice(&bytes[from..]);
        let more = self.0.len().saturating_sub(Self::LENGTH);
        if more > Self::LENGTH {
            self.0.drain(..more);
        }
    }

    /// Whether the text ends within a line that is shorter than each of those before it.
    fn is_cut(&self) -> bool {
        const LINES: std::ops::RangeInclusive<usize> = 8..=16;
        let from = self.0.len().saturating_sub(Self::LENGTH);
        let mut lines = self.0[from..].rsplit(|byte| *byte == b'\n');
        // Blanks before a number belong to its column.
        let last = lines.next().unwrap_or_default().trim_ascii_end().len();
        let mut before: Vec<usize> = lines.map(|line| line.trim_ascii_end().len()).collect();
        // The first may have begun before.
        before.pop();
        before.truncate(*LINES.end());
        last > 0 && before.len() >= *LINES.start() && before.iter().all(|length| *length > last)
    }
}

/// The first lines, by which the layout is found.
#[derive(Debug, Default)]
struct Sample {
    lines: Lines,
    /// Those that are not blank; one too long is empty.
    taken: Vec<(u32, String)>,
}

/// Lines of a text that comes in pieces.
#[derive(Clone, Debug, Default)]
struct Lines {
    /// The begun line at the end of the last piece.
    begun: Vec<u8>,
    /// Whether the begun line is too long, and the rest of it passed over.
    too_long: bool,
    /// Lines so far.
    count: u32,
}

/// A line without its line feed, and whether it was too long to be kept.
type Line<'a> = (Cow<'a, [u8]>, bool);

impl Lines {
    /// Whether no line is begun.
    fn at_start(&self) -> bool {
        self.begun.is_empty() && !self.too_long
    }

    /// Takes the rest of a line off the front of `bytes`; `None` if it goes on behind them.
    fn next<'a>(&mut self, bytes: &mut &'a [u8]) -> Option<Line<'a>> {
        let Some(at) = bytes.iter().position(|byte| *byte == b'\n') else {
            self.begin(bytes);
            *bytes = &[];
            return None;
        };
        let (end, rest) = bytes.split_at(at);
        *bytes = &rest[1..];
        if self.begun.is_empty() {
            return Some(self.ended(Cow::Borrowed(end)));
        }
        self.begin(end);
        let line = std::mem::take(&mut self.begun);
        Some(self.ended(Cow::Owned(line)))
    }

    /// The line begun, at the end of the text.
    fn last(&mut self) -> Option<Line<'static>> {
        let line = std::mem::take(&mut self.begun);
        (!line.is_empty() || self.too_long).then(|| self.ended(Cow::Owned(line)))
    }

    fn ended<'a>(&mut self, line: Cow<'a, [u8]>) -> Line<'a> {
        self.count += 1;
        let too_long = std::mem::take(&mut self.too_long) || line.len() > LONGEST_LINE;
        (line, too_long)
    }

    fn begin(&mut self, part: &[u8]) {
        if self.begun.len() + part.len() > LONGEST_LINE {
            self.too_long = true;
        } else {
            self.begun.extend_from_slice(part);
        }
    }
}

/// The readings of one column.
#[derive(Debug)]
struct Column {
    readings: Box<Readings>,
    lines: Lines,
    /// Whether there are more lines than can be counted.
    endless: bool,
    #[cfg(test)]
    quick_lines: u32,
}

impl Column {
    fn push(&mut self, mut bytes: &[u8]) {
        while !bytes.is_empty() && !self.endless {
            if self.lines.at_start() {
                let (lines, used) = self
                    .readings
                    .take_plain(bytes, self.lines.count, MOST_LINES);
                self.lines.count += lines;
                #[cfg(test)]
                {
                    self.quick_lines += lines;
                }
                bytes = &bytes[used..];
            }
            if let Some(line) = self.lines.next(&mut bytes) {
                self.take(line);
            }
        }
    }

    fn take(&mut self, (bytes, too_long): Line<'_>) {
        let line = self.lines.count;
        if line > MOST_LINES {
            self.endless = true;
        } else if bytes.contains(&0) {
            self.readings
                .pass_over(line, "not plain text; line not used");
        } else if too_long {
            self.readings.pass_over(line, TOO_LONG);
        } else {
            // A unit in another encoding should not cost the readings.
            let text = text_of(bytes.trim_ascii_end());
            self.readings.take(line, text);
        }
    }

    fn finish(mut self, is_cut: bool, options: &LogOptions<'_>) -> Result<PressureLog, LogError> {
        if let Some(line) = self.lines.last() {
            if is_cut {
                self.readings.pass_over(self.lines.count, CUT);
            } else {
                self.take(line);
            }
        }
        if self.endless {
            return Err(LogError::TooLong { most: MOST_LINES });
        }
        self.readings.finish(options)
    }
}

/// The text of a line: UTF-8, or else the encoding of one byte a letter that older panels and spreadsheets write, where µ
/// and ü stand in the same places as in Unicode (ISO/IEC 8859-1).
fn text_of(bytes: &[u8]) -> Cow<'_, str> {
    match std::str::from_utf8(bytes) {
        Ok(text) => Cow::Borrowed(text),
        Err(_) => Cow::Owned(bytes.iter().map(|byte| char::from(*byte)).collect()),
    }
}

/// The place of the column that is likeliest the pressure, and why it is not the first: that one stands still
/// throughout, as a setpoint, a gauge at its end or a state does, where another moves that may be of the chamber as well.
fn likeliest(columns: &[Column]) -> (Option<usize>, Option<String>) {
    let Some(first) = columns.first() else {
        return (None, None);
    };
    let moves = |column: &Column| {
        !column.readings.stands_still() && column.readings.may_stand_for(&first.readings)
    };
    match columns.iter().position(moves) {
        Some(other) if first.readings.stands_still() => {
            let still = format!(
                "{:?} stands still throughout, and is taken for no measured pressure",
                first.readings.column()
            );
            (Some(other), Some(still))
        }
        _ => (Some(0), None),
    }
}

impl LogReader {
    /// A reader that has read nothing.
    pub fn new() -> Self {
        Self::default()
    }

    /// A reader that goes no quick way.
    #[cfg(test)]
    pub(super) fn careful() -> Self {
        Self {
            careful: true,
            ..Self::default()
        }
    }

    /// How many lines went the quick way.
    #[cfg(test)]
    pub(super) fn quick_lines(&self) -> u32 {
        match &self.stage {
            Stage::Columns(columns) => columns[0].quick_lines,
            _ => 0,
        }
    }

    /// Says before the first piece which column is to be kept in any case, by its heading or its number counted
    /// from one.
    pub fn choose(&mut self, column: &str) {
        self.chosen = Some(column.to_owned());
    }

    /// Takes the next piece; what is wrong with the log is told by [`LogReader::finish`].
    pub fn push(&mut self, mut bytes: &[u8]) {
        self.tail.push(bytes);
        while let Stage::Sample(sample) = &mut self.stage
            && !bytes.is_empty()
        {
            if let Some(line) = sample.lines.next(&mut bytes)
                && let Err(error) = sample.take(line)
            {
                self.stage = Stage::Failed(error);
            } else if sample.taken.len() == SAMPLE {
                self.lay_out();
            }
        }
        if let Stage::Columns(columns) = &mut self.stage {
            for column in columns {
                column.push(bytes);
            }
        }
    }

    /// The readings, with what the log itself does not say; or why there are none.
    ///
    /// # Errors
    /// See [`LogError`].
    pub fn finish(mut self, options: &LogOptions<'_>) -> Result<PressureLog, LogError> {
        let is_cut = self.tail.is_cut();
        if let Stage::Sample(sample) = &mut self.stage {
            // A line that was cut is left to the columns, to be told.
            let last = if is_cut { None } else { sample.lines.last() };
            match last.map(|line| sample.take(line)) {
                Some(Err(error)) => self.stage = Stage::Failed(error),
                _ => self.lay_out(),
            }
        }
        let columns = match self.stage {
            Stage::Columns(columns) => columns,
            Stage::Failed(error) => return Err(error),
            Stage::Sample(_) => return Err(LogError::Empty),
        };
        let known: Vec<String> = columns
            .iter()
            .map(|column| format!("{:?}", column.readings.column()))
            .collect();
        let wanted = options.pressure_column.map(str::trim);
        let wanted = wanted.filter(|wanted| !wanted.is_empty());
        let left_out = |wanted: &str| {
            let mut columns = columns.iter();
            columns.any(|column| column.readings.has_left_out(wanted))
        };
        if let Some(wanted) = wanted.filter(|wanted| left_out(wanted)) {
            return Err(LogError::ColumnNotKept {
                wanted: shortened(wanted),
                columns: known,
            });
        }
        let (place, still) = match wanted {
            Some(wanted) => {
                let is_of = |column: &Column| column.readings.is_of(wanted);
                (columns.iter().position(is_of), None)
            }
            None => likeliest(&columns),
        };
        let mut log = place
            .and_then(|place| columns.into_iter().nth(place))
            .ok_or_else(|| LogError::NoSuchColumn {
                wanted: shortened(wanted.unwrap_or_default()),
                columns: known,
            })?
            .finish(is_cut, options)?;
        log.assumed.extend(still);
        Ok(log)
    }

    /// Finds the layout by the sample, and reads the sample by it.
    fn lay_out(&mut self) {
        let Stage::Sample(Sample { lines, taken }) = std::mem::take(&mut self.stage) else {
            return;
        };
        let texts: Vec<&str> = taken.iter().map(|(_, text)| text.as_str()).collect();
        self.stage = match layout::find(&texts, self.chosen.as_deref()) {
            _ if taken.is_empty() => Stage::Failed(LogError::Empty),
            Ok(layouts) => Stage::Columns(
                layouts
                    .into_iter()
                    .map(|layout| {
                        let mut readings = Box::new(begun(layout, &taken));
                        #[cfg(test)]
                        if self.careful {
                            readings.go_carefully();
                        }
                        let preamble = readings.preamble();
                        for (line, text) in taken.iter().skip(preamble) {
                            if text.is_empty() {
                                readings.pass_over(*line, TOO_LONG);
                            } else {
                                readings.take(*line, Cow::Borrowed(text));
                            }
                        }
                        Column {
                            readings,
                            lines: lines.clone(),
                            endless: false,
                            #[cfg(test)]
                            quick_lines: 0,
                        }
                    })
                    .collect(),
            ),
            Err(problem) => Stage::Failed(without_layout(&problem, &taken)),
        };
    }
}

impl Sample {
    fn take(&mut self, (bytes, too_long): Line<'_>) -> Result<(), LogError> {
        let line = self.lines.count;
        if line > MOST_LINES {
            return Err(LogError::TooLong { most: MOST_LINES });
        }
        if bytes.contains(&0) {
            return Err(LogError::NotText { line });
        }
        let bytes = bytes.trim_ascii_end();
        if !too_long && bytes.contains(&b'\r') {
            return Err(LogError::OtherText {
                line,
                kind: "carriage returns alone between lines",
            });
        }
        let text = text_of(bytes);
        let text = text.trim_start_matches('\u{feff}');
        if too_long {
            self.taken.push((line, String::new()));
        } else if !text.trim().is_empty() {
            self.taken.push((line, text.to_owned()));
        }
        Ok(())
    }
}

/// Readings of which none is taken, with the lines told that should have been some and stand before them.
fn begun(layout: layout::Layout, taken: &[(u32, String)]) -> Readings {
    let before = &taken[..layout.preamble];
    let mut readings = Readings::new(layout);
    readings.doubt_at(|place| taken.get(place).map_or(1, |(line, _)| *line));
    let behind_heading = before
        .iter()
        .rposition(|(_, text)| table::is_heading(text))
        .map_or(0, |heading| heading + 1);
    for (line, text) in &before[behind_heading..] {
        if table::may_be_reading(text) {
            let text = shortened(text);
            readings.pass_over(
                *line,
                format!("no time and pressure found in {text:?}; line not used"),
            );
        }
    }
    readings
}

/// Why no reading is found in the first lines of a log.
fn without_layout(problem: &NoLayout, taken: &[(u32, String)]) -> LogError {
    let (first_line, first_text) = &taken[0];
    let line = |place: &usize| taken[*place].0;
    match problem {
        NoLayout::ClockOfTwo(place) => {
            return LogError::ClockOfTwo {
                line: line(place),
                text: shortened(&taken[*place].1),
            };
        }
        NoLayout::CommaTwice => return LogError::CommaTwice { line: *first_line },
        NoLayout::Wider {
            place,
            cells,
            names,
        } => {
            return LogError::WiderThanHeading {
                line: line(place),
                cells: *cells,
                names: *names,
            };
        }
        NoLayout::TimeInParts { place, columns } => {
            let [first, second] = columns.each_ref().map(|column| shortened(column));
            return LogError::TimeInParts {
                line: line(place),
                first,
                second,
            };
        }
        NoLayout::Thousands { place, cell } => {
            return LogError::Thousands {
                line: line(place),
                cell: shortened(cell),
            };
        }
        NoLayout::NoColumns => {}
    }
    if first_text.is_empty() {
        return LogError::LineTooLong { line: *first_line };
    }
    let kind = match first_text.trim_start().as_bytes() {
        [b'{', ..] | [b'[', b'{' | b'[', ..] => Some("objects of JSON"),
        [b'<', ..] => Some("a text with marks in angle brackets"),
        _ => None,
    };
    if let Some(kind) = kind {
        return LogError::OtherText {
            line: *first_line,
            kind,
        };
    }
    // A heading is no reading, but what stands below it should have been one.
    let remark = |text: &str| text.trim_start().starts_with(['#', '%']);
    let below = taken
        .iter()
        .find(|(_, text)| (!table::is_heading(text) || table::has_number(text)) && !remark(text));
    match below {
        Some((line, text)) => match table::unreadable(text) {
            Some(cell) => LogError::Unreadable {
                line: *line,
                cell: shortened(cell),
            },
            None => LogError::NoColumns {
                line: *line,
                text: shortened(text),
            },
        },
        None => LogError::HeadingAlone {
            line: taken.last().map_or(*first_line, |(line, _)| *line),
        },
    }
}

/// Reads a whole log, keeping its readings and not its text.
///
/// # Errors
/// See [`LogError`].
pub fn read_log<R: BufRead>(
    mut input: R,
    options: &LogOptions<'_>,
) -> Result<PressureLog, LogError> {
    let mut reader = LogReader::new();
    if let Some(column) = options.pressure_column {
        reader.choose(column);
    }
    loop {
        let piece = input.fill_buf()?;
        if piece.is_empty() {
            return reader.finish(options);
        }
        reader.push(piece);
        let used = piece.len();
        input.consume(used);
    }
}

pub(super) fn shortened(text: &str) -> String {
    const LONGEST: usize = 60;
    let text = text.trim();
    if text.chars().count() <= LONGEST {
        text.to_owned()
    } else {
        text.chars().take(LONGEST).chain(['…']).collect()
    }
}
