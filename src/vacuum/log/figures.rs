//! Plain numbers by the places of their figures: where a number stands and what it comes to are two
//! steps, so that the first can be spared for lines alike.
//!
//! Whatever is out of the ordinary (more digits than a float holds exactly, a power of ten too large, words)
//! is left to the general reader. Numbers read here are the same to the last bit.

/// Where the figures of a number stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Figures {
    negative: bool,
    whole: Digits,
    part: Digits,
    exponent: Digits,
    /// Whether the exponent is below zero.
    small: bool,
}

/// A run of digits, of at most 16.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Digits {
    pub(super) at: usize,
    pub(super) count: usize,
}

impl Figures {
    /// The number from place `at` on, which is moved behind it, and what it comes to; `point` is its
    /// decimal mark. `None` unless it is a plain one with a few bytes behind it.
    #[inline(always)]
    pub(super) fn find(bytes: &[u8], at: &mut usize, point: u8) -> Option<(Self, f64)> {
        let sign = *bytes.get(*at)?;
        let negative = sign == b'-';
        let from = *at + usize::from(negative || sign == b'+');
        let (whole, first) = Digits::find(bytes, from)?;
        let mut part = whole.none_behind();
        let mut behind = 0;
        if bytes.get(part.at) == Some(&point) {
            (part, behind) = Digits::find(bytes, part.at + 1)?;
        }
        // Exact as a float.
        if !(1..=15).contains(&(whole.count + part.count)) {
            return None;
        }
        let mut exponent = part.none_behind();
        let mut power = 0;
        let mut small = false;
        if let Some(b'e' | b'E') = bytes.get(exponent.at) {
            small = bytes.get(exponent.at + 1) == Some(&b'-');
            let signed = small || bytes.get(exponent.at + 1) == Some(&b'+');
            (exponent, power) = Digits::find(bytes, exponent.at + 1 + usize::from(signed))?;
            if !(1..=3).contains(&exponent.count) {
                return None;
            }
        }
        *at = exponent.at + exponent.count;
        let figures = Self {
            negative,
            whole,
            part,
            exponent,
            small,
        };
        let value = figures.made_of(first, behind, power)?;
        Some((figures, value))
    }

    /// How many figures stand behind the decimal mark.
    pub(super) fn behind(&self) -> usize {
        self.part.count
    }

    /// What the number in these places comes to.
    #[inline(always)]
    pub(super) fn value(&self, bytes: &[u8]) -> Option<f64> {
        let behind = match self.part.count {
            0 => 0,
            _ => self.part.value(bytes)?,
        };
        let power = match self.exponent.count {
            0 => 0,
            _ => self.exponent.value(bytes)?,
        };
        self.made_of(self.whole.value(bytes)?, behind, power)
    }

    /// The number of these digits before and behind the point and this power of ten.
    ///
    /// It has at most 15 digits, and a power of ten of at most 22 or there is none: both are exact as
    /// floats, so one multiplication or division rounds as reading the decimal would (Clinger, PLDI
    /// 1990, from memory).
    #[inline(always)]
    fn made_of(&self, whole: u64, behind: u64, power: u64) -> Option<f64> {
        self.scaled(whole * TENS.get(self.part.count)? + behind, power)
    }

    /// The number of all these digits, as if there were no point, and this power of ten.
    #[inline(always)]
    fn scaled(&self, digits: u64, power: u64) -> Option<f64> {
        let all = digits.cast_signed();
        let power = power.cast_signed();
        let power = if self.small { -power } else { power } - self.part.count as i64;
        let ten = POWERS.get(power.unsigned_abs() as usize)?;
        let size = all as f64;
        let size = if power < 0 { size / ten } else { size * ten };
        Some(if self.negative { -size } else { size })
    }
}

/// Figures in places that lines alike share, with what reading them takes worked out once.
#[derive(Clone, Copy, Debug)]
pub(super) struct Known {
    figures: Figures,
    digits: KnownDigits,
    /// Power of ten of the last digit, where no exponent changes it.
    ten: f64,
}

