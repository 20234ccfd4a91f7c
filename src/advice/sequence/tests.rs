//! Orders against published results and against trying everything.

use std::collections::{HashMap, HashSet};

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::{task::Way, *};

fn check(minutes: f64, state: State, reveals: &[(usize, f64)]) -> CheckOption {
    CheckOption {
        minutes,
        state,
        leaves_pumped: false,
        isolating: false,
        false_alarm: 0.0,
        false_alarm_minutes: 0.0,
        reveals: reveals.to_vec(),
        needs_first: Vec::new(),
        made: false,
    }
}

fn simple(chances: &[f64], minutes: &[f64]) -> Problem {
    Problem {
        chances: chances.to_vec(),
        checks: minutes
            .iter()
            .enumerate()
            .map(|(at, &minutes)| check(minutes, State::Pumped, &[(at, 1.0)]))
            .collect(),
        changes: [[0.0; 3]; 3],
        state: State::Pumped,
        finish: Vec::new(),
    }
}

/// What is searched for where the size is too much for the dynamic programme.
fn searched_for(task: &Task, effort: Effort) -> Plan {
    let policy = search::best(task, effort);
    laid_out(task, &policy, Some(bounded(task, effort)))
}

fn order(plan: &Plan) -> Vec<usize> {
    plan.places.iter().map(|place| place.check).collect()
}

pub(super) fn drawn(
    rng: &mut ChaCha8Rng,
    checks: usize,
    isolating: usize,
    causes: usize,
) -> Problem {
    let mut chances: Vec<f64> = (0..causes).map(|_| rng.random::<f64>()).collect();
    let total: f64 = chances.iter().sum::<f64>() * (1.0 + 0.1 * rng.random::<f64>());
    chances.iter_mut().for_each(|chance| *chance /= total);
    let states = rng.random_range(1..=3);
    let mut options: Vec<CheckOption> = (0..checks + isolating)
        .map(|at| {
            let mut reveals: Vec<(usize, f64)> = Vec::new();
            for cause in 0..causes {
                if rng.random_bool(0.35) {
                    reveals.push((cause, rng.random::<f64>()));
                }
            }
            let needs_first = if at > 0 && rng.random_bool(0.15) {
                vec![rng.random_range(0..at)]
            } else {
                Vec::new()
            };
            CheckOption {
                minutes: if rng.random_bool(0.05) {
                    0.0
                } else {
                    60.0 * rng.random::<f64>()
                },
                state: State::ALL[rng.random_range(0..states)],
                leaves_pumped: false,
                isolating: at >= checks,
                false_alarm: 0.3 * rng.random::<f64>(),
                false_alarm_minutes: 10.0 * rng.random::<f64>(),
                reveals,
                needs_first,
                made: false,
            }
        })
        .collect();
    let waits: HashSet<usize> = options
        .iter()
        .flat_map(|check| check.needs_first.clone())
        .collect();
    for (at, check) in options.iter_mut().enumerate() {
        // Some of those that no other waits for.
        check.leaves_pumped = check.minutes as usize % 6 == 1 && !waits.contains(&at);
    }
    let mut changes = [[0.0; 3]; 3];
    for (from, row) in changes.iter_mut().enumerate() {
        for (to, minutes) in row.iter_mut().enumerate() {
            if from != to {
                *minutes = 90.0 * rng.random::<f64>();
            }
        }
    }
    let state = State::ALL[rng.random_range(0..3)];
    if rng.random_bool(0.2) {
        hold(&mut options, state);
    }
    let finish = if rng.random_bool(0.3) {
        (0..causes)
            .map(|_| [0; 3].map(|_| 50.0 * rng.random::<f64>()))
            .collect()
    } else {
        Vec::new()
    };
    Problem {
        chances,
        checks: options,
        changes,
        state,
        finish,
    }
}

/// Takes what others wait for in this state as made, if it waits for nothing itself.
fn hold(options: &mut [CheckOption], state: State) {
    let waits: HashSet<usize> = options
        .iter()
        .flat_map(|check| check.needs_first.clone())
        .collect();
    for (at, check) in options.iter_mut().enumerate() {
        let secures = !check.isolating && check.state == state && waits.contains(&at);
        check.made = secures && check.needs_first.is_empty();
    }
}

