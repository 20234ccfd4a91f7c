//! `fleet.toml`: sites and tools.

use jiff::civil::Date;
use serde::Deserialize;
use toml::Spanned;

use crate::{
    casebook::{PlannedService, Site, SiteCode, Tool, ToolId},
    catalogue::{Catalogue, ComponentId},
    vacuum::units::TypedPressure,
};

/// A mistake in the fleet's data file.
#[derive(Debug, thiserror::Error)]
#[error("fleet.toml, line {line}: {problem}")]
pub struct FleetError {
    line: usize,
    problem: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawFleet {
    site: Vec<RawSite>,
    tool: Vec<Spanned<RawTool>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawSite {
    id: String,
    name: String,
    place: String,
    help_minutes: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawService {
    component: String,
    on: Date,
    note: String,
    author: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawTool {
    id: String,
    site: String,
    class: String,
    serial: String,
    in_service: Date,
    out_of_service: Option<Date>,
    volume_litres: f64,
    speed_litres_per_second: f64,
    healthy_base: TypedPressure,
    #[serde(default)]
    fitted: Vec<String>,
    #[serde(default)]
    lacking: Vec<String>,
    #[serde(default)]
    gauges: Vec<String>,
    #[serde(default)]
    services: Vec<RawService>,
}

pub(super) fn parse(
    text: &str,
    catalogue: &Catalogue,
) -> Result<(Vec<Site>, Vec<Tool>), FleetError> {
    let line = |offset: usize| 1 + text[..offset.min(text.len())].matches('\n').count();
    let raw: RawFleet = toml::from_str(text).map_err(|error| FleetError {
        line: error.span().map_or(1, |span| line(span.start)),
        problem: error.message().to_owned(),
    })?;
    let sites: Vec<Site> = raw
        .site
        .into_iter()
        .map(|site| Site {
            code: SiteCode::new(site.id),
            name: site.name,
            place: site.place,
            help_minutes: site.help_minutes,
        })
        .collect();
    let mut tools: Vec<Tool> = Vec::new();
    for raw in raw.tool {
        let line = line(raw.span().start);
        let wrong = |problem: String| FleetError { line, problem };
        let raw = raw.into_inner();
        let class = catalogue
            .class(&raw.class)
            .ok_or_else(|| wrong(format!("no tool class is called {:?}", raw.class)))?;
        if !sites.iter().any(|site| site.code.as_str() == raw.site) {
            return Err(wrong(format!("no site has the code {:?}", raw.site)));
        }
        if tools.iter().any(|tool| tool.id.as_str() == raw.id) {
            return Err(wrong(format!("the tool {:?} stands twice", raw.id)));
        }
        let mut tool = Tool::as_built(ToolId::new(raw.id), SiteCode::new(raw.site), class);
        for id in &raw.fitted {
            if !class
                .optional
                .iter()
                .any(|optional| optional.as_str() == id)
            {
                return Err(wrong(format!("{id:?} is not optional for {}", class.id)));
            }
            tool.components.insert(ComponentId::new(id));
        }
        for id in &raw.lacking {
            if !tool.components.remove(id.as_str()) {
                return Err(wrong(format!("{id:?} is not built into {}", class.id)));
            }
        }
        tool.serial = raw.serial;
        for service in raw.services {
            if !tool.components.contains(service.component.as_str()) {
                return Err(wrong(format!("{:?} is not fitted", service.component)));
            }
            tool.services.push(PlannedService {
                id: None,
                component: ComponentId::new(service.component),
                on: service.on,
                note: service.note,
                author: service.author,
                at: None,
            });
        }
        tool.in_service = Some(raw.in_service);
        tool.out_of_service = raw.out_of_service;
        tool.volume_litres = raw.volume_litres;
        tool.speed_litres_per_second = raw.speed_litres_per_second;
        tool.healthy_base = raw.healthy_base;
        tool.gauges = raw.gauges;
        tools.push(tool);
    }
    Ok((sites, tools))
}
