//! The small query language: quoted phrases, minus, field words; the rest is plain words.
//!
//! Pure, and total: anything that can be typed is a query, what cannot be used of it is
//! told in a remark. The pressures and ruled-out words of the plain part are read where all
//! text is read, in `analysis`.

use std::borrow::Cow;

use super::remark::Remark;
use crate::search::{
    indexed::document::{Noted, Part},
    reading::pressure::{Reading, Told, readings},
};

/// Only so many characters of what was typed are looked at.
const MOST_CHARACTERS: usize = 2_000;

/// Only so many quoted phrases, left-out words and field words are looked at.
const MOST_TERMS: usize = 16;

/// Only so many characters after a field word are looked at for a pressure.
const LONGEST_PRESSURE: usize = 60;

/// A query taken apart.
#[derive(Clone, Debug, Default, PartialEq)]
pub(in crate::search) struct Query {
    /// What is searched for in any order.
    pub(in crate::search) plain: String,
    /// Quoted: these words side by side.
    pub(in crate::search) phrases: Vec<Within>,
    /// After a minus: cases with this are left out.
    pub(in crate::search) left_out: Vec<Within>,
    /// After a field word: words that have to be in that part.
    pub(in crate::search) required: Vec<Within>,
    /// Quoted, or after `healthy:` or `pressure:`.
    pub(in crate::search) pressures: Vec<(Reading, String)>,
    /// The same after a minus.
    pub(in crate::search) pressures_left_out: Vec<(Reading, String)>,
    /// After `tool:`, `site:`, `class:`, `status:`, `kind:`, and numbers of incidents.
    pub(in crate::search) named: Vec<NamedValue>,
    /// What could not be used.
    pub(in crate::search) remarks: Vec<Remark>,
}

/// Words, in one part of a case or anywhere.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::search) struct Within {
    /// In which part; anywhere if none.
    pub(in crate::search) part: Option<Part>,
    /// Of the notes, in which of the things they are put together from.
    pub(in crate::search) noted: Option<Noted>,
    /// Whether the field word asks for a component.
    pub(in crate::search) component: bool,
    /// The words.
    pub(in crate::search) text: String,
}

/// A value that a case has to have, or must not have, as typed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::search) struct NamedValue {
    pub(in crate::search) named: Named,
    pub(in crate::search) value: String,
    pub(in crate::search) left_out: bool,
}

/// What a case has exactly one of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::search) enum Named {
    /// Its tool.
    Tool,
    /// Its site.
    Site,
    /// Its tool class.
    Class,
    /// Open or closed.
    Status,
    /// The kind of its cause.
    Kind,
    /// Its number.
    Number,
    /// Its cause, by the catalogue's id or name.
    Cause,
    /// A sign seen, in the same way.
    Sign,
    /// A sign looked for and not seen.
    Unseen,
    /// Something that happened before, in the same way.
    Antecedent,
}

impl Named {
    /// The name people read.
    pub(in crate::search) fn name(self) -> &'static str {
        match self {
            Self::Tool => "tool",
            Self::Site => "site",
            Self::Class => "tool class",
            Self::Status => "status",
            Self::Kind => "kind of cause",
            Self::Number => "incident",
            Self::Cause => "cause",
            Self::Sign => "sign",
            Self::Unseen => "sign not seen:",
            Self::Antecedent => "antecedent",
        }
    }

    /// Whether a case has no more than one.
    pub(in crate::search) fn is_single(self) -> bool {
        !matches!(self, Self::Sign | Self::Unseen | Self::Antecedent)
    }
}

enum Field {
    Part(Part),
    Noted(Noted),
    Named(Named),
    Pressure(Told),
}

impl Field {
    /// What may stand behind it.
    fn example(&self) -> &'static str {
        match self {
            Self::Part(Part::Symptom) => "stuck",
            Self::Part(Part::Cause) => "gauge",
            Self::Part(Part::Fix) => "cleaned",
            Self::Part(Part::Notes) | Self::Noted(_) => "helium",
            Self::Part(Part::Facts) => "linear",
            Self::Named(Named::Tool) => "BRK-04",
            Self::Named(Named::Site) => "BRK",
            Self::Named(Named::Class) => "cryo-evaporator",
            Self::Named(Named::Status) => "open",
            Self::Named(Named::Kind) => "air-leak",
            Self::Named(Named::Number) => "123",
            Self::Named(Named::Cause) => "cryo-saturated",
            Self::Named(Named::Sign | Named::Unseen) => "rise-linear",
            Self::Named(Named::Antecedent) => "power-cut",
            Self::Pressure(_) => "4e-5",
        }
    }
}

