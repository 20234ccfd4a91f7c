//! The open sets of maintenance text: labels of aviation incidents, similar work orders, and
//! work orders in shorthand.

use std::{
    collections::{BTreeMap, BTreeSet, HashMap},
    fs,
    path::Path,
};

use rand::{SeedableRng, seq::SliceRandom};
use rand_chacha::ChaCha8Rng;
use serde::Deserialize;

use super::{
    measure::{Guesses, Row, mean},
    task::{Asked, Ranking, Task},
    vote::nearest_labels,
};

/// The nearest cases whose labels are asked for.
const NEAREST: usize = 40;

/// Labels with fewer records are left out.
const FEWEST: usize = 10;

/// Tasks that are measured together.
pub struct Set {
    name: String,
    /// Its tasks.
    pub tasks: Vec<Task>,
    truth: Truth,
}

enum Truth {
    /// The label of each query of each task.
    Labels(Vec<Vec<String>>),
    /// The places of the similar texts for each query.
    Similar(Vec<BTreeSet<usize>>),
    /// The place of the one right text for each query.
    One(Vec<usize>),
}

impl Set {
    /// The set and its part.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Measures the answers to its tasks.
    pub fn rows(&self, tasks: &[Task], rankings: &[Vec<Ranking>]) -> Vec<Row> {
        let row = |measure, value| Row::new(&self.name, measure, value);
        match &self.truth {
            Truth::Labels(truth) => {
                let mut guesses = Guesses::default();
                for ((task, truth), rankings) in tasks.iter().zip(truth).zip(rankings) {
                    for (truth, ranking) in truth.iter().zip(rankings) {
                        let nearest = ranking
                            .iter()
                            .map(|(place, score)| (task.labels[*place].as_str(), *score));
                        let guessed = nearest_labels(nearest).into_iter();
                        let guessed = guessed.map(|(label, _)| label.to_owned()).collect();
                        guesses.0.push((truth.clone(), guessed));
                    }
                }
                vec![
                    row("top-1", guesses.among(1)),
                    row("top-3", guesses.among(3)),
                    row("macro-F1", guesses.macro_f1()),
                ]
            }
            Truth::Similar(right) => {
                let precision = right.iter().zip(&rankings[0]).map(|(right, ranking)| {
                    let found = ranking.iter().take(10);
                    found.filter(|(place, _)| right.contains(place)).count() as f64 / 10.0
                });
                vec![row("precision@10", mean(precision))]
            }
            Truth::One(right) => {
                let places: Vec<_> = right
                    .iter()
                    .zip(&rankings[0])
                    .map(|(right, ranking)| ranking.iter().position(|(place, _)| place == right))
                    .collect();
                let within = |first: usize| {
                    mean(
                        places
                            .iter()
                            .map(|place| f64::from(place.is_some_and(|place| place < first))),
                    )
                };
                let reciprocal = places
                    .iter()
                    .map(|place| place.map_or(0.0, |place| 1.0 / (place + 1) as f64));
                vec![
                    row("recall@1", within(1)),
                    row("recall@10", within(10)),
                    row("MRR", mean(reciprocal)),
                ]
            }
        }
    }
}

/// Every set found in the folder; a sentence for each that is not there.
pub fn load(folder: &Path) -> (Vec<Set>, Vec<String>) {
    let (mut sets, mut missing) = (Vec::new(), Vec::new());
    let mut add = |name: &str, found: Option<Vec<Set>>| match found {
        Some(found) => sets.extend(found),
        None => missing.push(format!("{name} skipped: not in {}.", folder.display())),
    };
    add("faa", labels(&folder.join("faa")));
    add("maintie", similar(&folder.join("maintie")));
    add("maintnorm", shorthand(&folder.join("maintnorm")));
    (sets, missing)
}

