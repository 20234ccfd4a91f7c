//! Streams a log, in pieces of any length, into times and pressures.

use std::borrow::Cow;
use std::io::BufRead;

use super::layout::{self, NoLayout};
use super::readings::Readings;
use crate::vacuum::units::{PressureUnit, TimeUnit};

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
        "line {line}: not plain text; accepted: text in UTF-8 (save a UTF-16 or spreadsheet file as CSV first)"
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
/// What the sender knows of units may come last: it is asked for by [`LogReader::finish`].
#[derive(Debug, Default)]
pub struct LogReader {
    stage: Stage,
    /// The begun line at the end of the last piece.
    begun: Vec<u8>,
    /// Whether the begun line is too long, and the rest of it passed over.
    too_long: bool,
    line: u32,
    #[cfg(test)]
    careful: bool,
    #[cfg(test)]
    quick_lines: u32,
}

#[derive(Debug)]
enum Stage {
    /// The first lines that are not blank, by which the layout is found; one too long is empty.
    Sample(Vec<(u32, String)>),
    Readings(Box<Readings>),
    Failed(LogError),
}

impl Default for Stage {
    fn default() -> Self {
        Self::Sample(Vec::with_capacity(SAMPLE))
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
        self.quick_lines
    }

    /// Takes the next piece; what is wrong with the log is told by [`LogReader::finish`].
    pub fn push(&mut self, mut bytes: &[u8]) {
        while !bytes.is_empty() && !matches!(self.stage, Stage::Failed(_)) {
            if self.begun.is_empty()
                && !self.too_long
                && let Stage::Readings(readings) = &mut self.stage
            {
                let (lines, used) = readings.take_plain(bytes, self.line, MOST_LINES);
                self.line += lines;
                #[cfg(test)]
                {
                    self.quick_lines += lines;
                }
                bytes = &bytes[used..];
            }
            match bytes.iter().position(|byte| *byte == b'\n') {
                Some(at) => {
                    let (end, rest) = bytes.split_at(at);
                    bytes = &rest[1..];
                    if self.begun.is_empty() {
                        self.end_line(end);
                    } else {
                        self.begin(end);
                        let mut line = std::mem::take(&mut self.begun);
                        self.end_line(&line);
                        line.clear();
                        self.begun = line;
                    }
                }
                None => {
                    self.begin(bytes);
                    return;
                }
            }
        }
    }

    /// The readings, with what the log itself does not say; or why there are none.
    ///
    /// # Errors
    /// See [`LogError`].
    pub fn finish(mut self, options: &LogOptions) -> Result<PressureLog, LogError> {
        if !self.begun.is_empty() || self.too_long {
            let line = std::mem::take(&mut self.begun);
            self.end_line(&line);
        }
        if let Stage::Sample(_) = self.stage {
            self.lay_out();
        }
        match self.stage {
            Stage::Readings(readings) => readings.finish(options),
            Stage::Failed(error) => Err(error),
            Stage::Sample(_) => Err(LogError::Empty),
        }
    }

    fn begin(&mut self, part: &[u8]) {
        if self.begun.len() + part.len() > LONGEST_LINE {
            self.too_long = true;
        } else {
            self.begun.extend_from_slice(part);
        }
    }

    /// Takes a line without its line feed.
    fn end_line(&mut self, bytes: &[u8]) {
        if self.line >= MOST_LINES {
            self.stage = Stage::Failed(LogError::TooLong { most: MOST_LINES });
            return;
        }
        self.line += 1;
        let line = self.line;
        let too_long = std::mem::take(&mut self.too_long) || bytes.len() > LONGEST_LINE;
        let bytes = bytes.trim_ascii_end();
        // A unit in another encoding should not cost the readings.
        let text = String::from_utf8_lossy(bytes);
        match &mut self.stage {
            Stage::Sample(_) if bytes.contains(&0) => {
                self.stage = Stage::Failed(LogError::NotText { line });
            }
            Stage::Sample(sample) => {
                let text = text.trim_start_matches('\u{feff}');
                if too_long {
                    sample.push((line, String::new()));
                } else if !text.trim().is_empty() {
                    sample.push((line, text.to_owned()));
                }
                if sample.len() == SAMPLE {
                    self.lay_out();
                }
            }
            Stage::Readings(readings) if bytes.contains(&0) => {
                readings.pass_over(line, "not plain text; line not used");
            }
            Stage::Readings(readings) if too_long => {
                readings.pass_over(line, TOO_LONG);
            }
            Stage::Readings(readings) => readings.take(line, text),
            Stage::Failed(_) => {}
        }
    }

    /// Finds the layout by the sample, and reads the sample by it.
    fn lay_out(&mut self) {
        let Stage::Sample(sample) = &mut self.stage else {
            return;
        };
        let sample = std::mem::take(sample);
        let Some((first_line, first_text)) = sample.first() else {
            self.stage = Stage::Failed(LogError::Empty);
            return;
        };
        let texts: Vec<&str> = sample.iter().map(|(_, text)| text.as_str()).collect();
        self.stage = match layout::find(&texts) {
            Ok(layout) => {
                let preamble = layout.preamble;
                let mut readings = Box::new(Readings::new(layout));
                let behind_heading = texts[..preamble]
                    .iter()
                    .rposition(|text| layout::is_heading(text))
                    .map_or(0, |heading| heading + 1);
                for (line, text) in &sample[behind_heading..preamble] {
                    if layout::may_be_reading(text) {
                        let text = shortened(text);
                        readings.pass_over(
                            *line,
                            format!("no time and pressure found in {text:?}; line not used"),
                        );
                    }
                }
                #[cfg(test)]
                if self.careful {
                    readings.go_carefully();
                }
                for (line, text) in sample.iter().skip(preamble) {
                    if text.is_empty() {
                        readings.pass_over(*line, TOO_LONG);
                    } else {
                        readings.take(*line, Cow::Borrowed(text));
                    }
                }
                Stage::Readings(readings)
            }
            Err(NoLayout::NoColumns) if first_text.is_empty() => {
                Stage::Failed(LogError::LineTooLong { line: *first_line })
            }
            Err(NoLayout::NoColumns) => {
                // A heading is no reading, but what stands below it should have been one.
                let remark = |text: &str| text.trim_start().starts_with(['#', '%']);
                let below = sample
                    .iter()
                    .find(|(_, text)| !layout::is_heading(text) && !remark(text));
                Stage::Failed(match below {
                    Some((line, text)) => LogError::NoColumns {
                        line: *line,
                        text: shortened(text),
                    },
                    None => LogError::HeadingAlone {
                        line: sample.last().map_or(*first_line, |(line, _)| *line),
                    },
                })
            }
            Err(NoLayout::ClockOfTwo(place)) => Stage::Failed(LogError::ClockOfTwo {
                line: sample[place].0,
                text: shortened(&sample[place].1),
            }),
            Err(NoLayout::CommaTwice) => Stage::Failed(LogError::CommaTwice { line: *first_line }),
        };
    }
}

/// Reads a whole log, keeping its readings and not its text.
///
/// # Errors
/// See [`LogError`].
pub fn read_log<R: BufRead>(mut input: R, options: &LogOptions) -> Result<PressureLog, LogError> {
    let mut reader = LogReader::new();
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
