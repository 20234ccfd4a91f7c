//! What a calculation gave then and gives now, compared.

use serde::Serialize;
use serde_json::Value;

/// Numbers this close count as the same, as a share: the last figures of a logarithm differ
/// between machines.
const CLOSE: f64 = 1e-9;

/// A value of a report that is not what it was.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Difference {
    /// Where in the report, as `peaks[3].fitted`.
    pub field: String,
    /// What it was; absent if it was not there.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub then: Option<Value>,
    /// What it is; absent if it is not there.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub now: Option<Value>,
}

/// Every value that differs between two reports, in the order of their fields. Lists of another
/// length differ as a whole.
pub fn differences(then: &Value, now: &Value) -> Vec<Difference> {
    let mut found = Vec::new();
    compare("", Some(then), Some(now), &mut found);
    found
}

fn compare(field: &str, then: Option<&Value>, now: Option<&Value>, found: &mut Vec<Difference>) {
    match (then, now) {
        (Some(Value::Object(then)), Some(Value::Object(now))) => {
            let below = |name: &str| match field {
                "" => name.to_owned(),
                field => format!("{field}.{name}"),
            };
            for (name, value) in then {
                compare(&below(name), Some(value), now.get(name), found);
            }
            for (name, value) in now.iter().filter(|(name, _)| !then.contains_key(*name)) {
                compare(&below(name), None, Some(value), found);
            }
        }
        (Some(Value::Array(then)), Some(Value::Array(now))) if then.len() == now.len() => {
            for (place, (then, now)) in then.iter().zip(now).enumerate() {
                compare(&format!("{field}[{place}]"), Some(then), Some(now), found);
            }
        }
        (Some(then), Some(now)) if same(then, now) => {}
        (then, now) => found.push(Difference {
            field: field.to_owned(),
            then: then.cloned(),
            now: now.cloned(),
        }),
    }
}

fn same(then: &Value, now: &Value) -> bool {
    match (then.as_f64(), now.as_f64()) {
        (Some(then), Some(now)) => {
            then == now || (then - now).abs() <= CLOSE * then.abs().max(now.abs())
        }
        _ => then == now,
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn only_what_differs_is_told_with_its_place() {
        let then = json!({"a": 1.0, "list": [1, {"b": "x"}], "gone": true, "long": [1, 2]});
        let now = json!({"a": 1.000_000_000_1, "list": [1, {"b": "y"}], "new": 2, "long": [1]});
        let found = differences(&then, &now);
        let fields: Vec<_> = found.iter().map(|d| d.field.as_str()).collect();
        assert_eq!(fields, ["gone", "list[1].b", "long", "new"]);
        assert_eq!(found[0].now, None);
        assert_eq!(found[1].then, Some(json!("x")));
        assert_eq!(found[3].then, None);
        assert!(differences(&then, &then).is_empty());
    }

    #[test]
    fn a_number_that_moved_is_told() {
        let found = differences(&json!({"a": 1.0}), &json!({"a": 1.000_001}));
        assert_eq!(found.len(), 1);
    }
}
