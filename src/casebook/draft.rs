//! Reading a record as JSON into a draft. Every field is looked at, every mistake is
//! kept with its path, and what is well-formed is kept beside it.

use std::{borrow::Cow, collections::BTreeMap};

use jiff::{Timestamp, civil::Date};
use serde_json::{Map, Value};

use super::{CALCULATION_LIMIT, CalculationDraft, Refusal, upkeep::DEAREST};
use crate::catalogue::{AntecedentId, SignId};
use crate::vacuum::units::{PressureUnit, TypedPressure};

/// The longest text a field takes, in characters.
pub const TEXT_LIMIT: usize = 20_000;
/// The longest name (tool, author, identifier) a field takes, in characters.
pub(super) const NAME_LIMIT: usize = 200;
/// The most entries a list takes.
pub(super) const LIST_LIMIT: usize = 200;
/// The most planned services a tool may bring along.
const SERVICE_LIMIT: usize = 10_000;
/// The most states an exported record may have been in.
const REVISION_LIMIT: usize = 100_000;
/// Refusals listed of one record; more help nobody.
const REFUSAL_LIMIT: usize = 50;
/// Least and most minutes of labour.
pub(super) const LABOUR_MINUTES: [f64; 2] = [0.0, 1e7];
/// Least and most hours down.
pub(super) const DOWN_HOURS: [f64; 2] = [0.0, 1e6];
/// Least and most minutes of a check.
pub(super) const CHECK_MINUTES: [f64; 2] = [0.0, 1e6];
/// Least and most minutes that bringing help costs a site.
pub(super) const HELP_MINUTES: [f64; 2] = [0.0, DEAREST];
/// Least and most litres of a chamber.
pub(super) const VOLUME_LITRES: [f64; 2] = [1e-3, 1e6];
/// Least and most litres per second of a pump at its chamber.
pub(super) const SPEED_LITRES_PER_SECOND: [f64; 2] = [1e-3, 1e7];
/// Below this a pressure is a slip of the keyboard: the best vacuum ever made is above it.
const LOWEST_PRESSURE: f64 = 1e-14;

/// A report before the rules have looked at it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Draft {
    /// The number a stored record carries.
    pub number: Option<i64>,
    /// `open` or `closed`.
    pub status: Option<String>,
    /// Tool name.
    pub tool: Option<String>,
    /// Tool class; has to agree with the tool where the tool is known.
    pub tool_class: Option<String>,
    /// Site code; has to agree with the tool where the tool is known.
    pub site: Option<String>,
    /// What else is known of the tool, for a store that has not met it yet.
    pub tool_details: Option<ToolDetails>,
    /// When the loss was noticed.
    pub occurred_at: Option<Timestamp>,
    /// When the tool was back.
    pub closed_at: Option<Timestamp>,
    /// Free words.
    pub symptom: String,
    /// Sign to seen or absent; whether the catalogue has it is for the rules to say.
    pub signs: BTreeMap<SignId, bool>,
    /// Antecedent to happened or not; likewise.
    pub antecedents: BTreeMap<AntecedentId, bool>,
    /// Healthy base pressure.
    pub healthy: Option<TypedPressure>,
    /// Pressure at the fault.
    pub faulty: Option<TypedPressure>,
    /// Pressure after the fix.
    pub restored: Option<TypedPressure>,
    /// Checks in the order done.
    pub checks: Vec<CheckDraft>,
    /// Cause, or `not-found`.
    pub cause: Option<String>,
    /// What was done.
    pub fix: String,
    /// Parts used.
    pub parts: Vec<String>,
    /// Minutes of labour.
    pub labour_minutes: Option<f64>,
    /// Hours down.
    pub down_hours: Option<f64>,
    /// How the fix was proven.
    pub proof: String,
    /// Why not restored.
    pub not_restored_reason: String,
    /// Anything else.
    pub notes: String,
    /// Who wrote it.
    pub author: String,
    /// Earlier states, in exported records only.
    pub revisions: Vec<RevisionDraft>,
    /// Calculations kept with it.
    pub calculations: Vec<CalculationDraft>,
}

