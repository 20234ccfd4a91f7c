//! Forms sent with files. Logs are read while they arrive and never held whole.

use axum::extract::{
    FromRequest, Multipart, Request,
    multipart::{Field, MultipartError},
};

use crate::{
    calculation::{
        named::Named,
        residual_gas::SPECTRUM_LIMIT,
        sent::{SentLog, text_of},
    },
    web::{
        computing::FILE_LIMIT,
        fault::Fault,
        holding::{Arriving, HeldLog},
    },
};

/// Behind the name of a text field, the name of the field for a file instead of it.
pub(super) const FILE: &str = "_file";

/// What such a form sent.
pub(super) struct Upload {
    /// Names and values, in the order sent.
    pub(super) fields: Vec<(String, String)>,
    /// The files that were chosen.
    pub(super) files: Vec<File>,
}

/// A file that was sent.
pub(super) struct File {
    /// The field it was sent in.
    pub(super) field: String,
    /// What it holds.
    pub(super) content: Content,
}

/// What a file holds.
pub(super) enum Content {
    /// A log, and where it is held if it is too long to be sent back.
    Log(Box<SentLog>, Option<HeldLog>),
    /// Other text. What is not UTF-8 in it is replaced, for a unit in another encoding should not cost
    /// the readings.
    Text(String),
    /// More than is taken, which is so many bytes.
    TooLarge(usize),
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

    /// Takes a form whose files for the fields `logs` are logs. A file that is too large is read to its
    /// end and not kept, so that what else was filled in is not lost.
    ///
    /// # Errors
    /// A form that does not arrive whole, or text that is too large.
    pub(super) async fn take<S: Send + Sync>(
        request: Request,
        state: &S,
        logs: &[&str],
    ) -> Result<Self, Fault> {
        let mut parts = Multipart::from_request(request, state)
            .await
            .map_err(|_| unreadable())?;
        let mut upload = Self {
            fields: Vec::new(),
            files: Vec::new(),
        };
        while let Some(part) = parts.next_field().await.map_err(|error| broken(&error))? {
            let name = part.name().unwrap_or_default().to_owned();
            match part.file_name().map(str::is_empty) {
                // A field for a file in which none was chosen.
                Some(true) => {}
                Some(false) => {
                    let stands_for = name.strip_suffix(FILE).unwrap_or(&name);
                    let content = if logs.contains(&stands_for) {
                        log(part, upload.value(&Named::column_of(stands_for))).await?
                    } else {
                        text(part, SPECTRUM_LIMIT)
                            .await?
                            .map_or(Content::TooLarge(SPECTRUM_LIMIT), Content::Text)
                    };
                    upload.files.push(File {
                        field: name,
                        content,
                    });
                }
                None => {
                    let value = text(part, FILE_LIMIT).await?.ok_or(Fault::TooLarge)?;
                    upload.fields.push((name, value));
                }
            }
        }
        Ok(upload)
    }
}

impl<S: Send + Sync> FromRequest<S> for Upload {
    type Rejection = Fault;

    async fn from_request(request: Request, state: &S) -> Result<Self, Fault> {
        Self::take(request, state, &[]).await
    }
}

/// Reads a log while it arrives; the column of its pressures may have been chosen before.
async fn log(mut part: Field<'_>, column: Option<&str>) -> Result<Content, Fault> {
    let mut log = Arriving::log();
    if let Some(column) = column {
        log.choose(column);
    }
    let mut log = Some(log);
    let mut arriving = Arriving::default();
    while let Some(piece) = part.chunk().await.map_err(|error| broken(&error))? {
        if let Some(taken) = &mut log {
            taken.push(&piece);
            arriving.take(taken);
            if taken.bytes() > FILE_LIMIT {
                log = None;
            }
        }
    }
    Ok(log.map_or(Content::TooLarge(FILE_LIMIT), |log| {
        Content::Log(Box::new(log), arriving.finish())
    }))
}

/// Text, unless it is more than `most` bytes.
async fn text(mut part: Field<'_>, most: usize) -> Result<Option<String>, Fault> {
    let mut bytes = Some(Vec::new());
    while let Some(piece) = part.chunk().await.map_err(|error| broken(&error))? {
        if let Some(taken) = &mut bytes {
            taken.extend_from_slice(&piece);
            if taken.len() > most {
                bytes = None;
            }
        }
    }
    Ok(bytes.map(|bytes| text_of(&bytes)))
}

fn broken(error: &MultipartError) -> Fault {
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
