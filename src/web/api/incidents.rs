//! Filing and reading incidents.

use axum::{
    Json,
    extract::{Path, Request, State},
    http::{HeaderMap, HeaderValue, StatusCode, header},
    response::{IntoResponse, Response},
};
use serde_json::json;
use sha2::{Digest, Sha256};

use super::json;
use crate::{
    casebook::{self, Refusal, rules},
    store::{Filing, Keyed},
    web::{
        fault::Fault,
        fields::{body, hex},
        state::App,
    },
};

/// The header by which a client marks a request it may send again.
const IDEMPOTENCY_KEY: &str = "idempotency-key";

/// Longest key taken, in bytes.
const KEY_LIMIT: usize = 200;

/// `POST /api/incidents`: 201 with `{"number": N}` once the report is on disk.
pub(super) async fn file(State(app): State<App>, request: Request) -> Result<Response, Fault> {
    let key = key(request.headers())?;
    let bytes = body(request, &app).await?;
    let record = json(&bytes)?;
    let asker = app.asker();
    let (draft, mut refusals) = casebook::read_record(&record);
    let mut tool = match &draft.tool {
        Some(id) => app.store.tool(&asker, id).await?,
        None => None,
    };
    let mut new = None;
    if tool.is_none() && draft.tool.is_some() && draft.tool_class.is_some() && draft.site.is_some()
    {
        match rules::tool_from_record(&draft, &app.catalogue, app.now()) {
            Ok((site, described)) => {
                tool = Some(described.clone());
                new = Some((site, described));
            }
            Err(more) => refusals.extend(more),
        }
    }
    let context = rules::Context {
        catalogue: &app.catalogue,
        tool: tool.as_ref(),
        now: app.now(),
    };
    let calculations =
        rules::calculations(&draft.calculations, app.now()).unwrap_or_else(|broken| {
            refusals = rules::merged(std::mem::take(&mut refusals), broken);
            Vec::new()
        });
    let incident = match rules::accept(&draft, &context) {
        Ok(incident) if refusals.is_empty() => incident,
        Ok(_) => return Err(Fault::Refused(refusals)),
        Err(broken) => return Err(Fault::Refused(rules::merged(refusals, broken))),
    };
    let keyed = keyed(key, &bytes);
    let number = app
        .store
        .file(
            Filing {
                new_tool: new,
                calculations,
                ..Filing::new(incident, app.now())
            },
            keyed,
        )
        .await?;
    let mut response = (StatusCode::CREATED, Json(json!({ "number": number }))).into_response();
    if let Ok(location) = HeaderValue::from_str(&format!("/api/incidents/{number}")) {
        response.headers_mut().insert(header::LOCATION, location);
    }
    Ok(response)
}

/// `GET /api/incidents/{number}`: the record with its revisions and calculations.
pub(super) async fn show(
    State(app): State<App>,
    Path(text): Path<String>,
) -> Result<Response, Fault> {
    let asker = app.asker();
    let missing = || Fault::NotFound(format!("There is no incident {text}."));
    let number: i64 = text.parse().map_err(|_| missing())?;
    let filed = app
        .store
        .incident(&asker, number)
        .await?
        .ok_or_else(missing)?;
    let tool = app
        .store
        .tool(&asker, filed.current().incident.tool.as_str())
        .await?
        .ok_or_else(missing)?;
    let calculations: Vec<_> = app
        .store
        .calculations(&asker, number)
        .await?
        .into_iter()
        .map(|attached| attached.calculation)
        .collect();
    Ok(Json(casebook::filed_record(&filed, &calculations, &tool, None)).into_response())
}

/// A key with the digest of what came with it.
pub(super) fn keyed(key: Option<String>, body: &[u8]) -> Option<Keyed> {
    Some(Keyed {
        key: key?,
        digest: hex(&Sha256::digest(body)),
    })
}

/// The key of a request that may be sent again.
pub(super) fn key(headers: &HeaderMap) -> Result<Option<String>, Fault> {
    let Some(value) = headers.get(IDEMPOTENCY_KEY) else {
        return Ok(None);
    };
    match value.to_str() {
        Ok(key) if !key.is_empty() && key.len() <= KEY_LIMIT => Ok(Some(key.to_owned())),
        _ => Err(Fault::Refused(vec![Refusal::new(
            "Idempotency-Key",
            "cannot be used",
            format!("1 to {KEY_LIMIT} visible ASCII characters"),
        )])),
    }
}
