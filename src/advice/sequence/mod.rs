//! The order of checks with the least expected minutes.
//!
//! The model: at most one cause; a check that is not isolating finds a present cause with
//! its chance, which ends the search, and otherwise lowers it; an isolating check only
//! tells causes apart. A policy makes every check that is not isolating until the cause is
//! found, and isolating ones where they pay. Minutes are those of the checks, of the
//! changes of state between them, of acting on false alarms, and, if given, of finishing
//! from the state in which the cause is found.
//!
//! Without changes of state this is the rule chance over minutes (Kadane and Simon, Ann.
//! Stat. 5 (1977); Heckerman, Breese and Rommelse, CACM 38(3) (1995) 49). With them the
//! order comes from dynamic programming over sets of checks made, outcomes of isolating
//! checks, and state. Beyond what fits, a policy is searched for and a lower bound stated.

mod bound;
mod exact;
mod list;
mod task;
mod tree;

use super::{error::AdviceError, knowledge::State};
use crate::statistics::Outcome;
use task::{Policy, Task};

/// A check as the order sees it; causes and checks by index.
#[derive(Clone, Debug)]
pub struct CheckOption {
    /// Minutes, 0 to 10⁶.
    pub minutes: f64,
    /// State the tool has to be in.
    pub state: State,
    /// Whether it only tells causes apart.
    pub isolating: bool,
    /// Chance of "found" under a cause it does not answer to.
    pub false_alarm: f64,
    /// Minutes lost on a false alarm; charged `false_alarm` times at each making.
    pub false_alarm_minutes: f64,
    /// Causes it answers to, each with the chance of "found".
    pub reveals: Vec<(usize, f64)>,
    /// Checks (by index) that have to come before, whatever they cost.
    pub needs_first: Vec<usize>,
}

/// What is to be ordered.
#[derive(Clone, Debug)]
pub struct Problem {
    /// Chances of the causes. What they leave to 1 is a cause no check answers to.
    pub chances: Vec<f64>,
    /// The checks.
    pub checks: Vec<CheckOption>,
    /// Minutes from each state to each, in the order of [`State::ALL`].
    pub changes: [[f64; 3]; 3],
    /// The state now.
    pub state: State,
    /// Minutes left once the cause is found, by cause and by the state in which it is
    /// found, as far as they depend on that state. Empty if not counted.
    pub finish: Vec<[f64; 3]>,
}

/// How much work to put in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Effort {
    /// A millisecond or so, for replays.
    Quick,
    /// Up to some tenths of a second.
    Full,
}

/// A check of the order.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// The check, by index.
    pub check: usize,
    /// The outcome the places after it take for granted.
    pub assumed: Outcome,
    /// Minutes to bring the tool into its state.
    pub change_minutes: f64,
}

/// An order of checks.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// The checks in order, as long as the assumed outcomes hold.
    pub places: Vec<Place>,
    /// Expected minutes of the policy, those to finish included.
    pub expected_minutes: f64,
    /// Those of them that come after the cause is found.
    pub finish_minutes: f64,
    /// No policy has fewer expected minutes than this.
    pub lower_bound: f64,
    /// Whether no policy is better.
    pub proven: bool,
}

impl Plan {
    /// How far from the lower bound the policy is, as a share of its minutes, 0 to 1.
    pub fn gap(&self) -> f64 {
        if self.proven || self.expected_minutes <= 0.0 {
            0.0
        } else {
            (1.0 - self.lower_bound / self.expected_minutes).clamp(0.0, 1.0)
        }
    }
}

