//! The calculations.

use std::{future::poll_fn, pin::Pin};

use axum::{
    Router,
    body::{Body, Bytes, HttpBody},
    extract::{DefaultBodyLimit, Path, Request, State},
    http::{HeaderValue, header},
    response::{IntoResponse, Response},
    routing::post,
};

use crate::{
    calculation::{named::Named, sent::SentJson},
    web::{
        computing::{self, FILE_LIMIT, FILE_MARGIN},
        fault::Fault,
        fields::body,
        state::App,
    },
};

/// Each calculation with its address. One that takes a log takes up to 50 MB of it,
/// which are read while they arrive.
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
    let computed = if named.logs().is_empty() {
        computing::compute(&app, named, body(request, &()).await?).await?
    } else {
        let mut sent = SentJson::new(named);
        let mut body = request.into_body();
        while let Some(piece) = next_piece(&mut body).await? {
            sent.push(&piece);
            if sent.longest() > FILE_LIMIT + FILE_MARGIN {
                return Err(Fault::TooLarge);
            }
        }
        computing::compute_sent(&app, named, sent.finish()).await?
    };
    let computed = computed.map_err(Fault::Refused)?;
    let report = computed
        .report()
        .map_err(|error| Fault::Internal(std::sync::Arc::new(error.into())))?;
    let json = HeaderValue::from_static("application/json");
    Ok(([(header::CONTENT_TYPE, json)], report).into_response())
}

/// The next bytes of a body; none at its end.
pub(super) async fn next_piece(body: &mut Body) -> Result<Option<Bytes>, Fault> {
    loop {
        let frame = poll_fn(|context| Pin::new(&mut *body).poll_frame(context)).await;
        match frame.transpose() {
            Ok(None) => return Ok(None),
            Ok(Some(frame)) => {
                if let Ok(bytes) = frame.into_data() {
                    return Ok(Some(bytes));
                }
            }
            Err(_) => {
                return Err(Fault::Unreadable(
                    "The request ended before it was complete. Send it again.".to_owned(),
                ));
            }
        }
    }
}

async fn unknown(State(_): State<App>, Path(name): Path<String>) -> Fault {
    let known: Vec<_> = Named::ALL.into_iter().map(Named::id).collect();
    Fault::NotFound(format!(
        "No calculation is called {name:?}; there are {}.",
        known.join(", ")
    ))
}
