//! Fits the weights of the search by coordinate ascent on nDCG@10 (Metzler and Croft 2007, from
//! memory) over the tuning half of the judged queries, and over the tuning half of the reopened cases
//! together with open texts before 2000, and says by k-fold cross-validation what that gains on
//! queries it has not seen. The held-out halves are not looked at.

use std::path::Path;

use coldtrap::{
    casebook::Asker,
    search::{Entry, Request, SearchIndex, Weights},
};
use rand::{SeedableRng, seq::SliceRandom};
use rand_chacha::ChaCha8Rng;

use super::{
    index_of,
    judged::{HALVES, Judged},
    measure::{mean, ndcg},
    open_text,
    task::Task,
    told,
};

const FOLDS: usize = 5;

const ROUNDS: usize = 2;

/// A weight moves only for a gain above this: the smaller, the more of the noise of a few queries
/// is learnt.
const GAIN: f64 = 2e-3;

/// Factors tried on a weight, and values for those that are shares of the best case's worth: never
/// so much that a rare word is outweighed.
const FACTORS: [f32; 2] = [0.6, 1.6];
const SHARES: [f32; 4] = [0.0, 0.03, 0.06, 0.12];

/// The weights that are such shares.
const SHARED: [&str; 9] = [
    "tells",
    "class",
    "pump",
    "gauge",
    "sign",
    "against",
    "antecedent",
    "confirmed",
    "age",
];

/// What people see a whole case compared by keeps at least so much of a say, however little it brings
/// on a few tuning cases: its pressure, the outcomes of its checks, and signs and events in both.
const CASE_FLOORS: [(&str, f32); 5] = [
    ("pressure", 3.0),
    ("outcome", 0.25),
    ("sign", 0.03),
    ("against", 0.03),
    ("antecedent", 0.03),
];

/// Of the reopened cases and of the open texts every so many-th is asked about, to end within
/// minutes.
const EVERY: [usize; 2] = [3, 8];

/// A score of each query or case under some weights.
type Scorer<'a> = Box<dyn Fn(usize, &Weights) -> f64 + 'a>;

struct Trial<'a> {
    name: &'static str,
    start: Weights,
    /// Weights that say nothing to this trial.
    idle: &'static [&'static str],
    /// The least that a weight may be, where that is not nothing.
    floors: &'static [(&'static str, f32)],
    tuning: Vec<usize>,
    score: Scorer<'a>,
}

/// Fits both tables and prints them.
pub fn run(task: &Task, judged: &Judged) {
    let (_folder, index) = index_of(task);
    let asker = Asker::console();
    let half = |half: &str, all: &[&str]| {
        let places = 0..all.len();
        places
            .filter(|place| all[*place] == half)
            .collect::<Vec<_>>()
    };
    let queries: Vec<_> = judged.queries.iter().map(|q| q.half.as_str()).collect();
    let cases: Vec<_> = judged.reopened.iter().map(|case| case.half).collect();
    let index: &SearchIndex = &index;
    let folder = std::env::var("COLDTRAP_TEXT_SETS").unwrap_or_default();
    let texts: Vec<_> = open_text::early(Path::new(&folder), EVERY[1])
        .into_iter()
        .map(|(task, labels)| (index_of(&task), task, labels))
        .collect();
    let texts: Vec<(&SearchIndex, &Task, usize, &String)> = texts
        .iter()
        .flat_map(|((_, index), task, labels)| {
            let asked = labels.iter().enumerate();
            asked.map(move |(at, label)| (index.as_ref(), task, at, label))
        })
        .collect();
    let reopened = judged.reopened.len();
    // What is learnt must not have seen the cause asked for: each case is asked of an index that
    // holds none of its part.
    let without: Vec<_> = (0..FOLDS)
        .map(|part| {
            let mut rest = Task::of_texts(&task.name, Vec::new(), Vec::new());
            let entries = task.entries.iter();
            rest.entries = entries
                .filter(|entry| entry.number as usize % FOLDS != part)
                .cloned()
                .collect();
            index_of(&rest)
        })
        .collect();
    println!(
        "CASE has {} open texts beside the reopened cases",
        texts.len()
    );
    let typed = |place: usize, weights: &Weights| {
        let request = Request {
            text: judged.queries[place].query.clone(),
            limit: 10,
            weights: Some(*weights),
            ..Request::default()
        };
        let answer = index.search(&asker, &request).expect("an answer");
        ndcg(&judged.grades[place], &told(answer), 10)
    };
    let trials = [
        Trial {
            name: "QUERY, what is beside words",
            start: Weights::QUERY,
            idle: &[
                "symptom",
                "cause",
                "fix",
                "notes",
                "facts",
                "pressure",
                "quantity",
                "likeness",
                "shared_cause",
                "again",
                "sign",
                "against",
                "antecedent",
                "outcome",
            ],
            floors: &[],
            tuning: half(HALVES[0], &queries),
            score: Box::new(typed),
        },
        Trial {
            name: "QUERY, all",
            start: Weights::QUERY,
            idle: &["outcome", "sign", "against", "antecedent"],
            floors: &[],
            tuning: half(HALVES[0], &queries),
            score: Box::new(typed),
        },
        Trial {
            name: "CASE",
            start: Weights::CASE,
            idle: &[
                "symptom",
                "cause",
                "fix",
                "notes",
                "facts",
                "quantity",
                "likeness",
                "side_by_side",
                "again",
            ],
            floors: &CASE_FLOORS,
            tuning: half(HALVES[0], &cases)
                .into_iter()
                .step_by(EVERY[0])
                .chain(reopened..reopened + texts.len())
                .collect(),
            score: Box::new(|place, weights| {
                if place >= reopened {
                    let (index, task, at, label) = texts[place - reopened];
                    let request = Request {
                        limit: 10,
                        weights: Some(*weights),
                        ..Request::default()
                    };
                    let entry = Entry::of_text(-1, &task.queries[at].text);
                    let answer = index.similar(&asker, &entry, &request).expect("an answer");
                    let grades: Vec<u32> = (task.labels.iter())
                        .map(|own| u32::from(own == label))
                        .collect();
                    return if grades.contains(&1) {
                        ndcg(&grades, &told(answer), 10)
                    } else {
                        0.0
                    };
                }
                let case = &judged.reopened[place];
                let request = Request {
                    limit: 10,
                    weights: Some(*weights),
                    leaning: case.leaning.clone(),
                    ..Request::default()
                };
                let part = case.entry.number as usize % FOLDS;
                let answer = without[part].1.similar(&asker, &case.entry, &request);
                let mut grades = case.grades.clone();
                grades
                    .iter_mut()
                    .skip(part)
                    .step_by(FOLDS)
                    .for_each(|grade| *grade = 0);
                match grades.contains(&2) {
                    true => ndcg(&grades, &told(answer.expect("an answer")), 10),
                    false => 0.0,
                }
            }),
        },
    ];
    for trial in trials {
        trial.run();
    }
}

