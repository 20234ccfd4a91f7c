//! The table of the dynamic programme, and how it is filled.

use std::sync::atomic::{AtomicUsize, Ordering};

use super::{
    Tail,
    lanes::{Lanes, PACK},
    number::Number,
    sums::{Answers, Sums},
};
use crate::advice::sequence::task::Task;

pub(super) struct Step {
    minutes: f64,
    /// Row of its state.
    row: usize,
    /// Row of the state after it.
    leaves: usize,
    /// Positions that have to come before, as bits.
    pub(super) needs: usize,
    /// By lane: whether it may be made, if not in all.
    pub(super) lanes: Option<Vec<bool>>,
}

pub(super) struct Table<'t, N> {
    pub(super) task: &'t Task,
    pub(super) direct: Vec<usize>,
    pub(super) isolating: Vec<usize>,
    /// By position in `direct`.
    pub(super) steps: Vec<Step>,
    /// By row: the positions in `direct` of checks of its state that leave the tool there and
    /// may be made in every lane, as bits.
    of_row: Vec<usize>,
    /// Positions in `direct` of the others.
    apart: Vec<usize>,
    /// By position in `isolating`: positions in `direct` that have to come before, as bits.
    pub(super) told_needs: Vec<usize>,
    /// By pack: isolating checks that may be made.
    telling: Vec<Vec<MayTell<N>>>,
    pub(super) lanes: Lanes,
    /// States the tool can be in, and their row by state.
    states: Vec<usize>,
    row: [usize; 3],
    /// Minutes from row to row.
    changes: [[N; 3]; 3],
    /// What has to be made anew on coming back to its row.
    anew: Vec<Anew>,
    /// Positions below the blocks.
    low: usize,
    /// By the bits above: least values less what finishing costs.
    blocks: Vec<Rows<N>>,
}

/// Values of a block by row: `[set][lane]`, flat.
type Rows<N> = Vec<Vec<N>>;

/// An isolating check that may be made in lanes of a pack. Places are those in what is kept
/// of a set, `[row][lane]`.
struct MayTell<N> {
    row: usize,
    /// By lane of the pack; infinite where it may not be made.
    minutes: [N; PACK],
    /// Positions in `direct` that have to come before, as bits.
    needs: usize,
    found: [usize; PACK],
    clear: [usize; PACK],
}

/// See [`crate::advice::sequence::task::Renewal`].
struct Anew {
    row: usize,
    minutes: f64,
    /// The position of the check, as a bit; none if it was made before.
    made: usize,
    /// Positions of the checks that wait for it, as bits; all if any is not among them.
    waiting: usize,
}

impl Anew {
    fn is_due(&self, set: usize) -> bool {
        self.made & !set == 0 && self.waiting & !set != 0
    }
}

/// From this many checks on, two threads pay.
pub(super) const MANY: usize = 14;
/// Bits that number the blocks then.
const BLOCK_BITS: usize = 6;
/// More checks than this are never solved exactly.
pub(super) const MOST_CHECKS: usize = 24;

