//! Sites and tools.

use std::collections::HashMap;

use axum::{
    extract::{Path, State},
    response::Html,
};

use super::calculations::overlay_link;
use crate::{
    casebook::{Status, Tool, ToolId},
    store::Listing,
    web::{
        fault::{self, Fault},
        fields::{Asked, address, place},
        show,
        state::App,
        views::{
            Link,
            fleet::{FleetPage, SiteTools, ToolLine, ToolPage},
            form::{Field, SelectOption},
            incident::Fact,
            page::{Page, Section},
        },
    },
};

/// Incidents shown on a tool's page.
const SHOWN: i64 = 20;

pub(super) async fn list(State(app): State<App>, asked: Asked) -> Result<Html<String>, Fault> {
    let asker = app.asker();
    let sites = app.store.sites(&asker).await?;
    let tools = app.store.tools(&asker).await?;
    let counts: HashMap<ToolId, crate::store::ToolCount> = app.store.tool_counts(&asker).await?;
    let (site, class) = (asked.get("site"), asked.get("tool_class"));
    let shown: Vec<&Tool> = tools
        .iter()
        .filter(|tool| site.is_none_or(|site| tool.site.as_str() == site))
        .filter(|tool| class.is_none_or(|class| tool.class.as_str() == class))
        .collect();
    let line = |tool: &Tool| {
        let count = counts.get(&tool.id).copied().unwrap_or_default();
        ToolLine {
            code: tool.id.to_string(),
            href: place("/tools", tool.id.as_str()),
            tool_class: show::class_name(&app.catalogue, tool.class.as_str()),
            healthy: tool.healthy_base.to_string(),
            incidents: count.all,
            open: count.open,
            last: count.last.map_or_else(String::new, show::day),
        }
    };
    let groups: Vec<_> = sites
        .iter()
        .map(|s| SiteTools {
            code: s.code.to_string(),
            name: if s.place.is_empty() {
                s.name.clone()
            } else {
                format!("{}, {}", s.name, s.place)
            },
            tools: shown
                .iter()
                .filter(|tool| tool.site == s.code)
                .map(|tool| line(tool))
                .collect(),
        })
        .filter(|group| !group.tools.is_empty())
        .collect();
    let any = |label: &str| SelectOption::new("", label);
    let site_options = std::iter::once(any("Any site"))
        .chain(
            sites
                .iter()
                .map(|s| SelectOption::new(s.code.as_str(), format!("{} · {}", s.code, s.name))),
        )
        .collect();
    let class_options = std::iter::once(any("Any class"))
        .chain(
            app.catalogue
                .classes()
                .map(|c| SelectOption::new(c.id.as_str(), c.name.as_str())),
        )
        .collect();
    fault::page(&FleetPage {
        page: Page::new("Fleet", Section::Fleet),
        filters: vec![
            Field::flat_select("site", "Site", site_options).with(site.unwrap_or_default()),
            Field::flat_select("tool_class", "Tool class", class_options)
                .with(class.unwrap_or_default()),
        ],
        filtered: site.or(class).is_some(),
        summary: format!(
            "{} at {}",
            show::counted(shown.len() as u64, "tool", "tools"),
            show::counted(groups.len() as u64, "site", "sites")
        ),
        sites: groups,
    })
}

pub(super) async fn tool(
    State(app): State<App>,
    Path(id): Path<String>,
) -> Result<Html<String>, Fault> {
    let asker = app.asker();
    let tool = app
        .store
        .tool(&asker, &id)
        .await?
        .ok_or_else(|| Fault::NotFound(format!("The fleet has no tool called {id:?}.")))?;
    let site = app
        .store
        .sites(&asker)
        .await?
        .into_iter()
        .find(|site| site.code == tool.site);
    let listing = Listing {
        tool: Some(tool.id.clone()),
        limit: SHOWN,
        ..Listing::default()
    };
    let (overviews, total) = app.store.list(&asker, &listing).await?;
    let open = overviews
        .iter()
        .filter(|o| o.incident.status == Status::Open)
        .count();
    let class = app.catalogue.class(tool.class.as_str());
    let name = |id: &crate::catalogue::ComponentId| {
        app.catalogue
            .component(id.as_str())
            .map_or(id.to_string(), |component| component.name.clone())
    };
    let lacks = class
        .map(|class| {
            class
                .components
                .iter()
                .filter(|id| !tool.components.contains(id.as_str()))
                .map(name)
                .collect()
        })
        .unwrap_or_default();
    let mut facts = Vec::new();
    if !tool.serial.is_empty() {
        facts.push(Fact::new("Serial", tool.serial.clone()));
    }
    if let Some(date) = tool.in_service {
        facts.push(Fact::new("In service since", show::date(date)));
    }
    facts.push(Fact::new(
        "Chamber volume",
        format!("{} L", show::trimmed(tool.volume_litres, 1)),
    ));
    facts.push(Fact::new(
        "Pumping speed at the chamber",
        format!("{} L/s", show::trimmed(tool.speed_litres_per_second, 1)),
    ));
    if let Some(class) = class {
        facts.push(Fact::new("High-vacuum pump", class.pump.clone()));
    }
    if !tool.gauges.is_empty() {
        facts.push(Fact::new("Gauges", tool.gauges.join(", ")));
    }
    let mut page = Page::new(tool.id.to_string(), Section::Fleet);
    page.trail = vec![Link::new("Fleet", "/fleet")];
    fault::page(&ToolPage {
        page,
        code: tool.id.to_string(),
        tool_class: show::class_name(&app.catalogue, tool.class.as_str()),
        site: site.map_or_else(
            || tool.site.to_string(),
            |site| format!("{} · {}", site.code, site.name),
        ),
        healthy: tool.healthy_base.to_string(),
        healthy_pascals: show::pascals(tool.healthy_base),
        facts,
        components: tool.components.iter().map(name).collect(),
        lacks,
        incident_summary: format!(
            "{}, {open} open",
            show::counted(total.unsigned_abs(), "incident", "incidents")
        ),
        incidents: overviews
            .iter()
            .map(|o| show::incident_line(o.number, &o.incident, Some(&tool), &app.catalogue))
            .collect(),
        all_incidents: (total > SHOWN).then(|| {
            Link::new(
                format!("Search all {total} incidents of this tool"),
                address("/search", [("q", tool.id.as_str())]),
            )
        }),
        rises: overlay_link(tool.id.as_str()),
        sequence: place("/sequence/tools", tool.id.as_str()),
        report: address("/incidents/new", [("tool", tool.id.as_str())]),
    })
}