/// Orders the checks.
///
/// # Errors
/// A chance outside 0 to 1 or chances that add up to more than 1, minutes outside 0 to
/// 10⁶, an index that leads nowhere, or checks that wait for each other.
pub fn plan(problem: &Problem, effort: Effort) -> Result<Plan, AdviceError> {
    let task = Task::new(problem)?;
    let (direct, isolating) = (task.direct(), task.isolating());
    let few = direct.len() <= 8 && isolating.len() <= 2;
    if exact::fits(direct.len(), isolating.len()) && (effort == Effort::Full || few) {
        let solved = exact::solve(&task, &direct, &isolating, &|_, _| (0.0, 0.0));
        return Ok(Plan {
            places: task.places(&solved.path),
            expected_minutes: solved.minutes,
            finish_minutes: solved.finish,
            lower_bound: solved.minutes,
            proven: true,
        });
    }
    Ok(searched(&task, effort))
}

/// Expected minutes of a fixed order, whatever isolating checks in it say, those to finish
/// included. Checks that are left out are taken as never made.
///
/// # Errors
/// As [`plan`]; an order that holds a check twice.
pub fn expected_minutes(problem: &Problem, order: &[usize]) -> Result<f64, AdviceError> {
    fixed(problem, order).map(|(minutes, _)| minutes)
}

/// As [`expected_minutes`], and those of them that come after the cause is found.
///
/// # Errors
/// As [`expected_minutes`].
pub fn fixed(problem: &Problem, order: &[usize]) -> Result<(f64, f64), AdviceError> {
    let task = Task::new(problem)?;
    let mut seen = vec![false; task.checks.len()];
    for &check in order {
        match seen.get_mut(check) {
            None => {
                return Err(AdviceError::Unknown {
                    what: "check of the order",
                    id: check.to_string(),
                });
            }
            Some(true) => {
                return Err(AdviceError::Twice {
                    what: "check",
                    id: check.to_string(),
                });
            }
            Some(seen) => *seen = true,
        }
    }
    let (weights, start) = (&task.weights, task.start);
    Ok((
        list::cost(&task, weights, start, order, f64::INFINITY),
        list::finishing(&task, weights, order),
    ))
}

/// The best fixed order found, without isolating checks unless another check needs them.
///
/// # Errors
/// As [`plan`].
pub fn fixed_order(problem: &Problem, effort: Effort) -> Result<Vec<usize>, AdviceError> {
    let task = Task::new(problem)?;
    let none = vec![false; task.checks.len()];
    let order = list::greedy(&task, &task.weights, task.start, &none);
    Ok(list::improved(&task, order, tries(effort)))
}

fn tries(effort: Effort) -> usize {
    match effort {
        Effort::Quick => 5_000,
        Effort::Full => 40_000,
    }
}

/// The best of three kinds of policy: a fixed order; an order that branches on isolating
/// checks, each placed greedily; and an exact policy of the foremost checks with the rest
/// after them.
fn searched(task: &Task, effort: Effort) -> Plan {
    let none = vec![false; task.checks.len()];
    let order = list::greedy(task, &task.weights, task.start, &none);
    let order = list::improved(task, order, tries(effort));
    let listed = list::cost(task, &task.weights, task.start, &order, f64::INFINITY);
    let (size, most, depth) = match effort {
        Effort::Quick => (6, 2, 1),
        Effort::Full => (12, 3, 3),
    };
    let headed = exact_head(task, &order, listed, size, most);
    let branched = tree::branched(task, &order, depth);
    let best = if branched.minutes <= headed.minutes {
        branched
    } else {
        headed
    };
    let bound = match effort {
        Effort::Quick => 0.0,
        Effort::Full => bound::lower(task),
    };
    Plan {
        places: task.places(&best.path),
        expected_minutes: best.minutes,
        finish_minutes: best.finish,
        lower_bound: bound.min(best.minutes),
        proven: false,
    }
}

