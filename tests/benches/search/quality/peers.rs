//! Plain engines on the same texts, each as one would set it up in an afternoon. PostgreSQL and
//! embeddings run in `peers.py` beside this file.

use std::{
    collections::BTreeMap,
    path::Path,
    process::{Command, Stdio},
};

use serde::Deserialize;
use sqlx::{Row, sqlite::SqlitePoolOptions};
use tantivy::{
    Index, TantivyDocument,
    collector::TopDocs,
    query::QueryParser,
    schema::{FAST, IndexRecordOption, STORED, Schema, TextFieldIndexing, TextOptions, Value},
};

use super::task::{Ranking, Task};

/// One text field, BM25, any word may match.
pub fn tantivy(task: &Task, tokenizer: &str) -> Vec<Ranking> {
    let mut schema = Schema::builder();
    let place = schema.add_u64_field("place", STORED | FAST);
    let indexing = TextFieldIndexing::default()
        .set_tokenizer(tokenizer)
        .set_index_option(IndexRecordOption::WithFreqsAndPositions);
    let text = schema.add_text_field(
        "text",
        TextOptions::default().set_indexing_options(indexing),
    );
    let index = Index::create_in_ram(schema.build());
    let mut writer = index
        .writer_with_num_threads(1, 32 << 20)
        .expect("a writer");
    for (at, body) in task.texts.iter().enumerate() {
        let mut document = TantivyDocument::new();
        document.add_u64(place, at as u64);
        document.add_text(text, body);
        writer.add_document(document).expect("added");
    }
    writer.commit().expect("committed");
    let searcher = index.reader().expect("a reader").searcher();
    let parser = QueryParser::for_index(&index, vec![text]);
    let ask = |typed: &str| {
        // Only words: the parser's own signs are no part of what is asked.
        let words: String = typed
            .chars()
            .map(|c| if c.is_alphanumeric() { c } else { ' ' })
            .collect();
        let (query, _) = parser.parse_query_lenient(&words.to_lowercase());
        let top = TopDocs::with_limit(task.depth + 1).order_by_score();
        let found = searcher.search(&query, &top).expect("searched");
        found
            .into_iter()
            .map(|(score, address)| {
                let found: TantivyDocument = searcher.doc(address).expect("stored");
                let value = found.get_first(place).expect("its place");
                (value.as_u64().expect("a place") as usize, f64::from(score))
            })
            .collect()
    };
    let asked = task.queries.iter();
    asked
        .map(|query| query.tidy(ask(&query.text), task.depth))
        .collect()
}

/// FTS5 with its Porter stemmer, words joined by OR, ordered by its bm25.
pub async fn fts5(task: &Task) -> Vec<Ranking> {
    let pool = SqlitePoolOptions::new()
        .max_connections(1)
        .connect("sqlite::memory:")
        .await
        .expect("a database in memory");
    sqlx::query("CREATE VIRTUAL TABLE cases USING fts5(body, tokenize = 'porter unicode61')")
        .execute(&pool)
        .await
        .expect("FTS5 is built in");
    for (at, text) in task.texts.iter().enumerate() {
        sqlx::query("INSERT INTO cases (rowid, body) VALUES ($1, $2)")
            .bind(at as i64)
            .bind(text)
            .execute(&pool)
            .await
            .expect("inserted");
    }
    let mut rankings = Vec::new();
    for query in &task.queries {
        let words: Vec<_> = query
            .text
            .split(|c: char| !c.is_alphanumeric())
            .filter(|word| !word.is_empty())
            .map(|word| format!("\"{word}\""))
            .collect();
        let found = sqlx::query(
            "SELECT rowid, -bm25(cases) FROM cases WHERE cases MATCH $1 ORDER BY bm25(cases), rowid LIMIT $2",
        )
        .bind(words.join(" OR "))
        .bind(task.depth as i64 + 1)
        .fetch_all(&pool)
        .await
        .unwrap_or_default();
        let ranking = found
            .iter()
            .map(|row| (row.get::<i64, _>(0) as usize, row.get(1)))
            .collect();
        rankings.push(query.tidy(ranking, task.depth));
    }
    rankings
}

#[derive(Deserialize)]
struct Told {
    rankings: BTreeMap<String, Vec<Vec<Ranking>>>,
    missing: Vec<String>,
}

/// Runs `peers.py` over all tasks: the rankings of each of its engines, task by task, and a
/// sentence for each engine that could not be had.
pub fn in_python(
    python: &str,
    tasks: &[Task],
) -> (BTreeMap<String, Vec<Vec<Ranking>>>, Vec<String>) {
    let folder = tempfile::TempDir::new().expect("a temporary folder");
    let (given, told) = (
        folder.path().join("given.json"),
        folder.path().join("told.json"),
    );
    std::fs::write(&given, serde_json::to_vec(tasks).expect("plain data")).expect("written");
    let script =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/benches/search/quality/peers.py");
    let status = Command::new(python)
        .arg(script)
        .arg(&given)
        .arg(&told)
        .stdin(Stdio::null())
        .status();
    let text = match status {
        Ok(status) if status.success() => std::fs::read(&told).expect("its answer"),
        other => {
            let missing = format!("PostgreSQL and embeddings left out: {python}: {other:?}");
            return (BTreeMap::new(), vec![missing]);
        }
    };
    let told: Told = serde_json::from_slice(&text).expect("its answer");
    let mut rankings = told.rankings;
    for answers in rankings.values_mut() {
        for (task, answers) in tasks.iter().zip(answers) {
            for (query, ranking) in task.queries.iter().zip(answers) {
                *ranking = query.tidy(std::mem::take(ranking), task.depth);
            }
        }
    }
    (rankings, told.missing)
}
