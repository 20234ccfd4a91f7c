//! The quick way to read a record of which nothing is out of the ordinary, as one of many.
//!
//! What it gives is what [`super::read_record`] gives without a refusal; wherever that might
//! refuse, or the record brings a history or planned services, it gives nothing, and the careful way
//! is to be taken. A test holds the two side by side.

use std::{collections::BTreeMap, fmt, marker::PhantomData, str::FromStr};

use jiff::{Timestamp, civil::Date};
use serde::{
    Deserialize, Deserializer,
    de::{self, MapAccess, Visitor},
};

use super::{
    CheckDraft, Draft, RevisionDraft, ToolDetails,
    draft::{
        CHECK_MINUTES, DOWN_HOURS, HELP_MINUTES, LABOUR_MINUTES, LIST_LIMIT, NAME_LIMIT,
        SPEED_LITRES_PER_SECOND, TEXT_LIMIT, VOLUME_LITRES, chamber_can_have, hides,
    },
};
use crate::vacuum::units::{PressureUnit, TypedPressure};

/// Reads a record in its plain form.
pub fn read_plain(text: &str) -> Option<Draft> {
    serde_json::from_str::<Plain>(text).ok()?.draft()
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Plain {
    number: Option<i64>,
    status: Option<String>,
    tool: Option<String>,
    tool_class: Option<String>,
    site: Option<String>,
    tool_details: Option<Details>,
    occurred_at: Option<Moment>,
    closed_at: Option<Moment>,
    #[serde(default)]
    symptom: String,
    #[serde(default)]
    signs: Flags,
    #[serde(default)]
    antecedents: Flags,
    #[serde(default)]
    pressures: Pressures,
    #[serde(default)]
    checks: Vec<Check>,
    cause: Option<String>,
    #[serde(default)]
    fix: String,
    #[serde(default)]
    parts: Vec<String>,
    labour_minutes: Option<f64>,
    down_hours: Option<f64>,
    #[serde(default)]
    proof: String,
    #[serde(default)]
    not_restored_reason: String,
    #[serde(default)]
    notes: String,
    #[serde(default)]
    author: String,
    revision: Option<i64>,
    #[serde(default)]
    revisions: Vec<Revision>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Check {
    #[serde(default)]
    check: String,
    #[serde(default)]
    outcome: String,
    minutes: Option<f64>,
    #[serde(default)]
    note: String,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct Pressures {
    healthy: Option<Pressure>,
    faulty: Option<Pressure>,
    restored: Option<Pressure>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Pressure {
    value: f64,
    unit: String,
}

/// What is known of a tool, without planned services.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Details {
    site_name: Option<String>,
    site_place: Option<String>,
    site_help_minutes: Option<f64>,
    serial: Option<String>,
    in_service: Option<Day>,
    out_of_service: Option<Day>,
    volume_litres: Option<f64>,
    speed_litres_per_second: Option<f64>,
    healthy_base: Option<Pressure>,
    #[serde(default)]
    fitted: Vec<String>,
    #[serde(default)]
    lacking: Vec<String>,
    #[serde(default)]
    gauges: Vec<String>,
}

/// The only state of a record.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Revision {
    revision: Option<i64>,
    at: Option<Moment>,
    #[serde(default)]
    author: String,
    #[serde(default)]
    reason: String,
}

impl Plain {
    fn draft(self) -> Option<Draft> {
        let Pressures {
            healthy,
            faulty,
            restored,
        } = self.pressures;
        let states = i64::try_from(self.revisions.len()).ok()?;
        if states > 1 || self.revision.is_some_and(|revision| revision != states) {
            return None;
        }
        if self.checks.len() > LIST_LIMIT {
            return None;
        }
        Some(Draft {
            number: whole(self.number)?,
            status: name(self.status)?,
            tool: name(self.tool)?,
            tool_class: name(self.tool_class)?,
            site: name(self.site)?,
            tool_details: match self.tool_details {
                Some(told) => Some(details(told)?),
                None => None,
            },
            occurred_at: self.occurred_at.map(|moment| moment.0),
            closed_at: self.closed_at.map(|moment| moment.0),
            symptom: words(self.symptom)?,
            signs: self.signs.0,
            antecedents: self.antecedents.0,
            healthy: pressure(healthy)?,
            faulty: pressure(faulty)?,
            restored: pressure(restored)?,
            checks: self.checks.into_iter().map(check).collect::<Option<_>>()?,
            cause: name(self.cause)?,
            fix: words(self.fix)?,
            parts: names(self.parts)?,
            labour_minutes: within(self.labour_minutes, LABOUR_MINUTES)?,
            down_hours: within(self.down_hours, DOWN_HOURS)?,
            proof: words(self.proof)?,
            not_restored_reason: words(self.not_restored_reason)?,
            notes: words(self.notes)?,
            author: name(Some(self.author))?.unwrap_or_default(),
            revisions: self
                .revisions
                .into_iter()
                .map(revision)
                .collect::<Option<_>>()?,
            calculations: Vec::new(),
        })
    }
}

fn check(check: Check) -> Option<CheckDraft> {
    Some(CheckDraft {
        check: name(Some(check.check))?.unwrap_or_default(),
        outcome: name(Some(check.outcome))?.unwrap_or_default(),
        minutes: within(check.minutes, CHECK_MINUTES)?,
        note: words(check.note)?,
    })
}

fn revision(revision: Revision) -> Option<RevisionDraft> {
    Some(RevisionDraft {
        number: whole(revision.revision)?,
        at: revision.at.map(|moment| moment.0),
        author: name(Some(revision.author))?.unwrap_or_default(),
        reason: words(revision.reason)?,
        record: None,
    })
}

fn details(told: Details) -> Option<ToolDetails> {
    let day = |day: Option<Day>| day.map(|day| day.0);
    Some(ToolDetails {
        site_name: name(told.site_name)?,
        site_place: name(told.site_place)?,
        site_help_minutes: within(told.site_help_minutes, HELP_MINUTES)?,
        serial: name(told.serial)?,
        in_service: day(told.in_service),
        out_of_service: day(told.out_of_service),
        volume_litres: within(told.volume_litres, VOLUME_LITRES)?,
        speed_litres_per_second: within(told.speed_litres_per_second, SPEED_LITRES_PER_SECOND)?,
        healthy_base: pressure(told.healthy_base)?,
        fitted: names(told.fitted)?,
        lacking: names(told.lacking)?,
        gauges: names(told.gauges)?,
        services: Vec::new(),
    })
}

// Each of these gives nothing where the careful way would have something to say.

fn words(text: String) -> Option<String> {
    tidy(text, TEXT_LIMIT)
}

/// A name, or that there is none.
fn name(text: Option<String>) -> Option<Option<String>> {
    let Some(text) = text else {
        return Some(None);
    };
    let text = tidy(text, NAME_LIMIT)?;
    let one_line = !text.contains(['\n', '\t']);
    one_line.then(|| Some(text).filter(|text| !text.is_empty()))
}

fn tidy(text: String, limit: usize) -> Option<String> {
    if text.len() > limit || text.contains('\r') || hides(&text) {
        return None;
    }
    let trimmed = text.trim();
    if trimmed.len() == text.len() {
        return Some(text);
    }
    Some(trimmed.to_owned())
}

fn names(parts: Vec<String>) -> Option<Vec<String>> {
    if parts.len() > LIST_LIMIT {
        return None;
    }
    let names = parts.into_iter().map(|part| {
        let plain = !part.contains(['\n', '\t']);
        if plain { tidy(part, NAME_LIMIT) } else { None }
    });
    let names = names.collect::<Option<Vec<_>>>()?.into_iter();
    Some(names.filter(|name| !name.is_empty()).collect())
}

fn within(number: Option<f64>, [low, high]: [f64; 2]) -> Option<Option<f64>> {
    let fits = number.is_none_or(|number| (low..=high).contains(&number));
    fits.then_some(number)
}

fn whole(number: Option<i64>) -> Option<Option<i64>> {
    number.is_none_or(|number| number > 0).then_some(number)
}

fn pressure(given: Option<Pressure>) -> Option<Option<TypedPressure>> {
    let Some(given) = given else {
        return Some(None);
    };
    let unit: PressureUnit = name(Some(given.unit))??.parse().ok()?;
    let typed = TypedPressure {
        value: given.value,
        unit,
    };
    (given.value > 0.0 && chamber_can_have(&typed)).then_some(Some(typed))
}

/// A time with its offset.
struct Moment(Timestamp);

/// A day of the calendar.
struct Day(Date);

impl<'de> Deserialize<'de> for Moment {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_str(Written(PhantomData)).map(Self)
    }
}

impl<'de> Deserialize<'de> for Day {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_str(Written(PhantomData)).map(Self)
    }
}

