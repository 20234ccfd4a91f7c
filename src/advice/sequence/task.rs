//! A problem, checked and laid out for the searches.

use std::sync::Arc;

use super::{Place, Problem};
use crate::{
    advice::{
        error::{AdviceError, chance, minutes},
        knowledge::State,
    },
    statistics::Outcome,
};

/// A policy as it comes out of a search.
#[derive(Clone, Default)]
pub(super) struct Policy {
    /// Expected minutes, those to finish included.
    pub(super) minutes: f64,
    /// Those of them that come after the cause is found.
    pub(super) finish: f64,
    /// What it does, whatever the outcomes.
    pub(super) way: Arc<Way>,
}

impl Policy {
    /// An isolating check of so many minutes, and what follows each outcome; `chances` are
    /// those of being found and of being clear.
    pub(super) fn telling(
        check: usize,
        minutes: f64,
        chances: [f64; 2],
        [found, clear]: [Self; 2],
    ) -> Self {
        let likelier = match chances[0] > chances[1] {
            true => Outcome::Found,
            false => Outcome::Clear,
        };
        Self {
            minutes: minutes + found.minutes + clear.minutes,
            finish: found.finish + clear.finish,
            way: Arc::new(Way::Telling {
                check,
                likelier,
                found: found.way,
                clear: clear.way,
            }),
        }
    }
}

/// What a policy does as long as the cause is not found.
#[derive(Default)]
pub(super) enum Way {
    /// Nothing more.
    #[default]
    End,
    /// A check that is not isolating, then what comes after it.
    Direct(usize, Arc<Way>),
    /// An isolating check, the likelier outcome, and what comes after each.
    Telling {
        check: usize,
        likelier: Outcome,
        found: Arc<Way>,
        clear: Arc<Way>,
    },
}

impl Way {
    /// Checks in order with the outcome taken for granted: clear, or of an isolating check
    /// the likelier one.
    pub(super) fn path(&self) -> Vec<(usize, Outcome)> {
        let (mut path, mut way) = (Vec::new(), self);
        loop {
            way = match way {
                Self::End => return path,
                Self::Direct(check, next) => {
                    path.push((*check, Outcome::Clear));
                    next
                }
                Self::Telling {
                    check,
                    likelier,
                    found,
                    clear,
                } => {
                    path.push((*check, *likelier));
                    match likelier {
                        Outcome::Found => found,
                        _ => clear,
                    }
                }
            }
        }
    }

    /// A list, in which isolating checks tell nothing, before another way.
    pub(super) fn listed(order: &[usize], after: Arc<Self>) -> Arc<Self> {
        let before = order.iter().rev();
        before.fold(after, |after, &check| Arc::new(Self::Direct(check, after)))
    }
}

/// Where a search has got to.
#[derive(Clone)]
pub(super) struct Situation {
    /// Chances of the causes and of getting here; the last is of a cause no check answers to.
    pub(super) weights: Vec<f64>,
    pub(super) state: usize,
    /// By check: whether it has been made.
    pub(super) made: Vec<bool>,
}

impl Situation {
    pub(super) fn mass(&self) -> f64 {
        self.weights.iter().sum()
    }
}

/// What a way comes to, each search counted by its chance.
#[derive(Clone, Copy, Default)]
pub(super) struct Lengths {
    /// Checks, those made anew among them.
    pub(super) checks: f64,
    /// Searches that find the cause.
    pub(super) found: f64,
    /// Minutes of these until then, without those lost to false alarms.
    pub(super) found_minutes: f64,
    /// Checks of these.
    pub(super) found_checks: f64,
}

impl Lengths {
    fn add(&mut self, other: Self) {
        self.checks += other.checks;
        self.found += other.found;
        self.found_minutes += other.found_minutes;
        self.found_checks += other.found_checks;
    }
}

/// A check that secures others, such as a lock-out, and lasts no longer than the tool stays
/// in its state: it is made anew whenever the tool comes back, as long as one of the checks
/// that wait for it is left, as an isolating one always counts, since it may be made or not.
#[derive(Clone)]
pub(super) struct Renewal {
    pub(super) check: usize,
    pub(super) waiting: Vec<usize>,
    /// Whether an isolating check waits for it.
    pub(super) always: bool,
}