/// An exact policy of `size` foremost checks and `most` isolating ones, then the rest.
fn exact_head(task: &Task, order: &[usize], listed: f64, size: usize, most: usize) -> Policy {
    let isolating = best_isolating(task, listed, most);
    let (head, isolating) = head(task, order, &isolating, size);
    let in_head = |check: usize| head.contains(&check) || isolating.contains(&check);
    let after: Vec<bool> = (0..task.checks.len()).map(in_head).collect();
    let rest: Vec<usize> = order
        .iter()
        .copied()
        .filter(|&check| !after[check])
        .collect();
    let tail = |weights: &[f64], state: usize| {
        let greedy = list::greedy(task, weights, state, &after);
        let kept = list::cost(task, weights, state, &rest, f64::INFINITY);
        let greedier = list::cost(task, weights, state, &greedy, kept);
        if greedier < kept {
            (greedier, greedy)
        } else {
            (kept, rest.clone())
        }
    };
    let mut solved = exact::solve(task, &head, &isolating, &|weights, state| {
        let (minutes, last) = tail(weights, state);
        (minutes, list::finishing(task, weights, &last))
    });
    let (weights, state) = task.after(&solved.path);
    let (_, last) = tail(&weights, state);
    solved.path.extend(task.all_clear(&last));
    solved
}

/// The isolating checks that save most if made first, at most `most` of them.
fn best_isolating(task: &Task, listed: f64, most: usize) -> Vec<usize> {
    let none = vec![false; task.checks.len()];
    let mut scored: Vec<(f64, usize)> = task
        .isolating()
        .into_iter()
        .map(|check| {
            let item = &task.checks[check];
            let mass: f64 = task.weights.iter().sum();
            let mut minutes = (task.changes[task.start][item.state] + item.minutes) * mass;
            for found in [true, false] {
                let weights = task.told(&task.weights, check, found);
                let order = list::greedy(task, &weights, item.state, &none);
                minutes += list::cost(task, &weights, item.state, &order, f64::INFINITY);
            }
            (minutes - listed, check)
        })
        .collect();
    scored.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    scored
        .into_iter()
        .take(most)
        .map(|(_, check)| check)
        .collect()
}

/// The checks worth ordering exactly: the first of the list and the first after each
/// outcome of the isolating checks, with all that has to come before them.
fn head(
    task: &Task,
    order: &[usize],
    isolating: &[usize],
    size: usize,
) -> (Vec<usize>, Vec<usize>) {
    let none = vec![false; task.checks.len()];
    let mut queues = vec![order.to_vec()];
    for &check in isolating {
        for found in [true, false] {
            let weights = task.told(&task.weights, check, found);
            queues.push(list::greedy(task, &weights, task.start, &none));
        }
    }
    let mut head: Vec<usize> = Vec::new();
    let longest = order.len();
    'filling: for rank in 0..longest {
        for (at, queue) in queues.iter().enumerate() {
            // The plain list counts double, as its checks come first most often.
            let ranks = if at == 0 {
                2 * rank..2 * rank + 2
            } else {
                rank..rank + 1
            };
            for check in ranks.filter_map(|rank| queue.get(rank)) {
                let wanted = task.chains[*check].clone();
                let new: Vec<usize> = wanted.into_iter().filter(|c| !head.contains(c)).collect();
                if head.len() + new.len() > size {
                    break 'filling;
                }
                head.extend(new);
            }
        }
    }
    let forced: Vec<usize> = head
        .iter()
        .copied()
        .filter(|&check| task.checks[check].isolating)
        .collect();
    head.retain(|&check| !task.checks[check].isolating);
    // An isolating check may be left out, so none is taken that a check after the head
    // waits for.
    let possible = |check: &usize| {
        task.chains[*check]
            .iter()
            .all(|need| need == check || head.contains(need))
            && !task.chains.iter().enumerate().any(|(waiting, chain)| {
                waiting != *check && !head.contains(&waiting) && chain.contains(check)
            })
    };
    let mut chosen: Vec<usize> = isolating.iter().copied().filter(possible).collect();
    for check in forced {
        if !chosen.contains(&check) {
            chosen.push(check);
        }
    }
    (head, chosen)
}

#[cfg(test)]
mod tests;
