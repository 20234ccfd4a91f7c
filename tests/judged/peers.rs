//! Plain engines on the same texts, each as one would set it up in an afternoon.

use sqlx::{Row, sqlite::SqlitePoolOptions};
use tantivy::{
    Index, TantivyDocument,
    collector::TopDocs,
    query::QueryParser,
    schema::{FAST, IndexRecordOption, STORED, Schema, TextFieldIndexing, TextOptions, Value},
};

use super::Case;

/// Hits taken of each.
const TAKEN: usize = 20;

/// One text field, BM25, any word may match.
pub(super) fn tantivy(cases: &[Case], queries: &[&str], tokenizer: &str) -> Vec<Vec<i64>> {
    let mut schema = Schema::builder();
    let number = schema.add_i64_field("number", STORED | FAST);
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
    for case in cases {
        let mut document = TantivyDocument::new();
        document.add_i64(number, case.number);
        document.add_text(text, &case.text);
        writer.add_document(document).expect("added");
    }
    writer.commit().expect("committed");
    let searcher = index.reader().expect("a reader").searcher();
    let parser = QueryParser::for_index(&index, vec![text]);
    queries
        .iter()
        .map(|query| {
            let (query, _) = parser.parse_query_lenient(query);
            let top = TopDocs::with_limit(TAKEN).order_by_score();
            searcher
                .search(&query, &top)
                .expect("searched")
                .into_iter()
                .map(|(_, address)| {
                    let found: TantivyDocument = searcher.doc(address).expect("stored");
                    let value = found.get_first(number).expect("its number");
                    value.as_i64().expect("a number")
                })
                .collect()
        })
        .collect()
}

/// FTS5 with its Porter stemmer, words joined by OR, ordered by its bm25.
pub(super) async fn fts5(cases: &[Case], queries: &[&str]) -> Vec<Vec<i64>> {
    let pool = SqlitePoolOptions::new()
        .max_connections(1)
        .connect("sqlite::memory:")
        .await
        .expect("a database in memory");
    sqlx::query("CREATE VIRTUAL TABLE cases USING fts5(body, tokenize = 'porter unicode61')")
        .execute(&pool)
        .await
        .expect("FTS5 is built in");
    for case in cases {
        sqlx::query("INSERT INTO cases (rowid, body) VALUES ($1, $2)")
            .bind(case.number)
            .bind(&case.text)
            .execute(&pool)
            .await
            .expect("inserted");
    }
    let mut rankings = Vec::new();
    for query in queries {
        let words: Vec<_> = query
            .split(|c: char| !c.is_alphanumeric())
            .filter(|word| !word.is_empty())
            .map(|word| format!("\"{word}\""))
            .collect();
        let found = sqlx::query(
            "SELECT rowid FROM cases WHERE cases MATCH $1 ORDER BY bm25(cases) LIMIT 20",
        )
        .bind(words.join(" OR "))
        .fetch_all(&pool)
        .await
        .expect("searched");
        rankings.push(found.iter().map(|row| row.get(0)).collect());
    }
    rankings
}