/// A check as written down.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CheckDraft {
    /// Check identifier.
    pub check: String,
    /// `found`, `clear` or `inconclusive`.
    pub outcome: Cow<'static, str>,
    /// Minutes.
    pub minutes: Option<f64>,
    /// Free words.
    pub note: String,
}

/// What a record says of its tool beyond name, class and site.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ToolDetails {
    /// Name of the site.
    pub site_name: Option<String>,
    /// Where the site is.
    pub site_place: Option<String>,
    /// What bringing help costs the site, in minutes.
    pub site_help_minutes: Option<f64>,
    /// Serial number.
    pub serial: Option<String>,
    /// In service since.
    pub in_service: Option<Date>,
    /// Last day in service.
    pub out_of_service: Option<Date>,
    /// Chamber volume in litres.
    pub volume_litres: Option<f64>,
    /// Pumping speed at the chamber in litres per second.
    pub speed_litres_per_second: Option<f64>,
    /// Healthy base pressure.
    pub healthy_base: Option<TypedPressure>,
    /// Optional components it has.
    pub fitted: Vec<String>,
    /// Components of its class it lacks.
    pub lacking: Vec<String>,
    /// Gauges in words.
    pub gauges: Vec<String>,
    /// Services done by plan.
    pub services: Vec<ServiceDraft>,
}

/// A planned service as written down.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ServiceDraft {
    /// The component that was renewed.
    pub component: Option<String>,
    /// The day.
    pub on: Option<Date>,
    /// Free words.
    pub note: Option<String>,
    /// Who wrote it down.
    pub author: Option<String>,
    /// When.
    pub at: Option<Timestamp>,
}

/// An earlier state of an exported record.
#[derive(Clone, Debug, PartialEq)]
pub struct RevisionDraft {
    /// Its place, from 1.
    pub number: Option<i64>,
    /// When it was written.
    pub at: Option<Timestamp>,
    /// Who wrote it.
    pub author: String,
    /// Why it was changed; empty for the first.
    pub reason: String,
    /// The report as it then stood; none for the last, which is the record itself.
    pub record: Option<Box<Draft>>,
}

/// Reads a record. The draft holds what could be read; the refusals name the rest.
pub fn read_record(value: &Value) -> (Draft, Vec<Refusal>) {
    let mut refusals = Vec::new();
    let draft = match value {
        Value::Object(fields) => read_fields(fields, "", &mut refusals),
        other => {
            refusals.push(Refusal::new(
                "record",
                format!("is {}", kind_of(other)),
                "a JSON object, one incident",
            ));
            Draft::default()
        }
    };
    (draft, refusals)
}

const FIELDS: [&str; 25] = [
    "number",
    "status",
    "tool",
    "tool_class",
    "site",
    "tool_details",
    "occurred_at",
    "closed_at",
    "symptom",
    "signs",
    "antecedents",
    "pressures",
    "checks",
    "cause",
    "fix",
    "parts",
    "labour_minutes",
    "down_hours",
    "proof",
    "not_restored_reason",
    "notes",
    "author",
    "revision",
    "revisions",
    "calculations",
];