/// Reads what is written as text.
struct Written<T>(PhantomData<T>);

impl<T: FromStr<Err: fmt::Display>> Visitor<'_> for Written<T> {
    type Value = T;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a day or a time")
    }

    fn visit_str<E: de::Error>(self, text: &str) -> Result<T, E> {
        text.trim().parse().map_err(E::custom)
    }
}

/// Names with true or false; of a name given twice the last counts.
#[derive(Default)]
struct Flags(BTreeMap<String, bool>);

impl<'de> Deserialize<'de> for Flags {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Reader;
        impl<'de> Visitor<'de> for Reader {
            type Value = Flags;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("names with true or false")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Flags, A::Error> {
                let mut flags: Vec<(String, bool)> = Vec::with_capacity(32);
                while let Some(flag) = map.next_entry()? {
                    flags.push(flag);
                    if flags.len() > LIST_LIMIT {
                        return Err(de::Error::custom("too many"));
                    }
                }
                Ok(Flags(flags.into_iter().collect()))
            }
        }
        deserializer.deserialize_map(Reader)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use serde_json::{Value, json};

    use super::*;
    use crate::casebook::read_record;

    fn usual() -> Value {
        json!({
            "number": 7, "tool_class": "cryo-evaporator", "site": "BRK", "status": "closed",
            "tool": "BRK-04", "occurred_at": "2025-03-04T10:20:00Z",
            "closed_at": "2025-03-04T19:05:00+01:00", "symptom": "won't go below 5e-6",
            "signs": {"cryo-warm": true, "residual-water": false}, "antecedents": {},
            "pressures": {"healthy": {"value": 5e-7, "unit": "torr"},
                "faulty": {"value": 4, "unit": "mTorr"}, "restored": null},
            "checks": [{"check": "change-review", "outcome": "found", "minutes": 15, "note": "é"}],
            "cause": "door-seal-worn", "fix": "new seal\nand a look", "parts": ["O-ring"],
            "tool_details": {"site_name": "Pelmar works", "in_service": "2013-10-01",
                "volume_litres": 70.0, "healthy_base": {"value": 5.1e-9, "unit": "torr"},
                "fitted": ["load-lock"]},
            "labour_minutes": 95, "down_hours": 6.5, "proof": "", "notes": "\ttabbed",
            "author": "arn", "revision": 1,
            "revisions": [{"revision": 1, "at": "2025-03-05T10:20:00Z", "author": "arn"}]
        })
    }

