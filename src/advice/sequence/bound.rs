//! A lower bound on the expected minutes of every policy.
//!
//! Two relaxations, of which the larger counts. First: let isolating checks be free and
//! tell at once. Given what they tell, no policy can have found more by a time than a
//! fractional knapsack of the checks allows, each check counting all it would find on its
//! own and a state being entered once; the expected time is the area above that curve, up
//! to the time in which all checks can be made at the least. Second: let the cause be known
//! beforehand, and only its quickest check be made.

use super::task::Task;

const STEPS: usize = 600;
/// Beyond this many isolating checks only the second relaxation is used.
const MOST_ISOLATING: usize = 10;

pub(super) fn lower(task: &Task) -> f64 {
    let isolating = task.isolating();
    let told = if isolating.len() > MOST_ISOLATING {
        0.0
    } else {
        branch(task, &task.weights, &isolating)
    };
    told.max(all_known(task)) + finishing(task)
}

fn branch(task: &Task, weights: &[f64], isolating: &[usize]) -> f64 {
    match isolating.split_first() {
        None => curve(task, weights),
        Some((&check, rest)) => [true, false]
            .into_iter()
            .map(|found| branch(task, &task.told(weights, check, found), rest))
            .sum(),
    }
}

/// Least time to have been in each of a set of states, by bits.
fn entries(task: &Task) -> [f64; 8] {
    let mut least = [f64::INFINITY; 8];
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
            minutes += task.changes[at][to];
            at = to;
            bits |= 1 << to;
            least[bits] = f64::min(minutes, least[bits]);
        }
    }
    least
}

fn curve(task: &Task, weights: &[f64]) -> f64 {
    let mass: f64 = weights.iter().sum();
    if mass <= 0.0 {
        return 0.0;
    }
    let mut left = weights.to_vec();
    let mut checks: Vec<(f64, f64, usize)> = Vec::new();
    let mut used = 0usize;
    for check in task.direct() {
        let item = &task.checks[check];
        let alone: f64 = item
            .reveals
            .iter()
            .map(|&(cause, chance)| weights[cause] * chance)
            .sum();
        for &(cause, chance) in &item.reveals {
            left[cause] *= 1.0 - chance;
        }
        checks.push((alone, item.minutes, item.state));
        used |= 1 << item.state;
    }
    let never: f64 = left.iter().sum();
    let most = mass - never;
    let rate = |check: &(f64, f64, usize)| check.0 / check.1.max(1e-9);
    checks.sort_by(|a, b| rate(b).total_cmp(&rate(a)));
    let entries = entries(task);
    let total: f64 = checks.iter().map(|check| check.1).sum::<f64>() + entries[used].min(f64::MAX);
    if total <= 0.0 || !total.is_finite() {
        return 0.0;
    }
    // By set of states: found at the time so far, and how far the knapsack has got.
    let mut found = vec![0.0f64; STEPS + 1];
    for (states, &entry) in entries.iter().enumerate() {
        if states & used != states || !entry.is_finite() {
            continue;
        }
        let mut batch = checks.iter().filter(|check| states & 1 << check.2 != 0);
        let (mut so_far, mut spent) = (0.0, entry);
        let mut current = batch.next();
        for (step, found) in found.iter_mut().enumerate() {
            let time = total * step as f64 / STEPS as f64;
            while let Some(check) = current
                && spent + check.1 <= time
            {
                so_far += check.0;
                spent += check.1;
                current = batch.next();
            }
            if time < spent {
                continue;
            }
            *found = found.max(so_far + part(current, spent, time));
        }
    }
    // The curve rises, so its value at the end of a step bounds it over the step.
    let width = total / STEPS as f64;
    found[1..]
        .iter()
        .map(|found| (mass - found.min(most)).max(never) * width)
        .sum()
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
    for check in task.direct() {
        let item = &task.checks[check];
        let minutes = task.changes[task.start][item.state] + item.minutes;
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
