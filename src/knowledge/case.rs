//! A closed incident, and a tool, as the plain numbers of [`crate::statistics`].

use std::collections::HashMap;

use super::practice::outcome;
use crate::{
    casebook::{Finding, Incident, PlannedService, Tool},
    catalogue::Catalogue,
    day,
    statistics::{Case, ToolService},
};

pub(super) fn of(
    number: i64,
    incident: &Incident,
    tool: &Tool,
    cause: &Finding,
    catalogue: &Catalogue,
) -> Case {
    let known = catalogue.cause(cause.id());
    Case {
        number,
        tool: tool.id.to_string(),
        tool_class: tool.class.to_string(),
        site: tool.site.to_string(),
        cause: cause.id().to_owned(),
        component: known.map(|cause| cause.component.to_string()),
        kind: known.map(|cause| cause.kind.id().to_owned()),
        occurred_day: day::of(incident.occurred_at),
        labour_minutes: incident.labour_minutes.unwrap_or_default(),
        down_hours: incident.down_hours.unwrap_or_default(),
        signs: incident
            .signs
            .iter()
            .map(|(id, seen)| (id.to_string(), *seen))
            .collect(),
        antecedents: incident
            .antecedents
            .iter()
            .map(|(id, happened)| (id.to_string(), *happened))
            .collect(),
        checks: incident
            .checks
            .iter()
            .map(|done| (done.check.to_string(), outcome(done.outcome), done.minutes))
            .collect(),
        loss_decades: incident.loss_decades(),
    }
}

/// Worn parts by component: the causes of failure a planned service takes away.
pub(super) fn worn(catalogue: &Catalogue) -> HashMap<String, Vec<String>> {
    let mut worn: HashMap<String, Vec<String>> = HashMap::new();
    for cause in catalogue.causes().filter(|cause| cause.wears) {
        let of_component = worn.entry(cause.component.to_string()).or_default();
        of_component.push(cause.id.to_string());
    }
    worn
}

pub(super) fn service(tool: &Tool, worn: &HashMap<String, Vec<String>>) -> ToolService {
    let renewed = |service: &PlannedService| {
        let causes = worn.get(service.component.as_str()).into_iter().flatten();
        let day = day::of_date(service.on);
        let causes: Vec<_> = causes
            .filter_map(|cause| Some((cause.clone(), day?)))
            .collect();
        causes
    };
    ToolService {
        tool: tool.id.to_string(),
        tool_class: tool.class.to_string(),
        site: tool.site.to_string(),
        components: tool.components.iter().map(ToString::to_string).collect(),
        from_day: tool.in_service.and_then(day::of_date),
        until_day: tool.out_of_service.and_then(day::of_date),
        services: tool.services.iter().flat_map(renewed).collect(),
    }
}
