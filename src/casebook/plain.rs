//! The quick way to read a record of which nothing is out of the ordinary, as one of many.
//!
//! What it gives is what [`super::read_record`] gives without a refusal; wherever that might
//! refuse, or the record brings a history or planned services, it gives nothing, and the careful way
//! is to be taken. A test holds the two side by side.

use std::{borrow::Cow, collections::BTreeMap, fmt, marker::PhantomData, str::FromStr};

use jiff::{Timestamp, civil::Date};
use serde::{
    Deserialize, Deserializer,
    de::{self, MapAccess, SeqAccess, Visitor},
};

use super::{
    CheckDraft, Draft, Outcome, RevisionDraft, ToolDetails,
    draft::{
        CHECK_MINUTES, DOWN_HOURS, HELP_MINUTES, LABOUR_MINUTES, LIST_LIMIT, NAME_LIMIT,
        SPEED_LITRES_PER_SECOND, TEXT_LIMIT, VOLUME_LITRES, chamber_can_have, hides,
    },
};
use crate::vacuum::units::{PressureUnit, TypedPressure};

/// Reads a record in its plain form.
pub fn read_plain(text: &str) -> Option<Draft> {
    let plain: Plain<'_> = serde_json::from_str(text).ok()?;
    Reader::of(text).draft(plain)
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Plain<'a> {
    number: Option<i64>,
    #[serde(borrow)]
    status: Option<Text<'a>>,
    tool: Option<Text<'a>>,
    tool_class: Option<Text<'a>>,
    site: Option<Text<'a>>,
    tool_details: Option<Details<'a>>,
    occurred_at: Option<Moment>,
    closed_at: Option<Moment>,
    #[serde(default)]
    symptom: Text<'a>,
    #[serde(default)]
    signs: Flags<'a>,
    #[serde(default)]
    antecedents: Flags<'a>,
    #[serde(default)]
    pressures: Pressures<'a>,
    #[serde(borrow, default, deserialize_with = "with_room")]
    checks: Vec<Check<'a>>,
    cause: Option<Text<'a>>,
    #[serde(default)]
    fix: Text<'a>,
    #[serde(default)]
    parts: Vec<Text<'a>>,
    labour_minutes: Option<f64>,
    down_hours: Option<f64>,
    #[serde(default)]
    proof: Text<'a>,
    #[serde(default)]
    not_restored_reason: Text<'a>,
    #[serde(default)]
    notes: Text<'a>,
    #[serde(default)]
    author: Text<'a>,
    revision: Option<i64>,
    #[serde(default)]
    revisions: Vec<Revision<'a>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Check<'a> {
    #[serde(borrow, default)]
    check: Text<'a>,
    #[serde(default)]
    outcome: Text<'a>,
    minutes: Option<f64>,
    #[serde(default)]
    note: Text<'a>,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct Pressures<'a> {
    #[serde(borrow)]
    healthy: Option<Pressure<'a>>,
    faulty: Option<Pressure<'a>>,
    restored: Option<Pressure<'a>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Pressure<'a> {
    value: f64,
    #[serde(borrow)]
    unit: Text<'a>,
}

/// What is known of a tool, without planned services.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Details<'a> {
    #[serde(borrow)]
    site_name: Option<Text<'a>>,
    site_place: Option<Text<'a>>,
    site_help_minutes: Option<f64>,
    serial: Option<Text<'a>>,
    in_service: Option<Day>,
    out_of_service: Option<Day>,
    volume_litres: Option<f64>,
    speed_litres_per_second: Option<f64>,
    healthy_base: Option<Pressure<'a>>,
    #[serde(default)]
    fitted: Vec<Text<'a>>,
    #[serde(default)]
    lacking: Vec<Text<'a>>,
    #[serde(default)]
    gauges: Vec<Text<'a>>,
}

/// The only state of a record.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Revision<'a> {
    revision: Option<i64>,
    at: Option<Moment>,
    #[serde(borrow, default)]
    author: Text<'a>,
    #[serde(default)]
    reason: Text<'a>,
}

/// A list with room for as many as there usually are.
fn with_room<'de, D: Deserializer<'de>, T: Deserialize<'de>>(
    deserializer: D,
) -> Result<Vec<T>, D::Error> {
    struct Read<T>(PhantomData<T>);
    impl<'de, T: Deserialize<'de>> Visitor<'de> for Read<T> {
        type Value = Vec<T>;

        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            f.write_str("a list")
        }

        fn visit_seq<A: SeqAccess<'de>>(self, mut parts: A) -> Result<Vec<T>, A::Error> {
            let mut list = Vec::with_capacity(16);
            while let Some(part) = parts.next_element()? {
                list.push(part);
            }
            Ok(list)
        }
    }
    deserializer.deserialize_seq(Read(PhantomData))
}

