//! A calculation kept with an incident: what went in, what came out, and which program made it.

use std::collections::BTreeMap;

use jiff::Timestamp;
use serde::Serialize;
use serde_json::{Map, Value};

/// The most calculations kept with one incident.
pub const CALCULATION_LIMIT: usize = 200;

/// The most that the calculations of one incident take together, in bytes of JSON; a line of an
/// export has to hold them and the report.
pub const CALCULATION_BYTES: usize = 40 << 20;

/// A calculation as kept, and as the one JSON shape of an incident carries it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Calculation {
    /// Its name, such as `rise`.
    pub kind: String,
    /// When it was made.
    pub made_at: Timestamp,
    /// Who made it.
    pub by: String,
    /// The version of the program that computed it.
    pub program_version: String,
    /// What went in.
    pub request: Value,
    /// What came out.
    pub report: Value,
}

/// A calculation before the rules have looked at it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CalculationDraft {
    /// Its name, such as `rise`.
    pub kind: Option<String>,
    /// When it was made.
    pub made_at: Option<Timestamp>,
    /// Who made it.
    pub by: Option<String>,
    /// The version of the program that computed it.
    pub program_version: Option<String>,
    /// What went in.
    pub request: Option<Map<String, Value>>,
    /// What came out.
    pub report: Option<Map<String, Value>>,
}

impl Calculation {
    /// Its verdict in words; empty where the report holds none.
    pub fn verdict(&self) -> &str {
        self.report
            .get("verdict")
            .and_then(Value::as_str)
            .unwrap_or_default()
    }

    /// The signs that its verdict sets, seen or absent.
    pub fn signs(&self) -> BTreeMap<String, bool> {
        self.report
            .get("signs")
            .and_then(Value::as_object)
            .into_iter()
            .flatten()
            .filter_map(|(id, seen)| Some((id.clone(), seen.as_bool()?)))
            .collect()
    }
}
