//! Calculations kept with incidents.

use std::{collections::BTreeMap, sync::Arc};

use axum::{
    Json, Router,
    extract::{Path, Request, State},
    http::{HeaderMap, HeaderValue, StatusCode, header},
    response::{IntoResponse, Response},
    routing::get,
};
use serde::Serialize;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

use super::{calculations::next_piece, incidents::key};
use crate::{
    calculation::{
        again::{Difference, same},
        named::Named,
        sent::{SentJson, SentRequest},
    },
    casebook::{Calculation, KeptLog, Refusal},
    store::{Attached, Keyed},
    web::{
        attaching::{self, Again, KEPT, VERSION, Wanted},
        computing::{FILE_LIMIT, FILE_MARGIN, not_json},
        fault::Fault,
        fields::hex,
        holding::Arriving,
        state::App,
    },
};

/// What a request may hold besides the calculation's own, in bytes.
const MARGIN: usize = 1 << 16;

/// Each call with its address.
pub(super) fn routes() -> Router<App> {
    Router::new()
        .route(
            "/api/incidents/{number}/calculations",
            get(list).post(attach),
        )
        .route("/api/incidents/{number}/calculations/{id}", get(show))
        .route(
            "/api/incidents/{number}/calculations/{id}/again",
            get(again),
        )
        .route(
            "/api/incidents/{number}/calculations/{id}/logs/{field}",
            get(log),
        )
}

/// A kept calculation with its number.
#[derive(Serialize)]
struct Kept<'a> {
    id: i64,
    #[serde(flatten)]
    calculation: &'a Calculation,
}

/// `POST /api/incidents/{number}/calculations`: 201 with the number and the report once it is on
/// disk.
async fn attach(
    State(app): State<App>,
    Path(text): Path<String>,
    request: Request,
) -> Result<Response, Fault> {
    let key = key(request.headers())?;
    let number = visible(&app, &text).await?;
    let mut sent = SentJson::below("request", Arriving::log);
    let mut arriving: BTreeMap<String, Arriving> = BTreeMap::new();
    let mut digest = Sha256::new_with_prefix(text.as_bytes());
    digest.update(b"/");
    let mut body = request.into_body();
    while let Some(piece) = next_piece(&mut body).await? {
        digest.update(&piece);
        sent.push(&piece);
        for (name, log) in sent.logs() {
            arriving.entry(name.clone()).or_default().take(log);
        }
        if sent.rest() > KEPT + MARGIN || sent.longest() > FILE_LIMIT + FILE_MARGIN {
            return Err(Fault::TooLarge);
        }
    }
    let mut sent = sent.finish();
    let body = serde_json::from_slice(&sent.json).map_err(|error| not_json(&sent, &error))?;
    let (named, by, request) = read(body)?;
    sent.json = request.to_string().into_bytes();
    let mut long = BTreeMap::new();
    for (name, arriving) in arriving {
        if sent.logs.get(&name).is_some_and(|log| log.text().is_none()) {
            long.insert(name, kept_log(arriving)?);
        }
    }
    let id = attaching::attach(
        &app,
        Wanted {
            number,
            named,
            by,
            request: SentRequest::new(sent.json, sent.logs),
            long,
            key: key.map(|key| Keyed {
                key,
                digest: hex(&digest.finalize()),
            }),
        },
    )
    .await?
    .map_err(|errors| Fault::Refused(below_request(errors)))?;
    // A repeat with its key is answered with what was kept the first time.
    let attached = attaching::find(&app, number, &id.to_string()).await?;
    let mut response = (StatusCode::CREATED, Json(kept(&attached))).into_response();
    let place = format!("/api/incidents/{number}/calculations/{}", attached.id);
    if let Ok(location) = HeaderValue::from_str(&place) {
        response.headers_mut().insert(header::LOCATION, location);
    }
    Ok(response)
}

/// A long log as it is kept.
fn kept_log(arriving: Arriving) -> Result<KeptLog, Fault> {
    let held = arriving.finish().ok_or_else(|| {
        Fault::NotReady(
            "Nothing was kept: the log could not be written to this server's temporary folder. \
             Send it again once there is room."
                .to_owned(),
        )
    })?;
    held.read()
        .map_err(|error| Fault::Internal(Arc::new(error.into())))
}

/// `GET /api/incidents/{number}/calculations/{id}/logs/{field}`: a log that went in, as text.
async fn log(
    State(app): State<App>,
    Path((text, id, field)): Path<(String, String, String)>,
    headers: HeaderMap,
) -> Result<Response, Fault> {
    let number = visible(&app, &text).await?;
    let attached = attaching::find(&app, number, &id).await?;
    attaching::log_file(&app, attached, &field, &headers).await
}