fn read_fields(fields: &Map<String, Value>, prefix: &str, refusals: &mut Vec<Refusal>) -> Draft {
    let mut reader = Fields {
        fields,
        prefix,
        refusals,
    };
    reader.only(&FIELDS);
    let number = reader.whole("number");
    let pressures = reader.object("pressures");
    let mut draft = Draft {
        number,
        status: reader.name("status"),
        tool: reader.name("tool"),
        tool_class: reader.name("tool_class"),
        site: reader.name("site"),
        tool_details: None,
        occurred_at: reader.time("occurred_at"),
        closed_at: reader.time("closed_at"),
        symptom: reader.text("symptom"),
        signs: reader.flags("signs"),
        antecedents: reader.flags("antecedents"),
        cause: reader.name("cause"),
        fix: reader.text("fix"),
        parts: reader.names("parts"),
        labour_minutes: reader.number("labour_minutes", LABOUR_MINUTES),
        down_hours: reader.number("down_hours", DOWN_HOURS),
        proof: reader.text("proof"),
        not_restored_reason: reader.text("not_restored_reason"),
        notes: reader.text("notes"),
        author: reader.name("author").unwrap_or_default(),
        ..Draft::default()
    };
    if let Some(pressures) = pressures {
        let path = reader.path("pressures.");
        let mut inner = Fields {
            fields: pressures,
            prefix: &path,
            refusals: reader.refusals,
        };
        inner.only(&["healthy", "faulty", "restored"]);
        draft.healthy = inner.pressure("healthy");
        draft.faulty = inner.pressure("faulty");
        draft.restored = inner.pressure("restored");
    }
    draft.checks = reader.each("checks", LIST_LIMIT, |mut check| {
        check.only(&["check", "outcome", "minutes", "note"]);
        CheckDraft {
            check: check.name("check").unwrap_or_default(),
            outcome: check.name("outcome").unwrap_or_default().into(),
            minutes: check.number("minutes", CHECK_MINUTES),
            note: check.text("note"),
        }
    });
    if let Some(details) = reader.object("tool_details") {
        let path = reader.path("tool_details.");
        let inner = Fields {
            fields: details,
            prefix: &path,
            refusals: reader.refusals,
        };
        draft.tool_details = Some(read_details(inner));
    }
    if reader.whole("revision").is_some_and(|revision| {
        let states = reader.list("revisions", REVISION_LIMIT).len();
        usize::try_from(revision) != Ok(states)
    }) {
        reader.refuse(
            "revision",
            "is not the number of the last of `revisions`",
            "how many revisions the record has, or nothing",
        );
    }
    draft.revisions = reader.each("revisions", REVISION_LIMIT, |mut revision| {
        revision.only(&["revision", "at", "author", "reason", "record"]);
        let number = revision.whole("revision");
        let at = revision.time("at");
        let author = revision.name("author").unwrap_or_default();
        let reason = revision.text("reason");
        let record = revision.object("record").map(|record| {
            let path = revision.path("record.");
            Box::new(read_fields(record, &path, revision.refusals))
        });
        RevisionDraft {
            number,
            at,
            author,
            reason,
            record,
        }
    });
    draft.calculations = reader.each("calculations", CALCULATION_LIMIT, read_calculation);
    draft
}

fn read_calculation(mut reader: Fields<'_>) -> CalculationDraft {
    reader.only(&[
        "kind",
        "made_at",
        "by",
        "program_version",
        "request",
        "logs",
        "report",
    ]);
    CalculationDraft {
        kind: reader.name("kind"),
        made_at: reader.time("made_at"),
        by: reader.name("by"),
        program_version: reader.name("program_version"),
        request: reader.object("request").cloned(),
        logs: reader.object("logs").cloned(),
        report: reader.object("report").cloned(),
    }
}

fn read_details(mut reader: Fields<'_>) -> ToolDetails {
    reader.only(&[
        "site_name",
        "site_place",
        "site_help_minutes",
        "serial",
        "in_service",
        "out_of_service",
        "volume_litres",
        "speed_litres_per_second",
        "healthy_base",
        "fitted",
        "lacking",
        "gauges",
        "services",
    ]);
    ToolDetails {
        site_name: reader.name("site_name"),
        site_place: reader.name("site_place"),
        site_help_minutes: reader.number("site_help_minutes", HELP_MINUTES),
        serial: reader.name("serial"),
        in_service: reader.date("in_service"),
        out_of_service: reader.date("out_of_service"),
        volume_litres: reader.number("volume_litres", VOLUME_LITRES),
        speed_litres_per_second: reader.number("speed_litres_per_second", SPEED_LITRES_PER_SECOND),
        healthy_base: reader.pressure("healthy_base"),
        fitted: reader.names("fitted"),
        lacking: reader.names("lacking"),
        gauges: reader.names("gauges"),
        services: reader.each("services", SERVICE_LIMIT, |mut reader| {
            reader.only(&["component", "on", "note", "author", "at"]);
            ServiceDraft {
                component: reader.name("component"),
                on: reader.date("on"),
                note: reader.name("note"),
                author: reader.name("author"),
                at: reader.time("at"),
            }
        }),
    }
}

