//! Belief, order and reasons in one answer.

use std::collections::BTreeSet;

use super::{
    AdviceError, Belief, CauseFacts, Evidence, Knowledge, Learned, State,
    belief::Chances,
    error::minutes,
    learned::normalise,
    sequence::{self, CheckOption, Effort, Place, Problem},
};
use crate::statistics::{Interval, Outcome};

/// How many causes a step names at most.
const NAMED: usize = 6;
/// A change of a check's chance of finding that is too small to have moved it.
const LEAST_SHIFT: f64 = 0.002;

/// What is asked.
#[derive(Clone, Debug)]
pub struct Request {
    /// Tool class.
    pub class: String,
    /// Components of the tool; none: all the class can have.
    pub components: Option<Vec<String>>,
    /// State of the tool now.
    pub state: State,
    /// What is known.
    pub evidence: Evidence,
    /// What bringing a helium leak detector or a residual gas analyser costs, in minutes.
    pub price_of_help: Option<f64>,
    /// How much work to put into the order.
    pub effort: Effort,
}

/// The answer.
#[derive(Clone, Debug)]
pub struct Advice {
    /// Chances of the causes.
    pub belief: Belief,
    /// Checks in order.
    pub steps: Vec<Step>,
    /// Expected minutes until the cause is found, in this order.
    pub expected_minutes: f64,
    /// What it expects of the searches in which these checks find the cause.
    pub found: Found,
    /// The same as `expected_minutes` in the fixed common-practice order.
    pub practice_minutes: f64,
    /// Expected minutes until the cause is found, mended, and the fix proven by pumping down
    /// again: what the order makes least. A search that finds nothing ends unmended.
    pub mended_minutes: f64,
    /// The same in the fixed common-practice order.
    pub practice_mended_minutes: f64,
    /// That order, with what has to be made anew in it.
    pub practice_order: Vec<String>,
    /// `expected_minutes` less what another order could save of `mended_minutes` at most.
    pub lower_bound: f64,
    /// Whether this order is proven to have the fewest.
    pub proven: bool,
    /// What another order could save at most, as a share of the minutes that depend on the
    /// order, 0 to 1.
    pub gap: f64,
    /// Checks that cannot be made because one that has to come first cannot.
    pub blocked: Vec<Blocked>,
    /// Checks taken as still securing what waits for them, such as a lock-out that is on.
    pub held: Vec<String>,
    /// Checks left out of the order since they could not be judged when they were made.
    pub set_aside: Vec<String>,
    /// Causes no check left answers to, the likeliest first.
    pub without_check: Vec<Find>,
    /// When to stop and bring help, if a price was given and it comes to that.
    pub stop: Option<StopRule>,
}

/// A check of the order.
#[derive(Clone, Debug)]
pub struct Step {
    /// The check.
    pub check: String,
    /// Chance of "found" if it is reached, the steps before having gone as assumed.
    pub chance: f64,
    /// 95 % interval of the chance.
    pub interval: Interval,
    /// Of the chance, that a cause is there which it answers to; the rest is a false alarm.
    pub true_chance: f64,
    /// Minutes it takes, those of pumping down a chamber that it vents with the pump stopped among
    /// them, as far as the restart takes less.
    pub minutes: f64,
    /// Minutes to bring the tool into its state.
    pub change_minutes: f64,
    /// The state it needs.
    pub state: State,
    /// Minutes of the change of state in its course, beside its own.
    pub leave_minutes: f64,
    /// Whether it only tells causes apart.
    pub isolating: bool,
    /// The outcome the steps after it take for granted.
    pub assumed: Outcome,
    /// What "found" would mean: the likeliest causes with their chances then, at most 6.
    pub finds: Vec<Find>,
    /// Cases of the class with a cause it answers to.
    pub class_cases: u64,
    /// The same of all classes.
    pub fleet_cases: u64,
    /// Places earlier (positive) or later (negative) than in common practice, of the checks that
    /// both orders have, each counted once; none if common practice does not hold it.
    pub moved: Option<i64>,
    /// The cause whose chance moved it most against common practice; `None` if no chance changed by so
    /// much that way, so that costs of state and other checks moved it.
    pub moved_by: Option<Shift>,
    /// The chance that "clear" would change most.
    pub if_clear: Option<Shift>,
    /// Whether it was made before and is made anew only to secure what comes after it, such
    /// as a lock-out that ended when the tool was pumped down in between.
    pub anew: bool,
}