impl<'t, N: Number> Table<'t, N> {
    pub(super) fn new(task: &'t Task, direct: &[usize], isolating: &[usize]) -> Self {
        let mut direct = direct.to_vec();
        // Checks of few causes vary fastest, which keeps the sums of few terms.
        direct.sort_by_key(|&check| (task.checks[check].reveals.len(), check));
        let place = |check: &usize| direct.iter().position(|other| other == check);
        let told = |check: &usize| isolating.iter().position(|other| other == check);
        let bits = |check: usize| {
            let needs = task.checks[check].needs.iter();
            needs.filter_map(place).fold(0, |bits, at| bits | 1 << at)
        };
        let first = |check: usize| -> Vec<usize> {
            task.checks[check].needs.iter().filter_map(told).collect()
        };
        let told_first: Vec<Vec<usize>> = isolating.iter().map(|&check| first(check)).collect();
        let lanes = Lanes::new(&told_first);
        let used = |state: &usize| {
            *state == task.start
                || direct
                    .iter()
                    .chain(isolating)
                    .map(|&check| &task.checks[check])
                    .any(|item| item.state == *state || item.leaves == *state)
        };
        let states: Vec<usize> = (0..3).filter(used).collect();
        let mut row = [0; 3];
        for (at, &state) in states.iter().enumerate() {
            row[state] = at;
        }
        let step = |&check: &usize| {
            let first = first(check);
            let may = |outcomes: &Option<Vec<u8>>| {
                let all = |outcomes: &Vec<u8>| first.iter().all(|&need| outcomes[need] != 0);
                outcomes.as_ref().is_some_and(all)
            };
            Step {
                minutes: task.checks[check].minutes,
                row: row[task.checks[check].state],
                leaves: row[task.checks[check].leaves],
                needs: bits(check),
                lanes: (!first.is_empty()).then(|| lanes.outcomes.iter().map(may).collect()),
            }
        };
        let steps: Vec<Step> = direct.iter().map(step).collect();
        let mut of_row = vec![0; states.len()];
        let mut apart = Vec::new();
        for (at, step) in steps.iter().enumerate() {
            match step.lanes.is_none() && step.leaves == step.row {
                true => of_row[step.row] |= 1 << at,
                false => apart.push(at),
            }
        }
        let width = lanes.width();
        let telling = (0..width / PACK).map(|pack| {
            let may = isolating.iter().enumerate().filter_map(|(at, &check)| {
                let row = row[task.checks[check].state];
                let mut may = MayTell {
                    row,
                    minutes: [N::INFINITY; PACK],
                    needs: bits(check),
                    found: [0; PACK],
                    clear: [0; PACK],
                };
                let mut any = false;
                for lane in 0..PACK {
                    let mut telling = lanes.telling[pack * PACK + lane].iter();
                    if let Some(to) = telling.find(|to| to.check == at) {
                        any = true;
                        may.minutes[lane] = N::of(task.checks[check].minutes);
                        may.found[lane] = row * width + to.found;
                        may.clear[lane] = row * width + to.clear;
                    }
                }
                any.then_some(may)
            });
            may.collect()
        });
        let high = if direct.len() < MANY { 0 } else { BLOCK_BITS };
        let anew = task.renewals.iter().filter_map(|renewal| {
            let state = task.checks[renewal.check].state;
            if !states.contains(&state) {
                return None;
            }
            let made = match task.made[renewal.check] {
                true => 0,
                // What is made after the exact part does not lapse in it.
                false => 1 << place(&renewal.check)?,
            };
            let bit = |check: &usize| match task.made[*check] {
                true => 0,
                false => place(check).map_or(usize::MAX, |at| 1 << at),
            };
            let waiting = renewal.waiting.iter();
            let always = if renewal.always { usize::MAX } else { 0 };
            Some(Anew {
                row: row[state],
                minutes: task.checks[renewal.check].minutes,
                made,
                waiting: waiting.fold(always, |bits, check| bits | bit(check)),
            })
        });
        Self {
            anew: anew.collect(),
            task,
            steps,
            of_row,
            apart,
            told_needs: isolating.iter().map(|&check| bits(check)).collect(),
            telling: telling.collect(),
            low: direct.len() - high,
            blocks: vec![Vec::new(); 1 << high],
            changes: std::array::from_fn(|from| {
                std::array::from_fn(|to| match (states.get(from), states.get(to)) {
                    (Some(&from), Some(&to)) => N::of(task.changes[from][to]),
                    _ => N::INFINITY,
                })
            }),
            lanes,
            states,
            row,
            isolating: isolating.to_vec(),
            direct,
        }
    }

    /// The value of a cell less what finishing costs there.
    pub(super) fn value(&self, set: usize, state: usize, lane: usize) -> f64 {
        let within = set & ((1 << self.low) - 1);
        let place = within * self.lanes.width() + lane;
        self.blocks[set >> self.low][self.row[state]][place].wide()
    }

