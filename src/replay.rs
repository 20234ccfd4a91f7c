//! The store's closed incidents as cases, to be replayed in time order.
//!
//! The command line and the page replay the same cases; the replay itself is
//! [`crate::advice::backtest()`].

use std::collections::HashMap;

use crate::{
    advice::Past,
    casebook::{Asker, Status, Tool, ToolId},
    catalogue::Catalogue,
    knowledge::case_of,
    store::{Listing, Store, StoreError},
};

/// Incidents read from the store at a time.
const BATCH: i64 = 1_000;

/// Closed cases with the tools they happened on.
#[derive(Debug, Default)]
pub struct History {
    /// The cases, by number.
    pub cases: Vec<Past>,
    /// How many closed incidents were left out, all older.
    pub older: usize,
    tools: HashMap<ToolId, Tool>,
}

impl History {
    /// The newest closed incidents the asker may see, at most so many.
    ///
    /// # Errors
    /// The database failing or holding something unreadable.
    pub async fn read(
        store: &Store,
        catalogue: &Catalogue,
        asker: &Asker,
        most: usize,
    ) -> Result<Self, StoreError> {
        let tools = store.tools(asker).await?;
        let tools: HashMap<_, _> = tools
            .into_iter()
            .map(|tool| (tool.id.clone(), tool))
            .collect();
        let mut cases: Vec<Past> = Vec::new();
        let mut read = 0;
        let all = loop {
            let left = most.saturating_sub(read);
            let listing = Listing {
                status: Some(Status::Closed),
                skip: i64::try_from(read).unwrap_or(i64::MAX),
                limit: i64::try_from(left).unwrap_or(BATCH).min(BATCH),
                ..Listing::default()
            };
            let (batch, all) = store.list(asker, &listing).await?;
            read += batch.len();
            cases.extend(batch.iter().filter_map(|filed| {
                let incident = &filed.incident;
                let tool = tools.get(&incident.tool)?;
                Some(Past {
                    case: case_of(filed.number, incident, tool, catalogue)?,
                    began: incident.occurred_at.as_microsecond(),
                    closed: incident.closed_at?.as_microsecond(),
                })
            }));
            if batch.is_empty() || read >= most {
                break all;
            }
        };
        // A report filed meanwhile moves others into the next batch, where they come again.
        cases.sort_by_key(|past| past.case.number);
        cases.dedup_by_key(|past| past.case.number);
        Ok(Self {
            cases,
            older: usize::try_from(all)
                .unwrap_or_default()
                .saturating_sub(read),
            tools,
        })
    }

    /// The components of a tool, if the asker may see it.
    pub fn components(&self, tool: &str) -> Option<Vec<String>> {
        let tool = self.tools.get(tool)?;
        Some(tool.components.iter().map(ToString::to_string).collect())
    }
}
