//! The best policy, read out of a table.
//!
//! A table of narrow numbers is a little off, by no more than its numbers can slip. So every
//! step that could be the best is followed to its end in wide numbers, and the least of them
//! taken; what is found is the best policy, not nearly the best one. Steps that are so close
//! are few, unless checks are interchangeable; then the search gives up.

use std::{collections::HashMap, sync::Arc};

use super::{Tail, number::Number, table::Table};
use crate::advice::sequence::{
    list,
    task::{Policy, Task, Way},
};

/// Places looked at before giving up.
const MOST_PLACES: usize = 2_000;
/// What is not worth telling apart, as a share of the whole.
const NOTHING: f64 = 1e-13;

/// The best policy; none if too many steps are too close to tell.
pub(super) fn best<N: Number>(table: &Table<'_, N>, tail: &Tail<'_>) -> Option<Policy> {
    let task = table.task;
    let (lane, state) = (table.lanes.no_outcome(), task.start);
    let finish = task.finish_from(&task.weights, state);
    let minutes = table.value(0, state, lane) + finish;
    let steps = table.direct.len() + table.isolating.len() + 1;
    let mut search = Search {
        table,
        tail,
        slip: 2.0 * N::SLIP * steps as f64,
        nothing: NOTHING * (minutes + all_finishing(task, &task.weights)),
        known: HashMap::new(),
        left: if N::SLIP > 0.0 {
            MOST_PLACES
        } else {
            usize::MAX
        },
    };
    search.from(&Place {
        set: 0,
        state,
        lane,
        weights: task.weights.clone(),
    })
}

/// Where a policy has got to.
struct Place {
    set: usize,
    state: usize,
    lane: usize,
    weights: Vec<f64>,
}

struct Search<'s, N> {
    table: &'s Table<'s, N>,
    tail: &'s Tail<'s>,
    /// By how much two values of the table may be off together, as a share.
    slip: f64,
    nothing: f64,
    /// By set, state and lane.
    known: HashMap<(usize, usize, usize), Policy>,
    left: usize,
}

/// What to do, and where it leads.
enum Next {
    Direct(usize, Place),
    Telling(usize, [Place; 2]),
}

impl<N: Number> Search<'_, N> {
    fn from(&mut self, at: &Place) -> Option<Policy> {
        let key = (at.set, at.state, at.lane);
        if let Some(known) = self.known.get(&key) {
            return Some(known.clone());
        }
        if at.set + 1 == 1 << self.table.direct.len() {
            return Some((self.tail)(&at.weights, at.state));
        }
        self.left = self.left.checked_sub(1)?;
        let mut offers = self.offers(at);
        let least = offers
            .iter()
            .map(|(minutes, ..)| *minutes)
            .fold(f64::INFINITY, f64::min);
        let scale = least.abs() + all_finishing(self.table.task, &at.weights);
        let off = if scale > self.nothing && self.slip > 0.0 {
            self.slip * scale + self.nothing
        } else {
            offers.truncate(
                1 + offers
                    .iter()
                    .position(|offer| offer.0 <= least)
                    .unwrap_or(0),
            );
            0.0
        };
        let mut best: Option<Policy> = None;
        for (_, minutes, next) in offers.into_iter().filter(|offer| offer.0 <= least + off) {
            let found = self.followed(at, minutes, next)?;
            if best
                .as_ref()
                .is_none_or(|best| found.minutes < best.minutes)
            {
                best = Some(found);
            }
        }
        let best = best?;
        self.known.insert(key, best.clone());
        Some(best)
    }

    /// A step and the best that comes after it; `minutes` are those of the step.
    fn followed(&mut self, at: &Place, minutes: f64, next: Next) -> Option<Policy> {
        match next {
            Next::Direct(check, place) => {
                let after = self.from(&place)?;
                let mut left = at.weights.clone();
                Some(Policy {
                    minutes: minutes + after.minutes,
                    finish: list::found(self.table.task, &mut left, check) + after.finish,
                    way: Arc::new(Way::Direct(check, after.way)),
                })
            }
            Next::Telling(check, [found, clear]) => {
                let chance = |place: &Place| place.weights.iter().sum::<f64>();
                let chances = [chance(&found), chance(&clear)];
                let after = [self.from(&found)?, self.from(&clear)?];
                Some(Policy::telling(check, minutes, chances, after))
            }
        }
    }

    /// All that may be made at a place: minutes in all by the table, those of the step
    /// alone, and the step.
    fn offers(&self, at: &Place) -> Vec<(f64, f64, Next)> {
        let (table, task) = (self.table, self.table.task);
        let mass: f64 = at.weights.iter().sum();
        let mut offers = Vec::new();
        for (position, step) in table.steps.iter().enumerate() {
            let may = step.lanes.as_ref().is_none_or(|lanes| lanes[at.lane]);
            if at.set >> position & 1 == 1 || step.needs & !at.set != 0 || !may {
                continue;
            }
            let check = table.direct[position];
            let item = &task.checks[check];
            let mut weights = at.weights.clone();
            let minutes = (table.change(at.state, item.state, at.set) + item.minutes) * mass
                + list::found(task, &mut weights, check);
            let place = Place {
                set: at.set | 1 << position,
                state: item.leaves,
                lane: at.lane,
                weights,
            };
            let all = minutes + self.value(&place);
            offers.push((all, minutes, Next::Direct(check, place)));
        }
        for telling in &table.lanes.telling[at.lane] {
            if table.told_needs[telling.check] & !at.set != 0 {
                continue;
            }
            let check = table.isolating[telling.check];
            let item = &task.checks[check];
            let minutes = (table.change(at.state, item.state, at.set) + item.minutes) * mass;
            let sides =
                [(telling.found, true), (telling.clear, false)].map(|(lane, found)| Place {
                    set: at.set,
                    state: item.state,
                    lane,
                    weights: task.told(&at.weights, check, found),
                });
            let all = minutes + sides.iter().map(|place| self.value(place)).sum::<f64>();
            offers.push((all, minutes, Next::Telling(check, sides)));
        }
        offers
    }

    /// Minutes from a place on, by the table.
    fn value(&self, at: &Place) -> f64 {
        if at.set + 1 == 1 << self.table.direct.len() {
            return (self.tail)(&at.weights, at.state).minutes;
        }
        self.table.value(at.set, at.state, at.lane)
            + self.table.task.finish_from(&at.weights, at.state)
    }
}

/// What finishing would cost from every state together: a bound on the numbers added up.
fn all_finishing(task: &Task, weights: &[f64]) -> f64 {
    let states = [0, 1, 2].map(|state| task.finish_from(weights, state));
    2.0 * states.iter().sum::<f64>()
}
