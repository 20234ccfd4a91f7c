//! A number that changes with what it was made from, the same on every machine and with every
//! compiler: FNV-1a of 64 bits (Fowler, Noll and Vo; constants from memory). It tells slips and
//! damage, not intent. Pure.

use std::hash::Hasher;

/// A digest in the making.
#[derive(Clone, Copy, Debug)]
pub(super) struct Digest(u64);

impl Default for Digest {
    fn default() -> Self {
        Self(0xcbf2_9ce4_8422_2325)
    }
}

impl Digest {
    /// Takes bytes.
    pub(super) fn bytes(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.0 = (self.0 ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
    }

    /// Takes a text as one piece: two texts are not the same as one made of both.
    pub(super) fn text(&mut self, text: &str) {
        self.bytes(&(text.len() as u64).to_le_bytes());
        self.bytes(text.as_bytes());
    }

    /// The number.
    pub(super) fn sum(self) -> u64 {
        self.0
    }
}

/// For tables in memory of words that nobody chose to collide: eight bytes at a time, multiplied
/// by an odd number near 2^64 over the golden ratio (Knuth 1973, 6.4, from memory).
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Quick(u64);

impl Hasher for Quick {
    fn write(&mut self, bytes: &[u8]) {
        let mut take = |part: &[u8]| {
            let mut eight = [0; 8];
            eight[..part.len()].copy_from_slice(part);
            let mixed = self.0.rotate_left(5) ^ u64::from_le_bytes(eight);
            self.0 = mixed.wrapping_mul(0x9e37_79b9_7f4a_7c15);
        };
        let mut parts = bytes.chunks_exact(8);
        parts.by_ref().for_each(&mut take);
        take(parts.remainder());
    }

    fn finish(&self) -> u64 {
        // The upper bits are the mixed ones; tables choose by the lower.
        self.0 ^ (self.0 >> 32)
    }
}

#[cfg(test)]
mod tests {
    use super::Digest;

    /// The empty text and "a", as the authors of the method give them (from memory).
    #[test]
    fn the_published_values_come_out() {
        let mut digest = Digest::default();
        assert_eq!(digest.sum(), 0xcbf2_9ce4_8422_2325);
        digest.bytes(b"a");
        assert_eq!(digest.sum(), 0xaf63_dc4c_8601_ec8c);
    }

    #[test]
    fn two_texts_are_not_one() {
        let of = |texts: &[&str]| {
            let mut digest = Digest::default();
            texts.iter().for_each(|text| digest.text(text));
            digest.sum()
        };
        assert_ne!(of(&["door", "seal"]), of(&["doors", "eal"]));
    }
}
