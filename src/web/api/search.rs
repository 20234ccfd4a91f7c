//! Searching.

use std::sync::Arc;

use axum::{
    Json,
    extract::{Path, State},
};
use serde::Serialize;

use crate::{
    casebook::{Asker, Refusal},
    catalogue::Kind,
    search::{Answer, Entry, Filters, Matches, Request},
    web::{fault::Fault, fields::Asked, show, state::App},
};

/// Hits returned unless asked otherwise, and at most.
const USUAL: usize = 20;
const MOST: usize = 200;

/// What a search found.
#[derive(Debug, Serialize)]
pub(super) struct Found {
    total: usize,
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
    let request = Request {
        text: asked.get("q").unwrap_or_default().to_owned(),
        filters: filters(&app, &asked)?,
        skip: 0,
        limit: limit(&asked)?,
        relax: false,
    };
    let index = Arc::clone(&app.index);
    let asker = app.asker();
    let answer = tokio::task::spawn_blocking(move || index.search(&asker, &request)).await??;
    Ok(Json(found(&app, &app.asker(), answer).await?))
}

/// `GET /api/incidents/{number}/similar`.
pub(super) async fn similar(
    State(app): State<App>,
    Path(text): Path<String>,
    asked: Asked,
) -> Result<Json<Found>, Fault> {
    let asker = app.asker();
    let missing = || Fault::NotFound(format!("There is no incident {text}."));
    let number: i64 = text.parse().map_err(|_| missing())?;
    let filed = app
        .store
        .incident(&asker, number)
        .await?
        .ok_or_else(missing)?;
    let current = filed.current();
    let tool = app
        .store
        .tool(&asker, current.incident.tool.as_str())
        .await?
        .ok_or_else(missing)?;
    let entry = Entry::new(
        number,
        current.revision,
        &current.incident,
        &tool,
        &app.catalogue,
    );
    let request = Request {
        limit: limit(&asked)?,
        ..Request::default()
    };
    let index = Arc::clone(&app.index);
    let who = asker.clone();
    let answer =
        tokio::task::spawn_blocking(move || index.similar(&who, &entry, &request)).await??;
    Ok(Json(found(&app, &asker, answer).await?))
}

async fn found(app: &App, asker: &Asker, answer: Answer) -> Result<Found, Fault> {
    let numbers: Vec<i64> = answer.hits.iter().map(|hit| hit.number).collect();
    let present = app.store.present(asker, &numbers).await?;
    let mut hits = Vec::with_capacity(numbers.len());
    for hit in &answer.hits {
        let Some(revision) = present.get(&hit.number) else {
            continue;
        };
        let incident = &revision.incident;
        let Some(tool) = app.store.tool(asker, incident.tool.as_str()).await? else {
            continue;
        };
        let entry = Entry::new(
            hit.number,
            revision.revision,
            incident,
            &tool,
            &app.catalogue,
        );
        let mut matches = Matches::new(&answer.understood, &entry);
        matches.why.extend(hit.told_alike());
        hits.push(FoundHit {
            number: hit.number,
            score: hit.score,
            title: title(app, &entry),
            snippet: matches.excerpt.html(),
            why: matches.why,
            tool: entry.tool,
            tool_class: entry.class,
            cause: entry.cause,
            status: entry.status,
        });
    }
    Ok(Found {
        total: answer.total,
        remarks: answer
            .relaxed
            .iter()
            .chain(answer.understood.remarks())
            .cloned()
            .collect(),
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

fn limit(asked: &Asked) -> Result<usize, Fault> {
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

fn filters(app: &App, asked: &Asked) -> Result<Filters, Fault> {
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
