//! Records that anyone may send: none makes the reader panic, and each refusal can be acted on.

use std::sync::LazyLock;

use proptest::prelude::*;
use serde_json::{Map, Value, json};

use super::{read_record, rules};
use crate::catalogue::{Catalogue, source};

static CATALOGUE: LazyLock<Catalogue> =
    LazyLock::new(|| source::built_in().expect("the shipped catalogue"));

/// Names of fields that a record has, and one that it has not.
const NAMES: [&str; 30] = [
    "number",
    "status",
    "tool",
    "tool_class",
    "site",
    "occurred_at",
    "closed_at",
    "symptom",
    "signs",
    "antecedents",
    "pressures",
    "healthy",
    "faulty",
    "restored",
    "checks",
    "check",
    "outcome",
    "minutes",
    "note",
    "cause",
    "fix",
    "parts",
    "labour_minutes",
    "down_hours",
    "proof",
    "author",
    "value",
    "unit",
    "calculations",
    "colour",
];

fn any_value() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        any::<i64>().prop_map(Value::from),
        any::<f64>().prop_map(Value::from),
        any::<String>().prop_map(Value::from),
        prop::sample::select(vec![
            "closed",
            "open",
            "found",
            "clear",
            "not-found",
            "torr",
            "mbar",
            "BRK-04",
            "cryo-evaporator",
            "2025-03-04T10:20:00Z",
            "9999-12-31T23:59:59Z",
            "-5",
        ])
        .prop_map(Value::from),
    ];
    leaf.prop_recursive(4, 40, 8, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..5).prop_map(Value::from),
            prop::collection::vec((prop::sample::select(NAMES.to_vec()), inner), 0..10).prop_map(
                |fields| {
                    let fields = fields
                        .into_iter()
                        .map(|(name, value)| (name.to_owned(), value));
                    Value::Object(fields.collect::<Map<_, _>>())
                }
            ),
        ]
    })
}

/// A record that is whole but for some of its fields.
fn whole_but_for() -> impl Strategy<Value = Value> {
    let whole = json!({
        "status": "closed", "tool": "BRK-04", "tool_class": "cryo-evaporator", "site": "BRK",
        "occurred_at": "2025-03-04T10:20:00Z", "closed_at": "2025-03-04T19:05:00Z",
        "symptom": "does not come down", "cause": "not-found", "fix": "none", "labour_minutes": 95,
        "down_hours": 6.5, "proof": "base pressure", "author": "K. M.",
        "pressures": {"healthy": {"value": 5e-7, "unit": "torr"},
                      "faulty": {"value": 5e-6, "unit": "torr"},
                      "restored": {"value": 5e-7, "unit": "torr"}},
    });
    prop::collection::vec((prop::sample::select(NAMES.to_vec()), any_value()), 0..4).prop_map(
        move |changes| {
            let mut record = whole.clone();
            for (name, value) in changes {
                record[name] = value;
            }
            record
        },
    )
}

/// Reads a record as an import does; gives what is refused.
fn refusals(record: &Value) -> Vec<super::Refusal> {
    let (draft, unread) = read_record(record);
    let now = "2026-01-01T00:00:00Z".parse().expect("a time");
    let described = rules::tool_from_record(&draft, &CATALOGUE, now);
    let context = rules::Context {
        catalogue: &CATALOGUE,
        tool: described.as_ref().ok().map(|(_, tool)| tool),
        now,
    };
    let calculations = rules::calculations(&draft.calculations, now);
    let broken = match rules::accept(&draft, &context) {
        Ok(_) => Vec::new(),
        Err(broken) => {
            assert!(!broken.is_empty(), "refused without a reason: {record}");
            broken
        }
    };
    let mut all = rules::merged(unread, broken);
    all.extend(calculations.err().unwrap_or_default());
    all
}

/// From 10:20 to 19:05 are 8.75 hours, and an hour more may come of rounding. An open incident
/// has lasted until now.
#[test]
fn a_tool_is_down_no_longer_than_its_incident_lasts() {
    let mut record = json!({
        "status": "closed", "tool": "BRK-04", "tool_class": "cryo-evaporator", "site": "BRK",
        "occurred_at": "2025-03-04T10:20:00Z", "closed_at": "2025-03-04T19:05:00Z",
        "symptom": "does not come down", "cause": "not-found", "fix": "none", "labour_minutes": 95,
        "not_restored_reason": "given up", "author": "K. M.",
    });
    let down = |record: &Value| -> Vec<String> {
        let refusals = refusals(record).into_iter();
        let of_hours = refusals.filter(|refusal| refusal.field == "down_hours");
        of_hours.map(|refusal| refusal.to_string()).collect()
    };
    for (hours, refused) in [(0.0, false), (9.7, false), (9.8, true), (2000.0, true)] {
        record["down_hours"] = json!(hours);
        assert_eq!(!down(&record).is_empty(), refused, "{hours}");
    }
    let said = down(&record);
    assert!(said[0].contains("at most 8.8 hours"), "{said:?}");
    record["status"] = json!("open");
    record["closed_at"] = Value::Null;
    // Until 2026-01-01T00:00 are 7,261.7 hours.
    for (hours, refused) in [(7262.0, false), (7263.0, true)] {
        record["down_hours"] = json!(hours);
        assert_eq!(!down(&record).is_empty(), refused, "{hours}");
    }
}

proptest! {
    #[test]
    fn no_record_makes_the_reader_panic(record in prop_oneof![any_value(), whole_but_for()]) {
        for refusal in refusals(&record) {
            prop_assert!(!refusal.field.is_empty(), "{}", refusal);
            prop_assert!(!refusal.problem.is_empty(), "{}", refusal);
            prop_assert!(!refusal.accepted.is_empty(), "{}", refusal);
        }
    }
}

/// Fields without a name, or of blanks alone: found by fuzzing, where the refusal named nothing.
#[test]
fn a_field_without_a_name_is_refused_by_one() {
    for name in ["", " ", "\t\n"] {
        let (_, refusals) = read_record(&serde_json::json!({name: 3}));
        let unknown = refusals
            .iter()
            .find(|refusal| refusal.problem.contains("not a field"))
            .expect("a refusal of the field");
        assert_eq!(unknown.field, "\"\"");
    }
}
