//! Logs too long to go to the browser and back with a result, held until they are kept with an incident.
//!
//! They are packed into files without a name, which the system takes away with the program; only so many
//! and only so long. A log is asked for by its SHA-256, so that one sent twice is held once.

use std::{
    collections::BTreeMap,
    fs::File,
    io::{self, BufWriter, Read, Seek},
    sync::{Mutex, PoisonError},
    time::{Duration, Instant},
};

use super::attaching::KEPT;
use crate::{
    calculation::{
        packed::{Fingerprint, Packer},
        sent::SentLog,
    },
    casebook::{KeptLog, PackedLog},
};

/// The most that logs held take on disk together, in bytes.
const MOST: u64 = 512 << 20;

/// How long a log is held.
const HELD_FOR: Duration = Duration::from_secs(2 * 3600);

/// How long a log is held, and what ends it sooner, in words.
pub(super) const HELD_FOR_WORDS: &str = "2 hours, less where many come or the program is restarted";

/// Logs that are held, the oldest first.
#[derive(Debug, Default)]
pub struct Holding(Mutex<Vec<(Instant, HeldLog)>>);

/// A log that is held.
#[derive(Debug)]
pub(super) struct HeldLog {
    fingerprint: Fingerprint,
    file: File,
    packed: u64,
}

impl HeldLog {
    /// Its SHA-256, by which it is asked for.
    pub(super) fn sha256(&self) -> &str {
        &self.fingerprint.sha256
    }

    /// The log itself.
    pub(super) fn read(&self) -> io::Result<KeptLog> {
        let mut file = &self.file;
        file.rewind()?;
        let mut packed = Vec::with_capacity(self.packed as usize);
        file.read_to_end(&mut packed)?;
        Ok(KeptLog::new(
            self.fingerprint.clone(),
            Some(PackedLog(packed)),
        ))
    }
}

impl Holding {
    /// Holds a log; the oldest make room for it.
    pub(super) fn put(&self, log: HeldLog) {
        let now = Instant::now();
        let mut held = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        held.retain(|(since, old)| now - *since < HELD_FOR && old.fingerprint != log.fingerprint);
        held.push((now, log));
        let mut room = MOST;
        // From the newest on; it is held in any case.
        let fit = held.iter().rev().take_while(|(_, log)| {
            let fits = log.packed <= room;
            room = room.saturating_sub(log.packed);
            fits
        });
        let fit = fit.count().max(1);
        let oldest = held.len() - fit;
        held.drain(..oldest);
    }

    /// A log that is held, by its SHA-256.
    pub(super) fn read(&self, sha256: &str) -> Option<io::Result<KeptLog>> {
        let held = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let (since, log) = held.iter().find(|(_, log)| log.sha256() == sha256)?;
        (since.elapsed() < HELD_FOR).then(|| log.read())
    }
}

/// A log that is packed while it arrives, once it is longer than [`KEPT`].
#[derive(Debug, Default)]
pub(super) struct Arriving {
    packer: Option<io::Result<Packer<BufWriter<File>>>>,
}

impl Arriving {
    /// A log of which nothing has arrived; what is too long of it is for [`Arriving::take`].
    pub(super) fn log() -> SentLog {
        SentLog::handing_on(KEPT)
    }

    /// Takes what has arrived of a log too long to be sent back.
    pub(super) fn take(&mut self, log: &mut SentLog) {
        let Some(text) = log.hand_on() else {
            return;
        };
        let begin = || Ok(Packer::new(BufWriter::new(tempfile::tempfile()?)));
        let packer = self.packer.get_or_insert_with(begin);
        if let Ok(packing) = packer
            && let Err(error) = packing.push(&text)
        {
            *packer = Err(error);
        }
    }

    /// What is held at the end; none of a log that is short, or where there was no room on the disk.
    pub(super) fn finish(self) -> Option<HeldLog> {
        let held = self.packer?.and_then(|packer| {
            let (out, fingerprint) = packer.finish()?;
            let file = out.into_inner().map_err(io::IntoInnerError::into_error)?;
            let packed = file.metadata()?.len();
            Ok(HeldLog {
                fingerprint,
                file,
                packed,
            })
        });
        held.inspect_err(|error| tracing::error!(%error, "a log could not be held on the disk"))
            .ok()
    }
}

/// Logs that are held, by the field they stand in.
pub(super) type HeldLogs = BTreeMap<String, HeldLog>;

#[cfg(test)]
mod tests {
    use super::*;

    fn arrived(text: &[u8]) -> Option<HeldLog> {
        let mut log = Arriving::log();
        let mut arriving = Arriving::default();
        for piece in text.chunks(1 << 20) {
            log.push(piece);
            arriving.take(&mut log);
        }
        arriving.finish()
    }

    #[test]
    fn only_a_long_log_is_held_and_comes_out_as_it_was() {
        assert!(arrived(&vec![b'1'; KEPT]).is_none());
        let text = b"1,2\n".repeat(KEPT / 4 + 1);
        let log = arrived(&text).expect("held");
        let holding = Holding::default();
        let sha256 = log.sha256().to_owned();
        holding.put(log);
        holding.put(arrived(&vec![b'2'; KEPT + 1]).expect("held"));
        let kept = holding.read(&sha256).expect("held").expect("readable");
        assert_eq!(kept.bytes, text.len() as u64);
        let mut again = Vec::new();
        let packed = kept.packed.expect("the log");
        crate::calculation::packed::unpack(&packed.0[..], 1 << 30, |p| again.extend_from_slice(p))
            .expect("unpacks");
        assert!(again == text);
        assert!(holding.read("another").is_none());
    }

    #[test]
    fn the_oldest_make_room() {
        let holding = Holding::default();
        let held = |n: u8, packed: u64| HeldLog {
            fingerprint: Fingerprint {
                sha256: n.to_string(),
                bytes: 1,
            },
            file: tempfile::tempfile().expect("a file"),
            packed,
        };
        holding.put(held(1, MOST / 2));
        holding.put(held(2, MOST / 2));
        assert!(holding.read("1").is_some());
        holding.put(held(3, 1));
        assert!(holding.read("1").is_none());
        assert!(holding.read("2").is_some());
        holding.put(held(4, 2 * MOST));
        assert!(holding.read("3").is_none());
        assert!(holding.read("4").is_some());
    }
}
