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

impl Difference {
    /// Whether the earlier version did not tell this at all.
    pub fn is_new(&self) -> bool {
        self.then.is_none()
    }
}

/// Whether all that was told then comes out again. What a later version tells besides does not count.
pub fn same(differences: &[Difference]) -> bool {
    differences.iter().all(Difference::is_new)
}

/// Differences of one field, the places in its lists left out.
#[derive(Clone, Debug, PartialEq)]
pub struct Moved<'a> {
    /// The field, as `points[].fitted_pascals`.
    pub field: String,
    /// The first of them.
    pub first: &'a Difference,
    /// How many there are.
    pub count: usize,
    /// The largest change as a share of the larger value, where all are numbers.
    pub at_most: Option<f64>,
}

/// The differences gathered by field, in their order.
pub fn gathered(differences: &[Difference]) -> Vec<Moved<'_>> {
    let mut gathered: Vec<Moved<'_>> = Vec::new();
    for difference in differences {
        let field = without_places(&difference.field);
        let change = change(difference);
        match gathered.iter_mut().find(|moved| moved.field == field) {
            Some(moved) => {
                moved.count += 1;
                moved.at_most = moved
                    .at_most
                    .zip(change)
                    .map(|(most, change)| most.max(change));
            }
            None => gathered.push(Moved {
                field,
                first: difference,
                count: 1,
                at_most: change,
            }),
        }
    }
    gathered
}

/// `a[].b` for `a[3].b`.
fn without_places(field: &str) -> String {
    let mut inside = false;
    field
        .chars()
        .filter(|c| {
            inside = match c {
                '[' => true,
                ']' => false,
                _ => inside,
            };
            !inside || *c == '['
        })
        .collect()
}

/// How far a number moved, as a share of the larger one.
fn change(difference: &Difference) -> Option<f64> {
    let then = difference.then.as_ref()?.as_f64()?;
    let now = difference.now.as_ref()?.as_f64()?;
    let larger = then.abs().max(now.abs());
    (larger > 0.0).then(|| (now - then).abs() / larger)
}

/// Every value that differs between two reports, in the order of their fields. Lists of another
/// length differ as a whole; a field without a value is as one that is not there.
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
        (Some(then), Some(now)) if alike(then, now) => {}
        (Some(Value::Null), None) | (None, Some(Value::Null)) => {}
        (then, now) => found.push(Difference {
            field: field.to_owned(),
            then: then.cloned(),
            now: now.cloned(),
        }),
    }
}

fn alike(then: &Value, now: &Value) -> bool {
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
    fn what_a_later_version_tells_besides_does_not_count() {
        let then = json!({"a": 1.0, "none": null});
        let found = differences(&then, &json!({"a": 1.0, "more": 2, "nothing": null}));
        assert!(same(&found), "{found:?}");
        assert_eq!(found.len(), 1);
        assert!(!same(&differences(&then, &json!({"b": 1.0}))));
    }

    #[test]
    fn numbers_of_a_list_that_moved_are_told_together() {
        let then = json!({"points": [{"fit": 1.0}, {"fit": 2.0}, {"fit": 3.0}], "word": "a"});
        let now = json!({"points": [{"fit": 1.0}, {"fit": 2.2}, {"fit": 2.7}], "word": "b"});
        let found = differences(&then, &now);
        let moved = gathered(&found);
        assert_eq!(moved.len(), 2);
        assert_eq!(
            (moved[0].field.as_str(), moved[0].count),
            ("points[].fit", 2)
        );
        assert!((moved[0].at_most.expect("numbers") - 0.1).abs() < 1e-9);
        assert_eq!(moved[1].at_most, None);
    }

    #[test]
    fn a_number_that_moved_is_told() {
        let found = differences(&json!({"a": 1.0}), &json!({"a": 1.000_001}));
        assert_eq!(found.len(), 1);
    }
}
