//! One cell of a log: a number, a time, a unit or words; and how a line is cut into cells.

use super::time;
use crate::vacuum::units::{PressureUnit, read_pressure};

/// What stands between the cells of a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Separator {
    Tab,
    Semicolon,
    Bar,
    Comma,
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
            Self::Comma => "comma",
            Self::Spaces => "spaces",
        }
    }

    /// Cuts a line into trimmed cells, without their quotation marks.
    ///
    /// A separator inside quotation marks does not cut.
    pub(super) fn cut<'a>(self, line: &'a str, cells: &mut Vec<&'a str>) {
        cells.clear();
        let mark = match self {
            Self::Tab => '\t',
            Self::Semicolon => ';',
            Self::Bar => '|',
            Self::Comma => ',',
            Self::Spaces => {
                cells.extend(line.split_ascii_whitespace().map(unquoted));
                return;
            }
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
    } else if let Ok(unit) = cell.parse() {
        Kind::Unit(unit)
    } else if let Ok(typed) = read_pressure(cell, None) {
        Kind::Number(typed.value)
    } else {
        Kind::Words
    }
}

/// A plain number, `nan` included.
pub(super) fn number(cell: &str, comma: bool) -> Option<f64> {
    let first = *cell.as_bytes().first()?;
    if !(first.is_ascii_digit() || matches!(first, b'+' | b'-' | b'.' | b',' | b'n' | b'N')) {
        return None;
    }
    if comma && cell.contains(',') {
        if cell.len() > 40 || cell.contains('.') {
            return None;
        }
        return cell.replacen(',', ".", 1).parse().ok();
    }
    cell.parse().ok()
}
