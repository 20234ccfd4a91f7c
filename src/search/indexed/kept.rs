//! What is made of a whole index and kept, made anew beside the searches once the index has grown.
//!
//! Searches use what there is; where there is nothing yet, or the index is small, they may wait for it.
//! One thread at a time makes it anew, and none that serves holds a lock meanwhile. While an index
//! grows fast, as beside an import, it rests between two makings, so that searches keep the processors.

use std::{
    sync::{
        Arc, Mutex, PoisonError,
        atomic::{AtomicBool, Ordering},
    },
    time::{Duration, Instant},
};

use tantivy::Searcher;

use crate::search::SearchError;

/// Of no more cases it is made while a search waits.
const FEW: u64 = 2_500;

/// So many times as long as the last making took nothing is made anew.
const REST: u32 = 10;

/// Whether a search waits until there is something.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::search) enum Wait {
    /// It cannot do without; of few cases it waits for what is new as well.
    Always,
    /// Only the first, of few cases.
    Few,
}

/// Something made of an index.
#[derive(Debug, Default)]
pub(in crate::search) struct Kept<T>(Arc<Inner<T>>);

#[derive(Debug)]
struct Inner<T> {
    made: Mutex<Option<Made<T>>>,
    nothing: Arc<T>,
    at_work: AtomicBool,
    /// Held by the first search that waits, so that others do not make it as well.
    first: Mutex<()>,
}

#[derive(Debug)]
struct Made<T> {
    of: Arc<T>,
    /// How many cases the index held.
    cases: u64,
    /// When it was made.
    at: Instant,
    /// How long that took.
    took: Duration,
}

impl<T: Default> Default for Inner<T> {
    fn default() -> Self {
        Self {
            made: Mutex::new(None),
            nothing: Arc::default(),
            at_work: AtomicBool::new(false),
            first: Mutex::new(()),
        }
    }
}

impl<T: Default + Send + Sync + 'static> Kept<T> {
    /// What there is; `make` makes it anew once a twentieth of the cases is new.
    pub(in crate::search) fn current(
        &self,
        searcher: &Searcher,
        wait: Wait,
        make: impl FnOnce(&Searcher) -> Result<T, SearchError> + Send + 'static,
    ) -> Result<Arc<T>, SearchError> {
        let cases = searcher.num_docs();
        let kept = self.0.kept();
        let rests = self.0.rests();
        if let Some((kept, then)) = &kept
            && *then > 0
            && then.abs_diff(cases) <= then / 20
        {
            return Ok(Arc::clone(kept));
        }
        let waits = match wait {
            Wait::Always => kept.is_none() || cases <= FEW,
            Wait::Few => kept.is_none() && cases <= FEW,
        };
        if waits {
            let _first = self.0.first.lock().unwrap_or_else(PoisonError::into_inner);
            if let Some((kept, then)) = self.0.kept()
                && then == cases
            {
                return Ok(kept);
            }
            let begun = Instant::now();
            let made = Arc::new(make(searcher)?);
            self.0.keep(Arc::clone(&made), cases, begun);
            return Ok(made);
        }
        if !rests && !self.0.at_work.swap(true, Ordering::AcqRel) {
            let (inner, searcher) = (Arc::clone(&self.0), searcher.clone());
            let beside = std::thread::Builder::new().name("search-learning".to_owned());
            let started = beside.spawn(move || {
                let begun = Instant::now();
                match make(&searcher) {
                    Ok(made) => inner.keep(Arc::new(made), cases, begun),
                    Err(error) => tracing::warn!(%error, "nothing was learnt from the index"),
                }
                inner.at_work.store(false, Ordering::Release);
            });
            if let Err(error) = started {
                self.0.at_work.store(false, Ordering::Release);
                tracing::warn!(%error, "no thread to learn from the index");
            }
        }
        Ok(kept.map_or_else(|| Arc::clone(&self.0.nothing), |(kept, _)| kept))
    }
}

impl<T> Kept<T> {
    /// Puts a fuller one in the place of what there was, unless that was made anew meanwhile.
    pub(in crate::search) fn amend(&self, was: &Arc<T>, now: &Arc<T>) {
        let mut made = self.0.made.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(made) = made.as_mut().filter(|made| Arc::ptr_eq(&made.of, was)) {
            made.of = Arc::clone(now);
        }
    }
}

impl<T> Inner<T> {
    fn kept(&self) -> Option<(Arc<T>, u64)> {
        let made = self.made.lock().unwrap_or_else(PoisonError::into_inner);
        made.as_ref().map(|made| (Arc::clone(&made.of), made.cases))
    }

    /// Whether the last making was so short a time ago that the next has to wait.
    fn rests(&self) -> bool {
        let made = self.made.lock().unwrap_or_else(PoisonError::into_inner);
        let rests = |made: &Made<T>| made.at.elapsed() < made.took * REST;
        made.as_ref().is_some_and(rests)
    }

    fn keep(&self, of: Arc<T>, cases: u64, begun: Instant) {
        let mut made = self.made.lock().unwrap_or_else(PoisonError::into_inner);
        *made = Some(Made {
            of,
            cases,
            at: Instant::now(),
            took: begun.elapsed(),
        });
    }
}

#[cfg(test)]
mod tests {
    use tantivy::{Index, IndexWriter, TantivyDocument, schema::Schema};

    use super::*;

    /// An index that doubles is looked at again, but not before the rest is over.
    #[test]
    fn what_was_made_just_now_is_not_made_anew() {
        let index = Index::create_in_ram(Schema::builder().build());
        let mut writer: IndexWriter = index
            .writer_with_num_threads(1, 20 << 20)
            .expect("a writer");
        let reader = index.reader().expect("a reader");
        let mut grow = |by: u64| {
            for _ in 0..by {
                writer.add_document(TantivyDocument::new()).expect("added");
            }
            writer.commit().expect("committed");
            reader.reload().expect("reloaded");
            reader.searcher()
        };
        let kept: Kept<u64> = Kept::default();
        let long = Duration::from_millis(100);
        let make = move |searcher: &Searcher| {
            std::thread::sleep(long);
            Ok(searcher.num_docs())
        };
        let few = grow(FEW);
        let first = kept.current(&few, Wait::Always, make).expect("made");
        assert_eq!(*first, FEW);
        let more = grow(FEW);
        for _ in 0..5 {
            let now = kept.current(&more, Wait::Always, make).expect("kept");
            assert_eq!(*now, FEW);
            assert!(!kept.0.at_work.load(Ordering::Acquire));
        }
        std::thread::sleep(long * REST);
        for _ in 0..100 {
            let now = kept.current(&more, Wait::Always, make).expect("kept");
            if *now == 2 * FEW {
                return;
            }
            std::thread::sleep(long);
        }
        panic!("never made anew");
    }
}
