//! Fits the weights of the search by coordinate ascent on nDCG@10 (Metzler and Croft 2007, from
//! memory) over the tuning half of the judged queries and cases, and says by k-fold
//! cross-validation what that gains on queries it has not seen. The held-out half is measured once,
//! with the weights chosen.

use coldtrap::{
    casebook::Asker,
    search::{Request, SearchIndex, Weights},
};
use rand::{SeedableRng, seq::SliceRandom};
use rand_chacha::ChaCha8Rng;

use super::{
    index_of,
    judged::{HALVES, Judged},
    measure::{mean, ndcg},
    task::Task,
    told,
};

const FOLDS: usize = 5;

const ROUNDS: usize = 2;

/// A weight moves only for a gain above one of these, chosen by cross-validation: the smaller, the
/// more of the noise of a few queries is learnt.
const GAINS: [f64; 2] = [5e-3, 1.5e-3];

/// Factors and steps tried on a weight.
const FACTORS: [f32; 2] = [0.6, 1.6];
const BEGINNINGS: [f32; 2] = [0.03, 0.15];

/// Of the reopened cases every so many-th is asked about, to end within minutes.
const EVERY: usize = 3;

/// A score of each query or case under some weights.
type Scorer<'a> = Box<dyn Fn(usize, &Weights) -> f64 + 'a>;

struct Trial<'a> {
    name: &'static str,
    start: Weights,
    /// Weights that say nothing to this trial.
    idle: &'static [&'static str],
    tuning: Vec<usize>,
    held_out: Vec<usize>,
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
    let trials = [
        Trial {
            name: "QUERY",
            start: Weights::QUERY,
            idle: &["outcome", "sign", "against", "antecedent"],
            tuning: half(HALVES[0], &queries),
            held_out: half(HALVES[1], &queries),
            score: Box::new(|place, weights| {
                let request = Request {
                    text: judged.queries[place].query.clone(),
                    limit: 10,
                    weights: Some(*weights),
                    ..Request::default()
                };
                let answer = index.search(&asker, &request).expect("an answer");
                ndcg(&judged.grades[place], &told(answer), 10)
            }),
        },
        Trial {
            name: "CASE",
            start: Weights::CASE,
            idle: &[],
            tuning: half(HALVES[0], &cases).into_iter().step_by(EVERY).collect(),
            held_out: half(HALVES[1], &cases).into_iter().step_by(EVERY).collect(),
            score: Box::new(|place, weights| {
                let case = &judged.reopened[place];
                let request = Request {
                    limit: 10,
                    weights: Some(*weights),
                    leaning: case.leaning.clone(),
                    ..Request::default()
                };
                let answer = index
                    .similar(&asker, &case.entry, &request)
                    .expect("an answer");
                ndcg(&case.grades, &told(answer), 10)
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
            "{}: {} to tune on, {} held out, {FOLDS} folds",
            self.name,
            self.tuning.len(),
            self.held_out.len()
        );
        let mut best = (0.0, None);
        for gain in GAINS {
            let (mut before, mut after) = (Vec::new(), Vec::new());
            for fold in 0..FOLDS {
                let own = |keep: bool| {
                    let places = shuffled.iter().enumerate();
                    let kept = places.filter(|(at, _)| (at % FOLDS == fold) == keep);
                    kept.map(|(_, place)| *place).collect::<Vec<_>>()
                };
                let (unseen, seen) = (own(true), own(false));
                let fitted = self.fitted(&seen, gain);
                before.push(self.mean(&unseen, &self.start));
                after.push(self.mean(&unseen, &fitted));
                println!(
                    "  gain {gain}, fold {}: nDCG@10 of the unseen {:.4} as it stands, {:.4} fitted \
                     on the rest",
                    fold + 1,
                    before[fold],
                    after[fold]
                );
            }
            let (before, after) = (mean(before.into_iter()), mean(after.into_iter()));
            println!(
                "  gain {gain}, mean of the folds: {before:.4} as it stands, {after:.4} fitted"
            );
            if after - before > best.0 {
                best = (after - before, Some(gain));
            }
        }
        let chosen = match best.1 {
            Some(gain) => self.fitted(&self.tuning, gain),
            None => {
                println!("  fitting gains nothing on the unseen: the weights stay");
                self.start
            }
        };
        println!("  weights: {chosen:#?}");
        for (half, places) in HALVES.iter().zip([&self.tuning, &self.held_out]) {
            println!(
                "  {half}: nDCG@10 {:.4} as it stood, {:.4} with these",
                self.mean(places, &self.start),
                self.mean(places, &chosen)
            );
        }
    }

    fn mean(&self, places: &[usize], weights: &Weights) -> f64 {
        mean(places.iter().map(|place| (self.score)(*place, weights)))
    }

    /// The weights after a few rounds, each weight moved by itself where that gains.
    fn fitted(&self, places: &[usize], gain: f64) -> Weights {
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
                let tried: Vec<f32> = if present > 0.0 {
                    let factors = FACTORS.iter().map(|factor| present * factor);
                    factors.chain([0.0]).collect()
                } else {
                    BEGINNINGS.to_vec()
                };
                for value in tried {
                    if name == "again" && !(0.5..=1.0).contains(&value) {
                        continue;
                    }
                    let mut trial = best;
                    *trial.each()[at].1 = value;
                    let reached = self.mean(places, &trial);
                    if reached > score + gain {
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
