//! Times the order of checks, against a plain dynamic programme in the same run.
//!
//! `cargo bench --bench order` prints the median minutes of work on drawn problems: 16
//! checks and 3 isolating ones exactly, with three states and with minutes to finish, and
//! 40 and 3 with the stated gap. The plain programme remembers every situation in a hash
//! map, as the textbook has it; both have to come to the same expected minutes.

use std::{collections::HashMap, time::Instant};

use coldtrap::advice::{
    State,
    sequence::{CheckOption, Effort, Problem, plan},
};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const CAUSES: usize = 45;
const CHANGES: [[f64; 3]; 3] = [[0.0, 15.0, 150.0], [60.0, 0.0, 150.0], [210.0, 225.0, 0.0]];
const RUNS: usize = 11;

fn main() {
    for finishing in [false, true] {
        let problems = drawn(RUNS, 16, finishing);
        let mut took = Vec::new();
        let mut minutes = Vec::new();
        for problem in &problems {
            let clock = Instant::now();
            let plan = plan(problem, Effort::Full).expect("the problem is well formed");
            took.push(clock.elapsed().as_secs_f64() * 1e3);
            assert!(plan.proven);
            minutes.push(plan.expected_minutes);
        }
        let clock = Instant::now();
        let least = Plain::new(&problems[0]).solve();
        let plain = clock.elapsed().as_secs_f64() * 1e3;
        assert!(
            (least - minutes[0]).abs() < 1e-9 * least,
            "{least} against {}",
            minutes[0]
        );
        let median = median(&mut took);
        println!(
            "16 and 3 exactly{}: {median:.1} ms (median of {RUNS}); plain, once: {plain:.0} ms; \
             ratio {:.3}",
            if finishing {
                ", with minutes to finish"
            } else {
                ""
            },
            median / plain
        );
    }
    let (mut took, mut gaps) = (Vec::new(), Vec::new());
    for problem in &drawn(RUNS, 40, false) {
        let clock = Instant::now();
        let plan = plan(problem, Effort::Full).expect("the problem is well formed");
        took.push(clock.elapsed().as_secs_f64() * 1e3);
        gaps.push(plan.gap());
    }
    println!(
        "40 and 3 bounded: {:.1} ms (median of {RUNS}); gap {:.2}",
        median(&mut took),
        median(&mut gaps)
    );
}

fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

fn drawn(count: usize, checks: usize, finishing: bool) -> Vec<Problem> {
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    (0..count)
        .map(|_| one(&mut rng, checks, finishing))
        .collect()
}

fn one(rng: &mut ChaCha8Rng, checks: usize, finishing: bool) -> Problem {
    let mut chances: Vec<f64> = (0..CAUSES)
        .map(|_| (3.0 * (rng.random::<f64>() + rng.random::<f64>() - 1.0)).exp())
        .collect();
    let total: f64 = chances.iter().sum::<f64>() / 0.97;
    chances.iter_mut().for_each(|chance| *chance /= total);
    let options = (0..checks + 3).map(|at| {
        let isolating = at >= checks;
        let mut reveals: Vec<(usize, f64)> = Vec::new();
        for cause in 0..CAUSES {
            if rng.random_bool(if isolating { 0.45 } else { 0.09 }) {
                reveals.push((cause, 0.4 + 0.58 * rng.random::<f64>()));
            }
        }
        let state = State::ALL[[0, 0, 1, 1, 1, 2][rng.random_range(0..6)]];
        CheckOption {
            minutes: 5.0 * f64::from(rng.random_range(1..=12)),
            state: if isolating { State::Pumped } else { state },
            isolating,
            false_alarm: 0.05,
            false_alarm_minutes: if isolating { 0.0 } else { 20.0 },
            reveals,
            needs_first: Vec::new(),
        }
    });
    let checks = options.collect();
    let mut finish = Vec::new();
    if finishing {
        for _ in 0..CAUSES {
            let (state, mending) = (rng.random_range(0..3), 60.0 * rng.random::<f64>());
            finish.push(CHANGES.map(|row| row[state] + mending));
        }
    }
    Problem {
        chances,
        checks,
        changes: CHANGES,
        state: State::Pumped,
        finish,
    }
}

/// Made direct checks, outcomes of isolating ones (base 3), state.
type Situation = (u32, u32, usize);

struct Plain<'p> {
    problem: &'p Problem,
    known: HashMap<Situation, f64>,
}

impl<'p> Plain<'p> {
    fn new(problem: &'p Problem) -> Self {
        Self {
            problem,
            known: HashMap::new(),
        }
    }

    fn solve(mut self) -> f64 {
        let rest = 1.0 - self.problem.chances.iter().sum::<f64>();
        let weights: Vec<f64> = self.problem.chances.iter().copied().chain([rest]).collect();
        self.least((0, 0, self.problem.state as usize), &weights)
    }

    fn least(&mut self, situation: Situation, weights: &[f64]) -> f64 {
        if let Some(&known) = self.known.get(&situation) {
            return known;
        }
        let (made, told, state) = situation;
        let mass: f64 = weights.iter().sum();
        let problem = self.problem;
        let (mut least, mut digit) = (f64::INFINITY, 1);
        let mut open = false;
        for (at, check) in problem.checks.iter().enumerate() {
            let to = check.state as usize;
            let alarm = check.false_alarm * check.false_alarm_minutes;
            let mut minutes = (problem.changes[state][to] + check.minutes + alarm) * mass;
            let chance = |cause: usize, otherwise: f64| {
                let mut reveals = check.reveals.iter();
                reveals
                    .find(|pair| pair.0 == cause)
                    .map_or(otherwise, |pair| pair.1)
            };
            if check.isolating {
                let now = digit;
                digit *= 3;
                if told / now % 3 != 0 || made + 1 == 1 << (problem.checks.len() - 3) {
                    continue;
                }
                for outcome in [1, 2] {
                    let side = |chance: f64| if outcome == 1 { chance } else { 1.0 - chance };
                    let told_weights: Vec<f64> = weights
                        .iter()
                        .enumerate()
                        .map(|(cause, weight)| weight * side(chance(cause, check.false_alarm)))
                        .collect();
                    minutes += self.least((made, told + outcome * now, to), &told_weights);
                }
            } else if made & 1 << at == 0 {
                open = true;
                let mut left = weights.to_vec();
                for (cause, left) in left.iter_mut().enumerate() {
                    let found = *left * chance(cause, 0.0);
                    *left -= found;
                    minutes += found * problem.finish.get(cause).map_or(0.0, |row| row[to]);
                }
                minutes += self.least((made | 1 << at, told, to), &left);
            } else {
                continue;
            }
            least = least.min(minutes);
        }
        let least = if open { least } else { 0.0 };
        self.known.insert(situation, least);
        least
    }
}
