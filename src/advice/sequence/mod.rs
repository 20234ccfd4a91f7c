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
mod search;
mod task;
mod tree;

use std::sync::Arc;

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
    /// Whether the tool is pumped down in the course of it, with the minutes of that change. An
    /// isolating check never does so, nor does one that secures others in its state.
    pub leaves_pumped: bool,
    /// Whether it only tells causes apart.
    pub isolating: bool,
    /// Chance of "found" under a cause it does not answer to.
    pub false_alarm: f64,
    /// Minutes lost on a false alarm; charged `false_alarm` times at each making.
    pub false_alarm_minutes: f64,
    /// Causes it answers to, each with the chance of "found".
    pub reveals: Vec<(usize, f64)>,
    /// Checks (by index) that have to come before, whatever they cost. One that is not
    /// isolating and is made in the same state, other than pumped, secures this check no longer
    /// than the tool stays there: it is made anew whenever the tool comes back to that state
    /// with a check left that waits for it, as an isolating one always is.
    pub needs_first: Vec<usize>,
    /// Whether it has been made, and secures what waits for it as long as the tool stays in
    /// its state. It is not made again for its own sake.
    pub made: bool,
}

impl CheckOption {
    /// The state the tool is in after it.
    pub fn after(&self) -> State {
        match self.leaves_pumped && !self.isolating {
            true => State::Pumped,
            false => self.state,
        }
    }
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
    /// Whether it was made before and is made anew for the checks that wait for it, since
    /// the tool has left its state meanwhile.
    pub anew: bool,
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
    /// Expected number of checks.
    pub expected_checks: f64,
    /// Chance that the policy finds the cause.
    pub found: f64,
    /// Expected minutes until then of a search that finds it, without those lost to false alarms, times
    /// that chance.
    pub found_minutes: f64,
    /// Expected checks of such a search, times that chance.
    pub found_checks: f64,
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
    let (policy, lower_bound) = planned(&task, effort);
    Ok(laid_out(&task, &policy, lower_bound))
}

/// Expected minutes of [`plan`] until the cause is found, without a bound on any other's.
///
/// # Errors
/// As [`plan`].
pub fn minutes_to_cause(problem: &Problem, effort: Effort) -> Result<f64, AdviceError> {
    let (policy, _) = policy(&Task::new(problem)?, effort);
    Ok(policy.minutes - policy.finish)
}

/// Expected minutes of the best policy found that begins with a check, what comes after it
/// planned as [`plan`] does; none if it cannot be made now.
///
/// # Errors
/// As [`plan`]; a check that is not there.
pub fn minutes_beginning_with(
    problem: &Problem,
    first: usize,
    effort: Effort,
) -> Result<Option<f64>, AdviceError> {
    let task = Task::new(problem)?;
    let Some(item) = task.checks.get(first) else {
        return Err(AdviceError::Unknown {
            what: "check",
            id: first.to_string(),
        });
    };
    let mut at = task.beginning();
    if at.made[first] || !item.needs.iter().all(|&need| at.made[need]) {
        return Ok(None);
    }
    let after = |at: &task::Situation| policy(&task.from(at), effort).0;
    Ok(Some(if item.isolating {
        tree::split(&task, &at, first, &mut |next| after(next)).minutes
    } else {
        tree::make(&task, &mut at, first) + after(&at).minutes
    }))
}

fn laid_out(task: &Task, policy: &Policy, lower_bound: Option<f64>) -> Plan {
    let beginning = task.beginning();
    let lengths = task.lengths(&policy.way, &beginning);
    Plan {
        places: task.places(&policy.way),
        expected_minutes: policy.minutes,
        finish_minutes: policy.finish,
        expected_checks: lengths.checks,
        found: lengths.found,
        found_minutes: lengths.found_minutes,
        found_checks: lengths.found_checks,
        lower_bound: lower_bound.unwrap_or(policy.minutes).min(policy.minutes),
        proven: lower_bound.is_none(),
    }
}

/// A policy, and a lower bound on every policy's minutes unless it is proven the best.
fn planned(task: &Task, effort: Effort) -> (Policy, Option<f64>) {
    let (policy, proven) = policy(task, effort);
    let bound = (!proven).then(|| bounded(task, effort));
    (policy, bound)
}

/// A policy, and whether it is proven the best.
fn policy(task: &Task, effort: Effort) -> (Policy, bool) {
    let (direct, isolating) = (task.direct(), task.isolating());
    let few = direct.len() <= 8 && isolating.len() <= 2;
    if exact::fits(direct.len(), isolating.len()) && (effort == Effort::Full || few) {
        let solved = exact::solve(task, &direct, &isolating, &|_, _| Policy::default());
        return (solved, true);
    }
    (search::best(task, effort), false)
}

fn bounded(task: &Task, effort: Effort) -> f64 {
    match effort {
        Effort::Quick => 0.0,
        Effort::Full => bound::lower(task),
    }
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
    Ok((
        list::cost(&task, &task.beginning(), order, f64::INFINITY),
        list::finishing(&task, &task.weights, order),
    ))
}

/// The best fixed order found, without isolating checks unless another check needs them.
///
/// # Errors
/// As [`plan`].
pub fn fixed_order(problem: &Problem, effort: Effort) -> Result<Vec<usize>, AdviceError> {
    let task = Task::new(problem)?;
    Ok(search::listed(&task, &task.beginning(), effort))
}

/// A fixed order with what has to be made anew in it, each check with whether it is that.
///
/// # Errors
/// As [`plan`].
pub fn with_renewals(
    problem: &Problem,
    order: &[usize],
) -> Result<Vec<(usize, bool)>, AdviceError> {
    let task = Task::new(problem)?;
    let places = task.places(&task::Way::listed(order, Arc::default()));
    Ok(places
        .iter()
        .map(|place| (place.check, place.anew))
        .collect())
}

#[cfg(test)]
mod tests;
