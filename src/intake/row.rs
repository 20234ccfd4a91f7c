//! One row: from JSON to a report the store can take.

use jiff::Timestamp;

use super::Tools;
use crate::{
    casebook::{self, Once, Refusal, Revision, RevisionDraft, rules},
    catalogue::Catalogue,
    store::Filing,
};

pub(super) fn read(
    text: &str,
    catalogue: &Catalogue,
    tools: &Tools,
    now: Timestamp,
) -> Result<Filing, Vec<Refusal>> {
    match plain(text, catalogue, tools, now) {
        Some(filing) => Ok(filing),
        None => with_care(text, catalogue, tools, now),
    }
}

/// The quick way with a row of a known tool that keeps the rules; the careful one tells what is
/// wrong with any other.
fn plain(text: &str, catalogue: &Catalogue, tools: &Tools, now: Timestamp) -> Option<Filing> {
    let mut draft = casebook::read_plain(text.trim_end())?;
    let context = rules::Context {
        catalogue,
        tool: Some(tools.get(draft.tool.as_deref()?)?.as_ref()),
        now,
    };
    let number = draft.number;
    let revisions = std::mem::take(&mut draft.revisions);
    let incident = rules::accept_whole(draft, &context).ok()?;
    with_history(number, None, &revisions, incident, &context).ok()
}

fn with_care(
    text: &str,
    catalogue: &Catalogue,
    tools: &Tools,
    now: Timestamp,
) -> Result<Filing, Vec<Refusal>> {
    let Once(value) = serde_json::from_str(text.trim_end()).map_err(|error| {
        let column = error.column();
        vec![match error.is_data() {
            true => Refusal::new(
                "record",
                format!("cannot be taken (column {column}): {error}"),
                "each name once",
            ),
            false => Refusal::new(
                "record",
                format!("is not JSON (column {column}): {error}"),
                "one JSON object a line",
            ),
        }]
    })?;
    let (draft, mut refusals) = casebook::read_record(&value);
    let mut new_tool = None;
    let known = draft
        .tool
        .as_deref()
        .and_then(|id| tools.get(id))
        .map(AsRef::as_ref);
    if known.is_none() && draft.tool.is_some() {
        match rules::tool_from_record(&draft, catalogue, now) {
            Ok(described) => new_tool = Some(described),
            Err(more) => refusals.extend(more),
        }
    }
    let context = rules::Context {
        catalogue,
        tool: known.or(new_tool.as_ref().map(|(_, tool)| tool)),
        now,
    };
    let calculations = rules::calculations(&draft.calculations, now).unwrap_or_else(|broken| {
        refusals = rules::merged(std::mem::take(&mut refusals), broken);
        Vec::new()
    });
    match rules::accept(&draft, &context) {
        Ok(incident) if refusals.is_empty() => {
            let (tool, revisions) = (draft.tool.as_deref(), &draft.revisions);
            let mut filing = with_history(draft.number, tool, revisions, incident, &context)?;
            filing.new_tool = new_tool;
            filing.calculations = calculations;
            Ok(filing)
        }
        Ok(_) => Err(refusals),
        Err(broken) => Err(rules::merged(refusals, broken)),
    }
}

/// Whether a row that was refused names a tool that is known, so that no row before it could
/// have made it good.
pub(super) fn names_known_tool(text: &str, tools: &Tools) -> bool {
    #[derive(serde::Deserialize)]
    struct Named<'a> {
        #[serde(borrow, default)]
        tool: Option<std::borrow::Cow<'a, str>>,
    }
    match serde_json::from_str::<Named<'_>>(text.trim_end()) {
        Ok(Named { tool: Some(tool) }) => tools.contains_key(tool.trim()),
        _ => true,
    }
}

