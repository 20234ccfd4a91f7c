//! Every address, and what a request passes through on its way.

use std::time::Duration;

use axum::{
    Router,
    extract::DefaultBodyLimit,
    http::{HeaderName, Request, StatusCode},
    middleware,
    response::IntoResponse,
    routing::get,
};
use tower_http::{
    catch_panic::CatchPanicLayer,
    classify::ServerErrorsFailureClass,
    compression::CompressionLayer,
    csrf::CsrfLayer,
    request_id::{MakeRequestUuid, PropagateRequestIdLayer, SetRequestIdLayer},
    trace::TraceLayer,
};

use super::{
    api, assets,
    fault::{Fault, REQUEST_ID, dress},
    guard, pages,
    state::App,
};

/// The most a request may carry, in bytes.
const BODY_LIMIT: usize = 2 << 20;

/// The whole outside of the program.
pub fn router(app: App) -> Router {
    let id = HeaderName::from_static(REQUEST_ID);
    Router::new()
        .merge(pages::routes())
        .merge(api::routes())
        .route("/assets/{*path}", get(assets::serve))
        .fallback(|| async {
            Fault::NotFound("It may have been mistyped, or a link to it is wrong.".to_owned())
        })
        .method_not_allowed_fallback(|| async { Fault::Method })
        .layer(DefaultBodyLimit::max(BODY_LIMIT))
        .layer(
            CsrfLayer::new().with_rejection_response(|_: tower_http::csrf::ProtectionError| {
                Fault::Foreign.into_response()
            }),
        )
        .layer(middleware::from_fn(guard::loopback))
        .layer(CatchPanicLayer::custom(panicked))
        .layer(middleware::from_fn(dress))
        .layer(middleware::from_fn(guard::headers))
        .layer(CompressionLayer::new())
        .layer(
            TraceLayer::new_for_http()
                .make_span_with(|request: &Request<axum::body::Body>| {
                    tracing::info_span!(
                        "request",
                        method = %request.method(),
                        path = request.uri().path(),
                        id = request
                            .headers()
                            .get(REQUEST_ID)
                            .and_then(|id| id.to_str().ok())
                            .unwrap_or_default(),
                    )
                })
                .on_failure(failed),
        )
        .layer(PropagateRequestIdLayer::new(id.clone()))
        .layer(SetRequestIdLayer::new(id, MakeRequestUuid))
        .with_state(app)
}

/// An answer that is not ready yet is no failure; [`dress`] tells of it where nobody waits for it.
fn failed(failure: ServerErrorsFailureClass, took: Duration, _: &tracing::Span) {
    let latency = format!("{} ms", took.as_millis());
    match failure {
        ServerErrorsFailureClass::StatusCode(StatusCode::SERVICE_UNAVAILABLE) => {
            tracing::debug!(latency, "not ready yet");
        }
        failure => tracing::error!(classification = %failure, latency, "response failed"),
    }
}

fn panicked(panic: Box<dyn std::any::Any + Send>) -> axum::response::Response {
    let text = panic
        .downcast_ref::<&str>()
        .map(|text| (*text).to_owned())
        .or_else(|| panic.downcast_ref::<String>().cloned())
        .unwrap_or_else(|| "a handler panicked".to_owned());
    Fault::Internal(std::sync::Arc::new(anyhow::anyhow!(text))).into_response()
}
