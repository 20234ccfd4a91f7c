//! Judges rows against the store and the rows before them, some hundred at a time.
//!
//! Rows of tools that are known are judged by threads beside the one that reads and writes, as far
//! ahead as memory is allowed; a row whose tool is not known yet waits for those before it, which
//! may bring the tool. What comes out, and in which order, is the same as one row after another.

use std::{
    collections::{HashSet, VecDeque},
    io::BufRead,
    num::NonZero,
    sync::{
        Arc, Mutex, PoisonError, RwLock,
        atomic::{AtomicI64, Ordering},
        mpsc::{Receiver, Sender, channel},
    },
    thread::{self, JoinHandle},
};

use jiff::Timestamp;
use tokio::sync::oneshot;

use super::{IntakeError, Tools, lines::Lines, row};
use crate::{
    casebook::{Refusal, Tool, rules},
    catalogue::Catalogue,
    search::{Entry, Prepared, SearchIndex},
    store::{Filing, Row, Store, StoreError},
};

/// Rows judged together.
const TOGETHER: usize = 256;

/// Bytes after which no more are taken together.
const TOGETHER_BYTES: u64 = 2 << 20;

/// Rows judged ahead: so many times those judged together, for each thread.
const AHEAD: usize = 3;

/// Bytes after which no more rows are read ahead.
const AHEAD_BYTES: u64 = 16 << 20;

/// A row that keeps the rules.
pub(super) enum Judged {
    /// As the store will hold it, and as the index will where one takes it alongside.
    Row(Box<Row>, Option<Box<Prepared>>),
    /// With a history, calculations or a new tool.
    Whole(Box<Whole>),
}

/// A row with more than one state, or more than a report.
pub(super) struct Whole {
    /// Its line.
    pub(super) line: u64,
    /// Its text.
    pub(super) text: String,
    /// What it came to.
    pub(super) filing: Filing,
}

impl Judged {
    fn number(&self) -> Option<i64> {
        match self {
            Self::Row(row, _) => row.number,
            Self::Whole(whole) => whole.filing.number,
        }
    }

    /// What its sender should know of it, if anything.
    pub(super) fn note(&self, tools: &Tools) -> Option<Refusal> {
        let (tool, occurred_at) = match self {
            Self::Row(row, _) => (row.tool(), row.occurred_at()),
            Self::Whole(whole) => {
                let incident = &whole.filing.incident;
                (incident.tool.as_str(), incident.occurred_at)
            }
        };
        rules::not_counted(tools.get(tool)?, occurred_at)
    }
}

/// Processors that judging leaves to others.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Spare {
    /// None: nobody is kept waiting.
    None,
    /// One, for the searches of a process that may serve the store.
    One,
}

/// The line of a row, and what it came to.
pub(super) type Verdict = (u64, Result<Judged, Vec<Refusal>>);

/// Judges a file.
pub(super) struct Judge<'a> {
    store: &'a Store,
    bench: Arc<Bench>,
    /// The highest number the store had given when this began.
    highest: i64,
    /// Numbers that rows of this file carry.
    numbers: HashSet<i64>,
    workers: Workers,
    /// Rows on their way, in order, each lot with its bytes.
    ahead: VecDeque<(u64, oneshot::Receiver<Vec<Looked>>)>,
    ended: bool,
}

/// What rows are judged by.
struct Bench {
    catalogue: Arc<Catalogue>,
    now: Timestamp,
    tools: RwLock<Arc<Tools>>,
    /// The index that takes the rows alongside.
    index: Option<Arc<SearchIndex>>,
    /// How much higher a number is than its row's place among all rows, as far as is known.
    numbers_ahead: AtomicI64,
}

type Line = (u64, Result<String, Refusal>);

/// A line with its text or the room it took, and what it came to where that can be told.
type Looked = ((u64, String), Option<Result<Judged, Vec<Refusal>>>);

/// Lines to judge, with the place of the first among all rows, and where to tell of them.
type Lot = (i64, Vec<Line>, oneshot::Sender<Vec<Looked>>);