#[derive(Clone)]
pub(super) struct Item {
    /// Minutes of the check, of the change of state in its course and, on average, of its false
    /// alarms.
    pub(super) minutes: f64,
    /// Those of its false alarms among them.
    alarms: f64,
    pub(super) state: usize,
    /// The state the tool is in after it.
    pub(super) leaves: usize,
    pub(super) isolating: bool,
    pub(super) false_alarm: f64,
    pub(super) reveals: Vec<(usize, f64)>,
    pub(super) needs: Vec<usize>,
}

#[derive(Clone)]
pub(super) struct Task {
    /// Chances of the causes; the last is of a cause no check answers to.
    pub(super) weights: Vec<f64>,
    pub(super) checks: Vec<Item>,
    pub(super) changes: [[f64; 3]; 3],
    pub(super) start: usize,
    /// By check: whether it was made before.
    pub(super) made: Vec<bool>,
    /// What has to be made anew, those that come first before those that need them.
    pub(super) renewals: Vec<Renewal>,
    /// One row a weight, or none at all.
    pub(super) finish: Vec<[f64; 3]>,
    /// By cause: checks that are not isolating and answer to it.
    pub(super) answers: Vec<Vec<(usize, f64)>>,
    /// By state: checks that are not isolating and leave the tool in it.
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
                let (state, leaves) = (check.state as usize, check.after() as usize);
                let left = problem.changes[state][leaves];
                let itself = minutes("minutes", &name, check.minutes)?;
                let alarms = false_alarm * lost;
                Ok(Item {
                    minutes: itself + if state == leaves { 0.0 } else { left } + alarms,
                    alarms,
                    state,
                    leaves,
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
            .filter(|(at, item)| !item.isolating && !problem.checks[*at].made)
        {
            if item.leaves == item.state {
                by_state[item.state].push(at);
            }
            for &(cause, chance) in &item.reveals {
                answers[cause].push((at, chance));
            }
        }
        let mut task = Self {
            weights,
            checks,
            changes: problem.changes,
            start: problem.state as usize,
            made: problem.checks.iter().map(|check| check.made).collect(),
            renewals: Vec::new(),
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
        task.renewals = task.lapsing();
        Ok(task)
    }

    /// The same from a situation on.
    pub(super) fn from(&self, at: &Situation) -> Self {
        let left = |checks: &Vec<usize>| -> Vec<usize> {
            let left = checks.iter().copied().filter(|&check| !at.made[check]);
            left.collect()
        };
        Self {
            weights: at.weights.clone(),
            start: at.state,
            made: at.made.clone(),
            by_state: [0, 1, 2].map(|state: usize| left(&self.by_state[state])),
            ..self.clone()
        }
    }

    pub(super) fn beginning(&self) -> Situation {
        Situation {
            weights: self.weights.clone(),
            state: self.start,
            made: self.made.clone(),
        }
    }

    /// Checks left to be made that are not isolating.
    pub(super) fn direct(&self) -> Vec<usize> {
        (0..self.checks.len())
            .filter(|&check| !self.made[check] && !self.checks[check].isolating)
            .collect()
    }

    /// Isolating checks that may be made.
    pub(super) fn isolating(&self) -> Vec<usize> {
        (0..self.checks.len())
            .filter(|&check| !self.made[check] && self.checks[check].isolating)
            .collect()
    }

    /// Minutes from state to state, with those of what lapsed and has to be made anew.
    pub(super) fn change(&self, from: usize, to: usize, made: &[bool]) -> f64 {
        let anew: f64 = self
            .anew(from, to, made)
            .map(|check| self.checks[check].minutes)
            .sum();
        self.changes[from][to] + anew
    }

    /// What has to be made anew on the way from state to state, in order.
    pub(super) fn anew<'t>(
        &'t self,
        from: usize,
        to: usize,
        made: &'t [bool],
    ) -> impl Iterator<Item = usize> + 't {
        let renewals = if from == to { &[][..] } else { &self.renewals };
        renewals
            .iter()
            .filter(move |renewal| {
                self.checks[renewal.check].state == to
                    && made[renewal.check]
                    && (renewal.always || renewal.waiting.iter().any(|&check| !made[check]))
            })
            .map(|renewal| renewal.check)
    }

