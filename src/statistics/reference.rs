//! Numbers recomputed with general libraries, for the tests: see `tests/reference`.

use serde_json::Value;

use super::survival::Life;

pub(crate) fn reference() -> Value {
    serde_json::from_str(include_str!("../../tests/reference/statistics.json")).unwrap()
}

pub(crate) fn numbers(value: &Value) -> Vec<f64> {
    value
        .as_array()
        .unwrap()
        .iter()
        .map(|number| number.as_f64().unwrap())
        .collect()
}

pub(crate) fn lives(case: &Value) -> Vec<Life> {
    let failed = case["failed"]
        .as_array()
        .unwrap()
        .iter()
        .map(|failed| failed.as_bool().unwrap());
    numbers(&case["times"])
        .into_iter()
        .zip(failed)
        .map(|(time, failed)| Life { time, failed })
        .collect()
}

#[track_caller]
pub(crate) fn close(got: f64, want: &Value, tolerance: f64) {
    let want = want.as_f64().unwrap();
    assert!(
        (got - want).abs() <= tolerance * want.abs().max(1.0),
        "{got} against {want}"
    );
}
