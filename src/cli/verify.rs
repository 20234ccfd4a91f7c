//! `verify`, and bringing the index up to the store.

use std::{
    collections::BTreeMap,
    io::{self, Write},
    path::Path,
    process::ExitCode,
    sync::Arc,
    time::{Duration, Instant},
};

use anyhow::{Context, bail};
use clap::Args;

use super::{DataAt, StoreAt};
use crate::{
    catalogue::Catalogue,
    follow::Follower,
    knowledge::Knowledge,
    search::{SearchError, SearchIndex},
    store::Store,
};

/// How long to wait for a serving process to bring the index up.
const PATIENCE: Duration = Duration::from_secs(60);

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
        let index = bring_up(&store, &catalogue, &self.data.data).await?;
        let stored: BTreeMap<i64, i64> = store.present_revisions().await?.into_iter().collect();
        let mut indexed: BTreeMap<i64, i64> = BTreeMap::new();
        let mut differences = Vec::new();
        for (number, revision) in index.contents()? {
            if indexed.insert(number, revision).is_some() {
                differences.push(format!("incident {number} is in the index twice"));
            }
        }
        for (number, revision) in &stored {
            match indexed.get(number) {
                None => differences.push(format!("incident {number} is not in the index")),
                Some(other) if other != revision => differences.push(format!(
                    "incident {number} is at revision {revision} in the store and {other} in the index"
                )),
                Some(_) => {}
            }
        }
        for number in indexed.keys().filter(|number| !stored.contains_key(number)) {
            differences.push(format!(
                "incident {number} is in the index and not in the store"
            ));
        }
        let (open, closed) = store.counts().await?;
        let told = format!(
            "store: {} incidents ({open} open, {closed} closed), {} changes\n\
             index: {} incidents, at change {}\n\
             differences: {}\n",
            open + closed,
            store.last_change().await?,
            indexed.len(),
            index.reached()?.seq,
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

/// Opens the index with every change of the store in it: follows the store itself, or
/// waits for the process that does.
pub(super) async fn bring_up(
    store: &Store,
    catalogue: &Arc<Catalogue>,
    data: &Path,
) -> anyhow::Result<Arc<SearchIndex>> {
    match SearchIndex::open(data) {
        Ok(index) => {
            let index = Arc::new(index);
            let mut follower = Follower::new(
                store.clone(),
                Arc::clone(&index),
                Arc::new(Knowledge::new(catalogue)?),
                Arc::clone(catalogue),
            )
            .await?;
            follower.catch_up().await?;
            Ok(index)
        }
        Err(SearchError::Busy) => wait_for(store, data).await,
        Err(error) => Err(error)
            .with_context(|| format!("cannot open the search index in {}", data.display())),
    }
}

async fn wait_for(store: &Store, data: &Path) -> anyhow::Result<Arc<SearchIndex>> {
    let last = store.last_change().await?;
    let begun = Instant::now();
    loop {
        let index = SearchIndex::open_read_only(data)?;
        let reached = index.reached()?;
        if reached.identity != store.identity().await? {
            bail!(
                "the search index in {} is a copy of another store",
                data.display()
            );
        }
        if reached.seq >= last {
            return Ok(Arc::new(index));
        }
        if begun.elapsed() > PATIENCE {
            bail!(
                "the process that serves this index has reached change {} of {last} after {} s",
                reached.seq,
                PATIENCE.as_secs()
            );
        }
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
}