    /// Minutes from state to state, with those of what has to be made anew.
    pub(super) fn change(&self, from: usize, to: usize, set: usize) -> f64 {
        let change = self.task.changes[from][to];
        if from == to {
            return change;
        }
        let row = self.row[to];
        let due = self
            .anew
            .iter()
            .filter(|anew| anew.row == row && anew.is_due(set));
        change + due.map(|anew| anew.minutes).sum::<f64>()
    }

    pub(super) fn fill(&mut self, tail: &Tail<'_>) {
        let last = self.last(tail);
        let masses = Masses::new(self);
        let most = self.blocks.len().trailing_zeros();
        for bits in (0..=most).rev() {
            let layer: Vec<usize> = (0..self.blocks.len())
                .filter(|block| block.count_ones() == bits)
                .collect();
            let next = AtomicUsize::new(0);
            let fill = || -> Vec<(usize, Rows<N>)> {
                let mut done = Vec::new();
                while let Some(&block) = layer.get(next.fetch_add(1, Ordering::Relaxed)) {
                    done.push((block, self.filled(block, &last, &masses)));
                }
                done
            };
            let done = if layer.len() < 2 {
                fill()
            } else {
                std::thread::scope(|scope| {
                    let beside = scope.spawn(fill);
                    let mut done = fill();
                    // A panic over there is passed on here.
                    done.extend(
                        beside
                            .join()
                            .unwrap_or_else(|panic| std::panic::resume_unwind(panic)),
                    );
                    done
                })
            };
            for (block, values) in done {
                self.blocks[block] = values;
            }
        }
    }

    /// What is kept of the set of all checks.
    fn last(&self, tail: &Tail<'_>) -> Vec<N> {
        let width = self.lanes.width();
        let mut rows = vec![N::default(); self.states.len() * width];
        for (lane, outcomes) in self.lanes.outcomes.iter().enumerate() {
            let Some(outcomes) = outcomes else { continue };
            let mut weights = self.weights(outcomes);
            for &check in &self.direct {
                for &(cause, chance) in &self.task.checks[check].reveals {
                    weights[cause] *= 1.0 - chance;
                }
            }
            for (row, &state) in self.states.iter().enumerate() {
                let value = tail(&weights, state).minutes - self.task.finish_from(&weights, state);
                rows[row * width + lane] = N::of(value);
            }
        }
        rows
    }

    /// Weights of the causes after outcomes of the isolating checks.
    fn weights(&self, outcomes: &[u8]) -> Vec<f64> {
        let outcomes = self.isolating.iter().zip(outcomes);
        outcomes.fold(
            self.task.weights.clone(),
            |weights, (&check, &outcome)| match outcome {
                0 => weights,
                told => self.task.told(&weights, check, told == 1),
            },
        )
    }

    /// Values of the sets of a block.
    fn filled(&self, high: usize, last: &[N], masses: &Masses) -> Rows<N> {
        let (rows, width) = (self.states.len(), self.lanes.width());
        let mut values: Rows<N> = vec![vec![N::default(); width << self.low]; rows];
        let mut now = vec![N::default(); rows * width];
        let mut best = now.clone();
        let mut narrow = vec![N::default(); masses.wide];
        masses.visit(self, high, &mut |within, sums| {
            let set = high << self.low | within;
            if set + 1 == 1 << self.direct.len() {
                now.copy_from_slice(last);
            } else {
                for (narrow, sum) in narrow.iter_mut().zip(sums) {
                    *narrow = N::of(*sum);
                }
                self.find(&values, set, &narrow, &mut best);
                self.tell(set, &narrow, &best, &mut now);
            }
            for (values, now) in values.iter_mut().zip(now.chunks_exact(width)) {
                values[within * width..][..width].copy_from_slice(now);
            }
        });
        values
    }

