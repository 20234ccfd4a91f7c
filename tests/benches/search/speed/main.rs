//! The bare index library on the texts of the search bench: one field, top 20 by its own BM25.
//!
//! `cargo bench --bench search_speed -- ROWS QUERIES FOLDER` reads texts and queries, one a
//! line, and prints one JSON object with seconds of indexing, bytes of the index, and the
//! milliseconds of each query for 1 and for 8 threads. Started by `tests/benches/search_speed.sh`.

use std::{
    fs,
    io::{BufRead, BufReader},
    path::{Path, PathBuf},
    time::Instant,
};

use tantivy::{
    Index, IndexReader, TantivyDocument, Term,
    collector::TopDocs,
    doc,
    query::{BooleanQuery, Query, TermQuery},
    schema::{Field, IndexRecordOption, STORED, Schema, TEXT},
};

const HITS: usize = 20;

fn main() {
    let arguments: Vec<PathBuf> = std::env::args()
        .skip(1)
        .filter(|argument| argument != "--bench")
        .map(PathBuf::from)
        .collect();
    let [rows, queries, folder] = arguments.as_slice() else {
        println!("run tests/benches/search_speed.sh, which makes the rows this needs");
        return;
    };
    let mut schema = Schema::builder();
    let text = schema.add_text_field("text", TEXT);
    let number = schema.add_u64_field("number", STORED);
    let index = Index::create_in_dir(folder, schema.build()).expect("an empty folder");
    let clock = Instant::now();
    let mut writer = index
        .writer::<TantivyDocument>(200_000_000)
        .expect("memory to write with");
    for (line, row) in (1_u64..).zip(lines(rows)) {
        writer
            .add_document(doc!(text => row, number => line))
            .expect("room for a row");
    }
    writer.commit().expect("a disc to write to");
    writer
        .wait_merging_threads()
        .expect("merges that come to an end");
    let seconds = clock.elapsed().as_secs_f64();
    let reader = index.reader().expect("the index written above");
    let queries: Vec<String> = lines(queries).collect();
    let one = times(&index, &reader, text, &queries);
    let eight: Vec<f64> = std::thread::scope(|scope| {
        let clients: Vec<_> = (0..8)
            .map(|client| {
                let (index, reader) = (&index, &reader);
                let own: Vec<String> = queries.iter().skip(client).step_by(8).cloned().collect();
                scope.spawn(move || times(index, reader, text, &own))
            })
            .collect();
        clients
            .into_iter()
            .flat_map(|client| client.join().expect("a client that ends"))
            .collect()
    });
    println!(
        "{}",
        serde_json::json!({"index_seconds": seconds, "bytes": size(folder), "1": one, "8": eight})
    );
}

fn lines(path: &Path) -> impl Iterator<Item = String> {
    BufReader::new(fs::File::open(path).expect("a file to read"))
        .lines()
        .map(|line| line.expect("text"))
}

fn times(index: &Index, reader: &IndexReader, text: Field, queries: &[String]) -> Vec<f64> {
    let mut analyser = index
        .tokenizer_for_field(text)
        .expect("the library's own analyser");
    queries
        .iter()
        .map(|query| {
            let clock = Instant::now();
            let mut terms: Vec<Box<dyn Query>> = Vec::new();
            analyser.token_stream(query).process(&mut |token| {
                let term = Term::from_field_text(text, &token.text);
                terms.push(Box::new(TermQuery::new(term, IndexRecordOption::WithFreqs)));
            });
            let searcher = reader.searcher();
            let top = TopDocs::with_limit(HITS).order_by_score();
            let found = searcher
                .search(&BooleanQuery::union(terms), &top)
                .expect("an index that can be read");
            for (_, address) in found {
                let _: TantivyDocument = searcher.doc(address).expect("a stored row");
            }
            clock.elapsed().as_secs_f64() * 1e3
        })
        .collect()
}

fn size(folder: &Path) -> u64 {
    fs::read_dir(folder)
        .expect("the folder of the index")
        .filter_map(|entry| entry.ok()?.metadata().ok())
        .map(|data| data.len())
        .sum()
}
