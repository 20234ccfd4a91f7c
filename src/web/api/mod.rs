//! The JSON API below `/api`, and the addresses that machines watch.

mod attached;
mod calculations;
mod description;
mod fleet;
mod health;
mod incidents;
mod search;
mod sequence;
mod statistics;

use axum::{
    Router,
    routing::{get, post},
};

use super::{fault::Fault, state::App};
use crate::casebook::Once;

/// Every call of the API with its address.
pub(super) fn routes() -> Router<App> {
    Router::new()
        .route("/api/incidents", post(incidents::file))
        .route("/api/incidents/{number}", get(incidents::show))
        .route("/api/incidents/{number}/similar", get(search::similar))
        .route("/api/search", get(search::search).post(search::sent))
        .route("/api/suggestions", get(search::suggestions))
        .route("/api/sequence", post(sequence::advise))
        .route("/api/openapi.json", get(description::show))
        .merge(statistics::routes())
        .merge(calculations::routes())
        .merge(attached::routes())
        .merge(fleet::routes())
        .route("/health/live", get(health::live))
        .route("/health/ready", get(health::ready))
}

/// Reads a body as JSON, with a message a person can act on.
fn json(bytes: &[u8]) -> Result<serde_json::Value, Fault> {
    let read = serde_json::from_slice::<Once>(bytes);
    read.map(|Once(value)| value).map_err(|error| {
        let problem = match error.classify() {
            serde_json::error::Category::Data => "The body cannot be taken",
            _ => "The body is not JSON",
        };
        Fault::Unreadable(format!(
            "{problem}: {error}. Send one JSON object, encoded as UTF-8."
        ))
    })
}
