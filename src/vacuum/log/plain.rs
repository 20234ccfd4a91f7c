//! The quick way through the common line: cells between single-byte marks, plain numbers in them.
//!
//! Whatever is out of the ordinary (quotation marks, units beside numbers, words, other alphabets,
//! more digits than a float holds exactly) is left to the general reader, which then also finds
//! what is wrong with it. Numbers read here are the same to the last bit.

use super::cell::Separator;
use super::layout::{Layout, TimeColumns};
use crate::vacuum::units::PressureUnit;

/// Where the two numbers of a line stand.
#[derive(Clone, Copy, Debug)]
pub(super) struct PlainLines {
    mark: u8,
    time: usize,
    pressure: usize,
    /// The unit of every pressure that has none beside it.
    pub(super) unit: PressureUnit,
}

impl PlainLines {
    /// `None` if the layout's lines are not of this kind.
    pub(super) fn of(layout: &Layout, unit_if_missing: Option<PressureUnit>) -> Option<Self> {
        let mark = match layout.separator {
            Separator::Tab => b'\t',
            Separator::Semicolon => b';',
            Separator::Bar => b'|',
            Separator::Comma => b',',
            Separator::Spaces => return None,
        };
        let TimeColumns::One(time) = layout.time else {
            return None;
        };
        if layout.decimal_comma || layout.unit_column.is_some() {
            return None;
        }
        Some(Self {
            mark,
            time,
            pressure: layout.pressure,
            unit: layout.unit.or(unit_if_missing)?,
        })
    }

    /// Time and pressure of a line, as written.
    pub(super) fn read(&self, line: &[u8]) -> Option<(f64, f64)> {
        let (mut time, mut pressure) = (None, None);
        let mut from = 0;
        let mut column = 0;
        for at in 0..=line.len() {
            match line.get(at) {
                Some(byte) if *byte != self.mark => {
                    if matches!(byte, b'"' | 0 | 0x80..) {
                        return None;
                    }
                }
                _ => {
                    if column == self.time {
                        time = Some(number(&line[from..at])?);
                    } else if column == self.pressure {
                        pressure = Some(number(&line[from..at])?);
                    }
                    column += 1;
                    from = at + 1;
                }
            }
        }
        Some((time?, pressure?))
    }
}

/// A number of at most 15 digits and a power of ten of at most 22: both are exact as floats, so one
/// multiplication or division rounds as reading the decimal would (Clinger, PLDI 1990, from memory).
fn number(cell: &[u8]) -> Option<f64> {
    let cell = cell.trim_ascii();
    let (negative, cell) = match cell.split_first()? {
        (b'-', rest) => (true, rest),
        (b'+', rest) => (false, rest),
        _ => (false, cell),
    };
    let (mut whole, mut digits, mut power) = (0u64, 0, 0i32);
    let mut after_point = false;
    let mut bytes = cell.iter();
    let mut exponent = None;
    for byte in bytes.by_ref() {
        match byte {
            b'0'..=b'9' => {
                whole = whole * 10 + u64::from(byte - b'0');
                digits += 1;
                power -= i32::from(after_point);
                if digits > 15 {
                    return None;
                }
            }
            b'.' if !after_point => after_point = true,
            b'e' | b'E' => {
                exponent = Some(bytes.as_slice());
                break;
            }
            _ => return None,
        }
    }
    if digits == 0 {
        return None;
    }
    if let Some(exponent) = exponent {
        power += small_integer(exponent)?;
    }
    let size = whole as f64;
    let ten = POWERS.get(power.unsigned_abs() as usize)?;
    let size = if power < 0 { size / ten } else { size * ten };
    Some(if negative { -size } else { size })
}

fn small_integer(text: &[u8]) -> Option<i32> {
    let (negative, digits) = match text.split_first()? {
        (b'-', rest) => (true, rest),
        (b'+', rest) => (false, rest),
        _ => (false, text),
    };
    if digits.is_empty() || digits.len() > 3 {
        return None;
    }
    let mut value = 0;
    for digit in digits {
        if !digit.is_ascii_digit() {
            return None;
        }
        value = value * 10 + i32::from(digit - b'0');
    }
    Some(if negative { -value } else { value })
}

const POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
];

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::number;

    #[test]
    fn what_is_no_plain_number_is_left() {
        for text in [
            "", " ", ".", "-", "1.2.3", "1e", "1e+", "nan", "1 Pa", "1,5", "0x1", "--1", "1e5000",
        ] {
            assert_eq!(number(text.as_bytes()), None, "{text}");
        }
    }

    proptest! {
        #[test]
        fn a_number_is_that_of_the_standard_library(
            sign in "[-+]?", whole in "[0-9]{1,8}", part in "(\\.[0-9]{0,7})?", power in "([eE][-+]?[0-9]{1,2})?"
        ) {
            let text = format!("{sign}{whole}{part}{power}");
            if let Some(value) = number(text.as_bytes()) {
                prop_assert_eq!(value.to_bits(), text.parse::<f64>().unwrap().to_bits());
            }
        }
    }
}
