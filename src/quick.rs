//! Hashing for tables in memory that are looked into for every row of an import: several times as fast as the
//! library's own, which guards against keys chosen to collide. Pure.

use std::hash::{BuildHasherDefault, Hasher};

/// A table's choice of it.
pub(crate) type Quickly = BuildHasherDefault<Quick>;

/// For tables in memory of words that nobody chose to collide: eight bytes at a time, multiplied
/// by an odd number near 2^64 over the golden ratio (Knuth 1973, 6.4, from memory).
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Quick(u64);

impl Quick {
    fn take(&mut self, eight: u64) {
        let mixed = self.0.rotate_left(5) ^ eight;
        self.0 = mixed.wrapping_mul(0x9e37_79b9_7f4a_7c15);
    }
}

impl Hasher for Quick {
    fn write(&mut self, bytes: &[u8]) {
        let mut parts = bytes.chunks_exact(8);
        for part in parts.by_ref() {
            let mut eight = [0; 8];
            eight.copy_from_slice(part);
            self.take(u64::from_le_bytes(eight));
        }
        self.take(few(parts.remainder()));
    }

    /// The end of a text.
    fn write_u8(&mut self, byte: u8) {
        self.take(u64::from(byte));
    }

    fn finish(&self) -> u64 {
        // The upper bits are the mixed ones; tables choose by the lower.
        self.0 ^ (self.0 >> 32)
    }
}

/// Less than eight bytes as a number, the first the lowest; without copying so many as it is told at run time,
/// which takes longer than all the rest.
pub(crate) fn few(bytes: &[u8]) -> u64 {
    let four = |at: usize| {
        let mut four = [0; 4];
        four.copy_from_slice(&bytes[at..at + 4]);
        u64::from(u32::from_le_bytes(four))
    };
    match bytes.len() {
        // The last four may be some of the first four again.
        length @ 4.. => four(0) | (four(length - 4) << (8 * (length - 4))),
        _ => bytes
            .iter()
            .rev()
            .fold(0, |sum, byte| (sum << 8) | u64::from(*byte)),
    }
}

#[cfg(test)]
mod tests {
    use super::few;

    #[test]
    fn a_few_bytes_are_a_number() {
        for length in 0..8 {
            let bytes: Vec<u8> = (1..=length).map(|byte| 0x90 + byte).collect();
            let mut eight = [0; 8];
            eight[..bytes.len()].copy_from_slice(&bytes);
            assert_eq!(few(&bytes), u64::from_le_bytes(eight), "{length}");
        }
    }
}
