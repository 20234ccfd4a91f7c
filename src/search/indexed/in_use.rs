//! The index that searches go to, which another may take the place of while they run.

use std::{
    sync::{Arc, PoisonError, RwLock},
    time::{Duration, Instant},
};

use tokio::sync::Notify;

use crate::search::SearchIndex;

/// How often it is looked whether another index is in use.
const LOOKS_AGAIN: Duration = Duration::from_millis(20);

/// The index in use; clones share it.
#[derive(Clone, Debug)]
pub struct IndexInUse(Arc<Inner>);

#[derive(Debug)]
struct Inner {
    index: RwLock<Arc<SearchIndex>>,
    doubt: Notify,
}

impl IndexInUse {
    /// Puts an index to use.
    pub fn new(index: Arc<SearchIndex>) -> Self {
        Self(Arc::new(Inner {
            index: RwLock::new(index),
            doubt: Notify::new(),
        }))
    }

    /// The index to search; it stays whole for as long as it is held.
    pub fn current(&self) -> Arc<SearchIndex> {
        Arc::clone(&self.0.index.read().unwrap_or_else(PoisonError::into_inner))
    }

    /// Lets every search from now on go to another index, and gives back the one before.
    pub fn replace(&self, index: Arc<SearchIndex>) -> Arc<SearchIndex> {
        let mut kept = self.0.index.write().unwrap_or_else(PoisonError::into_inner);
        std::mem::replace(&mut kept, index)
    }

    /// Says that a search failed in a way that a whole index would not.
    pub fn doubt(&self) {
        self.0.doubt.notify_one();
    }

    /// Waits until another index than `before` is in use, at most so long, and says whether one is.
    pub async fn replaced(&self, before: &Arc<SearchIndex>, longest: Duration) -> bool {
        let begun = Instant::now();
        while Arc::ptr_eq(before, &self.current()) {
            if begun.elapsed() > longest {
                return false;
            }
            tokio::time::sleep(LOOKS_AGAIN).await;
        }
        true
    }

    /// Waits until the index is doubted.
    pub(crate) async fn doubted(&self) {
        self.0.doubt.notified().await;
    }
}
