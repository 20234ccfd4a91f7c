//! The best policy that can be found where the size is too much for the dynamic programme.
//!
//! From a situation three kinds of policy are tried: a fixed order; an order that branches on
//! isolating checks, each placed greedily (`tree`); and an exact policy of the foremost checks
//! with the rest after them (`exact`). Then the isolating checks that promise most are each
//! taken first, and the situations after their outcomes searched in the same way; after the best
//! of them as deep as from the beginning.

use std::sync::{
    Arc,
    atomic::{AtomicUsize, Ordering},
};

use super::{
    Effort, exact, list,
    task::{Policy, Situation, Task, Way},
    tree,
};

/// How much work goes into the policies of one situation.
#[derive(Clone, Copy)]
struct Work {
    /// Trials of moving checks about.
    tries: usize,
    /// Checks that are ordered exactly, and isolating ones among them.
    head: usize,
    told: usize,
    /// Isolating checks on a way, placed greedily.
    depth: usize,
    /// Isolating checks that are each taken first.
    breadth: usize,
}

const QUICK: [Work; 1] = [Work {
    tries: 5_000,
    head: 6,
    told: 2,
    depth: 1,
    breadth: 0,
}];

/// Of now, and of the situations after one and two isolating checks.
const FULL: [Work; 3] = [
    Work {
        tries: 40_000,
        head: 12,
        told: 3,
        depth: 5,
        breadth: 5,
    },
    Work {
        tries: 500,
        head: 8,
        told: 2,
        depth: 4,
        breadth: 2,
    },
    Work {
        tries: 200,
        head: 6,
        told: 2,
        depth: 3,
        breadth: 0,
    },
];

/// After how many of the first checks that did best the search begins anew, with all its work.
const AGAIN: usize = 1;

fn works(effort: Effort) -> &'static [Work] {
    match effort {
        Effort::Quick => &QUICK,
        Effort::Full => &FULL,
    }
}

pub(super) fn best(task: &Task, effort: Effort) -> Policy {
    let at = task.beginning();
    if let Some(check) = free(task, &at) {
        let mut next = at.clone();
        let minutes = tree::make(task, &mut next, check);
        let after = best(&task.from(&next), effort);
        return Policy {
            minutes: minutes + after.minutes,
            finish: list::finishing(task, &at.weights, &[check]) + after.finish,
            way: Way::listed(&[check], after.way),
        };
    }
    let works = works(effort);
    let (work, later) = (&works[0], &works[1..]);
    let firsts = promising(task, &at, work);
    let mut tried: Vec<(Policy, usize)> = shared(&firsts, &|&check| {
        let go_on = &mut |next: &Situation| ahead(task, next, later);
        (tree::split(task, &at, check, go_on), check)
    });
    tried.sort_by(|a, b| a.0.minutes.total_cmp(&b.0.minutes).then(a.1.cmp(&b.1)));
    let again: Vec<Policy> = tried
        .iter()
        .take(AGAIN)
        .map(|(_, check)| searched(task, &at, *check, works))
        .collect();
    let tried = tried.into_iter().map(|(policy, _)| policy);
    let begun = tried.chain(again);
    begun.fold(from_here(task, &at, work), better)
}

/// An isolating check made now, and a search of its own after each outcome, with the work of one
/// from the beginning.
fn searched(task: &Task, at: &Situation, check: usize, works: &[Work]) -> Policy {
    let (work, later) = (&works[0], &works[1..]);
    let sides = [true, false].map(|found| tree::told(task, at, check, found));
    let mut ways: Vec<(usize, Option<usize>)> = Vec::new();
    for (side, next) in sides.iter().enumerate() {
        ways.push((side, None));
        let firsts = promising(task, next, work).into_iter();
        ways.extend(firsts.map(|first| (side, Some(first))));
    }
    let found = shared(&ways, &|&(side, first)| match first {
        None => from_here(task, &sides[side], work),
        Some(first) => {
            let go_on = &mut |next: &Situation| ahead(task, next, later);
            tree::split(task, &sides[side], first, go_on)
        }
    });
    let best_of = |side: usize| {
        let policies = ways.iter().zip(&found).filter(|(way, _)| way.0 == side);
        let policies = policies.map(|(_, policy)| policy.clone());
        policies.reduce(better).unwrap_or_default()
    };
    let mut after = [0, 1].map(best_of).into_iter();
    tree::split(task, at, check, &mut |_| after.next().unwrap_or_default())
}

/// A check that may find something and costs nothing here: no policy is worse for beginning with
/// it, unless what it finds would be mended sooner from another state.
fn free(task: &Task, at: &Situation) -> Option<usize> {
    let sooner = |cause: usize| {
        let Some(finish) = task.finish.get(cause) else {
            return false;
        };
        (0..3).any(|to| finish[to] + task.changes[at.state][to] < finish[at.state])
    };
    (0..task.checks.len()).find(|&check| {
        let item = &task.checks[check];
        let finds = |&(cause, chance): &(usize, f64)| at.weights[cause] * chance > 0.0;
        !item.isolating
            && !at.made[check]
            && item.minutes <= 0.0
            && [item.state, item.leaves] == [at.state; 2]
            && item.needs.iter().all(|&need| at.made[need])
            && item.reveals.iter().any(finds)
            && !item.reveals.iter().any(|&(cause, _)| sooner(cause))
    })
}

