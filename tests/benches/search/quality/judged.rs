//! The judged queries of `tests/judged` on the demo fleet, and its closed cases reopened.

use std::collections::HashMap;

use coldtrap::{
    casebook::{Asker, Finding, Incident, Revision, Status, Tool, ToolId},
    catalogue::{Catalogue, CauseId, source},
    demo,
    search::{Circumstances, Entry, Leaning},
    store::Store,
};
use serde::Deserialize;

use super::{
    measure::{self, Row},
    task::{Asked, Ranking, Task},
};

/// The sets of queries, each with the name of its rows.
const QUERIES: [(&str, &str); 3] = [
    ("judged", include_str!("../../../judged/queries.jsonl")),
    (
        "circumstances",
        include_str!("../../../judged/circumstances.jsonl"),
    ),
    ("denials", include_str!("../../../judged/denials.jsonl")),
];

/// Microseconds of a year.
const YEAR: f64 = 365.25 * 86_400e6;

/// The two halves.
pub const HALVES: [&str; 2] = ["tuning", "held-out"];

/// A judged query.
#[derive(Debug, Deserialize)]
pub struct Query {
    /// The set it belongs to.
    #[serde(skip)]
    pub set: &'static str,
    /// Which half it belongs to.
    pub half: String,
    /// What is typed.
    pub query: String,
    causes: Vec<String>,
    related: Vec<String>,
    words: Vec<String>,
    fault_torr: Option<f64>,
    /// The range that the pressure at the fault has to lie in.
    fault_between_torr: Option<[f64; 2]>,
    /// Words that a case must hold, and must not, to be any answer.
    #[serde(default)]
    must: Vec<String>,
    #[serde(default)]
    without: Vec<String>,
    #[serde(flatten)]
    circumstances: Demanded,
}

/// What a case must be beside its cause to be graded highest; nothing, if nothing stands there.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Demanded {
    tool_class: Option<String>,
    pump: Option<String>,
    gauge: Option<String>,
    signs: Vec<String>,
    antecedents: Vec<String>,
    confirmed: bool,
    within_years: Option<f64>,
}

/// A closed case as it stood before its cause was found, and what answers it.
pub struct Reopened {
    /// Which half it belongs to: odd numbers are for tuning.
    pub half: &'static str,
    /// The case with neither cause nor fix, and only the checks before the last.
    pub entry: Entry,
    /// What the outcomes of those checks say.
    pub leaning: Leaning,
    /// For each case of the fleet, by its place: 2 if it had the same cause, 1 if that component.
    pub grades: Vec<u32>,
}

/// The queries with the grade of every case for each.
pub struct Judged {
    /// Closed cases that others like them are looked for.
    pub reopened: Vec<Reopened>,
    /// The queries.
    pub queries: Vec<Query>,
    /// For each query the grade of each case, by its place.
    pub grades: Vec<Vec<u32>>,
}

struct Case {
    cause: String,
    text: String,
    fault: Option<f64>,
    known: Circumstances,
    /// Years before the newest case.
    age: f64,
}

impl Demanded {
    fn fits(&self, case: &Case) -> bool {
        let known = &case.known;
        let same = |own: &Option<String>, wanted: &Option<String>| {
            wanted.is_none() || own.as_ref() == wanted.as_ref()
        };
        same(&known.class, &self.tool_class)
            && same(&known.pump, &self.pump)
            && self
                .gauge
                .as_ref()
                .is_none_or(|gauge| known.gauges.contains(gauge))
            && (self.signs.iter()).all(|sign| known.signs.get(sign.as_str()) == Some(&true))
            && (self.antecedents.iter()).all(|id| known.antecedents.get(id.as_str()) == Some(&true))
            && (known.confirmed || !self.confirmed)
            && self.within_years.is_none_or(|years| case.age <= years)
    }
}

impl Query {
    /// The grade of a case by its cause alone.
    pub fn grade_of(&self, cause: &str) -> u32 {
        if self.causes.iter().any(|own| own == cause) {
            return 2;
        }
        u32::from(self.related.iter().any(|own| own == cause))
    }