fn field(word: &str) -> Option<Field> {
    Some(match word.to_lowercase().as_str() {
        "symptom" => Field::Part(Part::Symptom),
        "cause" | "component" => Field::Part(Part::Cause),
        "fix" => Field::Part(Part::Fix),
        "notes" | "note" => Field::Noted(Noted::NOTES),
        "proof" => Field::Noted(Noted::PROOF),
        "reason" => Field::Noted(Noted::REASON),
        "parts" => Field::Noted(Noted::PARTS),
        "checks" => Field::Noted(Noted::CHECKS),
        "sign" | "signs" | "antecedent" | "antecedents" => Field::Part(Part::Facts),
        "tool" => Field::Named(Named::Tool),
        "site" => Field::Named(Named::Site),
        "class" => Field::Named(Named::Class),
        "status" => Field::Named(Named::Status),
        "kind" => Field::Named(Named::Kind),
        "number" | "incident" => Field::Named(Named::Number),
        "pressure" => Field::Pressure(Told::Now),
        "healthy" => Field::Pressure(Told::Before),
        _ => return None,
    })
}

/// Whether a word is a field word.
pub(in crate::search) fn is_field(word: &str) -> bool {
    field(word).is_some()
}

/// Takes a query apart.
pub(in crate::search) fn parse(typed: &str) -> Query {
    let mut query = Query::default();
    let typed = &*usual_width(typed);
    let end = typed
        .char_indices()
        .nth(MOST_CHARACTERS)
        .map_or(typed.len(), |(at, _)| at);
    if end < typed.len() {
        query.remarks.push(Remark::Cut(MOST_CHARACTERS));
    }
    let mut rest = &typed[..end];
    if let Some(number) = incident(rest).or_else(|| numbered(rest)) {
        query.named.push(NamedValue {
            named: Named::Number,
            value: number.to_owned(),
            left_out: false,
        });
        return query;
    }
    if let Some((number, used)) = begun_by_number(rest) {
        query.named.push(NamedValue {
            named: Named::Number,
            value: number.to_owned(),
            left_out: false,
        });
        rest = &rest[used..];
    }
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

/// The number of `incident 123`, `case no. 123`, where nothing else is asked.
fn incident(text: &str) -> Option<&str> {
    let mut words = text.split_whitespace().peekable();
    let first = words.next()?.to_lowercase();
    if !["incident", "case", "report"].contains(&first.trim_end_matches(':')) {
        return None;
    }
    let second = words.peek()?.to_lowercase();
    if ["no", "no.", "nr", "nr.", "number"].contains(&second.as_str()) {
        words.next();
    }
    let number = words.next()?.trim_start_matches('#');
    (words.next().is_none() && is_number(number)).then_some(number)
}

/// The number of `#123`, where nothing else is asked: `post #3 hot` names no incident.
fn numbered(text: &str) -> Option<&str> {
    let number = text.trim().strip_prefix('#')?;
    let number = number.trim_end_matches([',', '.', ';']);
    is_number(number).then_some(number)
}

/// The number of `#123 foil`, and where it ends. A sign with fewer figures counts the parts of a tool.
fn begun_by_number(text: &str) -> Option<(&str, usize)> {
    const FIGURES: usize = 3;
    let begins = text.len() - text.trim_start().len();
    let first = text[begins..].split_whitespace().next()?;
    let number = numbered(first)?;
    (number.len() >= FIGURES).then_some((number, begins + first.len()))
}

fn is_number(text: &str) -> bool {
    !text.is_empty() && text.len() <= 12 && text.bytes().all(|b| b.is_ascii_digit())
}

/// Takes a phrase, a minus or a field word off the front; how long it was.
fn term(text: &str, query: &mut Query) -> Option<usize> {
    let (text, minus) = match text.strip_prefix('-') {
        Some(after) => (after, true),
        None => (text, false),
    };
    let shift = usize::from(minus);
    if let Some((inside, used)) = quoted(text) {
        if let Some(reading) = whole_pressure(inside) {
            pressures(query, minus).push((reading, inside.trim().to_owned()));
        } else {
            let list = if minus {
                &mut query.left_out
            } else {
                &mut query.phrases
            };
            list.push(within(None, inside)?);
            if !minus {
                // A pressure is no word.
                let all = readings(inside).into_iter();
                let shown = all.map(|reading| (reading.clone(), reading.shown(inside).to_owned()));
                query.pressures.extend(shown);
            }
        }
        return Some(shift + used);
    }
    if let Some(used) = field_word(text, minus, query) {
        return Some(shift + used);
    }
    if !minus {
        return None;
    }
    let used = text.find(char::is_whitespace).unwrap_or(text.len());
    if let Some(number) = numbered(&text[..used]) {
        query.named.push(NamedValue {
            named: Named::Number,
            value: number.to_owned(),
            left_out: true,
        });
        return Some(shift + used);
    }
    if !awaits_power(&query.plain)
        && let Some((reading, used)) = first_pressure(text)
    {
        query
            .pressures_left_out
            .push((reading, text[..used].to_owned()));
        return Some(shift + used);
    }
    if !text.starts_with(char::is_alphabetic) {
        return None;
    }
    query.left_out.push(within(None, &text[..used])?);
    Some(shift + used)
}

/// Whether a text ends in a number to which a minus behind it belongs: `4`, `4.0 E`.
fn awaits_power(text: &str) -> bool {
    let text = text.trim_end();
    let number = text.strip_suffix(['e', 'E']).map_or(text, str::trim_end);
    number.ends_with(|c: char| c.is_ascii_digit())
}

/// Full-width letters, figures and signs in their usual width; an input method for Chinese or Japanese
/// writes them.
fn usual_width(typed: &str) -> Cow<'_, str> {
    const WIDE: std::ops::RangeInclusive<char> = '！'..='～';
    if !typed.contains(|c| WIDE.contains(&c)) {
        return Cow::Borrowed(typed);
    }
    let narrow = |c: char| {
        let code = u8::try_from(u32::from(c) - u32::from('！') + u32::from('!'));
        code.map_or(c, char::from)
    };
    let each = typed.chars();
    Cow::Owned(
        each.map(|c| if WIDE.contains(&c) { narrow(c) } else { c })
            .collect(),
    )
}

