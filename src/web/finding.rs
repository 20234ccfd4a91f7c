//! Searching on behalf of pages and API: off the threads that serve requests, and with
//! what each hit needs to be shown.

use std::{
    collections::HashMap,
    num::NonZero,
    sync::{Arc, LazyLock},
    time::Duration,
};

use tokio::sync::Semaphore;

use super::{fault::Fault, show, state::App};
use crate::{
    casebook::{Asker, Filed, Incident, Tool, ToolId},
    search::{Answer, Entry, Hit, Leaning, Matches, Names, Request, SearchError, SearchIndex, Why},
    store::StoreError,
};

/// A hit with the incident it stands for.
pub(super) struct Matched<'a> {
    pub(super) hit: &'a Hit,
    pub(super) incident: Incident,
    pub(super) tool: &'a Tool,
    pub(super) entry: Entry,
    /// Which words were hit, and why else it is here.
    pub(super) matches: Matches,
}

/// Searches that run at once, one a processor; more would only take turns, so that each ended as late as
/// the last of them.
static SLOTS: LazyLock<Arc<Semaphore>> = LazyLock::new(|| {
    let processors = std::thread::available_parallelism().map_or(2, NonZero::get);
    Arc::new(Semaphore::new(processors))
});

/// How long a search that failed waits for its index to be looked through and another to be put to use.
const LOOKED_THROUGH: Duration = Duration::from_secs(3);

/// Searches off the threads that serve requests. A search that fails casts doubt on the index; where that
/// is damaged another takes its place at once, which is searched then.
pub(super) async fn run<T: Send + 'static>(
    app: &App,
    search: impl Fn(&SearchIndex) -> Result<T, SearchError> + Clone + Send + 'static,
) -> Result<T, Fault> {
    app.findable().await;
    let index = app.index.current();
    let fault = match on(Arc::clone(&index), search.clone()).await {
        Err(fault @ Fault::Internal(_)) => fault,
        answered => return answered,
    };
    app.index.doubt();
    if app.index.replaced(&index, LOOKED_THROUGH).await {
        return on(app.index.current(), search).await;
    }
    Err(rebuilding(app).await.map_or(fault, Fault::NotReady))
}

async fn on<T: Send + 'static>(
    index: Arc<SearchIndex>,
    search: impl FnOnce(&SearchIndex) -> Result<T, SearchError> + Send + 'static,
) -> Result<T, Fault> {
    let slot = Arc::clone(&SLOTS).acquire_owned().await;
    let slot = slot.map_err(|_| Fault::NotReady("The program is stopping.".to_owned()))?;
    let searching = tokio::task::spawn_blocking(move || {
        // Kept to the end of the search, even if nobody waits for it any more.
        let _slot = slot;
        search(&index)
    });
    Ok(searching.await??)
}

/// So many changes behind the store an index is told to be; what was just filed is in it in a moment.
const BEHIND: i64 = 20;

/// What to tell of an index that is being filled, or is behind the store, if it is.
async fn rebuilding(app: &App) -> Option<String> {
    let progress = *app.progress.borrow();
    let last = app.store.last_change().await.ok()?;
    let behind = last.saturating_sub(progress.index);
    let late = behind > BEHIND || (behind > 0 && !progress.caught_up);
    let why = match progress.filling {
        None if !late => return None,
        None => "is behind the store",
        Some(why) => why.told(),
    };
    let meanwhile = match progress.filling {
        // What is left of a damaged one may lack anything.
        Some(Why::Damaged) if progress.old_serves => {
            "until then what is left of the old one is searched, so that not every case is found"
        }
        _ if progress.old_serves => {
            "until then an older one is searched, which lacks the newest reports"
        }
        _ => "until then not every case is found",
    };
    Some(format!(
        "The search index {why}: it has {} of {}; {meanwhile}.",
        show::count(progress.index.unsigned_abs()),
        show::counted(last.unsigned_abs(), "change", "changes"),
    ))
}

