//! Whether the program lives, and whether it is ready for people.

use axum::extract::State;

use crate::web::{fault::Fault, state::App};

pub(super) async fn live() -> &'static str {
    "live\n"
}

/// Ready once the tables are up to date (the program does not start otherwise) and the
/// index has everything the store had.
pub(super) async fn ready(State(app): State<App>) -> Result<&'static str, Fault> {
    let progress = *app.progress.borrow();
    let last = app.store.last_change().await?;
    if progress.caught_up {
        Ok("ready\n")
    } else {
        let filling = progress
            .filling
            .map_or("is behind", crate::search::Why::told);
        Err(Fault::NotReady(format!(
            "The search index {filling}: it has {} of {last} changes; try again in a moment.",
            progress.index
        )))
    }
}
