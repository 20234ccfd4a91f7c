//! Fixed orders: what they cost, a first one by chance per minute, and a better one by
//! moving checks about.

use super::task::Task;

/// Expected minutes of making `order` from `state` with these weights; gives up, with some
/// number above `limit`, once it costs more than that.
pub(super) fn cost(task: &Task, weights: &[f64], state: usize, order: &[usize], limit: f64) -> f64 {
    let mut weights = weights.to_vec();
    let mut mass: f64 = weights.iter().sum();
    let mut state = state;
    let mut minutes = 0.0;
    for &check in order {
        let item = &task.checks[check];
        minutes += (task.changes[state][item.state] + item.minutes) * mass;
        state = item.state;
        if !item.isolating {
            for &(cause, chance) in &item.reveals {
                let found = weights[cause] * chance;
                weights[cause] -= found;
                mass -= found;
                if let Some(finish) = task.finish.get(cause) {
                    minutes += found * finish[state];
                }
            }
            mass = mass.max(0.0);
        }
        if minutes > limit {
            return minutes;
        }
    }
    minutes
}

/// Orders all checks not yet `done` that are not isolating (and isolating ones others
/// wait for): at each place, of the states the tool could be brought into, the one whose
/// best batch of checks finds most per minute, the change of state included.
pub(super) fn greedy(task: &Task, weights: &[f64], state: usize, done: &[bool]) -> Vec<usize> {
    let mut weights = weights.to_vec();
    let mut done = done.to_vec();
    let mut state = state;
    let mut order = Vec::new();
    loop {
        let worth = |check: usize| -> f64 {
            if task.checks[check].isolating {
                return 0.0;
            }
            let reveals = &task.checks[check].reveals;
            reveals
                .iter()
                .map(|&(cause, chance)| weights[cause] * chance)
                .sum()
        };
        let mut batches: [Vec<(f64, f64, usize)>; 3] = Default::default();
        let mut best: Option<(f64, Vec<usize>)> = None;
        let mut offer = |rate: f64, checks: Vec<usize>| {
            if best.as_ref().is_none_or(|(most, _)| rate > *most) {
                best = Some((rate, checks));
            }
        };
        for (check, item) in task.checks.iter().enumerate() {
            if done[check] || item.isolating {
                continue;
            }
            if item.needs.iter().all(|&need| done[need]) {
                let found = worth(check);
                batches[item.state].push((found, item.minutes, check));
            } else {
                let mut chain = task.with_needs(check);
                chain.retain(|&check| !done[check]);
                let (mut at, mut minutes, mut found) = (state, 0.0, 0.0);
                for &check in &chain {
                    let item = &task.checks[check];
                    minutes += task.changes[at][item.state] + item.minutes;
                    found += worth(check);
                    at = item.state;
                }
                chain.truncate(1);
                offer(rate(found, minutes), chain);
            }
        }
        for (to, batch) in batches.iter_mut().enumerate() {
            batch.sort_by(|a, b| {
                rate(b.0, b.1)
                    .total_cmp(&rate(a.0, a.1))
                    .then(a.2.cmp(&b.2))
            });
            let (mut found, mut minutes) = (0.0, task.changes[state][to]);
            for &(more, longer, _) in batch.iter() {
                found += more;
                minutes += longer;
                offer(rate(found, minutes), vec![batch[0].2]);
            }
        }
        let Some((_, checks)) = best else {
            return order;
        };
        for check in checks {
            done[check] = true;
            state = task.checks[check].state;
            if !task.checks[check].isolating {
                for &(cause, chance) in &task.checks[check].reveals {
                    weights[cause] *= 1.0 - chance;
                }
            }
            order.push(check);
        }
    }
}

/// Moves runs of checks to other places as long as that saves time, at most `tries` trials.
pub(super) fn improved(task: &Task, order: Vec<usize>, tries: usize) -> Vec<usize> {
    let mut best = order;
    let size = best.len();
    let mut minutes = cost(task, &task.weights, task.start, &best, f64::INFINITY);
    let mut left = tries;
    let mut trial = best.clone();
    loop {
        let before = minutes;
        for run in [1, 2, 3, 5, 8, 13] {
            for from in 0..size.saturating_sub(run - 1) {
                for to in 0..size - run + 1 {
                    if to == from {
                        continue;
                    }
                    if left == 0 {
                        return best;
                    }
                    trial.copy_from_slice(&best);
                    if to < from {
                        trial[to..from + run].rotate_right(run);
                    } else {
                        trial[from..to + run].rotate_left(run);
                    }
                    if !holds(task, &trial) {
                        continue;
                    }
                    left -= 1;
                    let now = cost(task, &task.weights, task.start, &trial, minutes);
                    if now < minutes * (1.0 - 1e-12) {
                        minutes = now;
                        best.copy_from_slice(&trial);
                    }
                }
            }
        }
        if minutes >= before {
            return best;
        }
    }
}

/// Whether every check comes after what it needs.
fn holds(task: &Task, order: &[usize]) -> bool {
    order.iter().enumerate().all(|(at, &check)| {
        task.checks[check]
            .needs
            .iter()
            .all(|need| !order[at..].contains(need))
    })
}

/// Chance per minute; without minutes, as much as can be if anything is found.
fn rate(found: f64, minutes: f64) -> f64 {
    if minutes > 0.0 {
        found / minutes
    } else if found > 0.0 {
        f64::INFINITY
    } else {
        0.0
    }
}
