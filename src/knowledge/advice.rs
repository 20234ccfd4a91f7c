//! The next check: most chance of finding the cause per minute, the minutes of changing
//! the tool's state included.

use std::collections::{BTreeMap, BTreeSet};

use super::{
    Interval, Knowledge,
    belief::{Believed, Observed, detection, weigh},
    wilson,
};
use crate::{
    casebook::Outcome,
    catalogue::{Catalogue, Check, ClassId, ComponentId, StateMinutes, ToolState},
};

/// What is asked.
#[derive(Clone, Debug)]
pub struct Question {
    /// Tool class.
    pub class: ClassId,
    /// What the tool is fitted with.
    pub components: BTreeSet<ComponentId>,
    /// The state the tool is in.
    pub state: ToolState,
    /// Seen or absent.
    pub signs: BTreeMap<String, bool>,
    /// Happened or not.
    pub antecedents: BTreeMap<String, bool>,
    /// Checks done, in order.
    pub outcomes: Vec<(String, Outcome)>,
}

/// What to do.
#[derive(Clone, Debug)]
pub struct Advice<'a> {
    /// Checks in order.
    pub checks: Vec<AdvisedCheck<'a>>,
    /// Causes with how likely each is, likeliest first.
    pub believed: Vec<Believed<'a>>,
    /// Closed cases of the class.
    pub class_cases: u64,
    /// Closed cases of the whole fleet.
    pub fleet_cases: u64,
    /// Expected minutes until the cause is found in this order; a search that ends
    /// without it counts in full.
    pub expected_minutes: f64,
    /// The same for the order of common practice, judged by the same chances.
    pub practice_minutes: f64,
}

/// One check of the order.
#[derive(Clone, Debug)]
pub struct AdvisedCheck<'a> {
    /// Which check.
    pub check: &'a Check,
    /// Chance that it finds the cause, as known before the first check.
    pub chance: f64,
    /// 95 % interval of the share of the class's cases whose cause it can reveal; none
    /// for an isolating check, or without cases.
    pub interval: Option<Interval>,
    /// Minutes to bring the tool into the state it needs, from the check before.
    pub change_minutes: f64,
    /// Places earlier (positive) or later than common practice alone would do it.
    pub moved: i64,
    /// The class's newest cases whose cause it can reveal.
    pub cases: Vec<i64>,
    /// How many such cases there are.
    pub case_count: u64,
    /// The likeliest cause if the check is clear, with its chance then.
    pub if_clear: Option<(&'a str, f64)>,
}

impl Knowledge {
    /// The order of checks for a tool, given what is known.
    pub fn advise<'a>(&self, question: &Question, catalogue: &'a Catalogue) -> Advice<'a> {
        let cases = self.cases();
        let observed = Observed {
            signs: &question.signs,
            antecedents: &question.antecedents,
            outcomes: &question.outcomes,
        };
        let believed = weigh(
            catalogue,
            &cases,
            &question.class,
            &question.components,
            &observed,
        );
        let class_cases = cases
            .values()
            .filter(|case| case.class == question.class)
            .count() as u64;
        let fleet_cases = cases.len() as u64;
        drop(cases);
        let minutes = catalogue
            .class(question.class.as_str())
            .map_or(NO_CHANGE, |class| class.minutes);
        let done: BTreeSet<&str> = question
            .outcomes
            .iter()
            .filter(|(_, outcome)| *outcome != Outcome::Inconclusive)
            .map(|(check, _)| check.as_str())
            .collect();
        let candidates: Vec<&Check> = catalogue
            .checks()
            .filter(|check| !done.contains(check.id.as_str()))
            .filter(|check| offered(check, &question.components, &believed))
            .collect();
        let search = Search {
            believed: &believed,
            minutes,
            state: question.state,
            done: &done,
        };
        let order = search.order(&candidates, |b| b.chance);
        let practice = search.order(&candidates, |b| b.practice);
        let expected_minutes = search.expected(&order);
        let practice_minutes = search.expected(&practice);
        let mut state = question.state;
        let checks = order
            .iter()
            .enumerate()
            .map(|(place, check)| {
                let change_minutes = change(&minutes, state, check.state);
                state = check.state;
                let before = practice
                    .iter()
                    .position(|p| p.id == check.id)
                    .unwrap_or(place);
                describe(
                    check,
                    &believed,
                    class_cases,
                    change_minutes,
                    before as i64 - place as i64,
                )
            })
            .collect();
        Advice {
            checks,
            believed,
            class_cases,
            fleet_cases,
            expected_minutes,
            practice_minutes,
        }
    }
}

const NO_CHANGE: StateMinutes = StateMinutes {
    vent: 0.0,
    pump_down: 0.0,
    stop_and_purge: 0.0,
    restart: 0.0,
};

/// Minutes from one state of the tool to another.
fn change(minutes: &StateMinutes, from: ToolState, to: ToolState) -> f64 {
    use ToolState::{Pumped, StoppedPurged, Vented};
    match (from, to) {
        (Pumped, Pumped) | (Vented, Vented) | (StoppedPurged, StoppedPurged) => 0.0,
        (Pumped, Vented) => minutes.vent,
        (Vented, Pumped) => minutes.pump_down,
        (Pumped | Vented, StoppedPurged) => minutes.stop_and_purge,
        (StoppedPurged, Pumped) => minutes.restart,
        // The chamber is let up while the pump is being started again.
        (StoppedPurged, Vented) => minutes.restart.max(minutes.vent),
    }
}

