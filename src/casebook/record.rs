//! Writing an incident as the one JSON shape that import, export, the API and the
//! demo data share. [`super::read_record`] reads it back.

use jiff::{Timestamp, civil::Date};
use serde::Serialize;

use super::{Calculation, Filed, Incident, PlannedService, Site, Tool};
use crate::{
    catalogue::{Catalogue, ComponentId},
    vacuum::units::TypedPressure,
};

/// An incident as JSON: `{"tool": …, "symptom": …, "cause": …, …}`.
#[derive(Clone, Debug, Serialize)]
pub struct IncidentRecord<'a> {
    #[serde(skip_serializing_if = "Option::is_none")]
    number: Option<i64>,
    tool_class: &'a str,
    site: &'a str,
    #[serde(flatten)]
    incident: &'a Incident,
    #[serde(skip_serializing_if = "Option::is_none")]
    tool_details: Option<ToolDetailsRecord<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    revision: Option<i64>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    revisions: Vec<RevisionRecord<'a>>,
    #[serde(skip_serializing_if = "<[Calculation]>::is_empty")]
    calculations: &'a [Calculation],
}

/// What a record says of its tool beyond name, class and site.
#[derive(Clone, Debug, Serialize)]
pub struct ToolDetailsRecord<'a> {
    site_name: &'a str,
    #[serde(skip_serializing_if = "str::is_empty")]
    site_place: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    site_help_minutes: Option<f64>,
    #[serde(skip_serializing_if = "str::is_empty")]
    serial: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    in_service: Option<Date>,
    #[serde(skip_serializing_if = "Option::is_none")]
    out_of_service: Option<Date>,
    volume_litres: f64,
    speed_litres_per_second: f64,
    healthy_base: TypedPressure,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    fitted: Vec<&'a str>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    lacking: Vec<&'a str>,
    #[serde(skip_serializing_if = "<[String]>::is_empty")]
    gauges: &'a [String],
    #[serde(skip_serializing_if = "Vec::is_empty")]
    services: Vec<PlannedService>,
}

/// One state of a record. The last carries no `record`, since it is the record it stands in.
#[derive(Clone, Debug, Serialize)]
struct RevisionRecord<'a> {
    revision: i64,
    at: Timestamp,
    author: &'a str,
    #[serde(skip_serializing_if = "str::is_empty")]
    reason: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    record: Option<&'a Incident>,
}

/// Writes an incident nobody has filed yet: no number, no history.
pub fn new_record<'a>(
    incident: &'a Incident,
    tool: &'a Tool,
    details: Option<ToolDetailsRecord<'a>>,
) -> IncidentRecord<'a> {
    IncidentRecord {
        number: None,
        tool_class: tool.class.as_str(),
        site: tool.site.as_str(),
        incident,
        tool_details: details,
        revision: None,
        revisions: Vec::new(),
        calculations: &[],
    }
}

/// Writes a stored incident with number, history and the calculations kept with it, and with
/// `details` where an empty store would need them.
pub fn filed_record<'a>(
    filed: &'a Filed,
    calculations: &'a [Calculation],
    tool: &'a Tool,
    details: Option<ToolDetailsRecord<'a>>,
) -> IncidentRecord<'a> {
    let current = filed.current();
    let revisions = filed
        .revisions
        .iter()
        .map(|revision| RevisionRecord {
            revision: revision.revision,
            at: revision.at,
            author: &revision.author,
            reason: &revision.reason,
            record: (revision.revision != current.revision).then_some(&revision.incident),
        })
        .collect();
    IncidentRecord {
        number: Some(filed.number),
        revision: Some(current.revision),
        revisions,
        calculations,
        ..new_record(&current.incident, tool, details)
    }
}

/// Writes what is known of a tool and its site beyond name, class and site code.
pub fn tool_details<'a>(
    tool: &'a Tool,
    site: &'a Site,
    catalogue: &'a Catalogue,
) -> ToolDetailsRecord<'a> {
    let built: &[ComponentId] = catalogue
        .class(tool.class.as_str())
        .map_or(&[], |class| &class.components);
    ToolDetailsRecord {
        site_name: &site.name,
        site_place: &site.place,
        site_help_minutes: site.help_minutes,
        serial: &tool.serial,
        in_service: tool.in_service,
        out_of_service: tool.out_of_service,
        volume_litres: tool.volume_litres,
        speed_litres_per_second: tool.speed_litres_per_second,
        healthy_base: tool.healthy_base,
        fitted: tool
            .components
            .iter()
            .filter(|id| !built.contains(id))
            .map(ComponentId::as_str)
            .collect(),
        lacking: built
            .iter()
            .filter(|id| !tool.components.contains(id.as_str()))
            .map(ComponentId::as_str)
            .collect(),
        gauges: &tool.gauges,
        // Numbers are of one store and travel nowhere.
        services: tool
            .services
            .iter()
            .map(|service| PlannedService {
                id: None,
                ..service.clone()
            })
            .collect(),
    }
}