fn pressures(query: &mut Query, left_out: bool) -> &mut Vec<(Reading, String)> {
    if left_out {
        &mut query.pressures_left_out
    } else {
        &mut query.pressures
    }
}

/// Takes `word:value` off the front; how long it was.
fn field_word(text: &str, minus: bool, query: &mut Query) -> Option<usize> {
    let colon = text.find(|c: char| !c.is_alphabetic())?;
    let after = text[colon..].strip_prefix(':')?;
    let word = &text[..colon];
    let spaces = after.len() - after.trim_start().len();
    let Some(field) = field(word) else {
        return unknown_field(text, colon, minus, query);
    };
    let after = &after[spaces..];
    let label = spaces > 0 && !matches!(field, Field::Pressure(_));
    if label && first_pressure(after).is_some() {
        // `note: 5e-6 linear` is a line of a report under its heading.
        return Some(colon + 1);
    }
    let (value, used) = value_of(after);
    let value = value.trim();
    let end = colon + 1 + spaces;
    if value.is_empty() {
        query.remarks.push(Remark::NothingBehind {
            word: word.to_owned(),
            example: field.example(),
        });
        return Some(end + used);
    }
    let words = |part, noted| {
        Some(Within {
            noted,
            component: word.eq_ignore_ascii_case("component"),
            ..within(Some(part), value)?
        })
    };
    let list = |query: &mut Query, words| match minus {
        true => query.left_out.push(words),
        false => query.required.push(words),
    };
    match field {
        Field::Part(part) => list(query, words(part, None)?),
        Field::Noted(noted) => list(query, words(Part::Notes, Some(noted))?),
        Field::Named(named) => query.named.push(NamedValue {
            named,
            value: value.to_owned(),
            left_out: minus,
        }),
        Field::Pressure(told) => {
            let (found, shown, used) = match (quoted(after), first_pressure(after)) {
                (Some((inside, used)), _) => (whole_pressure(inside), inside, used),
                (None, Some((reading, used))) => (Some(reading), &after[..used], used),
                (None, None) => (None, value, used),
            };
            match found {
                Some(reading) => {
                    pressures(query, minus).push((Reading { told, ..reading }, shown.to_owned()));
                }
                None => {
                    let shown = shown.trim().to_owned();
                    query.remarks.push(Remark::NoPressure(shown));
                }
            }
            return Some(end + used);
        }
    }
    Some(end + used)
}

/// What looks like a field word and is none: it is searched for as words, and told.
fn unknown_field(text: &str, colon: usize, minus: bool, query: &mut Query) -> Option<usize> {
    let (word, after) = (&text[..colon], &text[colon + 1..]);
    let begins = |c: char| c.is_alphanumeric() || matches!(c, '"' | '“' | '„');
    (word.chars().count() > 2 && after.starts_with(begins)).then_some(())?;
    query.remarks.push(Remark::NoFieldWord(word.to_owned()));
    let (value, used) = value_of(after);
    if minus {
        query.left_out.push(within(None, value)?);
    } else {
        query.plain.push_str(word);
        query.plain.push(' ');
        query.plain.push_str(value);
    }
    Some(colon + 1 + used)
}

/// The pressure that a text begins with, and how long it is.
fn first_pressure(text: &str) -> Option<(Reading, usize)> {
    let end = text
        .char_indices()
        .nth(LONGEST_PRESSURE)
        .map_or(text.len(), |(at, _)| at);
    let reading = readings(&text[..end]).into_iter().next()?;
    let used = reading.place.end;
    (reading.place.start == 0).then_some((reading, used))
}

/// A text that is one pressure and nothing else.
fn whole_pressure(text: &str) -> Option<Reading> {
    let text = text.trim();
    let (reading, used) = first_pressure(text)?;
    (used == text.len()).then_some(reading)
}

fn within(part: Option<Part>, text: &str) -> Option<Within> {
    text.contains(char::is_alphanumeric).then(|| Within {
        part,
        noted: None,
        component: false,
        text: text.to_owned(),
    })
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