/// A check is offered if the tool has what it needs and it can reveal something there.
fn offered(check: &Check, components: &BTreeSet<ComponentId>, believed: &[Believed<'_>]) -> bool {
    check
        .needs_components
        .iter()
        .all(|component| components.contains(component))
        && believed.iter().any(|b| {
            check
                .reveals
                .get(&b.cause.id)
                .is_some_and(|chance| *chance > 0.0)
        })
}

struct Search<'s, 'a> {
    believed: &'s [Believed<'a>],
    minutes: StateMinutes,
    state: ToolState,
    done: &'s BTreeSet<&'s str>,
}

impl<'a> Search<'_, 'a> {
    /// Greedy: each time the check with most chance per minute among those whose
    /// precedence is met. Isolating checks find no cause; they count for the half of the
    /// uncertainty they can split off, scaled like a chance.
    fn order(
        &self,
        candidates: &[&'a Check],
        chance: impl Fn(&Believed<'a>) -> f64,
    ) -> Vec<&'a Check> {
        let mut left: Vec<f64> = self.believed.iter().map(&chance).collect();
        let mut open: Vec<&Check> = candidates.to_vec();
        let mut order: Vec<&Check> = Vec::new();
        let mut state = self.state;
        while !open.is_empty() {
            let ready = |check: &Check| {
                check.needs_first.iter().all(|first| {
                    self.done.contains(first.as_str())
                        || order.iter().any(|earlier| earlier.id == *first)
                        || !candidates.iter().any(|candidate| candidate.id == *first)
                })
            };
            let worth = |check: &Check| {
                let minutes = (check.minutes + change(&self.minutes, state, check.state)).max(1.0);
                self.worth(check, &left) / minutes
            };
            let best = open
                .iter()
                .enumerate()
                .filter(|(_, check)| ready(check))
                .max_by(|(_, a), (_, b)| {
                    worth(a).total_cmp(&worth(b)).then_with(|| b.id.cmp(&a.id))
                })
                .map(|(index, _)| index);
            let Some(best) = best else {
                break;
            };
            let check = open.remove(best);
            if !check.isolating {
                for (b, left) in self.believed.iter().zip(&mut left) {
                    *left *= 1.0 - check.reveals.get(&b.cause.id).copied().unwrap_or_default();
                }
            }
            state = check.state;
            order.push(check);
        }
        order
    }

    fn worth(&self, check: &Check, left: &[f64]) -> f64 {
        if check.isolating {
            let points: f64 = self
                .believed
                .iter()
                .zip(left)
                .map(|(b, left)| left * detection(check, b.cause))
                .sum();
            let total: f64 = left.iter().sum();
            if total <= 0.0 {
                return 0.0;
            }
            let share = (points / total).clamp(0.0, 1.0);
            // What splits evenly is worth most; a check everybody passes is worth nothing.
            2.0 * share * (1.0 - share) * total / 2.0
        } else {
            self.believed
                .iter()
                .zip(left)
                .filter_map(|(b, left)| Some(left * check.reveals.get(&b.cause.id)?))
                .sum()
        }
    }

    /// Expected minutes until the cause is found when the checks are done in this order.
    fn expected(&self, order: &[&Check]) -> f64 {
        let mut left: Vec<f64> = self.believed.iter().map(|b| b.chance).collect();
        let mut state = self.state;
        let mut expected = 0.0;
        for check in order {
            let searching: f64 = left.iter().sum();
            expected += searching * (check.minutes + change(&self.minutes, state, check.state));
            state = check.state;
            if !check.isolating {
                for (b, left) in self.believed.iter().zip(&mut left) {
                    *left *= 1.0 - check.reveals.get(&b.cause.id).copied().unwrap_or_default();
                }
            }
        }
        expected
    }
}

fn describe<'a>(
    check: &'a Check,
    believed: &[Believed<'a>],
    class_cases: u64,
    change_minutes: f64,
    moved: i64,
) -> AdvisedCheck<'a> {
    const SHOWN: usize = 5;
    let revealed = || {
        believed
            .iter()
            .filter(|b| !check.isolating && check.reveals.contains_key(&b.cause.id))
    };
    let mut cases: Vec<i64> = revealed().flat_map(|b| b.cases.iter().copied()).collect();
    cases.sort_unstable_by(|a, b| b.cmp(a));
    let case_count = cases.len() as u64;
    cases.truncate(SHOWN);
    let clear: Vec<f64> = believed
        .iter()
        .map(|b| b.chance * (1.0 - detection(check, b.cause)))
        .collect();
    let total: f64 = clear.iter().sum();
    let if_clear = believed
        .iter()
        .zip(&clear)
        .max_by(|a, b| a.1.total_cmp(b.1))
        .filter(|_| total > 0.0)
        .map(|(b, left)| (b.cause.name.as_str(), left / total));
    AdvisedCheck {
        check,
        chance: believed
            .iter()
            .map(|b| {
                let reveals = if check.isolating {
                    Some(detection(check, b.cause))
                } else {
                    check.reveals.get(&b.cause.id).copied()
                };
                b.chance * reveals.unwrap_or_default()
            })
            .sum(),
        interval: (!check.isolating && class_cases > 0).then(|| wilson(case_count, class_cases)),
        change_minutes,
        moved,
        cases,
        case_count,
        if_clear,
    }
}
