//! Dynamic programming over sets of checks made, outcomes of isolating checks, and state.
//!
//! Values are not divided by the chance of getting there, so they add up: with `mass` the
//! chance that the search gets to a cell, the value of a cell is the least over the next
//! check of `mass · minutes`, plus what finishing costs for the causes it finds, plus the
//! values of the cells it leads to (Bellman's equation).
//!
//! A lane is one combination of outcomes of the isolating checks, each not made, found or
//! clear. All lanes of a set lie side by side and are worked through together. Sets are
//! visited from the largest number down, by deciding their bits from the highest, so that
//! the chances that remain are kept up along the way and never stored. The highest bits
//! make blocks; blocks with as many of them set do not need each other and are shared out
//! between two threads.
//!
//! What finishing costs adds up to a difference: being in state `s`, the causes left would
//! cost `F(s)` to finish from there. The table holds values less `F(s)`, so that finishing
//! enters only where the state changes; an outcome of an isolating check splits `F` and
//! leaves its sum alone.

use super::{
    list,
    task::{Policy, Task},
};
use crate::statistics::Outcome;

/// Solves for `direct` and `isolating`, which have to hold all they need; `tail` gives the
/// value of what comes after them from weights and state, and that of finishing in it.
pub(super) fn solve(task: &Task, direct: &[usize], isolating: &[usize], tail: &Tail<'_>) -> Policy {
    let mut table = Table::new(task, direct, isolating);
    table.fill(tail);
    let finish = table.finish_from(&task.weights, task.start);
    let (path, finishing) = table.path(tail);
    Policy {
        minutes: table.value(0, table.row[task.start], table.no_outcome()) + finish,
        finish: finishing,
        path,
    }
}

/// Minutes of what comes after the exact part, and those of them after the cause is found.
type Tail<'t> = dyn Fn(&[f64], usize) -> (f64, f64) + 't;

/// Outcomes of the isolating checks that lie side by side.
struct Lanes {
    /// Outcomes by lane: 0 not made, 1 found, 2 clear; by position in `isolating`.
    outcomes: Vec<Vec<u8>>,
    /// Runs of lanes with as many checks not made, the fewest first.
    levels: Vec<std::ops::Range<usize>>,
    /// By lane: what can be made.
    telling: Vec<Vec<Telling>>,
}

#[derive(Clone, Copy)]
struct Telling {
    /// The check, by position.
    check: usize,
    /// Lanes it leads to.
    found: usize,
    clear: usize,
}

struct Step {
    minutes: f64,
    /// Row of its state.
    row: usize,
    /// Positions that have to come before, as bits.
    needs: usize,
    /// Lanes in which it may be made, if not all.
    lanes: Option<Vec<bool>>,
}

struct Table<'t> {
    task: &'t Task,
    direct: Vec<usize>,
    isolating: Vec<usize>,
    /// By position in `direct`.
    steps: Vec<Step>,
    /// By position in `isolating`: positions in `direct` that have to come before, as bits.
    told_needs: Vec<usize>,
    /// By position in `isolating`: minutes and row of the state.
    told_minutes: Vec<(f64, usize)>,
    lanes: Lanes,
    /// States the tool can be in, and their row by state.
    states: Vec<usize>,
    row: [usize; 3],
    /// Positions below the blocks.
    low: usize,
    /// By the bits above: least values less what finishing costs, `[set][row][lane]`, flat.
    blocks: Vec<Vec<f64>>,
}

/// A block being filled.
struct Block<'t> {
    table: &'t Table<'t>,
    /// Its number: the bits above.
    high: usize,
    values: Vec<f64>,
    /// By row and lane: the best of making a check of that state.
    best: Vec<f64>,
    /// The lanes of the full set.
    last: &'t [f64],
}

/// From this many checks on, two threads pay.
const WORTH_THREADS: usize = 14;
/// Bits that number the blocks then.
const BLOCK_BITS: usize = 5;

