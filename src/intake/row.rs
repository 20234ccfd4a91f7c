//! One row: from JSON to a report the store can take.

use std::collections::HashMap;

use jiff::Timestamp;

use crate::{
    casebook::{self, Draft, Refusal, Revision, Tool, ToolId, rules},
    catalogue::Catalogue,
    store::Filing,
};

pub(super) fn read(
    text: &str,
    catalogue: &Catalogue,
    tools: &HashMap<ToolId, Tool>,
    now: Timestamp,
) -> Result<Filing, Vec<Refusal>> {
    let value: serde_json::Value = serde_json::from_str(text).map_err(|error| {
        vec![Refusal::new(
            "record",
            format!("is not JSON (column {}): {error}", error.column()),
            "one JSON object a line",
        )]
    })?;
    let (draft, mut refusals) = casebook::read_record(&value);
    let mut new_tool = None;
    let known = draft.tool.as_deref().and_then(|id| tools.get(id));
    if known.is_none() && draft.tool.is_some() {
        match rules::tool_from_record(&draft, catalogue) {
            Ok(described) => new_tool = Some(described),
            Err(more) => refusals.extend(more),
        }
    }
    let context = rules::Context {
        catalogue,
        tool: known.or(new_tool.as_ref().map(|(_, tool)| tool)),
        now,
    };
    match rules::accept(&draft, &context) {
        Ok(incident) if refusals.is_empty() => {
            let mut filing = with_history(&draft, incident, now)?;
            filing.new_tool = new_tool;
            Ok(filing)
        }
        Ok(_) => Err(refusals),
        Err(broken) => Err(rules::merged(refusals, broken)),
    }
}

/// A report with the history an export gave it.
fn with_history(
    draft: &Draft,
    incident: casebook::Incident,
    now: Timestamp,
) -> Result<Filing, Vec<Refusal>> {
    let mut filing = Filing {
        number: draft.number,
        ..Filing::new(incident, now)
    };
    let Some((newest, earlier)) = draft.revisions.split_last() else {
        // A report from elsewhere counts as written when it was closed.
        filing.at = filing
            .incident
            .closed_at
            .unwrap_or(filing.incident.occurred_at);
        return Ok(filing);
    };
    let mut refusals = Vec::new();
    let time = |index: usize, at: Option<Timestamp>, refusals: &mut Vec<Refusal>| {
        at.filter(|at| *at <= now).unwrap_or_else(|| {
            refusals.push(Refusal::new(
                format!("revisions[{index}].at"),
                "is missing or lies in the future",
                "the time the revision was written",
            ));
            now
        })
    };
    for (index, revision) in earlier.iter().enumerate() {
        let at = time(index, revision.at, &mut refusals);
        match &revision.record {
            Some(incident) => filing.earlier.push(Revision {
                revision: index as i64 + 1,
                at,
                author: revision.author.clone(),
                reason: revision.reason.clone(),
                incident: incident.clone(),
            }),
            None => refusals.push(Refusal::new(
                format!("revisions[{index}].record"),
                "is missing",
                "the record as it stood then; only the last revision goes without",
            )),
        }
    }
    filing.at = time(earlier.len(), newest.at, &mut refusals);
    filing.author.clone_from(&newest.author);
    filing.reason.clone_from(&newest.reason);
    for (index, revision) in draft.revisions.iter().enumerate() {
        if revision.author.is_empty() {
            refusals.push(Refusal::new(
                format!("revisions[{index}].author"),
                "is missing",
                "who wrote the revision",
            ));
        }
        if index > 0 && revision.reason.is_empty() {
            refusals.push(Refusal::new(
                format!("revisions[{index}].reason"),
                "is missing",
                "why the record was corrected",
            ));
        }
    }
    if refusals.is_empty() {
        Ok(filing)
    } else {
        Err(refusals)
    }
}
