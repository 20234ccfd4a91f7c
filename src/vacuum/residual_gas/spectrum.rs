//! A mass spectrum from a table or a typed peak list. Imports only the highest mass.

use std::collections::{BTreeMap, BTreeSet};

use super::patterns::HIGHEST_MASS;
use super::unit::pressure_unit;
use crate::vacuum::units::{PressureUnit, read_number};

/// Readings farther than this from a whole mass lie on the flank of a peak and are passed over.
const FLANK: f64 = 0.3;
/// A negative current of more than this share of the highest peak is no noise about zero.
const NEGATIVE_SHARE: f64 = 0.01;
/// A mass that comes back has to agree within this many times, where it is more than this share of the
/// highest peak (common practice, no source: a chamber changes less between scans of one file).
const REPEAT_AGREES: f64 = 3.0;
const REPEAT_WORTH: f64 = 0.01;
/// Noise floor as a share of the highest peak where the spectrum has no empty masses.
const ASSUMED_FLOOR: f64 = 1e-4;
/// A peak must stand this many noise floors high to count.
const STANDS: f64 = 3.0;
/// Where currents of zero stand beside others, the analyser shows nothing below the lowest current shown,
/// or, in a list of a few high peaks, below this share of the highest (common practice, no source).
const MOST_HIDDEN: f64 = 0.01;
/// Masses where a vacuum shows nothing: their readings are noise.
const EMPTY: std::ops::RangeInclusive<u16> = 5..=11;

/// Ion currents by whole mass, all finite and not negative, at least one above zero.
#[derive(Clone, Debug, PartialEq)]
pub struct Spectrum {
    currents: BTreeMap<u16, f64>,
    floor: f64,
    shown_from: f64,
    unit: Option<PressureUnit>,
    notes: Vec<String>,
}

/// A spectrum that cannot be read, with the line where it is first wrong.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{}{problem}", place(*.line))]
pub struct SpectrumError {
    /// Line, counted from 1; none for a spectrum without any.
    pub line: Option<usize>,
    /// What is wrong.
    pub problem: String,
    /// What would be accepted.
    pub accepted: String,
}

fn place(line: Option<usize>) -> String {
    line.map_or_else(String::new, |line| format!("line {line}: "))
}

impl Spectrum {
    /// Reads a table (header, comment lines and the delimiter found by itself; decimal comma where
    /// the delimiter is not a comma) or a peak list (`18:4e-9 28:2.1e-9, 32 5e-10`, `M18=4e-9`). A unit or a per cent
    /// sign may follow each current, the same on every line.
    ///
    /// Of the points of a profile scan the highest within 0.3 of each whole mass counts; a mass
    /// that comes back exactly, as in a second scan, is averaged if it agrees within three times, and
    /// refused if not. Slightly negative currents (within 1 % of the highest
    /// peak) are taken as zero. What was done so stands in [`Spectrum::notes`], with the line.
    pub fn read(text: &str) -> Result<Self, SpectrumError> {
        let text = text.trim_start_matches('\u{feff}');
        let written: Vec<(usize, &str)> = text
            .lines()
            .enumerate()
            .map(|(index, line)| (index + 1, line.trim()))
            .filter(|(_, line)| !line.is_empty())
            .collect();
        let below = written.iter().skip(1).map(|(_, line)| *line).chain([""]);
        let mut lines = written
            .iter()
            .zip(below)
            .filter(|((_, line), below)| !line.starts_with('#') || is_heading(line, below))
            .map(|(line, _)| *line);
        let Some((_, first)) = lines.clone().next() else {
            return Err(SpectrumError {
                line: None,
                problem: "the spectrum is empty".to_owned(),
                accepted: EITHER.to_owned(),
            });
        };
        let (rows, scale) = if is_peak_list(first) || lines.clone().nth(1).is_none() {
            (read_list(&mut lines)?, None)
        } else {
            read_table(lines)?
        };
        let mut spectrum = Self {
            unit: pressure_unit(text),
            ..Self::from_rows(rows)?
        };
        spectrum.notes.extend(scale);
        Ok(spectrum)
    }

