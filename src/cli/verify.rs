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
use serde_json::Value;

use super::{DataAt, StoreAt};
use crate::{
    calculation::{
        again,
        named::{self, Named},
    },
    casebook::Asker,
    catalogue::Catalogue,
    follow::Follower,
    knowledge::Knowledge,
    search::{SearchError, SearchIndex},
    store::{Attached, Store},
    vacuum::residual_gas::Patterns,
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
        let patterns = self.store.patterns(&self.data.data)?;
        let calculations = calculated_again(&store, &patterns, &mut differences).await?;
        let (open, closed) = store.counts().await?;
        let told = format!(
            "store: {} incidents ({open} open, {closed} closed), {} changes\n\
             index: {} incidents, at change {}\n\
             calculations: {} kept, {} of them given alike by this program\n\
             differences: {}\n",
            open + closed,
            store.last_change().await?,
            indexed.len(),
            index.reached()?.seq,
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
        for Attached { id, calculation } in store.calculations(&Asker::console(), number).await? {
            counts.kept += 1;
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
            let now = match named::run(named, request.as_bytes(), patterns) {
                Ok(computed) => serde_json::from_str(&computed.report()?)?,
                Err(_) => Value::Null,
            };
            let found = again::differences(&calculation.report, &now);
            let other = |field: &str| found.iter().any(|difference| difference.field == field);
            if found.is_empty() {
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
