//! What the short list of a large index costs in quality, against weighing every match.

use std::collections::HashSet;

use coldtrap::{
    casebook::Asker,
    catalogue::source,
    search::{Answer, Entry, Leaning, Request, SearchIndex},
    synthesise::Fleet,
};

use super::{
    index_of,
    judged::{Judged, reopened_as},
    measure::{mean, ndcg},
    task::Task,
    told,
};

const CASES: u64 = 100_000;

/// The seed of the fleet; no other bench uses it.
const SEED: u64 = 4_099;

/// Every so many-th case is reopened and asked about.
const EVERY: usize = 500;

/// Scores this near are equal.
const EQUAL: f32 = 1e-3;

/// What one kind of question came to.
#[derive(Default)]
struct Kind {
    recall: [Vec<f64>; 2],
    /// nDCG@10 of the places in the whole ranking.
    places: Vec<f64>,
    /// nDCG@10 by cause, weighed in whole and by a short list.
    causes: [Vec<f64>; 2],
}

/// Prints what is lost.
pub fn run(judged: &Judged) {
    let catalogue = source::built_in().expect("the built-in catalogue is right");
    let fleet = Fleet::new(&catalogue, SEED);
    let mut asked: Vec<(Entry, Leaning)> = Vec::new();
    let mut entries = Vec::new();
    for (made, place) in fleet.incidents(CASES).zip(0..) {
        if (place as usize).is_multiple_of(EVERY) {
            let open = reopened_as(&made.incident);
            let leaning = Leaning::new(&open, &catalogue);
            asked.push((Entry::new(place, 1, &open, made.tool, &catalogue), leaning));
        }
        entries.push(Entry::new(place, 1, &made.incident, made.tool, &catalogue));
    }
    let causes: Vec<String> = entries
        .iter()
        .map(|entry| entry.cause.clone().unwrap_or_default())
        .collect();
    let mut task = Task::of_texts("short list", Vec::new(), Vec::new());
    task.entries = entries;
    let (_folder, index) = index_of(&task);
    drop(task);
    let index: &SearchIndex = &index;
    let asker = Asker::console();
    let (mut typed, mut pressures, mut cases) = (Kind::default(), Kind::default(), Kind::default());
    // Queries with field words and minus are narrowed before any list is drawn up.
    for query in judged.queries.iter().filter(|q| q.set != "denials") {
        let ask = |whole| {
            let request = Request {
                text: query.query.clone(),
                limit: 20,
                whole,
                ..Request::default()
            };
            index.search(&asker, &request).expect("an answer")
        };
        let (whole, short) = (ask(true), ask(false));
        let grades: Vec<u32> = causes.iter().map(|cause| query.grade_of(cause)).collect();
        let kind = if query.names_a_pressure() {
            &mut pressures
        } else {
            &mut typed
        };
        kind.add(&whole, &short, Some(&grades));
    }
    for (entry, leaning) in &asked {
        let ask = |whole| {
            let request = Request {
                limit: 20,
                whole,
                leaning: leaning.clone(),
                ..Request::default()
            };
            index.similar(&asker, entry, &request).expect("an answer")
        };
        let own = &causes[entry.number as usize];
        let grades: Vec<u32> = causes
            .iter()
            .enumerate()
            .map(|(at, cause)| u32::from(cause == own && at as i64 != entry.number))
            .collect();
        cases.add(&ask(true), &ask(false), Some(&grades));
    }
    println!(
        "short list against weighing every match, {CASES} synthesised cases (seed {SEED}); a hit \
         as good as the last of the whole ranking counts as found"
    );
    for (name, kind) in [
        ("typed, without a pressure", &typed),
        ("typed, with a pressure", &pressures),
        ("similar cases", &cases),
    ] {
        kind.print(name);
    }
}

impl Kind {
    fn add(&mut self, whole: &Answer, short: &Answer, grades: Option<&Vec<u32>>) {
        for (recall, depth) in self.recall.iter_mut().zip([10, 20]) {
            let depth = depth.min(whole.hits.len());
            if depth == 0 {
                continue;
            }
            let first: HashSet<i64> = whole.hits[..depth].iter().map(|hit| hit.number).collect();
            let last = whole.hits[depth - 1].score * (1.0 - EQUAL);
            let found = short.hits.iter().take(depth);
            let found = found.filter(|hit| first.contains(&hit.number) || hit.score >= last);
            recall.push(found.count() as f64 / depth as f64);
        }
        let mut places = vec![0; CASES as usize];
        for (place, hit) in whole.hits.iter().enumerate() {
            places[hit.number as usize] = match place {
                0..3 => 3,
                3..10 => 2,
                _ => 1,
            };
        }
        if !whole.hits.is_empty() {
            self.places.push(ndcg(&places, &told(short.clone()), 10));
        }
        if let Some(grades) = grades {
            for (causes, answer) in self.causes.iter_mut().zip([whole, short]) {
                causes.push(ndcg(grades, &told(answer.clone()), 10));
            }
        }
    }

    fn print(&self, name: &str) {
        let mean = |values: &[f64]| mean(values.iter().copied());
        println!(
            "{name} ({} asked): recall@10 {:.4}, recall@20 {:.4}, nDCG@10 by place {:.4}",
            self.places.len(),
            mean(&self.recall[0]),
            mean(&self.recall[1]),
            mean(&self.places)
        );
        if !self.causes[0].is_empty() {
            println!(
                "  nDCG@10 by cause {:.4} weighed whole, {:.4} by the short list",
                mean(&self.causes[0]),
                mean(&self.causes[1])
            );
        }
    }
}