/// A cause and its chance.
#[derive(Clone, Debug, PartialEq)]
pub struct Find {
    /// The cause.
    pub cause: String,
    /// Its chance.
    pub chance: f64,
}

/// A chance that changes.
#[derive(Clone, Debug, PartialEq)]
pub struct Shift {
    /// The cause.
    pub cause: String,
    /// Its chance before.
    pub from: f64,
    /// Its chance after.
    pub to: f64,
}

/// A check that cannot be made.
#[derive(Clone, Debug, PartialEq)]
pub struct Blocked {
    /// The check.
    pub check: String,
    /// What has to come first and cannot be made on this tool.
    pub missing: String,
}

/// When to bring help.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StopRule {
    /// After this many steps with the outcomes they assume (0: now).
    pub after: usize,
    /// What [`Advice::expected_minutes`] comes to once those outcomes are stated.
    pub left_minutes: f64,
    /// What is worth making before help is brought all the same, such as a short check that most
    /// likely finds the cause: `left_minutes` is the mean of all that is left, which a search
    /// need not go through.
    pub before_help: Option<BeforeHelp>,
}

/// The next checks, and help only if they leave the cause open.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BeforeHelp {
    /// How many checks, from [`StopRule::after`] on.
    pub checks: usize,
    /// Chance that they find the cause.
    pub chance: f64,
    /// Expected minutes, those of bringing help where it is among them, at most.
    pub minutes: f64,
}

/// The order of [`advise`] without its reasons.
#[derive(Clone, Debug)]
pub struct Order {
    /// The checks, as long as the assumed outcomes hold.
    pub steps: Vec<Ordered>,
    /// Expected minutes until the cause is found, in this order.
    pub expected_minutes: f64,
    /// Expected checks until then.
    pub expected_checks: f64,
    /// What it expects of the searches for a cause that is listed, as far as they find it.
    pub found: Found,
}

/// The searches that find the cause.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Found {
    /// Their share of the searches that are asked about.
    pub share: f64,
    /// Mean minutes until it is found, without those lost to false alarms, times the share.
    pub minutes: f64,
    /// Mean checks, times the share.
    pub checks: f64,
}

/// A check of an order.
#[derive(Clone, Debug)]
pub struct Ordered {
    /// The check.
    pub check: String,
    /// The state it leaves the tool in.
    pub after: State,
    /// Whether it only tells causes apart.
    pub isolating: bool,
    /// The outcome the checks after it take for granted.
    pub assumed: Outcome,
    /// As [`Step::anew`].
    pub anew: bool,
}

/// Orders the checks of one incident as [`advise`] does, many times faster: for replays.
///
/// # Errors
/// As [`advise`].
pub fn order(
    knowledge: &Knowledge,
    learned: &Learned,
    request: &Request,
) -> Result<Order, AdviceError> {
    let chances = Chances::of(
        knowledge,
        learned,
        &request.class,
        request.components.as_deref(),
        &request.evidence,
    )?;
    let available = available(knowledge, request, &chances)?;
    let problem = problem(knowledge, learned, request, &chances, &available)?;
    let plan = sequence::plan(&problem, request.effort)?;
    let listed = problem.chances.iter().sum::<f64>().max(f64::MIN_POSITIVE);
    let steps = plan.places.iter().map(|place| {
        let check = available.checks[place.check];
        let facts = &knowledge.checks[check];
        Ordered {
            check: facts.id.clone(),
            after: facts.after(),
            isolating: facts.isolating,
            assumed: place.assumed,
            anew: place.anew || judged(knowledge, request, check),
        }
    });
    Ok(Order {
        steps: steps.collect(),
        expected_minutes: plan.expected_minutes - plan.finish_minutes,
        expected_checks: plan.expected_checks,
        found: Found {
            share: plan.found / listed,
            minutes: plan.found_minutes / listed,
            checks: plan.found_checks / listed,
        },
    })
}