    /// The unit of its figures where they are partial pressures, as the heading or the figures say.
    pub fn unit(&self) -> Option<PressureUnit> {
        self.unit
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

    /// The current from which a peak counts: three times [`Spectrum::floor`], and no less than the lowest
    /// current shown where others are shown as zero, since an analyser that shows zero below its
    /// threshold does not say that nothing is there.
    pub fn stands_from(&self) -> f64 {
        (STANDS * self.floor).max(self.shown_from)
    }

    /// The error of a current for which its own height says nothing, above zero: the noise, or, where
    /// currents are shown as zero, that of a number anywhere below the threshold (its root mean square).
    pub fn least_error(&self) -> f64 {
        self.floor.max(self.shown_from / 3_f64.sqrt())
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
            return Err(nothing_above_zero(&rows));
        }
        let mut notes = Vec::new();
        if let Some(row) = rows.iter().find(|row| row.current < -NEGATIVE_SHARE * top) {
            return Err(wrong(
                row.line,
                format!(
                    "the ion current {:e} is negative by more than noise",
                    row.current
                ),
                "currents of zero or above",
            ));
        }
        let mut negative = rows.iter().filter(|row| row.current < 0.0);
        if let Some(first) = negative.next() {
            notes.push(format!(
                "{} slightly negative currents were taken as zero, the first on line {}",
                negative.count() + 1,
                first.line
            ));
        }
        let exact = repeats(&rows, top, &mut notes)?;
        let mut currents: BTreeMap<u16, f64> = BTreeMap::new();
        let mut flanks = 0_usize;
        for &Repeated {
            mass, sum, count, ..
        } in exact.values()
        {
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
            return Err(nothing_above_zero(&rows));
        }
        let floor = if noise.len() >= 3 && measured > 0.0 {
            measured
        } else {
            notes.push("noise floor taken as 1/10000 of the highest peak".into());
            ASSUMED_FLOOR * top
        };
        let shown_from = threshold(&currents, top);
        if shown_from > 0.0 {
            notes.push(format!(
                "a current of zero was taken as anything below {shown_from:.1e}, the lowest shown or 1 % of the highest peak"
            ));
        }
        currents
            .values_mut()
            .for_each(|current| *current = current.max(0.0));
        Ok(Self {
            currents,
            floor,
            shown_from,
            unit: None,
            notes,
        })
    }
}

/// Below which current the analyser shows zero; 0 where it shows no zero, or goes below it.
fn threshold(currents: &BTreeMap<u16, f64>, top: f64) -> f64 {
    let cut = currents.values().any(|&current| current == 0.0)
        && currents.values().all(|&current| current >= 0.0);
    let shown = currents.values().filter(|current| **current > 0.0);
    if cut {
        shown.copied().fold(MOST_HIDDEN * top, f64::min)
    } else {
        0.0
    }
}

const EITHER: &str = "a table of mass and ion current, or peaks such as 18:4e-9 28:2.1e-9";

/// A mass read once or more.
struct Repeated {
    mass: f64,
    sum: f64,
    count: u32,
    /// Where it stood first, and its current there.
    line: usize,
    first: f64,
}

