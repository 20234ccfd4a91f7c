//! Requests whose logs are read while they arrive, so that no text of a whole log is ever held.
//!
//! [`SentLog`] takes one log in pieces. [`SentJson`] takes a request as JSON in pieces, leads the
//! text of its logs to such readers and keeps the rest, with an empty text in each log's place.

use std::borrow::Cow;
use std::collections::BTreeMap;

use super::log::Columns;
use super::named::Named;
use super::numbers::{Came, Numbers};
use crate::vacuum::log::LogReader;
use encoding_rs::{Decoder, Encoding, UTF_8};

/// Logs that were read while they arrived, by the field of the request in whose place they stand.
pub type Logs = BTreeMap<String, SentLog>;

/// Columns that were read while they arrived, by the field of the request in which empty ones stand.
pub type AllColumns = BTreeMap<String, Columns>;

/// The text of a whole file: by its byte order mark UTF-16, as spreadsheets and loggers write it, else UTF-8, in which
/// what is none is replaced.
pub fn text_of(bytes: &[u8]) -> String {
    let encoding = Encoding::for_bom(bytes).map_or(UTF_8, |(encoding, _)| encoding);
    encoding.decode(bytes).0.into_owned()
}

/// The encoding of a log, as its first bytes tell.
enum Begins {
    /// Fewer than the two bytes that tell it have come.
    With(Vec<u8>),
    /// No byte order mark of UTF-16.
    Plain,
    /// UTF-16.
    Wide(Box<Decoder>),
}

impl std::fmt::Debug for Begins {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::With(_) => "With",
            Self::Plain => "Plain",
            Self::Wide(_) => "Wide",
        })
    }
}

/// A log that is read while it arrives. One in UTF-16 is taken as the same text in UTF-8.
#[derive(Debug)]
pub struct SentLog {
    reader: LogReader,
    begins: Begins,
    /// The text so far, or what of it was not handed on; none once it is too long to be kept.
    text: Option<Vec<u8>>,
    most_kept: usize,
    /// Whether text that is too long is handed on, and not dropped.
    hands_on: bool,
    /// Whether some of it was.
    handed_on: bool,
    bytes: usize,
}

impl SentLog {
    /// A log of which nothing has arrived; its text is kept up to so many bytes.
    pub fn new(most_kept: usize) -> Self {
        Self {
            reader: LogReader::new(),
            begins: Begins::With(Vec::new()),
            text: Some(Vec::new()),
            most_kept,
            hands_on: false,
            handed_on: false,
            bytes: 0,
        }
    }

    /// The same, but text that is too long to be kept is handed on by [`SentLog::hand_on`].
    pub fn handing_on(most_kept: usize) -> Self {
        Self {
            hands_on: true,
            ..Self::new(most_kept)
        }
    }

    /// Says before the first piece which column holds the pressures, by its heading or its number counted from one,
    /// so that it is kept however many there are.
    pub fn choose(&mut self, column: &str) {
        self.reader.choose(column);
    }

    /// What has arrived of a text that is too long to be kept, since this was last asked.
    pub fn hand_on(&mut self) -> Option<Vec<u8>> {
        if !self.hands_on || !(self.handed_on || self.bytes > self.most_kept) {
            return None;
        }
        self.handed_on = true;
        self.text
            .replace(Vec::new())
            .filter(|text| !text.is_empty())
    }

    /// Takes the next piece.
    pub fn push(&mut self, bytes: &[u8]) {
        match &mut self.begins {
            Begins::Plain => self.take(bytes),
            Begins::Wide(decoder) => {
                let most = decoder.max_utf8_buffer_length(bytes.len());
                let mut text = String::with_capacity(most.unwrap_or_default());
                // With room for all of it, all of it is decoded.
                let _ = decoder.decode_to_string(bytes, &mut text, false);
                self.take(text.as_bytes());
            }
            Begins::With(first) => {
                first.extend_from_slice(bytes);
                if first.len() < 2 {
                    return;
                }
                let first = std::mem::take(first);
                self.begins = match Encoding::for_bom(&first) {
                    Some((encoding, _)) if encoding != UTF_8 => {
                        Begins::Wide(Box::new(encoding.new_decoder()))
                    }
                    _ => Begins::Plain,
                };
                self.push(&first);
            }
        }
    }

    /// A single byte that came alone is a log of its own.
    fn end(&mut self) {
        if let Begins::With(first) = &mut self.begins {
            let first = std::mem::take(first);
            self.take(&first);
        }
    }

    fn take(&mut self, bytes: &[u8]) {
        self.reader.push(bytes);
        self.bytes += bytes.len();
        if let Some(text) = &mut self.text {
            if self.hands_on || text.len() + bytes.len() <= self.most_kept {
                text.extend_from_slice(bytes);
            } else {
                self.text = None;
            }
        }
    }

