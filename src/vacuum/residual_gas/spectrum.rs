//! A mass spectrum from a table or a typed peak list. Imports only the highest mass.

use std::collections::BTreeMap;

use super::patterns::HIGHEST_MASS;

/// Readings farther than this from a whole mass lie on the flank of a peak and are passed over.
const FLANK: f64 = 0.3;
/// A negative current of more than this share of the highest peak is no noise about zero.
const NEGATIVE_SHARE: f64 = 0.01;
/// Noise floor as a share of the highest peak where the spectrum has no empty masses.
const ASSUMED_FLOOR: f64 = 1e-4;
/// Masses where a vacuum shows nothing: their readings are noise.
const EMPTY: std::ops::RangeInclusive<u16> = 5..=11;

/// Ion currents by whole mass, all finite and not negative, at least one above zero.
#[derive(Clone, Debug, PartialEq)]
pub struct Spectrum {
    currents: BTreeMap<u16, f64>,
    floor: f64,
    notes: Vec<String>,
}

/// A spectrum that cannot be read, with the line where there is one.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SpectrumError {
    /// Nothing but blank lines.
    #[error(
        "the spectrum is empty; accepted: a table of mass and ion current, or peaks such as 18:4e-9 28:2.1e-9"
    )]
    Empty,
    /// No line has a mass and a current.
    #[error(
        "line {line}: no column of masses beside one of ion currents was found down to here; accepted: two columns of numbers parted by tab, semicolon, comma or blanks"
    )]
    NoColumns {
        /// Last line looked at.
        line: usize,
    },
    /// One line is wrong.
    #[error("line {line}: {problem}")]
    Line {
        /// Line, counted from 1.
        line: usize,
        /// What is wrong and what would be accepted.
        problem: String,
    },
    /// No peak at all.
    #[error("no ion current above zero; was the filament on and the right column taken")]
    AllZero,
}

impl Spectrum {
    /// Reads a table (header, comment lines and the delimiter found by itself; decimal comma where
    /// the delimiter is not a comma) or a peak list (`18:4e-9 28:2.1e-9, 32 5e-10`).
    ///
    /// Of the points of a profile scan the highest within 0.3 of each whole mass counts; a mass
    /// that comes back exactly is averaged. Slightly negative currents (within 1 % of the highest
    /// peak) are taken as zero. What was done so stands in [`Spectrum::notes`].
    pub fn read(text: &str) -> Result<Self, SpectrumError> {
        let text = text.trim_start_matches('\u{feff}');
        let mut lines = text
            .lines()
            .enumerate()
            .map(|(index, line)| (index + 1, line.trim()))
            .filter(|(_, line)| !line.is_empty() && !line.starts_with('#'));
        let Some((_, first)) = lines.clone().next() else {
            return Err(SpectrumError::Empty);
        };
        let rows = if is_peak_list(first) || lines.clone().nth(1).is_none() {
            read_list(&mut lines)?
        } else {
            read_table(lines)?
        };
        Self::from_rows(rows)
    }

    /// Ion current at a mass, `None` if the spectrum does not hold that mass.
    pub fn at(&self, mass: u16) -> Option<f64> {
        self.currents.get(&mass).copied()
    }

    /// All masses with their ion currents, ascending.
    pub fn currents(&self) -> &BTreeMap<u16, f64> {
        &self.currents
    }

    /// The current below which a peak cannot be told from noise, above zero: the mean size of the
    /// readings at masses 5 to 11 where three or more were taken, otherwise 1e-4 of the highest peak.
    pub fn floor(&self) -> f64 {
        self.floor
    }

    /// What was assumed or passed over in reading.
    pub fn notes(&self) -> &[String] {
        &self.notes
    }

    /// Mass and current of the highest peak.
    pub fn highest(&self) -> (u16, f64) {
        self.currents
            .iter()
            .map(|(&mass, &current)| (mass, current))
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .unwrap_or((1, self.floor))
    }

