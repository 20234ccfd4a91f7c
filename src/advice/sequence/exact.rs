//! Dynamic programming over sets of checks made, outcomes of isolating checks, and state.
//!
//! Values are not divided by the chance of getting there, so they add up: with `mass` the
//! chance that the search gets to a cell, the value of a cell is the least over the next
//! check of `mass · minutes`, plus what finishing costs for the causes it finds, plus the
//! values of the cells it leads to (Bellman's equation). Outcomes of isolating checks are
//! the base-3 digits 0 not made, 1 found, 2 clear.

use super::task::Task;
use crate::statistics::Outcome;

pub(super) struct Solved {
    pub(super) minutes: f64,
    /// Checks in order with the outcome taken for granted: clear, or of an isolating check
    /// the likelier one.
    pub(super) path: Vec<(usize, Outcome)>,
}

/// Values of cells: `[outcomes][state][set]`, flat.
struct Table<'t> {
    task: &'t Task,
    direct: Vec<usize>,
    isolating: Vec<usize>,
    /// By position in `direct`.
    steps: Vec<Step>,
    /// Whether the minutes to finish count.
    finishing: bool,
    /// By position in `direct`: isolating ones that have to come before.
    needs_told: Vec<Vec<usize>>,
    /// By position in `isolating`.
    told_needs: Vec<(usize, Vec<usize>)>,
    by_state: [usize; 3],
    values: Vec<f64>,
    sums: Vec<[f64; 4]>,
}

struct Step {
    minutes: f64,
    /// Positions that have to come before, as bits.
    needs: usize,
}

/// Solves for `direct` and `isolating`, which have to hold all they need; `tail` gives the
/// value of what comes after them from weights and state.
pub(super) fn solve(
    task: &Task,
    direct: &[usize],
    isolating: &[usize],
    tail: &dyn Fn(&[f64], usize) -> f64,
) -> Solved {
    let mut table = Table::new(task, direct, isolating);
    table.fill(tail);
    let minutes = table.values[table.at(0, task.start, 0)];
    Solved {
        minutes,
        path: table.path(),
    }
}

impl<'t> Table<'t> {
    fn new(task: &'t Task, direct: &[usize], isolating: &[usize]) -> Self {
        let mut direct = direct.to_vec();
        // Checks of few causes vary fastest, which keeps the inner loops of the sums short.
        direct.sort_by_key(|&check| (task.checks[check].reveals.len(), check));
        let place = |check: &usize| direct.iter().position(|other| other == check);
        let told = |check: &usize| isolating.iter().position(|other| other == check);
        let bits = |check: usize| {
            let needs = task.checks[check].needs.iter();
            needs.filter_map(place).fold(0, |bits, at| bits | 1 << at)
        };
        let digits = |check: usize| task.checks[check].needs.iter().filter_map(told).collect();
        let mut by_state = [0; 3];
        for (at, &check) in direct.iter().enumerate() {
            by_state[task.checks[check].state] |= 1 << at;
        }
        let outcomes = 3usize.pow(isolating.len() as u32);
        Self {
            task,
            steps: direct
                .iter()
                .map(|&check| Step {
                    minutes: task.checks[check].minutes,
                    needs: bits(check),
                })
                .collect(),
            finishing: !task.finish.is_empty(),
            needs_told: direct.iter().map(|&check| digits(check)).collect(),
            told_needs: isolating
                .iter()
                .map(|&check| (bits(check), digits(check)))
                .collect(),
            by_state,
            values: vec![0.0; (outcomes * 3) << direct.len()],
            sums: vec![[0.0; 4]; 1 << direct.len()],
            isolating: isolating.to_vec(),
            direct,
        }
    }

    fn at(&self, outcomes: usize, state: usize, set: usize) -> usize {
        ((outcomes * 3 + state) << self.direct.len()) + set
    }

    fn digit(&self, outcomes: usize, at: usize) -> usize {
        outcomes / 3usize.pow(at as u32) % 3
    }