/// What [`order`] and [`advise`] bring into the order with the least expected minutes.
///
/// # Errors
/// As [`advise`].
pub fn problem_of(
    knowledge: &Knowledge,
    learned: &Learned,
    request: &Request,
) -> Result<Problem, AdviceError> {
    let (class, parts) = (&request.class, request.components.as_deref());
    let chances = Chances::of(knowledge, learned, class, parts, &request.evidence)?;
    let available = available(knowledge, request, &chances)?;
    problem(knowledge, learned, request, &chances, &available)
}

/// Advises on one incident.
///
/// `untaught` is [`Learned::from`] of no lessons: common practice before any case.
///
/// # Errors
/// Anything unknown, contradictory or out of range in the request.
pub fn advise(
    knowledge: &Knowledge,
    learned: &Learned,
    untaught: &Learned,
    request: &Request,
) -> Result<Advice, AdviceError> {
    if let Some(price) = request.price_of_help {
        minutes("the price of help", "the site", price)?;
    }
    let components = request.components.as_deref();
    let class = &request.class;
    let belief = Belief::of(knowledge, learned, class, components, &request.evidence)?;
    let nothing = Evidence::default();
    let practice = Belief::of_practice(knowledge, untaught, class, components, &nothing)?;
    let available = available(knowledge, request, &belief.chances)?;
    let problem = problem(knowledge, learned, request, &belief.chances, &available)?;
    let checks = &available.checks;
    let present = &belief.chances.present;
    let before = Problem {
        chances: listed(&practice.chances).to_vec(),
        ..problem.clone()
    };
    let practice_order = sequence::fixed_order(&before, request.effort)?;
    let (practice_minutes, practice_finish) = sequence::fixed(&problem, &practice_order)?;
    let plan = sequence::plan(&problem, request.effort)?;
    let expected_minutes = plan.expected_minutes - plan.finish_minutes;
    let mending = mending(knowledge, request, &belief, &problem)?;
    let name = |at: usize| knowledge.checks[checks[at]].id.clone();
    let set_aside = available
        .set_aside
        .iter()
        .map(|&check| knowledge.checks[check].id.clone())
        .collect();
    let mut running = belief.chances.states.clone();
    let mut reached = Vec::new();
    let mut steps = Vec::new();
    // Places so far that common practice has too, each counted once.
    let mut rank = 0;
    for place in &plan.places {
        reached.push(running[..present.len()].to_vec());
        let option = &problem.checks[place.check];
        let check = checks[place.check];
        let usual = practice_order
            .iter()
            .position(|&other| other == place.check && !place.anew);
        let moved = usual.map(|usual| usual as i64 - rank);
        rank += i64::from(usual.is_some());
        if place.anew || judged(knowledge, request, check) {
            steps.push(anew(name(place.check), option, place));
            continue;
        }
        let given = belief.chances.given(knowledge, learned, check);
        let (chance, interval) = belief.chance_among(&running, &given);
        let found = updated(&running, &given, true);
        let clear = updated(&running, &given, false);
        let answers: Vec<usize> = option.reveals.iter().map(|(at, _)| *at).collect();
        let true_chance = answers.iter().map(|&at| running[at] * given[at]).sum();
        let cases = |count: fn(&super::CauseBelief) -> u64| -> u64 {
            let ids: BTreeSet<&str> = answers
                .iter()
                .map(|&at| knowledge.causes[present[at]].id.as_str())
                .collect();
            belief
                .causes
                .iter()
                .filter(|cause| ids.contains(cause.id.as_str()))
                .map(count)
                .sum()
        };
        let shift = |from: &[f64], to: &[f64], least: f64, weigh: &dyn Fn(usize, f64) -> f64| {
            let change = |at: usize| weigh(at, to[at] - from[at]);
            (0..present.len())
                .max_by(|&a, &b| change(a).total_cmp(&change(b)))
                .filter(|&at| change(at) > least)
                .map(|at| Shift {
                    cause: knowledge.causes[present[at]].id.clone(),
                    from: from[at],
                    to: to[at],
                })
        };
        let answered = |at: usize| {
            option
                .reveals
                .iter()
                .find(|(cause, _)| *cause == at)
                .map_or(0.0, |(_, chance)| *chance)
        };
        // Only what changed the way the check moved can have moved it.
        let way = moved.map_or(0.0, |moved| moved.signum() as f64);
        steps.push(Step {
            check: name(place.check),
            chance,
            interval,
            true_chance,
            minutes: option.minutes,
            change_minutes: place.change_minutes,
            state: option.state,
            leave_minutes: leaving(&problem, option),
            isolating: option.isolating,
            assumed: place.assumed,
            finds: named(knowledge, present, &found, &answers),
            class_cases: cases(|cause| cause.class_cases),
            fleet_cases: cases(|cause| cause.fleet_cases),
            moved,
            moved_by: shift(
                &practice.chances.states,
                &belief.chances.states,
                LEAST_SHIFT,
                &|at, change| way * change * answered(at),
            ),
            if_clear: shift(&running, &clear, 1e-6, &|_, change| change.abs()),
            anew: false,
        });
        running = match place.assumed {
            Outcome::Found => found,
            _ => clear,
        };
    }
    let unanswered: Vec<usize> = (0..present.len())
        .filter(|&at| {
            let answers = |check: &CheckOption| {
                !check.isolating
                    && !check.made
                    && check
                        .reveals
                        .iter()
                        .any(|(cause, chance)| *cause == at && *chance > 0.0)
            };
            !problem.checks.iter().any(answers)
        })
        .collect();
    let stop = match request.price_of_help {
        Some(price) => {
            let place = match expected_minutes > price {
                true => Some((0, expected_minutes)),
                false => stop(&problem, &plan.places, &reached, price, request.effort)?,
            };
            place.map(|(after, left_minutes)| StopRule {
                after,
                left_minutes,
                before_help: before_help(&problem, &plan.places[after..], &steps[after..], price),
            })
        }
        None => None,
    };
    Ok(Advice {
        stop,
        without_check: named(knowledge, present, &belief.chances.states, &unanswered),
        gap: plan.gap(),
        expected_minutes,
        found: Found {
            share: plan.found,
            minutes: plan.found_minutes,
            checks: plan.found_checks,
        },
        mended_minutes: plan.expected_minutes + mending,
        lower_bound: (expected_minutes + plan.lower_bound - plan.expected_minutes).max(0.0),
        proven: plan.proven,
        practice_minutes: practice_minutes - practice_finish,
        practice_mended_minutes: practice_minutes + mending,
        practice_order: sequence::with_renewals(&problem, &practice_order)?
            .into_iter()
            .map(|(check, _)| name(check))
            .collect(),
        steps,
        held: available
            .checks
            .iter()
            .zip(&available.made)
            .filter(|(_, made)| **made)
            .map(|(&check, _)| knowledge.checks[check].id.clone())
            .collect(),
        blocked: available.blocked,
        set_aside,
        belief,
    })
}

