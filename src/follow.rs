//! Keeps the copies of the store (the search index, the fleet's knowledge in memory) up
//! to date by following its change log.
//!
//! Each copy knows the position it has reached; the index takes a batch and the new
//! position in one commit. A kill between a commit of the store and one of a copy therefore
//! loses nothing: the copy resumes where it was. Taking a change twice is harmless, since a
//! copy holds the present state of an incident under its number.
//!
//! An index that cannot be gone on with (damaged, of another store, ahead of this one, made
//! by another version) is filled anew beside the old one, which is searched until the new
//! one is whole. Memory is bounded: so many incidents at once, however long the log.

use std::{
    collections::HashMap,
    sync::{
        Arc,
        mpsc::{Sender, SyncSender, channel, sync_channel},
    },
    thread::{self, JoinHandle},
    time::{Duration, Instant},
};

use tokio::{sync::watch, task::spawn_blocking};

use crate::{
    casebook::{Asker, Incident, Revision, Tool, ToolId},
    catalogue::Catalogue,
    knowledge::Knowledge,
    search::{
        Entry, Found, IndexInUse, Prepared, Reached, SearchError, SearchIndex, Shelf, Standing, Why,
    },
    store::{self, Change, Store, StoreError},
};

/// Changes read at once: what the follower holds in memory at most.
const CHUNK: i64 = 500;

/// Changes in one commit of the index at most.
const BATCH: usize = 20_000;

/// How long a commit waits for more changes at most, while there are some.
const LONGEST: Duration = Duration::from_secs(5);

/// How soon a change made by another process is noticed.
const POLL: Duration = Duration::from_millis(250);

/// How long to wait after a failure before trying again.
const RETRY: Duration = Duration::from_secs(2);

/// How often the files of a doubted index that was found whole are read through at most.
const DOUBTED: Duration = Duration::from_secs(10);

/// How often they are read through without any doubt: not every damage makes a search fail.
const UNASKED: Duration = Duration::from_mins(10);

/// Failures to write in a row after which an index is given up.
const FAILURES: u32 = 2;

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
    /// Last change in the index that is kept up to date.
    pub index: i64,
    /// Last change in the fleet's knowledge.
    pub knowledge: i64,
    /// Whether both once had everything there was, and the index is whole.
    pub caught_up: bool,
    /// Why the index is being filled, while it is.
    pub filling: Option<Why>,
    /// Whether an older index is searched meanwhile.
    pub old_serves: bool,
}

/// Follows the change log on behalf of both copies.
#[derive(Debug)]
pub struct Follower {
    store: Store,
    shelf: Arc<Shelf>,
    in_use: IndexInUse,
    /// The index that is brought up to date; the one in use, unless that is to be replaced.
    target: Arc<SearchIndex>,
    reached: Reached,
    /// None where only the index is kept.
    knowledge: Option<Arc<Knowledge>>,
    catalogue: Arc<Catalogue>,
    tools: HashMap<ToolId, Arc<Tool>>,
    /// The position of the fleet that the knowledge was told of.
    told: Option<(i64, i64)>,
    progress: watch::Sender<Progress>,
    failures: u32,
}

impl Follower {
    /// Prepares to follow, with the index of `shelf` that can be gone on with, or a new one
    /// beside those that cannot.
    ///
    /// # Errors
    /// A store that cannot be read or a folder that cannot be used.
    pub async fn new(
        store: Store,
        shelf: Shelf,
        knowledge: Arc<Knowledge>,
        catalogue: Arc<Catalogue>,
    ) -> Result<Self, FollowError> {
        Self::of_copies(store, shelf, Some(knowledge), catalogue).await
    }

    /// As [`Follower::new`], for the index alone.
    ///
    /// # Errors
    /// As [`Follower::new`].
    pub async fn of_index(
        store: Store,
        shelf: Shelf,
        catalogue: Arc<Catalogue>,
    ) -> Result<Self, FollowError> {
        Self::of_copies(store, shelf, None, catalogue).await
    }

    async fn of_copies(
        store: Store,
        shelf: Shelf,
        knowledge: Option<Arc<Knowledge>>,
        catalogue: Arc<Catalogue>,
    ) -> Result<Self, FollowError> {
        let standing = standing(&store, &catalogue).await?;
        let shelf = Arc::new(shelf);
        let looking = Arc::clone(&shelf);
        let found = spawn_blocking(move || looking.find(standing)).await??;
        told(&found);
        let in_use = found.old.as_ref().unwrap_or(&found.target);
        let (progress, _) = watch::channel(Progress {
            index: found.reached.seq,
            filling: found.why,
            old_serves: found.old.is_some(),
            ..Progress::default()
        });
        Ok(Self {
            store,
            shelf,
            in_use: IndexInUse::new(Arc::clone(in_use)),
            target: found.target,
            reached: found.reached,
            knowledge,
            catalogue,
            tools: HashMap::new(),
            told: None,
            progress,
            failures: 0,
        })
    }

