//! How well the search ranks, on queries judged beforehand, beside plain engines.

mod peers;

use std::collections::HashMap;

use coldtrap::{
    casebook::{Asker, Finding, Incident},
    search::Entry,
};
use serde::Deserialize;

use crate::support::app::TestApp;

const QUERIES: &str = include_str!("queries.jsonl");

#[derive(Deserialize)]
struct Query {
    half: String,
    style: String,
    number: usize,
    query: String,
    causes: Vec<String>,
    related: Vec<String>,
    words: Vec<String>,
    fault_torr: Option<f64>,
}

/// A case as every engine gets it.
struct Case {
    number: i64,
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

fn queries() -> Vec<Query> {
    QUERIES
        .lines()
        .map(|line| serde_json::from_str(line).expect("a judged query"))
        .collect()
}

async fn cases(app: &TestApp) -> Vec<Case> {
    let asker = Asker::console();
    let tools = app.store.tools(&asker).await.expect("tools");
    let mut cases = Vec::new();
    let all: Vec<i64> = (1..=2_000).collect();
    let present = app.store.present(&asker, &all).await.expect("incidents");
    for (number, revision) in present {
        let incident: &Incident = &revision.incident;
        let tool = tools
            .iter()
            .find(|tool| tool.id == incident.tool)
            .expect("its tool");
        let entry = Entry::new(number, revision.revision, incident, tool, &app.catalogue);
        cases.push(Case {
            number,
            cause: incident
                .cause
                .as_ref()
                .map(Finding::id)
                .unwrap_or_default()
                .to_owned(),
            text: [
                entry.symptom,
                entry.cause_text,
                entry.fix,
                entry.notes,
                entry.facts,
            ]
            .join("\n"),
            fault: incident
                .pressures
                .faulty
                .and_then(|typed| Some(typed.pressure().ok()?.pascals())),
        });
    }
    cases.sort_by_key(|case| case.number);
    cases
}

/// nDCG@10 and recall@20 of a ranking.
fn measure(query: &Query, grades: &HashMap<i64, u32>, ranking: &[i64]) -> (f64, f64) {
    let gain = |grade: u32| f64::from((1_u32 << grade) - 1);
    let sum = |grades: &mut dyn Iterator<Item = u32>| {
        grades
            .take(10)
            .zip(2_u32..)
            .map(|(grade, place)| gain(grade) / f64::from(place).log2())
            .sum::<f64>()
    };
    let grade = |number: &i64| grades.get(number).copied().unwrap_or_default();
    let mut ideal: Vec<u32> = grades.values().copied().collect();
    ideal.sort_unstable_by_key(|grade| std::cmp::Reverse(*grade));
    let best = sum(&mut ideal.into_iter());
    let relevant = grades.values().filter(|grade| **grade >= 2).count();
    assert!(relevant > 0, "query {} has no answer", query.number);
    let found = ranking
        .iter()
        .take(20)
        .filter(|number| grade(number) >= 2)
        .count();
    (
        sum(&mut ranking.iter().map(grade)) / best,
        found as f64 / relevant as f64,
    )
}

#[tokio::test]
#[ignore = "a measurement, printed as a table"]
async fn judged_queries_are_ranked() {
    let app = TestApp::demo().await;
    let cases = cases(&app).await;
    let queries = queries();
    let mut rankings: Vec<(&str, Vec<Vec<i64>>)> = Vec::new();
    let mut ours = Vec::new();
    for query in &queries {
        let words = form_urlencoded::byte_serialize(query.query.as_bytes()).collect::<String>();
        let answer = app
            .get(&format!("/api/search?q={words}&limit=20"))
            .await
            .expect(200)
            .json();
        let hits = answer["hits"].as_array().expect("hits").iter();
        ours.push(hits.filter_map(|hit| hit["number"].as_i64()).collect());
    }
    rankings.push(("this search", ours));
    let texts: Vec<&str> = queries.iter().map(|query| query.query.as_str()).collect();
    rankings.push(("tantivy BM25", peers::tantivy(&cases, &texts, "default")));
    rankings.push((
        "tantivy BM25, stemmed",
        peers::tantivy(&cases, &texts, "en_stem"),
    ));
    rankings.push(("SQLite FTS5 bm25", peers::fts5(&cases, &texts).await));
    println!(
        "{} cases, {} queries\n{:<24}{:>18}{:>18}",
        cases.len(),
        queries.len(),
        "",
        "tuning half",
        "held-out half"
    );
    println!(
        "{:<24}{:>9}{:>9}{:>9}{:>9}",
        "engine", "nDCG@10", "rec@20", "nDCG@10", "rec@20"
    );
    let mut worst = Vec::new();
    for (name, rankings) in &rankings {
        print!("{name:<24}");
        for half in ["tuning", "held-out"] {
            let (mut ndcg, mut recall, mut count) = (0.0, 0.0, 0.0);
            for (query, ranking) in queries.iter().zip(rankings) {
                if query.half != half {
                    continue;
                }
                let grades = cases
                    .iter()
                    .map(|case| (case.number, query.grade(case)))
                    .collect();
                let (n, r) = measure(query, &grades, ranking);
                if *name == "this search" && half == "tuning" {
                    worst.push((n, r, query));
                }
                (ndcg, recall, count) = (ndcg + n, recall + r, count + 1.0);
            }
            print!("{:>9.3}{:>9.3}", ndcg / count, recall / count);
        }
        println!();
    }
    worst.sort_by(|a, b| a.0.total_cmp(&b.0));
    println!("weakest of the tuning half:");
    for (ndcg, recall, query) in worst.iter().take(8) {
        println!(
            "{ndcg:.3} {recall:.3} {} ({}) {}",
            query.number, query.style, query.query
        );
    }
}
