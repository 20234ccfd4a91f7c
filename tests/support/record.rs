//! Records to start from.

use serde_json::{Value, json};

/// A closed incident of a cryo-pumped evaporator that keeps every rule.
pub fn closed() -> Value {
    json!({
        "status": "closed",
        "tool": "TST-01",
        "tool_class": "cryo-evaporator",
        "site": "TST",
        "occurred_at": "2025-03-04T10:20:00Z",
        "closed_at": "2025-03-04T19:05:00Z",
        "symptom": "won't go below 5.3E-5 mbar since the shields were wrapped",
        "signs": {"rise-linear": true, "water-visible": false},
        "antecedents": {"foil-added": true},
        "pressures": {
            "healthy": {"value": 5e-7, "unit": "torr"},
            "faulty": {"value": 5.3e-5, "unit": "mbar"},
            "restored": {"value": 6e-7, "unit": "torr"}
        },
        "checks": [{"check": "door-seal-inspection", "outcome": "found", "minutes": 15}],
        "cause": "door-seal-tape-or-foil",
        "fix": "Took a strip of foil off the seal and wiped it",
        "labour_minutes": 40,
        "down_hours": 8.75,
        "proof": "6e-7 Torr after an hour",
        "author": "tests"
    })
}

/// The same with one field replaced; a path of names joined by points.
pub fn with(path: &str, value: Value) -> Value {
    let mut record = closed();
    let mut place = &mut record;
    let names: Vec<_> = path.split('.').collect();
    for name in &names[..names.len() - 1] {
        place = &mut place[*name];
    }
    place[names[names.len() - 1]] = value;
    record
}

/// The same without one field.
pub fn without(name: &str) -> Value {
    let mut record = closed();
    record
        .as_object_mut()
        .expect("a record is an object")
        .remove(name);
    record
}
