//! What people keep up about sites and tools: the forms of a site's and a tool's page. A
//! refused form comes back as it was typed, with the message beside each field.

use axum::{
    Router,
    extract::{Path, State},
    response::{Html, Response},
    routing::{get, post},
};
use jiff::{civil::Date, tz::TimeZone};

use super::{
    fleet,
    report::{busy, done, refused},
};
use crate::{
    casebook::{
        PlannedService, Refusal, Site, Tool,
        upkeep::{self, Words},
    },
    catalogue::Catalogue,
    store::{FleetChange, StoreError},
    web::{
        fault::Fault,
        fields::{Pairs, Sent, place},
        show,
        state::App,
        views::{
            form::{Field, Fields, LineKind, SelectOption},
            upkeep::{ChangeLine, UpkeepForm},
        },
    },
};

/// Changes shown on a page.
pub(super) const CHANGES: i64 = 12;

/// Each page with its forms.
pub(super) fn routes() -> Router<App> {
    Router::new()
        .route("/sites/{site}", get(fleet::site).post(set_price))
        .route("/tools/{tool}", get(fleet::tool))
        .route("/tools/{tool}/days", post(set_days))
        .route("/tools/{tool}/services", post(add_service))
        .route("/tools/{tool}/services/{id}/withdrawal", post(withdraw))
}

/// The forms of a tool's page.
pub(super) struct ToolForms {
    /// Days in service.
    pub(super) days: UpkeepForm,
    /// A new planned service.
    pub(super) service: UpkeepForm,
    /// By planned service, withdrawing it.
    pub(super) withdrawals: Vec<UpkeepForm>,
}

/// The form of a site's price of help.
pub(super) fn price_form(site: &Site) -> UpkeepForm {
    let price = site.help_minutes.map(|minutes| show::trimmed(minutes, 1));
    UpkeepForm {
        title: "Change what help costs".to_owned(),
        about:
            "Minutes until a helium leak detector or a residual gas analyser is at the tool and \
                running, waiting included, and the money it costs turned into minutes down. Left \
                empty, no stop is proposed unless a price is typed with the question."
                .to_owned(),
        action: place("/sites", site.code.as_str()),
        fields: vec![
            Field::line(
                "price.help_minutes",
                "Bringing help costs",
                LineKind::Number,
            )
            .with(&price.unwrap_or_default())
            .suffix("minutes")
            .optional(),
            author("price"),
            reason("price", site.help_minutes.is_some()),
        ],
        button: "Save".to_owned(),
        general: Vec::new(),
    }
}

/// The forms of a tool.
pub(super) fn tool_forms(tool: &Tool, catalogue: &Catalogue) -> ToolForms {
    let here = place("/tools", tool.id.as_str());
    let day = |id: &str, label: &str, day: Option<Date>| {
        Field::line(id, label, LineKind::Date)
            .with(&day.map(|day| day.to_string()).unwrap_or_default())
            .optional()
    };
    let known = tool.in_service.or(tool.out_of_service).is_some();
    let components = tool
        .components
        .iter()
        .map(|id| SelectOption::new(id.as_str(), component(id.as_str(), catalogue)))
        .collect();
    ToolForms {
        days: UpkeepForm {
            title: "Change the days in service".to_owned(),
            about: "Rates are counted against these days. Leave the last day empty while the tool \
                    runs."
                .to_owned(),
            action: format!("{here}/days"),
            fields: vec![
                day("days.in_service", "First day in service", tool.in_service),
                day(
                    "days.out_of_service",
                    "Last day in service",
                    tool.out_of_service,
                ),
                author("days"),
                reason("days", known),
            ],
            button: "Save".to_owned(),
            general: Vec::new(),
        },
        service: UpkeepForm {
            title: "Add a planned service".to_owned(),
            about: "A part renewed by plan, not because it had failed: its life then counts as \
                    ended without a failure, and a new one begins, unless it was done before the site’s \
                    first report: failures since then are not known. A repair belongs into a report."
                .to_owned(),
            action: format!("{here}/services"),
            fields: vec![
                Field::flat_select("service.component", "Component", components),
                Field::line("service.on", "Done on", LineKind::Date),
                Field::line("service.note", "What was done", LineKind::Text).optional(),
                author("service"),
            ],
            button: "Add".to_owned(),
            general: Vec::new(),
        },
        withdrawals: tool
            .services
            .iter()
            .filter_map(|service| withdrawal(&here, service))
            .collect(),
    }
}

