//! What the search box suggests, gathered once and again when the fleet has written more.

use std::sync::{
    Arc, Mutex, PoisonError,
    atomic::{AtomicBool, Ordering},
};

use super::{fault::Fault, state::App};
use crate::{
    casebook::{Asker, Status},
    catalogue::Kind,
    search::{Offered, Sort, Suggester},
    store::StoreError,
};

/// How words are written is looked up in so many incidents, spread over the whole fleet; how common
/// they are is known of all.
const READ: i64 = 5_000;

/// So many are read at a time.
const AT_ONCE: usize = 500;

/// Gathered again once so many changes, or a twentieth of them, came in since.
const CHANGES: i64 = 50;

/// The suggestions of a running program.
#[derive(Debug, Default)]
pub struct Suggestions {
    kept: Mutex<Option<(i64, Arc<Suggester>)>>,
    gathering: AtomicBool,
}

impl Suggestions {
    fn kept(&self) -> Option<(i64, Arc<Suggester>)> {
        let kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        kept.clone()
    }
}

/// What there is to suggest. Only the first to ask waits for it; later, what there is serves
/// until newer is gathered.
pub(super) async fn current(app: &App) -> Result<Arc<Suggester>, Fault> {
    let now = app.progress.borrow().index;
    match app.suggestions.kept() {
        Some((then, suggester)) => {
            let stale = now - then > CHANGES.max(then / 20);
            if stale && !app.suggestions.gathering.swap(true, Ordering::AcqRel) {
                let app = app.clone();
                tokio::spawn(async move {
                    let gathered = gather(&app, now).await;
                    app.suggestions.gathering.store(false, Ordering::Release);
                    if let Err(fault) = gathered {
                        tracing::warn!(?fault, "suggestions could not be gathered");
                    }
                });
            }
            Ok(suggester)
        }
        None => gather(app, now).await,
    }
}

async fn gather(app: &App, now: i64) -> Result<Arc<Suggester>, Fault> {
    let asker = app.asker();
    let (open, closed) = app.store.counts().await?;
    let all = open + closed;
    let step = usize::try_from(all / READ).unwrap_or_default().max(1);
    let spread: Vec<i64> = (1..=all).rev().step_by(step).collect();
    let mut texts = Vec::new();
    for numbers in spread.chunks(AT_ONCE) {
        let present = app.store.present(&asker, numbers).await?;
        texts.extend(present.into_values().map(|revision| {
            let incident = revision.incident;
            [incident.symptom, incident.fix, incident.notes].join("\n")
        }));
    }
    let offered = offered(app, &asker).await?;
    let index = app.index.current();
    let gathered = tokio::task::spawn_blocking(move || index.suggester(texts, offered));
    let suggester = Arc::new(gathered.await??);
    let mut kept = app
        .suggestions
        .kept
        .lock()
        .unwrap_or_else(PoisonError::into_inner);
    *kept = Some((now, Arc::clone(&suggester)));
    Ok(suggester)
}

/// What of catalogue and fleet cases are asked for by.
async fn offered(app: &App, asker: &Asker) -> Result<Vec<Offered>, StoreError> {
    let one = |sort, id: &str, name: &str| Offered {
        sort,
        id: id.to_owned(),
        name: name.to_owned(),
    };
    let catalogue = &app.catalogue;
    let causes = catalogue
        .causes()
        .map(|c| one(Sort::Cause, c.id.as_str(), &c.name));
    let classes = catalogue
        .classes()
        .map(|c| one(Sort::Class, c.id.as_str(), &c.name));
    let signs = catalogue
        .signs()
        .map(|s| one(Sort::Sign, s.id.as_str(), &s.name));
    let kinds = Kind::ALL
        .into_iter()
        .map(|k| one(Sort::Kind, k.id(), k.name()));
    let statuses = [Status::Open, Status::Closed].map(|s| one(Sort::Status, s.id(), s.id()));
    let catalogue: Vec<Offered> = causes
        .chain(classes)
        .chain(signs)
        .chain(kinds)
        .chain(statuses)
        .collect();
    let tools = app.store.tools(asker).await?;
    let tools = tools
        .iter()
        .map(|tool| one(Sort::Tool, tool.id.as_str(), tool.id.as_str()));
    let sites = app.store.sites(asker).await?;
    let sites = sites
        .iter()
        .map(|site| one(Sort::Site, site.code.as_str(), site.code.as_str()));
    Ok(catalogue.into_iter().chain(tools).chain(sites).collect())
}
