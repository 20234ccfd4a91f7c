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
    /// The unit of every pressure, if the log says.
    pub(super) unit: Option<PressureUnit>,
}

impl PlainLines {
    /// `None` if the layout's lines are not of this kind.
    pub(super) fn of(layout: &Layout) -> Option<Self> {
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
            unit: layout.unit,
        })
    }

    /// Time and pressure, as written, of the line at the front of `bytes`, and the line's length with
    /// its line feed; `None` for a line out of the ordinary or without an end.
    pub(super) fn read(&self, bytes: &[u8]) -> Option<(f64, f64, usize)> {
        let (mut time, mut pressure) = (None, None);
        let mut at = 0;
        let mut column = 0;
        loop {
            if column == self.time {
                time = Some(number(bytes, &mut at)?);
            } else if column == self.pressure {
                pressure = Some(number(bytes, &mut at)?);
            } else {
                loop {
                    match *bytes.get(at)? {
                        b'\n' => break,
                        byte if byte == self.mark => break,
                        b'"' | 0 | 0x80.. => return None,
                        _ => at += 1,
                    }
                }
            }
            match *bytes.get(at)? {
                byte if byte == self.mark => at += 1,
                b'\n' => return Some((time?, pressure?, at + 1)),
                b'\r' if *bytes.get(at + 1)? == b'\n' => {
                    return Some((time?, pressure?, at + 2));
                }
                _ => return None,
            }
            column += 1;
        }
    }
}

/// A number from place `at` on, which is moved behind it and the spaces around it.
///
/// It has at most 15 digits and a power of ten of at most 22: both are exact as floats, so one
/// multiplication or division rounds as reading the decimal would (Clinger, PLDI 1990, from memory).
#[inline]
fn number(bytes: &[u8], at: &mut usize) -> Option<f64> {
    let start = past_spaces(bytes, *at);
    let negative = bytes.get(start) == Some(&b'-');
    let from = start + usize::from(negative || bytes.get(start) == Some(&b'+'));
    let (mut whole, mut end) = digits(bytes, from, 0);
    let mut figures = end - from;
    let mut power = 0;
    if bytes.get(end) == Some(&b'.') {
        let after = end + 1;
        (whole, end) = digits(bytes, after, whole);
        figures += end - after;
        power = after as i32 - end as i32;
    }
    if !(1..=15).contains(&figures) {
        return None;
    }
    if let Some(b'e' | b'E') = bytes.get(end) {
        let below = bytes.get(end + 1) == Some(&b'-');
        let from = end + 1 + usize::from(below || bytes.get(end + 1) == Some(&b'+'));
        let exponent;
        (exponent, end) = digits(bytes, from, 0);
        if !(1..=3).contains(&(end - from)) {
            return None;
        }
        let exponent = exponent as i32;
        power += if below { -exponent } else { exponent };
    }
    *at = past_spaces(bytes, end);
    let size = whole as f64;
    let ten = POWERS.get(power.unsigned_abs() as usize)?;
    let size = if power < 0 { size / ten } else { size * ten };
    Some(if negative { -size } else { size })
}

#[inline]
fn past_spaces(bytes: &[u8], mut at: usize) -> usize {
    while bytes.get(at) == Some(&b' ') {
        at += 1;
    }
    at
}

/// The digits from a place on, behind those of `whole`, and the place after them. More than 15 give
/// a number without meaning.
#[inline]
fn digits(bytes: &[u8], mut at: usize, mut whole: u64) -> (u64, usize) {
    // Eight bytes at once: the digits among the first of them, pushed behind zeros, are added up in
    // pairs, fours and eights.
    while let Some(eight) = bytes.get(at..).and_then(<[u8]>::first_chunk::<8>) {
        let values = u64::from_le_bytes(*eight) ^ 0x3030_3030_3030_3030;
        let others = (values.wrapping_add(0x7676_7676_7676_7676) | values) & 0x8080_8080_8080_8080;
        let count = others.trailing_zeros() / 8;
        if count == 0 {
            return (whole, at);
        }
        let pushed = values << (64 - 8 * count);
        let pairs = pushed.wrapping_mul(10).wrapping_add(pushed >> 8) & 0x00ff_00ff_00ff_00ff;
        let fours = pairs.wrapping_mul(100).wrapping_add(pairs >> 16) & 0x0000_ffff_0000_ffff;
        let all = fours.wrapping_mul(10_000).wrapping_add(fours >> 32) & 0xffff_ffff;
        whole = whole.wrapping_mul(TENS[count as usize]).wrapping_add(all);
        at += count as usize;
        if count < 8 {
            return (whole, at);
        }
    }
    while let Some(digit) = bytes.get(at).map(|byte| byte.wrapping_sub(b'0'))
        && digit <= 9
    {
        whole = whole.wrapping_mul(10).wrapping_add(u64::from(digit));
        at += 1;
    }
    (whole, at)
}

const TENS: [u64; 9] = [
    1,
    10,
    100,
    1_000,
    10_000,
    100_000,
    1_000_000,
    10_000_000,
    100_000_000,
];

const POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
];

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    /// The number that a whole cell is.
    fn number(cell: &str) -> Option<f64> {
        let mut at = 0;
        super::number(cell.as_bytes(), &mut at).filter(|_| at == cell.len())
    }

    #[test]
    fn what_is_no_plain_number_is_left() {
        for text in [
            "", " ", ".", "-", "1.2.3", "1e", "1e+", "nan", "1 Pa", "1,5", "0x1", "--1", "1e5000",
        ] {
            assert_eq!(number(text), None, "{text}");
        }
    }

    proptest! {
        #[test]
        fn a_number_is_that_of_the_standard_library(
            sign in "[-+]?", whole in "[0-9]{1,8}", part in "(\\.[0-9]{0,7})?", power in "([eE][-+]?[0-9]{1,2})?"
        ) {
            let text = format!("{sign}{whole}{part}{power}");
            if let Some(value) = number(&format!(" {text} ")) {
                prop_assert_eq!(value.to_bits(), text.parse::<f64>().unwrap().to_bits());
            }
        }
    }
}