/// Minutes of the change of state in the course of a check.
fn leaving(problem: &Problem, check: &CheckOption) -> f64 {
    match check.after() == check.state {
        true => 0.0,
        false => problem.changes[check.state as usize][check.after() as usize],
    }
}

/// A step that tells nothing new.
fn anew(check: String, option: &CheckOption, place: &Place) -> Step {
    Step {
        check,
        chance: 0.0,
        interval: Interval {
            low: 0.0,
            high: 0.0,
        },
        true_chance: 0.0,
        minutes: option.minutes,
        change_minutes: place.change_minutes,
        state: option.state,
        leave_minutes: 0.0,
        isolating: option.isolating,
        assumed: place.assumed,
        finds: Vec::new(),
        class_cases: 0,
        fleet_cases: 0,
        moved: None,
        moved_by: None,
        if_clear: None,
        anew: true,
    }
}

/// What can be made.
struct Available {
    /// Checks that tell something, with all they need, by index.
    checks: Vec<usize>,
    /// By check: whether it has been made and still secures what waits for it.
    made: Vec<bool>,
    /// Checks that cannot be made because of another.
    blocked: Vec<Blocked>,
    /// Checks that could be made again and were not to be judged.
    set_aside: Vec<usize>,
}

fn available(
    knowledge: &Knowledge,
    request: &Request,
    chances: &Chances,
) -> Result<Available, AdviceError> {
    let class = knowledge.class(&request.class)?;
    let components = request.components.as_ref().unwrap_or(&class.components);
    let fits = |check: usize| {
        knowledge.checks[check]
            .needs_components
            .iter()
            .all(|part| components.contains(part))
    };
    let useful = |check: usize| {
        chances.present.iter().any(|&cause| {
            knowledge.checks[check]
                .reveals
                .get(&knowledge.causes[cause].id)
                .is_some_and(|chance| *chance > 0.0)
        })
    };
    let (mut taken, mut held) = (BTreeSet::new(), BTreeSet::new());
    let (mut blocked, mut set_aside) = (Vec::new(), Vec::new());
    for check in 0..knowledge.checks.len() {
        if !fits(check) || judged(knowledge, request, check) || !useful(check) {
            continue;
        }
        // Who could not judge it would be sent to it again and again.
        if last_outcome(knowledge, request, check) == Some(Outcome::Inconclusive) {
            set_aside.push(check);
            continue;
        }
        let mut wanted = vec![check];
        let mut missing = None;
        let mut next = 0;
        while next < wanted.len() {
            let facts = &knowledge.checks[wanted[next]];
            for need in &facts.needs_first {
                let need = knowledge.check_number(need)?;
                if !fits(need) {
                    missing = Some(need);
                }
                if !wanted.contains(&need) {
                    wanted.push(need);
                }
            }
            for need in &facts.needs_first_if_fitted {
                let need = knowledge.check_number(need)?;
                if fits(need) && !wanted.contains(&need) {
                    wanted.push(need);
                }
            }
            next += 1;
        }
        match missing {
            Some(need) => blocked.push(Blocked {
                check: knowledge.checks[check].id.clone(),
                missing: knowledge.checks[need].id.clone(),
            }),
            None => {
                taken.insert(check);
                for need in wanted.into_iter().skip(1) {
                    if holds_still(knowledge, request, need) {
                        held.insert(need);
                    } else {
                        taken.insert(need);
                    }
                }
            }
        }
    }
    // What was made on the pumped tool lasts, so that nothing need know of it.
    held.retain(|&check| knowledge.checks[check].state != State::Pumped && !taken.contains(&check));
    // What others wait for is made again all the same.
    set_aside.retain(|check| !taken.contains(check));
    let checks: Vec<usize> = taken.union(&held).copied().collect();
    Ok(Available {
        made: checks.iter().map(|check| held.contains(check)).collect(),
        checks,
        blocked,
        set_aside,
    })
}

