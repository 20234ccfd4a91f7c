//! What a handler answers when it cannot do what was asked.
//!
//! Handlers return a [`Fault`]; the middleware [`dress`] turns it into a page, or into
//! `application/problem+json` (RFC 9457) below `/api`. What went wrong inside is
//! logged once, there, with the request's number, and never shown.

use std::sync::Arc;

use askama::Template;
use axum::{
    extract::Request,
    http::{HeaderValue, StatusCode, header},
    middleware::Next,
    response::{Html, IntoResponse, Response},
};
use serde_json::json;

use super::views::{
    Link,
    message::MessagePage,
    page::{Page, Section},
};
use crate::{casebook::Refusal, search::SearchError, store::StoreError};

/// The header that carries a request's number.
pub(super) const REQUEST_ID: &str = "x-request-id";

/// A request that cannot be answered as asked.
#[derive(Clone, Debug)]
pub(super) enum Fault {
    /// There is nothing there.
    NotFound(String),
    /// The request cannot be read.
    Unreadable(String),
    /// Fields that cannot be taken.
    Refused(Vec<Refusal>),
    /// Someone else was first.
    Conflict(String),
    /// The method does not fit the address.
    Method,
    /// Another site's page sent this.
    Foreign,
    /// More than is taken in one request.
    TooLarge,
    /// An address or a head longer than is read.
    TooLong,
    /// Not yet ready to answer.
    NotReady(String),
    /// Our fault.
    Internal(Arc<anyhow::Error>),
}

impl Fault {
    pub(super) fn status(&self) -> StatusCode {
        match self {
            Self::NotFound(_) => StatusCode::NOT_FOUND,
            Self::Unreadable(_) => StatusCode::BAD_REQUEST,
            Self::Refused(_) => StatusCode::UNPROCESSABLE_ENTITY,
            Self::Conflict(_) => StatusCode::CONFLICT,
            Self::Method => StatusCode::METHOD_NOT_ALLOWED,
            Self::Foreign => StatusCode::FORBIDDEN,
            Self::TooLarge => StatusCode::PAYLOAD_TOO_LARGE,
            Self::TooLong => StatusCode::URI_TOO_LONG,
            Self::NotReady(_) => StatusCode::SERVICE_UNAVAILABLE,
            Self::Internal(_) => StatusCode::INTERNAL_SERVER_ERROR,
        }
    }

    fn headline(&self) -> &'static str {
        match self {
            Self::NotFound(_) => "There is nothing at this address",
            Self::Unreadable(_) => "This request cannot be read",
            Self::Refused(_) => "Some of this cannot be taken",
            Self::Conflict(_) => "This does not go with what is stored",
            Self::Method => "This address does not work that way",
            Self::Foreign => "This request did not come from a page of this server",
            Self::TooLarge => "This is more than is taken at once",
            Self::TooLong => "This address is longer than is read",
            Self::NotReady(_) => "Not ready yet",
            Self::Internal(_) => "Something went wrong here",
        }
    }

    fn sentences(&self) -> Vec<String> {
        match self {
            Self::NotFound(text)
            | Self::Unreadable(text)
            | Self::Conflict(text)
            | Self::NotReady(text) => vec![text.clone()],
            Self::Refused(refusals) => refusals.iter().map(ToString::to_string).collect(),
            Self::Method => vec!["The page or form that led here may be out of date.".to_owned()],
            Self::Foreign => {
                vec!["Nothing was stored. Open the page here and send the form from it.".to_owned()]
            }
            Self::TooLarge => vec![
                "Nothing was stored. A report takes up to 2 MB, a log up to 50 MB, a spectrum up to 2 MB."
                    .to_owned(),
                "Readings in columns are taken up to 50 MB, but kept with an incident up to 8 MB \
                 only: send them as the text of a log, which is kept up to 50 MB."
                    .to_owned(),
            ],
            Self::TooLong => vec![
                "An address holds up to 64 kB. Of a search the first 2,000 characters count: \
                 shorten it, or send it as a form (POST to the same address)."
                    .to_owned(),
            ],
            Self::Internal(_) => vec![
                "It is not your doing. What you typed is still in your browser: go back to it. \
                 If it happens again, tell whoever runs this server the number below."
                    .to_owned(),
            ],
        }
    }
}

