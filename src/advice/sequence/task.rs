//! A problem, checked and laid out for the searches.

use super::{Place, Problem};
use crate::{
    advice::error::{AdviceError, chance, minutes},
    statistics::Outcome,
};

/// A policy as it comes out of a search.
#[derive(Clone, Default)]
pub(super) struct Policy {
    /// Expected minutes, those to finish included.
    pub(super) minutes: f64,
    /// Those of them that come after the cause is found.
    pub(super) finish: f64,
    /// Checks in order with the outcome taken for granted: clear, or of an isolating check
    /// the likelier one.
    pub(super) path: Vec<(usize, Outcome)>,
}

pub(super) struct Item {
    /// Minutes of the check and, on average, of its false alarms.
    pub(super) minutes: f64,
    pub(super) state: usize,
    pub(super) isolating: bool,
    pub(super) false_alarm: f64,
    pub(super) reveals: Vec<(usize, f64)>,
    pub(super) needs: Vec<usize>,
}

pub(super) struct Task {
    /// Chances of the causes; the last is of a cause no check answers to.
    pub(super) weights: Vec<f64>,
    pub(super) checks: Vec<Item>,
    pub(super) changes: [[f64; 3]; 3],
    pub(super) start: usize,
    /// One row a weight, or none at all.
    pub(super) finish: Vec<[f64; 3]>,
    /// By cause: checks that are not isolating and answer to it.
    pub(super) answers: Vec<Vec<(usize, f64)>>,
    /// By state: checks that are not isolating.
    pub(super) by_state: [Vec<usize>; 3],
    /// By check: itself and all that has to come before, in an order that holds.
    pub(super) chains: Vec<Vec<usize>>,
}

impl Task {
    pub(super) fn new(problem: &Problem) -> Result<Self, AdviceError> {
        let causes = problem.chances.len();
        for (cause, &value) in problem.chances.iter().enumerate() {
            chance("chance", &format!("cause {cause}"), value)?;
        }
        let listed: f64 = problem.chances.iter().sum();
        if listed > 1.0 + 1e-9 {
            return Err(AdviceError::OutOfRange {
                what: "the sum of the chances",
                of: "all causes".to_owned(),
                value: listed,
                accepted: "0 to 1",
            });
        }
        for &value in problem.changes.iter().flatten() {
            minutes("a change of state", "the tool", value)?;
        }
        for &value in problem.finish.iter().flatten() {
            minutes("the time to finish", "a cause", value)?;
        }
        if !problem.finish.is_empty() && problem.finish.len() != causes {
            return Err(AdviceError::OutOfRange {
                what: "the number of times to finish",
                of: "the causes".to_owned(),
                value: problem.finish.len() as f64,
                accepted: "none, or one a cause",
            });
        }
        let checks = problem
            .checks
            .iter()
            .enumerate()
            .map(|(at, check)| {
                let name = format!("check {at}");
                for &(cause, value) in &check.reveals {
                    chance("chance of revealing", &name, value)?;
                    if cause >= causes {
                        return Err(AdviceError::Unknown {
                            what: "cause",
                            id: cause.to_string(),
                        });
                    }
                }
                for &need in &check.needs_first {
                    if need >= problem.checks.len() {
                        return Err(AdviceError::Unknown {
                            what: "check",
                            id: need.to_string(),
                        });
                    }
                }
                let false_alarm = chance("false_alarm", &name, check.false_alarm)?;
                let lost = minutes("false_alarm_minutes", &name, check.false_alarm_minutes)?;
                let mut reveals = check.reveals.clone();
                reveals.sort_by_key(|(cause, _)| *cause);
                if let Some(pair) = reveals.windows(2).find(|pair| pair[0].0 == pair[1].0) {
                    return Err(AdviceError::Twice {
                        what: "cause",
                        id: pair[0].0.to_string(),
                    });
                }
                Ok(Item {
                    minutes: minutes("minutes", &name, check.minutes)? + false_alarm * lost,
                    state: check.state as usize,
                    isolating: check.isolating,
                    false_alarm,
                    reveals,
                    needs: check.needs_first.clone(),
                })
            })
            .collect::<Result<Vec<_>, _>>()?;
        let mut weights = problem.chances.clone();
        weights.push((1.0 - listed).max(0.0));
        let mut finish = problem.finish.clone();
        if !finish.is_empty() {
            finish.push([0.0; 3]);
        }
        let mut answers = vec![Vec::new(); weights.len()];
        let mut by_state: [Vec<usize>; 3] = Default::default();
        for (at, item) in checks
            .iter()
            .enumerate()
            .filter(|(_, item)| !item.isolating)
        {
            by_state[item.state].push(at);
            for &(cause, chance) in &item.reveals {
                answers[cause].push((at, chance));
            }
        }
        let mut task = Self {
            weights,
            checks,
            changes: problem.changes,
            start: problem.state as usize,
            finish,
            answers,
            by_state,
            chains: Vec::new(),
        };
        task.refuse_circles()?;
        task.chains = (0..task.checks.len())
            .map(|check| {
                let mut chain = Vec::new();
                task.gather(check, &mut chain);
                chain
            })
            .collect();
        Ok(task)
    }