/// Each part gives nothing where the careful way would have something to say.
struct Reader {
    /// Whether nothing in the record is hidden, broken or escaped, so that no part need be looked
    /// through for it.
    clean: bool,
}

impl Reader {
    fn of(text: &str) -> Self {
        // Without a way out half-way, which takes a fraction of the time.
        let plain = |clean: bool, byte: u8| clean & matches!(byte, b' '..=b'~') & (byte != b'\\');
        Self {
            clean: text.bytes().fold(true, plain),
        }
    }

    fn draft(&self, plain: Plain<'_>) -> Option<Draft> {
        let Pressures {
            healthy,
            faulty,
            restored,
        } = plain.pressures;
        let states = i64::try_from(plain.revisions.len()).ok()?;
        if states > 1 || plain.revision.is_some_and(|revision| revision != states) {
            return None;
        }
        if plain.checks.len() > LIST_LIMIT {
            return None;
        }
        Some(Draft {
            number: whole(plain.number)?,
            status: self.name(plain.status)?,
            tool: self.name(plain.tool)?,
            tool_class: self.name(plain.tool_class)?,
            site: self.name(plain.site)?,
            tool_details: match plain.tool_details {
                Some(told) => Some(self.details(told)?),
                None => None,
            },
            occurred_at: plain.occurred_at.map(|moment| moment.0),
            closed_at: plain.closed_at.map(|moment| moment.0),
            symptom: self.words(plain.symptom)?,
            signs: plain.signs.named(),
            antecedents: plain.antecedents.named(),
            healthy: self.pressure(healthy)?,
            faulty: self.pressure(faulty)?,
            restored: self.pressure(restored)?,
            checks: self.each(plain.checks, Self::check)?,
            cause: self.name(plain.cause)?,
            fix: self.words(plain.fix)?,
            parts: self.names(plain.parts)?,
            labour_minutes: within(plain.labour_minutes, LABOUR_MINUTES)?,
            down_hours: within(plain.down_hours, DOWN_HOURS)?,
            proof: self.words(plain.proof)?,
            not_restored_reason: self.words(plain.not_restored_reason)?,
            notes: self.words(plain.notes)?,
            author: self.name(Some(plain.author))?.unwrap_or_default(),
            revisions: self.each(plain.revisions, Self::revision)?,
            calculations: Vec::new(),
        })
    }

    fn each<T, U>(&self, parts: Vec<T>, read: impl Fn(&Self, T) -> Option<U>) -> Option<Vec<U>> {
        parts.into_iter().map(|part| read(self, part)).collect()
    }

    fn check(&self, check: Check<'_>) -> Option<CheckDraft> {
        let outcome = self.one_line(check.outcome)?;
        Some(CheckDraft {
            check: self.name(Some(check.check))?.unwrap_or_default(),
            outcome: match outcome.parse::<Outcome>() {
                Ok(outcome) => outcome.id().into(),
                Err(()) => outcome.into_owned().into(),
            },
            minutes: within(check.minutes, CHECK_MINUTES)?,
            note: self.words(check.note)?,
        })
    }

    fn revision(&self, revision: Revision<'_>) -> Option<RevisionDraft> {
        Some(RevisionDraft {
            number: whole(revision.revision)?,
            at: revision.at.map(|moment| moment.0),
            author: self.name(Some(revision.author))?.unwrap_or_default(),
            reason: self.words(revision.reason)?,
            record: None,
        })
    }

    fn details(&self, told: Details<'_>) -> Option<ToolDetails> {
        let day = |day: Option<Day>| day.map(|day| day.0);
        Some(ToolDetails {
            site_name: self.name(told.site_name)?,
            site_place: self.name(told.site_place)?,
            site_help_minutes: within(told.site_help_minutes, HELP_MINUTES)?,
            serial: self.name(told.serial)?,
            in_service: day(told.in_service),
            out_of_service: day(told.out_of_service),
            volume_litres: within(told.volume_litres, VOLUME_LITRES)?,
            speed_litres_per_second: within(told.speed_litres_per_second, SPEED_LITRES_PER_SECOND)?,
            healthy_base: self.pressure(told.healthy_base)?,
            fitted: self.names(told.fitted)?,
            lacking: self.names(told.lacking)?,
            gauges: self.names(told.gauges)?,
            services: Vec::new(),
        })
    }

