//! Runs calculations for the pages and the API beside the threads that answer requests.

use std::sync::LazyLock;

use tokio::sync::Semaphore;

use super::fault::Fault;
use crate::{
    calculation::{
        FieldError,
        named::{self, Computed, Named, Refused},
    },
    casebook::Refusal,
    vacuum::residual_gas::{PatternError, Patterns},
};

/// The most that a log or a spectrum may take, in bytes.
pub(super) const FILE_LIMIT: usize = 50 << 20;

/// What a request may hold besides its file, in bytes.
pub(super) const FILE_MARGIN: usize = 1 << 20;

/// Calculations that run at once; more would only take turns and hold their files meanwhile.
static SLOTS: Semaphore = Semaphore::const_new(2);

static PATTERNS: LazyLock<Result<Patterns, PatternError>> = LazyLock::new(|| {
    Patterns::parse(include_str!(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/seed-data/cracking-patterns.toml"
    )))
});

/// Computes, or says which fields cannot be taken.
///
/// # Errors
/// A body that is not JSON, or a fault of our own.
pub(super) async fn compute(
    named: Named,
    request: impl AsRef<[u8]> + Send + 'static,
) -> Result<Result<Computed, Vec<FieldError>>, Fault> {
    let _slot = SLOTS
        .acquire()
        .await
        .map_err(|_| Fault::NotReady("The program is stopping.".to_owned()))?;
    let patterns = PATTERNS
        .as_ref()
        .map_err(|error| Fault::Internal(std::sync::Arc::new(error.clone().into())))?;
    let done =
        tokio::task::spawn_blocking(move || named::run(named, request.as_ref(), patterns)).await?;
    match done {
        Ok(computed) => Ok(Ok(computed)),
        Err(Refused::Fields(errors)) => Ok(Err(errors)),
        Err(Refused::NotJson(error)) => Err(Fault::Unreadable(format!(
            "The body is not JSON: {error}. Send one JSON object, encoded as UTF-8."
        ))),
    }
}

/// Field errors as the refusals of the other pages and calls.
pub(super) fn refusals(errors: Vec<FieldError>) -> Vec<Refusal> {
    errors
        .into_iter()
        .map(|error| Refusal::new(error.field, error.problem, error.accepted))
        .collect()
}