/// A report with the history an export gave it. Earlier states keep the same rules.
fn with_history(
    number: Option<i64>,
    tool: Option<&str>,
    revisions: &[RevisionDraft],
    incident: casebook::Incident,
    context: &rules::Context<'_>,
) -> Result<Filing, Vec<Refusal>> {
    let now = context.now;
    let mut filing = Filing {
        number,
        ..Filing::new(incident, now)
    };
    let Some((newest, earlier)) = revisions.split_last() else {
        // A report from elsewhere counts as written when it was closed.
        filing.at = filing
            .incident
            .closed_at
            .unwrap_or(filing.incident.occurred_at);
        return Ok(filing);
    };
    let mut refusals = in_order(revisions, now);
    for (index, revision) in earlier.iter().enumerate() {
        let field = format!("revisions[{index}].record");
        let Some(record) = &revision.record else {
            refusals.push(Refusal::new(
                field,
                "is missing",
                "the record as it stood then; only the last revision goes without",
            ));
            continue;
        };
        // A correction may have changed the tool; an earlier one the store need not know.
        let of_this_tool = record.tool.as_deref() == tool;
        let context = rules::Context {
            tool: context.tool.filter(|_| of_this_tool),
            ..*context
        };
        match rules::accept_earlier(record, &context) {
            Ok(incident) => filing.earlier.push(Revision {
                revision: index as i64 + 1,
                at: revision.at.unwrap_or(now),
                author: revision.author.clone(),
                reason: revision.reason.clone(),
                incident,
            }),
            Err(broken) => refusals.extend(broken.into_iter().map(|refusal| Refusal {
                field: format!("{field}.{}", refusal.field),
                ..refusal
            })),
        }
    }
    filing.at = newest.at.unwrap_or(now);
    filing.author.clone_from(&newest.author);
    filing.reason.clone_from(&newest.reason);
    if refusals.is_empty() {
        Ok(filing)
    } else {
        Err(refusals)
    }
}

/// What is wrong with numbers, times, authors and reasons of a history.
fn in_order(revisions: &[RevisionDraft], now: Timestamp) -> Vec<Refusal> {
    let mut refusals = Vec::new();
    let mut before = Timestamp::MIN;
    for (index, revision) in revisions.iter().enumerate() {
        let mut refuse = |field: &str, problem: &str, accepted: String| {
            refusals.push(Refusal::new(
                format!("revisions[{index}].{field}"),
                problem,
                accepted,
            ));
        };
        let place = index as i64 + 1;
        if revision.number.is_some_and(|number| number != place) {
            refuse("revision", "is out of order", place.to_string());
        }
        match revision.at {
            None => refuse("at", "is missing", "the time it was written".to_owned()),
            Some(at) if at > now || at < before => refuse(
                "at",
                "lies in the future or before the revision before it",
                "times that do not go back".to_owned(),
            ),
            Some(at) => before = at,
        }
        if revision.author.is_empty() {
            refuse("author", "is missing", "who wrote the revision".to_owned());
        }
        if index > 0 && revision.reason.is_empty() {
            refuse(
                "reason",
                "is missing",
                "why the record was corrected".to_owned(),
            );
        }
    }
    refusals
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{catalogue::source, synthesise};

    /// A row that is read with care takes several times as long.
    #[test]
    fn rows_of_a_known_tool_are_read_the_quick_way() {
        let catalogue = source::built_in().expect("the catalogue is right");
        let now = Timestamp::now();
        let mut tools = Tools::new();
        let mut quick = 0;
        for made in synthesise::Fleet::new(&catalogue, 5).incidents(400) {
            let details = casebook::tool_details(made.tool, made.site, &catalogue);
            let record = casebook::new_record(&made.incident, made.tool, Some(details));
            let text = serde_json::to_string(&record).expect("it can be written");
            let slow = with_care(&text, &catalogue, &tools, now).expect("it keeps the rules");
            if let Some((_, tool)) = &slow.new_tool {
                tools.insert(tool.id.clone(), tool.clone().into());
                continue;
            }
            let plain = plain(&text, &catalogue, &tools, now).expect("nothing odd in it");
            assert_eq!(plain.incident, slow.incident);
            assert_eq!((plain.at, &plain.author), (slow.at, &slow.author));
            quick += 1;
        }
        assert!(quick > 50, "{quick}");
    }
}
