//! What the fleet's closed incidents teach, kept in memory as changes arrive.
//!
//! Pages and the API ask here for cause statistics and for the next check, and never
//! scan the store. [`crate::follow`] brings each change; a corrected or reopened
//! incident replaces what was known of it. The mathematics is [`crate::statistics`] and
//! [`crate::advice`]; this module only turns catalogue and incidents into their plain
//! numbers, and keeps what they have learnt until it changes.

mod case;
mod practice;

use std::sync::{Arc, Mutex, PoisonError, RwLock, RwLockReadGuard};

use crate::{
    advice::{self, Advice, AdviceError, Learned, Replay, Request},
    casebook::Status,
    catalogue::Catalogue,
    follow::Changed,
    statistics::{Breakdown, Case, Dimension, Filter, Ledger, Total, tables::Tables},
};

pub use practice::{of as practice, outcome, state};

/// The case an incident comes to, if it is closed.
pub fn case_of(change: &Changed, catalogue: &Catalogue) -> Option<Case> {
    let incident = &change.revision.incident;
    match (&incident.cause, incident.status) {
        (Some(cause), Status::Closed) => Some(case::of(change, cause, catalogue)),
        _ => None,
    }
}

/// The memory.
#[derive(Debug)]
pub struct Knowledge {
    practice: advice::Knowledge,
    /// Common practice before any case.
    untaught: Learned,
    ledger: RwLock<Ledger>,
    /// What the ledger teaches, with the revision it was learnt from.
    learned: Mutex<Option<(u64, Arc<Learned>)>>,
}

impl Knowledge {
    /// Nothing but common practice.
    ///
    /// # Errors
    /// A catalogue whose numbers cannot be used.
    pub fn new(catalogue: &Catalogue) -> Result<Self, AdviceError> {
        let practice = practice::of(catalogue)?;
        let untaught = Learned::from(&practice, &Tables::default());
        Ok(Self {
            practice,
            untaught,
            ledger: RwLock::new(Ledger::new()),
            learned: Mutex::new(None),
        })
    }

    /// Takes the present state of incidents that changed.
    pub fn take(&self, changed: &[Changed], catalogue: &Catalogue) {
        let mut ledger = self.ledger.write().unwrap_or_else(PoisonError::into_inner);
        for change in changed {
            let case = case_of(change, catalogue);
            if let Err(error) = ledger.apply(change.number, case.as_ref()) {
                // The rules let no such incident in; one that is there all the same must
                // not stop the others.
                tracing::warn!(number = change.number, %error, "an incident cannot be counted");
            }
        }
    }

    /// Counts, shares and times of closed incidents.
    pub fn by(&self, dimension: Dimension, filter: &Filter) -> Breakdown {
        self.ledger().by(dimension, filter)
    }

    /// Cases, labour and hours down alone, from sums kept as changes arrive.
    pub fn totals(&self, dimension: Dimension, class: Option<&str>) -> Vec<Total> {
        self.ledger().totals(dimension, class)
    }

    /// The next checks, and why. Takes up to some tenths of a second: not for a thread
    /// that serves requests.
    ///
    /// # Errors
    /// Anything unknown, contradictory or out of range in the request.
    pub fn advise(&self, request: &Request) -> Result<Advice, AdviceError> {
        let learned = self.learned();
        advice::advise(&self.practice, &learned, &self.untaught, request)
    }

    /// Replays closed cases in time order, each advised on from what was known before it,
    /// independently of what this memory holds. `components` gives those of a tool;
    /// `progress` hears how many cases are done.
    ///
    /// # Errors
    /// Common practice that contradicts itself.
    pub fn replay(
        &self,
        cases: &[Case],
        components: &dyn Fn(&str) -> Option<Vec<String>>,
        progress: &mut dyn FnMut(usize),
    ) -> Result<Replay, AdviceError> {
        advice::backtest(&self.practice, cases, components, progress)
    }

    fn learned(&self) -> Arc<Learned> {
        let ledger = self.ledger();
        let revision = ledger.revision();
        let mut learned = self.learned.lock().unwrap_or_else(PoisonError::into_inner);
        match &*learned {
            Some((known, learned)) if *known == revision => Arc::clone(learned),
            _ => {
                let new = Arc::new(Learned::from(&self.practice, ledger.tables()));
                *learned = Some((revision, Arc::clone(&new)));
                new
            }
        }
    }

    fn ledger(&self) -> RwLockReadGuard<'_, Ledger> {
        self.ledger.read().unwrap_or_else(PoisonError::into_inner)
    }
}
