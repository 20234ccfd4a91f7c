//! Orders that branch on isolating checks.
//!
//! From a list, each isolating check is tried at some places, both outcomes going on with
//! a list of their own; the best stays and its branches are treated the same way.

use super::{
    list,
    task::{Policy, Task},
};
use crate::statistics::Outcome;

/// Places in a list at which isolating checks are tried.
const PLACES: [usize; 8] = [0, 1, 2, 3, 4, 6, 9, 13];

/// Expected minutes of the best order found that begins from the list `order`, with at
/// most `depth` isolating checks on any way through it, and the way taken for granted.
pub(super) fn branched(task: &Task, order: &[usize], depth: usize) -> Policy {
    let made = vec![false; task.checks.len()];
    let at = Node {
        weights: task.weights.clone(),
        state: task.start,
        made,
    };
    at.best(task, order.to_vec(), depth)
}

#[derive(Clone)]
struct Node {
    weights: Vec<f64>,
    state: usize,
    made: Vec<bool>,
}

impl Node {
    fn best(&self, task: &Task, order: Vec<usize>, depth: usize) -> Policy {
        let plain = list::cost(task, &self.weights, self.state, &order, f64::INFINITY);
        let mut best: (f64, Option<(usize, usize, Node)>) = (plain, None);
        if depth > 0 {
            let mut node = self.clone();
            let mut spent = 0.0;
            for place in 0..=order.len().min(PLACES[PLACES.len() - 1]) {
                if PLACES.contains(&place) {
                    for check in task.isolating() {
                        let minutes = node.tried(task, check, best.0 - spent);
                        if let Some(minutes) = minutes.filter(|more| spent + more < best.0) {
                            best = (spent + minutes, Some((place, check, node.clone())));
                        }
                    }
                }
                if let Some(&check) = order.get(place) {
                    spent += node.make(task, check);
                }
            }
        }
        let Some((place, check, node)) = best.1 else {
            return Policy {
                minutes: plain,
                finish: list::finishing(task, &self.weights, &order),
                path: task.all_clear(&order),
            };
        };
        let before = &order[..place];
        let mut likelier = (f64::NEG_INFINITY, Outcome::Clear, Vec::new());
        let mut minutes = list::cost(task, &self.weights, self.state, before, f64::INFINITY);
        let mut finish = list::finishing(task, &self.weights, before);
        minutes += node.change(task, check);
        for (found, outcome) in [(false, Outcome::Clear), (true, Outcome::Found)] {
            let next = node.told(task, check, found);
            let order = list::greedy(task, &next.weights, next.state, &next.made);
            let more = next.best(task, order, depth - 1);
            minutes += more.minutes;
            finish += more.finish;
            let chance: f64 = next.weights.iter().sum();
            if chance > likelier.0 {
                likelier = (chance, outcome, more.path);
            }
        }
        let mut path = task.all_clear(before);
        path.push((check, likelier.1));
        path.extend(likelier.2);
        Policy {
            minutes,
            finish,
            path,
        }
    }

    /// Expected minutes of making an isolating check now and going on with lists; none if
    /// it cannot be made or comes to more than `limit`.
    fn tried(&self, task: &Task, check: usize, limit: f64) -> Option<f64> {
        let needs = &task.checks[check].needs;
        if self.made[check] || !needs.iter().all(|&need| self.made[need]) {
            return None;
        }
        let mut minutes = self.change(task, check);
        for found in [true, false] {
            if minutes >= limit {
                return None;
            }
            let next = self.told(task, check, found);
            let order = list::greedy(task, &next.weights, next.state, &next.made);
            minutes += list::cost(task, &next.weights, next.state, &order, limit - minutes);
        }
        Some(minutes)
    }

    /// Minutes to make a check from here, times the chance of getting here.
    fn change(&self, task: &Task, check: usize) -> f64 {
        let item = &task.checks[check];
        let mass: f64 = self.weights.iter().sum();
        (task.changes[self.state][item.state] + item.minutes) * mass
    }

    fn told(&self, task: &Task, check: usize, found: bool) -> Self {
        let mut made = self.made.clone();
        made[check] = true;
        let weights = task.told(&self.weights, check, found);
        Self {
            weights,
            state: task.checks[check].state,
            made,
        }
    }

    /// Makes a check of the list, in which isolating ones tell nothing; gives the minutes.
    fn make(&mut self, task: &Task, check: usize) -> f64 {
        let minutes = list::cost(task, &self.weights, self.state, &[check], f64::INFINITY);
        let item = &task.checks[check];
        if !item.isolating {
            for &(cause, chance) in &item.reveals {
                self.weights[cause] *= 1.0 - chance;
            }
        }
        self.state = item.state;
        self.made[check] = true;
        minutes
    }
}