    fn fill(&mut self, tail: &dyn Fn(&[f64], usize) -> f64) {
        let full = (1usize << self.direct.len()) - 1;
        let outcomes = 3usize.pow(self.isolating.len() as u32);
        for told in (0..outcomes).rev() {
            let weights = self.weights(told);
            self.sum(&weights);
            let mut last = weights;
            for &check in &self.direct {
                for &(cause, chance) in &self.task.checks[check].reveals {
                    last[cause] *= 1.0 - chance;
                }
            }
            for state in 0..3 {
                let at = self.at(told, state, full);
                self.values[at] = tail(&last, state);
            }
            let ready: usize = (0..self.direct.len())
                .filter(|&at| {
                    self.needs_told[at]
                        .iter()
                        .all(|&need| self.digit(told, need) != 0)
                })
                .fold(0, |bits, at| bits | 1 << at);
            let open: Vec<usize> = (0..self.isolating.len())
                .filter(|&at| {
                    self.digit(told, at) == 0
                        && self.told_needs[at]
                            .1
                            .iter()
                            .all(|&need| self.digit(told, need) != 0)
                })
                .collect();
            for set in (0..full).rev() {
                self.fill_cell(told, set, ready, &open);
            }
        }
    }

    fn fill_cell(&mut self, told: usize, set: usize, ready: usize, open: &[usize]) {
        let [mass, finish @ ..] = self.sums[set];
        let mut best = [f64::INFINITY; 3];
        let size = 1 << self.direct.len();
        for (state, best) in best.iter_mut().enumerate() {
            let row = &self.values[self.at(told, state, 0)..][..size];
            let mut left = !set & self.by_state[state] & ready;
            while left != 0 {
                let at = left.trailing_zeros() as usize;
                left &= left - 1;
                let step = &self.steps[at];
                if step.needs & !set != 0 {
                    continue;
                }
                let next = set | 1 << at;
                let mut value = step.minutes * mass + row[next];
                if self.finishing {
                    value += finish[state] - self.sums[next][1 + state];
                }
                if value < *best {
                    *best = value;
                }
            }
        }
        for &at in open {
            if self.told_needs[at].0 & !set == 0 {
                let state = self.task.checks[self.isolating[at]].state;
                best[state] = self.telling(told, set, at).min(best[state]);
            }
        }
        for state in 0..3 {
            let changes = &self.task.changes[state];
            let value = (0..3)
                .map(|to| changes[to] * mass + best[to])
                .fold(f64::INFINITY, f64::min);
            let at = self.at(told, state, set);
            self.values[at] = value;
        }
    }

    fn telling(&self, told: usize, set: usize, at: usize) -> f64 {
        let item = &self.task.checks[self.isolating[at]];
        let step = 3usize.pow(at as u32);
        item.minutes * self.sums[set][0]
            + self.values[self.at(told + step, item.state, set)]
            + self.values[self.at(told + 2 * step, item.state, set)]
    }

    /// Weights once the isolating checks have told.
    fn weights(&self, told: usize) -> Vec<f64> {
        let mut weights = self.task.weights.clone();
        for (at, &check) in self.isolating.iter().enumerate() {
            match self.digit(told, at) {
                0 => {}
                digit => weights = self.task.told(&weights, check, digit == 1),
            }
        }
        weights
    }

    /// For each set the mass left, and the mass times the minutes to finish from each state.
    fn sum(&mut self, weights: &[f64]) {
        let size = self.direct.len();
        // Causes by the lowest position that answers to them: after deciding the positions
        // from the top down to `b`, exactly a prefix of them still varies.
        let mut lowest: Vec<(usize, usize)> = Vec::new();
        let mut constant = [0.0; 4];
        for (cause, &weight) in weights.iter().enumerate() {
            let answers = |check: &usize| {
                self.task.checks[*check]
                    .reveals
                    .iter()
                    .any(|(other, _)| *other == cause)
            };
            match self.direct.iter().position(answers) {
                Some(at) => lowest.push((at, cause)),
                None => constant[0] += weight,
            }
        }
        lowest.sort_unstable();
        let varying: Vec<usize> = (0..=size)
            .map(|b| lowest.iter().filter(|(at, _)| *at < b).count())
            .collect();
        let mut keep = vec![vec![1.0; lowest.len()]; size];
        for (at, &check) in self.direct.iter().enumerate() {
            for &(cause, chance) in &self.task.checks[check].reveals {
                if let Some(column) = lowest.iter().position(|(_, other)| *other == cause) {
                    keep[at][column] = 1.0 - chance;
                }
            }
        }
        let finish: Vec<[f64; 3]> = lowest
            .iter()
            .map(|(_, cause)| self.task.finish.get(*cause).copied().unwrap_or([0.0; 3]))
            .collect();
        let start: Vec<f64> = lowest.iter().map(|(_, cause)| weights[*cause]).collect();
        let mut scratch = vec![vec![0.0; lowest.len()]; size];
        let walk = Walk {
            varying: &varying,
            keep: &keep,
            finish: &finish,
        };
        walk.down(size, constant, &start, 0, &mut scratch, &mut self.sums);
    }

