//! `verify`, and bringing the index up to the store.

use std::{
    collections::HashMap,
    io::{self, Write},
    path::Path,
    process::ExitCode,
    sync::Arc,
    time::{Duration, Instant},
};

use anyhow::{Context, bail};
use clap::Args;
use serde_json::Value;

use super::{DataAt, StoreAt};
use crate::{
    calculation::{
        again,
        named::{self, Named},
        sent::AllColumns,
    },
    casebook::Asker,
    catalogue::Catalogue,
    follow::{Follower, standing},
    search::{Entry, Held, SearchError, SearchIndex, Shelf},
    store::{Attached, Store},
    vacuum::residual_gas::Patterns,
};

/// How long to wait for a serving process whose index comes no further.
const PATIENCE: Duration = Duration::from_secs(60);

/// How soon it is asked again.
const PAUSE: Duration = Duration::from_millis(200);

/// Incidents compared at once.
const COMPARED: usize = 500;

/// Differences listed at most.
const LISTED: usize = 20;

#[derive(Debug, Args)]
pub(super) struct Verify {
    #[command(flatten)]
    store: StoreAt,
    #[command(flatten)]
    data: DataAt,
}

impl Verify {
    pub(super) async fn run(self) -> anyhow::Result<ExitCode> {
        let (store, catalogue) = self.store.open_existing().await?;
        let data = &self.data.data;
        let mut differences = faults(&store, &catalogue, data).await?;
        let mut indexed = None;
        if differences.is_empty() {
            let (index, seq) = bring_up(&store, &catalogue, data).await?;
            differences = compare(&store, &catalogue, &index).await?;
            indexed = Some((index.count(), seq));
            // Only one may write to it.
            drop(index);
            if !differences.is_empty() {
                // A report may have been filed meanwhile; what still differs is a difference.
                let (index, seq) = bring_up(&store, &catalogue, data).await?;
                differences = compare(&store, &catalogue, &index).await?;
                indexed = Some((index.count(), seq));
            }
        }
        let patterns = self.store.patterns(data)?;
        let calculations = calculated_again(&store, &patterns, &mut differences).await?;
        let (open, closed) = store.counts().await?;
        let told = format!(
            "store: {} incidents ({open} open, {closed} closed), {} changes\n\
             index: {}\n\
             calculations: {} kept, {} of them given alike by this program\n\
             differences: {}\n",
            open + closed,
            store.last_change().await?,
            indexed.map_or_else(
                || "cannot be compared; serving this store makes it anew".to_owned(),
                |(count, seq)| format!("{count} incidents, at change {seq}")
            ),
            calculations.kept,
            calculations.alike,
            differences.len()
        );
        super::until_pipe_closes(io::stdout().write_all(told.as_bytes()).map_err(Into::into))?;
        for difference in differences.iter().take(LISTED) {
            eprintln!("{difference}");
        }
        if differences.len() > LISTED {
            eprintln!("and {} more", differences.len() - LISTED);
        }
        store.close().await;
        Ok(if differences.is_empty() {
            ExitCode::SUCCESS
        } else {
            ExitCode::FAILURE
        })
    }
}

/// The calculations kept with incidents.
#[derive(Default)]
struct Calculations {
    kept: usize,
    alike: usize,
}

/// Computes every kept calculation again. This very version on these patterns has to give what
/// it gave; another version or other patterns may differ, and a person asks on its page.
async fn calculated_again(
    store: &Store,
    patterns: &Patterns,
    differences: &mut Vec<String>,
) -> anyhow::Result<Calculations> {
    let mut counts = Calculations::default();
    for number in store.with_calculations().await? {
        for Attached {
            id,
            mut calculation,
        } in store.calculations(&Asker::console(), number).await?
        {
            counts.kept += 1;
            store.read_logs(&mut calculation).await?;
            let mut complain = |problem: String| {
                differences.push(format!("incident {number}, calculation {id}: {problem}"));
            };
            let Some(named) = Named::of(&calculation.kind) else {
                complain(format!("no calculation is called {:?}", calculation.kind));
                continue;
            };
            if calculation.verdict().is_empty() {
                complain("its report holds no verdict".to_owned());
            }
            let request = calculation.request.to_string();
            let logs = match calculation.sent_logs() {
                Ok(logs) => logs,
                Err(problem) => {
                    complain(problem);
                    continue;
                }
            };
            let now =
                match named::run_with(named, request.as_bytes(), logs, AllColumns::new(), patterns)
                {
                    Ok(computed) => serde_json::from_str(&computed.report()?)?,
                    Err(_) => Value::Null,
                };
            let found = again::differences(&calculation.report, &now);
            let other = |field: &str| found.iter().any(|difference| difference.field == field);
            if again::same(&found) {
                counts.alike += 1;
            } else if calculation.program_version == env!("CARGO_PKG_VERSION") && !other("patterns")
            {
                let fields: Vec<_> = found.iter().map(|d| d.field.as_str()).take(5).collect();
                complain(format!(
                    "computed by this version, and no longer gives the same {}",
                    fields.join(", ")
                ));
            }
        }
    }
    Ok(counts)
}

