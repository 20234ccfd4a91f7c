//! One cell of a log: a number, a time, a unit or words; and how a line is cut into cells.

use super::{time, unit};
use crate::vacuum::units::{PressureUnit, ReadingError, read_number};

/// What stands between the cells of a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Separator {
    Tab,
    Semicolon,
    Bar,
    Comma,
    /// A comma that stands before the fraction of a clock's seconds too: `10:20:00,500,1e-5`.
    CommaAndFraction,
    /// A comma that stands inside dates too: `Nov 30, 2026 14:05:02,1e-5`.
    CommaAndDate,
    Spaces,
}

impl Separator {
    pub(super) const ALL: [Self; 5] = [
        Self::Tab,
        Self::Semicolon,
        Self::Bar,
        Self::Comma,
        Self::Spaces,
    ];

    pub(super) fn words(self) -> &'static str {
        match self {
            Self::Tab => "tab",
            Self::Semicolon => "semicolon",
            Self::Bar => "bar",
            Self::Comma | Self::CommaAndFraction | Self::CommaAndDate => "comma",
            Self::Spaces => "spaces",
        }
    }

    /// The sign between two cells; none for blanks.
    pub(super) fn sign(self) -> Option<char> {
        match self {
            Self::Tab => Some('\t'),
            Self::Semicolon => Some(';'),
            Self::Bar => Some('|'),
            Self::Comma | Self::CommaAndFraction | Self::CommaAndDate => Some(','),
            Self::Spaces => None,
        }
    }

    /// Cuts a line into trimmed cells, without their quotation marks.
    ///
    /// A separator inside quotation marks does not cut.
    pub(super) fn cut<'a>(self, line: &'a str, cells: &mut Vec<&'a str>) {
        cells.clear();
        match self {
            Self::CommaAndFraction => {
                Self::Comma.cut(line, cells);
                join(line, cells, |cells| is_fraction_behind(cells).then_some(2));
                return;
            }
            Self::CommaAndDate => {
                Self::Comma.cut(line, cells);
                join(line, cells, date_with_commas);
                return;
            }
            _ => {}
        }
        let Some(mark) = self.sign() else {
            cells.extend(line.split_ascii_whitespace().map(unquoted));
            // Nothing but letters and signs make a number or time of several words.
            if line
                .bytes()
                .any(|b| b.is_ascii_alphabetic() || matches!(b, b':' | b'*' | 0x80..))
            {
                join(line, cells, words_of_number);
                join(line, cells, words_of_time);
            }
            return;
        };
        if line.contains('"') {
            let mut quoted = false;
            let mut from = 0;
            for (at, c) in line.char_indices() {
                if c == '"' {
                    quoted = !quoted;
                } else if c == mark && !quoted {
                    cells.push(unquoted(&line[from..at]));
                    from = at + 1;
                }
            }
            cells.push(unquoted(&line[from..]));
        } else {
            cells.extend(line.split(mark).map(str::trim_ascii));
        }
    }
}

/// Whether the second cell is the fraction of the clock in the first, parted from it by a decimal comma.
pub(super) fn is_fraction_behind(cells: &[&str]) -> bool {
    let [clock, fraction, ..] = cells else {
        return false;
    };
    fraction.len() == 3
        && fraction.bytes().all(|b| b.is_ascii_digit())
        && clock.contains(':')
        && matches!(
            time::moment(clock),
            Some(time::Moment::Instant(..) | time::Moment::Clock(_))
        )
}

/// How many cells from the first on are one date with its commas: `Nov 30`, `2026 14:05:02`.
pub(super) fn date_with_commas(cells: &[&str]) -> Option<usize> {
    let first = cells.first()?;
    let starts = first
        .split([' ', '.'])
        .any(|word| time::is_month(word) || (word.len() > 1 && time::is_weekday(word)));
    if !starts || time::moment(first).is_some() {
        return None;
    }
    (2..=cells.len().min(3)).find(|count| time::moment(&cells[..*count].join(", ")).is_some())
}

/// How many cells from the first on are one number or one time with its unit, which blanks part:
/// `5.06 E-5`, `5.06 x 10^-5`, `0.5 h`, `1 h 5 min`.
fn words_of_number(cells: &[&str]) -> Option<usize> {
    const LONGEST: usize = 6;
    let (first, second) = (cells.first()?, cells.get(1)?);
    let begins = |cell: &str| cell.starts_with(|c: char| c.is_ascii_digit() || "+-−.".contains(c));
    if !begins(first) || begins(second) || first.contains(':') {
        return None;
    }
    (2..=LONGEST.min(cells.len())).rev().find(|count| {
        let text = cells[..*count].join(" ");
        read_number(&text).is_ok_and(|(_, behind)| behind.is_empty())
            || time::with_unit(&text).is_some()
    })
}

