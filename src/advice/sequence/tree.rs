//! Orders that branch on isolating checks.
//!
//! From a list, each isolating check is tried at some places, both outcomes going on with
//! a list of their own; the best stays and its branches are treated the same way.

use std::sync::Arc;

use super::{
    list,
    task::{Policy, Situation, Task, Way},
};

/// Places in a list at which isolating checks are tried, in the first list and in those after
/// an isolating check.
const PLACES: [usize; 8] = [0, 1, 2, 3, 4, 6, 9, 13];
const LATER_PLACES: [usize; 4] = [0, 1, 2, 4];
/// What is less likely to come about than this is not worth an isolating check.
const NEGLIGIBLE: f64 = 0.02;

/// The best order found that begins from the list `order`, with at most `depth` isolating
/// checks on any way through it.
pub(super) fn branched(task: &Task, at: &Situation, order: &[usize], depth: usize) -> Policy {
    placed(task, at, order, depth, &PLACES)
}

fn placed(task: &Task, at: &Situation, order: &[usize], depth: usize, places: &[usize]) -> Policy {
    let depth = if at.mass() < NEGLIGIBLE { 0 } else { depth };
    let last = places.last().copied().unwrap_or_default();
    let plain = list::cost(task, at, order, f64::INFINITY);
    let mut best: (f64, Option<(usize, usize, Situation)>) = (plain, None);
    if depth > 0 {
        let mut now = at.clone();
        let mut spent = 0.0;
        for place in 0..=order.len().min(last) {
            if places.contains(&place) {
                for check in ready(task, &now) {
                    let minutes = tried(task, &now, check, best.0 - spent);
                    if let Some(minutes) = minutes.filter(|more| spent + more < best.0) {
                        best = (spent + minutes, Some((place, check, now.clone())));
                    }
                }
            }
            if let Some(&check) = order.get(place) {
                spent += make(task, &mut now, check);
            }
        }
    }
    let Some((place, check, now)) = best.1 else {
        return Policy {
            minutes: plain,
            finish: list::finishing(task, &at.weights, order),
            way: Way::listed(order, Arc::default()),
        };
    };
    let before = &order[..place];
    let after = split(task, &now, check, &mut |next| {
        let order = list::greedy(task, next);
        placed(task, next, &order, depth - 1, &LATER_PLACES)
    });
    Policy {
        minutes: list::cost(task, at, before, f64::INFINITY) + after.minutes,
        finish: list::finishing(task, &at.weights, before) + after.finish,
        way: Way::listed(before, after.way),
    }
}

/// An isolating check made now, and what `go_on` makes of each outcome.
pub(super) fn split(
    task: &Task,
    at: &Situation,
    check: usize,
    go_on: &mut dyn FnMut(&Situation) -> Policy,
) -> Policy {
    let [found, clear] = [true, false].map(|found| told(task, at, check, found));
    let chances = [found.mass(), clear.mass()];
    let after = [go_on(&found), go_on(&clear)];
    Policy::telling(check, change(task, at, check), chances, after)
}

/// Isolating checks that can be made now.
pub(super) fn ready(task: &Task, at: &Situation) -> Vec<usize> {
    let open = |&check: &usize| {
        let item = &task.checks[check];
        item.isolating && !at.made[check] && item.needs.iter().all(|&need| at.made[need])
    };
    (0..task.checks.len()).filter(open).collect()
}

/// Expected minutes of making an isolating check now and going on with lists; none if it
/// comes to more than `limit`.
pub(super) fn tried(task: &Task, at: &Situation, check: usize, limit: f64) -> Option<f64> {
    let mut minutes = change(task, at, check);
    for found in [true, false] {
        if minutes >= limit {
            return None;
        }
        let next = told(task, at, check, found);
        let order = list::greedy(task, &next);
        minutes += list::cost(task, &next, &order, limit - minutes);
    }
    Some(minutes)
}

/// Minutes to make a check from here, times the chance of getting here.
fn change(task: &Task, at: &Situation, check: usize) -> f64 {
    let item = &task.checks[check];
    (task.change(at.state, item.state, &at.made) + item.minutes) * at.mass()
}

pub(super) fn told(task: &Task, at: &Situation, check: usize, found: bool) -> Situation {
    let mut made = at.made.clone();
    made[check] = true;
    Situation {
        weights: task.told(&at.weights, check, found),
        state: task.checks[check].leaves,
        made,
    }
}

/// Makes a check of a list, in which isolating ones tell nothing; gives the minutes.
pub(super) fn make(task: &Task, at: &mut Situation, check: usize) -> f64 {
    let minutes = list::cost(task, at, &[check], f64::INFINITY);
    let item = &task.checks[check];
    if !item.isolating {
        for &(cause, chance) in &item.reveals {
            at.weights[cause] *= 1.0 - chance;
        }
    }
    at.state = item.leaves;
    at.made[check] = true;
    minutes
}
