//! Dynamic programming over sets of checks made, outcomes of isolating checks, and state.
//!
//! Values are not divided by the chance of getting there, so they add up: with `mass` the
//! chance that the search gets to a cell, the value of a cell is the least over the next
//! check of `mass · minutes`, plus what finishing costs for the causes it finds, plus the
//! values of the cells it leads to (Bellman's equation).
//!
//! The outcomes of the isolating checks lie side by side (`lanes`) and are worked through
//! together (`table`). Sets are visited from the largest number down, by deciding their bits
//! from the highest, so that the chances that remain are kept up along the way (`sums`) and
//! never stored. The highest bits make blocks; blocks with as many of them set do not need
//! each other and are shared out between two threads. A large table holds narrow numbers,
//! half the memory to go through; `policy` makes up for what they lack.
//!
//! What finishing costs adds up to a difference: being in state `s`, the causes left would
//! cost `F(s)` to finish from there. The table holds values less `F(s)`, so that finishing
//! enters only where the state changes; an outcome of an isolating check splits `F` and
//! leaves its sum alone.

mod lanes;
mod number;
mod policy;
mod sums;
mod table;

use super::task::{Policy, Task};
use lanes::Lanes;
use number::Number;
use table::{MANY, MOST_CHECKS, Table};

/// Cells by outcome and set that are still worked through: 16 checks and 3 isolating ones
/// need half of them.
const MOST_CELLS: usize = 1 << 22;

/// Whether so many checks can be ordered exactly.
pub(super) fn fits(direct: usize, isolating: usize) -> bool {
    let sets = u32::try_from(direct)
        .ok()
        .and_then(|bits| 1usize.checked_shl(bits));
    let cells = sets.and_then(|sets| sets.checked_mul(Lanes::count(isolating)?));
    direct <= MOST_CHECKS && cells.is_some_and(|cells| cells <= MOST_CELLS)
}

/// Solves for `direct` and `isolating`, which have to hold all they need that has not been
/// made; `tail` gives what comes after them from weights and state.
pub(super) fn solve(task: &Task, direct: &[usize], isolating: &[usize], tail: &Tail<'_>) -> Policy {
    let narrow = (direct.len() >= MANY).then(|| with::<f32>(task, direct, isolating, tail));
    narrow
        .flatten()
        .or_else(|| with::<f64>(task, direct, isolating, tail))
        .unwrap_or_default()
}

/// What comes after the exact part.
type Tail<'t> = dyn Fn(&[f64], usize) -> Policy + 't;

fn with<N: Number>(
    task: &Task,
    direct: &[usize],
    isolating: &[usize],
    tail: &Tail<'_>,
) -> Option<Policy> {
    let mut table = Table::<N>::new(task, direct, isolating);
    table.fill(tail);
    policy::best(&table, tail)
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    use super::*;
    use crate::advice::sequence::tests::drawn;

    fn both(task: &Task) -> (Option<Policy>, Policy) {
        let (direct, isolating) = (task.direct(), task.isolating());
        let none: &Tail<'_> = &|_, _| Policy::default();
        let wide = with::<f64>(task, &direct, &isolating, none).expect("the table is exact");
        (with::<f32>(task, &direct, &isolating, none), wide)
    }

    /// Tables of wide numbers are held to trying every policy elsewhere.
    #[test]
    fn a_table_of_narrow_numbers_leads_to_the_same_minutes() {
        let mut rng = ChaCha8Rng::seed_from_u64(41);
        for _ in 0..1500 {
            let (checks, isolating) = (rng.random_range(1..=8), rng.random_range(0..=3));
            let causes = rng.random_range(1..=12);
            let task = Task::new(&drawn(&mut rng, checks, isolating, causes)).unwrap();
            let (narrow, wide) = both(&task);
            let narrow = narrow.expect("few steps are too close to tell");
            let scale = wide.minutes.max(1.0);
            assert!((narrow.minutes - wide.minutes).abs() < 1e-10 * scale);
            assert!((narrow.finish - wide.finish).abs() < 1e-6 * scale);
        }
    }

    /// What cannot be told apart at all is left to wide numbers.
    #[test]
    fn interchangeable_checks_are_ordered_all_the_same() {
        let mut problem = drawn(&mut ChaCha8Rng::seed_from_u64(2), 14, 1, 15);
        let same = problem.checks[0].clone();
        for (cause, check) in problem.checks[..14].iter_mut().enumerate() {
            check.clone_from(&same);
            check.reveals = vec![(cause, 0.5)];
        }
        problem.chances = vec![1.0 / 15.0; 15];
        let task = Task::new(&problem).unwrap();
        let (narrow, wide) = both(&task);
        assert!(narrow.is_none());
        let solved = solve(&task, &task.direct(), &task.isolating(), &|_, _| {
            Policy::default()
        });
        assert_eq!(solved.minutes, wide.minutes);
    }
}
