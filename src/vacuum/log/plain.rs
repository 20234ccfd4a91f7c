//! The quick way through the common line: plain numbers, dates and clock times in cells between marks
//! or spaces.
//!
//! Whatever is out of the ordinary (quotation marks, units beside numbers, words, other alphabets, hours of
//! one digit) is left to the general reader, which then also finds what is wrong with it.

use super::cell::Separator;
use super::date_order::OpenDate;
use super::figures::{Digits, Figures, Known, TENS, ZEROS};
use super::layout::{Layout, TimeColumns};
use super::read::LONGEST_LINE;
use super::time::{self, Moment};
use crate::vacuum::units::PressureUnit;

/// How the cells of a line are read.
#[derive(Clone, Copy, Debug)]
pub(super) struct PlainLines {
    /// What stands between cells; none for spaces.
    mark: Option<u8>,
    /// The decimal mark.
    point: u8,
    /// What is read, from the left: how many cells are passed over before it, and what it is.
    wanted: [(usize, Cell); 3],
    /// How many of them there are.
    count: usize,
    /// How many cells may stand behind the last that is read, if the heading names them.
    more: Option<usize>,
    /// The unit of every pressure, if the log says.
    pub(super) unit: Option<PressureUnit>,
}

/// A cell that is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Cell {
    /// A number, a clock time or both a date and a clock time.
    Time,
    Date,
    Clock,
    Pressure,
}

/// Where the numbers of a line stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Shape {
    time: Time,
    pressure: Figures,
    /// Length of the line with its line feed.
    pub(super) length: usize,
}

/// Where a time stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Time {
    Number(Figures),
    Clock(Clock),
    /// A date, from one place to another, and a clock time.
    Instant(usize, usize, Clock),
}

/// Where a clock time stands: two digits each for hours, minutes and seconds, and a fraction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Clock {
    at: usize,
    fraction: Digits,
}

/// A time as it was written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum WrittenTime {
    /// A number alone.
    Number(f64),
    /// Seconds since midnight.
    Clock(f64),
    /// Seconds since 1970-01-01 00:00, less what is open of the date.
    Instant(f64, Option<OpenDate>),
}

/// The date last read: most lines have that of the line before.
#[derive(Debug, Default)]
pub(super) struct LastDate {
    text: Vec<u8>,
    seconds: f64,
    open: Option<OpenDate>,
}

impl PlainLines {
    /// `None` if the layout's lines are not of this kind.
    pub(super) fn of(layout: &Layout) -> Option<Self> {
        let mark = match layout.separator {
            Separator::Tab => Some(b'\t'),
            Separator::Semicolon => Some(b';'),
            Separator::Bar => Some(b'|'),
            Separator::Comma => Some(b','),
            Separator::CommaAndFraction | Separator::CommaAndDate => return None,
            Separator::Spaces => None,
        };
        let point = if layout.decimal_comma { b',' } else { b'.' };
        if layout.unit_column.is_some() || layout.time_unit_column.is_some() || mark == Some(point)
        {
            return None;
        }
        let pressure = (layout.pressure, Cell::Pressure);
        let mut columns = match layout.time {
            TimeColumns::One(time) => vec![(time, Cell::Time), pressure],
            TimeColumns::DateAndClock(date, clock) => {
                vec![(date, Cell::Date), (clock, Cell::Clock), pressure]
            }
        };
        columns.sort_by_key(|(column, _)| *column);
        let mut wanted = [(0, Cell::Pressure); 3];
        let mut next = 0;
        for (wanted, (column, cell)) in wanted.iter_mut().zip(&columns) {
            *wanted = (column.checked_sub(next)?, *cell);
            next = column + 1;
        }
        Some(Self {
            mark,
            point,
            wanted,
            count: columns.len(),
            more: layout.named.map(|named| named.saturating_sub(next)),
            unit: layout.unit.unit,
        })
    }

