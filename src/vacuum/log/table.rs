//! The first lines of a log as a table: what parts its cells, where its readings begin and what its heading
//! names.

use std::mem::discriminant;

use super::cell::{Kind, Separator, date_with_commas, is_fraction_behind, kind};
use super::heading::{Heading, What};
use super::layout::NoLayout;
use super::time;

/// A line of the sample.
pub(super) struct Row<'a> {
    /// Its place in the sample.
    pub(super) place: usize,
    pub(super) cells: Vec<&'a str>,
    pub(super) kinds: Vec<Kind>,
}

/// The first lines of a log, with one line of readings or more.
pub(super) struct Table<'a> {
    pub(super) sample: &'a [&'a str],
    pub(super) separator: Separator,
    pub(super) decimal_comma: bool,
    /// Lines before the first reading.
    pub(super) preamble: usize,
    pub(super) header: Option<Header>,
    /// What the heading says of each column; of nothing where there is none.
    pub(super) headings: Vec<Heading>,
    /// Those lines that are readings, one or more.
    pub(super) readings: Vec<Row<'a>>,
}

impl<'a> Table<'a> {
    /// Parts the lines of the sample.
    pub(super) fn of(sample: &'a [&'a str]) -> Result<Self, NoLayout> {
        let (separator, decimal_comma) = parted_by(sample).ok_or(NoLayout::NoColumns)?;
        let rows = sample.iter().enumerate().map(|(place, line)| {
            let mut cells = Vec::new();
            separator.cut(line, &mut cells);
            let kinds = cells.iter().map(|cell| kind(cell, decimal_comma)).collect();
            Row {
                place,
                cells,
                kinds,
            }
        });
        let mut rows: Vec<Row<'_>> = rows.collect();
        let first = rows.iter().position(|row| is_reading(&row.kinds));
        let first = first.ok_or(NoLayout::NoColumns)?;
        let preamble = begin(&rows[..first], &rows[first].kinds);
        let width = rows[first].cells.len();
        let header = header_of(sample, preamble, separator, width);
        rows.retain(|row| is_reading(&row.kinds));
        let name = |column: usize| {
            let named = header.as_ref().and_then(|header| header.names.get(column));
            Heading::read(named.map_or("", String::as_str))
        };
        let table = Self {
            sample,
            separator,
            decimal_comma,
            preamble,
            headings: (0..width).map(name).collect(),
            header,
            readings: rows,
        };
        table.refuse_wide_rows()?;
        table.refuse_commas_of_two_kinds()?;
        Ok(table)
    }

    /// The first reading.
    pub(super) fn first(&self) -> &Row<'a> {
        &self.readings[0]
    }

    /// How many cells the first reading has.
    pub(super) fn width(&self) -> usize {
        self.headings.len()
    }

    /// The heading of a column, or its place.
    pub(super) fn name(&self, column: usize) -> String {
        match self.headings[column].text.as_str() {
            "" => format!("column {}", column + 1),
            text => text.to_owned(),
        }
    }

    /// The place of the heading, or of the first reading where there is none.
    pub(super) fn place(&self) -> usize {
        let heading = self.header.as_ref().map(|header| header.place);
        heading.unwrap_or(self.first().place)
    }

    /// How many columns the heading names, where it surely is one.
    pub(super) fn named(&self) -> Option<usize> {
        let header = self.header.as_ref()?;
        (self.separator != Separator::Spaces && is_heading(self.sample[header.place]))
            .then_some(header.names.len())
    }

    /// The column behind this one, if its cells are such in every reading.
    pub(super) fn behind(&self, column: usize, is: impl Fn(&Kind) -> bool) -> Option<usize> {
        let all = |row: &Row<'_>| row.kinds.get(column + 1).is_some_and(&is);
        (column + 1 < self.width() && self.readings.iter().all(all)).then_some(column + 1)
    }

    /// The column behind this one, if it begins with units and holds no numbers: a word among them is a unit
    /// that is not known. Lines may end before it, as where people write the unit once.
    pub(super) fn units_behind(&self, column: usize, is: fn(&Kind) -> bool) -> Option<usize> {
        let no_other = |kind: &Kind| {
            matches!(
                kind,
                Kind::Unit(_) | Kind::TimeUnit | Kind::Words | Kind::Empty
            )
        };
        let begins = self.first().kinds.get(column + 1).is_some_and(is);
        let all = |row: &Row<'_>| row.kinds.get(column + 1).is_none_or(no_other);
        (begins && self.readings.iter().all(all)).then_some(column + 1)
    }

    /// A word behind every number, under no name of its own: it stands where units do.
    pub(super) fn word_behind(&self, column: usize) -> Option<String> {
        let next = self.behind(column, |kind| *kind == Kind::Words);
        let next = next.filter(|_| self.header.is_none())?;
        let word = self.first().cells[next];
        let same = self.readings.iter().all(|row| row.cells[next] == word);
        (same && is_like_a_unit(word)).then(|| word.to_owned())
    }

    /// The numbers of a column in all readings that have one there.
    pub(super) fn numbers(&self, column: usize) -> Vec<f64> {
        let number = |row: &Row<'_>| match row.kinds.get(column) {
            Some(Kind::Number(value)) => Some(*value),
            _ => None,
        };
        self.readings.iter().filter_map(number).collect()
    }

    /// Whether all numbers of a column are written with a power of ten, as pressures over decades are.
    pub(super) fn in_powers(&self, column: usize) -> bool {
        self.readings.iter().all(|row| {
            let is_number = matches!(row.kinds.get(column), Some(Kind::Number(_)));
            is_number && row.cells[column].contains(['e', 'E', '^'])
        })
    }

    /// Refuses lines with more numbers than the heading has names: whether the names are shifted, or a
    /// comma between columns is a decimal one, nobody can tell.
    fn refuse_wide_rows(&self) -> Result<(), NoLayout> {
        let Some(names) = self.named() else {
            return Ok(());
        };
        let mut wide = self
            .readings
            .iter()
            .filter(|row| has_figures_behind(&row.cells, names));
        let first = wide.next();
        match first {
            Some(row) if 2 * (wide.count() + 1) > self.readings.len() => Err(NoLayout::Wider {
                place: row.place,
                cells: row.cells.len(),
                names,
            }),
            _ => Ok(()),
        }
    }

    /// Refuses commas that may stand both between columns and inside numbers: in every line a whole number
    /// stands before figures that may be its fraction, and no number of the log has a decimal point.
    fn refuse_commas_of_two_kinds(&self) -> Result<(), NoLayout> {
        let width = self.width();
        let names = self.header.as_ref().map(|header| header.names.len());
        if self.separator != Separator::Comma || width < 3 {
            return Ok(());
        }
        let twice = width.is_multiple_of(2)
            && names.is_none_or(|names| names * 2 == width)
            && width >= 4
            && self
                .readings
                .iter()
                .all(|row| row.cells.iter().step_by(2).all(|cell| is_whole(cell)));
        let pointed = |row: &Row<'_>| {
            let mut cells = row.cells.iter().zip(&row.kinds);
            cells.any(|(cell, kind)| matches!(kind, Kind::Number(_)) && cell.contains('.'))
        };
        let fraction = |cell: &str| {
            let (digits, power) = cell.split_once(['e', 'E']).unwrap_or((cell, "0"));
            is_whole(digits) && power.parse::<i32>().is_ok()
        };
        let pair = |at: usize| {
            self.readings.iter().all(|row| {
                let two = row.cells.get(at).zip(row.cells.get(at + 1));
                two.is_some_and(|(whole, part)| {
                    is_whole(whole.trim_start_matches(['-', '+']))
                        && fraction(part)
                        && time::day_in_digits(whole).is_none()
                })
            })
        };
        let unnamed = self.named().is_none()
            && !self.readings.iter().any(pointed)
            && (0..width - 1).any(pair);
        if twice || unnamed {
            return Err(NoLayout::CommaTwice);
        }
        Ok(())
    }
}

