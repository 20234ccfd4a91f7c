//! Reads JSON as a request and names every field that does not fit, all at once.
//!
//! A reader of JSON stops at the first field that does not fit. So a stand-in that fits is put in its
//! place, and the rest is read again, until all of it fits.

use std::borrow::Cow;

use serde::de::DeserializeOwned;
use serde_json::{Map, Value};
use serde_path_to_error::Segment;

use super::FieldError;

/// A request that was read in part.
pub(super) struct Misfits<Q> {
    /// Every field that does not fit.
    pub(super) errors: Vec<FieldError>,
    /// The request without the outermost fields that these are in, where it is one.
    pub(super) without: Option<Q>,
}

/// Why JSON was not read.
pub(super) enum Unread<Q> {
    /// It is none.
    NotJson(serde_json::Error),
    /// Fields do not fit.
    Misfits(Box<Misfits<Q>>),
}

/// The most misfits that are looked for.
const MOST: usize = 50;
/// Bytes of JSON that may be read again in all on the way.
const READ_AGAIN: usize = 64 << 20;

/// Reads JSON; fields that do not fit are named with their paths.
pub(super) fn read<Q: DeserializeOwned>(json: &[u8]) -> Result<Q, Unread<Q>> {
    let mut reader = serde_json::Deserializer::from_slice(json);
    let error = match serde_path_to_error::deserialize::<_, Q>(&mut reader) {
        Ok(request) => {
            reader.end().map_err(Unread::NotJson)?;
            return Ok(request);
        }
        Err(error) => error,
    };
    // Text that is JSON after all was only none of the kind wanted.
    let value: Value = serde_json::from_slice(json).map_err(Unread::NotJson)?;
    let mut misfits = all(value, READ_AGAIN / json.len().max(1));
    if misfits.errors.is_empty() {
        // A fault that only the text has, such as a field given twice.
        let path = error.path().to_string();
        misfits.errors.push(misfit(&path, error.inner()));
        misfits.without = None;
    }
    Err(Unread::Misfits(Box::new(misfits)))
}

/// A place in a value, from its root.
type Place = Vec<Step>;

#[derive(Clone, Debug, PartialEq)]
enum Step {
    Field(String),
    Item(usize),
}

/// All fields of `value` that do not fit, found by reading it again at most `tries` times.
fn all<Q: DeserializeOwned>(mut value: Value, mut tries: usize) -> Misfits<Q> {
    let mut errors: Vec<FieldError> = Vec::new();
    let mut mended: Vec<Place> = Vec::new();
    let mut without = value.clone();
    while errors.len() < MOST && value.is_object() {
        let Err((place, error)) = attempt::<Q>(&value) else {
            break;
        };
        if !mended.iter().any(|known| place.starts_with(known)) {
            errors.push(error.clone());
        }
        if let (Some(fields), Some(Step::Field(outermost))) =
            (without.as_object_mut(), place.first())
        {
            fields.remove(outermost);
        }
        if mend::<Q>(&mut value, &place, &error, &mut tries).is_none() {
            break;
        }
        mended.push(place);
    }
    Misfits {
        errors,
        without: attempt(&without).ok(),
    }
}

/// Reads a value; otherwise says where it does not fit and why.
fn attempt<Q: DeserializeOwned>(value: &Value) -> Result<Q, (Place, FieldError)> {
    serde_path_to_error::deserialize(value).map_err(|error| {
        let mut place: Place = error
            .path()
            .iter()
            .filter_map(|segment| match segment {
                Segment::Seq { index } => Some(Step::Item(*index)),
                Segment::Map { key } => Some(Step::Field(key.clone())),
                Segment::Enum { .. } | Segment::Unknown => None,
            })
            .collect();
        let path = error.path().to_string();
        let inner = error.into_inner();
        let words = inner.to_string();
        let name = ["missing field `", "unknown field `"]
            .iter()
            .find_map(|start| words.strip_prefix(start)?.split_once('`'))
            .map(|(name, _)| Step::Field(name.to_owned()));
        if let Some(name) = name
            && place.last() != Some(&name)
        {
            place.push(name);
        }
        (place, misfit(&path, &inner))
    })
}

