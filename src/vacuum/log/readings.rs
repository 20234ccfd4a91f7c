//! The readings of a log whose layout is known, line by line; what the log does not say of its units
//! is put in at the end.
//!
//! Numbers without a unit of their own are kept as written, in runs of one kind: see [`Runs`].

use std::borrow::Cow;

use super::alike::Alike;
use super::cell;
use super::date_order::{self, Because, OpenDate, Order, Undecided};
use super::heading::{Rank, Unread};
use super::layout::{self, Doubt, Layout, TimeColumns, Why};
use super::plain::{LastDate, PlainLines, Shape, WrittenTime};
use super::read::{LineProblem, LogError, LogOptions, PressureLog, Problems, shortened};
use super::table;
use super::time::{self, Moment};
use super::time_column;
use super::unit::{self, Scaled};
use crate::vacuum::units::{PressureUnit, ReadingError, TimeUnit};

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
    /// Whether times carried a unit of their own.
    span_seen: bool,
    /// Whether dates had no year.
    yearless_seen: bool,
    /// Lines whose time cannot be read, and the first of them.
    unread_times: usize,
    first_unread: Option<LineProblem>,
    /// A heading within the log that says something else than the first.
    other_heading: Option<(u32, String)>,
    /// Line of the heading, or where there is none of the first reading, in doubt of each column.
    doubtful: [u32; 2],
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
            span_seen: false,
            yearless_seen: false,
            unread_times: 0,
            first_unread: None,
            other_heading: None,
            doubtful: [0; 2],
        }
    }

    /// Takes the lines of what is in doubt of the time and of the pressure.
    pub(super) fn doubt_at(&mut self, line: impl Fn(usize) -> u32) {
        let place = |doubt: &Option<Doubt>| doubt.as_ref().map_or(0, |doubt| line(doubt.place));
        self.doubtful = [
            place(&self.layout.time_doubt),
            place(&self.layout.pressure_doubt),
        ];
    }

    /// Whether the pressure's column goes by this heading or place among the columns, counted from one.
    pub(super) fn is_of(&self, column: &str) -> bool {
        layout::goes_by(column, &self.layout.pressure_name, self.layout.pressure)
    }

    /// Whether a column of pressures that is not read goes by this heading or place.
    pub(super) fn has_left_out(&self, column: &str) -> bool {
        let is = |(place, name): &(usize, String)| layout::goes_by(column, name, *place);
        !self.is_of(column) && self.layout.left_out.iter().any(is)
    }

    /// Whether all readings are the same.
    pub(super) fn stands_still(&self) -> bool {
        let mut pascals = self.log.pascals.windows(2);
        pascals.all(|two| two[0] == two[1])
    }

    /// Whether this column may be the chamber's pressure as well as another: none of another place, and none in doubt.
    pub(super) fn may_stand_for(&self, other: &Self) -> bool {
        let rank = self.layout.pressure_rank;
        let as_near = rank < Rank::Elsewhere || rank <= other.layout.pressure_rank;
        as_near && self.layout.pressure_doubt.is_none()
    }

    /// The heading of the pressure's column, or its place.
    pub(super) fn column(&self) -> &str {
        &self.layout.pressure_name
    }

    /// Lines of the sample before the first reading.
    pub(super) fn preamble(&self) -> usize {
        self.layout.preamble
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
        if self.units.first() != Some(plain.unit)
            || self.units.last() != Some(plain.unit)
            || self.other_heading.is_some()
        {
            return (0, 0);
        }
        let per_unit = self.layout.unit.pascals();
        let scale = self.layout.time_scale;
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
                    // Where times were whole so far, it may be a mark between thousands.
                    if self.layout.whole_times && shape.figures_behind_time() == 3 {
                        break;
                    }
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
                WrittenTime::Number(time) if scale.is_none() && time::may_be_in_digits(time) => {
                    break;
                }
                WrittenTime::Number(time) => {
                    let epoch = time::is_epoch(time, scale);
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
        if text.trim_ascii().is_empty() || self.other_heading.is_some() {
            return;
        }
        // The vector of the line before is used again: one allocation for the whole log.
        let mut cells: Vec<&str> = std::mem::take(&mut self.cells);
        self.layout.separator.cut(&text, &mut cells);
        self.take_cells(line, &text, &cells);
        cells.clear();
        self.cells = cells.into_iter().map(|_| "").collect();
    }

    fn take_cells(&mut self, line: u32, text: &str, cells: &[&str]) {
        let Some((seconds, elapsed, open)) = self.time_of(cells) else {
            let problem = self.not_a_time(line, text, cells);
            if self.other_heading.is_none() {
                self.log.problems.note(line, problem);
            }
            return;
        };
        if let Some(names) = self.layout.named
            && table::has_figures_behind(cells, names)
        {
            let problem = format!(
                "{} cells under a heading of {names}; line not used",
                cells.len()
            );
            self.log.problems.note(line, problem);
            return;
        }
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

    /// What is wrong with a line that has no time.
    fn not_a_time(&mut self, line: u32, text: &str, cells: &[&str]) -> String {
        let is_remark = cells
            .first()
            .is_some_and(|cell| cell.starts_with(['#', '%']));
        let plain = |text: &str| {
            text.trim_start_matches(['#', '%', ' '])
                .trim_end()
                .to_owned()
        };
        let heading = self.layout.heading.as_deref();
        if heading.is_some_and(|heading| plain(heading) == plain(text)) {
            return "the heading once more; line not used".to_owned();
        }
        let width = self.layout.pressure.max(1) + 1;
        if layout::is_other_heading(text, &self.layout, width) {
            self.other_heading = Some((line, shortened(text)));
        }
        if is_remark {
            return "a remark; line not used".to_owned();
        }
        let column = self.layout.time.last();
        let cell = cells.get(column).copied().unwrap_or("");
        let comma = self.layout.decimal_comma;
        let why = if cell::has_other_mark(cell, comma) {
            let mark = if comma { "commas" } else { "points" };
            format!(", where numbers have decimal {mark}")
        } else if self.may_be_thousands(cell) {
            ", whose mark may stand between thousands".to_owned()
        } else {
            String::new()
        };
        let problem = format!("cannot read {:?} as a time{why}", shortened(cell));
        self.unread_times += 1;
        self.first_unread.get_or_insert_with(|| LineProblem {
            line,
            problem: problem.clone(),
        });
        format!("{problem}; line not used")
    }

    /// Whether a time has a mark before three figures though the first ones were whole.
    fn may_be_thousands(&self, cell: &str) -> bool {
        let mark = if self.layout.decimal_comma { ',' } else { '.' };
        self.layout.whole_times && time_column::is_grouped(cell, mark)
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
                let scale = match self.layout.time_unit_column {
                    Some(column) => Some(unit::time(cells.get(column)?)?),
                    None => self.layout.time_scale,
                };
                let value = cell::number(cell, self.layout.decimal_comma).or_else(|| {
                    let (value, behind) = cell::spelled(cell, self.layout.decimal_comma).ok()?;
                    behind.is_empty().then_some(value)
                });
                if let Some(value) = value {
                    if !value.is_finite() {
                        return None;
                    }
                    if self.may_be_thousands(cell) {
                        let seconds = |value| time::number_seconds(value, scale);
                        let (one, thousand) = (seconds(value), seconds(1e3 * value));
                        if !time_column::goes_on(&self.log.seconds, one, thousand) {
                            return None;
                        }
                        self.layout.whole_times = false;
                    }
                    if scale.is_none()
                        && time::may_be_in_digits(value)
                        && let Some(Moment::Instant(seconds, open)) = time::in_digits(cell)
                    {
                        return Some((seconds, false, open));
                    }
                    let epoch = time::is_epoch(value, scale);
                    self.epoch_seen |= epoch;
                    self.elapsed_seen |= !epoch;
                    return Some((time::number_seconds(value, scale), !epoch, None));
                }
                if self.layout.minutes_first
                    && let Some(seconds) = time::minutes_and_seconds(cell)
                {
                    return Some((seconds, false, None));
                }
                let with_unit = || {
                    let other = cell::has_other_mark(cell, self.layout.decimal_comma);
                    time::with_unit(cell).filter(|_| !other)
                };
                let read = time::moment(cell).or_else(|| time::in_digits(cell));
                match read.or_else(with_unit)? {
                    Moment::Instant(seconds, open) => Some((seconds, false, open)),
                    Moment::Day(_) => None,
                    Moment::Yearless(seconds) => {
                        self.yearless_seen = true;
                        Some((seconds, false, None))
                    }
                    Moment::Span(seconds) => {
                        self.span_seen = true;
                        Some((seconds, false, None))
                    }
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
        let given = match self.layout.unit_column.and_then(|column| cells.get(column)) {
            Some(beside) if !beside.is_empty() => {
                let beside = unit::pressure(beside).ok_or_else(|| {
                    format!("{beside:?} is not a pressure unit known here; line not used")
                })?;
                Scaled {
                    scale: beside.scale * self.scale_alone(),
                    ..beside
                }
            }
            _ => self.layout.unit,
        };
        let (value, given) = match cell::number(cell, self.layout.decimal_comma) {
            Some(value) => (value, given),
            None => self.typed(cell, given)?,
        };
        let pascals = value * given.pascals();
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
        Ok((pascals, given.unit))
    }

    /// The scale of the heading, where it stands without a unit.
    fn scale_alone(&self) -> f64 {
        match self.layout.unit.unit {
            Some(_) => 1.0,
            None => self.layout.unit.scale,
        }
    }

    /// A pressure as people write it, with its own unit or the `given` one.
    fn typed(&self, cell: &str, given: Scaled) -> Result<(f64, Scaled), String> {
        let refused = |error: ReadingError| format!("{error}; line not used");
        let (value, behind) = cell::spelled(cell, self.layout.decimal_comma).map_err(refused)?;
        if behind.is_empty() {
            return Ok((value, given));
        }
        let own = unit::pressure(&behind).ok_or_else(|| {
            refused(ReadingError::UnknownUnit {
                unit: shortened(&behind),
                why: PressureUnit::why_not(&behind),
            })
        })?;
        // Of a scale over the column and a unit in the cell nobody can tell whether both are meant.
        let scaled = self.layout.unit.unit.is_none() && self.layout.unit.scale != 1.0
            || self.layout.unit.unit == own.unit && self.layout.unit != own;
        if scaled {
            return Err(format!(
                "{:?} has a unit, and the heading of its column another scale; line not used",
                shortened(cell)
            ));
        }
        Ok((value, own))
    }

    pub(super) fn finish(mut self, options: &LogOptions<'_>) -> Result<PressureLog, LogError> {
        if let Some((line, text)) = self.other_heading {
            return Err(LogError::OtherHeading { line, text });
        }
        self.refuse_doubts(options)?;
        self.refuse_unread_times()?;
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
        self.refuse_years()?;
        self.log.assumed = self.assumed(options);
        self.turn_round();
        Ok(self.log)
    }

    /// Turns a log round whose newest reading stands first, as historians write it.
    fn turn_round(&mut self) {
        const FEWEST: usize = 5;
        let PressureLog {
            seconds,
            pascals,
            lines,
            assumed,
            ..
        } = &mut self.log;
        // The hour that comes twice, and midnight, step the other way.
        const SELDOM: usize = 10;
        let falls = seconds.windows(2).filter(|two| two[1] < two[0]).count();
        let rises = seconds.windows(2).filter(|two| two[1] > two[0]).count();
        if SELDOM * rises > falls || falls < FEWEST {
            return;
        }
        if rises == 0 && counts_down(&self.layout.time_name) {
            let first = seconds.first().copied().unwrap_or_default();
            seconds.iter_mut().for_each(|time| *time = first - *time);
            assumed.push(format!(
                "the times of {} count down; read as times from the first line on",
                self.layout.time_name
            ));
            return;
        }
        if self.clocks.last.is_some() {
            let (mut midnights, mut before) = (0.0, f64::INFINITY);
            for time in seconds.iter_mut() {
                if *time > before + 43_200.0 {
                    midnights += 86_400.0;
                }
                before = *time;
                *time -= midnights;
            }
        }
        seconds.reverse();
        pascals.reverse();
        lines.reverse();
        assumed.push(
            "the newest reading stands first; read from the last line to the first".to_owned(),
        );
    }

    /// Refuses what is not understood of the columns, unless the sender says it.
    fn refuse_doubts(&self, options: &LogOptions<'_>) -> Result<(), LogError> {
        let chosen = options.pressure_column.is_some();
        let unsaid = self.units.0.is_empty() || self.units.0.iter().any(|(_, unit)| unit.is_none());
        let [time_line, pressure_line] = self.doubtful;
        if let Some(doubt) = &self.layout.pressure_doubt {
            let column = shortened(&doubt.column);
            let line = pressure_line;
            return match &doubt.why {
                // A pressure with a unit of its own needs none of the heading.
                Why::Unread(Unread::Unit(_)) if !unsaid && self.layout.unit.unit.is_none() => {
                    Ok(())
                }
                Why::Unread(_) if chosen && options.pressure_unit.is_some() => Ok(()),
                Why::Unread(Unread::Unit(what)) => Err(LogError::UnknownPressureUnit {
                    line,
                    column,
                    what: shortened(what),
                }),
                Why::Unread(Unread::Scale(what)) => Err(LogError::ScaleApart {
                    line,
                    column,
                    what: shortened(what),
                }),
                Why::Unread(Unread::Second(first, second)) => Err(LogError::TwoUnits {
                    line,
                    column,
                    first: shortened(first),
                    second: shortened(second),
                }),
                Why::NotMeasured if chosen => Ok(()),
                Why::NotMeasured => Err(LogError::NotMeasured { line, column }),
                // Asked of times alone.
                Why::Counts | Why::PackedClock => Ok(()),
                Why::Other(what) => Err(LogError::NoPressure { line, column, what }),
            };
        }
        let Some(doubt) = self
            .layout
            .time_doubt
            .as_ref()
            .filter(|_| self.elapsed_seen)
        else {
            return Ok(());
        };
        let (line, column) = (time_line, shortened(&doubt.column));
        match &doubt.why {
            Why::Other(what) => Err(LogError::NoTime { line, column, what }),
            Why::Unread(Unread::Scale(what)) => Err(LogError::ScaleApart {
                line,
                column,
                what: shortened(what),
            }),
            Why::Unread(Unread::Unit(what)) if options.time_unit.is_none() => {
                Err(LogError::UnknownTimeUnit {
                    line,
                    column,
                    what: shortened(what),
                })
            }
            Why::Counts if options.time_unit.is_none() => Err(LogError::MayCount { line, column }),
            Why::PackedClock if options.time_unit.is_none() => {
                Err(LogError::MayBeClock { line, column })
            }
            Why::Unread(_) | Why::NotMeasured | Why::Counts | Why::PackedClock => Ok(()),
        }
    }

    /// Refuses a log of which many lines have no time that can be read: what is left says less than it seems.
    fn refuse_unread_times(&mut self) -> Result<(), LogError> {
        const FEW: usize = 10;
        let read = self.log.seconds.len();
        match self.first_unread.take() {
            Some(first) if self.unread_times > FEW.max(read / 10) && read > 1 => {
                Err(LogError::TimesUnread {
                    line: first.line,
                    problem: first.problem,
                    others: self.unread_times - 1,
                })
            }
            _ => Ok(()),
        }
    }

    /// Refuses dates without a year that pass the end of a year or of February.
    fn refuse_years(&self) -> Result<(), LogError> {
        // Days of the leap year that such dates are counted in.
        const LEAP_DAY: f64 = 59.0 * 86_400.0;
        const MARCH: f64 = 60.0 * 86_400.0;
        const HALF_A_YEAR: f64 = 183.0 * 86_400.0;
        let seconds = &self.log.seconds;
        let passes = |two: &[f64]| {
            (two[0] < LEAP_DAY && two[1] >= MARCH) || (two[0] - two[1]).abs() > HALF_A_YEAR
        };
        match seconds.windows(2).position(passes) {
            Some(place) if self.yearless_seen => Err(LogError::YearMissing {
                line: self.log.lines[place + 1],
            }),
            _ => Ok(()),
        }
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
    fn give_units(&mut self, options: &LogOptions<'_>) -> Result<(), LogError> {
        let log = &mut self.log;
        let without = self.units.0.iter().find(|(_, unit)| unit.is_none());
        if let (Some((index, _)), None) = (without, options.pressure_unit) {
            return Err(LogError::UnitMissing {
                line: log.lines[*index],
                heading: match &self.layout.heading {
                    Some(_) => format!("{:?}", shortened(&self.layout.pressure_name)),
                    None => "a heading".to_owned(),
                },
            });
        }
        for (run, unit) in self.units.each(&mut log.pascals) {
            if let (None, Some(given)) = (unit, options.pressure_unit) {
                for pressure in run {
                    // A number so large that it is none in pascals is none of a chamber either.
                    *pressure =
                        (*pressure * given.pascals_per_unit()).clamp(f64::MIN_POSITIVE, f64::MAX);
                }
            }
        }
        let said = self.layout.time_scale.is_some() || self.layout.time_unit_column.is_some();
        let scale = match (self.layout.time_scale, options.time_unit) {
            _ if said => None,
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
    fn assumed(&self, options: &LogOptions<'_>) -> Vec<String> {
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
        let name = &layout.pressure_name;
        let columns = format!("time from {}, pressure from {name:?}", layout.time_name);
        assumed.push(if layout.passed_over.is_empty() {
            columns
        } else {
            let others: Vec<String> = layout
                .passed_over
                .iter()
                .map(|o| format!("{o:?}"))
                .collect();
            format!(
                "{columns}; not from {}, of which another may be named instead",
                others.join(", ")
            )
        });
        if let (Some(unit), true) = (layout.unit.unit, layout.unit.scale != 1.0) {
            assumed.push(format!(
                "a one under {name:?} is {} {unit}",
                plain(layout.unit.scale)
            ));
        }
        if let (Some(unit), Some(other)) =
            (layout.unit.unit, layout.other_unit.and_then(|o| o.unit))
        {
            assumed.push(format!(
                "pressures are in {unit}, as the heading says, and not in {other} as said above it"
            ));
        }
        if let (Some(unit), Some(Some(own))) = (layout.unit.unit, self.units.first())
            && own != unit
        {
            assumed.push(format!(
                "pressures are in {own}, as stands beside them, and not in {unit} as the heading says"
            ));
        }
        if let (None, None, Some(unit)) =
            (layout.unit.unit, layout.unit_column, options.pressure_unit)
        {
            assumed.push(match &layout.pressure_doubt {
                Some(Doubt {
                    why: Why::Unread(Unread::Unit(what)),
                    column,
                    ..
                }) => format!(
                    "{what:?} of {column:?} is no unit of pressure known here; its numbers are in {unit}, as given"
                ),
                _ => format!("pressures without a unit are in {unit}, as given"),
            });
        }
        assumed.extend(self.assumed_of_time(options.time_unit));
        if layout.minutes_first {
            assumed.push("times of two parts are minutes and seconds".to_owned());
        }
        if self.epoch_seen {
            assumed.push(
                "large time numbers are epoch times, or ticks of 100 ns, by their size".to_owned(),
            );
        }
        if self.yearless_seen {
            assumed.push("dates without a year are all of one year".to_owned());
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

    /// What was guessed of the unit of elapsed times, and which of the log's and the sender's was taken.
    fn assumed_of_time(&self, given: Option<TimeUnit>) -> Option<String> {
        let layout = &self.layout;
        let said = layout
            .time_unit_column
            .is_none()
            .then_some(layout.time_scale)
            .flatten();
        match (given, said) {
            (Some(given), _) if !self.elapsed_seen => Some(format!(
                "times say for themselves what they are, so that {given}, as chosen, was not used"
            )),
            (Some(given), Some(said)) if layout::seconds_in(given) != said => Some(format!(
                "elapsed times are in {}, as the log itself says, and not in {given} as chosen",
                match TimeUnit::ALL.into_iter().find(|unit| layout::seconds_in(*unit) == said) {
                    Some(unit) => unit.to_string(),
                    None => format!("units of {} s", plain(said)),
                }
            )),
            (Some(given), None) if layout.time_unit_column.is_some() => Some(format!(
                "each time has its unit beside it, so that {given}, as chosen, was not used"
            )),
            (Some(given), None) => layout.time_doubt.as_ref().map(|doubt| {
                let column = &doubt.column;
                match &doubt.why {
                    Why::Unread(Unread::Unit(what)) => format!(
                        "{what:?} of {column:?} is no unit of time known here; elapsed times are in {given}, as given"
                    ),
                    _ => format!("elapsed times of {column:?} are in {given}, as given"),
                }
            }),
            (None, None) if self.elapsed_seen && layout.time_unit_column.is_none() => {
                Some(if layout.spreadsheet_days {
                    "times are days as spreadsheets count them, since they read so; give their unit if they are another".to_owned()
                } else if self.span_seen {
                    "elapsed times without a unit, among others with one, are in seconds".to_owned()
                } else {
                    "elapsed times without a unit are in seconds".to_owned()
                })
            }
            _ => None,
        }
    }
}

/// Whether a heading names the time that is left.
fn counts_down(heading: &str) -> bool {
    let heading = heading.to_lowercase();
    let mut words = heading.split(|letter: char| !letter.is_alphanumeric());
    words.any(|word| {
        matches!(
            word,
            "remaining" | "left" | "countdown" | "restzeit" | "restante"
        )
    })
}

/// A number without zeros that say nothing.
fn plain(value: f64) -> String {
    if (0.01..1e5).contains(&value) {
        value.to_string()
    } else {
        format!("{value:e}")
    }
}