/// Records before 2000 as cases with their label as cause, for fitting: four fifths to be found,
/// every so many-th of the others asked about, with its label. None of what is measured by time is
/// among them.
pub fn early(folder: &Path, every: usize) -> Vec<(Task, Vec<String>)> {
    let Some(records) = records(&folder.join("faa")) else {
        return Vec::new();
    };
    let labels = LABELS.iter().map(|(name, label)| {
        let early = records
            .iter()
            .filter(|record| record.date.as_str() < "2000" && !label(record).is_empty());
        let (mut found, mut asked) = (Vec::new(), Vec::new());
        for (at, record) in early.enumerate() {
            match at % 5 {
                0 => asked.push(record),
                _ => found.push(record),
            }
        }
        let asked: Vec<&Record> = asked.into_iter().step_by(every).collect();
        let truth = asked.iter().map(|record| label(record).clone()).collect();
        (labelled(name, *label, &found, &asked), truth)
    });
    labels.collect()
}

/// Texts with their labels as causes, as in a fleet, where a closed case has one.
fn labelled(name: &str, label: Label, found: &[&Record], asked: &[&Record]) -> Task {
    let texts = found.iter().map(|record| record.text.clone()).collect();
    let asked = asked
        .iter()
        .map(|record| Asked::new(&record.text))
        .collect();
    let mut task = Task::of_texts(name, texts, asked);
    task.labels = found.iter().map(|record| label(record).clone()).collect();
    for (entry, label) in task.entries.iter_mut().zip(&task.labels) {
        entry.cause = Some(label.clone());
    }
    task.depth = NEAREST;
    task.is_case = true;
    task
}

type Label = fn(&Record) -> &String;

/// The labels of a record.
const LABELS: [(&str, Label); 2] = [
    ("phase", |record| &record.phase),
    ("condition", |record| &record.condition),
];

fn records(folder: &Path) -> Option<Vec<Record>> {
    let text = fs::read_to_string(folder.join("records.jsonl")).ok()?;
    let records = text
        .lines()
        .map(|line| serde_json::from_str(line).expect("a record"));
    Some(records.collect())
}

#[derive(Deserialize)]
struct Record {
    date: String,
    text: String,
    phase: String,
    condition: String,
}

/// Each record's label from the nearest of the others: five parts, and before 2000 against after.
fn labels(folder: &Path) -> Option<Vec<Set>> {
    let records = records(folder)?;
    let mut sets = Vec::new();
    for (name, label) in LABELS {
        let mut of_label: BTreeMap<&str, Vec<&Record>> = BTreeMap::new();
        for record in &records {
            of_label.entry(label(record)).or_default().push(record);
        }
        of_label.retain(|label, records| !label.is_empty() && records.len() >= FEWEST);
        let mut parts: Vec<Vec<&Record>> = vec![Vec::new(); 5];
        let mut dice = ChaCha8Rng::seed_from_u64(0);
        let mut next = 0;
        for of_label in of_label.values_mut() {
            of_label.shuffle(&mut dice);
            for record in of_label.iter() {
                parts[next % 5].push(record);
                next += 1;
            }
        }
        let all = || parts.iter().flatten().copied();
        let folds = (0..5).map(|fold| {
            let train = parts.iter().enumerate().filter(|(part, _)| *part != fold);
            let train = train.flat_map(|(_, records)| records.iter().copied());
            (train.collect::<Vec<_>>(), parts[fold].clone())
        });
        let by_time = all().partition::<Vec<_>, _>(|record| record.date.as_str() < "2000");
        for (how, splits) in [
            ("5 parts", folds.collect::<Vec<_>>()),
            ("by time", vec![by_time]),
        ] {
            let mut set = Set {
                name: format!("faa {name}, {how}"),
                tasks: Vec::new(),
                truth: Truth::Labels(Vec::new()),
            };
            let mut truth = Vec::new();
            for (train, test) in splits {
                set.tasks.push(labelled(&set.name, label, &train, &test));
                truth.push(test.iter().map(|record| label(record).clone()).collect());
            }
            set.truth = Truth::Labels(truth);
            sets.push(set);
        }
    }
    Some(sets)
}

#[derive(Deserialize)]
struct WorkOrder {
    text: String,
    entities: Vec<Entity>,
}

