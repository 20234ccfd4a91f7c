//! A lower bound on the expected minutes of every policy.
//!
//! The expected time is the area above the curve of what has been found by each time, so it
//! is enough to bound from above what any policy can have found within a budget of minutes.
//! On each way through a policy the isolating checks made use up their minutes; given what
//! they told, the rest is at most a fractional knapsack of the other checks, each counting
//! all it would find on its own, a state being entered once and no cause being found more
//! often than every check that fits the budget could. Which isolating check to make next, or
//! none, is decided anew after each outcome, separately for each budget, which can only
//! raise the curve: a dynamic programme over the outcomes told, worked backwards.
//!
//! Beside it stands the relaxation in which the cause is known beforehand and only its
//! quickest check is made; the larger of the two counts.

use std::{collections::HashMap, rc::Rc};

use super::task::Task;

/// Beyond this many isolating checks only the second relaxation is used.
const MOST_ISOLATING: usize = 10;
/// Outcomes with less of the chances than this are taken to find all they can at once.
const NEGLIGIBLE: f64 = 0.01;
/// Minutes between the first budgets looked at.
const STEP: f64 = 2.5;
/// Budgets that far apart at least, as a share of themselves.
const GROWTH: f64 = 0.02;

pub(super) fn lower(task: &Task) -> f64 {
    let isolating = task.isolating();
    let told = if isolating.len() > MOST_ISOLATING {
        0.0
    } else {
        Bound::new(task, &isolating).map_or(0.0, |bound| bound.area())
    };
    told.max(all_known(task)) + finishing(task)
}

/// What can be found within each budget, by the outcomes told.
type Known = HashMap<usize, Rc<Vec<f64>>>;

struct Bound<'t> {
    task: &'t Task,
    isolating: &'t [usize],
    /// The budgets, from 0 to the time in which all checks can be made at the least.
    budgets: Vec<f64>,
    /// By isolating check and budget: the smallest budget that is not below what is left of
    /// it once the check has been made.
    left: Vec<Vec<Option<usize>>>,
    /// By level and cause: the most that checks which each fit a budget find of it.
    caps: Vec<Vec<f64>>,
    /// By budget: its level.
    level: Vec<usize>,
    direct: Vec<usize>,
    /// States of the direct checks, by bits.
    used: usize,
    entries: [f64; 8],
    /// What every direct check leaves of each cause.
    never: Vec<f64>,
}

impl<'t> Bound<'t> {
    fn new(task: &'t Task, isolating: &'t [usize]) -> Option<Self> {
        let direct = task.direct();
        let entries = entries(task);
        let used = direct
            .iter()
            .fold(0, |bits, &check| bits | 1 << task.checks[check].state);
        let minutes = |check: &usize| task.checks[*check].minutes;
        let total = direct.iter().map(minutes).sum::<f64>() + entries[used];
        if total <= 0.0 || !total.is_finite() {
            return None;
        }
        let mut budgets = vec![0.0];
        let mut budget = 0.0;
        while budget < total {
            budget = (budget + f64::max(STEP.min(total / 64.0), GROWTH * budget)).min(total);
            budgets.push(budget);
        }
        let left = isolating
            .iter()
            .map(|check| {
                let left = |budget: &f64| {
                    let left = budget - minutes(check);
                    let at = budgets.partition_point(|other| *other < left - 1e-9);
                    (left >= -1e-9).then_some(at)
                };
                budgets.iter().map(left).collect()
            })
            .collect();
        let reach = reach(&entries);
        let alone = |check: &usize| {
            let item = &task.checks[*check];
            reach[item.state] + item.minutes
        };
        let mut quickest = direct.clone();
        quickest.sort_by(|a, b| alone(a).total_cmp(&alone(b)));
        let mut never = vec![1.0; task.weights.len()];
        let (mut caps, mut level) = (Vec::new(), Vec::new());
        let mut next = quickest.iter().peekable();
        for budget in &budgets {
            let mut more = caps.is_empty();
            while let Some(check) = next.next_if(|check| alone(check) <= budget + 1e-9) {
                for &(cause, chance) in &task.checks[*check].reveals {
                    never[cause] *= 1.0 - chance;
                }
                more = true;
            }
            if more {
                caps.push(never.iter().map(|left| 1.0 - left).collect());
            }
            level.push(caps.len() - 1);
        }
        Some(Self {
            task,
            isolating,
            budgets,
            left,
            caps,
            level,
            direct,
            used,
            entries,
            never,
        })
    }

    /// The area above the curve.
    fn area(&self) -> f64 {
        let weights = &self.task.weights;
        let mass: f64 = weights.iter().sum();
        let never: f64 = weights.iter().zip(&self.never).map(|(w, n)| w * n).sum();
        let mut known = Known::new();
        let found = self.found(0, weights, 0, &mut known);
        // The curve rises, so its value at the end of a step bounds it over the step.
        let steps = self.budgets.windows(2).zip(&found[1..]);
        steps
            .map(|(step, found)| (mass - found).max(never) * (step[1] - step[0]))
            .sum()
    }