    /// Where the numbers of the line at the front of `bytes` stand, and its time and pressure; `None`
    /// for a line out of the ordinary, or one without an end or too near to that of `bytes`.
    #[inline(always)]
    pub(super) fn find(
        &self,
        bytes: &[u8],
        date: &mut LastDate,
    ) -> Option<(Shape, WrittenTime, f64)> {
        let mut at = 0;
        let (mut number, mut dated, mut clock, mut pressure) = (None, None, None, None);
        for (index, (before, cell)) in self.wanted[..self.count].iter().enumerate() {
            if index > 0 {
                self.next_cell(bytes, &mut at)?;
            }
            for _ in 0..*before {
                self.pass(bytes, &mut at)?;
            }
            at = self.past_blanks(bytes, at);
            match cell {
                // The offset of a clock.
                Cell::Pressure if self.mark.is_none() && bytes.get(at) == Some(&b'+') => {
                    return None;
                }
                Cell::Pressure => pressure = Some(Figures::find(bytes, &mut at, self.point)?),
                Cell::Date => dated = Some(self.date_cell(bytes, &mut at)?),
                Cell::Clock => clock = Some(self.clock(bytes, &mut at)?),
                Cell::Time => match bytes.get(at..at + 5)? {
                    [_, _, b':', ..] => clock = Some(self.clock(bytes, &mut at)?),
                    [_, _, b'-' | b'/' | b'.', _, _] | [_, _, _, _, b'-' | b'/']
                        if self.is_dated(bytes, at) =>
                    {
                        dated = Some((at, at + 10));
                        at += 11;
                        clock = Some(self.clock(bytes, &mut at)?);
                        at += usize::from(matches!(bytes.get(at), Some(b'Z' | b'z')));
                    }
                    _ => number = Some(Figures::find(bytes, &mut at, self.point)?),
                },
            }
        }
        let length = self.end(bytes, at)?;
        if length - 1 > LONGEST_LINE {
            return None;
        }
        let (pressure, pascals) = pressure?;
        let (time, written) = match (number, dated, clock) {
            (Some((number, value)), ..) => (Time::Number(number), WrittenTime::Number(value)),
            (None, Some((from, to)), Some(clock)) => {
                let time = Time::Instant(from, to, clock);
                (time, time.value(bytes, date)?)
            }
            (None, None, Some(clock)) => {
                let time = Time::Clock(clock);
                (time, time.value(bytes, date)?)
            }
            (None, _, None) => return None,
        };
        let shape = Shape {
            time,
            pressure,
            length,
        };
        Some((shape, written, pascals))
    }

    /// Passes over one cell and what parts it from the next.
    #[inline(always)]
    fn pass(&self, bytes: &[u8], at: &mut usize) -> Option<()> {
        if self.mark.is_none() {
            *at = self.past_blanks(bytes, *at);
            // Words may belong to the number before them, and a sign to the clock.
            if !matches!(*bytes.get(*at)?, b'0'..=b'9' | b'.') {
                return None;
            }
        }
        loop {
            let byte = *bytes.get(*at)?;
            if self.parts(byte) {
                return self.next_cell(bytes, at);
            }
            if !is_plain(byte) {
                return None;
            }
            *at += 1;
        }
    }

    /// Passes over what parts a cell from the next.
    #[inline(always)]
    fn next_cell(&self, bytes: &[u8], at: &mut usize) -> Option<()> {
        let behind = self.past_blanks(bytes, *at);
        match self.mark {
            Some(mark) if *bytes.get(behind)? == mark => *at = behind + 1,
            None if behind > *at => *at = behind,
            _ => return None,
        }
        Some(())
    }

    /// The length of the line whose last number ends at a place.
    #[inline(always)]
    fn end(&self, bytes: &[u8], at: usize) -> Option<usize> {
        let behind = self.past_blanks(bytes, at);
        match *bytes.get(behind)? {
            b'\n' => Some(behind + 1),
            b'\r' if *bytes.get(behind + 1)? == b'\n' => Some(behind + 2),
            byte if self.mark == Some(byte)
                || (self.mark.is_none() && behind > at && is_of_number(byte)) =>
            {
                Some(behind + self.rest_of_line(&bytes[behind..])?)
            }
            _ => None,
        }
    }

    /// How long the rest of a line is with its line feed; `None` for more cells than the heading names.
    fn rest_of_line(&self, bytes: &[u8]) -> Option<usize> {
        let end = bytes.iter().position(|byte| !is_plain(*byte))?;
        if let (Some(more), Some(mark)) = (self.more, self.mark) {
            let empty = |byte: &u8| *byte == mark || *byte == b' ';
            let filled = bytes[..end].iter().rposition(|byte| !empty(byte));
            let filled = filled.map_or(0, |last| last + 1);
            if bytes[..filled].iter().filter(|byte| **byte == mark).count() > more {
                return None;
            }
        }
        match bytes[end..] {
            [b'\n', ..] => Some(end + 1),
            [b'\r', b'\n', ..] => Some(end + 2),
            _ => None,
        }
    }

    /// Whether a byte parts one cell from another.
    #[inline(always)]
    fn parts(&self, byte: u8) -> bool {
        self.mark
            .map_or(matches!(byte, b' ' | b'\t'), |mark| byte == mark)
    }

    #[inline(always)]
    fn past_blanks(&self, bytes: &[u8], mut at: usize) -> usize {
        while let Some(byte) = bytes.get(at)
            && (*byte == b' ' || (*byte == b'\t' && self.mark.is_none()))
        {
            at += 1;
        }
        at
    }

    /// From where to where the date of a cell goes.
    fn date_cell(&self, bytes: &[u8], at: &mut usize) -> Option<(usize, usize)> {
        let from = *at;
        let text = bytes[from..]
            .iter()
            .take_while(|byte| is_of_date(**byte))
            .count();
        *at += text;
        (text > 0).then_some((from, *at))
    }

    /// Whether a date of ten characters and the hours of a clock time stand in a cell from a place on.
    #[inline(always)]
    fn is_dated(&self, bytes: &[u8], at: usize) -> bool {
        let Some(cell) = bytes.get(at..at + 14) else {
            return false;
        };
        let between = match cell[10] {
            b'T' | b't' | b'_' => true,
            b' ' => self.mark.is_some(),
            _ => false,
        };
        between && cell[13] == b':' && cell[..10].iter().all(|byte| is_of_date(*byte))
    }

