//! Searches kept under a name: plain links, for whoever looks for the same again and again.

use axum::{
    extract::{Path, State},
    http::{StatusCode, header},
    response::{IntoResponse, Response},
};

use super::number;
use crate::{
    casebook::Asker,
    store::StoreError,
    web::{
        fault::Fault,
        fields::{Pairs, Sent, address},
        state::App,
        views::search::Kept,
    },
};

/// What of a search is kept.
const PARTS: [&str; 5] = ["q", "tool_class", "kind", "from", "to"];

/// The longest name, in characters.
const LONGEST_NAME: usize = 80;

/// The longest search that is kept, in characters; longer ones are not looked at whole.
pub(super) const LONGEST: usize = 2_000;

/// `POST /searches`: keeps a search, and goes back to it.
pub(super) async fn keep(State(app): State<App>, sent: Sent) -> Result<Response, Fault> {
    let Some(typed) = sent.get("q") else {
        return Err(Fault::Unreadable(
            "Only a search for something is kept: type what to search for first.".to_owned(),
        ));
    };
    if typed.chars().count() > LONGEST {
        return Err(Fault::TooLong);
    }
    let name: String = sent
        .get("name")
        .unwrap_or(typed)
        .chars()
        .take(LONGEST_NAME)
        .collect();
    let place = place_of(&sent);
    let query = place.split_once('?').map_or("", |(_, query)| query);
    app.store
        .keep_search(&app.asker(), &name, query, app.now())
        .await?;
    // The list of kept ones shows that it was taken.
    Ok(to(format!("{place}#kept")))
}

/// `POST /searches/{id}/hide`: takes one off the list.
pub(super) async fn hide(
    State(app): State<App>,
    Path(text): Path<String>,
) -> Result<Response, Fault> {
    let id = number(&text)?;
    if !app.store.hide_search(&app.asker(), id, app.now()).await? {
        return Err(Fault::NotFound(format!("There is no kept search {id}.")));
    }
    Ok(to("/search#kept".to_owned()))
}

/// The kept searches as links.
pub(super) async fn list(app: &App, asker: &Asker) -> Result<Vec<Kept>, StoreError> {
    let kept = app.store.kept_searches(asker).await?.into_iter();
    Ok(kept
        .map(|kept| Kept {
            name: kept.name,
            href: format!("/search?{}", kept.query),
            hide: format!("/searches/{}/hide", kept.id),
        })
        .collect())
}

/// What of a search is sent to keep it: names and values.
pub(super) fn parts(asked: &Pairs) -> Vec<(String, String)> {
    PARTS
        .into_iter()
        .filter_map(|name| Some((name.to_owned(), asked.get(name)?.to_owned())))
        .collect()
}

fn place_of(asked: &Pairs) -> String {
    let parts = parts(asked);
    let pairs = parts
        .iter()
        .map(|(name, value)| (name.as_str(), value.as_str()));
    address("/search", pairs)
}

fn to(place: String) -> Response {
    (StatusCode::SEE_OTHER, [(header::LOCATION, place)]).into_response()
}
