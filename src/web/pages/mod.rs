//! The pages: each handler reads, turns domain values into a view, and renders it.
//! All of them work with plain links and forms.

mod about;
mod calculations;
mod causes;
mod checks;
mod fleet;
mod home;
mod incident;
mod kept;
mod markdown;
mod report;
mod search;
mod sequence;
mod statistics;
pub(super) mod upkeep;

use axum::{
    Router,
    routing::{get, post},
};

use super::{fault::Fault, state::App};

pub(super) use report::unit_id;

/// Every page with its address.
pub(super) fn routes() -> Router<App> {
    Router::new()
        .route("/", get(home::show))
        .route("/search", get(search::show).post(search::sent))
        .route("/searches", post(kept::keep))
        .route("/searches/{id}/hide", post(kept::hide))
        .route("/incidents/new", get(report::blank).post(report::file))
        .route("/incidents/{number}", get(incident::show))
        .route("/incidents/{number}/similar", get(search::similar))
        .route(
            "/incidents/{number}/revisions/{revision}",
            get(incident::revision),
        )
        .route(
            "/incidents/{number}/edit",
            get(report::edit).post(report::correct),
        )
        .route("/sequence", get(sequence::choose))
        .route("/sequence/tools/{tool}", get(sequence::of_tool))
        .route("/sequence/classes/{class}", get(sequence::of_class))
        .merge(statistics::routes())
        .route("/fleet", get(fleet::list))
        .merge(upkeep::routes())
        .route("/checks", get(checks::list))
        .route("/checks/{check}", get(checks::show))
        .route("/causes", get(causes::list))
        .route("/causes/{cause}", get(causes::show))
        .merge(calculations::routes())
        .route("/about", get(about::show))
}

/// The number in an address, which has to be one.
fn number(text: &str) -> Result<i64, Fault> {
    text.parse()
        .map_err(|_| Fault::NotFound(format!("{text:?} is not the number of an incident.")))
}