    fn from_rows(rows: Vec<Row>) -> Result<Self, SpectrumError> {
        let top = rows.iter().map(|row| row.current).fold(0.0, f64::max);
        if top <= 0.0 {
            return Err(SpectrumError::AllZero);
        }
        let mut notes = Vec::new();
        let negatives = rows.iter().filter(|row| row.current < 0.0).count();
        if let Some(row) = rows.iter().find(|row| row.current < -NEGATIVE_SHARE * top) {
            return Err(wrong(
                row.line,
                format!(
                    "the ion current {:e} is negative by more than noise; accepted: currents of zero or above",
                    row.current
                ),
            ));
        }
        if negatives > 0 {
            notes.push(format!(
                "{negatives} slightly negative currents were taken as zero"
            ));
        }
        let mut exact: BTreeMap<u64, (f64, f64, u32)> = BTreeMap::new();
        for row in &rows {
            let sum = exact
                .entry(row.mass.to_bits())
                .or_insert((row.mass, 0.0, 0));
            sum.1 += row.current;
            sum.2 += 1;
        }
        if exact.len() < rows.len() {
            notes.push(format!(
                "{} readings at a mass already read were averaged with the earlier ones",
                rows.len() - exact.len()
            ));
        }
        let mut currents: BTreeMap<u16, f64> = BTreeMap::new();
        let mut flanks = 0_usize;
        for &(mass, sum, count) in exact.values() {
            let whole = mass.round();
            if (mass - whole).abs() > FLANK || whole < 1.0 {
                flanks += 1;
                continue;
            }
            let current = sum / f64::from(count);
            currents
                .entry(whole as u16)
                .and_modify(|highest| *highest = highest.max(current))
                .or_insert(current);
        }
        if flanks > 0 {
            notes.push(format!(
                "{flanks} readings between whole masses were passed over"
            ));
        }
        let noise: Vec<f64> = currents
            .range(EMPTY)
            .map(|(_, current)| current.abs())
            .collect();
        let measured = noise.iter().sum::<f64>() / noise.len().max(1) as f64;
        let top = currents.values().copied().fold(0.0, f64::max);
        if top <= 0.0 {
            return Err(SpectrumError::AllZero);
        }
        let floor = if noise.len() >= 3 && measured > 0.0 {
            measured
        } else {
            notes.push("noise floor taken as 1/10000 of the highest peak".into());
            ASSUMED_FLOOR * top
        };
        currents
            .values_mut()
            .for_each(|current| *current = current.max(0.0));
        Ok(Self {
            currents,
            floor,
            notes,
        })
    }
}

struct Row {
    line: usize,
    mass: f64,
    current: f64,
}

fn wrong(line: usize, problem: String) -> SpectrumError {
    SpectrumError::Line { line, problem }
}

fn is_peak_list(line: &str) -> bool {
    let after = line.trim_start_matches(|c: char| c.is_ascii_digit());
    after.len() < line.len() && after.trim_start().starts_with([':', '='])
}

fn read_list(lines: &mut dyn Iterator<Item = (usize, &str)>) -> Result<Vec<Row>, SpectrumError> {
    let mut rows = Vec::new();
    for (line, text) in lines {
        let words: Vec<&str> = text
            .split(|c: char| c.is_whitespace() || matches!(c, ':' | '=' | ',' | ';'))
            .filter(|word| !word.is_empty())
            .collect();
        for pair in words.chunks(2) {
            let &[mass, current] = pair else {
                return Err(wrong(
                    line,
                    format!(
                        "`{}` has no partner; accepted: pairs of mass and current such as 18:4e-9, decimals with a point",
                        pair[0]
                    ),
                ));
            };
            rows.push(row(line, mass, current, false)?);
        }
    }
    Ok(rows)
}

