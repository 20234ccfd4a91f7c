//! The small query language: quoted phrases, minus, field words; the rest is plain words.
//!
//! Pure, and total: anything that can be typed is a query, what cannot be used of it is
//! told in a remark. The pressures and ruled-out words of the plain part are read where all
//! text is read, in `analysis`.

use super::{
    document::Part,
    pressure::{Reading, Told, readings},
};
use crate::catalogue::Kind;

/// Only so many characters of what was typed are looked at.
const MOST_CHARACTERS: usize = 2_000;

/// Only so many quoted phrases, left-out words and field words are looked at.
const MOST_TERMS: usize = 16;

/// A query taken apart.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Query {
    /// What is searched for in any order.
    pub(super) plain: String,
    /// Quoted: these words side by side.
    pub(super) phrases: Vec<Within>,
    /// After a minus: cases with this are left out.
    pub(super) left_out: Vec<Within>,
    /// After a field word: words that have to be in that part.
    pub(super) required: Vec<Within>,
    /// After `before:` or `pressure:`.
    pub(super) pressures: Vec<(Reading, String)>,
    /// After `tool:`, `site:`, `class:`, `status:`.
    pub(super) named: Vec<(Named, String)>,
    /// After `kind:`.
    pub(super) kind: Option<Kind>,
    /// What could not be used.
    pub(super) remarks: Vec<String>,
}

/// Words, in one part of a case or anywhere.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Within {
    /// In which part; anywhere if none.
    pub(super) part: Option<Part>,
    /// The words.
    pub(super) text: String,
}

/// What a case has exactly one of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Named {
    /// Its tool.
    Tool,
    /// Its site.
    Site,
    /// Its tool class.
    Class,
    /// Open or closed.
    Status,
}

enum Field {
    Part(Part),
    Named(Named),
    Kind,
    Pressure(Told),
}

fn field(word: &str) -> Option<Field> {
    Some(match word.to_lowercase().as_str() {
        "symptom" => Field::Part(Part::Symptom),
        "cause" | "component" => Field::Part(Part::Cause),
        "fix" => Field::Part(Part::Fix),
        "notes" | "note" => Field::Part(Part::Notes),
        "sign" | "signs" | "antecedent" => Field::Part(Part::Facts),
        "tool" => Field::Named(Named::Tool),
        "site" => Field::Named(Named::Site),
        "class" => Field::Named(Named::Class),
        "status" => Field::Named(Named::Status),
        "kind" => Field::Kind,
        "pressure" => Field::Pressure(Told::Now),
        "healthy" => Field::Pressure(Told::Before),
        _ => return None,
    })
}

/// Takes a query apart.
pub(super) fn parse(typed: &str) -> Query {
    let mut query = Query::default();
    let end = typed
        .char_indices()
        .nth(MOST_CHARACTERS)
        .map_or(typed.len(), |(at, _)| at);
    if end < typed.len() {
        query.remarks.push(format!(
            "Only the first {MOST_CHARACTERS} characters were looked at."
        ));
    }
    let mut rest = &typed[..end];
    let mut terms = 0;
    while !rest.is_empty() {
        let word = rest.trim_start();
        let gap = rest.len() - word.len();
        query.plain.push_str(&rest[..gap]);
        let taken = if terms < MOST_TERMS {
            term(word, &mut query)
        } else {
            None
        };
        let used = match taken {
            Some(used) => {
                terms += 1;
                query.plain.push_str(" ; ");
                used
            }
            None => {
                let used = word.find(char::is_whitespace).unwrap_or(word.len());
                query.plain.push_str(&word[..used]);
                used
            }
        };
        rest = &word[used..];
    }
    query
}

/// Takes a phrase, a minus or a field word off the front; how long it was.
fn term(text: &str, query: &mut Query) -> Option<usize> {
    if let Some((inside, used)) = quoted(text) {
        query.phrases.push(within(None, inside)?);
        return Some(used);
    }
    if let Some(after) = text.strip_prefix('-') {
        if let Some((inside, used)) = quoted(after) {
            query.left_out.push(within(None, inside)?);
            return Some(1 + used);
        }
        if !after.starts_with(char::is_alphabetic) {
            return None;
        }
        let (part, value, used) = match after.split_once(':') {
            Some((word, value)) if part(word).is_some() => {
                let (value, used) = value_of(value);
                (part(word), value, word.len() + 1 + used)
            }
            _ => {
                let used = after.find(char::is_whitespace).unwrap_or(after.len());
                (None, &after[..used], used)
            }
        };
        query.left_out.push(within(part, value)?);
        return Some(1 + used);
    }
    let colon = text.find(|c: char| !c.is_alphabetic())?;
    if !text[colon..].starts_with(':') {
        return None;
    }
    let field = field(&text[..colon])?;
    let (value, used) = value_of(&text[colon + 1..]);
    if value.trim().is_empty() {
        return None;
    }
    match field {
        Field::Part(part) => query.required.push(within(Some(part), value)?),
        Field::Named(named) => query.named.push((named, value.trim().to_owned())),
        Field::Kind => match kind(value) {
            Some(kind) => query.kind = Some(kind),
            None => {
                let known: Vec<_> = Kind::ALL.iter().map(|kind| kind.id()).collect();
                query.remarks.push(format!(
                    "No kind of cause is called “{}”; there are {}.",
                    value.trim(),
                    known.join(", ")
                ));
            }
        },
        Field::Pressure(told) => {
            let (value, used) = with_unit(&text[colon + 1..], used);
            let found = readings(value);
            if found.is_empty() {
                query.remarks.push(format!(
                    "“{}” could not be read as a pressure; write it like 4e-5 or 1e-6..1e-5 torr.",
                    value.trim()
                ));
            }
            for reading in found {
                let shown = value[reading.place.clone()].to_owned();
                query.pressures.push((Reading { told, ..reading }, shown));
            }
            return Some(colon + 1 + used);
        }
    }
    Some(colon + 1 + used)
}

fn part(word: &str) -> Option<Part> {
    match field(word) {
        Some(Field::Part(part)) => Some(part),
        _ => None,
    }
}

fn within(part: Option<Part>, text: &str) -> Option<Within> {
    text.contains(char::is_alphanumeric).then(|| Within {
        part,
        text: text.to_owned(),
    })
}

fn kind(value: &str) -> Option<Kind> {
    let plain = value.trim().to_lowercase().replace([' ', '_'], "-");
    plain.parse().ok()
}

/// A quoted text at the front, and its length with the quotes; none without a closing quote.
fn quoted(text: &str) -> Option<(&str, usize)> {
    let open = text
        .chars()
        .next()
        .filter(|c| matches!(c, '"' | '“' | '„'))?;
    let inside = &text[open.len_utf8()..];
    let end = inside.find(['"', '”', '“'])?;
    let close = inside[end..].chars().next()?;
    Some((&inside[..end], open.len_utf8() + end + close.len_utf8()))
}

/// The value after a field word: quoted, or up to white space.
fn value_of(text: &str) -> (&str, usize) {
    quoted(text).unwrap_or_else(|| {
        let used = text.find(char::is_whitespace).unwrap_or(text.len());
        (&text[..used], used)
    })
}

/// A pressure's unit may stand after a space.
fn with_unit(text: &str, used: usize) -> (&str, usize) {
    let after = &text[used..];
    let word = after.trim_start();
    let length = word.find(char::is_whitespace).unwrap_or(word.len());
    let unit = word[..length].parse::<crate::vacuum::units::PressureUnit>();
    if unit.is_ok() {
        let used = used + after.len() - word.len() + length;
        (&text[..used], used)
    } else {
        (&text[..used], used)
    }
}
