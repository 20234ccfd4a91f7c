//! JSON whose objects have each name once: of two answers to one question the last would
//! otherwise count, silently.

use std::fmt;

use serde::{
    Deserialize, Deserializer,
    de::{Error, MapAccess, SeqAccess, Visitor},
};
use serde_json::{Map, Value};

/// Any JSON, read so.
pub(crate) struct Once(pub(crate) Value);

impl<'de> Deserialize<'de> for Once {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(Reading).map(Self)
    }
}

struct Reading;

impl<'de> Visitor<'de> for Reading {
    type Value = Value;

    fn expecting(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str("JSON")
    }

    fn visit_bool<E>(self, value: bool) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_i64<E>(self, value: i64) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_u64<E>(self, value: u64) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_f64<E>(self, value: f64) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_str<E>(self, value: &str) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_string<E>(self, value: String) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_unit<E>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut from: A) -> Result<Value, A::Error> {
        let mut all = Vec::new();
        while let Some(Once(value)) = from.next_element()? {
            all.push(value);
        }
        Ok(all.into())
    }

    fn visit_map<A: MapAccess<'de>>(self, mut from: A) -> Result<Value, A::Error> {
        let mut all = Map::new();
        while let Some((name, Once(value))) = from.next_entry::<String, Once>()? {
            if all.contains_key(&name) {
                return Err(A::Error::custom(format!(
                    "{name:?} is given twice; accepted is once"
                )));
            }
            all.insert(name, value);
        }
        Ok(all.into())
    }
}