/// Whether a check has an outcome that tells something.
fn judged(knowledge: &Knowledge, request: &Request, check: usize) -> bool {
    request
        .evidence
        .outcomes
        .iter()
        .any(|(id, outcome)| *id == knowledge.checks[check].id && *outcome != Outcome::Inconclusive)
}

/// The outcome of a check that was stated last.
fn last_outcome(knowledge: &Knowledge, request: &Request, check: usize) -> Option<Outcome> {
    let outcomes = request.evidence.outcomes.iter().rev();
    let id = &knowledge.checks[check].id;
    let mut of_check = outcomes.filter(|(other, _)| other == id);
    of_check.next().map(|(_, outcome)| *outcome)
}

/// Whether a check others wait for has been made and its effect lasts: one made with the
/// tool vented or stopped is undone when the tool leaves that state, which it has done if it
/// is in another one, or another check was made in one since; where nobody knows whether it was
/// since, it may have been. One that could not be judged secures nothing.
fn holds_still(knowledge: &Knowledge, request: &Request, check: usize) -> bool {
    let facts = &knowledge.checks[check];
    let outcomes = &request.evidence.outcomes;
    let Some(made) = outcomes.iter().rposition(|(id, _)| *id == facts.id) else {
        return false;
    };
    if outcomes[made].1 == Outcome::Inconclusive {
        return false;
    }
    let left = |(id, _): &(String, Outcome)| {
        let later = knowledge.check_index.get(id);
        later.is_some_and(|&later| {
            let later = &knowledge.checks[later];
            later.state != facts.state || later.after() != facts.state
        })
    };
    let known = request.evidence.ordered.min(outcomes.len());
    let since = match made < known {
        true => &outcomes[made + 1..],
        false => &outcomes[known..],
    };
    let lapsed = request.evidence.lapsed.contains(&facts.id) || since.iter().any(left);
    facts.state == State::Pumped || (facts.state == request.state && !lapsed)
}