    fn path(&self) -> Vec<(usize, Outcome)> {
        let full = (1usize << self.direct.len()) - 1;
        let (mut told, mut state, mut set) = (0, self.task.start, 0);
        let mut path = Vec::new();
        let mut known = usize::MAX;
        let mut sums = Vec::new();
        while set != full {
            if known != told {
                let mut again = Table::new(self.task, &self.direct, &[]);
                again.sum(&self.weights(told));
                sums = again.sums;
                known = told;
            }
            let [mass, finish @ ..] = sums[set];
            let changes = &self.task.changes[state];
            let mut best: Option<(f64, bool, usize)> = None;
            let mut offer = |value: f64, isolating: bool, at: usize| {
                if best.is_none_or(|(least, ..)| value < least) {
                    best = Some((value, isolating, at));
                }
            };
            for at in 0..self.direct.len() {
                let told_first = self.needs_told[at]
                    .iter()
                    .all(|&need| self.digit(told, need) != 0);
                if set & 1 << at != 0 || self.steps[at].needs & !set != 0 || !told_first {
                    continue;
                }
                let item = &self.task.checks[self.direct[at]];
                let next = set | 1 << at;
                let finishing = finish[item.state] - sums[next][1 + item.state];
                let minutes = (changes[item.state] + item.minutes) * mass;
                offer(
                    minutes + finishing + self.values[self.at(told, item.state, next)],
                    false,
                    at,
                );
            }
            for at in 0..self.isolating.len() {
                let (bits, digits) = &self.told_needs[at];
                let told_first = digits.iter().all(|&need| self.digit(told, need) != 0);
                if self.digit(told, at) != 0 || bits & !set != 0 || !told_first {
                    continue;
                }
                let item = &self.task.checks[self.isolating[at]];
                let step = 3usize.pow(at as u32);
                let minutes = (changes[item.state] + item.minutes) * mass;
                let found = self.values[self.at(told + step, item.state, set)];
                let clear = self.values[self.at(told + 2 * step, item.state, set)];
                offer(minutes + found + clear, true, at);
            }
            let Some((_, isolating, at)) = best else {
                return path;
            };
            if isolating {
                let check = self.isolating[at];
                let (weights, _) = self.task.after(&path);
                let found: f64 = self.task.told(&weights, check, true).iter().sum();
                let clear: f64 = self.task.told(&weights, check, false).iter().sum();
                let likelier = if found > clear {
                    Outcome::Found
                } else {
                    Outcome::Clear
                };
                told += 3usize.pow(at as u32) * if found > clear { 1 } else { 2 };
                state = self.task.checks[check].state;
                path.push((check, likelier));
            } else {
                state = self.task.checks[self.direct[at]].state;
                set |= 1 << at;
                path.push((self.direct[at], Outcome::Clear));
            }
        }
        path
    }
}

struct Walk<'w> {
    varying: &'w [usize],
    keep: &'w [Vec<f64>],
    finish: &'w [[f64; 3]],
}

impl Walk<'_> {
    /// Decides the positions below `left`, adding causes that no longer vary to `sum`.
    fn down(
        &self,
        left: usize,
        sum: [f64; 4],
        weights: &[f64],
        set: usize,
        scratch: &mut [Vec<f64>],
        out: &mut [[f64; 4]],
    ) {
        if left == 0 {
            out[set] = sum;
            return;
        }
        let below = left - 1;
        let still = self.varying[below];
        let keep = &self.keep[below];
        let (mut without, mut with) = (sum, sum);
        for cause in still..self.varying[left] {
            let (all, kept) = (weights[cause], weights[cause] * keep[cause]);
            without[0] += all;
            with[0] += kept;
            for (state, minutes) in self.finish[cause].iter().enumerate() {
                without[1 + state] += all * minutes;
                with[1 + state] += kept * minutes;
            }
        }
        let Some((own, deeper)) = scratch.split_first_mut() else {
            return;
        };
        self.down(below, without, &weights[..still], set, deeper, out);
        for ((own, weight), keep) in own.iter_mut().zip(&weights[..still]).zip(keep) {
            *own = weight * keep;
        }
        let own = std::mem::take(own);
        self.down(below, with, &own[..still], set | 1 << below, deeper, out);
        scratch[0] = own;
    }
}
