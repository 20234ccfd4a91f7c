//! Taking many incidents at once: JSON Lines in, a report of accepted and refused rows out.
//!
//! Some hundred rows are in memory at a time, judged by as many threads as there are
//! processors. A file is taken whole or (unless told to keep the good rows) not at all, in one
//! transaction. Rows at hand go into it as they are judged, and an index that is up to date takes
//! them while the store does; nothing of either is kept once a row is refused. Rows that arrive
//! from elsewhere are all judged first, the good ones set aside in a temporary file as the store
//! will hold them, so that a slow sender keeps nobody from filing.

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
    store::{BulkFiling, Row, Store, StoreError},
};
use judge::{Judge, Judged, Spare, Whole};
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

/// A row that was taken, and what its sender should know of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotedRow {
    /// Its line, from 1.
    pub line: u64,
    /// What there is to know, and what would be taken without a word.
    pub note: Refusal,
}

impl fmt::Display for NotedRow {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Refusal {
            field,
            problem,
            accepted,
        } = &self.note;
        write!(
            f,
            "line {}, taken: {field}: {problem}; to have it counted: {accepted}",
            self.line
        )
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
    /// A thread that judged rows ended early.
    #[error("judging the rows did not finish; nothing was stored")]
    Interrupted,
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
        catalogue: Arc::new(catalogue.clone()),
        wish,
        now,
        at_hand: false,
        index: None,
    };
    intake.take(reader, refused, |_| {}, progress).await
}

/// A file to be taken, and where it goes.
#[derive(Debug)]
pub struct Intake<'a> {
    /// The store.
    pub store: &'a Store,
    /// What rows may speak of.
    pub catalogue: Arc<Catalogue>,
    /// What to do.
    pub wish: Wish,
    /// The present.
    pub now: Timestamp,
    /// Whether the rows are at hand, as those of a file on a disc are, so that reading them does
    /// not wait for anybody.
    pub at_hand: bool,
    /// What keeps the index, to take the rows with the store.
    pub index: Option<&'a mut Follower>,
}

/// Where good rows go.
enum Place {
    /// Nowhere: nothing is to be stored, or nothing any more.
    Nowhere,
    /// Aside, to be written once all are judged.
    Aside(Spool),
    /// Into the store and the index.
    Store(Box<BulkFiling>, Option<Alongside>),
}