fn problem(
    knowledge: &Knowledge,
    learned: &Learned,
    request: &Request,
    chances: &Chances,
    available: &Available,
) -> Result<Problem, AdviceError> {
    let checks = &available.checks;
    let present = &chances.present;
    let changes = knowledge.class(&request.class)?.changes();
    let options = checks
        .iter()
        .zip(&available.made)
        .map(|(&check, &made)| {
            let facts = &knowledge.checks[check];
            // What is made anew for others only finds nothing more.
            let tells = !judged(knowledge, request, check);
            let reveals: Vec<(usize, f64)> = present
                .iter()
                .enumerate()
                .filter(|_| tells)
                .filter_map(|(at, &cause)| {
                    let listed = facts.reveals.get(&knowledge.causes[cause].id)?;
                    let chance = learned.checks.chances[cause][check];
                    Some((at, if *listed > 0.0 { chance } else { 0.0 }))
                })
                .collect();
            let quickest_fix = reveals
                .iter()
                .map(|(at, _)| knowledge.causes[present[*at]].fix_minutes)
                .fold(f64::INFINITY, f64::min);
            let needs = facts
                .needs_first
                .iter()
                .chain(&facts.needs_first_if_fitted)
                .filter_map(|id| knowledge.check_index.get(id));
            CheckOption {
                minutes: facts.minutes + facts.pump_down_left(&changes),
                state: facts.state,
                leaves_pumped: facts.leaves_pumped,
                isolating: facts.isolating,
                false_alarm: learned.checks.chances[knowledge.causes.len()][check],
                false_alarm_minutes: if facts.isolating || !quickest_fix.is_finite() {
                    0.0
                } else {
                    quickest_fix
                },
                needs_first: needs
                    .filter_map(|need| checks.iter().position(|other| other == need))
                    .collect(),
                reveals,
                made,
            }
        })
        .collect();
    let counted = present
        .iter()
        .any(|&cause| knowledge.causes[cause].fix_state.is_some());
    // What mending takes from any state adds up the same in every order.
    let finish = |&cause: &usize| {
        let minutes = back(&knowledge.causes[cause], &changes);
        minutes.map(|from| from - least(minutes))
    };
    Ok(Problem {
        chances: listed(chances).to_vec(),
        checks: options,
        changes,
        state: request.state,
        finish: if counted {
            present.iter().map(finish).collect()
        } else {
            Vec::new()
        },
    })
}

/// Minutes, from each state, to bring the tool into a state in which a cause can be mended
/// and from there back under vacuum, which proves the fix; none if it is not known which
/// state that is. What can be mended on a pumped tool can be mended in any state, what on a
/// vented one also with the pump stopped, where the chamber then has to be pumped down as well.
fn back(cause: &CauseFacts, changes: &[[f64; 3]; 3]) -> [f64; 3] {
    let Some(need) = cause.fix_state else {
        return [0.0; 3];
    };
    let way = |from: usize| {
        State::ALL
            .into_iter()
            .filter(|state| *state >= need)
            .map(|state| {
                let proof = match need {
                    State::Vented => changes[state as usize][0].max(changes[need as usize][0]),
                    _ => changes[state as usize][0],
                };
                changes[from][state as usize] + proof
            })
            .fold(f64::INFINITY, f64::min)
    };
    [0, 1, 2].map(way)
}

fn least(minutes: [f64; 3]) -> f64 {
    minutes.into_iter().fold(f64::INFINITY, f64::min)
}

/// Expected minutes of mending and proof that no order changes, over the causes that the
/// checks find in the end.
fn mending(
    knowledge: &Knowledge,
    request: &Request,
    belief: &Belief,
    problem: &Problem,
) -> Result<f64, AdviceError> {
    let changes = knowledge.class(&request.class)?.changes();
    let mut left = problem.chances.clone();
    for check in problem
        .checks
        .iter()
        .filter(|check| !check.isolating && !check.made)
    {
        for &(cause, chance) in &check.reveals {
            left[cause] *= 1.0 - chance;
        }
    }
    let found = problem.chances.iter().zip(&left);
    Ok(belief
        .chances
        .present
        .iter()
        .zip(found)
        .map(|(&cause, (chance, left))| {
            let facts = &knowledge.causes[cause];
            (chance - left).max(0.0) * (facts.fix_minutes + least(back(facts, &changes)))
        })
        .sum())
}

/// Chances of the causes found in the end.
fn listed(chances: &Chances) -> &[f64] {
    &chances.states[..chances.present.len()]
}

