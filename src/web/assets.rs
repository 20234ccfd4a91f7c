//! Styles, scripts and icons, built into the program. A browser asks each time whether
//! what it has is still right, so that a new version is never shown with old styles.

use axum::{
    extract::Path,
    http::{HeaderMap, HeaderName, StatusCode, header},
    response::{IntoResponse, Response},
};
use rust_embed::RustEmbed;

use super::fault::Fault;

#[derive(RustEmbed)]
#[folder = "$CARGO_MANIFEST_DIR/templates/assets"]
struct Assets;

/// Serves one file.
pub(super) async fn serve(Path(path): Path<String>, headers: HeaderMap) -> Result<Response, Fault> {
    let file = Assets::get(&path)
        .ok_or_else(|| Fault::NotFound(format!("There is no file called {path:?}.")))?;
    let hash: String = file.metadata.sha256_hash()[..12]
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect();
    let tag = format!("\"{hash}\"");
    let known = headers
        .get(header::IF_NONE_MATCH)
        .and_then(|value| value.to_str().ok())
        .is_some_and(|tags| tags.contains(&hash));
    let kind = match path.rsplit('.').next() {
        Some("css") => "text/css; charset=utf-8",
        Some("js") => "text/javascript; charset=utf-8",
        Some("svg") => "image/svg+xml",
        _ => "application/octet-stream",
    };
    let headers: [(HeaderName, String); 3] = [
        (header::CONTENT_TYPE, kind.to_owned()),
        (header::CACHE_CONTROL, "no-cache".to_owned()),
        (header::ETAG, tag),
    ];
    if known {
        return Ok((StatusCode::NOT_MODIFIED, headers).into_response());
    }
    Ok((headers, file.data.into_owned()).into_response())
}