    /// The best of making a check that is not isolating next, by the row of its state; `sums` as
    /// for [`Self::tell`].
    fn find(&self, values: &Rows<N>, set: usize, sums: &[N], best: &mut [N]) {
        let (width, low) = (self.lanes.width(), self.low);
        let (mass, finish) = sums.split_at(width);
        let (high, within) = (set >> low, set & ((1 << low) - 1));
        let after = |at: usize, row: usize| -> &[N] {
            let next = if at < low {
                &values[row][(within | 1 << at) * width..]
            } else {
                &self.blocks[high | 1 << (at - low)][row][within * width..]
            };
            &next[..width]
        };
        for (row, best) in best.chunks_exact_mut(width).enumerate() {
            let mut open = [(N::default(), &[][..]); MOST_CHECKS];
            let mut count = 0;
            let mut left = !set & self.of_row[row];
            while left != 0 {
                let at = left.trailing_zeros() as usize;
                left &= left - 1;
                let step = &self.steps[at];
                if step.needs & !set == 0 {
                    open[count] = (N::of(step.minutes), after(at, row));
                    count += 1;
                }
            }
            least(mass, &open[..count], best);
        }
        for &at in &self.apart {
            let step = &self.steps[at];
            if set >> at & 1 == 1 || step.needs & !set != 0 {
                continue;
            }
            let (next, minutes) = (after(at, step.leaves), N::of(step.minutes));
            let may = |lane: &usize| step.lanes.as_ref().is_none_or(|lanes| lanes[*lane]);
            for lane in (0..width).filter(may) {
                let (here, there) = (step.row * width + lane, step.leaves * width + lane);
                let mut value = minutes * mass[lane] + next[lane];
                if !finish.is_empty() {
                    value = value + (finish[there] - finish[here]);
                }
                best[here] = best[here].lesser(value);
            }
        }
    }

    /// The best of all, isolating checks and changes of state among it; `sums` holds the
    /// mass, then, if finishing counts, what it would cost from each row.
    fn tell(&self, set: usize, sums: &[N], best: &[N], now: &mut [N]) {
        let (rows, width) = (self.states.len(), self.lanes.width());
        let (mass, finish) = sums.split_at(width);
        let mut changes = self.changes;
        for anew in self.anew.iter().filter(|anew| anew.is_due(set)) {
            for change in &mut changes {
                change[anew.row] = change[anew.row] + N::of(anew.minutes);
            }
        }
        for (pack, telling) in self.telling.iter().enumerate() {
            let mass = chunk(mass, pack * PACK);
            let of_row = |rows: &[N], row: usize| chunk(rows, row * width + pack * PACK);
            let mut least = [[N::INFINITY; PACK]; 3];
            for (row, least) in least[..rows].iter_mut().enumerate() {
                *least = of_row(best, row);
            }
            for may in telling {
                if may.needs & !set == 0 {
                    let told = |lane: usize| now[may.found[lane]] + now[may.clear[lane]];
                    let told: [N; PACK] = std::array::from_fn(told);
                    // Where it may not be made this is infinite, or no number without mass,
                    // which is not less either.
                    least[may.row] = lower(least[may.row], may.minutes, mass, told);
                }
            }
            for from in 0..rows {
                let mut value = least[from];
                for to in (0..rows).filter(|&to| to != from) {
                    let mut there = least[to];
                    if !finish.is_empty() {
                        let (to, from) = (of_row(finish, to), of_row(finish, from));
                        there = std::array::from_fn(|at| there[at] + (to[at] - from[at]));
                    }
                    value = lower(value, [changes[from][to]; PACK], mass, there);
                }
                now[from * width + pack * PACK..][..PACK].copy_from_slice(&value);
            }
        }
    }
}

fn chunk<N: Number>(numbers: &[N], from: usize) -> [N; PACK] {
    let chunk = numbers[from..].first_chunk();
    chunk.copied().unwrap_or([N::INFINITY; PACK])
}

#[inline(always)]
fn lower<N: Number>(
    values: [N; PACK],
    minutes: [N; PACK],
    mass: [N; PACK],
    next: [N; PACK],
) -> [N; PACK] {
    std::array::from_fn(|lane| values[lane].lesser(minutes[lane] * mass[lane] + next[lane]))
}