impl<'a> Judge<'a> {
    /// For an index that takes the rows alongside, numbers are taken to follow on those of the
    /// store.
    pub(super) async fn new(
        store: &'a Store,
        catalogue: Arc<Catalogue>,
        now: Timestamp,
        tools: Tools,
        index: Option<Arc<SearchIndex>>,
        spare: Spare,
    ) -> Result<Self, StoreError> {
        let highest = store.highest_number().await?;
        let bench = Arc::new(Bench {
            catalogue,
            now,
            tools: RwLock::new(Arc::new(tools)),
            index,
            numbers_ahead: AtomicI64::new(highest + 1),
        });
        Ok(Self {
            store,
            highest,
            numbers: HashSet::new(),
            workers: Workers::begin(&bench, spare),
            bench,
            ahead: VecDeque::new(),
            ended: false,
        })
    }

    /// Reads and judges the next rows; none at the end of the file. Empty lines are no rows.
    pub(super) async fn next(
        &mut self,
        lines: &mut Lines<impl BufRead>,
        progress: &mut impl FnMut(u64),
    ) -> Result<Option<Vec<Verdict>>, IntakeError> {
        let waiting =
            |ahead: &VecDeque<(u64, _)>| ahead.iter().map(|(bytes, _)| bytes).sum::<u64>();
        while !self.ended
            && self.ahead.len() < AHEAD * self.workers.threads.len()
            && (self.ahead.is_empty() || waiting(&self.ahead) < AHEAD_BYTES)
        {
            self.read_on(lines, progress)?;
        }
        let Some((_, judged)) = self.ahead.pop_front() else {
            return Ok(None);
        };
        let Ok(judged) = judged.await else {
            // Only a thread that came to grief tells nothing.
            self.workers.end();
            return Err(IntakeError::Interrupted);
        };
        let mut verdicts = Vec::with_capacity(judged.len());
        for ((line, text), judged) in judged {
            let judged = match judged {
                Some(judged) => {
                    lines.take_back(text);
                    judged
                }
                None => self.alone(line, text)?,
            };
            verdicts.push((line, self.numbered(judged).await?));
        }
        Ok(Some(verdicts))
    }

    /// Says which number a row was given, and how many rows are before it in the file, so that
    /// those to come are prepared under theirs.
    pub(super) fn given(&self, number: i64, place: u64) {
        let ahead = number.saturating_sub_unsigned(place);
        self.bench.numbers_ahead.store(ahead, Ordering::Relaxed);
    }

    /// The tools as far as the rows so far know them.
    pub(super) fn tools(&self) -> Arc<Tools> {
        self.bench.tools()
    }

    /// A tool as far as the rows so far know it.
    pub(super) fn tool(&self, id: &str) -> Option<Arc<Tool>> {
        self.bench.tools().get(id).cloned()
    }

    /// Reads some rows and hands them to the threads.
    fn read_on(
        &mut self,
        lines: &mut Lines<impl BufRead>,
        progress: &mut impl FnMut(u64),
    ) -> Result<(), IntakeError> {
        let mut together: Vec<Line> = Vec::with_capacity(TOGETHER);
        let mut taken = 0;
        let first = self.workers.handed;
        self.ended = true;
        while let Some(line) = lines.next_line() {
            let (number, bytes, text) = line?;
            progress(bytes);
            taken += bytes;
            if !text.as_ref().is_ok_and(|text| text.trim().is_empty()) {
                together.push((number, text));
            }
            if together.len() == TOGETHER || taken >= TOGETHER_BYTES {
                self.ended = false;
                break;
            }
        }
        if !together.is_empty() || !self.ended {
            self.workers.handed += together.len() as i64;
            let (told, judged) = oneshot::channel();
            self.workers.hand((first, together, told));
            self.ahead.push_back((taken, judged));
        }
        Ok(())
    }

