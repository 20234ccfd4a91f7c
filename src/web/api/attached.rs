//! Calculations kept with incidents.

use axum::{
    Json, Router,
    extract::{DefaultBodyLimit, Path, Request, State},
    http::{HeaderValue, StatusCode, header},
    response::{IntoResponse, Response},
    routing::get,
};
use serde::Serialize;
use serde_json::{Value, json};

use super::{
    incidents::{key, keyed},
    json as read_json,
};
use crate::{
    calculation::{
        again::{Difference, same},
        named::Named,
    },
    casebook::{Calculation, Refusal},
    store::Attached,
    web::{
        attaching::{self, Again, KEPT, VERSION, Wanted},
        fault::Fault,
        fields::body,
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
            get(list)
                .post(attach)
                .layer(DefaultBodyLimit::max(KEPT + MARGIN)),
        )
        .route("/api/incidents/{number}/calculations/{id}", get(show))
        .route(
            "/api/incidents/{number}/calculations/{id}/again",
            get(again),
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
    let bytes = body(request, &app).await?;
    let (named, by, request) = read(read_json(&bytes)?)?;
    let attached = attaching::attach(
        &app,
        Wanted {
            number,
            named,
            by,
            request: request.to_string().into_bytes(),
            key: keyed(key, &[text.as_bytes(), b"/", &bytes].concat()),
        },
    )
    .await?
    .map_err(|errors| Fault::Refused(below_request(errors)))?;
    // A repeat with its key is answered with what was kept the first time.
    let attached = attaching::find(&app, number, &attached.id.to_string()).await?;
    let mut response = (StatusCode::CREATED, Json(kept(&attached))).into_response();
    let place = format!("/api/incidents/{number}/calculations/{}", attached.id);
    if let Ok(location) = HeaderValue::from_str(&place) {
        response.headers_mut().insert(header::LOCATION, location);
    }
    Ok(response)
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
