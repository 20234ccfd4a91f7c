//! Sites and tools.

use std::collections::HashMap;

use axum::{
    extract::{Path, State},
    response::Html,
};

use super::{
    calculations::{overlay_link, pump_downs_link},
    upkeep::{self, CHANGES, ToolForms},
};
use crate::{
    casebook::{Site, Status, Tool, ToolId},
    store::{Listing, ToolCount},
    web::{
        fault::{self, Fault},
        fields::{Asked, address, place},
        show,
        state::App,
        views::{
            Link,
            fleet::{FleetPage, ServiceLine, SitePage, SiteTools, ToolLine, ToolPage},
            form::{Field, SelectOption},
            incident::Fact,
            page::{Page, Section},
            upkeep::UpkeepForm,
        },
    },
};

/// Incidents shown on a tool's page.
const SHOWN: i64 = 20;

pub(super) async fn list(State(app): State<App>, asked: Asked) -> Result<Html<String>, Fault> {
    let asker = app.asker();
    let sites = app.store.sites(&asker).await?;
    let tools = app.store.tools(&asker).await?;
    let counts: HashMap<ToolId, ToolCount> = app.store.tool_counts(&asker).await?;
    let (site, class) = (asked.get("site"), asked.get("tool_class"));
    let shown: Vec<&Tool> = tools
        .iter()
        .filter(|tool| site.is_none_or(|site| tool.site.as_str() == site))
        .filter(|tool| class.is_none_or(|class| tool.class.as_str() == class))
        .collect();
    let line = |tool: &Tool| tool_line(&app, tool, &counts);
    let groups: Vec<_> = sites
        .iter()
        .map(|s| SiteTools {
            code: s.code.to_string(),
            href: place("/sites", s.code.as_str()),
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

fn tool_line(app: &App, tool: &Tool, counts: &HashMap<ToolId, ToolCount>) -> ToolLine {
    let count = counts.get(&tool.id).copied().unwrap_or_default();
    ToolLine {
        code: tool.id.to_string(),
        href: place("/tools", tool.id.as_str()),
        tool_class: show::class_name(&app.catalogue, tool.class.as_str()),
        healthy: tool.healthy_base.to_string(),
        incidents: count.all,
        open: count.open,
        last: count.last.map_or_else(String::new, show::day),
        retired: tool.out_of_service.is_some(),
    }
}

/// The site with a code, if the asker may see it.
pub(super) async fn known_site(app: &App, code: &str) -> Result<Site, Fault> {
    let sites = app.store.sites(&app.asker()).await?;
    sites
        .into_iter()
        .find(|site| site.code.as_str() == code)
        .ok_or_else(|| Fault::NotFound(format!("The fleet has no site with the code {code:?}.")))
}

/// The tool with a name, if the asker may see it.
pub(super) async fn known_tool(app: &App, id: &str) -> Result<Tool, Fault> {
    app.store
        .tool(&app.asker(), id)
        .await?
        .ok_or_else(|| Fault::NotFound(format!("The fleet has no tool called {id:?}.")))
}

pub(super) async fn site(
    State(app): State<App>,
    Path(code): Path<String>,
    asked: Asked,
) -> Result<Html<String>, Fault> {
    let site = known_site(&app, &code).await?;
    let form = upkeep::price_form(&site);
    let notice = (asked.get("done") == Some("price")).then(|| "Saved.".to_owned());
    site_page(&app, site, form, notice).await
}

pub(super) async fn site_page(
    app: &App,
    site: Site,
    price_form: UpkeepForm,
    notice: Option<String>,
) -> Result<Html<String>, Fault> {
    let asker = app.asker();
    let tools = app.store.tools(&asker).await?;
    let counts = app.store.tool_counts(&asker).await?;
    let code = site.code.as_str();
    let changes = app
        .store
        .changes_of_site(&asker, &site.code, CHANGES)
        .await?;
    let mut page = Page::new(site.name.clone(), Section::Fleet);
    page.trail = vec![Link::new("Fleet", "/fleet")];
    page.notice = notice;
    fault::page(&SitePage {
        page,
        ways: vec![Link::new(
            "Statistics of this site",
            address("/statistics", [("site", code)]),
        )],
        price: match site.help_minutes {
            Some(minutes) => format!(
                "Bringing a helium leak detector or a residual gas analyser costs this site {}. \
                 Check sequences of its tools say from where on that is less than what is left.",
                show::minutes(minutes)
            ),
            None => "Nobody has said what bringing a helium leak detector or a residual gas \
                     analyser costs this site; check sequences of its tools do not say when to \
                     stop."
                .to_owned(),
        },
        changes: upkeep::lines(&changes, &app.catalogue),
        tools: tools
            .iter()
            .filter(|tool| tool.site == site.code)
            .map(|tool| tool_line(app, tool, &counts))
            .collect(),
        code: code.to_owned(),
        name: site.name,
        place: site.place,
        price_form,
    })
}

pub(super) async fn tool(
    State(app): State<App>,
    Path(id): Path<String>,
    asked: Asked,
) -> Result<Html<String>, Fault> {
    let tool = known_tool(&app, &id).await?;
    let forms = upkeep::tool_forms(&tool, &app.catalogue);
    let notice = match asked.get("done") {
        Some("days") => Some("Saved."),
        Some("service") => Some("The planned service is on record."),
        Some("withdrawn") => Some("The planned service is withdrawn."),
        _ => None,
    };
    tool_page(&app, tool, forms, notice.map(str::to_owned)).await
}

pub(super) async fn tool_page(
    app: &App,
    tool: Tool,
    forms: ToolForms,
    notice: Option<String>,
) -> Result<Html<String>, Fault> {
    let asker = app.asker();
    let site = known_site(app, tool.site.as_str()).await?;
    let changes = app.store.changes_of_tool(&asker, &tool.id, CHANGES).await?;
    let ToolForms {
        days,
        service,
        withdrawals,
    } = forms;
    let services = tool
        .services
        .iter()
        .zip(withdrawals)
        .rev()
        .map(|(service, withdrawal)| ServiceLine {
            what: format!(
                "{}, {}",
                upkeep::component(service.component.as_str(), &app.catalogue),
                show::date(service.on)
            ),
            by: if service.note.is_empty() {
                service.author.clone()
            } else {
                format!("{}: {}", service.author, service.note)
            },
            withdrawal,
        })
        .collect();
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
    if let Some(date) = tool.out_of_service {
        facts.push(Fact::new("Last day in service", show::date(date)));
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
    page.notice = notice;
    fault::page(&ToolPage {
        page,
        days,
        service,
        services,
        changes: upkeep::lines(&changes, &app.catalogue),
        code: tool.id.to_string(),
        tool_class: show::class_name(&app.catalogue, tool.class.as_str()),
        site: Link::new(
            format!("{} · {}", site.code, site.name),
            place("/sites", site.code.as_str()),
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
        pump_downs: pump_downs_link(tool.id.as_str()),
        sequence: place("/sequence/tools", tool.id.as_str()),
        report: address(
            "/incidents/new",
            [("tool", tool.id.as_str()), ("status", "open")],
        ),
    })
}
