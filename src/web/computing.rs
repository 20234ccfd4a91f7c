//! Runs calculations for the pages and the API beside the threads that answer requests.

use std::sync::Arc;

use tokio::sync::Semaphore;

use super::{fault::Fault, state::App};
use crate::calculation::{
    FieldError,
    named::{self, Computed, Named, Refused},
};

/// The most that a log or a spectrum may take, in bytes.
pub(super) const FILE_LIMIT: usize = 50 << 20;

/// What a request may hold besides its file, in bytes.
pub(super) const FILE_MARGIN: usize = 1 << 20;

/// Calculations that run at once; more would only take turns and hold their files meanwhile.
static SLOTS: Semaphore = Semaphore::const_new(2);

/// Computes, or says which fields cannot be taken.
///
/// # Errors
/// A body that is not JSON, or a fault of our own.
pub(super) async fn compute(
    app: &App,
    named: Named,
    request: impl AsRef<[u8]> + Send + 'static,
) -> Result<Result<Computed, Vec<FieldError>>, Fault> {
    let _slot = SLOTS
        .acquire()
        .await
        .map_err(|_| Fault::NotReady("The program is stopping.".to_owned()))?;
    let patterns = Arc::clone(&app.patterns);
    let done =
        tokio::task::spawn_blocking(move || named::run(named, request.as_ref(), &patterns)).await?;
    match done {
        Ok(computed) => Ok(Ok(computed)),
        Err(Refused::Fields(errors)) => Ok(Err(errors)),
        Err(Refused::NotJson(error)) => Err(Fault::Unreadable(format!(
            "The body is not JSON: {error}. Send one JSON object, encoded as UTF-8."
        ))),
    }
}
