//! An incident as the index holds it.

use tantivy::TantivyDocument;

use super::schema::Fields;
use crate::{
    casebook::{Finding, Incident, Tool},
    catalogue::{Catalogue, Kind},
};

/// What the index needs of an incident.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// Its number.
    pub number: i64,
    /// The revision this was made from.
    pub revision: i64,
    /// `open` or `closed`.
    pub status: &'static str,
    /// Tool name.
    pub tool: String,
    /// Site code.
    pub site: String,
    /// Tool class.
    pub class: String,
    /// Kind of its cause, if it has one.
    pub kind: Option<Kind>,
    /// Its cause, if known.
    pub cause: Option<String>,
    /// When the loss was noticed, microseconds since 1970.
    pub occurred_at: i64,
    /// The symptom as told.
    pub symptom: String,
    /// The cause in words: name, mechanism, component, kind.
    pub cause_text: String,
    /// What was done.
    pub fix: String,
    /// Proof, notes, parts, notes of checks, reason not restored; a line each.
    pub notes: String,
    /// Signs seen, antecedents that happened, checks that found something, tool and class.
    pub facts: String,
}

impl Entry {
    /// Gathers what the index needs.
    pub fn new(
        number: i64,
        revision: i64,
        incident: &Incident,
        tool: &Tool,
        catalogue: &Catalogue,
    ) -> Self {
        let cause = match &incident.cause {
            Some(Finding::Cause(id)) => catalogue.cause(id.as_str()),
            _ => None,
        };
        let cause_text = match (&incident.cause, cause) {
            (Some(_), Some(cause)) => {
                let component = catalogue
                    .component(cause.component.as_str())
                    .map_or("", |component| component.name.as_str());
                format!(
                    "{} · {} · {component} · {}",
                    cause.name, cause.mechanism, cause.kind
                )
            }
            (Some(finding), None) => catalogue.cause_name(finding.id()).to_owned(),
            (None, _) => String::new(),
        };
        let mut notes = Vec::new();
        for text in [
            &incident.proof,
            &incident.notes,
            &incident.not_restored_reason,
        ] {
            if !text.is_empty() {
                notes.push(text.clone());
            }
        }
        notes.extend(incident.parts.iter().cloned());
        notes.extend(
            incident
                .checks
                .iter()
                .map(|check| check.note.clone())
                .filter(|note| !note.is_empty()),
        );
        let signs = incident
            .signs
            .iter()
            .filter(|(_, seen)| **seen)
            .filter_map(|(id, _)| catalogue.sign(id.as_str()))
            .map(|sign| sign.name.clone());
        let antecedents = incident
            .antecedents
            .iter()
            .filter(|(_, happened)| **happened)
            .filter_map(|(id, _)| catalogue.antecedent(id.as_str()))
            .map(|antecedent| antecedent.name.clone());
        let class = catalogue
            .class(tool.class.as_str())
            .map_or(tool.class.as_str(), |class| class.name.as_str());
        let facts: Vec<String> = [tool.id.to_string(), class.to_owned()]
            .into_iter()
            .chain(signs)
            .chain(antecedents)
            .collect();
        Self {
            number,
            revision,
            status: incident.status.id(),
            tool: tool.id.to_string(),
            site: tool.site.to_string(),
            class: tool.class.to_string(),
            kind: cause.map(|cause| cause.kind),
            cause: incident
                .cause
                .as_ref()
                .map(|finding| finding.id().to_owned()),
            occurred_at: incident.occurred_at.as_microsecond(),
            symptom: incident.symptom.clone(),
            cause_text,
            fix: incident.fix.clone(),
            notes: notes.join("\n"),
            facts: facts.join(" · "),
        }
    }

    /// The text fields with the names people read, in the order they are searched.
    pub(super) fn texts(&self) -> [(&'static str, &str); 5] {
        [
            ("symptom", &self.symptom),
            ("cause", &self.cause_text),
            ("fix", &self.fix),
            ("notes", &self.notes),
            ("signs and circumstances", &self.facts),
        ]
    }

    pub(super) fn document(&self, fields: &Fields) -> TantivyDocument {
        let mut document = TantivyDocument::new();
        document.add_i64(fields.number, self.number);
        document.add_i64(fields.revision, self.revision);
        document.add_text(fields.status, self.status);
        document.add_text(fields.tool, &self.tool);
        document.add_text(fields.site, &self.site);
        document.add_text(fields.class, &self.class);
        if let Some(kind) = self.kind {
            document.add_text(fields.kind, kind.id());
        }
        if let Some(cause) = &self.cause {
            document.add_text(fields.cause, cause);
        }
        document.add_i64(fields.occurred_at, self.occurred_at);
        document.add_text(fields.symptom, &self.symptom);
        document.add_text(fields.cause_text, &self.cause_text);
        document.add_text(fields.fix, &self.fix);
        document.add_text(fields.notes, &self.notes);
        document.add_text(fields.facts, &self.facts);
        document
    }
}