    /// How long it is so far, in bytes.
    pub fn bytes(&self) -> usize {
        self.bytes
    }

    /// Its text, if that is short enough to be kept.
    pub fn text(&self) -> Option<Cow<'_, str>> {
        let text = self.text.as_deref().filter(|_| self.is_short());
        text.map(String::from_utf8_lossy)
    }

    fn is_short(&self) -> bool {
        self.bytes <= self.most_kept
    }

    /// The reader that has read it, and its text if that is short enough to be kept. What is not
    /// UTF-8 in it is replaced, as it was for the readings.
    pub fn into_parts(mut self) -> (LogReader, Option<String>) {
        self.end();
        let short = self.is_short();
        let text = self.text.filter(|_| short);
        let text = text.map(|text| match String::from_utf8(text) {
            Ok(text) => text,
            Err(error) => String::from_utf8_lossy(error.as_bytes()).into_owned(),
        });
        (self.reader, text)
    }
}

/// A request whose logs were read while it arrived.
#[derive(Debug)]
pub struct SentRequest {
    /// The request as JSON, without its logs.
    pub json: Vec<u8>,
    /// Its logs.
    pub logs: Logs,
    /// Its columns of numbers.
    pub columns: AllColumns,
    /// Where something was taken out of the JSON: place in it, and how many bytes.
    taken_out: Vec<(usize, usize)>,
}

impl SentRequest {
    /// A request with logs that were never part of its JSON.
    pub fn new(json: Vec<u8>, logs: Logs) -> Self {
        Self {
            json,
            logs,
            columns: AllColumns::new(),
            taken_out: Vec::new(),
        }
    }

    /// The column, in the JSON as it was sent, of a column in [`Self::json`].
    pub fn column_as_sent(&self, line: usize, column: usize) -> usize {
        let moved: usize = self
            .taken_out
            .iter()
            .filter(|(at, _)| {
                let before = &self.json[..*at];
                let start = before.iter().rposition(|byte| *byte == b'\n');
                let lines = before.iter().filter(|byte| **byte == b'\n').count();
                lines + 1 == line && at - start.map_or(0, |start| start + 1) <= column
            })
            .map(|(_, bytes)| bytes)
            .sum();
        column + moved
    }
}