/// Every mass by its exact number; an error where one comes back with quite another current.
fn repeats(
    rows: &[Row],
    top: f64,
    notes: &mut Vec<String>,
) -> Result<BTreeMap<u64, Repeated>, SpectrumError> {
    let mut exact: BTreeMap<u64, Repeated> = BTreeMap::new();
    let mut first_repeat = None;
    for row in rows {
        let Some(known) = exact.get_mut(&row.mass.to_bits()) else {
            exact.insert(
                row.mass.to_bits(),
                Repeated {
                    mass: row.mass,
                    sum: row.current,
                    count: 1,
                    line: row.line,
                    first: row.current,
                },
            );
            continue;
        };
        let (low, high) = (known.first.min(row.current), known.first.max(row.current));
        if high > REPEAT_WORTH * top && high > REPEAT_AGREES * low {
            return Err(wrong(
                row.line,
                format!(
                    "mass {} was read before, on line {}, with {:e}, and now with {:e}",
                    row.mass, known.line, known.first, row.current
                ),
                "each mass once, or repeated scans that agree within three times",
            ));
        }
        known.sum += row.current;
        known.count += 1;
        first_repeat.get_or_insert((row.line, row.mass, known.line));
    }
    if let Some((line, mass, before)) = first_repeat {
        notes.push(format!(
            "{} readings at a mass read before were averaged with the earlier ones, the first on line {line} (mass {mass}, read before on line {before})",
            rows.len() - exact.len()
        ));
    }
    Ok(exact)
}

/// No current above zero: where the first that is not stands.
fn nothing_above_zero(rows: &[Row]) -> SpectrumError {
    let lowest = rows.iter().find(|row| row.current < 0.0);
    match (lowest, rows.first()) {
        (Some(row), _) => wrong(
            row.line,
            format!(
                "the ion current {:e} is negative, and no line has one above zero",
                row.current
            ),
            "ion currents above zero, as they are measured and not as logarithms; a collector that reads negative is turned about first",
        ),
        (None, row) => wrong(
            row.map_or(1, |row| row.line),
            "from here on no ion current is above zero".to_owned(),
            "the column of the ion currents, of a scan taken with the filament on",
        ),
    }
}

struct Row {
    line: usize,
    mass: f64,
    current: f64,
}

fn wrong(line: usize, problem: String, accepted: impl Into<String>) -> SpectrumError {
    SpectrumError {
        line: Some(line),
        problem,
        accepted: accepted.into(),
    }
}

fn is_peak_list(line: &str) -> bool {
    let line = bare_mass(line);
    let after = line.trim_start_matches(|c: char| c.is_ascii_digit());
    after.len() < line.len() && after.trim_start().starts_with([':', '='])
}

/// A mass without the letters that a display sets before it: `M18`, `m/z18`, `amu18`.
fn bare_mass(word: &str) -> &str {
    let figures = word.trim_start_matches(|c: char| c.is_ascii_alphabetic() || c == '/');
    let letters = word[..word.len() - figures.len()].to_ascii_lowercase();
    if ["m", "m/z", "amu", "mass"].contains(&letters.as_str()) && figures.starts_with(digit) {
        figures
    } else {
        word
    }
}

fn read_list(lines: &mut dyn Iterator<Item = (usize, &str)>) -> Result<Vec<Row>, SpectrumError> {
    let mut rows = Vec::new();
    let mut units = Units::default();
    for (line, text) in lines {
        let words = words(text);
        let mut words = words.iter().peekable();
        while let Some(mass) = words.next() {
            let mass = bare_mass(mass);
            let Some(current) = words.next() else {
                return Err(wrong(
                    line,
                    format!("`{mass}` has no partner"),
                    "pairs of mass and current such as 18:4e-9 28:2.1e-9",
                ));
            };
            let beside = words.next_if(|word| unit_of(word).is_some());
            // A current taken for a mass is the sign of a comma that was meant otherwise.
            if !mass.chars().all(|c| c.is_ascii_digit() || c == '.') {
                return Err(wrong(
                    line,
                    format!("`{mass}` stands where a mass is expected"),
                    "pairs of mass and current such as 18:4e-9 28:2.1e-9, decimals with a point",
                ));
            }
            rows.push(row(
                line,
                mass,
                current,
                beside.map(String::as_str),
                true,
                &mut units,
            )?);
        }
    }
    Ok(rows)
}