/// Whether behind so many cells of a line stands another with a number or time.
pub(super) fn has_figures_behind(cells: &[&str], names: usize) -> bool {
    let figures = |cell: &&str| may_be_reading(cell);
    cells
        .get(names..)
        .is_some_and(|more| more.iter().any(figures))
}

fn is_whole(cell: &str) -> bool {
    !cell.is_empty() && cell.bytes().all(|b| b.is_ascii_digit())
}

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
    const LONGEST: usize = 60;
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
                    && cell.contains(char::is_numeric)
                    && cell.chars().count() < LONGEST
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
    let failed = before.iter().rev().take_while(|row| {
        let same = |time: usize| discriminant(&row.kinds[time]) == discriminant(&first[time]);
        row.kinds.len() == first.len() && time.is_some_and(same)
    });
    before.len() - failed.count()
}

/// The names of columns and the place of their line in the sample.
pub(super) struct Header {
    pub(super) names: Vec<String>,
    pub(super) place: usize,
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
    // A sign of a remark, unless it is the name of a column that counts.
    let counted = line.trim_start().strip_prefix('#').filter(|behind| {
        let sign = separator.sign();
        sign.is_some_and(|sign| behind.trim_start_matches(' ').starts_with(sign))
    });
    let line = match counted {
        Some(_) => line,
        None => line.trim_start_matches(['#', '%', ';', ' ']),
    };
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

/// Whether a cell of a line is a number and nothing else.
pub(super) fn has_number(line: &str) -> bool {
    line.split([',', ';', '\t', '|'])
        .any(|cell| matches!(kind(cell.trim(), false), Kind::Number(_)))
}

/// Whether a line begins as a reading does, with a number or a time.
pub(super) fn may_be_reading(line: &str) -> bool {
    line.trim_start_matches(['"', ' ', '\t', '+', '-', '.'])
        .starts_with(|c: char| c.is_ascii_digit())
}
