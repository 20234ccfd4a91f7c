//! Reading a pressure that a person typed.
//!
//! Takes what people at tools write: `5e-6`, `5E-6 torr`, `5.0x10^-6 Torr`, `5×10⁻⁶ mbar`,
//! `2,3e-4 mbar`, `3 microns`, `5.3E-6mbar`, `.5 mTorr`. Refuses what could be read in two ways
//! rather than guess, since a guess would be wrong by a factor of a thousand. Never panics.

use super::error::shown;
use super::{PressureUnit, ReadingError, TypedPressure};

/// The most characters a pressure can reasonably take.
const LONGEST: usize = 80;

/// Reads a number and its unit; `unit_if_missing` is taken for a number alone.
///
/// The number may have a decimal point or comma and an exponent as `e-6`, `x10^-6`, `×10⁻⁶` or
/// `·10-6`. The result keeps the number and unit as typed, zero or more, and finite in pascals.
pub fn read_pressure(
    text: &str,
    unit_if_missing: Option<PressureUnit>,
) -> Result<TypedPressure, ReadingError> {
    let typed = read_signed_pressure(text, unit_if_missing)?;
    if typed.value < 0.0 {
        return Err(ReadingError::Negative { text: shown(text) });
    }
    Ok(typed)
}

/// The same of any sign, as the display of a gauge whose zero is off shows it.
pub fn read_signed_pressure(
    text: &str,
    unit_if_missing: Option<PressureUnit>,
) -> Result<TypedPressure, ReadingError> {
    let length = text.chars().count();
    if length > LONGEST {
        return Err(ReadingError::TooLong { length });
    }
    let plain = plain_figures(text);
    let plain = plain.trim();
    if plain.is_empty() {
        return Err(ReadingError::Empty);
    }
    let number = Number::read(plain).ok_or_else(|| no_number(text, plain))?;
    let value = number.value(text)?;
    let unit_text = number.rest.trim().trim_end_matches('.');
    let unit = if unit_text.is_empty() {
        unit_if_missing.ok_or_else(|| ReadingError::UnitMissing { text: shown(text) })?
    } else if unit_text.starts_with(|c: char| c.is_alphabetic() || c == '"') {
        unit_text.parse().map_err(|_| ReadingError::UnknownUnit {
            unit: shown(as_typed(text, unit_text)),
            why: PressureUnit::why_not(unit_text),
        })?
    } else {
        return Err(ReadingError::NotANumber { text: shown(text) });
    };
    let size = TypedPressure { value, unit };
    match size.pressure() {
        Ok(_) if value == 0.0 => Ok(size),
        Ok(pressure) if pressure.pascals() > 0.0 => Ok(TypedPressure {
            value: if number.negative { -value } else { value },
            unit,
        }),
        _ => Err(ReadingError::OutOfRange { text: shown(text) }),
    }
}

/// Reads a number of any sign in the same spellings, and gives it with what stands behind it.
pub fn read_number(text: &str) -> Result<(f64, String), ReadingError> {
    let length = text.chars().count();
    if length > LONGEST {
        return Err(ReadingError::TooLong { length });
    }
    let plain = plain_figures(text);
    let plain = plain.trim();
    let number = Number::read(plain).ok_or_else(|| no_number(text, plain))?;
    let size = number.value(text)?;
    let value = if number.negative { -size } else { size };
    Ok((value, number.rest.trim().to_owned()))
}

/// The end of a text that was read as this, as it was typed.
fn as_typed<'a>(text: &'a str, read: &'a str) -> &'a str {
    let length = read.chars().count();
    let text = text.trim().trim_end_matches('.').trim_end();
    match text.char_indices().rev().nth(length.saturating_sub(1)) {
        // Raised figures are read with a sign more.
        Some((at, _)) if !read.contains('^') => &text[at..],
        _ => read,
    }
}

/// The text with one spelling for minus, times, spaces and raised figures (`10⁻⁶` to `10^-6`).
fn plain_figures(text: &str) -> String {
    const RAISED: &str = "⁰¹²³⁴⁵⁶⁷⁸⁹";
    let mut plain = String::with_capacity(text.len() + 4);
    let mut raised = false;
    for c in text.chars() {
        let figure = RAISED
            .chars()
            .zip('0'..='9')
            .find(|(r, _)| *r == c)
            .map(|(_, f)| f);
        let lifted = match c {
            '⁻' => Some('-'),
            '⁺' => Some('+'),
            _ => figure,
        };
        if let Some(lifted) = lifted {
            if !raised && !plain.ends_with('^') {
                plain.push('^');
            }
            raised = true;
            plain.push(lifted);
            continue;
        }
        raised = false;
        match c {
            '−' | '–' | '—' | '‐' | '‑' | '－' => plain.push('-'),
            // Figures of East Asian width.
            '\u{ff10}'..='\u{ff19}' => plain.extend(char::from_digit(c as u32 - 0xff10, 10)),
            '．' => plain.push('.'),
            '，' => plain.push(','),
            '×' | '·' | '∙' | '⋅' | '*' | '✕' => plain.push('x'),
            c if c.is_whitespace() => plain.push(' '),
            c => plain.push(c),
        }
    }
    plain
}

/// The parts of a number, and what follows it.
struct Number<'a> {
    negative: bool,
    mantissa: String,
    exponent: i32,
    rest: &'a str,
}