/// The numbers of a peak list, mass after current after mass. A comma is a decimal one where no colon
/// follows it before the next comma or blank, or where words without a comma stand beside it.
fn words(text: &str) -> Vec<String> {
    let mut spaced = tight(&text.replace([';', '\t'], " "));
    for sign in [':', '='] {
        let parts: Vec<&str> = spaced.split(sign).map(str::trim).collect();
        spaced = parts.join(":");
    }
    let words: Vec<&str> = spaced
        .split_whitespace()
        .map(|word| word.trim_matches(','))
        .filter(|word| !word.is_empty())
        .collect();
    let mut loose = words.iter().filter(|word| !word.contains(':'));
    let decimal =
        loose.clone().any(|word| word.contains(',')) && loose.any(|word| !word.contains(','));
    let mut found: Vec<String> = Vec::new();
    for word in words {
        if !word.contains(':') {
            if decimal && number(word, true).is_some() {
                found.push(word.to_owned());
            } else {
                found.extend(
                    word.split(',')
                        .filter(|piece| !piece.is_empty())
                        .map(str::to_owned),
                );
            }
            continue;
        }
        let mut pieces = word.split(',').peekable();
        while let Some(piece) = pieces.next() {
            let (mass, current) = piece.split_once(':').unwrap_or((piece, ""));
            found.push(mass.to_owned());
            match pieces.next_if(|next| !next.contains(':')) {
                Some(decimals) => found.push(format!("{current},{decimals}")),
                None if current.is_empty() => {}
                None => found.push(current.to_owned()),
            }
        }
    }
    found
}

/// The text with no blanks before the power of ten of a number: `4 E-9` and `4 x 10^-9` become one word.
fn tight(text: &str) -> String {
    let mut tight = String::with_capacity(text.len());
    let mut sign = false;
    for word in text.split_whitespace() {
        let after_number = tight.ends_with(|c: char| c.is_ascii_digit() || c == '.');
        let power = word.starts_with(['e', 'E', 'd', 'D', 'x', 'X', '×', '*', '·']);
        let figures = word
            .chars()
            .skip(1)
            .all(|c| c.is_ascii_digit() || "+-−^*⁻⁺⁰¹²³⁴⁵⁶⁷⁸⁹".contains(c));
        let belongs = after_number && power && figures;
        if !(tight.is_empty() || belongs || sign) {
            tight.push(' ');
        }
        tight.push_str(word);
        sign = belongs && word.chars().count() == 1;
    }
    tight
}

/// How a table is laid out.
struct Layout {
    line: usize,
    delimiter: char,
    cells: usize,
    mass: usize,
    current: usize,
}

/// The rows of a table, and what is to be noted of a scale in its heading.
fn read_table<'a>(
    lines: impl Iterator<Item = (usize, &'a str)> + Clone,
) -> Result<(Vec<Row>, Option<String>), SpectrumError> {
    let mut header: Option<&str> = None;
    let mut header_line = 1;
    let mut layout = None;
    for (line, text) in lines.clone() {
        let below = lines.clone().find(|(below, _)| *below > line);
        if below.is_some_and(|(_, below)| is_trend(text, below)) {
            return Err(wrong(
                line,
                "the masses stand side by side here, with one scan a line below: a trend"
                    .to_owned(),
                "one scan alone, each mass with its ion current on a line of its own, or peaks such as 18:4e-9 28:2.1e-9",
            ));
        }
        layout = delimiters(text).find_map(|delimiter| {
            let (mass, current) = columns(text, delimiter, header)?;
            let cells = cells(text, delimiter).len();
            // A line that begins with words is one of data only above another such line.
            let is_data = text
                .trim_start_matches(['"', '+', '-', '.'])
                .starts_with(digit)
                || below.is_none_or(|(_, below)| {
                    columns(below, delimiter, header) == Some((mass, current))
                });
            is_data.then_some(Layout {
                line,
                delimiter,
                cells,
                mass,
                current,
            })
        });
        if layout.is_some() {
            break;
        }
        header = Some(text);
        header_line = line;
    }
    let Some(mut layout) = layout else {
        return Err(no_columns(lines));
    };
    layout.leave_out_steps(header, lines.clone());
    let scale = match header {
        Some(header) => scale(header, header_line, &layout)?,
        None => None,
    };
    if let Some(header) = header.filter(|header| names_columns(header)) {
        let named = cells(header, layout.delimiter).len();
        if layout.delimiter == ',' && named != layout.cells {
            return Err(wrong(
                layout.line,
                format!(
                    "{} columns parted by commas where the header names {named}, so decimal commas cannot be told from the others",
                    layout.cells
                ),
                "decimals with a point, or columns parted by tab or semicolon",
            ));
        }
    }
    if layout.delimiter == ',' && layout.cells > 2 {
        refuse_decimal_commas(lines.clone(), &layout)?;
    }
    let comma = layout.delimiter != ',';
    let mut rows = Vec::new();
    let mut units = Units::default();
    for (line, text) in lines.skip_while(|(line, _)| *line < layout.line) {
        let cells = cells(text, layout.delimiter);
        let both = cells.get(layout.mass).zip(cells.get(layout.current));
        let Some((mass, current)) = both.filter(|_| comma || cells.len() == layout.cells) else {
            return Err(wrong(
                line,
                format!(
                    "{} where line {} has {}, parted by {}",
                    columned(cells.len()),
                    layout.line,
                    layout.cells,
                    parted(layout.delimiter)
                ),
                "the same columns and the same delimiter on every line",
            ));
        };
        let beside = cells.get(layout.current + 1).map(String::as_str);
        let beside = beside.filter(|cell| unit_of(cell).is_some());
        rows.push(row(line, mass, current, beside, comma, &mut units)?);
    }
    Ok((rows, scale))
}

