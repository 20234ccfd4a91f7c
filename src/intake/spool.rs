//! Good rows set aside in a temporary file, as the store will hold them.

use std::{
    fs::File,
    io::{BufReader, BufWriter, Seek, Write},
};

use super::{IntakeError, changed, judge::Judged, lines::Lines};
use crate::store::Row;

/// The file, while it is written.
pub(super) struct Spool {
    file: BufWriter<File>,
}

/// A row taken out again.
pub(super) enum Spooled {
    /// As the store will hold it.
    Row(Box<Row>),
    /// To be read again: its line and its text.
    Again(u64, String),
}

impl Spool {
    pub(super) fn new() -> Result<Self, IntakeError> {
        Ok(Self {
            file: BufWriter::with_capacity(1 << 20, tempfile::tempfile()?),
        })
    }

    /// Two lines a row: what is beside the record, and the record; or where it was, and its text.
    pub(super) fn put(&mut self, judged: &Judged) -> Result<(), IntakeError> {
        let (head, body) = match judged {
            Judged::Row(row, _) => (serde_json::to_string(&(0, Some(row))), row.record.as_str()),
            Judged::Whole(whole) => {
                let head = serde_json::to_string(&(whole.line, None::<Row>));
                (head, whole.text.trim_end())
            }
        };
        let head = head.map_err(std::io::Error::from)?;
        for part in [head.as_str(), "\n", body, "\n"] {
            self.file.write_all(part.as_bytes())?;
        }
        Ok(())
    }

    /// Everything put in, in order.
    pub(super) fn read(
        self,
    ) -> Result<impl Iterator<Item = Result<Spooled, IntakeError>> + Send, IntakeError> {
        let mut file = self.file.into_inner().map_err(|error| error.into_error())?;
        file.rewind()?;
        let mut lines = Lines::new(BufReader::with_capacity(1 << 20, file));
        Ok(std::iter::from_fn(move || next(&mut lines).transpose()))
    }
}

fn next(lines: &mut Lines<BufReader<File>>) -> Result<Option<Spooled>, IntakeError> {
    let Some(head) = lines.next_line() else {
        return Ok(None);
    };
    let (at, _, head) = head?;
    let whole = |text: Result<String, _>| text.map_err(|refusal| changed(at, vec![refusal]));
    let (line, row): (u64, Option<Box<Row>>) =
        serde_json::from_str(&whole(head)?).map_err(std::io::Error::from)?;
    let body = match lines.next_line() {
        Some(body) => whole(body?.2)?,
        None => return Err(std::io::Error::from(std::io::ErrorKind::UnexpectedEof).into()),
    };
    let text = body.trim_end().to_owned();
    Ok(Some(match row {
        Some(mut row) => {
            row.record = text;
            Spooled::Row(row)
        }
        None => Spooled::Again(line, text),
    }))
}