impl<'a> Number<'a> {
    /// Splits a number off the front; `None` if the text does not begin with one.
    fn read(text: &'a str) -> Option<Self> {
        let (negative, text) = match text.strip_prefix('-') {
            Some(rest) => (true, rest),
            None => (false, text.strip_prefix('+').unwrap_or(text)),
        };
        let end = text
            .find(|c: char| !(c.is_ascii_digit() || c == '.' || c == ','))
            .unwrap_or(text.len());
        let (mantissa, rest) = text.split_at(end);
        if !mantissa.contains(|c: char| c.is_ascii_digit()) {
            return None;
        }
        let mut number = Self {
            negative,
            mantissa: mantissa.to_owned(),
            exponent: 0,
            rest,
        };
        if mantissa == "10" && rest.starts_with('^') {
            "1".clone_into(&mut number.mantissa);
            (number.exponent, number.rest) = exponent(&rest[1..])?;
            return Some(number);
        }
        match power_of_ten(rest) {
            Power::None => {}
            Power::Read(power, rest) => (number.exponent, number.rest) = (power, rest),
            Power::Broken => return None,
        }
        Some(number)
    }

    /// The number without its sign.
    fn value(&self, text: &str) -> Result<f64, ReadingError> {
        let commas = self.mantissa.matches(',').count();
        let points = self.mantissa.matches('.').count();
        if commas + points > 1
            || (commas == 1 && self.exponent == 0 && could_be_thousands(&self.mantissa))
        {
            return Err(ReadingError::Ambiguous { text: shown(text) });
        }
        let written = format!("{}e{}", self.mantissa.replace(',', "."), self.exponent);
        let value: f64 = written
            .parse()
            .map_err(|_| ReadingError::NotANumber { text: shown(text) })?;
        let is_zero = !self.mantissa.contains(|c: char| ('1'..='9').contains(&c));
        if value.is_finite() && (value > 0.0 || is_zero) {
            Ok(value)
        } else {
            Err(ReadingError::OutOfRange { text: shown(text) })
        }
    }
}

/// `1,013`: a comma before exactly three figures, after one to three of which the first is no zero.
fn could_be_thousands(mantissa: &str) -> bool {
    mantissa.split_once(',').is_some_and(|(whole, part)| {
        part.len() == 3 && (1..=3).contains(&whole.len()) && !whole.starts_with('0')
    })
}

/// What may follow a mantissa.
enum Power<'a> {
    /// No exponent at all.
    None,
    /// An exponent and the text after it.
    Read(i32, &'a str),
    /// The beginning of an exponent that cannot be read.
    Broken,
}

/// Reads `e-6`, `D-6`, `x10^-6`, `x10-6` or `x10**-6` (its asterisks already turned into `x`).
fn power_of_ten(text: &str) -> Power<'_> {
    let text = text.trim_start();
    // Fortran's double precision; without figures behind it, `d` begins something else.
    if let Some((power, rest)) = text.strip_prefix(['d', 'D']).and_then(exponent) {
        return Power::Read(power, rest);
    }
    let figures = if let Some(rest) = text.strip_prefix(['e', 'E']) {
        Some(rest)
    } else if let Some(rest) = text.strip_prefix(['x', 'X']) {
        rest.trim_start().strip_prefix("10").and_then(|rest| {
            let rest = rest.trim_start();
            rest.strip_prefix(['^', 'e', 'E'])
                .or_else(|| rest.strip_prefix("xx"))
                .or_else(|| rest.starts_with(['-', '+']).then_some(rest))
        })
    } else {
        return Power::None;
    };
    match figures.and_then(exponent) {
        Some((power, rest)) => Power::Read(power, rest),
        None => Power::Broken,
    }
}

/// A signed whole number of at most four figures, and the text after it.
fn exponent(text: &str) -> Option<(i32, &str)> {
    let text = text.trim_start();
    let (sign, text) = match text.strip_prefix('-') {
        Some(rest) => (-1, rest.trim_start()),
        None => (1, text.strip_prefix('+').unwrap_or(text).trim_start()),
    };
    let end = text
        .find(|c: char| !c.is_ascii_digit())
        .unwrap_or(text.len());
    let (figures, rest) = text.split_at(end);
    if figures.len() > 4 || rest.starts_with(['.', ',']) {
        return None;
    }
    Some((sign * figures.parse::<i32>().ok()?, rest))
}

/// The error for text that does not begin with a number: a decade in words if it looks like one.
fn no_number(text: &str, plain: &str) -> ReadingError {
    let decade = plain
        .split(|c: char| c.is_whitespace() || c == '/')
        .filter_map(|word| word.split_once('-'))
        .map(|(_, after)| after.trim_end_matches(['s', '\'', '\u{2019}']))
        // A bound of a number is no word for a decade.
        .filter(|_| !plain.starts_with(['<', '>', '~', '≤', '≥', '≈']))
        .find_map(|figures| {
            (figures.len() <= 2)
                .then(|| figures.parse::<u32>().ok())
                .flatten()
        });
    match decade {
        Some(decade) => ReadingError::DecadeOnly {
            text: shown(text),
            decade,
        },
        None => ReadingError::NotANumber { text: shown(text) },
    }
}