    fn lapsing(&self) -> Vec<Renewal> {
        let mut renewals: Vec<Renewal> = Vec::new();
        for check in 0..self.checks.len() {
            let state = self.checks[check].state;
            if self.made[check] || state == State::Pumped as usize {
                continue;
            }
            let (mut first, mut next) = (vec![check], 0);
            while let Some(&at) = first.get(next) {
                for &need in &self.checks[at].needs {
                    let item = &self.checks[need];
                    if item.state == state && !item.isolating && !first.contains(&need) {
                        first.push(need);
                    }
                }
                next += 1;
            }
            let isolating = self.checks[check].isolating;
            for &need in &first[1..] {
                match renewals.iter_mut().find(|renewal| renewal.check == need) {
                    Some(renewal) => {
                        renewal.waiting.push(check);
                        renewal.always |= isolating;
                    }
                    None => renewals.push(Renewal {
                        check: need,
                        waiting: vec![check],
                        always: isolating,
                    }),
                }
            }
        }
        // What comes first has the shorter chain.
        renewals.sort_by_key(|renewal| (self.chains[renewal.check].len(), renewal.check));
        renewals
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

    /// What a way comes to, from a situation on.
    pub(super) fn lengths(&self, way: &Way, at: &Situation) -> Lengths {
        self.lengths_after([0.0; 2], way, at)
    }

    /// The same after so many minutes and checks.
    fn lengths_after(&self, mut spent: [f64; 2], way: &Way, at: &Situation) -> Lengths {
        let (mut at, mut way, mut lengths) = (at.clone(), way, Lengths::default());
        loop {
            let (Way::Direct(check, _) | Way::Telling { check, .. }) = way else {
                return lengths;
            };
            let item = &self.checks[*check];
            let (mut checks, mut minutes) = (1.0, item.minutes - item.alarms);
            for anew in self.anew(at.state, item.state, &at.made) {
                checks += 1.0;
                minutes += self.checks[anew].minutes - self.checks[anew].alarms;
            }
            minutes += self.changes[at.state][item.state];
            lengths.checks += checks * at.mass();
            spent = [spent[0] + minutes, spent[1] + checks];
            at.state = item.leaves;
            at.made[*check] = true;
            match way {
                Way::End => return lengths,
                Way::Direct(_, next) => {
                    for &(cause, chance) in item.reveals.iter().filter(|_| !item.isolating) {
                        let found = at.weights[cause] * chance;
                        at.weights[cause] -= found;
                        lengths.found += found;
                        lengths.found_minutes += found * spent[0];
                        lengths.found_checks += found * spent[1];
                    }
                    way = next;
                }
                Way::Telling { found, clear, .. } => {
                    for (outcome, way) in [(true, found), (false, clear)] {
                        let weights = self.told(&at.weights, *check, outcome);
                        let at = Situation {
                            weights,
                            ..at.clone()
                        };
                        lengths.add(self.lengths_after(spent, way, &at));
                    }
                    return lengths;
                }
            }
        }
    }

    /// The way taken for granted, with what has to be made anew.
    pub(super) fn places(&self, way: &Way) -> Vec<Place> {
        let (mut state, mut made) = (self.start, self.made.clone());
        let mut places = Vec::new();
        for (check, assumed) in way.path() {
            let to = self.checks[check].state;
            let mut change_minutes = self.changes[state][to];
            for check in self.anew(state, to, &made) {
                places.push(Place {
                    check,
                    assumed: Outcome::Clear,
                    change_minutes,
                    anew: true,
                });
                change_minutes = 0.0;
            }
            places.push(Place {
                check,
                assumed,
                change_minutes,
                anew: false,
            });
            state = self.checks[check].leaves;
            made[check] = true;
        }
        places
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