    /// Takes rows while they are written to the store, where the index has everything up to
    /// change `seq`; none where it has to follow the change log first.
    pub fn alongside(&self, seq: i64) -> Option<Alongside> {
        let ready = self.reached.whole && self.reached.seq == seq && self.knowledge.is_none();
        ready.then(|| Alongside::begin(Arc::clone(&self.target), Arc::clone(&self.catalogue)))
    }

    /// Keeps what was taken alongside, once the store has it on disk up to change `seq`; with
    /// none the store has not, and the index forgets it.
    ///
    /// # Errors
    /// An index that cannot be written; it then takes the rows from the change log.
    pub async fn settle(
        &mut self,
        alongside: Alongside,
        seq: Option<i64>,
    ) -> Result<(), FollowError> {
        let index = Arc::clone(&self.target);
        let stored = seq.map(|seq| Reached {
            seq,
            whole: true,
            ..self.reached
        });
        if let Err(error) = spawn_blocking(move || alongside.end(stored)).await? {
            spawn_blocking(move || index.forget()).await??;
            return Err(error);
        }
        if let Some(reached) = stored {
            self.reached = reached;
            self.progress.send_modify(|p| p.index = reached.seq);
            spawn_blocking(move || index.gather()).await??;
        }
        Ok(())
    }

    /// Lets others wait for the copies.
    pub fn progress(&self) -> watch::Receiver<Progress> {
        self.progress.subscribe()
    }

    /// The index that searches are to go to.
    pub fn index(&self) -> IndexInUse {
        self.in_use.clone()
    }

    /// Brings both copies up to the newest change there is now, and puts an index that
    /// thereby became whole to use.
    ///
    /// # Errors
    /// A store that cannot be read or an index that cannot be written; what was committed
    /// before stays.
    pub async fn catch_up(&mut self) -> Result<(), FollowError> {
        self.tell_of_tools().await?;
        let mut added = self.reached.seq;
        let mut waiting = 0;
        let mut committed = Instant::now();
        loop {
            let behind = match &self.knowledge {
                Some(_) => added.min(self.progress.borrow().knowledge),
                None => added,
            };
            let changes = self.store.changes_after(behind, CHUNK).await?;
            let Some(last) = changes.last().map(|change| change.seq) else {
                break;
            };
            let changed = self.changed(&changes).await?;
            if last > self.progress.borrow().knowledge {
                self.tell_of_tools().await?;
                if let Some(knowledge) = &self.knowledge {
                    knowledge.take(&changed, &self.catalogue);
                }
                self.progress.send_modify(|p| p.knowledge = last);
            }
            if last > added {
                self.add(changed).await?;
                added = last;
                waiting += changes.len();
            }
            if waiting >= BATCH || (waiting > 0 && committed.elapsed() > LONGEST) {
                self.commit(added, self.reached.whole).await?;
                waiting = 0;
                committed = Instant::now();
            }
        }
        if waiting > 0 || !self.reached.whole {
            self.commit(added, true).await?;
        }
        self.failures = 0;
        self.put_to_use();
        if !self.progress.borrow().caught_up {
            self.count().await?;
            self.progress.send_modify(|p| p.caught_up = true);
        }
        Ok(())
    }

    /// Follows until `stop` turns true.
    pub async fn run(mut self, mut stop: watch::Receiver<bool>) {
        let mut written = self.store.written();
        let mut found_whole: Option<Instant> = None;
        // They were read through when the index was opened.
        let mut looked = Instant::now();
        loop {
            let pause = match self.catch_up().await {
                Ok(()) => POLL,
                Err(error) => {
                    tracing::error!(%error, "the search index could not follow the store");
                    self.after(&error).await;
                    RETRY
                }
            };
            let in_use = self.in_use.clone();
            let may_look = found_whole.is_none_or(|at| at.elapsed() > DOUBTED);
            let doubted = tokio::select! {
                _ = stop.wait_for(|stop| *stop) => return,
                _ = tokio::time::sleep(pause) => false,
                _ = written.changed(), if pause == POLL => false,
                _ = in_use.doubted(), if may_look => true,
            };
            if doubted || looked.elapsed() > UNASKED {
                let whole = self.look_through(doubted).await;
                looked = Instant::now();
                found_whole = whole.then_some(looked);
            }
        }
    }

    async fn tell_of_tools(&mut self) -> Result<(), FollowError> {
        let Some(knowledge) = &self.knowledge else {
            return Ok(());
        };
        let position = self.store.fleet_position().await?;
        if self.told != Some(position) {
            let tools = self.store.tools(&Asker::console()).await?;
            knowledge.take_fleet(&tools);
            self.told = Some(position);
        }
        Ok(())
    }

