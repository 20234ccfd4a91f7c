//! What the fleet's closed incidents teach, kept in memory as changes arrive.
//!
//! Pages and the API ask here for cause statistics and for the next check, and never
//! scan the store. [`crate::follow`] brings each change; a corrected or reopened
//! incident replaces what was known of it. Pure apart from the lock.

mod advice;
mod belief;
mod interval;
mod statistics;

use std::{
    collections::{BTreeMap, HashMap},
    sync::{PoisonError, RwLock},
};

use crate::{
    casebook::{Finding, SiteCode, Status},
    catalogue::{AntecedentId, Catalogue, ClassId, SignId},
    follow::Changed,
};

pub use advice::{Advice, AdvisedCheck, Question};
pub use belief::Believed;
pub use interval::{Interval, wilson};
pub use statistics::{CauseShare, CauseTable, Scope};

/// What is remembered of a closed incident.
#[derive(Clone, Debug)]
struct Case {
    class: ClassId,
    site: SiteCode,
    cause: Finding,
    /// When the loss was noticed, microseconds since 1970.
    occurred_at: i64,
    labour_minutes: f64,
    down_hours: f64,
    signs: BTreeMap<SignId, bool>,
    antecedents: BTreeMap<AntecedentId, bool>,
}

/// The memory.
#[derive(Debug, Default)]
pub struct Knowledge {
    cases: RwLock<HashMap<i64, Case>>,
}

impl Knowledge {
    /// Takes the present state of incidents that changed.
    pub fn take(&self, changed: &[Changed], _: &Catalogue) {
        let mut cases = self.cases.write().unwrap_or_else(PoisonError::into_inner);
        for change in changed {
            let incident = &change.revision.incident;
            match (&incident.cause, incident.status) {
                (Some(cause), Status::Closed) => {
                    cases.insert(
                        change.number,
                        Case {
                            class: change.tool.class.clone(),
                            site: change.tool.site.clone(),
                            cause: cause.clone(),
                            occurred_at: incident.occurred_at.as_microsecond(),
                            labour_minutes: incident.labour_minutes.unwrap_or_default(),
                            down_hours: incident.down_hours.unwrap_or_default(),
                            signs: incident.signs.clone(),
                            antecedents: incident.antecedents.clone(),
                        },
                    );
                }
                _ => {
                    cases.remove(&change.number);
                }
            }
        }
    }

    fn cases(&self) -> std::sync::RwLockReadGuard<'_, HashMap<i64, Case>> {
        self.cases.read().unwrap_or_else(PoisonError::into_inner)
    }
}
