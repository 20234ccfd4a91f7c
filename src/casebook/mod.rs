//! The domain: sites, tools, incidents, and the rules a report must keep.
//!
//! Pure: no I/O, no async, no clock but an argument. What a person or program sends
//! is first a [`Draft`] (anything may be missing or wrong, nothing is lost); only
//! [`rules::accept`] turns it into an [`Incident`], and it gathers every
//! [`Refusal`] instead of stopping at the first.

mod asker;
mod calculation;
mod draft;
mod incident;
mod once;
mod plain;
mod record;
pub mod rules;
mod tool;
pub mod upkeep;
mod written;

#[cfg(test)]
mod tests;

pub use crate::refusal::Refusal;
pub use asker::{Asker, SiteScope};
pub use calculation::{
    CALCULATION_BYTES, CALCULATION_LIMIT, Calculation, CalculationDraft, KeptLog, LOG_LIMIT,
    PackedLog, read_all,
};
pub use draft::{
    CheckDraft, Draft, RevisionDraft, ServiceDraft, TEXT_LIMIT, ToolDetails, read_record,
};
pub use incident::{
    CheckDone, Filed, Finding, Incident, NewRevision, Outcome, Pressures, Revision, Status,
};
pub(crate) use once::Once;
pub use plain::read_plain;
pub use record::{IncidentRecord, ToolDetailsRecord, filed_record, new_record, tool_details};
pub use tool::{Components, PlannedService, Site, SiteCode, Tool, ToolId};
pub use written::to_json;