fn updated(chances: &[f64], given: &[f64], found: bool) -> Vec<f64> {
    let side = |given: f64| if found { given } else { 1.0 - given };
    let mut chances: Vec<f64> = chances
        .iter()
        .zip(given)
        .map(|(chance, given)| chance * side(*given))
        .collect();
    normalise(&mut chances);
    chances
}

fn named(knowledge: &Knowledge, present: &[usize], chances: &[f64], among: &[usize]) -> Vec<Find> {
    let mut finds: Vec<Find> = among
        .iter()
        .map(|&at| Find {
            cause: knowledge.causes[present[at]].id.clone(),
            chance: chances[at],
        })
        .collect();
    finds.sort_by(|a, b| {
        b.chance
            .total_cmp(&a.chance)
            .then_with(|| a.cause.cmp(&b.cause))
    });
    finds.truncate(NAMED);
    finds
}

/// Places near the price of help from which what is left is searched with full effort; beyond them the quick
/// search decides, which finds up to some 4 % more minutes, so that an answer takes no longer than this many.
const MOST_SEARCHED: usize = 3;

/// The first place, beyond the beginning, from which what is left is expected to take longer
/// than help costs, with those minutes, the steps before it having gone as assumed. `reached` are the chances of
/// the listed causes at each place; what is left is ordered anew there, as it is for who states
/// those outcomes.
fn stop(
    problem: &Problem,
    places: &[Place],
    reached: &[Vec<f64>],
    price: f64,
    effort: Effort,
) -> Result<Option<(usize, f64)>, AdviceError> {
    let mut left = problem.clone();
    let mut searched = 0;
    for (after, chances) in reached.iter().enumerate().skip(1) {
        let made = places[after - 1].check;
        left.checks[made].made = true;
        left.state = left.checks[made].after();
        left.chances.clone_from(chances);
        // What the listed checks would take as they stand is quickly known and seldom less
        // than the best order takes; most places need no more.
        let (minutes, finish) = sequence::fixed(&left, &listed_on(&left, &places[after..]))?;
        if minutes - finish <= price {
            continue;
        }
        let mut left_minutes = sequence::minutes_to_cause(&left, Effort::Quick)?;
        if left_minutes > price && searched < MOST_SEARCHED {
            searched += 1;
            left_minutes = sequence::minutes_to_cause(&left, effort)?;
        }
        if left_minutes > price {
            return Ok(Some((after, left_minutes)));
        }
    }
    Ok(None)
}

/// How many of the next checks make the search shortest if help is brought as soon as they leave
/// the cause open; none if help at once is as short. Whatever leaves the path of the assumed outcomes,
/// a false alarm or the other outcome of an isolating check, counts as bringing help there, so that the
/// minutes are what such a search takes at most.
fn before_help(
    problem: &Problem,
    places: &[Place],
    steps: &[Step],
    price: f64,
) -> Option<BeforeHelp> {
    let mut best = None;
    let mut least = price;
    let (mut reached, mut found, mut spent) = (1.0, 0.0, 0.0);
    for (at, (step, place)) in steps.iter().zip(places).enumerate() {
        let option = &problem.checks[place.check];
        spent += reached * (step.change_minutes + step.minutes + step.leave_minutes);
        if option.isolating {
            let on = match step.assumed {
                Outcome::Found => step.chance,
                _ => 1.0 - step.chance,
            };
            spent += reached * (1.0 - on) * price;
            reached *= on;
        } else {
            let alarm = step.chance - step.true_chance;
            spent += reached * alarm * (option.false_alarm_minutes + price);
            found += reached * step.true_chance;
            reached *= 1.0 - step.chance;
        }
        let minutes = spent + reached * price;
        if minutes < least {
            least = minutes;
            best = Some(BeforeHelp {
                checks: at + 1,
                chance: found,
                minutes,
            });
        }
    }
    best
}

/// The checks of places, without isolating ones that no other waits for.
fn listed_on(problem: &Problem, places: &[Place]) -> Vec<usize> {
    let checks = || places.iter().filter(|place| !place.anew);
    let awaited = |check: usize| {
        let mut others = checks().map(|place| &problem.checks[place.check]);
        others.any(|other| other.needs_first.contains(&check))
    };
    checks()
        .map(|place| place.check)
        .filter(|&check| !problem.checks[check].isolating || awaited(check))
        .collect()
}