    /// An index that cannot be written twice running is given up.
    async fn after(&mut self, error: &FollowError) {
        if !matches!(error, FollowError::Search(_) | FollowError::Interrupted(_)) {
            return;
        }
        self.failures += 1;
        if self.failures >= FAILURES {
            self.failures = 0;
            self.begin_anew(None).await;
        }
    }

    /// Reads the files of the index, which a search may have failed on, and says whether they are whole.
    async fn look_through(&mut self, search_failed: bool) -> bool {
        let index = Arc::clone(&self.target);
        match spawn_blocking(move || index.damage()).await {
            Ok(Ok(damaged)) if damaged.is_empty() => {
                if search_failed {
                    tracing::warn!("a search failed, but every file of the index is whole");
                }
                return true;
            }
            Ok(Ok(damaged)) => {
                tracing::warn!(?damaged, "files of the search index are damaged");
                let searched = Arc::ptr_eq(&self.target, &self.in_use.current());
                self.begin_anew(searched.then(|| Arc::clone(&self.target)))
                    .await;
            }
            Ok(Err(_)) | Err(_) => self.begin_anew(None).await,
        }
        false
    }

    /// Begins an index beside one that cannot be gone on with. That one is searched meanwhile; where files
    /// of it are damaged, without them.
    async fn begin_anew(&mut self, damaged: Option<Arc<SearchIndex>>) {
        let of_damaged = damaged.is_some();
        let begun = match standing(&self.store, &self.catalogue).await {
            Ok(standing) => {
                let shelf = Arc::clone(&self.shelf);
                spawn_blocking(move || match damaged {
                    Some(damaged) => shelf.beside_damaged(&damaged, standing),
                    None => shelf.anew(standing, Why::Damaged),
                })
                .await
            }
            Err(error) => {
                tracing::error!(%error, "a new search index could not be begun");
                return;
            }
        };
        match begun {
            Ok(Ok(found)) => {
                told(&found);
                let old_serves = found.old.is_some() || !of_damaged;
                let serves = found.old.unwrap_or_else(|| Arc::clone(&found.target));
                self.target = found.target;
                self.reached = found.reached;
                self.progress.send_modify(|p| {
                    p.index = 0;
                    p.caught_up = false;
                    p.filling = found.why;
                    p.old_serves = old_serves;
                });
                if of_damaged {
                    self.in_use.replace(serves);
                }
            }
            Ok(Err(error)) => tracing::error!(%error, "a new search index could not be begun"),
            Err(error) => tracing::error!(%error, "a new search index could not be begun"),
        }
    }

    /// Lets searches go to the index that is up to date, and deletes those before it.
    fn put_to_use(&mut self) {
        if self.progress.borrow().filling.is_none() {
            return;
        }
        let before = self.in_use.replace(Arc::clone(&self.target));
        if !Arc::ptr_eq(&before, &self.target) {
            before.retire();
            tracing::info!("the search index is rebuilt and in use");
        }
        self.shelf.keep_only(&[&self.target, &before]);
        self.progress.send_modify(|p| {
            p.filling = None;
            p.old_serves = false;
        });
    }

    /// An index that lost incidents without any file being damaged is filled anew too.
    async fn count(&mut self) -> Result<(), FollowError> {
        let (open, closed) = self.store.counts().await?;
        let settled = self.store.last_change().await? == self.reached.seq;
        let held = self.target.count();
        if settled && held != (open + closed).unsigned_abs() && self.failures == 0 {
            tracing::error!(
                held,
                stored = open + closed,
                "the search index holds another number of incidents than the store"
            );
            self.failures += 1;
            self.begin_anew(None).await;
            Box::pin(self.catch_up()).await?;
        }
        Ok(())
    }

    async fn add(&self, changed: Vec<Changed>) -> Result<(), FollowError> {
        let index = Arc::clone(&self.target);
        let catalogue = Arc::clone(&self.catalogue);
        spawn_blocking(move || {
            let entries: Vec<_> = changed
                .into_iter()
                .map(|c| {
                    let Revision {
                        revision, incident, ..
                    } = c.revision;
                    Entry::of(c.number, revision, incident, &c.tool, &catalogue)
                })
                .collect();
            index.add(&entries)
        })
        .await??;
        Ok(())
    }