    /// Judges a row after those before it.
    fn alone(
        &mut self,
        line: u64,
        text: String,
    ) -> Result<Result<Judged, Vec<Refusal>>, IntakeError> {
        let tools = self.bench.tools();
        let Bench { catalogue, now, .. } = &*self.bench;
        let filing = match row::read(&text, catalogue, &tools, *now) {
            Ok(filing) => filing,
            Err(refusals) => return Ok(Err(refusals)),
        };
        if let Some((_, tool)) = &filing.new_tool {
            let mut more = Tools::clone(&tools);
            more.insert(tool.id.clone(), tool.clone().into());
            let mut kept = self
                .bench
                .tools
                .write()
                .unwrap_or_else(PoisonError::into_inner);
            *kept = Arc::new(more);
        }
        Ok(Ok(self.bench.kept(line, text, filing, None)?))
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

impl Bench {
    fn tools(&self) -> Arc<Tools> {
        Arc::clone(&self.tools.read().unwrap_or_else(PoisonError::into_inner))
    }

    /// Judges what can be judged without the rows before it; the others come back with their text.
    fn judge(&self, first: i64, lines: Vec<Line>) -> Vec<Looked> {
        let tools = self.tools();
        let places = first..;
        let judged = lines.into_iter().zip(places).map(|((line, text), place)| {
            let text = match text {
                Ok(text) => text,
                Err(refusal) => return ((line, String::new()), Some(Err(vec![refusal]))),
            };
            match row::read(&text, &self.catalogue, &tools, self.now) {
                Ok(filing) if filing.new_tool.is_some() => ((line, text), None),
                Ok(filing) => {
                    // What cannot be kept is judged again, where a failure can be told.
                    match self.kept(line, String::new(), filing, Some((place, &tools))) {
                        Ok(Judged::Whole(whole)) => {
                            let whole = Box::new(Whole { text, ..*whole });
                            ((line, String::new()), Some(Ok(Judged::Whole(whole))))
                        }
                        Ok(judged) => ((line, text), Some(Ok(judged))),
                        Err(_) => ((line, text), None),
                    }
                }
                // A row before it may bring the tool that this one lacks.
                Err(_) if !row::names_known_tool(&text, &tools) => ((line, text), None),
                Err(refusals) => ((line, text), Some(Err(refusals))),
            }
        });
        judged.collect()
    }

    /// A good row as it is set aside; with its place among all rows and its tool among the known
    /// ones, also as the index will hold it.
    fn kept(
        &self,
        line: u64,
        text: String,
        filing: Filing,
        place: Option<(i64, &Tools)>,
    ) -> Result<Judged, StoreError> {
        let plain = filing.new_tool.is_none()
            && filing.earlier.is_empty()
            && filing.calculations.is_empty();
        if !plain {
            return Ok(Judged::Whole(Box::new(Whole { line, text, filing })));
        }
        let row = Row::of(&filing)?;
        let prepared = place.and_then(|(place, tools)| self.prepared(place, filing, tools));
        Ok(Judged::Row(Box::new(row), prepared))
    }

    fn prepared(&self, place: i64, filing: Filing, tools: &Tools) -> Option<Box<Prepared>> {
        let index = self.index.as_ref()?;
        let tool = tools.get(&filing.incident.tool)?;
        let number = place + self.numbers_ahead.load(Ordering::Relaxed);
        let number = filing.number.unwrap_or(number);
        let entry = Entry::of(number, 1, filing.incident, tool, &self.catalogue);
        Some(Box::new(index.prepare(&entry)))
    }
}

/// The threads that judge.
struct Workers {
    lots: Option<Sender<Lot>>,
    threads: Vec<JoinHandle<()>>,
    /// Rows handed over so far.
    handed: i64,
}

impl Workers {
    fn begin(bench: &Arc<Bench>, spare: Spare) -> Self {
        let (lots, handed) = channel::<Lot>();
        let handed = Arc::new(Mutex::new(handed));
        let processors = thread::available_parallelism().map_or(1, NonZero::get);
        let count = match spare {
            Spare::None => processors,
            Spare::One => processors.saturating_sub(1).max(1),
        };
        let threads = (0..count).map(|_| {
            let (bench, handed) = (Arc::clone(bench), Arc::clone(&handed));
            thread::spawn(move || work(&bench, &handed))
        });
        Self {
            lots: Some(lots),
            threads: threads.collect(),
            handed: 0,
        }
    }

    fn hand(&self, lot: Lot) {
        // Nobody listens only where every thread came to grief, which its lot tells.
        let _ = self.lots.as_ref().map(|lots| lots.send(lot));
    }

    /// Ends the threads; one that came to grief brings its grief here.
    fn end(&mut self) {
        self.lots = None;
        for thread in self.threads.drain(..) {
            if let Err(panic) = thread.join() {
                std::panic::resume_unwind(panic);
            }
        }
    }
}

impl Drop for Workers {
    fn drop(&mut self) {
        self.lots = None;
        for thread in self.threads.drain(..) {
            // They end with the last lot; what went wrong was told by a lot without an answer.
            let _ = thread.join();
        }
    }
}

fn work(bench: &Bench, handed: &Mutex<Receiver<Lot>>) {
    loop {
        let next = handed.lock().unwrap_or_else(PoisonError::into_inner).recv();
        let Ok((first, lines, told)) = next else {
            return;
        };
        // Nobody listens once the file is given up.
        let _ = told.send(bench.judge(first, lines));
    }
}