#[derive(Deserialize)]
struct Entity {
    #[serde(rename = "type")]
    kind: String,
}

impl WorkOrder {
    fn of_kind(&self, kind: &str) -> BTreeSet<&str> {
        let entities = self.entities.iter().map(|entity| entity.kind.as_str());
        entities.filter(|own| own.contains(kind)).collect()
    }
}

/// Similar is a text with the same leaf type of object and the same undesirable state; asked is
/// each text that has both and is not alone.
fn similar(folder: &Path) -> Option<Vec<Set>> {
    let text = fs::read_to_string(folder.join("gold.json")).ok()?;
    let orders: Vec<WorkOrder> = serde_json::from_str(&text).expect("annotated texts");
    let told: Vec<_> = orders
        .iter()
        .map(|order| {
            (
                order.of_kind("PhysicalObject"),
                order.of_kind("UndesirableState"),
            )
        })
        .collect();
    let (mut asked, mut right) = (Vec::new(), Vec::new());
    for (own, (objects, states)) in told.iter().enumerate() {
        let similar: BTreeSet<usize> = (0..told.len())
            .filter(|other| {
                *other != own
                    && !objects.is_disjoint(&told[*other].0)
                    && !states.is_disjoint(&told[*other].1)
            })
            .collect();
        if !similar.is_empty() {
            asked.push(Asked {
                text: orders[own].text.clone(),
                leave_out: Some(own),
            });
            right.push(similar);
        }
    }
    let texts = orders.into_iter().map(|order| order.text).collect();
    let mut task = Task::of_texts("maintie", texts, asked);
    task.is_case = true;
    task.depth = 10;
    Some(vec![Set {
        name: "maintie".to_owned(),
        tasks: vec![task],
        truth: Truth::Similar(right),
    }])
}

/// Texts as written and as meant, token by token; a blank line between texts.
fn pairs(text: &str) -> Vec<Vec<(&str, &str)>> {
    text.split("\n\n")
        .map(|block| {
            let lines = block.lines();
            lines.filter_map(|line| line.split_once('\t')).collect()
        })
        .filter(|block: &Vec<_>| !block.is_empty())
        .collect()
}

/// A text as written and as meant.
fn joined(pairs: &[(&str, &str)]) -> (String, String) {
    let join = |words: &mut dyn Iterator<Item = &str>| {
        let words: Vec<_> = words.filter(|word| !word.is_empty()).collect();
        words.join(" ")
    };
    (
        join(&mut pairs.iter().map(|(raw, _)| *raw)),
        join(&mut pairs.iter().map(|(_, meant)| *meant)),
    )
}

/// Each test text as written, to be found as it is meant among all the company's texts as they
/// are meant; words are learnt from the train texts alone.
fn shorthand(folder: &Path) -> Option<Vec<Set>> {
    let mut sets = Vec::new();
    for company in ["a", "b", "c"] {
        let read = |part: &str| {
            fs::read_to_string(folder.join(format!("company_{company}_{part}.norm"))).ok()
        };
        let (train, val, test) = (read("train")?, read("val")?, read("test")?);
        let mut places: HashMap<String, usize> = HashMap::new();
        let mut texts = Vec::new();
        for block in [&train, &val, &test]
            .into_iter()
            .flat_map(|text| pairs(text))
        {
            let (_, meant) = joined(&block);
            places.entry(meant.clone()).or_insert_with(|| {
                texts.push(meant);
                texts.len() - 1
            });
        }
        let (mut asked, mut right) = (Vec::new(), Vec::new());
        for block in pairs(&test) {
            let (raw, meant) = joined(&block);
            asked.push(Asked::new(raw));
            right.push(places[&meant]);
        }
        let name = format!("maintnorm, company {company}");
        let mut task = Task::of_texts(&name, texts, asked);
        task.pairs = pairs(&train).iter().map(|block| joined(block)).collect();
        sets.push(Set {
            name,
            tasks: vec![task],
            truth: Truth::One(right),
        });
    }
    Some(sets)
}