    /// Whether it names a pressure.
    pub fn names_a_pressure(&self) -> bool {
        self.fault_torr.is_some() || self.fault_between_torr.is_some()
    }

    /// Whether the query itself keeps a case out.
    fn excludes(&self, text: &str) -> bool {
        let lacks = self.must.iter().any(|word| !begins_a_word(text, word));
        lacks || self.without.iter().any(|word| begins_a_word(text, word))
    }

    /// Whether the pressure at the fault is the one asked for.
    fn is_near(&self, case: &Case) -> bool {
        let Some(fault) = case.fault else {
            return false;
        };
        let torr = fault / (101_325.0 / 760.0);
        let near = (self.fault_torr).is_some_and(|asked| (torr / asked).log10().abs() <= 0.3);
        near || (self.fault_between_torr).is_some_and(|[low, high]| (low..=high).contains(&torr))
    }

    fn grade(&self, case: &Case) -> u32 {
        let text = case.text.to_lowercase();
        if self.excludes(&text) {
            return 0;
        }
        if self.causes.contains(&case.cause) {
            let word = self.words.iter().any(|word| text.contains(word));
            let neither = self.words.is_empty() && !self.names_a_pressure();
            let fits = self.circumstances.fits(case);
            return if fits && (word || self.is_near(case) || neither) {
                3
            } else {
                2
            };
        }
        u32::from(self.related.contains(&case.cause))
    }
}

/// Whether a word of the text begins so.
fn begins_a_word(text: &str, begins: &str) -> bool {
    let found = text.match_indices(begins);
    let before = found.map(|(at, _)| text[..at].chars().next_back());
    before
        .into_iter()
        .any(|before| before.is_none_or(|c| !c.is_alphanumeric()))
}

/// The demo fleet as a task, and what is right.
pub async fn load() -> (Task, Judged) {
    let folder = tempfile::TempDir::new().expect("a temporary folder");
    let url = format!("sqlite://{}", folder.path().join("demo.db").display());
    let store = Store::open(&url).await.expect("a fresh store opens");
    let catalogue = source::built_in().expect("the built-in catalogue is right");
    demo::fill(&store, &catalogue)
        .await
        .expect("the demo's data keeps the rules");
    let asker = Asker::console();
    let tools: HashMap<_, _> = store
        .tools(&asker)
        .await
        .expect("tools")
        .into_iter()
        .map(|tool| (tool.id.clone(), tool))
        .collect();
    let all: Vec<i64> = (1..=2_000).collect();
    let mut present: Vec<_> = store
        .present(&asker, &all)
        .await
        .expect("incidents")
        .into_iter()
        .collect();
    present.sort_by_key(|(number, _)| *number);
    let times = present
        .iter()
        .map(|(_, revision)| revision.incident.occurred_at);
    let newest = times.max().map_or(0, |at| at.as_microsecond());
    let (mut cases, mut entries) = (Vec::new(), Vec::new());
    let reopened = reopened(&present, &tools, &catalogue);
    for ((_, revision), place) in present.iter().zip(0..) {
        let incident = &revision.incident;
        let tool = &tools[&incident.tool];
        let entry = Entry::new(place, revision.revision, incident, tool, &catalogue);
        cases.push(Case {
            cause: incident
                .cause
                .as_ref()
                .map(Finding::id)
                .unwrap_or_default()
                .to_owned(),
            text: [
                entry.symptom.as_str(),
                &entry.cause_text,
                &entry.fix,
                &entry.notes,
                // What checks cleared is no text of the report, and no plain engine could read it.
                &entry.facts[..entry.cleared],
            ]
            .join("\n"),
            fault: incident
                .pressures
                .faulty
                .and_then(|typed| Some(typed.pressure().ok()?.pascals())),
            known: entry.circumstances.clone(),
            age: (newest - entry.occurred_at) as f64 / YEAR,
        });
        entries.push(entry);
    }
    store.close().await;
    let queries: Vec<Query> = QUERIES
        .iter()
        .flat_map(|(set, text)| text.lines().map(move |line| (*set, line)))
        .map(|(set, line)| Query {
            set,
            ..serde_json::from_str(line).expect("a judged query")
        })
        .collect();
    let grades = queries
        .iter()
        .map(|query| cases.iter().map(|case| query.grade(case)).collect())
        .collect();
    let asked = queries.iter().map(|query| Asked::new(&query.query));
    let mut task = Task::of_texts(
        "judged",
        cases.into_iter().map(|case| case.text).collect(),
        asked.collect(),
    );
    task.entries = entries;
    (
        task,
        Judged {
            reopened,
            queries,
            grades,
        },
    )
}

