//! Forms sent with files.

use axum::extract::{FromRequest, Multipart, Request};

use crate::web::{computing::FILE_LIMIT, fault::Fault};

/// What such a form sent.
pub(super) struct Upload {
    /// Names and values, in the order sent.
    pub(super) fields: Vec<(String, String)>,
    /// The files that were chosen.
    pub(super) files: Vec<File>,
}

/// A text file that was sent.
pub(super) struct File {
    /// The field it was sent in.
    pub(super) field: String,
    /// What it holds. What is not UTF-8 in it is replaced, for a unit in another encoding should
    /// not cost the readings.
    pub(super) text: String,
}

impl Upload {
    /// The first value under a name, without white space around it; empty counts as none.
    pub(super) fn value(&self, name: &str) -> Option<&str> {
        self.fields
            .iter()
            .find(|(n, _)| n == name)
            .map(|(_, value)| value.trim())
            .filter(|value| !value.is_empty())
    }
}

impl<S: Send + Sync> FromRequest<S> for Upload {
    type Rejection = Fault;

    async fn from_request(request: Request, state: &S) -> Result<Self, Fault> {
        let mut parts = Multipart::from_request(request, state)
            .await
            .map_err(|_| unreadable())?;
        let mut upload = Self {
            fields: Vec::new(),
            files: Vec::new(),
        };
        while let Some(part) = parts.next_field().await.map_err(|error| broken(&error))? {
            let name = part.name().unwrap_or_default().to_owned();
            let is_file = part.file_name().is_some();
            let bytes = part.bytes().await.map_err(|error| broken(&error))?;
            if bytes.len() > FILE_LIMIT {
                return Err(Fault::TooLarge);
            }
            let text = match String::from_utf8(bytes.into()) {
                Ok(text) => text,
                Err(error) => String::from_utf8_lossy(error.as_bytes()).into_owned(),
            };
            if !is_file {
                upload.fields.push((name, text));
            } else if !text.trim().is_empty() {
                upload.files.push(File { field: name, text });
            }
        }
        Ok(upload)
    }
}

fn broken(error: &axum::extract::multipart::MultipartError) -> Fault {
    if error.status() == axum::http::StatusCode::PAYLOAD_TOO_LARGE {
        Fault::TooLarge
    } else {
        unreadable()
    }
}

fn unreadable() -> Fault {
    Fault::Unreadable(
        "The form did not arrive whole. Go back to it, choose the file and send it again."
            .to_owned(),
    )
}