/// How the digits before and behind the point are found: eight bytes pushed until the last digit is the
/// last of them, so that zeros stand before the first.
#[derive(Clone, Copy, Debug)]
enum KnownDigits {
    /// All of them and the point in eight bytes: what stands before it moves up to what stands behind.
    Together {
        push: u32,
        before: u64,
        behind: u64,
        point: u32,
    },
    /// In two times eight bytes.
    Apart { push: [u32; 2], tens: u64 },
}

impl Known {
    /// `None` for more digits before or behind the point than eight, and for none before it.
    pub(super) fn new(figures: Figures) -> Option<Self> {
        let Figures { whole, part, .. } = figures;
        if !(1..=8).contains(&whole.count) || part.count > 8 {
            return None;
        }
        // Reading past the digits is as far as finding them went.
        let push = |bytes: usize| (64 - 8 * bytes) as u32;
        // The last so many of eight bytes.
        let last = |bytes: usize| match bytes {
            0 => 0,
            _ => u64::MAX << push(bytes),
        };
        let point = usize::from(part.count > 0);
        let span = whole.count + point + part.count;
        let digits = if span <= 8 {
            KnownDigits::Together {
                push: push(span),
                before: last(span) & !last(part.count + point),
                behind: last(part.count),
                point: 8 * point as u32,
            }
        } else {
            KnownDigits::Apart {
                push: [push(whole.count), push(part.count)],
                tens: TENS[part.count],
            }
        };
        let ten = POWERS[part.count];
        Some(Self {
            figures,
            digits,
            ten,
        })
    }

    /// What the number in these places comes to: that of [`Figures::value`], to the last bit.
    #[inline(always)]
    pub(super) fn value(&self, bytes: &[u8]) -> Option<f64> {
        let Figures {
            whole,
            part,
            exponent,
            ..
        } = self.figures;
        let first = eight(bytes, whole.at)?;
        let digits = match self.digits {
            KnownDigits::Together {
                push,
                before,
                behind,
                point,
            } => {
                let pushed = first << push;
                eight_made((pushed & before) << point | pushed & behind)
            }
            KnownDigits::Apart {
                push: [whole, behind],
                tens,
            } => {
                let second = eight(bytes, part.at)?;
                eight_made(first << whole) * tens + eight_made(second << behind)
            }
        };
        match exponent.count {
            0 => {
                let size = digits.cast_signed() as f64 / self.ten;
                Some(if self.figures.negative { -size } else { size })
            }
            2 => {
                let [high, low] = bytes.get(exponent.at..)?.first_chunk::<2>()?;
                let power = u64::from(high & 0xf) * 10 + u64::from(low & 0xf);
                self.figures.scaled(digits, power)
            }
            _ => self.figures.scaled(digits, exponent.value(bytes)?),
        }
    }
}

impl Digits {
    /// The digits from a place on, and the number they make; `None` if they are too many or too near to
    /// the end of `bytes`.
    #[inline(always)]
    pub(super) fn find(bytes: &[u8], at: usize) -> Option<(Self, u64)> {
        let values = eight(bytes, at)?;
        let count = counted(values);
        if count < 8 {
            return Some((Self { at, count }, made_by(values, count)));
        }
        let behind = counted(eight(bytes, at + 8)?);
        let count = 8 + behind;
        if behind == 8 {
            return None;
        }
        let digits = Self { at, count };
        Some((digits, digits.value(bytes)?))
    }

    /// No digits, behind these.
    pub(super) fn none_behind(self) -> Self {
        Self {
            at: self.at + self.count,
            count: 0,
        }
    }

    /// The number they make.
    #[inline(always)]
    pub(super) fn value(self, bytes: &[u8]) -> Option<u64> {
        if self.count <= 8 {
            return Some(made_by(eight(bytes, self.at)?, self.count));
        }
        let behind = self.count - 8;
        let high = made_by(eight(bytes, self.at)?, 8);
        Some(high * TENS.get(behind)? + made_by(eight(bytes, self.at + 8)?, behind))
    }
}