/// Tries every policy, from the definition and without any table. Weights are joint
/// chances, the last of no listed cause.
fn everything(problem: &Problem, weights: &[f64], state: usize, made: &[bool]) -> f64 {
    let open = |at: usize| !made[at] && !problem.checks[at].isolating;
    if !(0..made.len()).any(open) {
        return 0.0;
    }
    let mass: f64 = weights.iter().sum();
    let mut least = f64::INFINITY;
    for (at, check) in problem.checks.iter().enumerate() {
        if made[at] || check.needs_first.iter().any(|&need| !made[need]) {
            continue;
        }
        let alarm = check.false_alarm * check.false_alarm_minutes;
        let change = change(problem, state, check.state as usize, &|at| made[at]);
        let (to, leaving) = leaving(problem, check);
        let mut minutes = (change + check.minutes + leaving + alarm) * mass;
        let mut made = made.to_vec();
        made[at] = true;
        let answer = |cause: usize| {
            check
                .reveals
                .iter()
                .find(|pair| pair.0 == cause)
                .map(|p| p.1)
        };
        if check.isolating {
            for found in [true, false] {
                let told: Vec<f64> = weights
                    .iter()
                    .enumerate()
                    .map(|(cause, weight)| {
                        let chance = answer(cause).unwrap_or(check.false_alarm);
                        weight * if found { chance } else { 1.0 - chance }
                    })
                    .collect();
                minutes += everything(problem, &told, to, &made);
            }
        } else {
            let mut left = weights.to_vec();
            for (cause, left) in left.iter_mut().enumerate() {
                let found = *left * answer(cause).unwrap_or(0.0);
                *left -= found;
                minutes += found * problem.finish.get(cause).map_or(0.0, |finish| finish[to]);
            }
            minutes += everything(problem, &left, to, &made);
        }
        least = least.min(minutes);
    }
    least
}

/// Minutes from state to state, from the definition: what waits for a check of its own state,
/// by way of others of that state, has it made anew after the tool was elsewhere.
fn change(problem: &Problem, from: usize, to: usize, made: &dyn Fn(usize) -> bool) -> f64 {
    let mut minutes = problem.changes[from][to];
    if from != to && to != State::Pumped as usize {
        for (first, check) in problem.checks.iter().enumerate() {
            let left = |at: usize| !made(at) || problem.checks[at].isolating;
            let waiting = |at: usize| left(at) && secured(problem, at).contains(&first);
            if made(first) && !check.isolating && (0..problem.checks.len()).any(waiting) {
                let alarm = check.false_alarm * check.false_alarm_minutes;
                minutes += if check.state as usize == to {
                    check.minutes + alarm
                } else {
                    0.0
                };
            }
        }
    }
    minutes
}

/// The state a check leaves the tool in, and the minutes of changing to it.
fn leaving(problem: &Problem, check: &CheckOption) -> (usize, f64) {
    let state = check.state as usize;
    match check.leaves_pumped && !check.isolating {
        true => (0, problem.changes[state][0]),
        false => (state, 0.0),
    }
}

/// The checks of the same state that a check waits for, by way of others of that state.
fn secured(problem: &Problem, check: usize) -> Vec<usize> {
    let of = &problem.checks[check];
    let mut all = Vec::new();
    for &need in &of.needs_first {
        let first = &problem.checks[need];
        if first.state == of.state && first.state != State::Pumped && !first.isolating {
            all.push(need);
            all.extend(secured(problem, need));
        }
    }
    all
}

fn whole(problem: &Problem) -> Vec<f64> {
    let rest = 1.0 - problem.chances.iter().sum::<f64>();
    problem
        .chances
        .iter()
        .copied()
        .chain([rest.max(0.0)])
        .collect()
}