/// Whether a line that begins with a hash names the columns of the table that begins below it.
fn is_heading(line: &str, below: &str) -> bool {
    let names = line.trim_start_matches('#');
    let as_many = |delimiter: &char| {
        let named = cells(line, *delimiter).len();
        named > 1 && named == cells(below, *delimiter).len()
    };
    names_columns(names) && delimiters(below).any(|delimiter| as_many(&delimiter))
}

impl Layout {
    /// Takes what goes up by even steps, as a column that counts the rows or the masses does, for no current
    /// where there is another column, and the one beside the currents for the masses where no heading names them.
    fn leave_out_steps<'a>(
        &mut self,
        header: Option<&str>,
        lines: impl Iterator<Item = (usize, &'a str)>,
    ) {
        const LOOKED_AT: usize = 50;
        const FEWEST: usize = 4;
        let comma = self.delimiter != ',';
        let rows: Vec<Vec<Option<f64>>> = lines
            .skip_while(|(line, _)| *line < self.line)
            .take(LOOKED_AT)
            .map(|(_, text)| {
                let cells = cells(text, self.delimiter);
                cells.iter().map(|cell| number(cell, comma)).collect()
            })
            .collect();
        let column = |at: usize| -> Option<Vec<f64>> {
            rows.iter()
                .map(|row| row.get(at).copied().flatten())
                .collect()
        };
        let steps_evenly = |at: usize| {
            column(at).is_some_and(|values| {
                let step = values.get(1).map_or(0.0, |second| second - values[0]);
                values.len() >= FEWEST
                    && step > 0.0
                    && values
                        .windows(2)
                        .all(|two| (two[1] - two[0] - step).abs() < 1e-6 * step)
            })
        };
        if !steps_evenly(self.current) {
            return;
        }
        let mut others = (0..self.cells).filter(|&at| at != self.mass && column(at).is_some());
        let Some(current) = others.find(|&at| !steps_evenly(at)) else {
            return;
        };
        let is_named = named(header, self.delimiter, &MASS_NAMES) == Some(self.mass);
        if !is_named && current > 0 && steps_evenly(current - 1) {
            self.mass = current - 1;
        }
        self.current = current;
    }
}

