//! The calculations.

use axum::{
    Router,
    extract::{DefaultBodyLimit, Path, Request, State},
    http::{HeaderValue, header},
    response::{IntoResponse, Response},
    routing::post,
};

use crate::{
    calculation::named::Named,
    web::{
        computing::{self, FILE_LIMIT, FILE_MARGIN},
        fault::Fault,
        fields::body,
        state::App,
    },
};

/// Each calculation with its address. Those that take a log or a spectrum take it up to 50 MB.
pub(super) fn routes() -> Router<App> {
    let large = Named::ALL
        .into_iter()
        .filter(|named| named.takes_file())
        .fold(Router::new(), |router, named| {
            router.route(
                &address(named),
                post(move |State(app), request| compute(app, named, request)),
            )
        })
        .layer(DefaultBodyLimit::max(FILE_LIMIT + FILE_MARGIN));
    Named::ALL
        .into_iter()
        .filter(|named| !named.takes_file())
        .fold(large, |router, named| {
            router.route(
                &address(named),
                post(move |State(app), request| compute(app, named, request)),
            )
        })
        .route("/api/calculations/{name}", post(unknown))
}

fn address(named: Named) -> String {
    format!("/api/calculations/{}", named.id())
}

/// `POST /api/calculations/{name}`: the report.
async fn compute(app: App, named: Named, request: Request) -> Result<Response, Fault> {
    let bytes = body(request, &()).await?;
    let computed = computing::compute(&app, named, bytes)
        .await?
        .map_err(Fault::Refused)?;
    let report = computed
        .report()
        .map_err(|error| Fault::Internal(std::sync::Arc::new(error.into())))?;
    let json = HeaderValue::from_static("application/json");
    Ok(([(header::CONTENT_TYPE, json)], report).into_response())
}

async fn unknown(State(_): State<App>, Path(name): Path<String>) -> Fault {
    let known: Vec<_> = Named::ALL.into_iter().map(Named::id).collect();
    Fault::NotFound(format!(
        "No calculation is called {name:?}; there are {}.",
        known.join(", ")
    ))
}
