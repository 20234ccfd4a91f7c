//! Times the order of checks, against a plain dynamic programme in the same run.
//!
//! `cargo bench --bench order` prints the median minutes of work on drawn problems: 16
//! checks and 3 isolating ones exactly, with three states and with minutes to finish, and
//! 40 and 3 with the stated gap. Then questions on real classes (`QUESTIONS` of each, seen on
//! made-up tools): time, gap, and how much shorter the program itself expects the search to be
//! if it began with another check (`FIRST=0` leaves that out, which takes long), and a whole answer
//! without a price of help and with the one of several that takes longest. The plain programme remembers every situation in a hash
//! map, as the textbook has it; both have to come to the same expected minutes.

use std::{collections::HashMap, time::Instant};

use coldtrap::advice::{
    Evidence, Learned, Request, State, advise, problem_of,
    sequence::{CheckOption, Effort, Problem, minutes_beginning_with, plan},
};
use coldtrap::catalogue::source;
use coldtrap::knowledge::practice;
use coldtrap::statistics::tables::Lessons;
use coldtrap::synthesise::Fleet;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const CAUSES: usize = 45;
const CHANGES: [[f64; 3]; 3] = [[0.0, 15.0, 150.0], [60.0, 0.0, 150.0], [210.0, 225.0, 0.0]];
const RUNS: usize = 11;
/// Prices of help, as shares of the minutes expected without it.
const PRICES: [f64; 8] = [0.9, 1.01, 1.05, 1.1, 1.2, 1.4, 1.7, 2.5];

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
    real();
}

fn number(name: &str, usual: usize) -> usize {
    let stated = std::env::var(name).ok();
    stated.and_then(|text| text.parse().ok()).unwrap_or(usual)
}

fn real() {
    let (questions, firsts) = (number("QUESTIONS", 4), number("FIRST", 1) > 0);
    let catalogue = source::built_in().expect("a catalogue");
    let knowledge = practice(&catalogue).expect("usable");
    let untaught = Learned::from(&knowledge, &Lessons::default());
    let fleet = Fleet::new(&catalogue, 29);
    for class in catalogue.classes() {
        let of_class = fleet
            .incidents(2_000)
            .filter(|made| made.tool.class == class.id);
        let (mut took, mut gaps, mut quick, mut over) =
            (Vec::new(), Vec::new(), Vec::new(), vec![1.0]);
        let (mut whole, mut helped) = (Vec::new(), Vec::new());
        let mut sizes = (0, 0);
        for made in of_class.take(questions) {
            let told = |(id, seen): (&dyn ToString, bool)| (id.to_string(), seen);
            let incident = &made.incident;
            let request = Request {
                class: class.id.to_string(),
                components: Some(class.components.iter().map(ToString::to_string).collect()),
                state: State::Pumped,
                evidence: Evidence {
                    signs: incident
                        .signs
                        .iter()
                        .map(|(id, seen)| told((id, *seen)))
                        .collect(),
                    loss_decades: incident.loss_decades(),
                    ..Evidence::default()
                },
                price_of_help: None,
                effort: Effort::Full,
            };
            let answered = |price_of_help: Option<f64>| {
                let request = Request {
                    price_of_help,
                    ..request.clone()
                };
                let clock = Instant::now();
                let answer = advise(&knowledge, &untaught, &untaught, &request).expect("advice");
                (clock.elapsed().as_secs_f64() * 1e3, answer.expected_minutes)
            };
            let (plain, minutes) = answered(None);
            whole.push(plain);
            let prices = PRICES.map(|share| answered(Some(share * minutes)).0);
            helped.push(prices.into_iter().fold(0.0, f64::max));
            let problem = problem_of(&knowledge, &untaught, &request).expect("a problem");
            let clock = Instant::now();
            let full = plan(&problem, Effort::Full).expect("the problem is well formed");
            took.push(clock.elapsed().as_secs_f64() * 1e3);
            gaps.push(full.gap());
            let fast = plan(&problem, Effort::Quick).expect("the problem is well formed");
            quick.push(fast.expected_minutes / full.expected_minutes);
            let isolating = problem
                .checks
                .iter()
                .filter(|check| check.isolating)
                .count();
            sizes = (problem.checks.len() - isolating, isolating);
            for first in (0..problem.checks.len()).filter(|_| firsts) {
                let begun = minutes_beginning_with(&problem, first, Effort::Full);
                if let Some(minutes) = begun.expect("the problem is well formed") {
                    over.push(full.expected_minutes / minutes);
                }
            }
        }
        let worst = over.iter().copied().fold(1.0, f64::max);
        println!(
            "{}, {} and {}: {:.1} ms; gap {:.2}; quick search {:.4} (worst {:.4}) times; \
             another first check, worst {:.4} times; whole answer {:.1} ms, with a price of help \
             {:.1} (worst {:.1})",
            class.id,
            sizes.0,
            sizes.1,
            median(&mut took),
            median(&mut gaps),
            quick.iter().sum::<f64>() / quick.len() as f64,
            quick.iter().copied().fold(0.0, f64::max),
            worst,
            median(&mut whole),
            median(&mut helped),
            helped.iter().copied().fold(0.0, f64::max),
        );
    }
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
            leaves_pumped: false,
            isolating,
            false_alarm: 0.05,
            false_alarm_minutes: if isolating { 0.0 } else { 20.0 },
            reveals,
            needs_first: Vec::new(),
            made: false,
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
