//! Taking many incidents at once: JSON Lines in, a report of accepted and refused rows out.
//!
//! One row is in memory at a time; everything happens in one transaction of the store,
//! so a file is taken whole or, unless told to keep the good rows, not at all.

mod lines;
mod row;

use std::{collections::HashMap, fmt, io::BufRead};

use jiff::Timestamp;

use crate::{
    casebook::{Asker, Refusal, Tool, ToolId},
    catalogue::Catalogue,
    store::{Store, StoreError},
};

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
    let known = store.tools(&Asker::console()).await?;
    let mut tools: HashMap<ToolId, Tool> = known
        .into_iter()
        .map(|tool| (tool.id.clone(), tool))
        .collect();
    let mut filing = store.begin_filing().await?;
    let mut report = Report::default();
    let mut lines = lines::Lines::new(reader);
    while let Some(line) = lines.next_line() {
        let (number, bytes, text) = line?;
        progress(bytes);
        let read = match text {
            Ok(text) if text.trim().is_empty() => continue,
            Ok(text) => row::read(&text, catalogue, &tools, now),
            Err(refusal) => Err(vec![refusal]),
        };
        let outcome = match read {
            // Once a row is refused nothing will be stored, so the rest is only looked at.
            Ok(row) if report.refused > 0 && !wish.keep_good => Ok(row),
            Ok(row) => match filing.add(&row).await {
                Ok(_) => Ok(row),
                Err(StoreError::NumberTaken(taken)) => Err(vec![Refusal::new(
                    "number",
                    format!("{taken} is in the store already"),
                    "a number that is free, or none to file it as a new one",
                )]),
                Err(error) => return Err(error.into()),
            },
            Err(refusals) => Err(refusals),
        };
        match outcome {
            Ok(row) => {
                report.accepted += 1;
                if let Some((_, tool)) = row.new_tool {
                    tools.insert(tool.id.clone(), tool);
                }
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
    let keep = !wish.dry_run && report.accepted > 0 && (report.refused == 0 || wish.keep_good);
    if keep {
        filing.commit().await?;
        report.stored = true;
    } else {
        filing.abandon().await?;
    }
    Ok(report)
}
