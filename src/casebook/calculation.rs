//! A calculation kept with an incident: what went in, what came out, and which program made it.

use std::{collections::BTreeMap, fmt};

use base64::{Engine, prelude::BASE64_STANDARD};
use jiff::Timestamp;
use serde::{Serialize, Serializer};
use serde_json::{Map, Value};

use crate::calculation::{
    named::Named,
    outcome::verdict_of,
    packed::{Fingerprint, unpack},
    sent::{Logs, SentLog},
};

/// The most calculations kept with one incident.
pub const CALCULATION_LIMIT: usize = 200;

/// The most that the calculations of one incident take together, in bytes of JSON, packed logs in it;
/// a line of an export has to hold them and the report.
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
    /// Logs that went in and are too long to stand in the request, by their fields.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub logs: BTreeMap<String, KeptLog>,
    /// What came out.
    pub report: Value,
}

/// The most that a log takes that is kept with a calculation, in bytes.
pub const LOG_LIMIT: u64 = 50 << 20;

/// A log kept beside a request.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct KeptLog {
    /// SHA-256 of its bytes, as 64 hexadecimal digits.
    pub sha256: String,
    /// Its length in bytes.
    pub bytes: u64,
    /// The log itself; none where it was not asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub packed: Option<PackedLog>,
}

impl KeptLog {
    /// The log of this fingerprint.
    pub fn new(fingerprint: Fingerprint, packed: Option<PackedLog>) -> Self {
        Self {
            sha256: fingerprint.sha256,
            bytes: fingerprint.bytes,
            packed,
        }
    }
}

/// Logs as they go into a calculation, read from the packed ones, with the columns that the request chooses.
///
/// # Errors
/// As [`Calculation::sent_logs`].
pub fn read_all(logs: &BTreeMap<String, KeptLog>, request: &Value) -> Result<Logs, String> {
    logs.iter()
        .map(|(field, log)| {
            let column = request.get(Named::column_of(field));
            Ok((
                field.clone(),
                log.sent(field, column.and_then(Value::as_str))?,
            ))
        })
        .collect()
}

impl KeptLog {
    fn sent(&self, field: &str, column: Option<&str>) -> Result<SentLog, String> {
        let Some(packed) = &self.packed else {
            return Err(format!("the log {field} was not read"));
        };
        let mut sent = SentLog::new(0);
        if let Some(column) = column {
            sent.choose(column);
        }
        let found = unpack(&packed.0[..], LOG_LIMIT, |piece| sent.push(piece))
            .map_err(|error| format!("the log {field} cannot be unpacked: {error}"))?;
        if (found.sha256, found.bytes) != (self.sha256.clone(), self.bytes) {
            return Err(format!("the log {field} is not the one that was kept"));
        }
        Ok(sent)
    }
}

/// A log packed by [`crate::calculation::packed`]; in JSON, in base 64 (RFC 4648, section 4).
#[derive(Clone, PartialEq)]
pub struct PackedLog(pub Vec<u8>);

impl PackedLog {
    /// Reads it as it stands in JSON.
    pub fn of_base64(text: &str) -> Option<Self> {
        BASE64_STANDARD.decode(text).ok().map(Self)
    }

    /// How many bytes it takes in JSON.
    pub fn bytes_of_json(&self) -> usize {
        self.0.len().div_ceil(3) * 4
    }
}

impl fmt::Debug for PackedLog {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "PackedLog({} bytes)", self.0.len())
    }
}

impl Serialize for PackedLog {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&BASE64_STANDARD.encode(&self.0))
    }
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
    /// Logs that went in beside it.
    pub logs: Option<Map<String, Value>>,
    /// What came out.
    pub report: Option<Map<String, Value>>,
}

impl Calculation {
    /// Its verdict in words; empty where the report holds none.
    pub fn verdict(&self) -> &str {
        verdict_of(&self.report)
    }

    /// Its logs as they went into the calculation, read from the packed ones.
    ///
    /// # Errors
    /// What is wrong with a log, in words: it is not with the calculation, cannot be unpacked or is
    /// another than it says.
    pub fn sent_logs(&self) -> Result<Logs, String> {
        read_all(&self.logs, &self.request)
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
