//! What the fleet's closed incidents teach, kept in memory as changes arrive.
//!
//! Pages and the API ask here for cause statistics and for the next check, and never
//! scan the store. [`crate::follow`] brings each change; a corrected or reopened
//! incident replaces what was known of it. The mathematics is [`crate::statistics`] and
//! [`crate::advice`]; this module only turns catalogue and incidents into their plain
//! numbers, and keeps what they have learnt until it changes.

mod case;
mod practice;

use std::{
    collections::{BTreeMap, HashMap},
    hash::Hash,
    sync::{Arc, Mutex, PoisonError, RwLock, RwLockReadGuard},
};

use crate::{
    advice::{self, Advice, AdviceError, Learned, Past, Replay, Request},
    casebook::{Incident, Status, Tool},
    catalogue::Catalogue,
    follow::Changed,
    statistics::{
        Breakdown, Case, Dimension, Filter, Group, Interval, Ledger, ToolService, Total,
        observation::{Lives, Watch},
        tables::{Aging, Lessons},
        trends::{Change, Trend, Trends, judge},
    },
};

pub use practice::{of as practice, outcome, state};

/// The case an incident of `tool` comes to, if it is closed.
pub fn case_of(
    number: i64,
    incident: &Incident,
    tool: &Tool,
    catalogue: &Catalogue,
) -> Option<Case> {
    match (&incident.cause, incident.status) {
        (Some(cause), Status::Closed) => Some(case::of(number, incident, tool, cause, catalogue)),
        _ => None,
    }
}

/// A state of the ledger: its revision and, where old cases weigh less, the day.
type State = (u64, i64);

/// Answers of a kind that are kept at most.
const MOST_ANSWERS: usize = 32;

/// Answers that hold for one revision of the ledger.
#[derive(Debug, Default)]
struct Answers {
    revision: u64,
    counts: HashMap<(Dimension, Filter), Arc<Breakdown>>,
    trends: HashMap<(i64, Filter), Arc<Trends>>,
}

/// The memory.
#[derive(Debug)]
pub struct Knowledge {
    practice: advice::Knowledge,
    /// Common practice before any case.
    untaught: Learned,
    ledger: RwLock<Ledger>,
    half_life_days: Option<f64>,
    worn: HashMap<String, Vec<String>>,
    /// Answers of one revision of the ledger that were asked for.
    answers: Mutex<Answers>,
    /// What the ledger teaches, with the state it was learnt from.
    learned: Mutex<Option<(State, Arc<Learned>)>>,
}

impl Knowledge {
    /// Nothing but common practice.
    ///
    /// # Errors
    /// A catalogue whose numbers cannot be used.
    pub fn new(catalogue: &Catalogue) -> Result<Self, AdviceError> {
        let practice = practice::of(catalogue)?;
        let untaught = Learned::from(&practice, &Lessons::default());
        Ok(Self {
            practice,
            untaught,
            ledger: RwLock::new(Ledger::new()),
            half_life_days: catalogue.half_life_days(),
            worn: case::worn(catalogue),
            answers: Mutex::default(),
            learned: Mutex::new(None),
        })
    }

    /// Takes the present state of incidents that changed.
    pub fn take(&self, changed: &[Changed], catalogue: &Catalogue) {
        let mut ledger = self.ledger.write().unwrap_or_else(PoisonError::into_inner);
        for change in changed {
            let incident = &change.revision.incident;
            let case = case_of(change.number, incident, &change.tool, catalogue);
            if let Err(error) = ledger.apply(change.number, case.as_ref()) {
                // The rules let no such incident in; one that is there all the same must
                // not stop the others.
                tracing::warn!(number = change.number, %error, "an incident cannot be counted");
            }
        }
    }

    /// Takes what is known of the tools.
    pub fn take_fleet(&self, tools: &[Tool]) {
        let of_tool = |tool: &Tool| case::service(tool, &self.worn);
        let known: Vec<ToolService> = tools.iter().map(of_tool).collect();
        self.ledger
            .write()
            .unwrap_or_else(PoisonError::into_inner)
            .set_fleet(&known);
    }

    /// Counts, shares and times of closed incidents.
    pub fn by(&self, dimension: Dimension, filter: &Filter) -> Arc<Breakdown> {
        let ledger = self.ledger();
        let key = (dimension, filter.clone());
        self.answered(
            &ledger,
            |answers| &mut answers.counts,
            key,
            || ledger.by(dimension, filter),
        )
    }

    /// What comes faster or more slowly, against time in service. Takes some seconds over a
    /// million cases, once for each state of the ledger: not for a thread that serves requests.
    pub fn trends(&self, filter: &Filter, today: i64) -> Arc<Trends> {
        let ledger = self.ledger();
        let last = last_day(&ledger, today);
        let key = (last, filter.clone());
        self.answered(
            &ledger,
            |answers| &mut answers.trends,
            key,
            || ledger.trends(filter, last),
        )
    }

    /// Trends of tool classes within a selection, adjusted together.
    pub fn trends_of_classes(
        &self,
        filter: &Filter,
        classes: Vec<String>,
        today: i64,
    ) -> Vec<Trend> {
        let of_class = |class: String| {
            let filter = Filter {
                class: Some(class.clone()),
                ..filter.clone()
            };
            Trend {
                id: class,
                ..self.trends(&filter, today).all.clone()
            }
        };
        let mut trends: Vec<Trend> = classes.into_iter().map(of_class).collect();
        // Nothing can be said of a class without a tool in service.
        trends.retain(|trend| trend.tool_days > 0.0);
        judge(&mut trends);
        trends
    }