/// One JSON object being read, with the path that leads to it.
struct Fields<'a> {
    fields: &'a Map<String, Value>,
    prefix: &'a str,
    refusals: &'a mut Vec<Refusal>,
}

impl<'a> Fields<'a> {
    fn path(&self, field: &str) -> String {
        format!("{}{field}", self.prefix)
    }

    fn refuse(&mut self, field: &str, problem: impl Into<String>, accepted: impl Into<String>) {
        match self.refusals.len() {
            0..REFUSAL_LIMIT => {
                let path = self.path(field);
                self.refusals.push(Refusal::new(path, problem, accepted));
            }
            REFUSAL_LIMIT => self.refusals.push(Refusal::new(
                "record",
                "has more faults than are listed",
                "a record with these mended first",
            )),
            _ => {}
        }
    }

    /// A field nobody reads would be lost in silence; it is refused instead.
    fn only(&mut self, known: &[&str]) {
        const SHOWN: usize = 5;
        let fields = self.fields;
        let unknown: Vec<&String> = fields
            .keys()
            .filter(|field| !known.contains(&field.as_str()))
            .collect();
        for field in unknown.iter().take(SHOWN) {
            let shown: String = if field.trim().is_empty() {
                // A name nobody could see is shown in quotes.
                r#""""#.to_owned()
            } else {
                field.chars().take(60).collect()
            };
            self.refuse(&shown, "is not a field of this record", known.join(", "));
        }
        if unknown.len() > SHOWN {
            let more = unknown.len() - SHOWN;
            self.refuse("record", format!("has {more} more unknown fields"), "none");
        }
    }

