//! What stands before every handler: headers that keep a browser from doing harm, and
//! the refusal of requests that another site's page sent.

use axum::{
    extract::Request,
    http::{HeaderValue, header},
    middleware::Next,
    response::{IntoResponse, Response},
};

use super::fault::Fault;

/// Only our own files; no inline script or style; nobody frames us.
const POLICY: &str = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; \
     connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// Adds the headers.
pub(super) async fn headers(request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    let headers = response.headers_mut();
    headers.insert(
        header::CONTENT_SECURITY_POLICY,
        HeaderValue::from_static(POLICY),
    );
    headers.insert(
        header::X_CONTENT_TYPE_OPTIONS,
        HeaderValue::from_static("nosniff"),
    );
    headers.insert(
        header::REFERRER_POLICY,
        HeaderValue::from_static("same-origin"),
    );
    response
}

/// Refuses a request that does not name this machine. The server binds loopback only and
/// knows no accounts, so a name that merely resolves to loopback is somebody's trick.
pub(super) async fn loopback(request: Request, next: Next) -> Response {
    let named = request
        .headers()
        .get(header::HOST)
        .and_then(|host| host.to_str().ok());
    if named.is_none_or(is_loopback) {
        next.run(request).await
    } else {
        Fault::Foreign.into_response()
    }
}

fn is_loopback(host: &str) -> bool {
    let name = match host.strip_prefix('[') {
        Some(rest) => rest.split(']').next().unwrap_or_default(),
        None => host.split(':').next().unwrap_or_default(),
    };
    name.eq_ignore_ascii_case("localhost")
        || name
            .parse::<std::net::IpAddr>()
            .is_ok_and(|address| address.is_loopback())
}

#[cfg(test)]
mod tests {
    use super::is_loopback;

    #[test]
    fn only_this_machine_is_itself() {
        for host in ["127.0.0.1:8080", "localhost", "LOCALHOST:1", "[::1]:8080"] {
            assert!(is_loopback(host), "{host}");
        }
        for host in ["example.org", "127.0.0.1.example.org", "10.0.0.1:8080", ""] {
            assert!(!is_loopback(host), "{host}");
        }
    }
}
