//! Taking many incidents at once: JSON Lines in, a report of accepted and refused rows out.
//!
//! One row is in memory at a time. All rows are judged first, the good ones set aside in
//! a temporary file; only then are they written, in one transaction, so that a file is
//! taken whole or (unless told to keep the good rows) not at all, and a slow file keeps
//! nobody from filing.

mod lines;
mod row;

use std::{
    collections::{HashMap, HashSet},
    fmt,
    fs::File,
    io::{BufRead, BufReader, BufWriter, Seek, Write},
};

use jiff::Timestamp;

use crate::{
    casebook::{Asker, Refusal, Tool, ToolId},
    catalogue::Catalogue,
    store::{Store, StoreError},
};
use lines::Lines;

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
    SetAside(std::io::Error),
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
    mut refused: impl FnMut(&RefusedRow) + Send,
    mut progress: impl FnMut(u64) + Send,
) -> Result<Report, IntakeError> {
    let mut judge = Judge {
        store,
        catalogue,
        now,
        tools: known_tools(store).await?,
        numbers: HashSet::new(),
    };
    let mut report = Report::default();
    let mut good = BufWriter::new(tempfile::tempfile().map_err(set_aside)?);
    let mut lines = Lines::new(reader);
    while let Some(line) = lines.next_line() {
        let (number, bytes, text) = line?;
        progress(bytes);
        let judged = match text {
            Ok(text) if text.trim().is_empty() => continue,
            Ok(text) => judge.row(&text).await?.map(|_| text),
            Err(refusal) => Err(vec![refusal]),
        };
        match judged {
            Ok(text) => {
                report.accepted += 1;
                writeln!(good, "{}", text.trim_end()).map_err(set_aside)?;
            }
            Err(refusals) => {
                report.refused += 1;
                refused(&RefusedRow {
                    line: number,
                    refusals,
                });
            }
        }
    }
    if wish.dry_run || report.accepted == 0 || (report.refused > 0 && !wish.keep_good) {
        return Ok(report);
    }
    let mut good = good
        .into_inner()
        .map_err(|error| set_aside(error.into_error()))?;
    good.rewind().map_err(set_aside)?;
    write(store, catalogue, now, Lines::new(BufReader::new(good))).await?;
    report.stored = true;
    Ok(report)
}

/// Writes rows that were judged, in one transaction.
async fn write(
    store: &Store,
    catalogue: &Catalogue,
    now: Timestamp,
    mut lines: Lines<BufReader<File>>,
) -> Result<(), IntakeError> {
    let mut tools = known_tools(store).await?;
    let mut bulk = store.begin_filing().await?;
    while let Some(line) = lines.next_line() {
        let (number, _, text) = line?;
        let changed = |refusals: Vec<Refusal>| IntakeError::Changed {
            problem: format!(
                "{}",
                RefusedRow {
                    line: number,
                    refusals
                }
            ),
        };
        let text = text.map_err(|refusal| changed(vec![refusal]))?;
        let filing = row::read(&text, catalogue, &tools, now).map_err(changed)?;
        if let Some((_, tool)) = &filing.new_tool {
            tools.insert(tool.id.clone(), tool.clone());
        }
        bulk.add(filing).await?;
    }
    Ok(bulk.commit().await?)
}

async fn known_tools(store: &Store) -> Result<HashMap<ToolId, Tool>, StoreError> {
    let tools = store.tools(&Asker::console()).await?;
    Ok(tools
        .into_iter()
        .map(|tool| (tool.id.clone(), tool))
        .collect())
}

fn set_aside(cause: std::io::Error) -> IntakeError {
    IntakeError::SetAside(cause)
}

/// Judges rows against the store and the rows before them.
struct Judge<'a> {
    store: &'a Store,
    catalogue: &'a Catalogue,
    now: Timestamp,
    tools: HashMap<ToolId, Tool>,
    /// Numbers that rows of this file carry.
    numbers: HashSet<i64>,
}

impl Judge<'_> {
    async fn row(&mut self, text: &str) -> Result<Result<(), Vec<Refusal>>, IntakeError> {
        let filing = match row::read(text, self.catalogue, &self.tools, self.now) {
            Ok(filing) => filing,
            Err(refusals) => return Ok(Err(refusals)),
        };
        if let Some(number) = filing.number
            && (!self.numbers.insert(number) || self.store.has_incident(number).await?)
        {
            return Ok(Err(vec![Refusal::new(
                "number",
                format!("{number} is taken, in the store or by a row before"),
                "a number that is free, or none to file it as a new one",
            )]));
        }
        if let Some((_, tool)) = filing.new_tool {
            self.tools.insert(tool.id.clone(), tool);
        }
        Ok(Ok(()))
    }
}