fn withdrawal(here: &str, service: &PlannedService) -> Option<UpkeepForm> {
    let id = service.id?;
    let prefix = format!("withdraw-{id}");
    Some(UpkeepForm {
        title: format!("Withdraw the entry of {}", show::date(service.on)),
        about: "For an entry made by mistake. It stays in the list of changes.".to_owned(),
        action: format!("{here}/services/{id}/withdrawal"),
        fields: vec![author(&prefix), reason(&prefix, true)],
        button: "Withdraw".to_owned(),
        general: Vec::new(),
    })
}

fn author(prefix: &str) -> Field {
    Field::line(
        &format!("{prefix}.author"),
        "Your initials or name",
        LineKind::Text,
    )
}

fn reason(prefix: &str, wanted: bool) -> Field {
    let field = Field::line(&format!("{prefix}.reason"), "Why", LineKind::Text);
    if wanted {
        field.hint("Needed where something on record is replaced.")
    } else {
        field.optional()
    }
}

async fn set_price(
    State(app): State<App>,
    Path(code): Path<String>,
    sent: Sent,
) -> Result<Response, Fault> {
    let site = fleet::known_site(&app, &code).await?;
    let mut form = price_form(&site);
    let outcome = match upkeep::price(&words(&sent, "price"), &site) {
        Err(refusals) => Err(refusals),
        Ok((minutes, signed)) => Ok(app
            .store
            .set_help_price(&site.code, minutes, signed, app.now())
            .await),
    };
    if let Some(again) = again(outcome, &mut form, &sent, "price")? {
        return Ok(again(fleet::site_page(&app, site, form, None).await?));
    }
    Ok(done(&format!("{}?done=price", place("/sites", &code))))
}

async fn set_days(
    State(app): State<App>,
    Path(id): Path<String>,
    sent: Sent,
) -> Result<Response, Fault> {
    let tool = fleet::known_tool(&app, &id).await?;
    let mut forms = tool_forms(&tool, &app.catalogue);
    let outcome = match upkeep::days(&words(&sent, "days"), &tool, today(&app)) {
        Err(refusals) => Err(refusals),
        Ok((days, signed)) => Ok(app
            .store
            .set_service_days(&tool.id, days, signed, app.now())
            .await),
    };
    if let Some(again) = again(outcome, &mut forms.days, &sent, "days")? {
        return Ok(again(fleet::tool_page(&app, tool, forms, None).await?));
    }
    Ok(done(&format!("{}?done=days", place("/tools", &id))))
}

async fn add_service(
    State(app): State<App>,
    Path(id): Path<String>,
    sent: Sent,
) -> Result<Response, Fault> {
    let tool = fleet::known_tool(&app, &id).await?;
    let mut forms = tool_forms(&tool, &app.catalogue);
    let outcome = match upkeep::service(&words(&sent, "service"), &tool, today(&app)) {
        Err(refusals) => Err(refusals),
        Ok(service) => Ok(app
            .store
            .add_service(&tool.id, service, app.now())
            .await
            .map(|_| ())),
    };
    if let Some(again) = again(outcome, &mut forms.service, &sent, "service")? {
        return Ok(again(fleet::tool_page(&app, tool, forms, None).await?));
    }
    Ok(done(&format!("{}?done=service", place("/tools", &id))))
}