/// The rule chance over minutes of Kadane and Simon (1977) and Heckerman, Breese and
/// Rommelse (1995); the numbers are those of all six orders worked by hand.
#[test]
fn without_changes_of_state_the_rule_chance_over_minutes_comes_out() {
    let problem = simple(&[0.5, 0.3, 0.2], &[10.0, 2.0, 5.0]);
    let plan = plan(&problem, Effort::Full).unwrap();
    assert_eq!(order(&plan), [1, 0, 2]);
    assert!((plan.expected_minutes - 10.0).abs() < 1e-12 && plan.proven);
    let mut all: Vec<f64> = [
        [0, 1, 2],
        [0, 2, 1],
        [1, 0, 2],
        [1, 2, 0],
        [2, 0, 1],
        [2, 1, 0],
    ]
    .iter()
    .map(|order| expected_minutes(&problem, order).unwrap())
    .collect();
    all.sort_by(f64::total_cmp);
    for (got, want) in all.iter().zip([10.0, 10.5, 11.6, 12.0, 13.1, 13.6]) {
        assert!((got - want).abs() < 1e-12, "{all:?}");
    }
    let mut rng = ChaCha8Rng::seed_from_u64(11);
    for _ in 0..300 {
        let size = rng.random_range(2..12);
        let mut chances: Vec<f64> = (0..size).map(|_| rng.random::<f64>()).collect();
        let total: f64 = chances.iter().sum();
        chances.iter_mut().for_each(|chance| *chance /= total);
        let minutes: Vec<f64> = (0..size)
            .map(|_| 1.0 + 50.0 * rng.random::<f64>())
            .collect();
        let problem = simple(&chances, &minutes);
        let mut rule: Vec<usize> = (0..size).collect();
        rule.sort_by(|&a, &b| (chances[b] / minutes[b]).total_cmp(&(chances[a] / minutes[a])));
        assert_eq!(order(&super::plan(&problem, Effort::Full).unwrap()), rule);
        assert_eq!(fixed_order(&problem, Effort::Full).unwrap(), rule);
    }
}

/// Every policy of 10 000 drawn problems, up to 8 checks, tried one by one.
#[test]
fn exact_orders_agree_with_trying_every_policy() {
    let mut rng = ChaCha8Rng::seed_from_u64(5);
    for instance in 0..10_000 {
        let (checks, isolating) = match instance {
            0..200 => (8, 0),
            200..300 => (5, 2),
            300..900 => (6, 0),
            900..1400 => (4, 2),
            _ => (rng.random_range(1..=5), rng.random_range(0..=1)),
        };
        let causes = rng.random_range(1..=7);
        let problem = drawn(&mut rng, checks, isolating, causes);
        let made: Vec<bool> = problem.checks.iter().map(|check| check.made).collect();
        let least = everything(&problem, &whole(&problem), problem.state as usize, &made);
        let plan = plan(&problem, Effort::Full).unwrap();
        assert!(plan.proven);
        let scale = least.max(1.0);
        assert!(
            (plan.expected_minutes - least).abs() < 1e-9 * scale,
            "{instance}: {} against {least}",
            plan.expected_minutes
        );
    }
}

/// The search has to stay between its bound and the exact minutes, and close to the latter.
#[test]
fn searched_orders_lie_between_the_bound_and_little_above_the_best() {
    let mut rng = ChaCha8Rng::seed_from_u64(23);
    let mut above = Vec::new();
    for _ in 0..300 {
        let checks = rng.random_range(2..=9);
        let isolating = rng.random_range(0..=3);
        let problem = drawn(&mut rng, checks, isolating, 9);
        let task = Task::new(&problem).unwrap();
        let exact = plan(&problem, Effort::Full).unwrap().expected_minutes;
        for effort in [Effort::Quick, Effort::Full] {
            let found = searched_for(&task, effort);
            assert!(!found.proven);
            assert!(
                found.lower_bound <= exact + 1e-9,
                "{found:?} against {exact}"
            );
            assert!(
                found.expected_minutes >= exact - 1e-9,
                "{found:?} against {exact}"
            );
            assert!((0.0..=1.0).contains(&found.gap()));
            if effort == Effort::Quick {
                above.push(found.expected_minutes / exact.max(1e-9));
            }
        }
    }
    let mean = above.iter().sum::<f64>() / above.len() as f64;
    assert!(
        mean < 1.02,
        "the quick search is {mean} times the best on average"
    );
}