fn better(one: Policy, other: Policy) -> Policy {
    if other.minutes < one.minutes {
        other
    } else {
        one
    }
}

/// The best fixed order found.
pub(super) fn listed(task: &Task, at: &Situation, effort: Effort) -> Vec<usize> {
    let tries = works(effort)[0].tries;
    list::improved(task, at, list::greedy(task, at), tries)
}

fn ahead(task: &Task, at: &Situation, works: &[Work]) -> Policy {
    let Some((work, later)) = works.split_first() else {
        return Policy::default();
    };
    let firsts = promising(task, at, work).into_iter();
    let begun =
        firsts.map(|check| tree::split(task, at, check, &mut |next| ahead(task, next, later)));
    begun.fold(from_here(task, at, work), better)
}

/// The isolating checks that save most if made first and followed by lists.
fn promising(task: &Task, at: &Situation, work: &Work) -> Vec<usize> {
    if work.breadth == 0 {
        return Vec::new();
    }
    let ready = tree::ready(task, at).into_iter();
    let mut first: Vec<(f64, usize)> = ready
        .filter_map(|check| Some((tree::tried(task, at, check, f64::INFINITY)?, check)))
        .collect();
    first.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    first.truncate(work.breadth);
    first.into_iter().map(|(_, check)| check).collect()
}

/// What becomes of each, by two threads.
fn shared<T: Sync, R: Send>(items: &[T], work: &(dyn Fn(&T) -> R + Sync)) -> Vec<R> {
    if items.len() < 2 {
        return items.iter().map(work).collect();
    }
    let next = AtomicUsize::new(0);
    let some = || -> Vec<(usize, R)> {
        let mut done = Vec::new();
        loop {
            let at = next.fetch_add(1, Ordering::Relaxed);
            match items.get(at) {
                Some(item) => done.push((at, work(item))),
                None => return done,
            }
        }
    };
    let mut done = std::thread::scope(|scope| {
        let beside = scope.spawn(some);
        let mut done = some();
        // A panic over there is passed on here.
        done.extend(
            beside
                .join()
                .unwrap_or_else(|panic| std::panic::resume_unwind(panic)),
        );
        done
    });
    done.sort_by_key(|(at, _)| *at);
    done.into_iter().map(|(_, result)| result).collect()
}

/// The best of the three kinds of policy.
fn from_here(task: &Task, at: &Situation, work: &Work) -> Policy {
    let order = list::improved(task, at, list::greedy(task, at), work.tries);
    let listed = list::cost(task, at, &order, f64::INFINITY);
    let headed = exact_head(task, at, &order, listed, work);
    let branched = tree::branched(task, at, &order, work.depth);
    if branched.minutes <= headed.minutes {
        branched
    } else {
        headed
    }
}

/// An exact policy of the foremost checks and some isolating ones, then the rest.
fn exact_head(task: &Task, at: &Situation, order: &[usize], listed: f64, work: &Work) -> Policy {
    let isolating = best_isolating(task, at, listed, work.told);
    let (head, isolating) = head(task, at, order, &isolating, work.head);
    let in_head = |check: usize| head.contains(&check) || isolating.contains(&check);
    let after: Vec<bool> = (0..task.checks.len())
        .map(|check| at.made[check] || in_head(check))
        .collect();
    let rest: Vec<usize> = order
        .iter()
        .copied()
        .filter(|&check| !after[check])
        .collect();
    let tail = |weights: &[f64], state: usize| {
        let at = Situation {
            weights: weights.to_vec(),
            state,
            made: after.clone(),
        };
        let greedy = list::greedy(task, &at);
        let kept = list::cost(task, &at, &rest, f64::INFINITY);
        let greedier = list::cost(task, &at, &greedy, kept);
        let (minutes, order) = if greedier < kept {
            (greedier, &greedy)
        } else {
            (kept, &rest)
        };
        Policy {
            minutes,
            finish: list::finishing(task, weights, order),
            way: Way::listed(order, Arc::default()),
        }
    };
    exact::solve(&task.from(at), &head, &isolating, &tail)
}

/// The isolating checks that save most if made first, at most `most` of them.
fn best_isolating(task: &Task, at: &Situation, listed: f64, most: usize) -> Vec<usize> {
    let mut scored: Vec<(f64, usize)> = (0..task.checks.len())
        .filter(|&check| task.checks[check].isolating && !at.made[check])
        .filter_map(|check| {
            let minutes = tree::tried(task, at, check, f64::INFINITY)?;
            Some((minutes - listed, check))
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
    at: &Situation,
    order: &[usize],
    isolating: &[usize],
    size: usize,
) -> (Vec<usize>, Vec<usize>) {
    let mut queues = vec![order.to_vec()];
    for &check in isolating {
        for found in [true, false] {
            let told = Situation {
                weights: task.told(&at.weights, check, found),
                ..at.clone()
            };
            queues.push(list::greedy(task, &told));
        }
    }
    let chain = |check: usize| -> Vec<usize> {
        let chain = task.chains[check].iter().copied();
        chain.filter(|&need| !at.made[need]).collect()
    };
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
                let wanted = chain(*check);
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
        chain(*check)
            .iter()
            .all(|need| need == check || head.contains(need))
            && !task.chains.iter().enumerate().any(|(waiting, chain)| {
                waiting != *check
                    && !at.made[waiting]
                    && !head.contains(&waiting)
                    && chain.contains(check)
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
