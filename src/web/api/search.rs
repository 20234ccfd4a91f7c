//! Searching.

use std::collections::HashMap;

use axum::{
    Json,
    extract::{Path, State},
};
use serde::Serialize;

use crate::{
    casebook::{Asker, Refusal, Tool, ToolId},
    catalogue::Kind,
    search::{Answer, Entry, Filters, Request},
    web::{
        fault::Fault,
        fields::{Asked, Pairs, Sent},
        finding, show,
        state::App,
        suggesting,
    },
};

/// Hits returned unless asked otherwise, and at most.
const USUAL: usize = 20;
const MOST: usize = 200;

/// Suggestions given at most.
const SUGGESTED: usize = 8;

/// What a search found.
#[derive(Debug, Serialize)]
pub(super) struct Found {
    total: usize,
    /// Whether more than `total` may fit.
    or_more: bool,
    /// Whether the hits answer less than was asked, as the remarks say.
    relaxed: bool,
    remarks: Vec<String>,
    hits: Vec<FoundHit>,
}

#[derive(Debug, Serialize)]
struct FoundHit {
    number: i64,
    score: f32,
    title: String,
    snippet: String,
    why: Vec<String>,
    tool: String,
    tool_class: String,
    cause: Option<String>,
    status: &'static str,
}

/// `GET /api/search?q=&tool_class=&kind=&limit=`.
pub(super) async fn search(State(app): State<App>, asked: Asked) -> Result<Json<Found>, Fault> {
    answer(&app, &asked).await
}

/// `POST /api/search`: the same as a form, for a search too long for an address.
pub(super) async fn sent(State(app): State<App>, sent: Sent) -> Result<Json<Found>, Fault> {
    answer(&app, &sent).await
}

async fn answer(app: &App, asked: &Pairs) -> Result<Json<Found>, Fault> {
    asked.only(&["q", "tool_class", "kind", "limit"])?;
    let asker = app.asker();
    let text = asked.get("q").unwrap_or_default().to_owned();
    let names = finding::names(app, &asker, &text).await?;
    let request = Request {
        text,
        filters: filters(app, asked)?,
        skip: 0,
        limit: limit(asked)?,
        relax: true,
        names,
        ..Request::default()
    };
    let who = asker.clone();
    let answer = finding::run(app, move |index| index.search(&who, &request)).await?;
    let tools = finding::tools_of(app, &asker, &answer.hits).await?;
    Ok(Json(found(app, &asker, &tools, &answer).await?))
}

/// What may be meant by the beginning of a search.
#[derive(Debug, Serialize)]
pub(super) struct Suggested {
    suggestions: Vec<SuggestedLine>,
}

#[derive(Debug, Serialize)]
struct SuggestedLine {
    text: String,
    sort: &'static str,
    query: String,
}

/// `GET /api/suggestions?q=`.
pub(super) async fn suggestions(
    State(app): State<App>,
    asked: Asked,
) -> Result<Json<Suggested>, Fault> {
    asked.only(&["q"])?;
    let suggester = suggesting::current(&app).await?;
    // As typed: whether the last word is complete shows in the space after it.
    let typed = asked.iter().find(|(name, _)| *name == "q");
    let found = suggester.suggest(typed.map_or("", |(_, typed)| typed), SUGGESTED);
    let suggestions = found
        .into_iter()
        .map(|found| SuggestedLine {
            text: found.text,
            sort: found.sort.name(),
            query: found.query,
        })
        .collect();
    Ok(Json(Suggested { suggestions }))
}

/// `GET /api/incidents/{number}/similar`.
pub(super) async fn similar(
    State(app): State<App>,
    Path(text): Path<String>,
    asked: Asked,
) -> Result<Json<Found>, Fault> {
    asked.only(&["limit"])?;
    let asker = app.asker();
    let missing = || Fault::NotFound(format!("There is no incident {text}."));
    let number: i64 = text.parse().map_err(|_| missing())?;
    let filed = app
        .store
        .incident(&asker, number)
        .await?
        .ok_or_else(missing)?;
    let tool = app
        .store
        .tool(&asker, filed.current().incident.tool.as_str())
        .await?
        .ok_or_else(missing)?;
    let answer = finding::like(&app, &filed, &tool, limit(&asked)?).await?;
    let tools = finding::tools_of(&app, &asker, &answer.hits).await?;
    Ok(Json(found(&app, &asker, &tools, &answer).await?))
}

async fn found(
    app: &App,
    asker: &Asker,
    tools: &HashMap<ToolId, Tool>,
    answer: &Answer,
) -> Result<Found, Fault> {
    let hits = finding::matched(app, asker, tools, answer)
        .await?
        .into_iter()
        .map(|found| FoundHit {
            number: found.hit.number,
            score: found.hit.score,
            title: title(app, &found.entry),
            snippet: found.matches.excerpt.html(),
            why: found.matches.why,
            tool: found.entry.tool,
            tool_class: found.entry.class,
            cause: found.entry.cause,
            status: found.entry.status,
        })
        .collect();
    Ok(Found {
        total: answer.total,
        or_more: answer.or_more,
        relaxed: !answer.relaxed.is_empty(),
        remarks: finding::remarks(app, answer).await,
        hits,
    })
}

fn title(app: &App, entry: &Entry) -> String {
    let symptom = show::beginning(&entry.symptom);
    match &entry.cause {
        Some(cause) => format!(
            "{}: {symptom} ({})",
            entry.tool,
            app.catalogue.cause_name(cause)
        ),
        None => format!("{}: {symptom}", entry.tool),
    }
}

fn limit(asked: &Pairs) -> Result<usize, Fault> {
    match asked.get("limit") {
        None => Ok(USUAL),
        Some(text) => text
            .parse()
            .ok()
            .filter(|limit| (1..=MOST).contains(limit))
            .ok_or_else(|| {
                Fault::Refused(vec![Refusal::new(
                    "limit",
                    format!("{text:?} cannot be used"),
                    format!("a whole number from 1 to {MOST}"),
                )])
            }),
    }
}

fn filters(app: &App, asked: &Pairs) -> Result<Filters, Fault> {
    let mut refusals = Vec::new();
    let class = asked.get("tool_class");
    if let Some(class) = class
        && app.catalogue.class(class).is_none()
    {
        let known: Vec<_> = app.catalogue.classes().map(|c| c.id.as_str()).collect();
        refusals.push(Refusal::new(
            "tool_class",
            format!("no tool class is called {class:?}"),
            known.join(", "),
        ));
    }
    let kind = match asked.get("kind").map(str::parse::<Kind>) {
        Some(Err(problem)) => {
            let known: Vec<_> = Kind::ALL.iter().map(|kind| kind.id()).collect();
            refusals.push(Refusal::new("kind", problem, known.join(", ")));
            None
        }
        Some(Ok(kind)) => Some(kind),
        None => None,
    };
    if !refusals.is_empty() {
        return Err(Fault::Refused(refusals));
    }
    Ok(Filters {
        class: class.map(str::to_owned),
        kind,
        ..Filters::default()
    })
}