/// Minutes to finish that are the same everywhere change no order: a policy then spends them
/// once for each chance that something is found, by whichever search it comes about.
#[test]
fn the_minutes_after_the_cause_is_found_are_told_apart() {
    let mut rng = ChaCha8Rng::seed_from_u64(77);
    for _ in 0..60 {
        let (checks, isolating) = (rng.random_range(1..=9), rng.random_range(0..=2));
        let mut problem = drawn(&mut rng, checks, isolating, 7);
        problem.finish.clear();
        let mut finishing = problem.clone();
        finishing.finish = vec![[40.0; 3]; problem.chances.len()];
        let mut left = problem.chances.clone();
        let direct = problem
            .checks
            .iter()
            .filter(|check| !check.isolating && !check.made);
        for check in direct {
            for &(cause, chance) in &check.reveals {
                left[cause] *= 1.0 - chance;
            }
        }
        let found: f64 = problem.chances.iter().sum::<f64>() - left.iter().sum::<f64>();
        for effort in [Effort::Quick, Effort::Full] {
            let (with, without) = (
                plan(&finishing, effort).unwrap(),
                plan(&problem, effort).unwrap(),
            );
            assert!((with.finish_minutes - 40.0 * found).abs() < 1e-9);
            assert_eq!(without.finish_minutes, 0.0);
            let until_found = with.expected_minutes - with.finish_minutes;
            assert!((until_found - without.expected_minutes).abs() < 1e-9);
            let task = Task::new(&finishing).unwrap();
            let searched = searched_for(&task, effort);
            assert!((searched.finish_minutes - 40.0 * found).abs() < 1e-9);
            let order = fixed_order(&finishing, effort).unwrap();
            let (minutes, finish) = fixed(&finishing, &order).unwrap();
            assert!((finish - 40.0 * found).abs() < 1e-9);
            let plain = expected_minutes(&problem, &order).unwrap();
            assert!((minutes - finish - plain).abs() < 1e-9);
        }
    }
}

#[test]
fn what_has_to_come_first_comes_first_whatever_it_costs() {
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    for size in [6, 14, 26] {
        for _ in 0..20 {
            let mut problem = drawn(&mut rng, size, 2, 12);
            problem
                .checks
                .iter_mut()
                .for_each(|check| check.made = false);
            problem.checks[0].minutes = 500.0;
            problem.checks[0].leaves_pumped = false;
            problem.checks[0].reveals.clear();
            problem.checks[size - 1].needs_first = vec![0];
            problem.checks[size - 1].minutes = 1.0;
            problem.checks[size - 2].needs_first = vec![size];
            problem.checks[size].needs_first.clear();
            problem.checks[size + 1].needs_first.clear();
            for effort in [Effort::Quick, Effort::Full] {
                let places = order(&plan(&problem, effort).unwrap());
                let listed = fixed_order(&problem, effort).unwrap();
                for order in [places, listed] {
                    let at = |check: usize| order.iter().position(|&other| other == check);
                    for (check, option) in problem.checks.iter().enumerate() {
                        assert!(
                            option.isolating || at(check).is_some(),
                            "{check} is missing"
                        );
                        for &need in &option.needs_first {
                            assert!(at(check).is_none() || at(need) < at(check));
                        }
                    }
                }
            }
        }
    }
}

/// On every way through a policy, whatever the outcomes, a check that waits for another of its
/// own state has it made since the tool was last elsewhere; and the minutes stated are those of
/// what the policy does.
#[test]
fn what_lapses_is_made_anew_on_every_way() {
    let mut rng = ChaCha8Rng::seed_from_u64(58);
    let mut anew = 0;
    for instance in 0..400 {
        let (checks, isolating) = (rng.random_range(3..=24), rng.random_range(0..=3));
        let mut problem = drawn(&mut rng, checks, isolating, 10);
        for check in &mut problem.checks {
            if instance % 2 == 0 && check.needs_first.is_empty() && rng.random_bool(0.5) {
                check.needs_first = vec![0];
            }
        }
        problem.checks[0].needs_first.clear();
        problem.checks[0].leaves_pumped = false;
        let task = Task::new(&problem).unwrap();
        for effort in [Effort::Quick, Effort::Full] {
            let small = checks < 12;
            if effort == Effort::Full && instance % 8 != 0 && !small {
                continue;
            }
            for policy in [policy(&task, effort).0, search::best(&task, effort)] {
                let made = task.made.clone();
                let minutes = walked(&problem, &policy.way, &whole(&problem), task.start, &made);
                let scale = minutes.max(1.0);
                assert!(
                    (minutes - policy.minutes).abs() < 1e-9 * scale,
                    "{instance}"
                );
                for way in ways(&policy.way) {
                    anew += secured_throughout(&problem, &task.places(&way));
                }
            }
        }
    }
    assert!(anew > 100, "only {anew} were made anew");
}