    /// Where the rate of one tool of a selection may have changed once.
    pub fn change_of_tool(&self, tool: &str, filter: &Filter, today: i64) -> Option<Change> {
        let ledger = self.ledger();
        ledger.change_of_tool(tool, filter, last_day(&ledger, today))
    }

    /// The time the tools of a selection were watched for, and the cases that came meanwhile.
    pub fn watched(&self, filter: &Filter, today: i64) -> (Watch, Group) {
        let ledger = self.ledger();
        ledger.watched(filter, last_day(&ledger, today))
    }

    /// Cases and tool-months in service by month of the watch, each with its first day.
    pub fn per_month(&self, filter: &Filter, today: i64) -> Vec<(i64, u64, f64)> {
        let ledger = self.ledger();
        ledger.per_month(filter, last_day(&ledger, today))
    }

    /// The time the tools of a selection were watched for.
    pub fn watch(&self, filter: &Filter, today: i64) -> Watch {
        let ledger = self.ledger();
        ledger.watch(filter, last_day(&ledger, today))
    }

    /// Watched tools that have the part whose failure is `cause`, by class.
    pub fn fitted(&self, cause: &str, filter: &Filter, today: i64) -> BTreeMap<String, u64> {
        let ledger = self.ledger();
        ledger.fitted(cause, filter, last_day(&ledger, today))
    }

    /// Lives of the part whose failure is `cause`.
    pub fn lives(&self, cause: &str, filter: &Filter, today: i64) -> Lives {
        let ledger = self.ledger();
        ledger.lives(cause, filter, last_day(&ledger, today))
    }

    /// Chances of causes in a class, pooled from its cases, the fleet's and common
    /// practice, with equal-tailed 95 % posterior intervals. Common practice alone without
    /// cases; nothing for an unknown class. With a half-life, cases weigh what they weigh
    /// `today`.
    pub fn pooled(&self, class: &str, today: i64) -> Vec<(String, f64, Interval)> {
        let learned = self.learned(today);
        advice::before_evidence(&self.practice, &learned, class).unwrap_or_default()
    }

    /// Cases, labour and hours down alone, from sums kept as changes arrive.
    pub fn totals(
        &self,
        dimension: Dimension,
        class: Option<&str>,
        site: Option<&str>,
    ) -> Vec<Total> {
        self.ledger().totals(dimension, class, site)
    }

    /// The next checks, and why, with the cases weighing what they weigh `today`. Takes up to some tenths of a second: not for a thread
    /// that serves requests.
    ///
    /// # Errors
    /// Anything unknown, contradictory or out of range in the request.
    pub fn advise(&self, request: &Request, today: i64) -> Result<Advice, AdviceError> {
        let learned = self.learned(today);
        advice::advise(&self.practice, &learned, &self.untaught, request)
    }

    /// A number that is another one after every change of what is known.
    pub fn revision(&self) -> u64 {
        self.ledger().revision()
    }

    /// Replays closed cases in time order, each advised on from what was known before it,
    /// independently of what this memory holds. `components` gives those of a tool;
    /// `progress` hears how many cases are done.
    ///
    /// # Errors
    /// Common practice that contradicts itself.
    pub fn replay(
        &self,
        cases: &[Past],
        components: &dyn Fn(&str) -> Option<Vec<String>>,
        progress: &mut dyn FnMut(usize),
    ) -> Result<Replay, AdviceError> {
        advice::backtest(
            &self.practice,
            cases,
            self.half_life_days,
            components,
            progress,
        )
    }

    fn learned(&self, today: i64) -> Arc<Learned> {
        let ledger = self.ledger();
        let aging = self.half_life_days.map(|half_life_days| Aging {
            today,
            half_life_days,
        });
        let state = (ledger.revision(), aging.map_or(0, |aging| aging.today));
        let mut learned = self.learned.lock().unwrap_or_else(PoisonError::into_inner);
        match &*learned {
            Some((known, learned)) if *known == state => Arc::clone(learned),
            _ => {
                let new = Arc::new(Learned::from(&self.practice, &ledger.lessons(aging)));
                *learned = Some((state, Arc::clone(&new)));
                new
            }
        }
    }

    /// An answer kept, or else worked out and kept until the ledger changes.
    fn answered<K: Clone + Eq + Hash, V>(
        &self,
        ledger: &Ledger,
        of: fn(&mut Answers) -> &mut HashMap<K, Arc<V>>,
        key: K,
        work_out: impl FnOnce() -> V,
    ) -> Arc<V> {
        let lock = || self.answers.lock().unwrap_or_else(PoisonError::into_inner);
        let revision = ledger.revision();
        {
            let mut answers = lock();
            if answers.revision != revision {
                *answers = Answers {
                    revision,
                    ..Answers::default()
                };
            }
            if let Some(known) = of(&mut answers).get(&key) {
                return Arc::clone(known);
            }
        }
        // Worked out beside the lock, so that other answers need not wait for it.
        let new = Arc::new(work_out());
        let mut answers = lock();
        // The ledger cannot have changed meanwhile, since it is held for reading.
        let kept = of(&mut answers);
        if kept.len() >= MOST_ANSWERS {
            kept.clear();
        }
        kept.insert(key, Arc::clone(&new));
        new
    }

    fn ledger(&self) -> RwLockReadGuard<'_, Ledger> {
        self.ledger.read().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The last day of the watch: the one before the newest case, since after that nobody can tell a
/// quiet fleet from one that does not report. A watch that ended with it would end with a case by
/// its own making, and cases would seem to come faster; never after today.
fn last_day(ledger: &Ledger, today: i64) -> i64 {
    let newest = ledger.days().map(|(_, newest)| newest.saturating_sub(1));
    newest.map_or(today, |last| last.min(today))
}
