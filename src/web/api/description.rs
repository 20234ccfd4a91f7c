//! The API's own description.

use axum::{
    http::{HeaderName, header},
    response::IntoResponse,
};

const DESCRIPTION: &str = include_str!("openapi.json");

/// `GET /api/openapi.json`: OpenAPI 3.1.
pub(super) async fn show() -> impl IntoResponse {
    let headers: [(HeaderName, &str); 1] = [(header::CONTENT_TYPE, "application/json")];
    (headers, DESCRIPTION)
}
