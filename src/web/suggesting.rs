//! What the search box suggests, gathered once and again when the fleet has written more.

use std::sync::{
    Arc, Mutex, PoisonError,
    atomic::{AtomicBool, Ordering},
};

use super::{fault::Fault, state::App};
use crate::{search::Suggester, store::Listing};

/// Words are gathered from so many of the newest incidents.
const NEWEST: i64 = 5_000;

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
    let listing = Listing {
        limit: NEWEST,
        ..Listing::default()
    };
    let (newest, _) = app.store.list(&asker, &listing).await?;
    let tools = app.store.tools(&asker).await?;
    let causes: Vec<String> = app.catalogue.causes().map(|c| c.name.clone()).collect();
    let gathered = tokio::task::spawn_blocking(move || {
        let texts = newest.into_iter().map(|overview| {
            let incident = overview.incident;
            [incident.symptom, incident.fix, incident.notes].join("\n")
        });
        let tools = tools.into_iter().map(|tool| tool.id.to_string());
        Suggester::new(texts, causes, tools)
    });
    let suggester = Arc::new(gathered.await??);
    let mut kept = app
        .suggestions
        .kept
        .lock()
        .unwrap_or_else(PoisonError::into_inner);
    *kept = Some((now, Arc::clone(&suggester)));
    Ok(suggester)
}