    #[inline(always)]
    fn clock(&self, bytes: &[u8], at: &mut usize) -> Option<Clock> {
        let from = *at;
        let [h, hh, b':', m, mm, b':', s, ss] = bytes.get(from..)?.first_chunk::<8>()? else {
            return None;
        };
        if ![h, hh, m, mm, s, ss].iter().all(|b| b.is_ascii_digit()) {
            return None;
        }
        *at += 8;
        let mut fraction = Digits { at: *at, count: 0 };
        if let Some(b'.' | b',') = bytes.get(*at)
            && !self.parts(bytes[*at])
        {
            (fraction, _) = Digits::find(bytes, *at + 1)?;
            if fraction.count > 9 {
                return None;
            }
            *at = fraction.at + fraction.count;
        }
        Some(Clock { at: from, fraction })
    }
}

/// The numbers of lines of one shape, with what reading them takes worked out once.
#[derive(Debug)]
pub(super) struct KnownShape {
    time: KnownTime,
    pressure: Known,
}

#[derive(Debug)]
enum KnownTime {
    Number(Known),
    Other(Time),
}

impl Shape {
    /// How many figures stand behind the decimal mark of a time that is a number.
    pub(super) fn figures_behind_time(&self) -> usize {
        match self.time {
            Time::Number(figures) => figures.behind(),
            Time::Clock(_) | Time::Instant(..) => 0,
        }
    }

    /// `None` if its numbers are too long.
    pub(super) fn known(&self) -> Option<KnownShape> {
        Some(KnownShape {
            time: match self.time {
                Time::Number(figures) => KnownTime::Number(Known::new(figures)?),
                other => KnownTime::Other(other),
            },
            pressure: Known::new(self.pressure)?,
        })
    }
}

impl KnownShape {
    /// Time and pressure as written in the line of this shape at the front of `bytes`.
    #[inline(always)]
    pub(super) fn values(&self, bytes: &[u8], date: &mut LastDate) -> Option<(WrittenTime, f64)> {
        let time = match &self.time {
            KnownTime::Number(known) => WrittenTime::Number(known.value(bytes)?),
            KnownTime::Other(time) => time.value(bytes, date)?,
        };
        Some((time, self.pressure.value(bytes)?))
    }
}

impl Time {
    #[inline(always)]
    fn value(&self, bytes: &[u8], date: &mut LastDate) -> Option<WrittenTime> {
        Some(match self {
            Self::Number(figures) => WrittenTime::Number(figures.value(bytes)?),
            Self::Clock(clock) => WrittenTime::Clock(clock.seconds(bytes)?),
            Self::Instant(from, to, clock) => {
                let midnight = date.seconds(bytes.get(*from..*to)?)?;
                WrittenTime::Instant(midnight + clock.seconds(bytes)?, date.open)
            }
        })
    }
}

impl Clock {
    /// Seconds since midnight, as [`time::moment`] has them.
    #[inline(always)]
    fn seconds(&self, bytes: &[u8]) -> Option<f64> {
        let clock = bytes.get(self.at..)?.first_chunk::<8>()?;
        let clock = u64::from_le_bytes(*clock) ^ ZEROS;
        // Each byte with the next, as two digits; none of the three that are looked at passes 99.
        let pairs = clock.wrapping_mul(10).wrapping_add(clock >> 8);
        let two = |at: u32| (pairs >> (8 * at)) as u32 & 0xff;
        let (hours, minutes, seconds) = (two(0), two(3), two(6));
        if minutes > 59 || seconds > 60 {
            return None;
        }
        let mut part = 0.0;
        if self.fraction.count > 0 {
            let digits = self.fraction.value(bytes)?.cast_signed();
            part = digits as f64 / TENS[self.fraction.count].cast_signed() as f64;
        }
        Some(f64::from(hours * 3600 + minutes * 60 + seconds) + part)
    }
}

impl LastDate {
    /// Seconds of a date's midnight, as far as they are known; `None` for what is no date.
    #[inline(always)]
    fn seconds(&mut self, text: &[u8]) -> Option<f64> {
        if self.text != text {
            let Some(Moment::Day(date)) = time::moment(std::str::from_utf8(text).ok()?) else {
                return None;
            };
            (self.seconds, self.open) = date.midnight();
            self.text.clear();
            self.text.extend_from_slice(text);
        }
        Some(self.seconds)
    }
}

fn is_of_number(byte: u8) -> bool {
    matches!(byte, b'0'..=b'9' | b'-' | b'+' | b'.')
}

fn is_of_date(byte: u8) -> bool {
    matches!(byte, b'0'..=b'9' | b'-' | b'/' | b'.')
}

/// Whether a cell that is passed over may hold this byte: no quotation mark, no end of the line and no
/// other alphabet.
fn is_plain(byte: u8) -> bool {
    !matches!(byte, b'\n' | b'\r' | 0x0c | b'"' | 0 | 0x80..)
}