/// The order begins with the check from which the program itself expects the fewest minutes,
/// within what is stated: every check that can be made first is tried, and what comes after it
/// planned with full effort, exactly where that fits.
#[test]
fn no_other_first_check_is_better() {
    let mut rng = ChaCha8Rng::seed_from_u64(83);
    let (mut all, mut worst) = (Vec::new(), 1.0f64);
    // Of the large ones a debug build tries four.
    let all_of_them = if cfg!(debug_assertions) { 184 } else { 200 };
    for instance in 0..all_of_them {
        // Most are small enough for what comes after to be exact.
        let (checks, isolating) = match instance {
            0..180 => (rng.random_range(4..=9), rng.random_range(1..=3)),
            _ => (rng.random_range(12..=16), 5),
        };
        let problem = drawn(&mut rng, checks, isolating, 12);
        let task = Task::new(&problem).unwrap();
        let ours = search::best(&task, Effort::Full).minutes;
        let firsts = (0..problem.checks.len()).filter_map(|first| {
            let isolates = problem.checks[first].isolating || instance < 180;
            let minutes = || minutes_beginning_with(&problem, first, Effort::Full).unwrap();
            isolates.then(minutes).flatten()
        });
        let best = firsts.fold(f64::INFINITY, f64::min);
        if best.is_finite() && best > 0.0 {
            all.push(ours / best);
            worst = worst.max(ours / best);
        }
    }
    let mean = all.iter().sum::<f64>() / all.len() as f64;
    println!("{} instances: mean {mean:.5}, worst {worst:.4}", all.len());
    assert!(
        worst < 1.02,
        "{worst} times the minutes of another first check"
    );
    assert!(mean < 1.001, "{mean} times on average");
}

/// What costs nothing and may find something is made before anything that costs something, also
/// where not every order is tried.
#[test]
fn what_costs_nothing_comes_first() {
    let mut rng = ChaCha8Rng::seed_from_u64(97);
    for size in [9, 20, 30] {
        for _ in 0..8 {
            let mut problem = drawn(&mut rng, size, 4, 14);
            problem.finish.clear();
            problem.state = State::Pumped;
            for check in &mut problem.checks {
                check.made = false;
                check.minutes += 1.0;
            }
            let free = &mut problem.checks[size / 2];
            (free.minutes, free.false_alarm) = (0.0, 0.0);
            (free.state, free.leaves_pumped) = (State::Pumped, false);
            free.needs_first.clear();
            free.reveals = vec![(3, 0.01)];
            let task = Task::new(&problem).unwrap();
            for effort in [Effort::Quick, Effort::Full] {
                assert_eq!(order(&searched_for(&task, effort))[0], size / 2);
            }
        }
    }
}

/// Expected minutes of a way, from the definition.
fn walked(problem: &Problem, way: &Way, weights: &[f64], state: usize, made: &[bool]) -> f64 {
    let (check, next) = match way {
        Way::End => return 0.0,
        Way::Direct(check, next) => (*check, [next, next]),
        Way::Telling {
            check,
            found,
            clear,
            ..
        } => (*check, [found, clear]),
    };
    let of = &problem.checks[check];
    let mass: f64 = weights.iter().sum();
    let alarm = of.false_alarm * of.false_alarm_minutes;
    let change = change(problem, state, of.state as usize, &|at| made[at]);
    let (to, leaving) = leaving(problem, of);
    let mut minutes = (change + of.minutes + leaving + alarm) * mass;
    let mut made = made.to_vec();
    assert!(!made[check], "{check} is made twice");
    made[check] = true;
    let answers: HashMap<usize, f64> = of.reveals.iter().copied().collect();
    // An isolating check of a list tells nothing.
    if matches!(way, Way::Direct(..)) {
        let mut left = weights.to_vec();
        for (cause, left) in left.iter_mut().enumerate().filter(|_| !of.isolating) {
            let found = *left * answers.get(&cause).copied().unwrap_or(0.0);
            *left -= found;
            minutes += found * problem.finish.get(cause).map_or(0.0, |finish| finish[to]);
        }
        return minutes + walked(problem, next[0], &left, to, &made);
    }
    for (found, next) in [true, false].into_iter().zip(next) {
        let told: Vec<f64> = weights
            .iter()
            .enumerate()
            .map(|(cause, weight)| {
                let chance = answers.get(&cause).copied().unwrap_or(of.false_alarm);
                weight * if found { chance } else { 1.0 - chance }
            })
            .collect();
        minutes += walked(problem, next, &told, to, &made);
    }
    minutes
}