/// What is to be noted of a scale in the heading of the currents, of which only the ratios are used. One of partial
/// pressures is refused: whether they were multiplied by it, nobody can tell.
fn scale(header: &str, line: usize, layout: &Layout) -> Result<Option<String>, SpectrumError> {
    let names = cells(header, layout.delimiter);
    let name = names
        .get(layout.current)
        .filter(|_| names.len() == layout.cells);
    let scale = name.and_then(|name| {
        let words = name.split(|c: char| c.is_whitespace() || "()[]{}/*".contains(c));
        let is_scale = |word: &&str| {
            let figures = word.trim_start_matches(['x', 'X', '×', '·']);
            let power = figures.trim_start_matches(['e', 'E']);
            ["10^", "10-", "10⁻"]
                .iter()
                .any(|ten| figures.starts_with(ten))
                || (figures.starts_with(digit) && figures.contains(['e', 'E']))
                    && figures.parse::<f64>().is_ok()
                || power.len() < figures.len() && power.parse::<i32>().is_ok()
        };
        words.filter(|word| !word.is_empty()).find(is_scale)
    });
    match scale {
        Some(scale) if pressure_unit(header).is_none() => Ok(Some(format!(
            "the `{scale}` of the heading of the ion currents was left out; only their ratios are used"
        ))),
        Some(scale) => Err(wrong(
            line,
            format!(
                "whether the figures below are to be multiplied by the `{scale}` of their heading, or were already, cannot be told"
            ),
            "a heading without a scale, over ion currents or partial pressures as they are",
        )),
        None => Ok(None),
    }
}

/// Refuses a table parted by commas in which every line may hold decimal commas: a whole mass, a whole number
/// and figures that may be its fraction, with no decimal point in any of them.
fn refuse_decimal_commas<'a>(
    lines: impl Iterator<Item = (usize, &'a str)> + Clone,
    layout: &Layout,
) -> Result<(), SpectrumError> {
    let whole = |cell: &str| !cell.is_empty() && cell.bytes().all(|b| b.is_ascii_digit());
    let mut data = lines.skip_while(|(line, _)| *line < layout.line);
    let all = data.all(|(_, text)| {
        let cells = cells(text, ',');
        let pair = |two: &[String]| {
            let (figures, power) = two[1].split_once(['e', 'E']).unwrap_or((&two[1], "0"));
            whole(two[0].trim_start_matches(['-', '+']))
                && whole(figures)
                && power.parse::<i32>().is_ok()
        };
        !text.contains('.')
            && cells
                .get(1..)
                .is_some_and(|behind| behind.windows(2).any(pair))
    });
    if all {
        return Err(wrong(
            layout.line,
            "commas may stand here both between columns and inside numbers".to_owned(),
            "decimals with a point, or columns parted by tab or semicolon",
        ));
    }
    Ok(())
}

fn digit(c: char) -> bool {
    c.is_ascii_digit()
}

fn columned(count: usize) -> String {
    format!("{count} column{}", if count == 1 { "" } else { "s" })
}

fn parted(delimiter: char) -> &'static str {
    match delimiter {
        '\t' => "tabs",
        ';' => "semicolons",
        ',' => "commas",
        _ => "blanks",
    }
}

/// No line has two columns of numbers: names the first with figures in it and what may part them.
fn no_columns<'a>(lines: impl Iterator<Item = (usize, &'a str)> + Clone) -> SpectrumError {
    let accepted = "two columns of numbers parted by tab, semicolon, comma or blanks";
    let mut with_figures = lines
        .clone()
        .filter(|(_, text)| text.starts_with(|c: char| c.is_ascii_digit()));
    if let Some((line, text)) = with_figures.next() {
        let other = text.chars().find(|sign| {
            let mut pieces = text.split(*sign);
            !sign.is_alphanumeric()
                && !matches!(sign, '.' | '-' | '+')
                && pieces.all(|piece| number(piece.trim(), true).is_some())
        });
        let unreadable = delimiters(text).find_map(|delimiter| {
            let cells = cells(text, delimiter);
            let figures = |cell: &&String| {
                cell.starts_with(|c: char| c.is_ascii_digit()) && with_unit(cell, true).is_none()
            };
            let mass = cells.iter().any(|cell| number(cell, true).is_some());
            cells.iter().find(figures).filter(|_| mass).cloned()
        });
        return match other {
            Some(sign) => wrong(line, format!("`{sign}` does not part columns"), accepted),
            None if unreadable.is_some() => wrong(
                line,
                format!(
                    "`{}` cannot be read as a number",
                    unreadable.unwrap_or_default()
                ),
                "numbers such as 4e-9, 4,0E-9 or 4x10^-9, with a unit or without",
            ),
            None => wrong(
                line,
                "no mass beside an ion current was found here".to_owned(),
                accepted,
            ),
        };
    }
    let first = lines.map(|(line, _)| line).next().unwrap_or(1);
    wrong(
        first,
        "from here on no line has a mass beside an ion current".to_owned(),
        accepted,
    )
}

