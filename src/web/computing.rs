//! Runs calculations for the pages and the API beside the threads that answer requests.

use std::sync::Arc;

use tokio::sync::Semaphore;

use super::{fault::Fault, state::App};
use crate::calculation::{
    FieldError,
    named::{self, Computed, Named, Refused},
    sent::{Logs, SentRequest},
};

/// The most that a log or a spectrum may take, in bytes.
pub(super) const FILE_LIMIT: usize = 50 << 20;

/// What a request may hold besides its file, in bytes.
pub(super) const FILE_MARGIN: usize = 1 << 20;

/// Calculations that run at once; more would only take turns and hold their files meanwhile.
static SLOTS: Semaphore = Semaphore::const_new(2);

/// Computes a request that is whole, or says which fields cannot be taken.
///
/// # Errors
/// A body that is not JSON, or a fault of our own.
pub(super) async fn compute(
    app: &App,
    named: Named,
    request: impl Into<Vec<u8>>,
) -> Result<Result<Computed, Vec<FieldError>>, Fault> {
    compute_sent(app, named, SentRequest::new(request.into(), Logs::new())).await
}

/// The same of a request whose logs were read while they arrived.
///
/// # Errors
/// A body that is not JSON, or a fault of our own.
pub(super) async fn compute_sent(
    app: &App,
    named: Named,
    mut request: SentRequest,
) -> Result<Result<Computed, Vec<FieldError>>, Fault> {
    let _slot = SLOTS
        .acquire()
        .await
        .map_err(|_| Fault::NotReady("The program is stopping.".to_owned()))?;
    let patterns = Arc::clone(&app.patterns);
    tokio::task::spawn_blocking(move || {
        let logs = std::mem::take(&mut request.logs);
        let columns = std::mem::take(&mut request.columns);
        match named::run_with(named, &request.json, logs, columns, &patterns) {
            Ok(computed) => Ok(Ok(computed)),
            Err(Refused::Fields(errors)) => Ok(Err(errors)),
            Err(Refused::NotJson(error)) => Err(not_json(&request, &error)),
        }
    })
    .await?
}

/// What is wrong with a body, at its place in what was sent.
pub(super) fn not_json(request: &SentRequest, error: &serde_json::Error) -> Fault {
    let words = error.to_string();
    let (line, column) = (error.line(), error.column());
    let place = format!(" at line {line} column {column}");
    let words = words.strip_suffix(&place).unwrap_or(&words);
    let column = request.column_as_sent(line, column);
    Fault::Unreadable(format!(
        "The body is not JSON: {words} at line {line} column {column}. Send one JSON object, \
         encoded as UTF-8."
    ))
}
