//! Lines like the one before: digits and everything else in the same places, which a logger's lines
//! mostly are. Their numbers are found without a search.

use super::figures::{HIGHEST, ZEROS, no_digits};
use super::plain::{KnownShape, LastDate, Shape, WrittenTime};

/// The longest line that is compared, in words of eight bytes.
const WORDS: usize = 8;
/// Bytes looked at: those and the rest of the last number's word.
const LOOKED_AT: usize = 8 * (WORDS + 1);

/// What a line has to look like.
#[derive(Debug)]
pub(super) struct Alike {
    known: KnownShape,
    length: usize,
    /// Words in use.
    words: usize,
    /// The highest bit of each byte that is a digit.
    digits: [u64; WORDS],
    /// All bits of each byte of the line that is none.
    others: [u64; WORDS],
    /// The line that they are held against.
    fixed: [u64; WORDS],
}

impl Alike {
    /// Lines like the one at the front of `bytes`, which has this shape; `None` if it is too long or
    /// too near to the end.
    pub(super) fn to(shape: Shape, bytes: &[u8]) -> Option<Self> {
        let bytes = bytes.first_chunk::<LOOKED_AT>()?;
        let words = shape.length.div_ceil(8);
        if words > WORDS {
            return None;
        }
        let mut alike = Self {
            known: shape.known()?,
            length: shape.length,
            words,
            digits: [0; WORDS],
            others: [0; WORDS],
            fixed: [0; WORDS],
        };
        for word in 0..words {
            let eight = bytes[8 * word..].first_chunk::<8>()?;
            let found = u64::from_le_bytes(*eight);
            let used = match shape.length - 8 * word {
                bytes @ ..8 => !(u64::MAX << (8 * bytes)),
                _ => u64::MAX,
            };
            let digits = !no_digits(found ^ ZEROS) & HIGHEST & used;
            // All bits of each byte from its highest.
            alike.others[word] = !((digits >> 7) * 0xff) & used;
            alike.digits[word] = digits;
            alike.fixed[word] = found;
        }
        Some(alike)
    }

    /// Time and pressure, as written, of the line at the front of `bytes`, and the line's length;
    /// `None` if it is another kind of line.
    #[inline(always)]
    pub(super) fn read(
        &self,
        bytes: &[u8],
        date: &mut LastDate,
    ) -> Option<(WrittenTime, f64, usize)> {
        let bytes = bytes.first_chunk::<LOOKED_AT>()?;
        let mut unlike = 0;
        for word in 0..self.words.min(WORDS) {
            let eight = bytes[8 * word..].first_chunk::<8>()?;
            let found = u64::from_le_bytes(*eight);
            unlike |= no_digits(found ^ ZEROS) & self.digits[word];
            unlike |= (found ^ self.fixed[word]) & self.others[word];
        }
        if unlike != 0 {
            return None;
        }
        let (time, pressure) = self.known.values(bytes, date)?;
        Some((time, pressure, self.length))
    }
}
