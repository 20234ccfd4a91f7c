//! Judges rows against the store and the rows before them, some hundred at a time.
//!
//! Rows of tools that are known are judged side by side; a row whose tool is not known yet
//! waits for those before it, which may bring the tool. What comes out is the same as one
//! row after another.

use std::{collections::HashSet, io::BufRead, num::NonZero, thread};

use jiff::Timestamp;

use super::{IntakeError, Tools, lines::Lines, row};
use crate::{
    casebook::Refusal,
    catalogue::Catalogue,
    store::{Filing, Row, Store, StoreError},
};

/// Rows judged together.
const TOGETHER: usize = 512;

/// Bytes after which no more are taken together.
const TOGETHER_BYTES: u64 = 8 << 20;

/// A row that keeps the rules.
pub(super) enum Judged {
    /// As the store will hold it.
    Row(Box<Row>),
    /// With a history, calculations or a new tool: to be read again when it is written.
    Again {
        /// Its line.
        line: u64,
        /// Its text.
        text: String,
        /// The number it carries.
        number: Option<i64>,
    },
}

impl Judged {
    fn number(&self) -> Option<i64> {
        match self {
            Self::Row(row) => row.number,
            Self::Again { number, .. } => *number,
        }
    }
}

/// The line of a row, and what it came to.
pub(super) type Verdict = (u64, Result<Judged, Vec<Refusal>>);

/// Judges a file.
pub(super) struct Judge<'a> {
    store: &'a Store,
    catalogue: &'a Catalogue,
    now: Timestamp,
    tools: Tools,
    /// The highest number the store had given when this began.
    highest: i64,
    /// Numbers that rows of this file carry.
    numbers: HashSet<i64>,
    threads: usize,
}

type Line = (u64, Result<String, Refusal>);

/// A line with its text where that is still needed, and what it came to where that can be told.
type Looked = ((u64, String), Option<Result<Judged, Vec<Refusal>>>);

impl<'a> Judge<'a> {
    pub(super) async fn new(
        store: &'a Store,
        catalogue: &'a Catalogue,
        now: Timestamp,
        tools: Tools,
    ) -> Result<Self, StoreError> {
        Ok(Self {
            store,
            catalogue,
            now,
            tools,
            highest: store.highest_number().await?,
            numbers: HashSet::new(),
            threads: thread::available_parallelism().map_or(1, NonZero::get),
        })
    }

    /// Reads and judges the next rows; none at the end of the file. Empty lines are no rows.
    pub(super) async fn next(
        &mut self,
        lines: &mut Lines<impl BufRead>,
        progress: &mut impl FnMut(u64),
    ) -> Result<Option<Vec<Verdict>>, IntakeError> {
        let mut together: Vec<Line> = Vec::with_capacity(TOGETHER);
        let mut taken = 0;
        let mut ended = true;
        while let Some(line) = lines.next_line() {
            let (number, bytes, text) = line?;
            progress(bytes);
            taken += bytes;
            if !text.as_ref().is_ok_and(|text| text.trim().is_empty()) {
                together.push((number, text));
            }
            if together.len() == TOGETHER || taken >= TOGETHER_BYTES {
                ended = false;
                break;
            }
        }
        if together.is_empty() && ended {
            return Ok(None);
        }
        let mut verdicts = Vec::with_capacity(together.len());
        for ((line, text), judged) in self.side_by_side(together) {
            let judged = match judged {
                Some(judged) => judged,
                None => self.alone(line, text)?,
            };
            verdicts.push((line, self.numbered(judged).await?));
        }
        Ok(Some(verdicts))
    }

    /// Judges what can be judged without the rows before it; the others come back with their text.
    fn side_by_side(&self, lines: Vec<Line>) -> Vec<Looked> {
        let share = lines.len().div_ceil(self.threads).max(1);
        let mut shares: Vec<Vec<Line>> = Vec::new();
        let mut lines = lines.into_iter();
        loop {
            let part: Vec<Line> = lines.by_ref().take(share).collect();
            if part.is_empty() {
                break;
            }
            shares.push(part);
        }
        let judge = |part: Vec<Line>| -> Vec<_> {
            part.into_iter()
                .map(|(line, text)| match text {
                    Ok(text) => self.of_known_tool(line, text),
                    Err(refusal) => ((line, String::new()), Some(Err(vec![refusal]))),
                })
                .collect()
        };
        thread::scope(|scope| {
            let own = shares.pop();
            let others: Vec<_> = shares
                .into_iter()
                .map(|part| scope.spawn(|| judge(part)))
                .collect();
            let own = own.map(judge);
            let mut judged = Vec::new();
            for other in others {
                match other.join() {
                    Ok(part) => judged.extend(part),
                    Err(panic) => std::panic::resume_unwind(panic),
                }
            }
            judged.extend(own.into_iter().flatten());
            judged
        })
    }

    fn of_known_tool(&self, line: u64, text: String) -> Looked {
        match row::read(&text, self.catalogue, &self.tools, self.now) {
            Ok(filing) if filing.new_tool.is_some() => ((line, text), None),
            Ok(filing) => match kept(line, text, &filing) {
                Ok(judged) => ((line, String::new()), Some(Ok(judged))),
                Err((text, _)) => ((line, text), None),
            },
            // A row before it may bring the tool that this one lacks.
            Err(_) if !row::names_known_tool(&text, &self.tools) => ((line, text), None),
            Err(refusals) => ((line, String::new()), Some(Err(refusals))),
        }
    }

    /// Judges a row after those before it.
    fn alone(
        &mut self,
        line: u64,
        text: String,
    ) -> Result<Result<Judged, Vec<Refusal>>, IntakeError> {
        let filing = match row::read(&text, self.catalogue, &self.tools, self.now) {
            Ok(filing) => filing,
            Err(refusals) => return Ok(Err(refusals)),
        };
        if let Some((_, tool)) = &filing.new_tool {
            self.tools.insert(tool.id.clone(), tool.clone().into());
        }
        kept(line, text, &filing)
            .map(Ok)
            .map_err(|(_, error)| error.into())
    }

    /// Refuses a number that is taken.
    async fn numbered(
        &mut self,
        judged: Result<Judged, Vec<Refusal>>,
    ) -> Result<Result<Judged, Vec<Refusal>>, StoreError> {
        let Some(number) = judged.as_ref().ok().and_then(Judged::number) else {
            return Ok(judged);
        };
        let stored = number <= self.highest && self.store.has_incident(number).await?;
        if stored || !self.numbers.insert(number) {
            return Ok(Err(vec![Refusal::new(
                "number",
                format!("{number} is taken, in the store or by a row before"),
                "a number that is free, or none to file it as a new one",
            )]));
        }
        Ok(judged)
    }
}

/// A good row as it is set aside.
fn kept(line: u64, text: String, filing: &Filing) -> Result<Judged, (String, StoreError)> {
    let plain =
        filing.new_tool.is_none() && filing.earlier.is_empty() && filing.calculations.is_empty();
    if !plain {
        let number = filing.number;
        return Ok(Judged::Again { line, text, number });
    }
    match Row::of(filing) {
        Ok(row) => Ok(Judged::Row(Box::new(row))),
        Err(error) => Err((text, error)),
    }
}