    fn value(&self, field: &str) -> Option<&'a Value> {
        self.fields.get(field).filter(|value| !value.is_null())
    }

    fn string(&mut self, field: &str, limit: usize) -> Option<String> {
        let accepted = || format!("a text of at most {limit} characters");
        match self.value(field)? {
            Value::String(text) => {
                // No text has more characters than bytes.
                if text.len() > limit {
                    let length = text.chars().count();
                    if length > limit {
                        self.refuse(field, format!("has {length} characters"), accepted());
                        return None;
                    }
                }
                if hides(text) {
                    self.refuse(
                        field,
                        "holds a control character",
                        "a text without control characters, line breaks and tabs excepted",
                    );
                    return None;
                }
                Some(text.trim().replace("\r\n", "\n"))
            }
            other => {
                self.refuse(field, format!("is {}", kind_of(other)), accepted());
                None
            }
        }
    }

    fn text(&mut self, field: &str) -> String {
        self.string(field, TEXT_LIMIT).unwrap_or_default()
    }

    fn name(&mut self, field: &str) -> Option<String> {
        let name = self
            .string(field, NAME_LIMIT)
            .filter(|text| !text.is_empty())?;
        if name.contains(['\n', '\r', '\t']) {
            self.refuse(field, "has more than one line", "a name on one line");
            return None;
        }
        Some(name)
    }

    fn names(&mut self, field: &str) -> Vec<String> {
        let mut names = Vec::new();
        for (index, value) in self.list(field, LIST_LIMIT).iter().enumerate() {
            match value {
                Value::String(text)
                    if text.chars().count() <= NAME_LIMIT
                        && !text.contains(['\n', '\r', '\t'])
                        && !hides(text) =>
                {
                    let text = text.trim();
                    if !text.is_empty() {
                        names.push(text.to_owned());
                    }
                }
                other => self.refuse(
                    &format!("{field}[{index}]"),
                    format!("is {}", kind_of(other)),
                    format!("a text of one line and at most {NAME_LIMIT} characters"),
                ),
            }
        }
        names
    }

    fn list(&mut self, field: &str, limit: usize) -> &'a [Value] {
        match self.value(field) {
            None => &[],
            Some(Value::Array(items)) if items.len() <= limit => items,
            Some(Value::Array(items)) => {
                self.refuse(
                    field,
                    format!("has {} entries", items.len()),
                    format!("at most {limit} entries"),
                );
                &[]
            }
            Some(other) => {
                self.refuse(field, format!("is {}", kind_of(other)), "a list");
                &[]
            }
        }
    }

    fn each<T>(
        &mut self,
        field: &str,
        limit: usize,
        mut read: impl FnMut(Fields<'_>) -> T,
    ) -> Vec<T> {
        let mut items = Vec::new();
        for (index, value) in self.list(field, limit).iter().enumerate() {
            match value {
                Value::Object(fields) => {
                    let path = self.path(&format!("{field}[{index}]."));
                    items.push(read(Fields {
                        fields,
                        prefix: &path,
                        refusals: self.refusals,
                    }));
                }
                other => self.refuse(
                    &format!("{field}[{index}]"),
                    format!("is {}", kind_of(other)),
                    "an object",
                ),
            }
        }
        items
    }

    fn object(&mut self, field: &str) -> Option<&'a Map<String, Value>> {
        match self.value(field)? {
            Value::Object(fields) => Some(fields),
            other => {
                self.refuse(field, format!("is {}", kind_of(other)), "an object");
                None
            }
        }
    }

    fn number(&mut self, field: &str, [low, high]: [f64; 2]) -> Option<f64> {
        let accepted = || format!("a number from {low} to {high}");
        match self.value(field)? {
            Value::Number(number) => match number.as_f64() {
                Some(number) if (low..=high).contains(&number) => Some(number),
                _ => {
                    self.refuse(field, format!("is {number}"), accepted());
                    None
                }
            },
            other => {
                self.refuse(field, format!("is {}", kind_of(other)), accepted());
                None
            }
        }
    }

    fn whole(&mut self, field: &str) -> Option<i64> {
        match self.value(field)?.as_i64() {
            Some(number) if number > 0 => Some(number),
            _ => {
                self.refuse(field, "is not a whole number above zero", "1, 2, 3 …");
                None
            }
        }
    }

    fn time(&mut self, field: &str) -> Option<Timestamp> {
        const ACCEPTED: &str = "a time with its offset, like 2025-03-04T10:20:00Z";
        match self.value(field)? {
            Value::String(text) => match text.trim().parse() {
                Ok(time) => Some(time),
                Err(_) => {
                    let shown: String = text.chars().take(60).collect();
                    self.refuse(field, format!("{shown:?} is not a time"), ACCEPTED);
                    None
                }
            },
            other => {
                self.refuse(field, format!("is {}", kind_of(other)), ACCEPTED);
                None
            }
        }
    }

    fn date(&mut self, field: &str) -> Option<Date> {
        const ACCEPTED: &str = "a date like 2019-05-01";
        match self.value(field)? {
            Value::String(text) => match text.trim().parse() {
                Ok(date) => Some(date),
                Err(_) => {
                    let shown: String = text.chars().take(60).collect();
                    self.refuse(field, format!("{shown:?} is not a date"), ACCEPTED);
                    None
                }
            },
            other => {
                self.refuse(field, format!("is {}", kind_of(other)), ACCEPTED);
                None
            }
        }
    }

    fn flags<I: Ord + From<String>>(&mut self, field: &str) -> BTreeMap<I, bool> {
        let mut flags = BTreeMap::new();
        let given = self.object(field);
        if let Some(given) = given
            && given.len() > LIST_LIMIT
        {
            self.refuse(
                field,
                format!("has {} entries", given.len()),
                format!("at most {LIST_LIMIT} entries"),
            );
            return flags;
        }
        for (name, value) in given.into_iter().flatten() {
            match value {
                Value::Bool(flag) => {
                    flags.insert(name.clone().into(), *flag);
                }
                other => {
                    let shown: String = name.chars().take(60).collect();
                    self.refuse(
                        &format!("{field}.{shown}"),
                        format!("is {}", kind_of(other)),
                        "true (seen) or false (looked for and absent); leave it out when not looked for",
                    );
                }
            }
        }
        flags
    }

    fn pressure(&mut self, field: &str) -> Option<TypedPressure> {
        let units = || PressureUnit::ALL.map(|unit| unit.to_string()).join(", ");
        let fields = match self.value(field)? {
            Value::Object(fields) => fields,
            other => {
                self.refuse(
                    field,
                    format!("is {}", kind_of(other)),
                    "an object like {\"value\": 5e-6, \"unit\": \"torr\"}",
                );
                return None;
            }
        };
        let path = self.path(&format!("{field}."));
        let mut inner = Fields {
            fields,
            prefix: &path,
            refusals: self.refusals,
        };
        inner.only(&["value", "unit"]);
        let value = match inner.value("value") {
            Some(Value::Number(number)) => match number.as_f64() {
                Some(number) if number > 0.0 && number.is_finite() => Some(number),
                _ => {
                    inner.refuse("value", format!("is {number}"), "a number above zero");
                    None
                }
            },
            Some(other) => {
                inner.refuse(
                    "value",
                    format!("is {}", kind_of(other)),
                    "a number above zero",
                );
                None
            }
            None => {
                inner.refuse("value", "is missing", "a number above zero");
                None
            }
        };
        let unit = match inner.name("unit") {
            Some(text) => match text.parse::<PressureUnit>() {
                Ok(unit) => Some(unit),
                Err(_) => {
                    let shown: String = text.chars().take(30).collect();
                    inner.refuse(
                        "unit",
                        format!("{shown:?} is not a pressure unit known here"),
                        units(),
                    );
                    None
                }
            },
            None => {
                if inner.value("unit").is_none() {
                    inner.refuse("unit", "is missing", units());
                }
                None
            }
        };
        let typed = TypedPressure {
            value: value?,
            unit: unit?,
        };
        match chamber_can_have(&typed) {
            true => Some(typed),
            false => {
                self.refuse(
                    field,
                    format!("{typed} is no pressure a chamber can have"),
                    "a pressure from 1e-14 Pa to two atmospheres",
                );
                None
            }
        }
    }
}