/// The names that may stand after the field words of a search.
pub(super) async fn names(app: &App, asker: &Asker, typed: &str) -> Result<Names, StoreError> {
    let names = Names::of(&app.catalogue);
    if !typed.to_lowercase().contains("site:") {
        return Ok(names);
    }
    Ok(names.with_sites(&app.store.sites(asker).await?))
}

/// The fleet's tools by name.
pub(super) async fn tools_by_name(
    app: &App,
    asker: &Asker,
) -> Result<HashMap<ToolId, Tool>, StoreError> {
    Ok(app
        .store
        .tools(asker)
        .await?
        .into_iter()
        .map(|tool| (tool.id.clone(), tool))
        .collect())
}

/// The tools of these hits, by name; a fleet has far more.
pub(super) async fn tools_of(
    app: &App,
    asker: &Asker,
    hits: impl IntoIterator<Item = &Hit>,
) -> Result<HashMap<ToolId, Tool>, StoreError> {
    let numbers: Vec<i64> = hits.into_iter().map(|hit| hit.number).collect();
    let tools = app.store.tools_of(asker, &numbers).await?;
    Ok(tools
        .into_iter()
        .map(|tool| (tool.id.clone(), tool))
        .collect())
}

/// The cases like an incident as it stands, the outcomes of its checks taken into account.
pub(super) async fn like(
    app: &App,
    filed: &Filed,
    tool: &Tool,
    limit: usize,
) -> Result<Answer, Fault> {
    let entry = entry(app, filed, tool);
    let request = Request {
        limit,
        leaning: Leaning::new(&filed.current().incident, &app.catalogue),
        impossible: impossible(app, tool),
        ..Request::default()
    };
    let asker = app.asker();
    run(app, move |index| index.similar(&asker, &entry, &request)).await
}

/// The causes of components that a tool does not have.
fn impossible(app: &App, tool: &Tool) -> Vec<String> {
    let causes = app.catalogue.causes();
    let other = causes.filter(|cause| !tool.components.contains(&cause.component));
    other.map(|cause| cause.id.to_string()).collect()
}

/// An incident as the index would hold it.
fn entry(app: &App, filed: &Filed, tool: &Tool) -> Entry {
    let current = filed.current();
    Entry::new(
        filed.number,
        current.revision,
        &current.incident,
        tool,
        &app.catalogue,
    )
}

/// The hits of an answer with their incidents, in order.
pub(super) async fn matched<'a>(
    app: &App,
    asker: &Asker,
    tools: &'a HashMap<ToolId, Tool>,
    answer: &'a Answer,
) -> Result<Vec<Matched<'a>>, Fault> {
    let numbers: Vec<i64> = answer.hits.iter().map(|hit| hit.number).collect();
    let mut present = app.store.present(asker, &numbers).await?;
    Ok(answer
        .hits
        .iter()
        .filter_map(|hit| {
            let revision = present.remove(&hit.number)?;
            let incident = revision.incident;
            let tool = tools.get(&incident.tool)?;
            let entry = Entry::new(
                hit.number,
                revision.revision,
                &incident,
                tool,
                &app.catalogue,
            );
            let mut matches = Matches::new(&answer.understood, &entry);
            matches.why.extend(hit.told_alike());
            Some(Matched {
                hit,
                incident,
                tool,
                entry,
                matches,
            })
        })
        .collect())
}

/// What was made of the query, what had to be left out of it, and whether the index is whole.
pub(super) async fn remarks(app: &App, answer: &Answer) -> Vec<String> {
    let understood = answer.understood.remarks().iter();
    let rebuilding = rebuilding(app).await;
    // Of an index that lacks cases nobody knows what no case holds.
    let lacks = rebuilding.is_some();
    let told = answer.relaxed.iter().chain(understood);
    let query = told
        .filter(|told| !(lacks && told.is_of_all()))
        .map(ToString::to_string);
    rebuilding.into_iter().chain(query).collect()
}