/// The least of `minutes · mass + next` by lane.
fn least<N: Number>(mass: &[N], open: &[(N, &[N])], best: &mut [N]) {
    const MANY: usize = 4 * PACK;
    let many = mass.len() / MANY * MANY;
    for from in (0..many).step_by(MANY) {
        least_of::<N, MANY>(from, mass, open, best);
    }
    for from in (many..mass.len()).step_by(PACK) {
        least_of::<N, PACK>(from, mass, open, best);
    }
}

#[inline(always)]
fn least_of<N: Number, const LANES: usize>(
    from: usize,
    mass: &[N],
    open: &[(N, &[N])],
    best: &mut [N],
) {
    let mut least = [N::INFINITY; LANES];
    if let Some(mass) = mass[from..].first_chunk::<LANES>() {
        for (minutes, next) in open {
            if let Some(next) = next[from..].first_chunk::<LANES>() {
                for lane in 0..LANES {
                    least[lane] = least[lane].lesser(*minutes * mass[lane] + next[lane]);
                }
            }
        }
    }
    best[from..from + LANES].copy_from_slice(&least);
}

/// The chance of getting to each set, by lane, and what finishing would cost there by row.
struct Masses {
    /// Over the checks below the blocks.
    sums: Sums,
    /// By cause: its weight by lane.
    weights: Vec<Vec<f64>>,
    /// By cause: minutes to finish from each row, if they count.
    finish: Vec<Vec<f64>>,
    /// How many numbers there are of a set.
    wide: usize,
}

impl Masses {
    fn new<N: Number>(table: &Table<'_, N>) -> Self {
        let task = table.task;
        let by_lane: Vec<Option<Vec<f64>>> = table
            .lanes
            .outcomes
            .iter()
            .map(|outcomes| Some(table.weights(outcomes.as_ref()?)))
            .collect();
        let weights = (0..task.weights.len()).map(|cause| {
            let of_lane = |weights: &Option<Vec<f64>>| weights.as_ref().map_or(0.0, |w| w[cause]);
            by_lane.iter().map(of_lane).collect()
        });
        let finish = task.finish.iter().map(|finish| {
            let rows = table.states.iter();
            rows.map(|&state| finish[state]).collect()
        });
        let answers: Vec<Answers> = (0..task.weights.len())
            .map(|cause| {
                let low = table.direct[..table.low].iter().enumerate();
                low.filter_map(|(at, &check)| Some((at, answer(task, check, cause)?)))
                    .collect()
            })
            .collect();
        let rows = match task.finish.is_empty() {
            true => 0,
            false => table.states.len(),
        };
        let wide = (1 + rows) * table.lanes.width();
        Self {
            sums: Sums::of(&answers, table.low, wide),
            weights: weights.collect(),
            finish: finish.collect(),
            wide,
        }
    }

    /// Goes through the sets of a block, the largest first.
    fn visit<N>(&self, table: &Table<'_, N>, high: usize, visit: &mut impl FnMut(usize, &[f64])) {
        let whole = self.weights.iter().enumerate().map(|(cause, weights)| {
            let made = table.direct[table.low..].iter().enumerate();
            let left: f64 = made
                .filter(|(at, _)| high >> at & 1 == 1)
                .filter_map(|(_, &check)| answer(table.task, check, cause))
                .map(|chance| 1.0 - chance)
                .product();
            let finish = self.finish.get(cause).into_iter().flatten();
            let factors = std::iter::once(1.0).chain(finish.copied());
            factors
                .flat_map(|factor| weights.iter().map(move |weight| left * factor * weight))
                .collect()
        });
        let whole: Vec<Vec<f64>> = whole.collect();
        self.sums.visit(&whole, visit);
    }
}

fn answer(task: &Task, check: usize, cause: usize) -> Option<f64> {
    let mut reveals = task.checks[check].reveals.iter();
    reveals
        .find(|(other, _)| *other == cause)
        .map(|(_, chance)| *chance)
}