/// Every way through, each with its outcomes taken for granted.
fn ways(way: &Way) -> Vec<Way> {
    match way {
        Way::End => vec![Way::End],
        Way::Direct(check, next) => ways(next)
            .into_iter()
            .map(|next| Way::Direct(*check, Arc::new(next)))
            .collect(),
        Way::Telling {
            check,
            found,
            clear,
            ..
        } => [(found, Outcome::Found), (clear, Outcome::Clear)]
            .into_iter()
            .flat_map(|(next, outcome)| ways(next).into_iter().map(move |way| (way, outcome)))
            .map(|(next, likelier)| {
                let next = Arc::new(next);
                Way::Telling {
                    check: *check,
                    likelier,
                    found: Arc::clone(&next),
                    clear: next,
                }
            })
            .collect(),
    }
}

/// Holds a list of places to what has to come first; gives how many were made anew.
fn secured_throughout(problem: &Problem, places: &[Place]) -> usize {
    let made_before = problem
        .checks
        .iter()
        .enumerate()
        .filter(|(_, check)| check.made);
    let mut made: HashSet<usize> = made_before.map(|(at, _)| at).collect();
    let mut since = made.clone();
    let mut state = problem.state;
    for place in places {
        let check = &problem.checks[place.check];
        if check.state != state {
            since.clear();
            state = check.state;
        }
        for need in &check.needs_first {
            let first = &problem.checks[*need];
            let lapses = first.state == state && state != State::Pumped && !first.isolating;
            assert!(made.contains(need), "{need} was never made");
            assert!(!lapses || since.contains(need), "{need} lapsed");
        }
        assert_eq!(place.anew, made.contains(&place.check));
        made.insert(place.check);
        since.insert(place.check);
        if leaving(problem, check).0 != state as usize {
            since.clear();
            state = State::Pumped;
        }
    }
    places.iter().filter(|place| place.anew).count()
}

#[test]
fn checks_that_need_the_same_state_are_batched() {
    let mut problem = simple(&[0.2, 0.4, 0.2, 0.2], &[10.0, 10.0, 10.0, 10.0]);
    problem.changes = [[0.0, 15.0, 150.0], [60.0, 0.0, 150.0], [200.0, 215.0, 0.0]];
    problem.checks[1].state = State::Vented;
    problem.checks[2].state = State::Vented;
    let plan = plan(&problem, Effort::Full).unwrap();
    assert_eq!(order(&plan), [0, 3, 1, 2]);
    assert_eq!(plan.places[2].change_minutes, 15.0);
}

#[test]
fn an_isolating_check_earns_its_place_by_what_it_splits() {
    let mut problem = simple(&[0.25; 4], &[60.0; 4]);
    let mut split = check(5.0, State::Pumped, &[(0, 0.97), (1, 0.97)]);
    split.isolating = true;
    split.false_alarm = 0.03;
    problem.checks.push(split);
    let plan = plan(&problem, Effort::Full).unwrap();
    assert_eq!(order(&plan)[0], 4);
    assert!(plan.expected_minutes < 110.0, "{plan:?}");
    problem.checks[4].minutes = 200.0;
    assert!(!order(&super::plan(&problem, Effort::Full).unwrap()).contains(&4));
}

