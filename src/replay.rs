//! The store's closed incidents as cases, to be replayed in time order.
//!
//! The command line and the page replay the same cases; the replay itself is
//! [`crate::advice::backtest()`].

use std::{collections::HashMap, sync::Arc};

use crate::{
    casebook::{Asker, Tool, ToolId},
    catalogue::Catalogue,
    follow::Changed,
    knowledge::case_of,
    statistics::Case,
    store::{Store, StoreError},
};

/// Incidents read from the store at a time.
const BATCH: i64 = 1_000;

/// Closed cases with the tools they happened on.
#[derive(Debug, Default)]
pub struct History {
    /// The cases, oldest first.
    pub cases: Vec<Case>,
    tools: HashMap<ToolId, Arc<Tool>>,
}

impl History {
    /// The closed incidents the asker may see.
    ///
    /// # Errors
    /// The database failing or holding something unreadable.
    pub async fn read(
        store: &Store,
        catalogue: &Catalogue,
        asker: &Asker,
    ) -> Result<Self, StoreError> {
        // Tools of every site, so that an incident elsewhere is told apart from one on a
        // tool nobody knows.
        let tools: HashMap<ToolId, Arc<Tool>> = store
            .tools(&Asker::console())
            .await?
            .into_iter()
            .map(|tool| (tool.id.clone(), Arc::new(tool)))
            .collect();
        let mut cases = Vec::new();
        let mut after = 0;
        loop {
            let batch = store.filed_after(after, BATCH).await?;
            let Some(last) = batch.last() else { break };
            after = last.number;
            for filed in batch {
                let revision = filed.current().clone();
                let tool = tools.get(&revision.incident.tool).cloned();
                let Some(tool) = tool.filter(|tool| asker.sees(&tool.site)) else {
                    continue;
                };
                let change = Changed {
                    number: filed.number,
                    revision,
                    tool,
                };
                cases.extend(case_of(&change, catalogue));
            }
        }
        cases.sort_by_key(|case| (case.occurred_day, case.number));
        Ok(Self { cases, tools })
    }

    /// Leaves out the oldest cases beyond `most`; how many those were.
    pub fn keep_newest(&mut self, most: usize) -> usize {
        let older = self.cases.len().saturating_sub(most);
        self.cases.drain(..older);
        older
    }

    /// The components of a tool, if the store knows it.
    pub fn components(&self, tool: &str) -> Option<Vec<String>> {
        let tool = self.tools.get(tool)?;
        Some(tool.components.iter().map(ToString::to_string).collect())
    }
}
