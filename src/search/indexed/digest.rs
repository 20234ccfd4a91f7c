//! A number that changes with what it was made from, the same on every machine and with every
//! compiler: FNV-1a of 64 bits (Fowler, Noll and Vo; constants from memory), of texts eight bytes at a
//! time. It tells slips and damage, not intent. Pure.

use crate::quick::few;

/// A digest in the making.
#[derive(Clone, Copy, Debug)]
pub(in crate::search) struct Digest(u64);

impl Default for Digest {
    fn default() -> Self {
        Self(0xcbf2_9ce4_8422_2325)
    }
}

impl Digest {
    /// Takes bytes.
    pub(in crate::search) fn bytes(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.0 = (self.0 ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
    }

    /// Takes a text as one piece: two texts are not the same as one made of both.
    pub(in crate::search) fn text(&mut self, text: &str) {
        // Eight bytes in a step, since every text of every case is taken: both halves of a product with an odd
        // number near 2^64 over the golden ratio, so that every bit reaches every other.
        let mut take = |eight: u64| {
            let product = u128::from(self.0 ^ eight) * 0x9e37_79b9_7f4a_7c15;
            self.0 = (product ^ (product >> 64)) as u64;
        };
        take(text.len() as u64);
        let mut parts = text.as_bytes().chunks_exact(8);
        for part in parts.by_ref() {
            let mut eight = [0; 8];
            eight.copy_from_slice(part);
            take(u64::from_le_bytes(eight));
        }
        let rest = parts.remainder();
        if !rest.is_empty() {
            take(few(rest));
        }
    }

    /// The number.
    pub(in crate::search) fn sum(self) -> u64 {
        self.0
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

    /// Wherever a bit of a text is another, and wherever two in a row are, the digest is another.
    #[test]
    fn every_bit_of_a_text_counts() {
        let text = "pumped down to 5e-7 torr and held there overnight";
        let of = |flipped: &[usize]| {
            let mut bytes = text.as_bytes().to_vec();
            flipped
                .iter()
                .for_each(|bit| bytes[bit / 7] ^= 1 << (bit % 7));
            let mut digest = Digest::default();
            digest.text(std::str::from_utf8(&bytes).expect("plain letters"));
            digest.sum()
        };
        let mut all = std::collections::HashSet::from([of(&[])]);
        for bit in 0..7 * text.len() {
            assert!(all.insert(of(&[bit])), "{bit}");
            for other in 0..bit {
                assert!(all.insert(of(&[bit, other])), "{bit} {other}");
            }
        }
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