/// Whether a pressure is one that a chamber may come to.
pub(super) fn chamber_can_have(typed: &TypedPressure) -> bool {
    let possible = LOWEST_PRESSURE..=HIGHEST_PRESSURE;
    typed
        .pressure()
        .is_ok_and(|pressure| possible.contains(&pressure.pascals()))
}

/// Above this a chamber pressure is a slip of the keyboard.
const HIGHEST_PRESSURE: f64 = 2.0 * 101_325.0;

/// Whether a text holds hidden characters; most are plain letters, which are told faster.
pub(super) fn hides(text: &str) -> bool {
    let plain = |byte: u8| matches!(byte, b' '..=b'~' | b'\n' | b'\r' | b'\t');
    !text.bytes().all(plain) && text.chars().any(is_hidden)
}

/// Characters that show nothing or turn the text around; line breaks and tabs are fine.
fn is_hidden(character: char) -> bool {
    (character.is_control() && !matches!(character, '\n' | '\r' | '\t'))
        || matches!(character, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

fn kind_of(value: &Value) -> &'static str {
    match value {
        Value::Null => "nothing",
        Value::Bool(_) => "true or false",
        Value::Number(_) => "a number",
        Value::String(text) if text.chars().count() > NAME_LIMIT => "a long text",
        Value::String(_) => "a text",
        Value::Array(_) => "a list",
        Value::Object(_) => "an object",
    }
}