/// Puts something that fits at a place; `None` if nothing does.
fn mend<Q: DeserializeOwned>(
    value: &mut Value,
    place: &[Step],
    error: &FieldError,
    tries: &mut usize,
) -> Option<()> {
    let mut stand_ins = vec![
        Some(Value::from(1)),
        Some(Value::from(true)),
        Some(Value::from("")),
        Some(Value::Array(Vec::new())),
        Some(Value::Object(Map::new())),
        None,
    ];
    stand_ins.extend(first_accepted(&error.accepted).map(|word| Some(Value::from(word))));
    // Fields filled in below an empty object count as fitting.
    let mut partly = None;
    while let Some(stand_in) = stand_ins.pop() {
        *tries = tries.checked_sub(1)?;
        let is_object = stand_in.as_ref().is_some_and(Value::is_object);
        let mut changed = value.clone();
        put(&mut changed, place, stand_in)?;
        match attempt::<Q>(&changed) {
            Err((at, error)) if at == place => {
                // The values it may have are told only when a text is given.
                if let Some(word) = first_accepted(&error.accepted)
                    && error.problem.starts_with("\"\"")
                {
                    stand_ins.push(Some(Value::from(word)));
                }
            }
            Err((at, _)) if at.starts_with(place) => {
                if is_object {
                    partly = Some(changed);
                }
            }
            _ => {
                *value = changed;
                return Some(());
            }
        }
    }
    *value = partly?;
    Some(())
}

/// The first of the words that are accepted, as in `pa, mbar, torr`.
fn first_accepted(accepted: &str) -> Option<&str> {
    let first = accepted.split(',').next()?.trim();
    let first = first.strip_prefix("one of ").unwrap_or(first);
    (!first.is_empty() && !first.contains(' ')).then_some(first)
}

/// Puts a value at a place, or takes away what is there; `None` if there is no such place.
fn put(value: &mut Value, place: &[Step], new: Option<Value>) -> Option<()> {
    let (last, way) = place.split_last()?;
    let mut around = value;
    for step in way {
        around = match step {
            Step::Field(name) => around.get_mut(name)?,
            Step::Item(index) => around.get_mut(index)?,
        };
    }
    match (last, new) {
        (Step::Field(name), None) => {
            around.as_object_mut()?.remove(name);
        }
        (Step::Field(name), Some(new)) => {
            around.as_object_mut()?.insert(name.clone(), new);
        }
        (Step::Item(index), new) => *around.get_mut(index)? = new.unwrap_or(Value::Null),
    }
    Some(())
}

/// What does not fit, in the words of the other refusals.
fn misfit(path: &str, error: &serde_json::Error) -> FieldError {
    let words = error.to_string();
    let place = format!(" at line {} column {}", error.line(), error.column());
    let words = words.strip_suffix(&place).unwrap_or(&words);
    let path = if path == "." { "" } else { path };
    let below = |name: &str| match path {
        "" => name.to_owned(),
        path => format!("{path}.{name}"),
    };
    if let Some(name) = words
        .strip_prefix("missing field `")
        .and_then(|rest| rest.strip_suffix('`'))
    {
        return FieldError::new(below(name), "is missing", "this field with a value");
    }
    if let Some((name, expected)) = words
        .strip_prefix("unknown field `")
        .and_then(|rest| rest.split_once('`'))
    {
        let accepted = match listed(expected) {
            Some(names) => format!("one of {names}"),
            None => "no field here".to_owned(),
        };
        let field = if path == name || path.ends_with(&format!(".{name}")) {
            path.to_owned()
        } else {
            below(name)
        };
        return FieldError::new(field, "is not a field known here", accepted);
    }
    let field = if path.is_empty() { "body" } else { path };
    if let Some((value, expected)) = words
        .strip_prefix("unknown variant `")
        .and_then(|rest| rest.split_once('`'))
    {
        return FieldError::new(
            field,
            format!("{value:?} is not one of the values"),
            listed(expected).unwrap_or_else(|| "one of the values".to_owned()),
        );
    }
    if let Some((given, expected)) = words
        .strip_prefix("invalid type: ")
        .or_else(|| words.strip_prefix("invalid value: "))
        .and_then(|rest| rest.rsplit_once(", expected "))
    {
        return FieldError::new(field, format!("is {}", given_kind(given)), kind(expected));
    }
    match words.split_once("; accepted: ") {
        Some((problem, accepted)) => FieldError::new(field, problem, accepted),
        None => FieldError::new(field, words, "a value of the kind described"),
    }
}

/// The names of `, expected one of `a`, `b``, without their marks.
fn listed(expected: &str) -> Option<String> {
    let names = expected.strip_prefix(", expected ")?;
    let names = names.strip_prefix("one of ").unwrap_or(names);
    Some(names.replace('`', ""))
}

/// What was given, in words.
fn given_kind(given: &str) -> Cow<'_, str> {
    match given {
        "map" => "an object".into(),
        "sequence" => "a list".into(),
        "null" => "null".into(),
        other => format!("the {other}").into(),
    }
}

/// What a type of the program is called outside it.
fn kind(expected: &str) -> String {
    match expected {
        "f64" | "f32" => "a number".to_owned(),
        "string or map" => "a text".to_owned(),
        "u64" | "u32" | "usize" => "a whole number, zero or more".to_owned(),
        "a sequence" => "a list".to_owned(),
        "struct Typed" => r#"an object like {"value": 5e-6, "unit": "torr"}"#.to_owned(),
        other if other.starts_with("struct ") => "an object".to_owned(),
        other => other.to_owned(),
    }
}