/// What may part the columns of a line: blanks not where a mark does and cells hold blanks.
fn delimiters(text: &str) -> impl Iterator<Item = char> {
    let blank_in =
        |mark: char| text.contains(mark) && text.split(mark).any(|cell| cell.trim().contains(' '));
    let marked = blank_in('\t') || blank_in(';');
    ['\t', ';', ',', ' ']
        .into_iter()
        .filter(move |delimiter| *delimiter != ' ' || !marked)
}

fn cells(text: &str, delimiter: char) -> Vec<String> {
    let cell = |cell: &str| cell.trim().trim_matches('"').to_owned();
    match delimiter {
        ' ' => tight(text).split(' ').map(cell).collect(),
        // A mark at the end of a line parts it from nothing.
        _ => text
            .trim_end_matches([delimiter, ' '])
            .split(delimiter)
            .map(cell)
            .collect(),
    }
}

/// Whether a line is the heading of a trend: three masses and more side by side, at most two other names,
/// and below them numbers that are no masses.
fn is_trend(text: &str, below: &str) -> bool {
    let mass = |cell: &String| {
        let cell = cell.to_lowercase();
        let number = cell
            .trim_start_matches(|c: char| c.is_alphabetic() || matches!(c, '/' | ' ' | '_'))
            .trim_end_matches("amu")
            .trim();
        let mass = number.parse().ok()?;
        (1..=HIGHEST_MASS).contains(&mass).then_some(mass)
    };
    delimiters(text).any(|delimiter| {
        let (cells, below) = (cells(text, delimiter), cells(below, delimiter));
        let masses: BTreeSet<u16> = cells.iter().filter_map(mass).collect();
        let all = cells.iter().filter_map(mass).count();
        let currents = below
            .iter()
            .filter(|cell| with_unit(cell, delimiter != ',').is_some() && mass(cell).is_none());
        masses.len() == all
            && all >= 3
            && cells.len() - all <= 2
            && below.len() == cells.len()
            && currents.count() >= 3
    })
}

const MASS_NAMES: [&str; 4] = ["mass", "m/z", "amu", "m/e"];
const CURRENT_NAMES: [&str; 5] = ["current", "intensity", "abundance", "partial", "signal"];

fn names_columns(header: &str) -> bool {
    let lower = header.to_lowercase();
    let any = |names: &[&str]| names.iter().any(|name| lower.contains(name));
    let is_name = |cell: &str| {
        let cell = cell.trim().trim_matches('"');
        cell.starts_with(char::is_alphabetic)
    };
    // In another language: names, and nothing else.
    let foreign = header.contains(',') && header.split(',').all(is_name);
    (any(&MASS_NAMES) && any(&CURRENT_NAMES)) || foreign
}

/// The first column whose heading holds one of these names.
fn named(header: Option<&str>, delimiter: char, names: &[&str]) -> Option<usize> {
    cells(header?, delimiter)
        .iter()
        .position(|cell| names.iter().any(|name| cell.to_lowercase().contains(name)))
}