/// How many cells from the first on are the words of one time: a date with its month as a word and what
/// belongs to it, or a clock with half of the day or offset.
fn words_of_time(cells: &[&str]) -> Option<usize> {
    const LONGEST: usize = 6;
    let (first, second) = (cells.first()?, cells.get(1)?);
    let day = first.trim_end_matches(['.', ',']);
    let dated = time::is_month(first)
        || (time::is_weekday(first) && first.len() > 1)
        || (day.len() <= 2 && day.bytes().all(|b| b.is_ascii_digit()) && time::is_month(second));
    let offset =
        |cell: &str| cell.len() >= 5 && cell.starts_with(['+', '-']) && !cell.contains('.');
    let clocked = first.contains(':')
        && (["am", "pm", "utc", "gmt", "z"].contains(&second.to_ascii_lowercase().as_str())
            || offset(second));
    let longest = match (dated, clocked) {
        (true, _) => LONGEST.min(cells.len()),
        (_, true) => 2,
        _ => return None,
    };
    (2..=longest)
        .rev()
        .find(|count| time::moment(&cells[..*count].join(" ")).is_some())
}

/// Puts cells of `line` together that belong to one time: as many as `together` says, from each on.
fn join<'a>(line: &'a str, cells: &mut Vec<&'a str>, together: fn(&[&str]) -> Option<usize>) {
    for at in 0..cells.len() {
        let Some(count) = cells.get(at..).and_then(together) else {
            continue;
        };
        // Cells are parts of the line.
        let place = |cell: &str| cell.as_ptr().addr().wrapping_sub(line.as_ptr().addr());
        let last = cells[at + count - 1];
        if let Some(whole) = line.get(place(cells[at])..place(last) + last.len()) {
            cells[at] = whole;
            cells.drain(at + 1..at + count);
        }
    }
}

fn unquoted(cell: &str) -> &str {
    let cell = cell.trim();
    cell.strip_prefix('"')
        .and_then(|rest| rest.strip_suffix('"'))
        .unwrap_or(cell)
        .trim()
}

/// The kind of a cell, for finding the layout.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Kind {
    Empty,
    Number(f64),
    Moment(time::Moment),
    Unit(PressureUnit),
    TimeUnit,
    Words,
}

/// Finds the kind of a cell; with `comma`, a comma in a number is its decimal mark.
pub(super) fn kind(cell: &str, comma: bool) -> Kind {
    if cell.is_empty() {
        Kind::Empty
    } else if let Some(value) = number(cell, comma) {
        Kind::Number(value)
    } else if let Some(moment) = time::moment(cell) {
        Kind::Moment(moment)
    } else if let Some(moment) = time::in_digits(cell) {
        // Its seconds have a decimal comma, or it would be a number.
        Kind::Moment(moment)
    } else if let Some(moment) = time::with_unit(cell).filter(|_| !has_other_mark(cell, comma)) {
        Kind::Moment(moment)
    } else if let Some(unit) = unit::pressure(cell).and_then(|found| found.unit) {
        Kind::Unit(unit)
    } else if unit::time(cell).is_some() {
        Kind::TimeUnit
    } else if let Ok((value, behind)) = spelled(cell, comma)
        && (unit::pressure(&behind).is_some()
            || (behind.is_empty() && (comma || !cell.contains(','))))
    {
        Kind::Number(value)
    } else {
        Kind::Words
    }
}

/// Whether a number in a cell has a point where the decimal mark is a comma, or a comma where it is a point:
/// such a mark may stand between thousands.
pub(super) fn has_other_mark(cell: &str, comma: bool) -> bool {
    let other = if comma { b'.' } else { b',' };
    cell.as_bytes()
        .windows(3)
        .any(|three| three[1] == other && three[0].is_ascii_digit() && three[2].is_ascii_digit())
}

/// A number as people write it, and what stands behind it; with `comma`, a comma in it is its decimal
/// mark. A number with the other mark is none.
pub(super) fn spelled(cell: &str, comma: bool) -> Result<(f64, String), ReadingError> {
    if has_other_mark(cell, comma) {
        return Err(ReadingError::Ambiguous {
            text: cell.to_owned(),
        });
    }
    if comma && cell.matches(',').count() == 1 && !cell.contains('.') {
        return read_number(&cell.replacen(',', ".", 1));
    }
    read_number(cell)
}

/// A plain number, `nan` included.
pub(super) fn number(cell: &str, comma: bool) -> Option<f64> {
    let first = *cell.as_bytes().first()?;
    if !(first.is_ascii_digit() || matches!(first, b'+' | b'-' | b'.' | b',' | b'n' | b'N')) {
        return None;
    }
    if comma && cell.contains('.') {
        return None;
    }
    if comma && cell.contains(',') {
        if cell.len() > 40 {
            return None;
        }
        return cell.replacen(',', ".", 1).parse().ok();
    }
    cell.parse().ok()
}
