//! Sites and tools: what people keep up about them besides incidents.

use axum::{
    Json, Router,
    extract::{Path, Request, State},
    http::StatusCode,
    response::{IntoResponse, Response},
    routing::{get, post},
};
use serde_json::{Value, json};

use super::json as read_json;
use crate::{
    casebook::{
        Refusal, Site, Tool,
        upkeep::{self, Words},
    },
    store::FleetChange,
    web::{fault::Fault, fields::body, pages::upkeep::today, state::App},
};

/// Changes listed at most.
const CHANGES: i64 = 100;

/// Each call with its address.
pub(super) fn routes() -> Router<App> {
    Router::new()
        .route("/api/sites", get(sites))
        .route("/api/sites/{site}", get(site).patch(set_price))
        .route("/api/tools/{tool}", get(tool).patch(set_days))
        .route("/api/tools/{tool}/services", post(add_service))
        .route("/api/tools/{tool}/services/{id}/withdrawal", post(withdraw))
}

/// `GET /api/sites`.
async fn sites(State(app): State<App>) -> Result<Json<Value>, Fault> {
    let sites = app.store.sites(&app.asker()).await?;
    let sites: Vec<Value> = sites.iter().map(of_site).collect();
    Ok(Json(json!({ "sites": sites })))
}

/// `GET /api/sites/{site}`: with what was changed, newest first.
async fn site(State(app): State<App>, Path(code): Path<String>) -> Result<Json<Value>, Fault> {
    shown_site(&app, &code).await
}

/// `PATCH /api/sites/{site}`: what bringing help costs it; null takes it off.
async fn set_price(
    State(app): State<App>,
    Path(code): Path<String>,
    request: Request,
) -> Result<Json<Value>, Fault> {
    let site = known_site(&app, &code).await?;
    let words = words(&body(request, &app).await?)?;
    let (minutes, signed) = upkeep::price(&words, &site).map_err(Fault::Refused)?;
    app.store
        .set_help_price(&site.code, minutes, signed, app.now())
        .await?;
    shown_site(&app, &code).await
}

/// `GET /api/tools/{tool}`: with planned services, and what was changed, newest first.
async fn tool(State(app): State<App>, Path(id): Path<String>) -> Result<Json<Value>, Fault> {
    shown_tool(&app, &id).await
}

/// `PATCH /api/tools/{tool}`: its days in service; what is absent stays, null takes it off.
async fn set_days(
    State(app): State<App>,
    Path(id): Path<String>,
    request: Request,
) -> Result<Json<Value>, Fault> {
    let tool = known_tool(&app, &id).await?;
    let words = words(&body(request, &app).await?)?;
    let (days, signed) = upkeep::days(&words, &tool, today(&app)).map_err(Fault::Refused)?;
    app.store
        .set_service_days(&tool.id, days, signed, app.now())
        .await?;
    shown_tool(&app, &id).await
}

/// `POST /api/tools/{tool}/services`: 201, or 200 where the same service is on record already.
async fn add_service(
    State(app): State<App>,
    Path(id): Path<String>,
    request: Request,
) -> Result<Response, Fault> {
    let tool = known_tool(&app, &id).await?;
    let words = words(&body(request, &app).await?)?;
    let service = upkeep::service(&words, &tool, today(&app)).map_err(Fault::Refused)?;
    let (number, new) = app.store.add_service(&tool.id, service, app.now()).await?;
    let status = if new {
        StatusCode::CREATED
    } else {
        StatusCode::OK
    };
    Ok((status, Json(json!({ "id": number }))).into_response())
}

/// `POST /api/tools/{tool}/services/{id}/withdrawal`.
async fn withdraw(
    State(app): State<App>,
    Path((id, service)): Path<(String, String)>,
    request: Request,
) -> Result<Json<Value>, Fault> {
    let tool = known_tool(&app, &id).await?;
    let missing = || Fault::NotFound(format!("This tool has no planned service {service:?}."));
    let number: i64 = service.parse().map_err(|_| missing())?;
    let words = words(&body(request, &app).await?)?;
    let signed = upkeep::withdrawal(&words).map_err(Fault::Refused)?;
    let withdrawn = app
        .store
        .withdraw_service(&tool, number, signed, app.now())
        .await?;
    if !withdrawn {
        return Err(missing());
    }
    shown_tool(&app, &id).await
}

async fn shown_site(app: &App, code: &str) -> Result<Json<Value>, Fault> {
    let site = known_site(app, code).await?;
    let changes = app
        .store
        .changes_of_site(&app.asker(), &site.code, CHANGES)
        .await?;
    let mut shown = of_site(&site);
    shown["changes"] = listed(&changes);
    Ok(Json(shown))
}

async fn shown_tool(app: &App, id: &str) -> Result<Json<Value>, Fault> {
    let tool = known_tool(app, id).await?;
    let changes = app
        .store
        .changes_of_tool(&app.asker(), &tool.id, CHANGES)
        .await?;
    Ok(Json(json!({
        "tool": tool.id,
        "site": tool.site,
        "tool_class": tool.class,
        "serial": tool.serial,
        "in_service": tool.in_service,
        "out_of_service": tool.out_of_service,
        "volume_litres": tool.volume_litres,
        "speed_litres_per_second": tool.speed_litres_per_second,
        "healthy_base": tool.healthy_base,
        "components": tool.components,
        "gauges": tool.gauges,
        "services": tool.services,
        "changes": listed(&changes),
    })))
}

fn of_site(site: &Site) -> Value {
    json!({
        "code": site.code,
        "name": site.name,
        "place": site.place,
        "help_minutes": site.help_minutes,
    })
}

fn listed(changes: &[FleetChange]) -> Value {
    changes
        .iter()
        .map(|change| {
            json!({
                "at": change.at,
                "author": change.author,
                "reason": change.reason,
                "field": change.field,
                "was": change.was,
                "becomes": change.becomes,
            })
        })
        .collect()
}

async fn known_site(app: &App, code: &str) -> Result<Site, Fault> {
    let sites = app.store.sites(&app.asker()).await?;
    sites
        .into_iter()
        .find(|site| site.code.as_str() == code)
        .ok_or_else(|| Fault::NotFound(format!("The fleet has no site with the code {code:?}.")))
}

async fn known_tool(app: &App, id: &str) -> Result<Tool, Fault> {
    app.store
        .tool(&app.asker(), id)
        .await?
        .ok_or_else(|| Fault::NotFound(format!("The fleet has no tool called {id:?}.")))
}

/// The fields of a body as words; null as an empty one.
fn words(bytes: &[u8]) -> Result<Words, Fault> {
    let Value::Object(fields) = read_json(bytes)? else {
        return Err(Fault::Refused(vec![Refusal::new(
            "body",
            "is not an object",
            "one JSON object",
        )]));
    };
    let mut words = Words::new();
    let mut refusals = Vec::new();
    for (name, value) in fields {
        let word = match value {
            Value::Null => String::new(),
            Value::String(text) => text.trim().to_owned(),
            Value::Number(number) => number.to_string(),
            _ => {
                let shown: String = name.chars().take(60).collect();
                refusals.push(Refusal::new(
                    shown,
                    "has the wrong shape",
                    "a text or a number",
                ));
                continue;
            }
        };
        words.insert(name, word);
    }
    if refusals.is_empty() {
        Ok(words)
    } else {
        Err(Fault::Refused(refusals))
    }
}
