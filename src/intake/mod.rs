//! Taking many incidents at once: JSON Lines in, a report of accepted and refused rows out.
//!
//! Some hundred rows are in memory at a time, judged by as many threads as there are
//! processors. All rows are judged first, the good ones set aside in a temporary file as the
//! store will hold them; only then are they written, in one transaction, so that a file is
//! taken whole or (unless told to keep the good rows) not at all, and a slow file keeps
//! nobody from filing. An index that is up to date takes the rows while the store does.

mod judge;
mod lines;
mod row;
mod spool;

use std::{collections::HashMap, fmt, io::BufRead, sync::Arc};

use jiff::Timestamp;

use crate::{
    casebook::{Asker, Refusal, Tool, ToolId},
    catalogue::Catalogue,
    follow::{Alongside, Follower, Stored},
    store::{Row, Store, StoreError},
};
use judge::Judge;
use lines::Lines;
use spool::{Spool, Spooled};

/// What to do with a file.
#[derive(Clone, Copy, Debug, Default)]
pub struct Wish {
    /// Look, and store nothing.
    pub dry_run: bool,
    /// Store the good rows even if others are refused.
    pub keep_good: bool,
}

/// A row that was not taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RefusedRow {
    /// Its line, from 1.
    pub line: u64,
    /// Why; never empty.
    pub refusals: Vec<Refusal>,
}

impl fmt::Display for RefusedRow {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, refusal) in self.refusals.iter().enumerate() {
            if index > 0 {
                f.write_str("\n")?;
            }
            write!(f, "line {}: {refusal}", self.line)?;
        }
        Ok(())
    }
}

/// What became of a file.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Report {
    /// Rows that keep the rules.
    pub accepted: u64,
    /// Rows that do not.
    pub refused: u64,
    /// Whether the accepted rows are in the store now.
    pub stored: bool,
}

/// What can go wrong beside rows that are refused.
#[derive(Debug, thiserror::Error)]
pub enum IntakeError {
    /// The file cannot be read on.
    #[error("cannot read on after line {line}: {cause}")]
    Unreadable {
        /// The last line read.
        line: u64,
        /// What the system said.
        cause: std::io::Error,
    },
    /// Rows could not be set aside in a temporary file.
    #[error("cannot set the good rows aside in a temporary file: {0}")]
    SetAside(#[from] std::io::Error),
    /// The store changed between judging and writing.
    #[error("the store changed while the file was judged; nothing was stored: {problem}")]
    Changed {
        /// The row that no longer fits.
        problem: String,
    },
    /// The store failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Takes the incidents of `reader`, one JSON object a line.
///
/// `refused` hears of each row that is not taken, `progress` of each line that was read
/// and how many bytes it had.
///
/// # Errors
/// A reader or a store that fails; nothing is stored then.
pub async fn take(
    store: &Store,
    catalogue: &Catalogue,
    reader: impl BufRead + Send,
    wish: Wish,
    now: Timestamp,
    refused: impl FnMut(&RefusedRow) + Send,
    progress: impl FnMut(u64) + Send,
) -> Result<Report, IntakeError> {
    let intake = Intake {
        store,
        catalogue,
        wish,
        now,
        index: None,
    };
    intake.take(reader, refused, progress).await
}

/// A file to be taken, and where it goes.
#[derive(Debug)]
pub struct Intake<'a> {
    /// The store.
    pub store: &'a Store,
    /// What rows may speak of.
    pub catalogue: &'a Catalogue,
    /// What to do.
    pub wish: Wish,
    /// The present.
    pub now: Timestamp,
    /// What keeps the index, to take the rows with the store.
    pub index: Option<&'a mut Follower>,
}

impl Intake<'_> {
    /// Takes the incidents of `reader` as [`take`] does.
    ///
    /// # Errors
    /// A reader or a store that fails; nothing is stored then.
    pub async fn take(
        self,
        reader: impl BufRead + Send,
        mut refused: impl FnMut(&RefusedRow) + Send,
        mut progress: impl FnMut(u64) + Send,
    ) -> Result<Report, IntakeError> {
        let tools = known_tools(self.store).await?;
        let mut judge = Judge::new(self.store, self.catalogue, self.now, tools).await?;
        let mut report = Report::default();
        let mut spool = Spool::new()?;
        let mut lines = Lines::new(reader);
        while let Some(rows) = judge.next(&mut lines, &mut progress).await? {
            for (line, judged) in rows {
                match judged {
                    Ok(judged) => {
                        report.accepted += 1;
                        spool.put(&judged)?;
                    }
                    Err(refusals) => {
                        report.refused += 1;
                        refused(&RefusedRow { line, refusals });
                    }
                }
            }
        }
        let wish = self.wish;
        if wish.dry_run || report.accepted == 0 || (report.refused > 0 && !wish.keep_good) {
            return Ok(report);
        }
        self.write(spool).await?;
        report.stored = true;
        Ok(report)
    }

    /// Writes rows that were judged, in one transaction.
    async fn write(mut self, spool: Spool) -> Result<(), IntakeError> {
        let bulk = self.store.begin_filing().await?;
        let mut alongside = self
            .index
            .as_ref()
            .and_then(|follower| follower.alongside(bulk.after()));
        let written = self.fill(bulk, spool, alongside.as_mut()).await;
        if let (Some(follower), Some(alongside)) = (&mut self.index, alongside) {
            let reached = written.as_ref().ok().copied();
            if let Err(error) = follower.settle(alongside, reached).await {
                // The rows are stored; the index takes them from the change log.
                tracing::warn!(%error, "the search index did not take the rows alongside");
            }
        }
        written.map(|_| ())
    }

    async fn fill(
        &self,
        mut bulk: crate::store::BulkFiling,
        spool: Spool,
        mut alongside: Option<&mut Alongside>,
    ) -> Result<i64, IntakeError> {
        let mut tools = known_tools(self.store).await?;
        for spooled in spool.read()? {
            let (record, of, revision, number) = match spooled? {
                Spooled::Row(row) => {
                    let record = alongside.as_ref().map(|_| row.record.clone());
                    let tool = tools.get(row.tool()).cloned();
                    (record, tool, 1, bulk.add_row(*row).await?)
                }
                Spooled::Again(line, text) => {
                    let filing = row::read(&text, self.catalogue, &tools, self.now);
                    let filing = filing.map_err(|refusals| changed(line, refusals))?;
                    if let Some((_, tool)) = &filing.new_tool {
                        tools.insert(tool.id.clone(), Arc::new(tool.clone()));
                    }
                    let record = match &alongside {
                        Some(_) => Some(Row::of(&filing)?.record),
                        None => None,
                    };
                    let tool = tools.get(&filing.incident.tool).cloned();
                    let revision = filing.earlier.len() as i64 + 1;
                    (record, tool, revision, bulk.add(filing).await?)
                }
            };
            if let (Some(alongside), Some(record)) = (&mut alongside, record) {
                alongside.take(Stored {
                    number,
                    revision,
                    record,
                    tool: of,
                });
            }
        }
        Ok(bulk.commit().await?)
    }
}

fn changed(line: u64, refusals: Vec<Refusal>) -> IntakeError {
    IntakeError::Changed {
        problem: RefusedRow { line, refusals }.to_string(),
    }
}

type Tools = HashMap<ToolId, Arc<Tool>>;

async fn known_tools(store: &Store) -> Result<Tools, StoreError> {
    let tools = store.tools(&Asker::console()).await?;
    Ok(tools
        .into_iter()
        .map(|tool| (tool.id.clone(), Arc::new(tool)))
        .collect())
}