/// Columns of mass and current of a data line: by the header's names, otherwise the first two numbers.
fn columns(text: &str, delimiter: char, header: Option<&str>) -> Option<(usize, usize)> {
    let comma = delimiter != ',';
    let numeric: Vec<usize> = cells(text, delimiter)
        .iter()
        .enumerate()
        .filter(|(_, cell)| with_unit(cell, comma).is_some())
        .map(|(at, _)| at)
        .collect();
    let named = |names| named(header, delimiter, names).filter(|at| numeric.contains(at));
    let mass = named(&MASS_NAMES).or(numeric.first().copied())?;
    let current = named(&CURRENT_NAMES)
        .filter(|&at| at != mass)
        .or(numeric.iter().copied().find(|&at| at != mass))?;
    Some((mass, current))
}

fn number(cell: &str, comma: bool) -> Option<f64> {
    match with_unit(cell, comma)? {
        (value, None) => Some(value),
        _ => None,
    }
}

/// A number as people write it, and the unit written behind it, if there is one.
fn with_unit(cell: &str, comma: bool) -> Option<(f64, Option<&'static str>)> {
    if cell.contains(',') && (!comma || cell.contains('.')) {
        return None;
    }
    let cell = cell.replacen(',', ".", 1);
    if let Ok(value) = cell.parse() {
        return Some((value, None));
    }
    let (value, behind) = read_number(&cell).ok()?;
    match behind.as_str() {
        "" => Some((value, None)),
        unit => Some((value, Some(unit_of(unit)?))),
    }
}

fn unit_of(cell: &str) -> Option<&'static str> {
    UNITS.into_iter().find(|unit| *unit == cell)
}

/// Units that are written behind an ion current, the longer before those that they end in, and the sign of currents in
/// per cent of the highest.
const UNITS: [&str; 13] = [
    "%", "mbar", "Torr", "torr", "hPa", "Pa", "mA", "µA", "uA", "nA", "pA", "fA", "A",
];

/// The unit of the currents so far, with the line it was first read on; all lines need the same.
#[derive(Default)]
struct Units(Option<(usize, Option<&'static str>)>);

impl Units {
    fn take(&mut self, line: usize, unit: Option<&'static str>) -> Result<(), SpectrumError> {
        let (first, known) = *self.0.get_or_insert((line, unit));
        if known == unit {
            return Ok(());
        }
        let name =
            |unit: Option<&str>| unit.map_or("no unit".to_owned(), |unit| format!("`{unit}`"));
        Err(wrong(
            line,
            format!(
                "{} stands behind the ion current, and {} on line {first}",
                name(unit),
                name(known)
            ),
            "ion currents in one unit throughout, written behind each or behind none",
        ))
    }
}

fn row(
    line: usize,
    mass: &str,
    current: &str,
    beside: Option<&str>,
    comma: bool,
    units: &mut Units,
) -> Result<Row, SpectrumError> {
    let refused = |what: &str, cell: &str| {
        wrong(
            line,
            format!("the {what} `{cell}` is not a finite number"),
            "numbers such as 18 for a mass and 4e-9 for an ion current",
        )
    };
    let found = number(mass, comma).filter(|value| value.is_finite());
    let row_mass = found.ok_or_else(|| refused("mass", mass))?;
    let (row_current, unit) = with_unit(current, comma)
        .filter(|(value, _)| value.is_finite())
        .ok_or_else(|| refused("ion current", current))?;
    if !(0.0..=f64::from(HIGHEST_MASS)).contains(&row_mass) {
        return Err(wrong(
            line,
            format!("mass {mass} is out of range"),
            format!("0 to {HIGHEST_MASS}"),
        ));
    }
    if row_current.abs() > 1e30 || (row_current != 0.0 && row_current.abs() < 1e-30) {
        return Err(wrong(
            line,
            format!("ion current {current} is out of range"),
            "0, or a size from 1e-30 to 1e30",
        ));
    }
    units.take(line, unit.or_else(|| beside.and_then(unit_of)))?;
    Ok(Row {
        line,
        mass: row_mass,
        current: row_current,
    })
}