/// The eight bytes from a place on, the first lowest, less what a digit is above its value.
#[inline(always)]
fn eight(bytes: &[u8], at: usize) -> Option<u64> {
    let eight = bytes.get(at..)?.first_chunk::<8>()?;
    Some(u64::from_le_bytes(*eight) ^ ZEROS)
}

/// The character of zero, eight times.
pub(super) const ZEROS: u64 = 0x3030_3030_3030_3030;

/// The highest bit of each of eight bytes.
pub(super) const HIGHEST: u64 = 0x8080_8080_8080_8080;

/// The highest bit of each byte that is no digit, of eight bytes less the characters of zero. A byte
/// behind one that is no character of a number may count as none.
#[inline(always)]
pub(super) fn no_digits(values: u64) -> u64 {
    (values.wrapping_add(0x7676_7676_7676_7676) | values) & HIGHEST
}

/// How many of eight bytes are digits before the first that is none.
#[inline(always)]
fn counted(values: u64) -> usize {
    (no_digits(values).trailing_zeros() / 8) as usize
}

/// The number that the first `count` digits make, up to eight: pushed behind zeros, they are added up
/// in pairs, fours and eights, each in one multiplication that leaves the sum in the upper part.
#[inline(always)]
fn made_by(values: u64, count: usize) -> u64 {
    if count == 0 {
        return 0;
    }
    eight_made(values << (64 - 8 * count as u32))
}

/// The number that eight digits make.
#[inline(always)]
fn eight_made(digits: u64) -> u64 {
    let pairs = (digits.wrapping_mul(10 << 8 | 1) >> 8) & 0x00ff_00ff_00ff_00ff;
    let fours = (pairs.wrapping_mul(100 << 16 | 1) >> 16) & 0x0000_ffff_0000_ffff;
    fours.wrapping_mul(10_000 << 32 | 1) >> 32
}

/// Powers of ten as whole numbers.
pub(super) const TENS: [u64; 16] = {
    let mut tens = [1; 16];
    let mut at = 1;
    while at < 16 {
        tens[at] = tens[at - 1] * 10;
        at += 1;
    }
    tens
};

const POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
];

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::{Figures, Known};

    /// The number that a whole cell is.
    fn number(cell: &str) -> Option<f64> {
        let mut at = 0;
        let line = format!("{cell},and what follows");
        let (figures, value) = Figures::find(line.as_bytes(), &mut at, b'.')?;
        let line = format!("{line}, and on beyond what is looked at");
        let line = line.as_bytes();
        assert_eq!(figures.value(line), Some(value));
        if let Some(known) = Known::new(figures) {
            assert_eq!(known.value(line).map(f64::to_bits), Some(value.to_bits()));
        }
        (at == cell.len()).then_some(value)
    }

    #[test]
    fn what_is_no_plain_number_is_left() {
        for text in [
            "",
            " ",
            ".",
            "-",
            "1.2.3",
            "1e",
            "1e+",
            "nan",
            "1 Pa",
            "1,5",
            "0x1",
            "--1",
            "1e5000",
            "1234567890123456",
            "0.000000000000000000001",
            "1e23",
        ] {
            assert_eq!(number(text), None, "{text}");
        }
    }

    #[test]
    fn common_numbers_are_taken() {
        for (text, value) in [
            ("0", 0.0),
            ("-12.5", -12.5),
            ("1.234567e-03", 1.234567e-3),
            ("1.E+02", 100.0),
            (".5", 0.5),
            ("1718000000123", 1_718_000_000_123.0),
            ("1718000000.123", 1_718_000_000.123),
            ("123456789012345", 123_456_789_012_345.0),
        ] {
            assert_eq!(number(text), Some(value), "{text}");
        }
    }

    proptest! {
        #[test]
        fn a_number_is_that_of_the_standard_library(
            sign in "[-+]?", whole in "[0-9]{0,15}", part in "(\\.[0-9]{0,15})?", power in "([eE][-+]?[0-9]{1,3})?"
        ) {
            let text = format!("{sign}{whole}{part}{power}");
            if let Some(value) = number(&text) {
                prop_assert_eq!(value.to_bits(), text.parse::<f64>().unwrap().to_bits());
            }
        }
    }
}