    fn words(&self, text: Text<'_>) -> Option<String> {
        self.tidy(text, TEXT_LIMIT).map(Cow::into_owned)
    }

    /// A name, or that there is none.
    fn name(&self, text: Option<Text<'_>>) -> Option<Option<String>> {
        let Some(text) = text else {
            return Some(None);
        };
        let text = self.one_line(text)?;
        Some((!text.is_empty()).then(|| text.into_owned()))
    }

    fn one_line<'a>(&self, text: Text<'a>) -> Option<Cow<'a, str>> {
        let text = self.tidy(text, NAME_LIMIT)?;
        (self.clean || !text.contains(['\n', '\t'])).then_some(text)
    }

    fn tidy<'a>(&self, Text(text): Text<'a>, limit: usize) -> Option<Cow<'a, str>> {
        if text.len() > limit || !self.clean && (text.contains('\r') || hides(&text)) {
            return None;
        }
        let trimmed = text.trim();
        if trimmed.len() == text.len() {
            return Some(text);
        }
        Some(trimmed.to_owned().into())
    }

    fn names(&self, parts: Vec<Text<'_>>) -> Option<Vec<String>> {
        if parts.len() > LIST_LIMIT {
            return None;
        }
        let names = parts.into_iter().map(|part| {
            let plain = self.clean || !part.0.contains(['\n', '\t']);
            if plain {
                self.tidy(part, NAME_LIMIT).map(Cow::into_owned)
            } else {
                None
            }
        });
        let names = names.collect::<Option<Vec<_>>>()?.into_iter();
        Some(names.filter(|name| !name.is_empty()).collect())
    }

    fn pressure(&self, given: Option<Pressure<'_>>) -> Option<Option<TypedPressure>> {
        let Some(given) = given else {
            return Some(None);
        };
        let unit: PressureUnit = self.one_line(given.unit)?.parse().ok()?;
        let typed = TypedPressure {
            value: given.value,
            unit,
        };
        (given.value > 0.0 && chamber_can_have(&typed)).then_some(Some(typed))
    }
}

fn within(number: Option<f64>, [low, high]: [f64; 2]) -> Option<Option<f64>> {
    let fits = number.is_none_or(|number| (low..=high).contains(&number));
    fits.then_some(number)
}

fn whole(number: Option<i64>) -> Option<Option<i64>> {
    number.is_none_or(|number| number > 0).then_some(number)
}

/// A text where it stands in the record, or by itself where something in it was escaped.
#[derive(Default)]
struct Text<'a>(Cow<'a, str>);

impl<'de: 'a, 'a> Deserialize<'de> for Text<'a> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Read;
        impl<'de> Visitor<'de> for Read {
            type Value = Text<'de>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a text")
            }

            fn visit_borrowed_str<E: de::Error>(self, text: &'de str) -> Result<Text<'de>, E> {
                Ok(Text(text.into()))
            }

            fn visit_str<E: de::Error>(self, text: &str) -> Result<Text<'de>, E> {
                Ok(Text(text.to_owned().into()))
            }
        }
        deserializer.deserialize_str(Read)
    }
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

/// Names with true or false, as they come.
#[derive(Default)]
struct Flags<'a>(Vec<(Text<'a>, bool)>);

impl Flags<'_> {
    /// By name.
    fn named<I: Ord + From<String>>(self) -> BTreeMap<I, bool> {
        let flags = self.0.into_iter();
        flags
            .map(|(name, told)| (name.0.into_owned().into(), told))
            .collect()
    }
}

impl<'de: 'a, 'a> Deserialize<'de> for Flags<'a> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Read;
        impl<'de> Visitor<'de> for Read {
            type Value = Flags<'de>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("names with true or false")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Flags<'de>, A::Error> {
                let mut flags: Vec<(Text<'de>, bool)> = Vec::with_capacity(32);
                let mut ascending = true;
                while let Some(flag) = map.next_entry::<Text<'de>, bool>()? {
                    // A name given twice is for the careful way to refuse.
                    let name: &str = &flag.0.0;
                    ascending &= flags.last().is_none_or(|(last, _)| &*last.0 < name);
                    if !ascending && flags.iter().any(|(other, _)| other.0 == name) {
                        return Err(de::Error::custom("twice"));
                    }
                    flags.push(flag);
                    if flags.len() > LIST_LIMIT {
                        return Err(de::Error::custom("too many"));
                    }
                }
                Ok(Flags(flags))
            }
        }
        deserializer.deserialize_map(Read)
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
        for odd in [
            r#"{"signs": {"a": true, "b": false, "a": false}}"#,
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