impl Trial<'_> {
    fn run(&self) {
        let mut shuffled = self.tuning.clone();
        shuffled.shuffle(&mut ChaCha8Rng::seed_from_u64(5));
        println!(
            "{}: {} to tune on, {FOLDS} folds, a gain of at least {GAIN}",
            self.name,
            self.tuning.len()
        );
        let (mut before, mut after) = (Vec::new(), Vec::new());
        for fold in 0..FOLDS {
            let own = |keep: bool| {
                let places = shuffled.iter().enumerate();
                let kept = places.filter(|(at, _)| (at % FOLDS == fold) == keep);
                kept.map(|(_, place)| *place).collect::<Vec<_>>()
            };
            let (unseen, seen) = (own(true), own(false));
            let fitted = self.fitted(&seen);
            before.push(self.mean(&unseen, &self.start));
            after.push(self.mean(&unseen, &fitted));
            println!(
                "  fold {}: nDCG@10 of the unseen {:.4} as it stands, {:.4} fitted on the rest",
                fold + 1,
                before[fold],
                after[fold]
            );
        }
        let (before, after) = (mean(before.into_iter()), mean(after.into_iter()));
        println!("  mean of the folds: {before:.4} as it stands, {after:.4} fitted");
        let chosen = self.fitted(&self.tuning);
        println!(
            "  fitted on all of the tuning half, {:.4} where it stood at {:.4}: {chosen:#?}",
            self.mean(&self.tuning, &chosen),
            self.mean(&self.tuning, &self.start)
        );
        if after <= before {
            println!("  fitting gains nothing on the unseen: the weights stay");
        }
    }

    fn mean(&self, places: &[usize], weights: &Weights) -> f64 {
        mean(places.iter().map(|place| (self.score)(*place, weights)))
    }

    /// The weights after a few rounds, each weight moved by itself where that gains.
    fn fitted(&self, places: &[usize]) -> Weights {
        let mut best = self.start;
        let mut score = self.mean(places, &best);
        let count = best.each().len();
        for _ in 0..ROUNDS {
            let mut moved = false;
            for at in 0..count {
                let (name, present) = {
                    let mut now = best;
                    let all = now.each();
                    (all[at].0, *all[at].1)
                };
                if self.idle.contains(&name) {
                    continue;
                }
                let tried: Vec<f32> = if SHARED.contains(&name) {
                    SHARES.to_vec()
                } else {
                    let factors = FACTORS.iter().map(|factor| present * factor);
                    factors.chain([0.0]).collect()
                };
                let floor = self.floors.iter().find(|(of, _)| *of == name);
                let floor = floor.map_or(0.0, |(_, floor)| *floor);
                let tried = tried.into_iter().filter(|value| *value >= floor);
                for value in tried.filter(|value| *value != present) {
                    if name == "again" && !(0.5..=1.0).contains(&value) {
                        continue;
                    }
                    let mut trial = best;
                    *trial.each()[at].1 = value;
                    let reached = self.mean(places, &trial);
                    if reached > score + GAIN {
                        (best, score, moved) = (trial, reached, true);
                    }
                }
            }
            if !moved {
                break;
            }
        }
        best
    }
}
