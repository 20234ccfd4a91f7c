//! Lines of a file that may be anything: too long, not text, without an end.

use std::io::{self, BufRead, Read};

use super::IntakeError;
use crate::casebook::Refusal;

/// The longest line taken, in bytes.
const LONGEST: usize = 64 << 20;

/// Room for a line, in bytes, that is kept for another; more is given back.
const KEPT_ROOM: usize = 16 << 10;

/// So many lines' room is kept.
const ROOMS: usize = 4_096;

/// Bytes of a line too long that are passed over at once.
const PASSED_OVER: usize = 1 << 20;

/// Reads line by line with at most [`LONGEST`] bytes in memory.
pub(super) struct Lines<R> {
    reader: R,
    line: u64,
    /// Bytes of the line before, as a guess at the next.
    usual: usize,
    /// Room that lines before took.
    rooms: Vec<String>,
}

/// A line: its number, its bytes in the file, and its text or why it has none.
type Line = (u64, u64, Result<String, Refusal>);

impl<R: BufRead> Lines<R> {
    pub(super) fn new(reader: R) -> Self {
        Self {
            reader,
            line: 0,
            usual: 0,
            rooms: Vec::new(),
        }
    }

    /// Takes back a line that is of no further use, to read another into its room.
    pub(super) fn take_back(&mut self, line: String) {
        if (1..=KEPT_ROOM).contains(&line.capacity()) && self.rooms.len() < ROOMS {
            self.rooms.push(line);
        }
    }

    pub(super) fn next_line(&mut self) -> Option<Result<Line, IntakeError>> {
        match self.read() {
            Ok(None) => None,
            Ok(Some(line)) => Some(Ok(line)),
            Err(cause) => Some(Err(IntakeError::Unreadable {
                line: self.line,
                cause,
            })),
        }
    }

    fn read(&mut self) -> io::Result<Option<Line>> {
        let mut kept = self.rooms.pop().unwrap_or_default().into_bytes();
        kept.clear();
        kept.reserve(self.usual + self.usual / 8);
        let mut length = self.read_to_end_of_line(LONGEST, &mut kept)?;
        if length == 0 {
            return Ok(None);
        }
        self.usual = kept.len();
        let mut passed_over = Vec::new();
        while !kept.ends_with(b"\n") && length >= LONGEST as u64 && !passed_over.ends_with(b"\n") {
            passed_over.clear();
            match self.read_to_end_of_line(PASSED_OVER, &mut passed_over)? {
                0 => break,
                more => length += more,
            }
        }
        self.line += 1;
        let text = if length > LONGEST as u64 {
            Err(Refusal::new(
                "record",
                format!("the line has {length} bytes"),
                format!("at most {LONGEST} bytes a line"),
            ))
        } else {
            String::from_utf8(kept).map_err(|error| {
                let at = error.utf8_error().valid_up_to();
                Refusal::new(
                    "record",
                    format!("byte {} of the line is not UTF-8", at + 1),
                    "text encoded as UTF-8",
                )
            })
        };
        Ok(Some((self.line, length, text)))
    }

    /// Reads to the end of the line, at most so many bytes, and says how many it were.
    fn read_to_end_of_line(&mut self, most: usize, into: &mut Vec<u8>) -> io::Result<u64> {
        let mut rest = (&mut self.reader).take(most as u64);
        Ok(rest.read_until(b'\n', into)? as u64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bad_bytes_spoil_one_line_only() {
        let mut lines = Lines::new(&b"one\n\xff\xfe\nthree"[..]);
        let mut next = || lines.next_line().expect("a line").expect("readable");
        assert_eq!(next().2.as_deref(), Ok("one\n"));
        assert!(next().2.is_err());
        assert_eq!(next(), (3, 5, Ok("three".to_owned())));
        assert!(lines.next_line().is_none());
    }

    #[test]
    fn a_line_beyond_measure_is_refused_and_passed_over() {
        let mut file = vec![b'x'; LONGEST + 10];
        file.extend_from_slice(b"\nnext\n");
        let mut lines = Lines::new(&file[..]);
        assert!(
            lines
                .next_line()
                .expect("a line")
                .expect("readable")
                .2
                .is_err()
        );
        let next = lines.next_line().expect("a line").expect("readable");
        assert_eq!(next.2.as_deref(), Ok("next\n"));
    }
}