    pub(super) fn direct(&self) -> Vec<usize> {
        (0..self.checks.len())
            .filter(|&check| !self.checks[check].isolating)
            .collect()
    }

    pub(super) fn isolating(&self) -> Vec<usize> {
        (0..self.checks.len())
            .filter(|&check| self.checks[check].isolating)
            .collect()
    }

    /// Weights after an isolating check has told.
    pub(super) fn told(&self, weights: &[f64], check: usize, found: bool) -> Vec<f64> {
        let item = &self.checks[check];
        let side = |chance: f64| if found { chance } else { 1.0 - chance };
        let mut told: Vec<f64> = weights
            .iter()
            .map(|weight| weight * side(item.false_alarm))
            .collect();
        for &(cause, chance) in &item.reveals {
            told[cause] = weights[cause] * side(chance);
        }
        told
    }

    /// Minutes to finish what is left, from a state.
    pub(super) fn finish_from(&self, weights: &[f64], state: usize) -> f64 {
        let finish = self.finish.iter().zip(weights);
        finish.map(|(finish, weight)| finish[state] * weight).sum()
    }

    /// Weights and state after a path.
    pub(super) fn after(&self, path: &[(usize, Outcome)]) -> (Vec<f64>, usize) {
        let mut weights = self.weights.clone();
        let mut state = self.start;
        for &(check, outcome) in path {
            let item = &self.checks[check];
            state = item.state;
            if item.isolating {
                weights = self.told(&weights, check, outcome == Outcome::Found);
            } else {
                for &(cause, chance) in &item.reveals {
                    weights[cause] *= 1.0 - chance;
                }
            }
        }
        (weights, state)
    }

    /// A fixed order as a path on which nothing is found.
    pub(super) fn all_clear(&self, order: &[usize]) -> Vec<(usize, Outcome)> {
        order.iter().map(|&check| (check, Outcome::Clear)).collect()
    }

    pub(super) fn places(&self, path: &[(usize, Outcome)]) -> Vec<Place> {
        let mut state = self.start;
        path.iter()
            .map(|&(check, assumed)| {
                let to = self.checks[check].state;
                let change_minutes = self.changes[state][to];
                state = to;
                Place {
                    check,
                    assumed,
                    change_minutes,
                }
            })
            .collect()
    }

    fn gather(&self, check: usize, order: &mut Vec<usize>) {
        if order.contains(&check) {
            return;
        }
        for &need in &self.checks[check].needs {
            self.gather(need, order);
        }
        order.push(check);
    }

    fn refuse_circles(&self) -> Result<(), AdviceError> {
        let mut done = vec![false; self.checks.len()];
        loop {
            let mut moved = false;
            for check in 0..self.checks.len() {
                if !done[check] && self.checks[check].needs.iter().all(|&need| done[need]) {
                    done[check] = true;
                    moved = true;
                }
            }
            if !moved {
                break;
            }
        }
        let waiting: Vec<String> = (0..done.len())
            .filter(|&check| !done[check])
            .map(|check| check.to_string())
            .collect();
        if waiting.is_empty() {
            Ok(())
        } else {
            Err(AdviceError::Circle(waiting.join(", ")))
        }
    }
}
