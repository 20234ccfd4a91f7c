//! Keeps the copies of the store (the search index, the fleet's knowledge in memory) up
//! to date by following its change log.
//!
//! Each copy knows the position it has reached, and takes a batch and the new position
//! in one step. A kill between a commit of the store and one of a copy therefore loses
//! nothing: the copy resumes where it was. Taking a change twice is harmless, since a
//! copy holds the present state of an incident under its number.

use std::{collections::HashMap, sync::Arc, time::Duration};

use tokio::sync::watch;

use crate::{
    casebook::{Asker, Revision, Tool, ToolId},
    catalogue::Catalogue,
    knowledge::Knowledge,
    search::{Entry, Reached, SearchError, SearchIndex},
    store::{Change, Store, StoreError},
};

/// Changes taken in one batch at most.
const BATCH: i64 = 5_000;

/// How soon a change made by another process is noticed.
const POLL: Duration = Duration::from_millis(250);

/// How long to wait after a failure before trying again.
const RETRY: Duration = Duration::from_secs(2);

/// What can go wrong while following.
#[derive(Debug, thiserror::Error)]
pub enum FollowError {
    /// The store cannot be read.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The index cannot be written.
    #[error(transparent)]
    Search(#[from] SearchError),
    /// An incident names a tool the store does not have.
    #[error("incident {number} names the tool {tool}, which the store does not have")]
    NoTool {
        /// Which incident.
        number: i64,
        /// Which tool.
        tool: ToolId,
    },
    /// The task that writes the index ended early.
    #[error("writing the index did not finish: {0}")]
    Interrupted(#[from] tokio::task::JoinError),
}

/// The present state of a changed incident.
#[derive(Clone, Debug)]
pub struct Changed {
    /// Its number.
    pub number: i64,
    /// Its newest revision.
    pub revision: Revision,
    /// Its tool.
    pub tool: Arc<Tool>,
}

/// How far the copies have come.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Progress {
    /// Last change in the index.
    pub index: i64,
    /// Last change in the fleet's knowledge.
    pub knowledge: i64,
    /// Whether both once had everything there was.
    pub caught_up: bool,
}

/// Follows the change log on behalf of both copies.
#[derive(Debug)]
pub struct Follower {
    store: Store,
    index: Arc<SearchIndex>,
    knowledge: Arc<Knowledge>,
    catalogue: Arc<Catalogue>,
    identity: i64,
    tools: HashMap<ToolId, Arc<Tool>>,
    progress: watch::Sender<Progress>,
}

impl Follower {
    /// Prepares to follow. An index that is a copy of another store, or claims to be
    /// ahead of this one, is emptied and filled again.
    ///
    /// # Errors
    /// A store or an index that cannot be read.
    pub async fn new(
        store: Store,
        index: Arc<SearchIndex>,
        knowledge: Arc<Knowledge>,
        catalogue: Arc<Catalogue>,
    ) -> Result<Self, FollowError> {
        let identity = store.identity().await?;
        let last = store.last_change().await?;
        let mut reached = index.reached()?;
        if reached.identity != identity || reached.seq > last {
            if reached != Reached::default() {
                tracing::warn!("the search index belongs to another store and is filled anew");
            }
            reached = Reached { identity, seq: 0 };
            index.clear(reached)?;
        }
        let (progress, _) = watch::channel(Progress {
            index: reached.seq,
            knowledge: 0,
            caught_up: false,
        });
        Ok(Self {
            store,
            index,
            knowledge,
            catalogue,
            identity,
            tools: HashMap::new(),
            progress,
        })
    }

    /// Lets others wait for the copies.
    pub fn progress(&self) -> watch::Receiver<Progress> {
        self.progress.subscribe()
    }

    /// Brings both copies up to the newest change there is now.
    ///
    /// # Errors
    /// A store that cannot be read or an index that cannot be written; what was taken
    /// before stays taken.
    pub async fn catch_up(&mut self) -> Result<(), FollowError> {
        loop {
            let now = *self.progress.borrow();
            let behind = now.index.min(now.knowledge);
            let changes = self.store.changes_after(behind, BATCH).await?;
            let Some(last) = changes.last().map(|change| change.seq) else {
                break;
            };
            let changed = self.changed(&changes).await?;
            if last > now.knowledge {
                self.knowledge.take(&changed, &self.catalogue);
                self.progress.send_modify(|p| p.knowledge = last);
            }
            if last > now.index {
                self.index_batch(changed, last).await?;
                self.progress.send_modify(|p| p.index = last);
            }
        }
        self.progress.send_if_modified(|p| {
            let first = !p.caught_up;
            p.caught_up = true;
            first
        });
        Ok(())
    }

    /// Follows until `stop` turns true.
    pub async fn run(mut self, mut stop: watch::Receiver<bool>) {
        let mut written = self.store.written();
        loop {
            let pause = match self.catch_up().await {
                Ok(()) => POLL,
                Err(error) => {
                    tracing::error!(%error, "the search index could not follow the store");
                    RETRY
                }
            };
            tokio::select! {
                _ = stop.wait_for(|stop| *stop) => return,
                _ = tokio::time::sleep(pause) => {}
                _ = written.changed(), if pause == POLL => {}
            }
        }
    }

    async fn index_batch(&self, changed: Vec<Changed>, last: i64) -> Result<(), FollowError> {
        let index = Arc::clone(&self.index);
        let catalogue = Arc::clone(&self.catalogue);
        let reached = Reached {
            identity: self.identity,
            seq: last,
        };
        tokio::task::spawn_blocking(move || {
            let entries: Vec<_> = changed
                .iter()
                .map(|c| {
                    let Revision {
                        revision, incident, ..
                    } = &c.revision;
                    Entry::new(c.number, *revision, incident, &c.tool, &catalogue)
                })
                .collect();
            index.put(&entries, reached)
        })
        .await??;
        Ok(())
    }

    async fn changed(&mut self, changes: &[Change]) -> Result<Vec<Changed>, FollowError> {
        let mut numbers: Vec<i64> = changes.iter().map(|change| change.number).collect();
        numbers.sort_unstable();
        numbers.dedup();
        let mut present = self.store.present(&Asker::console(), &numbers).await?;
        let mut changed = Vec::with_capacity(numbers.len());
        for number in numbers {
            let Some(revision) = present.remove(&number) else {
                continue;
            };
            let tool = self.tool(number, &revision.incident.tool).await?;
            changed.push(Changed {
                number,
                revision,
                tool,
            });
        }
        Ok(changed)
    }

    async fn tool(&mut self, number: i64, id: &ToolId) -> Result<Arc<Tool>, FollowError> {
        if !self.tools.contains_key(id) {
            for tool in self.store.tools(&Asker::console()).await? {
                self.tools.insert(tool.id.clone(), Arc::new(tool));
            }
        }
        self.tools
            .get(id)
            .cloned()
            .ok_or_else(|| FollowError::NoTool {
                number,
                tool: id.clone(),
            })
    }
}
