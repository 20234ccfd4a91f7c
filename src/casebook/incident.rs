//! The incident: what a report holds once the rules have accepted it.
//!
//! Its serde form is the one JSON shape of the project, less what belongs to the tool
//! and the store; [`super::read_record`] reads it back with messages for people, the
//! derived reader is for records the store already holds.

use std::{collections::BTreeMap, fmt, str::FromStr};

use jiff::Timestamp;
use serde::{Deserialize, Serialize, Serializer};

use super::ToolId;
use crate::{
    catalogue::{AntecedentId, CauseId, CheckId, NOT_FOUND, SignId},
    vacuum::units::TypedPressure,
};

/// Whether an incident is being worked or done with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Status {
    /// Being worked.
    Open,
    /// Cause, fix and restored pressure (or the reason there is none) are in it.
    Closed,
}

impl Status {
    /// The word used in records, the store and addresses.
    pub fn id(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Closed => "closed",
        }
    }
}

impl FromStr for Status {
    type Err = ();

    fn from_str(text: &str) -> Result<Self, ()> {
        match text {
            "open" => Ok(Self::Open),
            "closed" => Ok(Self::Closed),
            _ => Err(()),
        }
    }
}

/// What a check came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// It showed a fault.
    Found,
    /// It showed none.
    Clear,
    /// It could not tell.
    Inconclusive,
}

impl Outcome {
    /// Every outcome.
    pub const ALL: [Self; 3] = [Self::Found, Self::Clear, Self::Inconclusive];

    /// The word used everywhere.
    pub fn id(self) -> &'static str {
        match self {
            Self::Found => "found",
            Self::Clear => "clear",
            Self::Inconclusive => "inconclusive",
        }
    }
}

impl FromStr for Outcome {
    type Err = ();

    fn from_str(text: &str) -> Result<Self, ()> {
        Self::ALL
            .into_iter()
            .find(|outcome| outcome.id() == text)
            .ok_or(())
    }
}

/// The root cause, or the honest statement that none was found.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(from = "String", into = "String")]
pub enum Finding {
    /// A cause of the catalogue.
    Cause(CauseId),
    /// Legal and counted.
    NotFound,
}

impl Finding {
    /// The identifier in records.
    pub fn id(&self) -> &str {
        match self {
            Self::Cause(id) => id.as_str(),
            Self::NotFound => NOT_FOUND,
        }
    }
}

impl From<String> for Finding {
    fn from(id: String) -> Self {
        if id == NOT_FOUND {
            Self::NotFound
        } else {
            Self::Cause(CauseId::new(id))
        }
    }
}

impl From<Finding> for String {
    fn from(finding: Finding) -> Self {
        finding.id().to_owned()
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.id())
    }
}

/// The three pressures, each as typed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Pressures {
    /// What the tool reaches when healthy.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub healthy: Option<TypedPressure>,
    /// What it reached when it was called in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub faulty: Option<TypedPressure>,
    /// What it reached after the fix.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub restored: Option<TypedPressure>,
}

/// A check as it was done.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CheckDone {
    /// Which check.
    pub check: CheckId,
    /// What it came to.
    pub outcome: Outcome,
    /// Minutes it took, if noted.
    #[serde(
        default,
        skip_serializing_if = "Option::is_none",
        serialize_with = "plain_number"
    )]
    pub minutes: Option<f64>,
    /// Free words.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub note: String,
}

/// A report that keeps the rules.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Incident {
    /// Open or closed.
    pub status: Status,
    /// Which tool.
    pub tool: ToolId,
    /// When the loss was noticed.
    pub occurred_at: Timestamp,
    /// When the tool was back, or given up on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub closed_at: Option<Timestamp>,
    /// Free words of the person who called.
    pub symptom: String,
    /// Seen (true), looked for and absent (false); not in the map: not looked for.
    pub signs: BTreeMap<SignId, bool>,
    /// Happened before (true), asked and did not (false); not in the map: not asked.
    pub antecedents: BTreeMap<AntecedentId, bool>,
    /// Healthy, faulty, restored.
    pub pressures: Pressures,
    /// Checks in the order they were done.
    pub checks: Vec<CheckDone>,
    /// Root cause.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cause: Option<Finding>,
    /// What was done about it.
    pub fix: String,
    /// Parts used.
    pub parts: Vec<String>,
    /// Minutes of labour.
    #[serde(
        default,
        skip_serializing_if = "Option::is_none",
        serialize_with = "plain_number"
    )]
    pub labour_minutes: Option<f64>,
    /// Hours the tool was down.
    #[serde(
        default,
        skip_serializing_if = "Option::is_none",
        serialize_with = "plain_number"
    )]
    pub down_hours: Option<f64>,
    /// How the fix was proven.
    pub proof: String,
    /// Why the pressure was not restored, or ended above the faulty one.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub not_restored_reason: String,
    /// Anything else.
    pub notes: String,
    /// Who wrote it.
    pub author: String,
}

/// Writes 20.0 as 20, as a person would have typed it.
fn plain_number<S: Serializer>(value: &Option<f64>, serializer: S) -> Result<S::Ok, S::Error> {
    match value {
        Some(number) if number.fract() == 0.0 && number.abs() < 9e15 => {
            serializer.serialize_i64(*number as i64)
        }
        Some(number) => serializer.serialize_f64(*number),
        None => serializer.serialize_none(),
    }
}

impl Incident {
    /// How far the base pressure rose, in decades, where both pressures are known.
    pub fn loss_decades(&self) -> Option<f64> {
        let healthy = self.pressures.healthy?.pressure().ok()?.pascals();
        let faulty = self.pressures.faulty?.pressure().ok()?.pascals();
        (healthy > 0.0 && faulty > 0.0).then(|| (faulty / healthy).log10())
    }
}

/// One state of a record, who brought it about, and why.
#[derive(Clone, Debug, PartialEq)]
pub struct Revision {
    /// Counted from 1.
    pub revision: i64,
    /// When it was written.
    pub at: Timestamp,
    /// Who wrote it.
    pub author: String,
    /// Why; empty for the first.
    pub reason: String,
    /// The report as it then stood.
    pub incident: Incident,
}

/// A correction about to be stored.
#[derive(Clone, Debug)]
pub struct NewRevision {
    /// Which incident.
    pub number: i64,
    /// The revision the writer had in front of them.
    pub based_on: i64,
    /// When.
    pub at: Timestamp,
    /// Who.
    pub author: String,
    /// Why.
    pub reason: String,
    /// The corrected report.
    pub incident: Incident,
}

/// A stored incident with its history, oldest first, never empty.
#[derive(Clone, Debug, PartialEq)]
pub struct Filed {
    /// The number the store gave it.
    pub number: i64,
    /// Every state it has been in.
    pub revisions: Vec<Revision>,
}

impl Filed {
    /// The report as it stands now.
    pub fn current(&self) -> &Revision {
        &self.revisions[self.revisions.len() - 1]
    }
}
