//! Names and values as a form or an address sends them.

use std::convert::Infallible;

use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};
use sha2::{Digest, Sha256};

use axum::{
    body::Bytes,
    extract::{FromRequest, FromRequestParts, Request},
    http::request::Parts,
};

use super::fault::Fault;
use crate::casebook::Refusal;

/// What stands behind the question mark of an address.
#[derive(Clone, Debug, Default)]
pub(super) struct Asked(Pairs);

/// What a form sent.
#[derive(Clone, Debug, Default)]
pub(super) struct Sent(Pairs);

/// Names with values, in the order sent.
#[derive(Clone, Debug, Default)]
pub(super) struct Pairs(Vec<(String, String)>);

impl Pairs {
    /// The first value under a name, without white space around it; empty counts as none.
    pub(super) fn get(&self, name: &str) -> Option<&str> {
        self.0
            .iter()
            .find(|(n, _)| n == name)
            .map(|(_, value)| value.trim())
            .filter(|value| !value.is_empty())
    }

    /// Refuses every name but these, so that a mistyped filter does not count as none.
    pub(super) fn only(&self, known: &[&str]) -> Result<(), Fault> {
        let refusals: Vec<_> = self
            .iter()
            .filter(|(name, _)| !known.contains(name))
            .map(|(name, _)| Refusal::new(name, "is no parameter of this call", known.join(", ")))
            .collect();
        if refusals.is_empty() {
            Ok(())
        } else {
            Err(Fault::Refused(refusals))
        }
    }

    /// Every name with its value.
    pub(super) fn iter(&self) -> impl Iterator<Item = (&str, &str)> {
        self.0.iter().map(|(n, v)| (n.as_str(), v.as_str()))
    }

    /// Those whose names begin with `prefix`, without it; empty values left out.
    pub(super) fn below<'a>(&'a self, prefix: &'a str) -> impl Iterator<Item = (&'a str, &'a str)> {
        self.iter().filter_map(move |(name, value)| {
            let rest = name.strip_prefix(prefix)?;
            (!value.trim().is_empty()).then_some((rest, value.trim()))
        })
    }

    /// An address with these pairs, one of them replaced.
    pub(super) fn address(&self, path: &str, name: &str, value: &str) -> String {
        let mut query = form_urlencoded::Serializer::new(String::new());
        for (n, v) in self.iter().filter(|(n, v)| *n != name && !v.is_empty()) {
            query.append_pair(n, v);
        }
        if !value.is_empty() {
            query.append_pair(name, value);
        }
        let query = query.finish();
        if query.is_empty() {
            path.to_owned()
        } else {
            format!("{path}?{query}")
        }
    }

    /// A digest of everything sent, the button pressed left out.
    pub(super) fn digest(&self) -> String {
        let mut digest = Sha256::new();
        for (name, value) in self.iter().filter(|(name, _)| *name != "action") {
            for part in [name, value] {
                digest.update((part.len() as u64).to_le_bytes());
                digest.update(part.as_bytes());
            }
        }
        hex(&digest.finalize())
    }

    fn parse(bytes: &[u8]) -> Self {
        Self(form_urlencoded::parse(bytes).into_owned().collect())
    }
}

impl std::ops::Deref for Asked {
    type Target = Pairs;

    fn deref(&self) -> &Pairs {
        &self.0
    }
}

impl std::ops::Deref for Sent {
    type Target = Pairs;

    fn deref(&self) -> &Pairs {
        &self.0
    }
}

impl<S: Sync> FromRequestParts<S> for Asked {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Infallible> {
        Ok(Self(Pairs::parse(
            parts.uri.query().unwrap_or_default().as_bytes(),
        )))
    }
}

impl<S: Send + Sync> FromRequest<S> for Sent {
    type Rejection = Fault;

    async fn from_request(request: Request, state: &S) -> Result<Self, Fault> {
        let bytes = body(request, state).await?;
        Ok(Self(Pairs::parse(&bytes)))
    }
}

/// Bytes as small letters and digits.
pub(super) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// The whole body, up to the limit set for the address.
pub(super) async fn body<S: Send + Sync>(request: Request, state: &S) -> Result<Bytes, Fault> {
    Bytes::from_request(request, state).await.map_err(|error| {
        if error.status() == axum::http::StatusCode::PAYLOAD_TOO_LARGE {
            Fault::TooLarge
        } else {
            Fault::Unreadable("The request ended before it was complete. Send it again.".to_owned())
        }
    })
}

/// The address of something with a name people chose, such as a tool: `/tools/A%2FB`.
pub(super) fn place(folder: &str, name: &str) -> String {
    // Everything but the unreserved characters of RFC 3986, section 2.3.
    const KEPT: &AsciiSet = &NON_ALPHANUMERIC
        .remove(b'-')
        .remove(b'.')
        .remove(b'_')
        .remove(b'~');
    format!("{folder}/{}", utf8_percent_encode(name, KEPT))
}

/// An address with names and values.
pub(super) fn address<'a>(
    path: &str,
    pairs: impl IntoIterator<Item = (&'a str, &'a str)>,
) -> String {
    let mut query = form_urlencoded::Serializer::new(String::new());
    for (name, value) in pairs {
        query.append_pair(name, value);
    }
    let query = query.finish();
    if query.is_empty() {
        path.to_owned()
    } else {
        format!("{path}?{query}")
    }
}