/// What is wrong with the index as a whole. While another process serves it, files come and
/// go, and a rebuild may be under way: what is wrong has to stay so.
async fn faults(store: &Store, catalogue: &Catalogue, data: &Path) -> anyhow::Result<Vec<String>> {
    if !data.exists() {
        return Ok(Vec::new());
    }
    let begun = Instant::now();
    loop {
        let standing = standing(store, catalogue).await?;
        let faults = SearchIndex::faults(data, standing)?;
        let served = matches!(Shelf::open(data), Err(SearchError::Busy));
        if faults.is_empty() || !served || begun.elapsed() > PATIENCE {
            return Ok(faults);
        }
        tokio::time::sleep(PAUSE).await;
    }
}

/// Every incident, as the store has it and as the index was told of it.
async fn compare(
    store: &Store,
    catalogue: &Catalogue,
    index: &SearchIndex,
) -> anyhow::Result<Vec<String>> {
    let asker = Asker::console();
    let mut differences = Vec::new();
    let mut indexed: HashMap<i64, Held> = HashMap::new();
    for held in index.contents()? {
        if indexed.insert(held.number, held).is_some() {
            differences.push(format!("incident {} is in the index twice", held.number));
        }
    }
    let tools: HashMap<_, _> = store
        .tools(&asker)
        .await?
        .into_iter()
        .map(|tool| (tool.id.clone(), tool))
        .collect();
    let stored = store.present_revisions().await?;
    for chunk in stored.chunks(COMPARED) {
        let numbers: Vec<_> = chunk.iter().map(|(number, _)| *number).collect();
        let present = store.present(&asker, &numbers).await?;
        for number in numbers {
            let Some(held) = indexed.remove(&number) else {
                differences.push(format!("incident {number} is not in the index"));
                continue;
            };
            let entry = present.get(&number).and_then(|revision| {
                let tool = tools.get(&revision.incident.tool)?;
                let (at, incident) = (revision.revision, &revision.incident);
                Some(Entry::new(number, at, incident, tool, catalogue))
            });
            match entry {
                None => differences.push(format!(
                    "incident {number} has no readable present state or tool in the store"
                )),
                Some(entry) if entry.revision != held.revision => differences.push(format!(
                    "incident {number} is at revision {} in the store and {} in the index",
                    entry.revision, held.revision
                )),
                Some(entry) if entry.digest() != held.digest => differences.push(format!(
                    "incident {number} reads otherwise in the store than in the index"
                )),
                Some(_) => {}
            }
        }
    }
    let mut left: Vec<_> = indexed.into_keys().collect();
    left.sort_unstable();
    differences.extend(
        left.iter()
            .map(|number| format!("incident {number} is in the index and not in the store")),
    );
    Ok(differences)
}

/// Opens the index with every change of the store in it, and says which is the last: follows
/// the store itself, or waits for the process that does.
pub(super) async fn bring_up(
    store: &Store,
    catalogue: &Arc<Catalogue>,
    data: &Path,
) -> anyhow::Result<(Arc<SearchIndex>, i64)> {
    match follower(store, catalogue, data).await? {
        Some(follower) => {
            let index = follower.index().current();
            let seq = index.reached()?.seq;
            Ok((index, seq))
        }
        None => match wait_for(store, catalogue, data, PATIENCE).await? {
            Waited::Reached => {
                let standing = standing(store, catalogue).await?;
                let index = SearchIndex::beside_writer(data, standing)?
                    .context("the index was put in another's place just now; try again")?;
                let seq = index.reached()?.seq;
                Ok((Arc::new(index), seq))
            }
            Waited::InVain { seen, last } => bail!(
                "the process that serves this index has change {seen} of {last} and came no \
                 further in {} s",
                PATIENCE.as_secs()
            ),
        },
    }
}

/// What waiting for a serving process came to.
pub(super) enum Waited {
    /// Its index has every change there was when the wait began.
    Reached,
    /// It came no further for as long as was waited.
    InVain {
        /// Its last change.
        seen: i64,
        /// The store's.
        last: i64,
    },
}

/// Keeps the index and has brought it up to the store; none while another process does.
pub(super) async fn follower(
    store: &Store,
    catalogue: &Arc<Catalogue>,
    data: &Path,
) -> anyhow::Result<Option<Follower>> {
    match Shelf::open(data) {
        Ok(shelf) => {
            let shelf = shelf.for_filling();
            let catalogue = Arc::clone(catalogue);
            let mut follower = Follower::of_index(store.clone(), shelf, catalogue).await?;
            follower.catch_up().await?;
            Ok(Some(follower))
        }
        Err(SearchError::Busy) => Ok(None),
        Err(error) => Err(error)
            .with_context(|| format!("cannot open the search index in {}", data.display())),
    }
}

/// Waits for the process that serves the index to bring it up to the store, for as long as it comes
/// further.
pub(super) async fn wait_for(
    store: &Store,
    catalogue: &Catalogue,
    data: &Path,
    patience: Duration,
) -> anyhow::Result<Waited> {
    let last = store.last_change().await?;
    let mut further = Instant::now();
    let mut seen = 0;
    loop {
        let standing = standing(store, catalogue).await?;
        let reached = SearchIndex::reached_beside(data, standing)?;
        if reached.whole && reached.seq >= last {
            return Ok(Waited::Reached);
        }
        if reached.seq > seen {
            (seen, further) = (reached.seq, Instant::now());
        }
        if further.elapsed() > patience {
            return Ok(Waited::InVain { seen, last });
        }
        tokio::time::sleep(PAUSE).await;
    }
}