fn read_table<'a>(
    lines: impl Iterator<Item = (usize, &'a str)> + Clone,
) -> Result<Vec<Row>, SpectrumError> {
    let mut header: Option<&str> = None;
    let mut last = 1;
    let mut layout = None;
    for (line, text) in lines.clone() {
        last = line;
        layout = ['\t', ';', ',', ' ']
            .into_iter()
            .find_map(|delimiter| columns(text, delimiter, header).map(|at| (line, delimiter, at)));
        if layout.is_some() {
            break;
        }
        header = Some(text);
    }
    let Some((start, delimiter, (mass_at, current_at))) = layout else {
        return Err(SpectrumError::NoColumns { line: last });
    };
    let comma = delimiter != ',';
    let mut rows = Vec::new();
    for (line, text) in lines.skip_while(|(line, _)| *line < start) {
        let cells: Vec<&str> = cells(text, delimiter).collect();
        let (Some(mass), Some(current)) = (cells.get(mass_at), cells.get(current_at)) else {
            return Err(wrong(
                line,
                format!(
                    "{} columns where {} are needed; accepted: a mass and an ion current",
                    cells.len(),
                    mass_at.max(current_at) + 1
                ),
            ));
        };
        rows.push(row(line, mass, current, comma)?);
    }
    Ok(rows)
}

fn cells(text: &str, delimiter: char) -> impl Iterator<Item = &str> {
    text.split(move |c: char| {
        if delimiter == ' ' {
            c.is_whitespace()
        } else {
            c == delimiter
        }
    })
    .map(|cell| cell.trim().trim_matches('"'))
    .filter(move |cell| delimiter != ' ' || !cell.is_empty())
}

/// Columns of mass and current of a data line: by the header's names, otherwise the first two numbers.
fn columns(text: &str, delimiter: char, header: Option<&str>) -> Option<(usize, usize)> {
    let comma = delimiter != ',';
    let numeric: Vec<usize> = cells(text, delimiter)
        .enumerate()
        .filter(|(_, cell)| number(cell, comma).is_some())
        .map(|(at, _)| at)
        .collect();
    let named = |names: &[&str]| {
        let found = cells(header?, delimiter)
            .position(|cell| names.iter().any(|name| cell.to_lowercase().contains(name)));
        found.filter(|at| numeric.contains(at))
    };
    let mass = named(&["mass", "m/z", "amu", "m/e"]).or(numeric.first().copied())?;
    let current = named(&["current", "intensity", "abundance", "partial", "signal"])
        .filter(|&at| at != mass)
        .or(numeric.iter().copied().find(|&at| at != mass))?;
    Some((mass, current))
}

fn number(cell: &str, comma: bool) -> Option<f64> {
    if comma && cell.contains(',') && !cell.contains('.') {
        cell.replacen(',', ".", 1).parse().ok()
    } else {
        cell.parse().ok()
    }
}

fn row(line: usize, mass: &str, current: &str, comma: bool) -> Result<Row, SpectrumError> {
    let number_at = |what: &str, cell: &str| {
        number(cell, comma)
            .filter(|value: &f64| value.is_finite())
            .ok_or_else(|| {
                wrong(
                    line,
                    format!(
                        "the {what} `{cell}` is not a finite number; accepted: such as 18 or 4e-9"
                    ),
                )
            })
    };
    let row = Row {
        line,
        mass: number_at("mass", mass)?,
        current: number_at("ion current", current)?,
    };
    if !(0.0..=f64::from(HIGHEST_MASS)).contains(&row.mass) {
        return Err(wrong(
            line,
            format!("mass {mass} is out of range; accepted: 0 to {HIGHEST_MASS}"),
        ));
    }
    if row.current.abs() > 1e30 || (row.current != 0.0 && row.current.abs() < 1e-30) {
        return Err(wrong(
            line,
            format!(
                "ion current {current} is out of range; accepted: 0, or a size from 1e-30 to 1e30"
            ),
        ));
    }
    Ok(row)
}