#[test]
fn bad_input_is_refused_and_odd_input_gives_numbers() {
    let good = simple(&[0.5, 0.5], &[10.0, 0.0]);
    let plan_of = |change: &dyn Fn(&mut Problem)| {
        let mut problem = good.clone();
        change(&mut problem);
        plan(&problem, Effort::Full)
    };
    assert!(plan_of(&|p| p.chances[0] = f64::NAN).is_err());
    assert!(plan_of(&|p| p.chances[0] = 0.6).is_err());
    assert!(plan_of(&|p| p.checks[0].reveals[0].1 = 1.5).is_err());
    assert!(plan_of(&|p| p.checks[0].reveals[0].0 = 9).is_err());
    assert!(plan_of(&|p| p.checks[0].needs_first = vec![9]).is_err());
    let negative = plan_of(&|p| p.checks[0].minutes = -1.0)
        .unwrap_err()
        .to_string();
    assert_eq!(negative, "minutes of check 0 is -1; accepted is 0 to 1e6");
    let circle = plan_of(&|p| {
        p.checks[0].needs_first = vec![1];
        p.checks[1].needs_first = vec![0];
    });
    assert_eq!(circle.unwrap_err(), AdviceError::Circle("0, 1".to_owned()));
    let fine: [&dyn Fn(&mut Problem); 6] = [
        &|_| {},
        &|p| p.chances = vec![0.0, 0.0],
        &|p| p.chances = vec![1.0, 0.0],
        &|p| p.checks.clear(),
        &|p| p.checks.iter_mut().for_each(|check| check.reveals.clear()),
        &|p| p.checks.iter_mut().for_each(|check| check.minutes = 0.0),
    ];
    for change in fine {
        for effort in [Effort::Quick, Effort::Full] {
            let mut problem = good.clone();
            change(&mut problem);
            let plan = plan(&problem, effort).unwrap();
            assert!(plan.expected_minutes.is_finite() && plan.expected_minutes >= 0.0);
            assert_eq!(plan.places.len(), problem.checks.len());
            let searched = searched_for(&Task::new(&problem).unwrap(), effort);
            assert!(searched.expected_minutes.is_finite() && searched.gap().is_finite());
        }
    }
}

/// Large enough to be worked through in blocks on two threads; held to a plain programme
/// that remembers what it has met and knows nothing of blocks, lanes or sums.
#[test]
fn blocks_on_two_threads_agree_with_a_plain_programme() {
    let mut rng = ChaCha8Rng::seed_from_u64(31);
    for (checks, isolating) in [(14, 1), (14, 0), (15, 0)] {
        let mut problem = drawn(&mut rng, checks, isolating, 9);
        problem
            .checks
            .iter_mut()
            .for_each(|check| check.made = false);
        let plan = plan(&problem, Effort::Full).unwrap();
        assert!(plan.proven);
        let situation = (0, vec![0; problem.checks.len()], problem.state as usize);
        let least = remembered(&problem, &whole(&problem), situation, &mut HashMap::new());
        assert!(
            (plan.expected_minutes - least).abs() < 1e-9 * least.max(1.0),
            "{} against {least}",
            plan.expected_minutes
        );
    }
}

/// Checks made, outcomes told (0 none, 1 found, 2 clear), state.
type Situation = (u32, Vec<u8>, usize);

fn remembered(
    problem: &Problem,
    weights: &[f64],
    situation: Situation,
    known: &mut HashMap<Situation, f64>,
) -> f64 {
    if let Some(&least) = known.get(&situation) {
        return least;
    }
    let (made, told, state) = &situation;
    let mut checks = problem.checks.iter().enumerate();
    if checks.all(|(at, check)| check.isolating || made & 1 << at != 0) {
        return 0.0;
    }
    let mass: f64 = weights.iter().sum();
    let mut least = f64::INFINITY;
    for (at, check) in problem.checks.iter().enumerate() {
        if made & 1 << at != 0 || check.needs_first.iter().any(|need| made & 1 << need == 0) {
            continue;
        }
        let alarm = check.false_alarm * check.false_alarm_minutes;
        let change = change(problem, *state, check.state as usize, &|at| {
            made & 1 << at != 0
        });
        let (to, leaving) = leaving(problem, check);
        let mut minutes = (change + check.minutes + leaving + alarm) * mass;
        let answers: HashMap<usize, f64> = check.reveals.iter().copied().collect();
        let made = made | 1 << at;
        if check.isolating {
            for outcome in [1, 2] {
                let mut next = weights.to_vec();
                for (cause, weight) in next.iter_mut().enumerate() {
                    let found = answers.get(&cause).copied().unwrap_or(check.false_alarm);
                    *weight *= if outcome == 1 { found } else { 1.0 - found };
                }
                let mut told = told.clone();
                told[at] = outcome;
                minutes += remembered(problem, &next, (made, told, to), known);
            }
        } else {
            let mut next = weights.to_vec();
            for (cause, weight) in next.iter_mut().enumerate() {
                let found = *weight * answers.get(&cause).copied().unwrap_or(0.0);
                *weight -= found;
                minutes += found * problem.finish.get(cause).map_or(0.0, |finish| finish[to]);
            }
            minutes += remembered(problem, &next, (made, told.clone(), to), known);
        }
        least = least.min(minutes);
    }
    known.insert(situation, least);
    least
}