    /// The most that can be found within each budget, after outcomes of isolating checks
    /// (`told`, a digit each: 0 not made, 1 found, 2 clear) made in the states `bits`.
    fn found(&self, told: usize, weights: &[f64], bits: usize, known: &mut Known) -> Rc<Vec<f64>> {
        if let Some(found) = known.get(&told) {
            return Rc::clone(found);
        }
        let mass: f64 = weights.iter().sum();
        let never: f64 = weights.iter().zip(&self.never).map(|(w, n)| w * n).sum();
        let found = if mass < NEGLIGIBLE {
            vec![mass - never; self.budgets.len()]
        } else {
            let mut best = self.curve(weights, mass - never, bits);
            let mut digit = 1;
            for (at, &check) in self.isolating.iter().enumerate() {
                if (told / digit).is_multiple_of(3) {
                    let bits = bits | 1 << self.task.checks[check].state;
                    let [yes, no] = [(1, true), (2, false)].map(|(outcome, found)| {
                        let weights = self.task.told(weights, check, found);
                        self.found(told + outcome * digit, &weights, bits, known)
                    });
                    for (best, left) in best.iter_mut().zip(&self.left[at]) {
                        if let Some(left) = *left {
                            *best = best.max(yes[left] + no[left]);
                        }
                    }
                }
                digit *= 3;
            }
            best
        };
        let found = Rc::new(found);
        known.insert(told, Rc::clone(&found));
        found
    }

    /// The most that direct checks alone find within each budget.
    fn curve(&self, weights: &[f64], most: f64, bits: usize) -> Vec<f64> {
        let mut checks: Vec<(f64, f64, usize)> = self
            .direct
            .iter()
            .map(|&check| {
                let item = &self.task.checks[check];
                let found = |&(cause, chance): &(usize, f64)| weights[cause] * chance;
                let alone: f64 = item.reveals.iter().map(found).sum();
                (alone, item.minutes, item.state)
            })
            .collect();
        let rate = |check: &(f64, f64, usize)| check.0 / check.1.max(1e-9);
        checks.sort_by(|a, b| rate(b).total_cmp(&rate(a)));
        let mut found = vec![0.0f64; self.budgets.len()];
        for states in 0..8 {
            let entry = self.entries[states | bits];
            if states & self.used != states || !entry.is_finite() {
                continue;
            }
            let mut batch = checks.iter().filter(|check| states & 1 << check.2 != 0);
            let (mut so_far, mut spent) = (0.0, entry);
            let mut current = batch.next();
            for (found, &budget) in found.iter_mut().zip(&self.budgets) {
                while let Some(check) = current
                    && spent + check.1 <= budget
                {
                    so_far += check.0;
                    spent += check.1;
                    current = batch.next();
                }
                if budget >= spent {
                    *found = found.max(so_far + part(current, spent, budget));
                }
            }
        }
        let cap = |caps: &Vec<f64>| {
            weights
                .iter()
                .zip(caps)
                .map(|(w, cap)| w * cap)
                .sum::<f64>()
        };
        let caps: Vec<f64> = self.caps.iter().map(cap).collect();
        for (found, level) in found.iter_mut().zip(&self.level) {
            *found = found.min(caps[*level]).min(most);
        }
        found
    }
}

/// Least time to have been in each of a set of states, by bits.
fn entries(task: &Task) -> [f64; 8] {
    let mut least = [f64::INFINITY; 8];
    // The minutes of a change in the course of a check are counted with the check.
    let mut changes = task.changes;
    for check in task.direct() {
        let item = &task.checks[check];
        changes[item.state][item.leaves] = 0.0;
    }
    let orders: [[usize; 3]; 6] = [
        [0, 1, 2],
        [0, 2, 1],
        [1, 0, 2],
        [1, 2, 0],
        [2, 0, 1],
        [2, 1, 0],
    ];
    for order in orders {
        let (mut at, mut minutes, mut bits) = (task.start, 0.0, 0);
        least[0] = 0.0;
        for to in order {
            minutes += changes[at][to];
            at = to;
            bits |= 1 << to;
            least[bits] = f64::min(minutes, least[bits]);
        }
    }
    least
}

/// Least time until the tool is in each state.
fn reach(entries: &[f64; 8]) -> [f64; 3] {
    [0, 1, 2].map(|state| {
        let with = (0..8).filter(|bits| bits & 1 << state != 0);
        with.map(|bits| entries[bits]).fold(f64::INFINITY, f64::min)
    })
}

fn part(current: Option<&(f64, f64, usize)>, spent: f64, time: f64) -> f64 {
    match current {
        Some(check) if check.1 > 0.0 => check.0 * ((time - spent) / check.1).clamp(0.0, 1.0),
        Some(check) => check.0,
        None => 0.0,
    }
}

fn all_known(task: &Task) -> f64 {
    let mut quickest = vec![f64::INFINITY; task.weights.len()];
    let reach = reach(&entries(task));
    for check in task.direct() {
        let item = &task.checks[check];
        let minutes = reach[item.state] + item.minutes;
        for &(cause, chance) in &item.reveals {
            if chance > 0.0 {
                quickest[cause] = quickest[cause].min(minutes);
            }
        }
    }
    let known = task
        .weights
        .iter()
        .zip(&quickest)
        .filter(|(_, minutes)| minutes.is_finite());
    known.map(|(weight, minutes)| weight * minutes).sum()
}

/// Minutes to finish from the best state, for what is found in the end.
fn finishing(task: &Task) -> f64 {
    let mut left = task.weights.clone();
    for check in task.direct() {
        for &(cause, chance) in &task.checks[check].reveals {
            left[cause] *= 1.0 - chance;
        }
    }
    task.finish
        .iter()
        .zip(task.weights.iter().zip(&left))
        .map(|(finish, (weight, left))| {
            (weight - left).max(0.0) * finish.iter().copied().fold(f64::INFINITY, f64::min)
        })
        .sum()
}
