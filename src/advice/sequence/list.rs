//! Fixed orders: what they cost, a first one by chance per minute, and a better one by
//! moving checks about.

use super::task::{Situation, Task};

/// Expected minutes of making `order` from a situation on; gives up, with some number above
/// `limit`, once it costs more than that.
pub(super) fn cost(task: &Task, at: &Situation, order: &[usize], limit: f64) -> f64 {
    let mut at = at.clone();
    let mut mass = at.mass();
    let mut minutes = 0.0;
    for &check in order {
        let item = &task.checks[check];
        minutes += (task.change(at.state, item.state, &at.made) + item.minutes) * mass;
        at.state = item.leaves;
        at.made[check] = true;
        if !item.isolating {
            for &(cause, chance) in &item.reveals {
                let found = at.weights[cause] * chance;
                at.weights[cause] -= found;
                mass -= found;
                if let Some(finish) = task.finish.get(cause) {
                    minutes += found * finish[at.state];
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

/// Those of the minutes of [`cost`] that come after the cause is found.
pub(super) fn finishing(task: &Task, weights: &[f64], order: &[usize]) -> f64 {
    if task.finish.is_empty() {
        return 0.0;
    }
    let mut weights = weights.to_vec();
    order.iter().fold(0.0, |minutes, &check| {
        minutes + found(task, &mut weights, check)
    })
}

/// Minutes to finish what a check finds, which is taken out of the weights.
pub(super) fn found(task: &Task, weights: &mut [f64], check: usize) -> f64 {
    let item = &task.checks[check];
    if item.isolating {
        return 0.0;
    }
    item.reveals.iter().fold(0.0, |minutes, &(cause, chance)| {
        let found = weights[cause] * chance;
        weights[cause] -= found;
        let finish = task.finish.get(cause);
        minutes + found * finish.map_or(0.0, |finish| finish[item.leaves])
    })
}

/// Orders all checks not yet `done` that are not isolating (and isolating ones others
/// wait for): at each place, of the states the tool could be brought into, the one whose
/// best batch of checks finds most per minute, the change of state included.
pub(super) fn greedy(task: &Task, at: &Situation) -> Vec<usize> {
    let mut search = Search::new(task, at);
    let mut order = Vec::new();
    while let Some(check) = search.next() {
        search.make(check);
        order.push(check);
    }
    order
}

struct Search<'t> {
    task: &'t Task,
    at: Situation,
    /// Chance that each check would find now; 0 for isolating ones.
    worth: Vec<f64>,
}

impl<'t> Search<'t> {
    fn new(task: &'t Task, at: &Situation) -> Self {
        let worth = task
            .checks
            .iter()
            .map(|item| match item.isolating {
                true => 0.0,
                false => item
                    .reveals
                    .iter()
                    .map(|&(cause, chance)| at.weights[cause] * chance)
                    .sum(),
            })
            .collect();
        Self {
            task,
            at: at.clone(),
            worth,
        }
    }

    fn make(&mut self, check: usize) {
        let item = &self.task.checks[check];
        self.at.made[check] = true;
        self.at.state = item.leaves;
        if item.isolating {
            return;
        }
        for &(cause, chance) in &item.reveals {
            let found = self.at.weights[cause] * chance;
            self.at.weights[cause] -= found;
            for &(other, chance) in &self.task.answers[cause] {
                self.worth[other] = (self.worth[other] - found * chance).max(0.0);
            }
        }
    }

    fn next(&self) -> Option<usize> {
        let mut best: Option<(f64, usize)> = None;
        let mut offer = |rate: f64, check: usize| {
            if best.is_none_or(|(most, _)| rate > most) {
                best = Some((rate, check));
            }
        };
        for step in 0..3 {
            let to = (self.at.state + step) % 3;
            if let Some((rate, check)) = self.batch(to) {
                offer(rate, check);
            }
        }
        for (check, item) in self.task.checks.iter().enumerate() {
            // One that leaves its state ends the batch, so it is worth what it finds alone.
            let apart = item.leaves != item.state || !self.ready(check);
            if !self.at.made[check] && !item.isolating && apart {
                let (mut at, mut minutes, mut found, mut first) = (self.at.state, 0.0, 0.0, None);
                for &link in self.task.chains[check]
                    .iter()
                    .filter(|&&link| !self.at.made[link])
                {
                    let item = &self.task.checks[link];
                    minutes += self.task.change(at, item.state, &self.at.made) + item.minutes;
                    found += self.worth[link];
                    at = item.leaves;
                    first = first.or(Some(link));
                }
                if let Some(first) = first {
                    offer(rate(found, minutes), first);
                }
            }
        }
        best.map(|(_, check)| check)
    }

    /// The most that can be found per minute by going to a state and making some checks
    /// there, and the check to begin with. The best batch holds just the checks above its
    /// own rate, which a few rounds find (Dinkelbach, Manag. Sci. 13 (1967) 492).
    fn batch(&self, to: usize) -> Option<(f64, usize)> {
        let entry = self.task.change(self.at.state, to, &self.at.made);
        let checks = || {
            let items = self.task.by_state[to].iter().copied();
            items.filter(|&check| !self.at.made[check] && self.ready(check))
        };
        let single = |check: usize| rate(self.worth[check], self.task.checks[check].minutes);
        let first = checks().fold(None, |best: Option<(f64, usize)>, check| {
            let now = single(check);
            if best.is_none_or(|(most, _)| now > most) {
                Some((now, check))
            } else {
                best
            }
        });
        let (_, first) = first?;
        let mut most = rate(self.worth[first], entry + self.task.checks[first].minutes);
        for _ in 0..8 {
            let (mut found, mut minutes) = (0.0, entry);
            for check in checks() {
                let (worth, long) = (self.worth[check], self.task.checks[check].minutes);
                if check == first || worth > most * long {
                    found += worth;
                    minutes += long;
                }
            }
            let now = rate(found, minutes);
            if now <= most {
                break;
            }
            most = now;
        }
        Some((most, first))
    }

    fn ready(&self, check: usize) -> bool {
        self.task.checks[check]
            .needs
            .iter()
            .all(|&need| self.at.made[need])
    }
}

/// Moves runs of checks to other places as long as that saves time, at most `tries` trials.
pub(super) fn improved(task: &Task, at: &Situation, order: Vec<usize>, tries: usize) -> Vec<usize> {
    let mut best = order;
    let size = best.len();
    let mut minutes = cost(task, at, &best, f64::INFINITY);
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
                    let now = cost(task, at, &trial, minutes);
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
