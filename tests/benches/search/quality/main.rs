//! How well the search ranks, beside plain engines on the same texts: one table.
//!
//! Run by `tests/benches/search_quality.sh`. The open text sets are looked for in the folder that
//! `COLDTRAP_TEXT_SETS` names, the Python of the outside peers is named by
//! `COLDTRAP_BENCH_PYTHON`; what is absent is said and left out. Words given as arguments choose
//! the sets whose names begin with one of them; `fit` fits the weights of the search instead.

#![expect(
    unreachable_pub,
    reason = "nothing of a bench binary can be reached from outside"
)]

mod fit;
mod judged;
mod measure;
mod open_text;
mod peers;
mod short_list;
mod task;
mod vote;

use std::{path::Path, sync::Arc};

use coldtrap::{
    casebook::Asker,
    search::{Answer, Entry, Request, SearchIndex, Shelf, Standing},
};

use judged::Judged;
use measure::Row;
use open_text::Set;
use task::{Ranking, Task};

/// An index of a task's texts, and the folder it lies in.
fn index_of(task: &Task) -> (tempfile::TempDir, Arc<SearchIndex>) {
    let folder = tempfile::TempDir::new().expect("a temporary folder");
    let pairs: String = task
        .pairs
        .iter()
        .map(|(written, meant)| format!("{written}\t{meant}\n"))
        .collect();
    std::fs::write(folder.path().join("pairs.tsv"), pairs).expect("written");
    let store = Standing {
        identity: 1,
        last: 1,
        names: 0,
    };
    let shelf = Shelf::open(folder.path()).expect("a folder for the index");
    let index = shelf.find(store).expect("an empty index").target;
    index.add(&task.entries).expect("entries are taken");
    index.commit(store.beginning()).expect("entries are kept");
    (folder, index)
}

/// The search under test, through the calls that pages and API make.
fn ours(task: &Task) -> Vec<Ranking> {
    let (_folder, index) = index_of(task);
    let asker = Asker::console();
    let asked = task.queries.iter();
    asked
        .map(|query| {
            let request = Request {
                text: query.text.clone(),
                limit: task.depth + 1,
                ..Request::default()
            };
            let answer = if task.is_case {
                let number = query.leave_out.map_or(-1, |place| place as i64);
                index.similar(&asker, &Entry::of_text(number, &query.text), &request)
            } else {
                index.search(&asker, &request)
            };
            query.tidy(told(answer.expect("an answer")), task.depth)
        })
        .collect()
}

/// The hits of an answer; those put together with one follow it.
fn told(answer: Answer) -> Ranking {
    answer
        .hits
        .iter()
        .flat_map(|hit| {
            std::iter::once(&hit.number)
                .chain(&hit.alike)
                .map(|number| (*number as usize, f64::from(hit.score)))
        })
        .collect()
}

enum Part {
    Judged(Box<Judged>),
    Open(Set),
}

fn main() {
    let mut chosen: Vec<String> = std::env::args().skip(1).collect();
    chosen.retain(|argument| !argument.starts_with("--"));
    let wanted = |name: &str| chosen.is_empty() || chosen.iter().any(|c| name.starts_with(c));
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    if chosen.iter().any(|argument| argument == "fit") {
        let (task, judged) = runtime.block_on(judged::load());
        fit::run(&task, &judged);
        return;
    }
    if chosen.iter().any(|argument| argument == "short-list") {
        let (_, judged) = runtime.block_on(judged::load());
        short_list::run(&judged);
        return;
    }
    let mut missing = Vec::new();
    let mut tasks: Vec<Task> = Vec::new();
    let mut parts: Vec<(std::ops::Range<usize>, Part)> = Vec::new();
    if ["judged", "circumstances", "denials"]
        .into_iter()
        .any(wanted)
    {
        let (task, judged) = runtime.block_on(judged::load());
        parts.push((0..1, Part::Judged(Box::new(judged))));
        tasks.push(task);
    }
    match std::env::var("COLDTRAP_TEXT_SETS") {
        Ok(folder) => {
            let (sets, absent) = open_text::load(Path::new(&folder));
            missing.extend(absent);
            for mut set in sets.into_iter().filter(|set| wanted(set.name())) {
                let from = tasks.len();
                tasks.append(&mut set.tasks);
                parts.push((from..tasks.len(), Part::Open(set)));
            }
        }
        Err(_) => missing.push(
            "The open text sets are skipped: COLDTRAP_TEXT_SETS does not name their folder."
                .to_owned(),
        ),
    }
    let mut engines: Vec<(String, Vec<Vec<Ranking>>)> = vec![
        ("this search".to_owned(), tasks.iter().map(ours).collect()),
        (
            "BM25".to_owned(),
            tasks
                .iter()
                .map(|task| peers::tantivy(task, "default"))
                .collect(),
        ),
        (
            "BM25, stemmed".to_owned(),
            tasks
                .iter()
                .map(|task| peers::tantivy(task, "en_stem"))
                .collect(),
        ),
        (
            "FTS5 bm25".to_owned(),
            tasks
                .iter()
                .map(|task| runtime.block_on(peers::fts5(task)))
                .collect(),
        ),
    ];
    match std::env::var("COLDTRAP_BENCH_PYTHON") {
        Ok(python) => {
            let (rankings, absent) = peers::in_python(&python, &tasks);
            engines.extend(rankings);
            missing.extend(absent);
        }
        Err(_) => missing.push(
            "PostgreSQL and embeddings are left out: COLDTRAP_BENCH_PYTHON names no Python."
                .to_owned(),
        ),
    }
    print!("{:<26}{:<14}", "set", "measure");
    for (name, _) in &engines {
        print!("{name:>22}");
    }
    println!();
    for (range, part) in &parts {
        let columns: Vec<Vec<Row>> = engines
            .iter()
            .map(|(_, answers)| match part {
                Part::Judged(judged) => judged.rows(&answers[range.start]),
                Part::Open(set) => set.rows(&tasks[range.clone()], &answers[range.clone()]),
            })
            .collect();
        for line in 0..columns[0].len() {
            let row = &columns[0][line];
            print!("{:<26}{:<14}", row.set, row.measure);
            for column in &columns {
                print!("{:>22.3}", column[line].value);
            }
            println!();
        }
    }
    for sentence in missing {
        println!("{sentence}");
    }
    if chosen.is_empty() {
        let (_, judged) = runtime.block_on(judged::load());
        short_list::run(&judged);
    }
}