async fn withdraw(
    State(app): State<App>,
    Path((id, number)): Path<(String, String)>,
    sent: Sent,
) -> Result<Response, Fault> {
    let tool = fleet::known_tool(&app, &id).await?;
    let missing = || Fault::NotFound(format!("This tool has no planned service {number:?}."));
    let service: i64 = number.parse().map_err(|_| missing())?;
    let at = tool
        .services
        .iter()
        .position(|known| known.id == Some(service))
        .ok_or_else(missing)?;
    let prefix = format!("withdraw-{service}");
    let mut forms = tool_forms(&tool, &app.catalogue);
    let outcome = match upkeep::withdrawal(&words(&sent, &prefix)) {
        Err(refusals) => Err(refusals),
        Ok(signed) => Ok(app
            .store
            .withdraw_service(&tool, service, signed, app.now())
            .await
            .map(|_| ())),
    };
    if let Some(again) = again(outcome, &mut forms.withdrawals[at], &sent, &prefix)? {
        return Ok(again(fleet::tool_page(&app, tool, forms, None).await?));
    }
    Ok(done(&format!("{}?done=withdrawn", place("/tools", &id))))
}

/// Answers with a page that shows a form again.
type Answering = fn(Html<String>) -> Response;

/// How a page with a form that was not taken is answered, the form filled in again; none if
/// it was taken.
fn again(
    outcome: Result<Result<(), StoreError>, Vec<Refusal>>,
    form: &mut UpkeepForm,
    sent: &Pairs,
    prefix: &str,
) -> Result<Option<Answering>, Fault> {
    for (name, value) in sent.iter() {
        form.fill(name, value);
    }
    match outcome {
        Ok(Ok(())) => Ok(None),
        Ok(Err(StoreError::Busy)) => {
            form.general.push(StoreError::Busy.to_string());
            Ok(Some(busy))
        }
        Ok(Err(error)) => Err(error.into()),
        Err(refusals) => {
            for refusal in refusals {
                form.refuse(
                    &format!("{prefix}.{}", refusal.field),
                    &format!("{}; accepted: {}", refusal.problem, refusal.accepted),
                );
            }
            Ok(Some(refused))
        }
    }
}

/// What a form sent under a prefix, empty values among it.
fn words(sent: &Pairs, prefix: &str) -> Words {
    sent.iter()
        .filter_map(|(name, value)| {
            let name = name.strip_prefix(prefix)?.strip_prefix('.')?;
            Some((name.to_owned(), value.trim().to_owned()))
        })
        .collect()
}

/// The day it is, UTC.
pub(in crate::web) fn today(app: &App) -> Date {
    TimeZone::UTC.to_datetime(app.now()).date()
}

/// Changes as a page lists them.
pub(super) fn lines(changes: &[FleetChange], catalogue: &Catalogue) -> Vec<ChangeLine> {
    let value = |field: &str, text: &str| match field {
        "help_minutes" => text
            .parse::<f64>()
            .map_or_else(|_| text.to_owned(), show::minutes),
        "service" => match text.split_once(" on ") {
            Some((id, day)) => format!("{} on {day}", component(id, catalogue)),
            None => text.to_owned(),
        },
        _ => text.to_owned(),
    };
    changes
        .iter()
        .map(|change| {
            let name = match change.field.as_str() {
                "help_minutes" => "Price of help",
                "in_service" => "First day in service",
                "out_of_service" => "Last day in service",
                "service" => "Planned service",
                other => other,
            };
            let (was, becomes) = (
                value(&change.field, &change.was),
                value(&change.field, &change.becomes),
            );
            ChangeLine {
                by: format!("{}, {}", change.author, show::moment(change.at)),
                what: match (was.is_empty(), becomes.is_empty()) {
                    (true, _) => format!("{name}: {becomes}."),
                    (false, true) => format!("{name} taken off: {was}."),
                    (false, false) => format!("{name}: {becomes}, before {was}."),
                },
                reason: change.reason.clone(),
            }
        })
        .collect()
}

/// The name of a component.
pub(super) fn component(id: &str, catalogue: &Catalogue) -> String {
    catalogue
        .component(id)
        .map_or_else(|| id.to_owned(), |component| component.name.clone())
}