/// Every closed case with a known cause that another case shares.
fn reopened(
    present: &[(i64, Revision)],
    tools: &HashMap<ToolId, Tool>,
    catalogue: &Catalogue,
) -> Vec<Reopened> {
    let cause = |incident: &Incident| match &incident.cause {
        Some(Finding::Cause(id)) => Some(id.clone()),
        _ => None,
    };
    let component = |id: &CauseId| catalogue.cause(id.as_str()).map(|c| c.component.clone());
    let causes: Vec<_> = present.iter().map(|(_, r)| cause(&r.incident)).collect();
    let mut reopened = Vec::new();
    for (place, (number, revision)) in present.iter().enumerate() {
        let Some(own) = &causes[place] else { continue };
        let grades: Vec<u32> = causes
            .iter()
            .enumerate()
            .map(|(other, cause)| match cause {
                _ if other == place => 0,
                Some(cause) if cause == own => 2,
                Some(cause) => u32::from(component(cause) == component(own)),
                None => 0,
            })
            .collect();
        if !grades.contains(&2) {
            continue;
        }
        let open = reopened_as(&revision.incident);
        reopened.push(Reopened {
            half: HALVES[usize::from(number % 2 == 0)],
            entry: Entry::new(place as i64, 1, &open, &tools[&open.tool], catalogue),
            leaning: Leaning::new(&open, catalogue),
            grades,
        });
    }
    reopened
}

/// A case as it stood before its cause was found.
pub fn reopened_as(incident: &Incident) -> Incident {
    let mut open = incident.clone();
    open.status = Status::Open;
    (open.cause, open.closed_at, open.pressures.restored) = (None, None, None);
    for text in [
        &mut open.fix,
        &mut open.proof,
        &mut open.notes,
        &mut open.not_restored_reason,
    ] {
        text.clear();
    }
    open.parts.clear();
    open.checks.pop();
    open
}

impl Judged {
    /// nDCG@10 and recall@20 of each query.
    pub fn each(&self, rankings: &[Ranking]) -> Vec<(f64, f64)> {
        self.grades
            .iter()
            .zip(rankings)
            .map(|(grades, ranking)| {
                let relevant = grades.iter().filter(|grade| **grade >= 2).count();
                assert!(relevant > 0, "a judged query has no answer");
                let found = ranking
                    .iter()
                    .take(20)
                    .filter(|(place, _)| grades[*place] >= 2)
                    .count();
                (
                    measure::ndcg(grades, ranking, 10),
                    found as f64 / relevant as f64,
                )
            })
            .collect()
    }

    /// The means over each half.
    pub fn rows(&self, rankings: &[Ranking]) -> Vec<Row> {
        let each = self.each(rankings);
        let mut rows = Vec::new();
        for (set, half) in QUERIES
            .iter()
            .flat_map(|(set, _)| HALVES.map(|half| (*set, half)))
        {
            let of_half = || {
                let queries = self.queries.iter().zip(&each);
                queries.filter(move |(query, _)| query.half == half && query.set == set)
            };
            let ndcg = measure::mean(of_half().map(|(_, (ndcg, _))| *ndcg));
            let recall = measure::mean(of_half().map(|(_, (_, recall))| *recall));
            rows.push(Row::new(format!("{set}, {half}"), "nDCG@10", ndcg));
            rows.push(Row::new(format!("{set}, {half}"), "recall@20", recall));
        }
        rows
    }
}