    /// Both ways on one text: the quick one gives what the careful one does, or nothing.
    fn agree(text: &str) -> bool {
        let quick = read_plain(text);
        let told = quick.is_some();
        if let Some(quick) = quick {
            let value: Value = serde_json::from_str(text).expect("what was read is JSON");
            assert_eq!(read_record(&value), (quick, Vec::new()), "{text}");
        }
        told
    }

    #[test]
    fn a_usual_record_is_read_as_the_careful_way_reads_it() {
        assert!(agree(&usual().to_string()));
        assert!(agree("{}"));
        // The last of a name given twice counts, in both ways.
        assert!(agree(r#"{"signs": {"a": true, "b": false, "a": false}}"#));
        for odd in [
            "[]",
            r#"{"tool_details": {"services": []}}"#,
            r#"{"symptom": 5}"#,
            r#"{"symptom": null}"#,
            r#"{"author": "a", "author": "b"}"#,
            r#"{"tool_details": {"volume_litres": 1e9}}"#,
            r#"{"revision": 2, "revisions": []}"#,
            r#"{"revisions": [{}, {}]}"#,
            r#"{"calculations": []}"#,
        ] {
            assert!(!agree(odd), "{odd}");
        }
    }

    fn odd_value() -> impl Strategy<Value = Value> {
        prop_oneof![
            Just(json!(null)),
            Just(json!(true)),
            Just(json!([])),
            Just(json!({})),
            any::<i64>().prop_map(|n| json!(n)),
            any::<f64>().prop_map(|n| json!(n)),
            "[a-z \r\n\t\u{202e}\u{7}é]{0,12}".prop_map(|text| json!(text)),
            Just(json!("x".repeat(201))),
            Just(json!("é".repeat(150))),
            Just(json!("2025-03-04T10:20:00Z")),
            Just(json!(" 2013-10-01")),
            Just(json!(" 2025-03-04 10:20Z ")),
            Just(json!({"value": 5e-7, "unit": " Torr "})),
            Just(json!({"value": 1e9, "unit": "torr"})),
            Just(json!({"value": -1, "unit": "torr"})),
            Just(json!(["a", " b ", ""])),
            Just(json!([{"check": "c", "minutes": 1e9}])),
            Just(json!([{"revision": 1, "author": " a "}])),
        ]
    }

    proptest! {
        /// Whatever stands in place of any field.
        #[test]
        fn the_two_ways_agree(field in 0usize..40, odd in odd_value(), inner in 0usize..4) {
            let mut record = usual();
            let fields = record.as_object_mut().expect("an object");
            let names: Vec<String> = fields.keys().cloned().collect();
            let name = &names[field % names.len()];
            match &mut fields[name] {
                Value::Object(map) if inner > 0 && !map.is_empty() => {
                    let places = map.len();
                    if let Some(place) = map.values_mut().nth(inner % places) {
                        *place = odd;
                    }
                }
                Value::Array(list) if inner > 0 => list.push(odd),
                place => *place = odd,
            }
            agree(&record.to_string());
        }
    }
}
