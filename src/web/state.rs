//! What every handler works with.

use std::{sync::Arc, time::Duration};

use jiff::Timestamp;
use tokio::{sync::watch, time::timeout};

use crate::{
    casebook::Asker, catalogue::Catalogue, day, follow::Progress, knowledge::Knowledge,
    search::IndexInUse, store::Store, vacuum::residual_gas::Patterns,
};

use super::{holding::Holding, replaying::Replays, suggesting::Suggestions};

/// How long an answer waits for what was just written to be counted.
const PATIENCE: Duration = Duration::from_secs(2);

/// The parts of the running program; clones share them.
#[derive(Clone, Debug)]
pub struct App {
    /// The truth.
    pub store: Store,
    /// Its searchable copy.
    pub index: IndexInUse,
    /// What the closed incidents teach.
    pub knowledge: Arc<Knowledge>,
    /// What the trade knows beforehand.
    pub catalogue: Arc<Catalogue>,
    /// The cracking patterns of residual gas.
    pub patterns: Arc<Patterns>,
    /// The last replay of the closed incidents.
    pub replays: Arc<Replays>,
    /// What is suggested while somebody types.
    pub suggestions: Arc<Suggestions>,
    /// Long logs that may be kept with an incident yet.
    pub holding: Arc<Holding>,
    /// Who asks, until people sign in: whoever reaches the address it listens on.
    pub asker: Asker,
    /// How far the copies have come.
    pub progress: watch::Receiver<Progress>,
}

impl App {
    /// Who is asking.
    pub fn asker(&self) -> Asker {
        self.asker.clone()
    }

    /// The present, to the precision the store keeps.
    pub fn now(&self) -> Timestamp {
        let now = Timestamp::now();
        Timestamp::from_microsecond(now.as_microsecond()).unwrap_or(now)
    }

    /// Waits until what was written through this program so far is counted, so that whoever wrote
    /// it finds it counted. Not for ever: behind a long import an answer counts what it can.
    pub async fn counted(&self) {
        let written = *self.store.written().borrow();
        let mut progress = self.progress.clone();
        let counted = progress.wait_for(|progress| progress.knowledge >= written);
        // Too late, or a follower that has ended: the answer comes all the same.
        let _ = timeout(PATIENCE, counted).await;
    }

    /// As [`App::counted`], until what was written is found by searches. An index that is being filled is
    /// searched as far as it is, since filling it takes its time.
    pub async fn findable(&self) {
        let written = *self.store.written().borrow();
        let mut progress = self.progress.clone();
        let found = progress.wait_for(|progress| {
            progress.index >= written || progress.filling.is_some() || !progress.caught_up
        });
        let _ = timeout(PATIENCE, found).await;
    }

    /// The day, in days since 1 January 1970.
    pub fn today(&self) -> i64 {
        day::of(self.now())
    }
}
