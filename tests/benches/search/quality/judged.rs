//! The judged queries of `tests/judged` on the demo fleet.

use std::collections::HashMap;

use coldtrap::{
    casebook::{Asker, Finding, Incident, Revision, Status, Tool, ToolId},
    catalogue::{Catalogue, CauseId, source},
    demo,
    search::{Entry, Leaning},
    store::Store,
};
use serde::Deserialize;

use super::{
    measure::{self, Row},
    task::{Asked, Ranking, Task},
};

const QUERIES: &str = include_str!("../../../judged/queries.jsonl");

/// The two halves.
pub const HALVES: [&str; 2] = ["tuning", "held-out"];

/// A judged query.
#[derive(Debug, Deserialize)]
pub struct Query {
    /// Which half it belongs to.
    pub half: String,
    /// What is typed.
    pub query: String,
    causes: Vec<String>,
    related: Vec<String>,
    words: Vec<String>,
    fault_torr: Option<f64>,
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
}

impl Query {
    fn grade(&self, case: &Case) -> u32 {
        if self.causes.contains(&case.cause) {
            let text = case.text.to_lowercase();
            let word = self.words.iter().any(|word| text.contains(word));
            let near = match (self.fault_torr, case.fault) {
                (Some(torr), Some(fault)) => {
                    (fault / (torr * 101_325.0 / 760.0)).log10().abs() <= 0.3
                }
                _ => false,
            };
            let neither = self.words.is_empty() && self.fault_torr.is_none();
            return if word || near || neither { 3 } else { 2 };
        }
        u32::from(self.related.contains(&case.cause))
    }
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
                &entry.facts,
            ]
            .join("\n"),
            fault: incident
                .pressures
                .faulty
                .and_then(|typed| Some(typed.pressure().ok()?.pascals())),
        });
        entries.push(entry);
    }
    store.close().await;
    let queries: Vec<Query> = QUERIES
        .lines()
        .map(|line| serde_json::from_str(line).expect("a judged query"))
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
        let mut open = revision.incident.clone();
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
        reopened.push(Reopened {
            half: HALVES[usize::from(number % 2 == 0)],
            entry: Entry::new(place as i64, 1, &open, &tools[&open.tool], catalogue),
            leaning: Leaning::new(&open, catalogue),
            grades,
        });
    }
    reopened
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
        for half in HALVES {
            let of_half = || {
                let queries = self.queries.iter().zip(&each);
                queries.filter(|(query, _)| query.half == half)
            };
            let ndcg = measure::mean(of_half().map(|(_, (ndcg, _))| *ndcg));
            let recall = measure::mean(of_half().map(|(_, (_, recall))| *recall));
            rows.push(Row::new(format!("judged, {half}"), "nDCG@10", ndcg));
            rows.push(Row::new(format!("judged, {half}"), "recall@20", recall));
        }
        rows
    }
}
