//! Logs packed to be kept: zlib (RFC 1950), told apart by the SHA-256 of what they hold.
//!
//! Works on readers and writers that are given; what is packed comes out again byte for byte.

use std::io::{self, Read, Write};

use flate2::{Compression, read::ZlibDecoder, write::ZlibEncoder};
use sha2::{Digest, Sha256};

/// Packs a log while it arrives.
#[derive(Debug)]
pub struct Packer<W: Write> {
    zlib: ZlibEncoder<W>,
    digest: Sha256,
    bytes: u64,
}

/// What a log holds, in short.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Fingerprint {
    /// SHA-256 (FIPS 180-4), as 64 hexadecimal digits.
    pub sha256: String,
    /// Its length in bytes.
    pub bytes: u64,
}

impl<W: Write> Packer<W> {
    /// Packs into `out`.
    pub fn new(out: W) -> Self {
        Self {
            zlib: ZlibEncoder::new(out, Compression::fast()),
            digest: Sha256::new(),
            bytes: 0,
        }
    }

    /// Takes the next piece.
    ///
    /// # Errors
    /// What the writer says.
    pub fn push(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.digest.update(bytes);
        self.bytes += bytes.len() as u64;
        self.zlib.write_all(bytes)
    }

    /// Ends the log; gives what it was packed into, and its fingerprint.
    ///
    /// # Errors
    /// What the writer says.
    pub fn finish(self) -> io::Result<(W, Fingerprint)> {
        let out = self.zlib.finish()?;
        Ok((out, fingerprint(self.digest, self.bytes)))
    }
}

/// Unpacks a log of at most `most` bytes, and hands it on piece by piece.
///
/// # Errors
/// What is no packed log, or one that is longer.
pub fn unpack(
    packed: impl Read,
    most: u64,
    mut take: impl FnMut(&[u8]),
) -> io::Result<Fingerprint> {
    let mut zlib = ZlibDecoder::new(packed);
    let mut digest = Sha256::new();
    let mut bytes = 0;
    let mut piece = vec![0; 1 << 16];
    loop {
        let read = match zlib.read(&mut piece) {
            Ok(0) => return Ok(fingerprint(digest, bytes)),
            Ok(read) => read,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
            Err(error) => return Err(error),
        };
        bytes += read as u64;
        if bytes > most {
            return Err(io::Error::new(
                io::ErrorKind::InvalidData,
                format!("unpacked it is longer than {most} bytes"),
            ));
        }
        digest.update(&piece[..read]);
        take(&piece[..read]);
    }
}

fn fingerprint(digest: Sha256, bytes: u64) -> Fingerprint {
    let sha256 = digest
        .finalize()
        .iter()
        .map(|b| format!("{b:02x}"))
        .collect();
    Fingerprint { sha256, bytes }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn the_fingerprint_is_that_of_the_standard() {
        // FIPS 180-2, appendix B.1: "abc".
        let mut packer = Packer::new(Vec::new());
        packer
            .push(b"a")
            .and_then(|()| packer.push(b"bc"))
            .expect("memory");
        let (_, fingerprint) = packer.finish().expect("memory");
        assert_eq!(
            fingerprint.sha256,
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
        assert_eq!(fingerprint.bytes, 3);
    }

    #[test]
    fn what_is_no_packed_log_or_too_long_is_refused() {
        assert!(unpack(&b"no zlib"[..], 100, |_| {}).is_err());
        let mut packer = Packer::new(Vec::new());
        packer.push(&[b'1'; 100_000]).expect("memory");
        let (packed, _) = packer.finish().expect("memory");
        assert!(packed.len() < 1000);
        assert!(unpack(&packed[..], 99_999, |_| {}).is_err());
        assert!(unpack(&packed[..packed.len() / 2], 100_000, |_| {}).is_err());
        assert!(unpack(&packed[..], 100_000, |_| {}).is_ok());
    }

    proptest! {
        #[test]
        fn it_comes_out_as_it_went_in(
            log in proptest::collection::vec(any::<u8>(), 0..5000), piece in 1usize..700
        ) {
            let mut packer = Packer::new(Vec::new());
            for piece in log.chunks(piece) {
                packer.push(piece).expect("memory");
            }
            let (packed, before) = packer.finish().expect("memory");
            let mut again = Vec::new();
            let after = unpack(&packed[..], 5000, |piece| again.extend_from_slice(piece));
            prop_assert_eq!(after.ok(), Some(before));
            prop_assert_eq!(again, log);
        }
    }
}