impl Intake<'_> {
    /// Takes the incidents of `reader` as [`take`] does; `noted` hears of good rows of which there is
    /// something to say.
    ///
    /// # Errors
    /// A reader or a store that fails; nothing is stored then.
    pub async fn take(
        mut self,
        reader: impl BufRead + Send,
        mut refused: impl FnMut(&RefusedRow) + Send,
        mut noted: impl FnMut(&NotedRow) + Send,
        mut progress: impl FnMut(u64) + Send,
    ) -> Result<Report, IntakeError> {
        let mut place = match (self.wish.dry_run, self.at_hand) {
            (true, _) => Place::Nowhere,
            (false, true) => {
                let bulk = self.store.begin_filing().await?;
                let alongside = self.alongside(&bulk);
                Place::Store(Box::new(bulk), alongside)
            }
            (false, false) => Place::Aside(Spool::new()?),
        };
        let judged = self.judge(&mut place, reader, &mut refused, &mut noted, &mut progress);
        match (judged.await, place) {
            (Ok(report), Place::Aside(spool)) if report.accepted > 0 => {
                self.write(spool).await?;
                Ok(Report {
                    stored: true,
                    ..report
                })
            }
            (Ok(report), Place::Store(bulk, alongside)) if report.accepted > 0 => {
                self.finish(*bulk, alongside, Ok(())).await?;
                Ok(Report {
                    stored: true,
                    ..report
                })
            }
            (judged, Place::Store(bulk, alongside)) => {
                self.give_up(*bulk, alongside).await?;
                judged
            }
            (judged, _) => judged,
        }
    }

    async fn judge(
        &mut self,
        place: &mut Place,
        reader: impl BufRead + Send,
        refused: &mut (impl FnMut(&RefusedRow) + Send),
        noted: &mut (impl FnMut(&NotedRow) + Send),
        progress: &mut (impl FnMut(u64) + Send),
    ) -> Result<Report, IntakeError> {
        let tools = known_tools(self.store).await?;
        let index = match &*place {
            Place::Store(_, Some(alongside)) => Some(alongside.index()),
            _ => None,
        };
        let catalogue = Arc::clone(&self.catalogue);
        let spare = match &*place {
            // Only one process keeps the index, and this one does.
            Place::Store(_, Some(_)) | Place::Nowhere => Spare::None,
            Place::Store(_, None) | Place::Aside(_) => Spare::One,
        };
        let mut judge = Judge::new(self.store, catalogue, self.now, tools, index, spare).await?;
        let mut report = Report::default();
        let mut lines = Lines::new(reader);
        while let Some(rows) = judge.next(&mut lines, progress).await? {
            let tools = judge.tools();
            for (line, judged) in rows {
                match judged {
                    Ok(judged) => {
                        if let Some(note) = judged.note(&tools) {
                            noted(&NotedRow { line, note });
                        }
                        match place {
                            Place::Nowhere => {}
                            Place::Aside(spool) => spool.put(&judged)?,
                            Place::Store(bulk, alongside) => {
                                let before = report.accepted + report.refused;
                                put(bulk, alongside.as_mut(), &judge, before, judged).await?;
                            }
                        }
                        report.accepted += 1;
                    }
                    Err(refusals) => {
                        report.refused += 1;
                        refused(&RefusedRow { line, refusals });
                        if !self.wish.keep_good
                            && let Place::Store(bulk, alongside) =
                                std::mem::replace(place, Place::Nowhere)
                        {
                            self.give_up(*bulk, alongside).await?;
                        }
                    }
                }
            }
        }
        Ok(report)
    }

    /// Writes rows that were judged, in one transaction.
    async fn write(&mut self, spool: Spool) -> Result<(), IntakeError> {
        let mut bulk = self.store.begin_filing().await?;
        let mut alongside = self.alongside(&bulk);
        let filled = self.fill(&mut bulk, spool, alongside.as_mut()).await;
        self.finish(bulk, alongside, filled).await
    }

    /// Keeps what was put into store and index, or nothing of it.
    async fn finish(
        &mut self,
        bulk: BulkFiling,
        mut alongside: Option<Alongside>,
        filled: Result<(), IntakeError>,
    ) -> Result<(), IntakeError> {
        if let Err(error) = filled {
            self.give_up(bulk, alongside).await?;
            return Err(error);
        }
        if let Some(alongside) = &mut alongside {
            alongside.all_taken();
        }
        let written = bulk.commit().await;
        self.settle(alongside, written.as_ref().ok().copied()).await;
        written?;
        Ok(())
    }

    async fn give_up(
        &mut self,
        bulk: BulkFiling,
        alongside: Option<Alongside>,
    ) -> Result<(), IntakeError> {
        self.settle(alongside, None).await;
        Ok(bulk.give_up().await?)
    }

    fn alongside(&self, bulk: &BulkFiling) -> Option<Alongside> {
        self.index.as_ref()?.alongside(bulk.after())
    }

    async fn settle(&mut self, alongside: Option<Alongside>, reached: Option<i64>) {
        if let (Some(follower), Some(alongside)) = (&mut self.index, alongside)
            && let Err(error) = follower.settle(alongside, reached).await
        {
            // Rows that are stored the index takes from the change log.
            tracing::warn!(%error, "the search index did not take the rows alongside");
        }
    }

    async fn fill(
        &self,
        bulk: &mut BulkFiling,
        spool: Spool,
        mut alongside: Option<&mut Alongside>,
    ) -> Result<(), IntakeError> {
        let mut tools = known_tools(self.store).await?;
        for spooled in spool.read()? {
            let (stored, number) = match spooled? {
                Spooled::Row(row) => {
                    let tool = tools.get(row.tool()).cloned();
                    let stored = alongside.as_ref().map(|_| Stored::of(0, 1, &row, tool));
                    (stored, bulk.add_row(*row).await?)
                }
                Spooled::Again(line, text) => {
                    let filing = row::read(&text, &self.catalogue, &tools, self.now);
                    let filing = filing.map_err(|refusals| changed(line, refusals))?;
                    if let Some((_, tool)) = &filing.new_tool {
                        tools.insert(tool.id.clone(), Arc::new(tool.clone()));
                    }
                    let tool = tools.get(&filing.incident.tool).cloned();
                    let revision = filing.earlier.len() as i64 + 1;
                    let stored = match &alongside {
                        Some(_) => Some(Stored::of(0, revision, &Row::of(&filing)?, tool)),
                        None => None,
                    };
                    (stored, bulk.add(filing).await?)
                }
            };
            if let (Some(alongside), Some(stored)) = (&mut alongside, stored) {
                alongside.take_stored(Stored { number, ..stored });
            }
        }
        Ok(())
    }
}

/// Puts a good row, with so many before it in the file, into the store and the index.
async fn put(
    bulk: &mut BulkFiling,
    alongside: Option<&mut Alongside>,
    judge: &Judge<'_>,
    before: u64,
    judged: Judged,
) -> Result<(), IntakeError> {
    match judged {
        Judged::Row(row, prepared) => {
            let number = row.number.unwrap_or(bulk.next_number());
            if let Some(alongside) = alongside {
                match prepared {
                    Some(prepared) if prepared.number() == number => alongside.take(*prepared),
                    _ => {
                        judge.given(number, before);
                        let tool = judge.tool(row.tool());
                        alongside.take_stored(Stored::of(number, 1, &row, tool));
                    }
                }
            }
            bulk.add_row(*row).await?;
        }
        Judged::Whole(whole) => {
            let Whole { filing, .. } = *whole;
            let number = filing.number.unwrap_or(bulk.next_number());
            if let Some(alongside) = alongside {
                let row = Row::of(&filing)?;
                let revision = filing.earlier.len() as i64 + 1;
                let tool = judge.tool(row.tool());
                alongside.take_stored(Stored::of(number, revision, &row, tool));
            }
            bulk.add(filing).await?;
        }
    }
    Ok(())
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