    async fn commit(&mut self, seq: i64, whole: bool) -> Result<(), FollowError> {
        let reached = Reached {
            seq,
            whole,
            ..self.reached
        };
        let index = Arc::clone(&self.target);
        spawn_blocking(move || index.commit(reached)).await??;
        self.reached = reached;
        self.progress.send_modify(|p| p.index = seq);
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

/// A row on its way into the store.
#[derive(Debug)]
pub struct Stored {
    /// Its number.
    pub number: i64,
    /// Its newest revision.
    pub revision: i64,
    /// That revision as JSON.
    pub record: String,
    /// Its tool.
    pub tool: Option<Arc<Tool>>,
}

/// Rows handed to the index at once.
const HANDED: usize = 200;

/// A row on its way into the index.
#[derive(Debug)]
enum Row {
    Prepared(Prepared),
    Stored(Stored),
}

/// An index that takes rows while the store takes them, in a thread of its own. Nothing of it
/// is kept before [`Follower::settle`].
#[derive(Debug)]
pub struct Alongside {
    index: Arc<SearchIndex>,
    waiting: Vec<Row>,
    /// None once all are handed over.
    rows: Option<SyncSender<Vec<Row>>>,
    /// Tells what the store has on disk once it is there, or that it has not.
    stored: Sender<Option<Reached>>,
    writing: JoinHandle<Result<(), FollowError>>,
}

impl Alongside {
    fn begin(index: Arc<SearchIndex>, catalogue: Arc<Catalogue>) -> Self {
        let (rows, handed) = sync_channel::<Vec<Row>>(4);
        let (stored, told) = channel();
        let writes = Arc::clone(&index);
        let writing = thread::spawn(move || {
            for rows in handed {
                let prepared = rows.into_iter().map(|row| match row {
                    Row::Prepared(prepared) => Ok(prepared),
                    Row::Stored(row) => row.entry(&catalogue).map(|entry| writes.prepare(&entry)),
                });
                let prepared: Result<Vec<_>, _> = prepared.collect();
                writes.put(prepared?)?;
            }
            Ok(writes.commit_once_told(&told)?)
        });
        Self {
            index,
            waiting: Vec::with_capacity(HANDED),
            rows: Some(rows),
            stored,
            writing,
        }
    }

    /// Says that there are no more rows. The index writes what it has while the store does, and
    /// keeps it only once it is settled.
    pub fn all_taken(&mut self) {
        self.hand_over();
        self.rows = None;
    }

    /// The index, to prepare rows for.
    pub fn index(&self) -> Arc<SearchIndex> {
        Arc::clone(&self.index)
    }

    /// Takes a row as the index holds it.
    pub fn take(&mut self, row: Prepared) {
        self.wait(Row::Prepared(row));
    }

    /// Takes a row as the store holds it. What goes wrong is told by [`Follower::settle`].
    pub fn take_stored(&mut self, row: Stored) {
        self.wait(Row::Stored(row));
    }

    fn wait(&mut self, row: Row) {
        self.waiting.push(row);
        if self.waiting.len() == HANDED {
            self.hand_over();
        }
    }

    fn hand_over(&mut self) {
        let rows = std::mem::replace(&mut self.waiting, Vec::with_capacity(HANDED));
        // Only a thread that ended with an error does not listen.
        let _ = self.rows.as_ref().map(|to| to.send(rows));
    }

    fn end(mut self, stored: Option<Reached>) -> Result<(), FollowError> {
        let _ = self.stored.send(stored);
        self.all_taken();
        match self.writing.join() {
            Ok(written) => written,
            Err(panic) => std::panic::resume_unwind(panic),
        }
    }
}

impl Stored {
    /// A row in a revision.
    pub fn of(number: i64, revision: i64, row: &store::Row, tool: Option<Arc<Tool>>) -> Self {
        Self {
            number,
            revision,
            record: row.record.clone(),
            tool,
        }
    }

    fn entry(&self, catalogue: &Catalogue) -> Result<Entry, FollowError> {
        let incident: Incident = serde_json::from_str(&self.record).map_err(|error| {
            FollowError::Store(StoreError::Damaged {
                what: format!("incident {} revision {}", self.number, self.revision),
                problem: error.to_string(),
            })
        })?;
        let tool = self.tool.as_ref().ok_or_else(|| FollowError::NoTool {
            number: self.number,
            tool: incident.tool.clone(),
        })?;
        Ok(Entry::of(
            self.number,
            self.revision,
            incident,
            tool,
            catalogue,
        ))
    }
}

/// What the index of this store has to agree with just now.
pub(crate) async fn standing(store: &Store, catalogue: &Catalogue) -> Result<Standing, StoreError> {
    Ok(Standing::new(
        store.identity().await?,
        store.last_change().await?,
        catalogue,
    ))
}

fn told(found: &Found) {
    match found.why {
        None => {}
        Some(Why::Missing) => tracing::info!("the search index {}", Why::Missing.told()),
        Some(why) => tracing::warn!(
            from_change = found.reached.seq,
            old_serves = found.old.is_some(),
            "the search index {}",
            why.told()
        ),
    }
}