/// `GET /api/incidents/{number}/calculations`: all of them, oldest first.
async fn list(State(app): State<App>, Path(text): Path<String>) -> Result<Response, Fault> {
    let number = visible(&app, &text).await?;
    let attached = app.store.calculations(&app.asker(), number).await?;
    let list: Vec<_> = attached.iter().map(kept).collect();
    Ok(Json(json!({ "calculations": list })).into_response())
}

/// `GET /api/incidents/{number}/calculations/{id}`.
async fn show(
    State(app): State<App>,
    Path((text, id)): Path<(String, String)>,
) -> Result<Response, Fault> {
    let number = visible(&app, &text).await?;
    let attached = attaching::find(&app, number, &id).await?;
    Ok(Json(kept(&attached)).into_response())
}

/// `GET /api/incidents/{number}/calculations/{id}/again`: computed by today's program, with every
/// value that is not what it was.
async fn again(
    State(app): State<App>,
    Path((text, id)): Path<(String, String)>,
) -> Result<Response, Fault> {
    let number = visible(&app, &text).await?;
    let attached = attaching::find(&app, number, &id).await?;
    let calculation = &attached.calculation;
    Ok(Json(match attaching::again(&app, calculation).await? {
        Again::Computed {
            report,
            differences,
            ..
        } => {
            let same = same(&differences);
            let (new, differences): (Vec<_>, Vec<_>) =
                differences.into_iter().partition(Difference::is_new);
            let new: Vec<_> = new.into_iter().map(|difference| difference.field).collect();
            json!({
                "id": attached.id,
                "program_version_then": calculation.program_version,
                "program_version": VERSION,
                "same": same,
                "differences": differences,
                "new_fields": new,
                "report": report,
            })
        }
        Again::Refused(errors) => json!({
            "id": attached.id,
            "program_version_then": calculation.program_version,
            "program_version": VERSION,
            "same": false,
            "refused": below_request(errors),
        }),
    })
    .into_response())
}

/// Kind, author and request of a body; every fault in it at once.
fn read(body: Value) -> Result<(Named, String, Value), Fault> {
    let Value::Object(mut fields) = body else {
        return Err(Fault::Refused(vec![Refusal::new(
            "body",
            "is not an object",
            "an object with kind, by and request",
        )]));
    };
    let mut refusals = Vec::new();
    let kinds = || Named::ALL.map(Named::id).join(", ");
    let kind = fields.remove("kind");
    let named = kind.as_ref().and_then(Value::as_str).and_then(Named::of);
    if named.is_none() {
        refusals.push(match kind {
            None => Refusal::new("kind", "is missing", kinds()),
            Some(_) => Refusal::new("kind", "is no calculation known here", kinds()),
        });
    }
    let by = match fields.remove("by") {
        Some(Value::String(by)) if is_name(by.trim()) => by.trim().to_owned(),
        given => {
            refusals.push(Refusal::new(
                "by",
                if given.is_some() {
                    "is no name"
                } else {
                    "is missing"
                },
                "initials or a name, on one line of at most 200 characters",
            ));
            String::new()
        }
    };
    let request = fields.remove("request");
    if !request.as_ref().is_some_and(Value::is_object) {
        refusals.push(Refusal::new(
            "request",
            if request.is_some() {
                "is not an object"
            } else {
                "is missing"
            },
            "the request of the calculation, as its own call takes it",
        ));
    }
    refusals.extend(fields.keys().map(|field| {
        Refusal::new(
            field.clone(),
            "is not a field known here",
            "kind, by, request",
        )
    }));
    match (named, request) {
        (Some(named), Some(request)) if refusals.is_empty() => Ok((named, by, request)),
        _ => Err(Fault::Refused(refusals)),
    }
}

fn is_name(name: &str) -> bool {
    (1..=200).contains(&name.chars().count()) && !name.chars().any(char::is_control)
}

fn kept(attached: &Attached) -> Kept<'_> {
    Kept {
        id: attached.id,
        calculation: &attached.calculation,
    }
}

/// Refusals of a request as refusals of the body that holds it.
fn below_request(mut errors: Vec<Refusal>) -> Vec<Refusal> {
    for error in &mut errors {
        error.field = match error.field.as_str() {
            "body" => "request".to_owned(),
            field => format!("request.{field}"),
        };
    }
    errors
}

/// The number in the address, of an incident that the asker may see.
async fn visible(app: &App, text: &str) -> Result<i64, Fault> {
    let missing = || Fault::NotFound(format!("There is no incident {text}."));
    let number: i64 = text.parse().map_err(|_| missing())?;
    app.store
        .incident(&app.asker(), number)
        .await?
        .map(|filed| filed.number)
        .ok_or_else(missing)
}