impl<'t> Table<'t> {
    fn new(task: &'t Task, direct: &[usize], isolating: &[usize]) -> Self {
        let mut direct = direct.to_vec();
        // Checks of few causes vary fastest, which keeps the inner loops of the sums short.
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
                    .any(|&check| task.checks[check].state == *state)
        };
        let states: Vec<usize> = (0..3).filter(used).collect();
        let mut row = [0; 3];
        for (at, &state) in states.iter().enumerate() {
            row[state] = at;
        }
        let steps = direct
            .iter()
            .map(|&check| {
                let first = first(check);
                let may = |outcomes: &Vec<u8>| first.iter().all(|&need| outcomes[need] != 0);
                Step {
                    minutes: task.checks[check].minutes,
                    row: row[task.checks[check].state],
                    needs: bits(check),
                    lanes: (!first.is_empty()).then(|| lanes.outcomes.iter().map(may).collect()),
                }
            })
            .collect();
        let high = if direct.len() < WORTH_THREADS {
            0
        } else {
            BLOCK_BITS
        };
        Self {
            task,
            steps,
            told_needs: isolating.iter().map(|&check| bits(check)).collect(),
            told_minutes: isolating
                .iter()
                .map(|&check| {
                    let item = &task.checks[check];
                    (item.minutes, row[item.state])
                })
                .collect(),
            low: direct.len() - high,
            blocks: vec![Vec::new(); 1 << high],
            lanes,
            states,
            row,
            isolating: isolating.to_vec(),
            direct,
        }
    }

    fn width(&self) -> usize {
        self.lanes.outcomes.len()
    }

    /// Length of what is kept of a set.
    fn stride(&self) -> usize {
        self.states.len() * self.width()
    }

    fn value(&self, set: usize, row: usize, lane: usize) -> f64 {
        let within = set & ((1 << self.low) - 1);
        self.blocks[set >> self.low][within * self.stride() + row * self.width() + lane]
    }

    /// The lane in which no isolating check has been made.
    fn no_outcome(&self) -> usize {
        self.width() - 1
    }

    fn finish_from(&self, weights: &[f64], state: usize) -> f64 {
        let finish = self.task.finish.iter().zip(weights);
        finish.map(|(finish, weight)| finish[state] * weight).sum()
    }

    fn fill(&mut self, tail: &Tail<'_>) {
        let weights: Vec<Vec<f64>> = (0..self.width()).map(|lane| self.weights(lane)).collect();
        let mut last = vec![0.0; self.stride()];
        for (lane, weights) in weights.iter().enumerate() {
            let weights = self.all_clear(weights);
            for (row, &state) in self.states.iter().enumerate() {
                last[row * self.width() + lane] =
                    tail(&weights, state).0 - self.finish_from(&weights, state);
            }
        }
        let sums = Sums::new(self, &weights);
        let most = self.blocks.len().trailing_zeros();
        for bits in (0..=most).rev() {
            let layer: Vec<usize> = (0..self.blocks.len())
                .filter(|block| block.count_ones() == bits)
                .collect();
            let filled = |blocks: &[usize]| -> Vec<(usize, Vec<f64>)> {
                let fill = |&block: &usize| (block, Block::filled(self, block, &last, &sums));
                blocks.iter().map(fill).collect()
            };
            let (one, other) = layer.split_at(layer.len() / 2);
            let done = if one.is_empty() {
                filled(other)
            } else {
                std::thread::scope(|scope| {
                    let beside = scope.spawn(|| filled(one));
                    let mut done = filled(other);
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

    /// Weights once every direct check was clear.
    fn all_clear(&self, weights: &[f64]) -> Vec<f64> {
        let mut last = weights.to_vec();
        for &check in &self.direct {
            for &(cause, chance) in &self.task.checks[check].reveals {
                last[cause] *= 1.0 - chance;
            }
        }
        last
    }

    fn weights(&self, lane: usize) -> Vec<f64> {
        let outcomes = self.isolating.iter().zip(&self.lanes.outcomes[lane]);
        outcomes.fold(
            self.task.weights.clone(),
            |weights, (&check, &outcome)| match outcome {
                0 => weights,
                told => self.task.told(&weights, check, told == 1),
            },
        )
    }

    /// The way through the policy on which what is likelier comes true, and the minutes to
    /// finish over all its ways.
    fn path(&self, tail: &Tail<'_>) -> (Vec<(usize, Outcome)>, f64) {
        let start = Place {
            set: 0,
            state: self.task.start,
            lane: self.no_outcome(),
            weights: self.task.weights.clone(),
        };
        self.path_from(start, tail)
    }

    fn path_from(&self, mut at: Place, tail: &Tail<'_>) -> (Vec<(usize, Outcome)>, f64) {
        let full = (1usize << self.direct.len()) - 1;
        let (mut path, mut finish) = (Vec::new(), 0.0);
        while at.set != full {
            match self.next(&at, full, tail) {
                None => return (path, finish),
                Some(Next::Direct(check)) => {
                    finish += list::found(self.task, &mut at.weights, self.direct[check]);
                    at.state = self.task.checks[self.direct[check]].state;
                    at.set |= 1 << check;
                    path.push((self.direct[check], Outcome::Clear));
                }
                Some(Next::Telling(check, sides)) => {
                    let state = self.task.checks[self.isolating[check]].state;
                    let [found, clear] = sides.map(|(lane, weights)| {
                        let chance: f64 = weights.iter().sum();
                        let set = at.set;
                        let next = Place {
                            set,
                            state,
                            lane,
                            weights,
                        };
                        (chance, self.path_from(next, tail))
                    });
                    finish += found.1.1 + clear.1.1;
                    let (outcome, on) = if found.0 > clear.0 {
                        (Outcome::Found, found.1.0)
                    } else {
                        (Outcome::Clear, clear.1.0)
                    };
                    path.push((self.isolating[check], outcome));
                    path.extend(on);
                    return (path, finish);
                }
            }
        }
        (path, finish + tail(&at.weights, at.state).1)
    }

    /// The best thing to do at a place.
    fn next(&self, at: &Place, full: usize, tail: &Tail<'_>) -> Option<Next> {
        let (task, weights) = (self.task, &at.weights);
        let mass: f64 = weights.iter().sum();
        let value = |set: usize, state: usize, lane: usize, weights: &[f64]| {
            if set == full {
                tail(weights, state).0
            } else {
                self.value(set, self.row[state], lane) + self.finish_from(weights, state)
            }
        };
        let mut best: Option<(f64, Next)> = None;
        let mut offer = |value: f64, next: Next| {
            if best.as_ref().is_none_or(|(least, _)| value < *least) {
                best = Some((value, next));
            }
        };
        for (check, step) in self.steps.iter().enumerate() {
            let may = step.lanes.as_ref().is_none_or(|lanes| lanes[at.lane]);
            if at.set & 1 << check != 0 || step.needs & !at.set != 0 || !may {
                continue;
            }
            let item = &task.checks[self.direct[check]];
            let mut left = weights.clone();
            let minutes = (task.changes[at.state][item.state] + item.minutes) * mass
                + list::found(task, &mut left, self.direct[check])
                + value(at.set | 1 << check, item.state, at.lane, &left);
            offer(minutes, Next::Direct(check));
        }
        for &Telling {
            check,
            found,
            clear,
        } in &self.lanes.telling[at.lane]
        {
            if self.told_needs[check] & !at.set != 0 {
                continue;
            }
            let item = &task.checks[self.isolating[check]];
            let mut minutes = (task.changes[at.state][item.state] + item.minutes) * mass;
            let sides = [(found, true), (clear, false)]
                .map(|(lane, told)| (lane, task.told(weights, self.isolating[check], told)));
            for (lane, weights) in &sides {
                minutes += value(at.set, item.state, *lane, weights);
            }
            offer(minutes, Next::Telling(check, sides));
        }
        best.map(|(_, next)| next)
    }
}

/// Where a policy has got to.
struct Place {
    set: usize,
    state: usize,
    lane: usize,
    weights: Vec<f64>,
}

impl<'t> Block<'t> {
    fn filled(table: &'t Table<'t>, high: usize, last: &'t [f64], sums: &Sums) -> Vec<f64> {
        let mut block = Self {
            table,
            high,
            values: vec![0.0; table.stride() << table.low],
            best: vec![0.0; table.stride()],
            last,
        };
        let (sum, weights) = sums.above(table.low, high);
        let mut scratch: Vec<Scratch> = (0..table.low).map(|_| sums.scratch()).collect();
        sums.down(table.low, &sum, &weights, 0, &mut scratch, &mut block);
        block.values
    }

    /// Values of a set of the block; `sums` holds the mass, then, if finishing counts,
    /// what it would cost from each row, lanes side by side.
    fn cell(&mut self, within: usize, sums: &[f64]) {
        let table = self.table;
        let (width, rows, stride) = (table.width(), table.states.len(), table.stride());
        let set = self.high << table.low | within;
        let (here, above) = self.values[within * stride..].split_at_mut(stride);
        let mut left = !set & ((1usize << table.direct.len()) - 1);
        if left == 0 {
            here.copy_from_slice(self.last);
            return;
        }
        let (mass, finish) = sums.split_at(width);
        self.best.fill(f64::INFINITY);
        while left != 0 {
            let at = left.trailing_zeros() as usize;
            left &= left - 1;
            let step = &table.steps[at];
            if step.needs & !set != 0 {
                continue;
            }
            let next = if at < table.low {
                // `1 << at` sets on, of which the first is `above`.
                &above[((1usize << at) - 1) * stride + step.row * width..][..width]
            } else {
                let block = &table.blocks[self.high | 1 << (at - table.low)];
                &block[within * stride + step.row * width..][..width]
            };
            let best = &mut self.best[step.row * width..][..width];
            match &step.lanes {
                None => least(best, step.minutes, mass, next),
                Some(lanes) => {
                    for (lane, best) in best.iter_mut().enumerate().filter(|(at, _)| lanes[*at]) {
                        *best = lesser(*best, step.minutes * mass[lane] + next[lane]);
                    }
                }
            }
        }
        for level in &table.lanes.levels {
            for lane in level.clone() {
                for telling in &table.lanes.telling[lane] {
                    if table.told_needs[telling.check] & !set != 0 {
                        continue;
                    }
                    let (minutes, row) = table.told_minutes[telling.check];
                    let told = &here[row * width..][..width];
                    let value = minutes * mass[lane] + told[telling.found] + told[telling.clear];
                    let best = &mut self.best[row * width + lane];
                    *best = lesser(*best, value);
                }
            }
            for from in 0..rows {
                let run = level.start + from * width..level.end + from * width;
                let value = &mut here[run.clone()];
                value.copy_from_slice(&self.best[run.clone()]);
                for to in (0..rows).filter(|&to| to != from) {
                    let change = table.task.changes[table.states[from]][table.states[to]];
                    let other = level.start + to * width..level.end + to * width;
                    let best = &self.best[other.clone()];
                    let mass = &mass[level.clone()];
                    if finish.is_empty() {
                        least(value, change, mass, best);
                    } else {
                        let there = finish[other].iter().zip(&finish[run.clone()]);
                        let lanes = value.iter_mut().zip(mass).zip(best).zip(there);
                        for (((value, mass), best), (there, stay)) in lanes {
                            *value = lesser(*value, change * mass + best + (there - stay));
                        }
                    }
                }
            }
        }
    }
}

/// What to do, by position.
enum Next {
    Direct(usize),
    /// With lane and weights of found and clear.
    Telling(usize, [(usize, Vec<f64>); 2]),
}

/// Lowers each value to `minutes · mass + next` where that is less.
fn least(values: &mut [f64], minutes: f64, mass: &[f64], next: &[f64]) {
    for ((value, mass), next) in values.iter_mut().zip(mass).zip(next) {
        *value = lesser(*value, minutes * mass + next);
    }
}

/// The lesser of two numbers that are none of them NaN: one instruction, unlike `f64::min`.
fn lesser(one: f64, other: f64) -> f64 {
    if other < one { other } else { one }
}

impl Lanes {
    /// `needs`: by isolating check, those that have to come before.
    fn new(needs: &[Vec<usize>]) -> Self {
        let count = needs.len();
        let mut outcomes: Vec<Vec<u8>> = (0..3usize.pow(count as u32))
            .map(|number| {
                (0..count as u32)
                    .map(|at| (number / 3usize.pow(at) % 3) as u8)
                    .collect()
            })
            .collect();
        let open = |outcomes: &Vec<u8>| outcomes.iter().filter(|&&outcome| outcome == 0).count();
        outcomes.sort_by_key(open);
        let levels = (0..=count)
            .map(|level| {
                let start = outcomes.partition_point(|lane| open(lane) < level);
                start..outcomes.partition_point(|lane| open(lane) <= level)
            })
            .collect();
        let number = |lane: &[u8]| {
            let digits = lane.iter().rev();
            digits.fold(0usize, |number, &digit| number * 3 + usize::from(digit))
        };
        let mut lane_of = vec![0; outcomes.len()];
        for (at, lane) in outcomes.iter().enumerate() {
            lane_of[number(lane)] = at;
        }
        let telling = outcomes
            .iter()
            .map(|lane| {
                let open =
                    |&at: &usize| lane[at] == 0 && needs[at].iter().all(|&need| lane[need] != 0);
                (0..count)
                    .filter(open)
                    .map(|at| {
                        let told = |outcome: usize| {
                            lane_of[number(lane) + outcome * 3usize.pow(at as u32)]
                        };
                        Telling {
                            check: at,
                            found: told(1),
                            clear: told(2),
                        }
                    })
                    .collect()
            })
            .collect();
        Self {
            outcomes,
            levels,
            telling,
        }
    }
}

/// Sums over the causes left, kept up while the bits of a set are decided.
struct Sums {
    /// Lanes times sums a lane: the mass, and what finishing costs from each row.
    constant: Vec<f64>,
    /// Weights `[cause][lane]` of causes some check answers to, by the lowest position
    /// that does: after deciding the positions from the top down to `b`, exactly the first
    /// `varying[b]` still vary.
    start: Vec<f64>,
    varying: Vec<usize>,
    /// By position, chance that each varying cause is left.
    keep: Vec<Vec<f64>>,
    /// By varying cause: minutes to finish from each row, if they count.
    finish: Vec<Vec<f64>>,
    width: usize,
}

impl Sums {
    fn new(table: &Table<'_>, weights: &[Vec<f64>]) -> Self {
        let (task, width, size) = (table.task, table.width(), table.direct.len());
        let finish_of = |cause: usize| -> Vec<f64> {
            let finish = task.finish.get(cause);
            finish.map_or_else(Vec::new, |finish| {
                table.states.iter().map(|&state| finish[state]).collect()
            })
        };
        let rows = if task.finish.is_empty() {
            0
        } else {
            table.states.len()
        };
        let mut constant = vec![0.0; (1 + rows) * width];
        let mut lowest: Vec<(usize, usize)> = Vec::new();
        for cause in 0..task.weights.len() {
            let answers = |check: &usize| {
                let mut reveals = task.checks[*check].reveals.iter();
                reveals.any(|(other, _)| *other == cause)
            };
            match table.direct.iter().position(answers) {
                Some(at) => lowest.push((at, cause)),
                None => {
                    for (lane, weights) in weights.iter().enumerate() {
                        constant[lane] += weights[cause];
                        for (row, minutes) in finish_of(cause).iter().enumerate() {
                            constant[(1 + row) * width + lane] += weights[cause] * minutes;
                        }
                    }
                }
            }
        }
        lowest.sort_unstable();
        let mut keep = vec![vec![1.0; lowest.len()]; size];
        for (at, &check) in table.direct.iter().enumerate() {
            for &(cause, chance) in &task.checks[check].reveals {
                if let Some(column) = lowest.iter().position(|(_, other)| *other == cause) {
                    keep[at][column] = 1.0 - chance;
                }
            }
        }
        let of_causes = lowest.iter().map(|(_, cause)| *cause);
        Self {
            constant,
            start: of_causes
                .clone()
                .flat_map(|cause| weights.iter().map(move |weights| weights[cause]))
                .collect(),
            varying: (0..=size)
                .map(|b| lowest.iter().filter(|(at, _)| *at < b).count())
                .collect(),
            keep,
            finish: of_causes.map(finish_of).collect(),
            width,
        }
    }

    fn scratch(&self) -> Scratch {
        Scratch {
            weights: vec![0.0; self.start.len()],
            with: vec![0.0; self.constant.len()],
            without: vec![0.0; self.constant.len()],
        }
    }

    /// Sums and weights once the positions from `low` on are decided by the bits of `high`.
    fn above(&self, low: usize, high: usize) -> (Vec<f64>, Vec<f64>) {
        let (mut sum, mut weights) = (self.constant.clone(), self.start.clone());
        for at in (low..self.keep.len()).rev() {
            let made = high >> (at - low) & 1 == 1;
            for cause in 0..self.varying[at + 1] {
                let run = cause * self.width..(cause + 1) * self.width;
                if made {
                    let keep = self.keep[at][cause];
                    weights[run.clone()]
                        .iter_mut()
                        .for_each(|weight| *weight *= keep);
                }
                if cause >= self.varying[at] {
                    self.settle(&mut sum, cause, 1.0, &weights[run]);
                }
            }
            weights.truncate(self.varying[at] * self.width);
        }
        (sum, weights)
    }

    /// Adds a cause that no longer varies.
    fn settle(&self, sum: &mut [f64], cause: usize, keep: f64, weights: &[f64]) {
        let (mass, finish) = sum.split_at_mut(self.width);
        add(mass, keep, weights);
        for (sum, minutes) in finish.chunks_exact_mut(self.width).zip(&self.finish[cause]) {
            add(sum, minutes * keep, weights);
        }
    }

    /// Decides the positions below `left`, adding causes that no longer vary to `sum`, and
    /// fills the cells that come of it, from the highest set down.
    fn down(
        &self,
        left: usize,
        sum: &[f64],
        weights: &[f64],
        set: usize,
        scratch: &mut [Scratch],
        block: &mut Block<'_>,
    ) {
        let Some((own, deeper)) = scratch.split_first_mut() else {
            block.cell(set, sum);
            return;
        };
        let below = left - 1;
        let (width, still) = (self.width, self.varying[below]);
        let keep = &self.keep[below];
        own.with.copy_from_slice(sum);
        own.without.copy_from_slice(sum);
        for cause in still..self.varying[left] {
            let weights = &weights[cause * width..][..width];
            self.settle(&mut own.without, cause, 1.0, weights);
            self.settle(&mut own.with, cause, keep[cause], weights);
        }
        let count = still * width;
        for (cause, keep) in keep[..still].iter().enumerate() {
            let run = cause * width..(cause + 1) * width;
            for (own, weight) in own.weights[run.clone()].iter_mut().zip(&weights[run]) {
                *own = weight * keep;
            }
        }
        let made = set | 1 << below;
        self.down(below, &own.with, &own.weights[..count], made, deeper, block);
        self.down(below, &own.without, &weights[..count], set, deeper, block);
    }
}

/// Room for one level of [`Sums::down`].
struct Scratch {
    weights: Vec<f64>,
    with: Vec<f64>,
    without: Vec<f64>,
}

fn add(sums: &mut [f64], factor: f64, weights: &[f64]) {
    for (sum, weight) in sums.iter_mut().zip(weights) {
        *sum += factor * weight;
    }
}
