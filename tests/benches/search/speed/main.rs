//! The bare index library: indexing the texts of the search bench, one field each, and the top
//! 20 by its own BM25 in the very index that the program searches.
//!
//! `cargo bench --bench search_speed -- ROWS QUERIES FOLDER INDEX FIELDS OTHER` reads texts and queries,
//! one a line, makes an index of the texts in FOLDER, one of the rows of FIELDS, as the program's has
//! them, in OTHER, and asks the one in INDEX: any of the stemmed words in any of its text fields. It
//! prints one JSON object with seconds of indexing (on the clock, and of the processor), bytes of the
//! new index, and the milliseconds of each query for 1 and for 8 threads. Started by `tests/benches/search_speed.sh`.

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
    schema::{
        FAST, Field, INDEXED, IndexRecordOption, STORED, STRING, Schema, TEXT, TextFieldIndexing,
        TextOptions,
    },
    tokenizer::{
        AsciiFoldingFilter, Language, LowerCaser, RemoveLongFilter, SimpleTokenizer, Stemmer,
        TextAnalyzer,
    },
};

const HITS: usize = 20;

fn main() {
    let arguments: Vec<PathBuf> = std::env::args()
        .skip(1)
        .filter(|argument| argument != "--bench")
        .map(PathBuf::from)
        .collect();
    let [rows, queries, folder, searched, fields, other] = arguments.as_slice() else {
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
    let processor = processor_seconds();
    let clock = Instant::now();
    index_fields(fields, other);
    let fields_seconds = clock.elapsed().as_secs_f64();
    let fields_processor = processor_seconds() - processor;
    let searched = Index::open_in_dir(searched).expect("the index of the program");
    let fields: Vec<Field> = ["symptom", "cause", "fix", "notes", "facts"]
        .iter()
        .map(|name| searched.schema().get_field(name).expect("a text field"))
        .collect();
    let reader = searched.reader().expect("an index that can be read");
    let queries: Vec<String> = lines(queries).collect();
    let one = times(&reader, &fields, &queries);
    let eight: Vec<f64> = std::thread::scope(|scope| {
        let clients: Vec<_> = (0..8)
            .map(|client| {
                let (reader, fields) = (&reader, &fields);
                let own: Vec<String> = queries.iter().skip(client).step_by(8).cloned().collect();
                scope.spawn(move || times(reader, fields, &own))
            })
            .collect();
        clients
            .into_iter()
            .flat_map(|client| client.join().expect("a client that ends"))
            .collect()
    });
    println!(
        "{}",
        serde_json::json!({
            "index_seconds": seconds,
            "index_processor_seconds": processor,
            "fields_seconds": fields_seconds,
            "fields_processor_seconds": fields_processor,
            "bytes": size(folder),
            "1": one,
            "8": eight,
        })
    );
}

/// The fields a row has in the program's index, with the library's own analysis: stemmed words of five
/// texts, names, pressures, signs and circumstances. A line of FIELDS has them parted by tabs.
fn index_fields(rows: &Path, folder: &Path) {
    let mut schema = Schema::builder();
    let stemmed = TextOptions::default().set_indexing_options(
        TextFieldIndexing::default()
            .set_tokenizer("en_stem")
            .set_index_option(IndexRecordOption::WithFreqsAndPositions),
    );
    let number = schema.add_i64_field("number", INDEXED | STORED | FAST);
    let revision = schema.add_i64_field("revision", STORED | FAST);
    let names = ["status", "tool", "site", "class"].map(|name| schema.add_text_field(name, STRING));
    let cause = schema.add_text_field("cause", STRING | FAST);
    let occurred_at = schema.add_i64_field("occurred_at", FAST);
    let texts = ["symptom", "cause_text", "fix", "notes", "facts"]
        .map(|name| schema.add_text_field(name, stemmed.clone()));
    let pressures = ["before", "fault", "other"].map(|name| schema.add_f64_field(name, FAST));
    let known = schema.add_text_field("known", STRING | FAST);
    let index = Index::create_in_dir(folder, schema.build()).expect("an empty folder");
    let mut writer = index
        .writer::<TantivyDocument>(200_000_000)
        .expect("memory to write with");
    for row in lines(rows) {
        let mut row = row.split('\t');
        let mut next = || row.next().expect("a field");
        let mut document = TantivyDocument::new();
        document.add_i64(number, next().parse().expect("a number"));
        document.add_i64(revision, 1);
        for name in names {
            document.add_text(name, next());
        }
        document.add_text(cause, next());
        document.add_i64(occurred_at, next().parse().expect("a time"));
        for text in texts {
            document.add_text(text, next());
        }
        for pressure in pressures {
            if let Ok(power) = next().parse() {
                document.add_f64(pressure, power);
            }
        }
        for name in next().split('\u{1f}') {
            document.add_text(known, name);
        }
        writer.add_document(document).expect("room for a row");
    }
    writer.commit().expect("a disc to write to");
    writer
        .wait_merging_threads()
        .expect("merges that come to an end");
}

fn lines(path: &Path) -> impl Iterator<Item = String> {
    BufReader::new(fs::File::open(path).expect("a file to read"))
        .lines()
        .map(|line| line.expect("text"))
}

fn times(reader: &IndexReader, fields: &[Field], queries: &[String]) -> Vec<f64> {
    let mut analyser = TextAnalyzer::builder(SimpleTokenizer::default())
        .filter(RemoveLongFilter::limit(40))
        .filter(LowerCaser)
        .filter(AsciiFoldingFilter)
        .filter(Stemmer::new(Language::English))
        .build();
    queries
        .iter()
        .map(|query| {
            let clock = Instant::now();
            let mut terms: Vec<Box<dyn Query>> = Vec::new();
            analyser.token_stream(query).process(&mut |token| {
                for field in fields {
                    let term = Term::from_field_text(*field, &token.text);
                    terms.push(Box::new(TermQuery::new(term, IndexRecordOption::WithFreqs)));
                }
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

/// Processor time of this process so far, by the system's own count of hundredths.
fn processor_seconds() -> f64 {
    let told = fs::read_to_string("/proc/self/stat").expect("a Linux system");
    let after = told.rsplit(')').next().expect("fields after the name");
    let ticks = after.split_whitespace().skip(11).take(2);
    ticks
        .map(|ticks| ticks.parse::<f64>().expect("a number") / 100.0)
        .sum()
}

fn size(folder: &Path) -> u64 {
    fs::read_dir(folder)
        .expect("the folder of the index")
        .filter_map(|entry| entry.ok()?.metadata().ok())
        .map(|data| data.len())
        .sum()
}