/// A request that arrives as JSON.
#[derive(Debug)]
pub struct SentJson {
    names: &'static [&'static str],
    /// The field of the outermost object whose object holds the logs; none if itself does.
    below: Option<&'static str>,
    /// Whether the next byte is in the object of that field.
    inside: bool,
    /// How logs are begun.
    begin: fn() -> SentLog,
    /// The fields of the outermost object with columns of numbers.
    in_columns: &'static [&'static str],
    /// The one of them that the next byte is in.
    column_of: Option<&'static str>,
    columns: AllColumns,
    /// Bytes of columns so far.
    column_bytes: usize,
    rest: Vec<u8>,
    logs: Logs,
    taken_out: Vec<(usize, usize)>,
    place: Place,
    /// Objects and lists around the next byte.
    depth: usize,
    /// Whether the outermost of them is an object.
    object: bool,
    /// Whether the next text is the name of a field of the outermost object.
    name_next: bool,
    /// The log, columns or choice whose name has just been read, and whether its colon has.
    named: Option<(&'static str, bool)>,
    /// The columns chosen so far, by the fields they were chosen in.
    chosen: BTreeMap<&'static str, String>,
    /// The field of the choice whose text the next byte is in, and where that begins in the JSON kept.
    choosing: Option<(&'static str, usize)>,
}

/// What the next byte belongs to.
#[derive(Debug)]
enum Place {
    Outside,
    /// The name of a field of the request, so far.
    Name(Vec<u8>),
    /// Any other text; the flag says that a backslash stands before the next byte.
    Text(bool),
    Log(LogText),
    /// A column of numbers: which, where it begins, the bytes of it in this line, and whether it has
    /// had others.
    Column(&'static str, Numbers, ColumnPlace),
}

/// Where a column of numbers stands.
#[derive(Debug)]
struct ColumnPlace {
    /// Its first byte in the JSON kept.
    start: usize,
    /// Bytes taken out since the last line feed.
    taken: usize,
    /// Whether there was a line feed.
    lines: bool,
}

/// The text of a log between its quotation marks.
#[derive(Debug)]
struct LogText {
    name: &'static str,
    /// Read, but not yet given to the reader.
    pending: Vec<u8>,
    /// A begun escape sequence, from its backslash on.
    escape: Vec<u8>,
    /// Bytes of the JSON taken out so far.
    taken: usize,
}

/// Bytes gathered before they are given to a reader.
const GATHERED: usize = 1 << 16;

impl SentJson {
    /// A request of which nothing has arrived.
    pub fn new(named: Named) -> Self {
        Self {
            names: named.logs(),
            below: None,
            inside: false,
            begin: || SentLog::new(0),
            in_columns: named.columns(),
            column_of: None,
            columns: AllColumns::new(),
            column_bytes: 0,
            rest: Vec::new(),
            logs: Logs::new(),
            taken_out: Vec::new(),
            place: Place::Outside,
            depth: 0,
            object: false,
            name_next: false,
            named: None,
            chosen: BTreeMap::new(),
            choosing: None,
        }
    }

    /// A request of any calculation that arrives as the object of a field of another; `begin` begins
    /// its logs.
    pub fn below(field: &'static str, begin: fn() -> SentLog) -> Self {
        Self {
            names: Named::LOGS,
            below: Some(field),
            begin,
            in_columns: &[],
            ..Self::new(Named::Rise)
        }
    }

    /// The logs so far.
    pub fn logs(&mut self) -> &mut Logs {
        &mut self.logs
    }

    /// The length of what was sent so far beside its logs, in bytes.
    pub fn rest(&self) -> usize {
        self.rest.len()
    }

    /// Takes the next piece.
    pub fn push(&mut self, mut bytes: &[u8]) {
        while let Some((first, rest)) = bytes.split_first() {
            match &mut self.place {
                Place::Outside => {
                    self.outside(*first);
                    bytes = rest;
                }
                Place::Name(name) => {
                    self.rest.push(*first);
                    let escaped = name.last() == Some(&b'\\');
                    if *first == b'"' && !escaped {
                        let name = std::mem::take(name);
                        let outer = self.below.as_slice();
                        let known = match (self.depth, self.below) {
                            (1, Some(_)) => [outer, &[], &[]],
                            (1, None) => [self.names, self.in_columns, Named::LOG_COLUMNS],
                            _ if self.column_of.is_some() => [COLUMNS, &[], &[]],
                            _ => [self.names, &[], Named::LOG_COLUMNS],
                        };
                        self.named = known
                            .iter()
                            .flat_map(|known| known.iter())
                            .copied()
                            .find(|known| known.as_bytes() == name)
                            .map(|known| (known, false));
                        self.place = Place::Outside;
                    } else if *first == b'\\' && escaped {
                        // An escaped backslash escapes nothing.
                        name.push(0);
                    } else {
                        name.push(*first);
                    }
                    bytes = rest;
                }
                Place::Text(escaped) => {
                    let end = bytes.iter().position(|byte| {
                        let ends = *byte == b'"' && !*escaped;
                        *escaped = *byte == b'\\' && !*escaped;
                        ends
                    });
                    let (text, rest) = match end {
                        Some(end) => bytes.split_at(end + 1),
                        None => (bytes, &[][..]),
                    };
                    self.rest.extend_from_slice(text);
                    if end.is_some() {
                        self.place = Place::Outside;
                        self.note_choice();
                    }
                    bytes = rest;
                }
                Place::Column(..) => {
                    self.column(*first);
                    bytes = rest;
                }
                Place::Log(text) => {
                    let log = self.logs.entry(text.name.to_owned()).or_insert_with(|| {
                        let mut log = (self.begin)();
                        if let Some(column) = self.chosen.get(&*Named::column_of(text.name)) {
                            log.choose(column);
                        }
                        log
                    });
                    let (used, end) = text.take(bytes, log);
                    bytes = &bytes[used..];
                    match end {
                        End::Open => {}
                        End::Closed => {
                            self.taken_out.push((self.rest.len(), text.taken));
                            self.rest.push(b'"');
                            self.place = Place::Outside;
                        }
                        End::Broken => {
                            // Left in place, for the reader of the JSON to find and to tell.
                            self.taken_out.push((self.rest.len(), text.taken));
                            self.rest.append(&mut text.escape);
                            self.place = Place::Text(false);
                        }
                    }
                }
            }
        }
    }

    /// The longest of what was sent so far: of each log, and of the rest; in bytes.
    pub fn longest(&self) -> usize {
        let logs = self.logs.values().map(SentLog::bytes);
        logs.max()
            .unwrap_or(0)
            .max(self.rest.len() + self.column_bytes)
    }

    /// The whole request.
    pub fn finish(mut self) -> SentRequest {
        if let Place::Log(text) = &mut self.place {
            let taken = text.taken - text.escape.len();
            self.taken_out.push((self.rest.len(), taken));
            self.rest.append(&mut text.escape);
        }
        if let Place::Column(..) = &self.place {
            self.give_back();
        }
        SentRequest {
            json: self.rest,
            logs: self.logs,
            columns: self.columns,
            taken_out: self.taken_out,
        }
    }

    fn outside(&mut self, byte: u8) {
        self.rest.push(byte);
        match byte {
            b'{' | b'[' => {
                let named = self.named.take();
                if self.depth == 0 {
                    self.object = byte == b'{';
                    self.name_next = true;
                } else if self.depth == 1 && byte == b'{' && self.below.is_some() {
                    self.inside = named.is_some_and(|(_, colon)| colon);
                    self.name_next = self.inside;
                } else if self.depth == 1 && byte == b'{' {
                    let of = named.filter(|(name, colon)| *colon && self.in_columns.contains(name));
                    self.column_of = of.map(|(name, _)| name);
                    self.name_next = self.column_of.is_some();
                } else if let (2, b'[', Some(_), Some((name, true))) =
                    (self.depth, byte, self.column_of, named)
                {
                    let place = ColumnPlace {
                        start: self.rest.len(),
                        taken: 0,
                        lines: false,
                    };
                    self.place = Place::Column(name, Numbers::new(), place);
                }
                self.depth += 1;
            }
            b'}' | b']' => {
                self.depth = self.depth.saturating_sub(1);
                self.inside &= self.depth > 1;
                self.column_of = self.column_of.filter(|_| self.depth > 1);
            }
            b',' => {
                self.name_next |= self.reads_names();
                self.named = None;
            }
            b'"' if self.object && self.name_next && self.reads_names() => {
                self.name_next = false;
                self.place = Place::Name(Vec::new());
            }
            b'"' => {
                let named = self.named.take();
                self.choosing = named
                    .filter(|(name, colon)| *colon && Named::LOG_COLUMNS.contains(name))
                    .map(|(name, _)| (name, self.rest.len() - 1));
                self.place = match named.filter(|_| self.choosing.is_none()) {
                    Some((name, true)) if self.holds_logs() => {
                        // Of a field that stands twice the last counts, as with any reader of JSON.
                        if self.logs.get(name).is_some_and(|log| log.bytes() > 0) {
                            self.logs.remove(name);
                        }
                        Place::Log(LogText {
                            name,
                            pending: Vec::with_capacity(GATHERED),
                            escape: Vec::new(),
                            taken: 0,
                        })
                    }
                    _ => Place::Text(false),
                };
            }
            b':' => {
                if let Some((_, colon)) = &mut self.named {
                    *colon = true;
                }
            }
            b' ' | b'\t' | b'\r' | b'\n' => {}
            _ => self.named = None,
        }
    }
}

/// The columns of numbers.
const COLUMNS: &[&str] = &["seconds", "pressures"];

impl SentJson {
    /// Whether fields of the object that the next byte is right in are looked for.
    fn reads_names(&self) -> bool {
        self.depth == 1 || self.holds_logs() || (self.depth == 2 && self.column_of.is_some())
    }

    /// Keeps the choice of a column whose text has just ended.
    fn note_choice(&mut self) {
        let Some((field, from)) = self.choosing.take() else {
            return;
        };
        if let Ok(column) = serde_json::from_slice(&self.rest[from..]) {
            self.chosen.insert(field, column);
        }
    }

    /// Takes a byte of a column.
    fn column(&mut self, byte: u8) {
        let Place::Column(name, numbers, place) = &mut self.place else {
            return;
        };
        match numbers.take(byte) {
            Came::Part if byte == b'\n' => {
                // Kept, so that what follows stands in its line.
                self.rest.push(byte);
                (place.taken, place.lines) = (0, true);
            }
            Came::Part => {
                place.taken += 1;
                self.column_bytes += 1;
            }
            Came::Closed => {
                self.taken_out.push((self.rest.len(), place.taken));
                let values = std::mem::take(&mut numbers.values);
                let field = self.column_of.unwrap_or_default().to_owned();
                let columns = self.columns.entry(field).or_default();
                match *name {
                    "seconds" => columns.seconds = values,
                    _ => columns.pressures = values,
                }
                self.place = Place::Outside;
                self.outside(byte);
            }
            Came::Broken => {
                self.give_back();
                self.outside(byte);
            }
        }
    }

    /// Leaves a column to the reader of the JSON, to find and to tell what is wrong with it: its good
    /// numbers as zeros, so that the others keep their places.
    fn give_back(&mut self) {
        let Place::Column(_, numbers, place) = std::mem::replace(&mut self.place, Place::Outside)
        else {
            return;
        };
        let mut zeros = "0,".repeat(numbers.values.len()).into_bytes();
        if !numbers.wanted {
            // What parted the last number from what follows.
            zeros.pop();
            zeros.push(b' ');
        }
        let given = numbers.begun.len() + if place.lines { 0 } else { zeros.len() };
        let taken = place.taken.saturating_sub(given);
        self.rest.splice(place.start..place.start, zeros);
        self.taken_out.push((self.rest.len(), taken));
        self.rest.extend_from_slice(&numbers.begun);
    }

    /// Whether the next byte is right in the object that holds the logs.
    fn holds_logs(&self) -> bool {
        match self.below {
            None => self.depth == 1,
            Some(_) => self.depth == 2 && self.inside,
        }
    }
}

/// How a piece of a log's text ends.
enum End {
    /// It goes on.
    Open,
    /// With the text's quotation mark.
    Closed,
    /// With something that no text of JSON holds; it stands in `escape`.
    Broken,
}

impl LogText {
    /// Takes text from the front of `bytes`; says how many bytes it took and how they end.
    fn take(&mut self, bytes: &[u8], log: &mut SentLog) -> (usize, End) {
        let mut at = 0;
        let mut end = End::Open;
        while at < bytes.len() && matches!(end, End::Open) {
            if self.escape.is_empty() {
                let run = bytes[at..]
                    .iter()
                    .position(|byte| matches!(byte, b'"' | b'\\' | 0..0x20))
                    .unwrap_or(bytes.len() - at);
                self.pending.extend_from_slice(&bytes[at..at + run]);
                at += run;
                let Some(byte) = bytes.get(at) else {
                    break;
                };
                at += 1;
                match byte {
                    b'"' => end = End::Closed,
                    b'\\' => self.escape.push(b'\\'),
                    other => {
                        self.escape.push(*other);
                        end = End::Broken;
                    }
                }
            } else {
                self.escape.push(bytes[at]);
                at += 1;
                match unescaped(&self.escape) {
                    Escape::Begun => {}
                    Escape::Whole(c) => {
                        let mut buffer = [0; 4];
                        self.pending
                            .extend_from_slice(c.encode_utf8(&mut buffer).as_bytes());
                        self.escape.clear();
                    }
                    Escape::Broken => end = End::Broken,
                }
            }
            if self.pending.len() >= GATHERED {
                log.push(&self.pending);
                self.pending.clear();
            }
        }
        if !matches!(end, End::Open) {
            log.push(&self.pending);
            self.pending.clear();
        }
        self.taken += at;
        match end {
            End::Closed => self.taken -= 1,
            End::Broken => self.taken -= self.escape.len(),
            End::Open => {}
        }
        (at, end)
    }
}

/// What an escape sequence of JSON is so far.
enum Escape {
    Begun,
    Whole(char),
    Broken,
}

/// Reads an escape sequence (RFC 8259, section 7), from its backslash on.
fn unescaped(escape: &[u8]) -> Escape {
    let unit = |digits: &[u8]| {
        let text = std::str::from_utf8(digits).ok()?;
        let hexadecimal = digits.iter().all(u8::is_ascii_hexdigit);
        hexadecimal.then(|| u16::from_str_radix(text, 16).ok())?
    };
    match escape {
        [b'\\', b'u'] => Escape::Begun,
        [b'\\', b'u', digits @ ..] if digits.len() < 4 => {
            if digits.iter().all(u8::is_ascii_hexdigit) {
                Escape::Begun
            } else {
                Escape::Broken
            }
        }
        [b'\\', b'u', digits @ ..] if digits.len() == 4 => match unit(digits) {
            Some(0xd800..0xdc00) => Escape::Begun,
            Some(unit) => char::from_u32(u32::from(unit)).map_or(Escape::Broken, Escape::Whole),
            None => Escape::Broken,
        },
        [b'\\', b'u', rest @ ..] => {
            let (high, low) = rest.split_at(4);
            match low {
                [b'\\'] | [b'\\', b'u'] => Escape::Begun,
                [b'\\', b'u', digits @ ..] if digits.len() < 4 => {
                    if digits.iter().all(u8::is_ascii_hexdigit) {
                        Escape::Begun
                    } else {
                        Escape::Broken
                    }
                }
                [b'\\', b'u', digits @ ..] => match (unit(high), unit(digits)) {
                    (Some(high), Some(low)) => char::decode_utf16([high, low])
                        .next()
                        .and_then(Result::ok)
                        .map_or(Escape::Broken, Escape::Whole),
                    _ => Escape::Broken,
                },
                _ => Escape::Broken,
            }
        }
        [b'\\', short] => match short {
            b'"' | b'\\' | b'/' => Escape::Whole(char::from(*short)),
            b'b' => Escape::Whole('\u{8}'),
            b'f' => Escape::Whole('\u{c}'),
            b'n' => Escape::Whole('\n'),
            b'r' => Escape::Whole('\r'),
            b't' => Escape::Whole('\t'),
            _ => Escape::Broken,
        },
        _ => Escape::Broken,
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use serde_json::{Value, json};

    use super::*;
    use crate::vacuum::log::{LogOptions, read_log};

    /// Spreadsheets write "Unicode text" in UTF-16, its byte order told by the first character, U+FEFF (RFC 2781).
    #[test]
    fn a_log_in_utf_16_is_read_as_its_text() {
        let text = "Zeit (s)\tDruck (Pa)\tHöhe\r\n0\t1e-6\t3\r\n10\t2e-6\t3\r\n";
        let units = || std::iter::once(0xfeff).chain(text.encode_utf16());
        let little: Vec<u8> = units().flat_map(u16::to_le_bytes).collect();
        let big: Vec<u8> = units().flat_map(u16::to_be_bytes).collect();
        for file in [little, big] {
            for piece in [1, 3, file.len()] {
                let mut log = SentLog::new(1000);
                file.chunks(piece).for_each(|piece| log.push(piece));
                assert_eq!(log.text().as_deref(), Some(text), "in pieces of {piece}");
                let (reader, _) = log.into_parts();
                let log = reader.finish(&LogOptions::default()).unwrap();
                assert_eq!(log.seconds, [0.0, 10.0]);
            }
            assert_eq!(text_of(&file), text);
        }
        let mut short = SentLog::new(1000);
        short.push(b"7");
        assert_eq!(short.into_parts().1.as_deref(), Some("7"));
    }

    fn sent(json: &[u8], piece: usize) -> SentRequest {
        let mut sent = SentJson::new(Named::PumpDown);
        for piece in json.chunks(piece.max(1)) {
            sent.push(piece);
        }
        sent.finish()
    }

    #[test]
    fn logs_are_led_aside_and_the_rest_is_kept() {
        let log = "t_s,p_pa\n0,1\n\"1\",2\n2,3 \u{3bc}\u{1f600}\n";
        let json = json!({
            "healthy_log": log,
            "log": "t_s\tp_pa\r\n0\t5\r\n1\t6\r\n",
            "volume": {"value": 3, "log": "not this one"},
            "note": ["log", "a \\\" b"],
        });
        for text in [
            json.to_string(),
            serde_json::to_string_pretty(&json).expect("JSON"),
        ] {
            for piece in [1, 2, 7, 10_000] {
                let sent = sent(text.as_bytes(), piece);
                let rest: Value = serde_json::from_slice(&sent.json).expect("JSON");
                let mut expected = json.clone();
                expected["log"] = json!("");
                expected["healthy_log"] = json!("");
                assert_eq!(rest, expected);
                let mut logs = sent.logs;
                let mut readings = |name: &str| {
                    let (reader, _) = logs.remove(name).expect("a log").into_parts();
                    reader.finish(&LogOptions::default()).expect("readings")
                };
                assert_eq!(readings("log").pascals, [5.0, 6.0]);
                assert_eq!(
                    readings("healthy_log"),
                    read_log(log.as_bytes(), &LogOptions::default()).expect("readings")
                );
            }
        }
    }

    #[test]
    fn columns_are_led_aside() {
        let json = json!({
            "readings": {"pressures": [1, -2.5e3, 0.125], "seconds": [], "other": [1, 2]},
            "healthy_readings": {"seconds": [1e-7]},
            "volume": {"seconds": [1]},
        });
        for text in [
            json.to_string(),
            serde_json::to_string_pretty(&json).expect("JSON"),
        ] {
            for piece in [1, 4, 1000] {
                let sent = sent(text.as_bytes(), piece);
                let mut expected = json.clone();
                expected["readings"]["pressures"] = json!([]);
                expected["healthy_readings"]["seconds"] = json!([]);
                let rest: Value = serde_json::from_slice(&sent.json).expect("JSON");
                assert_eq!(rest, expected);
                assert_eq!(sent.columns["readings"].pressures, [1.0, -2500.0, 0.125]);
                assert_eq!(sent.columns["healthy_readings"].seconds, [1e-7]);
            }
        }
    }

    /// The request as it comes out, computed or refused, is that of JSON that was read whole.
    #[test]
    fn columns_give_what_whole_json_gives() {
        let patterns = crate::catalogue::source::built_in_patterns().expect("shipped patterns");
        let run = |sent: SentRequest| {
            let place = |line, column| sent.column_as_sent(line, column);
            let shifted = |error: &serde_json::Error| {
                (
                    error.line(),
                    place(error.line(), error.column()),
                    error.classify(),
                )
            };
            let (logs, columns) = (Logs::new(), sent.columns.clone());
            match super::super::named::run_with(Named::Rise, &sent.json, logs, columns, &patterns) {
                Ok(computed) => computed.report().expect("JSON"),
                Err(super::super::named::Refused::Fields(errors)) => format!("{errors:?}"),
                Err(super::super::named::Refused::NotJson(error)) => {
                    format!("{:?}", shifted(&error))
                }
            }
        };
        for columns in [
            r#""seconds": [0, 60, 120, 180], "pressures": [1, 2, 3, 4]"#,
            r#""seconds": [0, 60, "x", 180], "pressures": [1, 2, 3, 4]"#,
            r#""seconds": [0, 60, null], "pressures": [1, 2, -3]"#,
            r#""seconds": [0, 60,], "pressures": [1, 2, 3, 4]"#,
            r#""seconds": [0, 60, 1e999], "pressures": [1]"#,
            r#""seconds": [0 1], "pressures": [1]"#,
            r#""seconds": [[0]], "pressures": [1]"#,
            r#""seconds": [01], "pressures": [1]"#,
            r#""seconds": [0, 1], "pressures": [1"#,
            r#""seconds": [0, 1, 2], "pressures": [1]"#,
            r#""seconds": [], "seconds": [1], "pressures": [1]"#,
            r#""seconds": 5, "pressures": []"#,
            r#""seconds": [5]"#,
            r#""seconds": [5], "pressures": [5], x"#,
        ] {
            for text in [
                format!(r#"{{"readings": {{{columns}}}, "pressure_unit": "pa"}}"#),
                format!(
                    "{{\"readings\": {{{}}},\n \"pressure_unit\": \"pa\"}}",
                    columns.replace(", ", ",\n  ")
                ),
                format!(r#"{{"readings": {{{columns}}}, "pressure_unit": 3, "volume": "x"}}"#),
            ] {
                let whole = run(SentRequest::new(text.clone().into_bytes(), Logs::new()));
                for piece in [1, 7, 1000] {
                    let mut sent = SentJson::new(Named::Rise);
                    for piece in text.as_bytes().chunks(piece) {
                        sent.push(piece);
                    }
                    assert_eq!(run(sent.finish()), whole, "{text}");
                }
            }
        }
    }

    #[test]
    fn logs_below_a_field_are_led_aside_and_handed_on_where_they_are_long() {
        let log = "t_s,p_pa\n0,1\n1,2\n";
        let json = json!({
            "log": "not this",
            "request": {"volume": {"log": "nor this"}, "log": log, "healthy_log": "0,1\n"},
            "kind": "rise", "by": "request",
        });
        for piece in [1, 3, 1000] {
            let mut sent = SentJson::below("request", || SentLog::handing_on(10));
            let mut handed_on = Vec::new();
            for piece in json.to_string().as_bytes().chunks(piece) {
                sent.push(piece);
                for (name, log) in sent.logs() {
                    if let Some(text) = log.hand_on() {
                        assert_eq!(name, "log");
                        handed_on.extend(text);
                    }
                }
            }
            assert_eq!(String::from_utf8_lossy(&handed_on), log);
            let mut sent = sent.finish();
            let rest: Value = serde_json::from_slice(&sent.json).expect("JSON");
            let mut expected = json.clone();
            expected["request"]["log"] = json!("");
            expected["request"]["healthy_log"] = json!("");
            assert_eq!(rest, expected);
            let (_, text) = sent.logs.remove("log").expect("a log").into_parts();
            assert_eq!(text, None);
            let (_, text) = sent.logs.remove("healthy_log").expect("a log").into_parts();
            assert_eq!(text.as_deref(), Some("0,1\n"));
        }
        for text in [
            r#"{"request": [{"log": "a"}]}"#,
            r#"{"request": "x", "kind": {"log": "a"}}"#,
            r#"{"requests": {"log": "a"}}"#,
            r#"[{"request": {"log": "a"}}]"#,
            r#"{"kind": {"request": {"log": "a"}}}"#,
        ] {
            let mut sent = SentJson::below("request", || SentLog::new(0));
            sent.push(text.as_bytes());
            assert!(sent.logs().is_empty(), "{text}");
            assert_eq!(String::from_utf8_lossy(&sent.finish().json), text);
        }
    }

    #[test]
    fn of_a_log_that_stands_twice_the_last_counts() {
        let text =
            r#"{"log": "t_s,p_pa\n0,1\n1,2\n", "log": "t_s,p_pa\n0,3\n1,4\n", "volume": {}}"#;
        for piece in [1, 7, 1000] {
            let mut sent = sent(text.as_bytes(), piece);
            let (reader, _) = sent.logs.remove("log").expect("a log").into_parts();
            let log = reader.finish(&LogOptions::default()).expect("readings");
            assert_eq!(log.pascals, [3.0, 4.0]);
        }
    }

    /// The choice of a column that stands before the log is known while the log is read.
    #[test]
    fn any_column_may_be_chosen_before_the_log() {
        let names: Vec<String> = (0..8).map(|place| format!("P{place} (mbar)")).collect();
        let log = format!(
            "t (s),{}\n0,1,2,3,4,5,6,7,8\n10,1,2,3,4,5,6,7,9\n",
            names.join(",")
        );
        let log = Value::from(log).to_string();
        let column = r#""p7 \u0028mbar)""#;
        let options = LogOptions {
            pressure_column: Some("P7 (mbar)"),
            ..LogOptions::default()
        };
        let read = |sent: &mut SentRequest, name: &str| {
            let (reader, _) = sent.logs.remove(name).expect("a log").into_parts();
            reader.finish(&options)
        };
        for piece in [1, 7, 1000] {
            for (text, known) in [
                (
                    format!(r#"{{"pressure_column": {column}, "log": {log}}}"#),
                    true,
                ),
                (
                    format!(r#"{{"log": {log}, "pressure_column": {column}}}"#),
                    false,
                ),
                (
                    format!(r#"{{"healthy_pressure_column": {column}, "log": {log}}}"#),
                    false,
                ),
                (
                    format!(r#"{{"volume": {{"pressure_column": {column}}}, "log": {log}}}"#),
                    false,
                ),
            ] {
                let log = read(&mut sent(text.as_bytes(), piece), "log");
                assert_eq!(log.is_ok(), known, "{text}: {log:?}");
                if let Ok(log) = log {
                    assert_eq!(log.pascals, [800.0, 900.0]);
                }
            }
            let text = format!(
                r#"{{"request": {{"healthy_pressure_column": {column}, "healthy_log": {log}}}}}"#
            );
            let mut sent = SentJson::below("request", || SentLog::new(0));
            for piece in text.as_bytes().chunks(piece) {
                sent.push(piece);
            }
            assert!(read(&mut sent.finish(), "healthy_log").is_ok(), "{text}");
        }
    }

    #[test]
    fn what_is_no_text_of_a_log_is_left() {
        for text in [
            r#"{"log": null}"#,
            r#"{"log": 5, "volume": {}}"#,
            r#"{"log": ["a"]}"#,
            r#"["log", "a"]"#,
            r#"{"volume": "log", "a": "b"}"#,
            r#"{"lo\u0067": "a\nb"}"#,
            r#"{"log\\": "a"}"#,
        ] {
            let sent = sent(text.as_bytes(), 3);
            assert_eq!(String::from_utf8_lossy(&sent.json), text);
            assert!(sent.logs.is_empty(), "{text}");
        }
    }

    #[test]
    fn a_fault_of_the_json_is_told_at_the_place_where_it_was_sent() {
        for text in [
            r#"{"log": "0,1\n1,2", "volume": x}"#,
            r#"{"log": "0,1\q1,2", "volume": 1}"#,
            r#"{"log": "0,1\ud83d", "volume": 1}"#,
            r#"{"log": "0,1\u00", "volume": 1}"#,
            "{\"log\": \"0,1\n1,2\"}",
            r#"{"log": "0,1\n1,"#,
            r#"{"log": "0,1\"#,
            r#"{"log": "0,1\u00"#,
            r#"{"log": "0,1\n1,2" "volume": 1}"#,
            r#"{"log" "0,1\n1,2", "volume": 1}"#,
            r#"{"log""0,1\n1,2"}"#,
            r#"{"log":: "0,1\n1,2"}"#,
            "{\"log\": \"0,1\",\n \"healthy_log\": \"2,3\\t\", ]",
        ] {
            let expected = serde_json::from_str::<Value>(text).expect_err("no JSON");
            for piece in [1, 5, 1000] {
                let sent = sent(text.as_bytes(), piece);
                let error = serde_json::from_slice::<Value>(&sent.json).expect_err("no JSON");
                assert_eq!(error.classify(), expected.classify(), "{text}");
                assert_eq!(error.line(), expected.line(), "{text}");
                assert_eq!(
                    sent.column_as_sent(error.line(), error.column()),
                    expected.column(),
                    "{text} in pieces of {piece}"
                );
            }
        }
    }

    proptest! {
        #[test]
        fn any_bytes_are_json_or_not_as_they_were_before(
            text in "[-{}\\[\\]\":,\\\\nulog a0\n]{0,60}", piece in 1usize..9
        ) {
            let sent = sent(text.as_bytes(), piece);
            let (before, after) = (
                serde_json::from_str::<Value>(&text),
                serde_json::from_slice::<Value>(&sent.json),
            );
            prop_assert_eq!(before.is_ok(), after.is_ok());
        }

        #[test]
        fn a_log_arrives_as_it_was_written(log in any::<String>(), piece in 1usize..9) {
            let json = json!({"volume": 1, "log": log}).to_string();
            let mut sent = SentJson::new(Named::Rise);
            sent.logs.insert("log".to_owned(), SentLog::new(1 << 20));
            for piece in json.as_bytes().chunks(piece) {
                sent.push(piece);
            }
            let mut sent = sent.finish();
            let (_, text) = sent.logs.remove("log").expect("a log").into_parts();
            prop_assert_eq!(text, Some(log));
            prop_assert_eq!(
                serde_json::from_slice::<Value>(&sent.json).ok(),
                Some(json!({"volume": 1, "log": ""}))
            );
        }
    }
}