impl IntoResponse for Fault {
    fn into_response(self) -> Response {
        let mut response = self.status().into_response();
        response.extensions_mut().insert(self);
        response
    }
}

impl From<StoreError> for Fault {
    fn from(error: StoreError) -> Self {
        match error {
            StoreError::Outdated { .. } | StoreError::KeyReused(_) | StoreError::Full { .. } => {
                Self::Conflict(error.to_string())
            }
            StoreError::NoIncident(_) => Self::NotFound(error.to_string()),
            StoreError::Busy => Self::NotReady(error.to_string()),
            other => Self::Internal(Arc::new(other.into())),
        }
    }
}

impl From<SearchError> for Fault {
    fn from(error: SearchError) -> Self {
        Self::Internal(Arc::new(error.into()))
    }
}

impl From<askama::Error> for Fault {
    fn from(error: askama::Error) -> Self {
        Self::Internal(Arc::new(error.into()))
    }
}

impl From<tokio::task::JoinError> for Fault {
    fn from(error: tokio::task::JoinError) -> Self {
        Self::Internal(Arc::new(error.into()))
    }
}

/// Renders a page.
///
/// # Errors
/// A template that fails, as an internal fault.
pub(super) fn page(template: &impl Template) -> Result<Html<String>, Fault> {
    Ok(Html(template.render()?))
}

/// Turns faults into pages or problem documents.
pub(super) async fn dress(request: Request, next: Next) -> Response {
    let api = request.uri().path().starts_with("/api/");
    let waited_for = request.uri().path() == "/health/ready";
    let id = request
        .headers()
        .get(REQUEST_ID)
        .and_then(|value| value.to_str().ok())
        .unwrap_or_default()
        .to_owned();
    let mut response = next.run(request).await;
    let Some(fault) = response.extensions_mut().remove::<Fault>() else {
        return response;
    };
    match &fault {
        Fault::Internal(error) => {
            tracing::error!(request.id = %id, error = format!("{error:#}"), "a request failed");
        }
        // Who waits for the program asks for it over and over.
        Fault::NotReady(why) if !waited_for => {
            tracing::warn!(request.id = %id, why, "a request could not be answered yet");
        }
        _ => {}
    }
    let status = response.status();
    let (kind, body) = fault.told(api, &id);
    let kind = HeaderValue::from_static(kind);
    (status, [(header::CONTENT_TYPE, kind)], body).into_response()
}

impl Fault {
    /// What kind of document tells of it, and the document.
    pub(super) fn told(&self, api: bool, id: &str) -> (&'static str, String) {
        if api {
            return ("application/problem+json", self.problem(id));
        }
        match self.message(id).render() {
            Ok(html) => ("text/html; charset=utf-8", html),
            Err(error) => {
                tracing::error!(%error, "the message page itself failed");
                (
                    "text/plain; charset=utf-8",
                    "Something went wrong here.".to_owned(),
                )
            }
        }
    }

    fn problem(&self, id: &str) -> String {
        let errors = match self {
            Self::Refused(refusals) => json!(refusals),
            _ => json!([]),
        };
        json!({
            "type": "about:blank",
            "title": self.headline(),
            "status": self.status().as_u16(),
            "detail": self.sentences().join(" "),
            "instance": format!("request:{id}"),
            "errors": errors,
        })
        .to_string()
    }

    fn message(&self, id: &str) -> MessagePage {
        let headline = self.headline().to_owned();
        MessagePage {
            page: Page::new(headline.clone(), Section::Elsewhere),
            status: self.status().as_u16(),
            headline,
            sentences: self.sentences(),
            request_id: id.to_owned(),
            links: vec![
                Link::new("Search the fleet's incidents", "/"),
                Link::new("File a report", "/incidents/new"),
            ],
        }
    }
}
