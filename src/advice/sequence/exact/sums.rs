//! Sums over the causes left, for every set of checks, without going through the causes.
//!
//! With `x` 1 for a check made and 0 for one not made, what is left of a cause is its weight
//! times the product of `1 - chance · x` over the checks that answer to it. The sum over the
//! causes is a polynomial in the `x`, with few terms, since few checks answer to a cause.
//! Deciding the highest `x` adds the terms that hold it to those that do not, or drops them;
//! once all are decided the constant term is the sum. Terms stay between 0 and the sum of
//! the weights in size, so that nothing is lost by their signs.

/// Checks that answer to a cause, by position, with their chances.
pub(super) type Answers = Vec<(usize, f64)>;

/// The terms of the polynomials of some causes over some checks.
pub(super) struct Sums {
    /// By cause: its terms, each with the factor of its weight.
    causes: Vec<Vec<(usize, f64)>>,
    /// By term: the term without its highest check.
    without: Vec<usize>,
    /// By number of checks not yet decided: how many terms hold no other.
    below: Vec<usize>,
    /// Numbers a sum.
    wide: usize,
}

impl Sums {
    pub(super) fn of(causes: &[Answers], checks: usize, wide: usize) -> Self {
        let mut terms = vec![0];
        for answers in causes {
            subsets(bits(answers), &mut |set| terms.push(set));
        }
        terms.sort_unstable();
        terms.dedup();
        let place = |set: usize| terms.partition_point(|term| *term < set);
        let of_cause = |answers: &Answers| {
            let mut of_cause = Vec::new();
            subsets(bits(answers), &mut |set| {
                let held = answers.iter().filter(|(at, _)| set >> at & 1 == 1);
                of_cause.push((place(set), held.map(|(_, chance)| -chance).product()));
            });
            of_cause
        };
        let highest = |set: usize| set.checked_ilog2().map_or(0, |bit| 1usize << bit);
        Self {
            causes: causes.iter().map(of_cause).collect(),
            without: terms
                .iter()
                .map(|&set| place(set & !highest(set)))
                .collect(),
            below: (0..=checks).map(|left| place(1 << left)).collect(),
            wide,
        }
    }

    /// Goes through all sets, from the largest number down, each with its sums. `whole` says
    /// by cause what it adds to each of them as long as no check has been made.
    pub(super) fn visit(&self, whole: &[Vec<f64>], visit: &mut impl FnMut(usize, &[f64])) {
        let wide = self.wide;
        let mut values = vec![0.0; self.without.len() * wide];
        for (terms, whole) in self.causes.iter().zip(whole) {
            for &(at, factor) in terms {
                add(&mut values[at * wide..][..wide], factor, whole);
            }
        }
        let checks = self.below.len() - 1;
        let mut scratch: Vec<Vec<f64>> = self.below[..checks]
            .iter()
            .map(|terms| vec![0.0; terms * wide])
            .collect();
        self.decide(checks, &values, 0, &mut scratch, visit);
    }

    /// Decides the checks below `left`.
    fn decide(
        &self,
        left: usize,
        values: &[f64],
        set: usize,
        scratch: &mut [Vec<f64>],
        visit: &mut impl FnMut(usize, &[f64]),
    ) {
        let Some((made, deeper)) = scratch.split_last_mut() else {
            visit(set, values);
            return;
        };
        let (at, wide) = (left - 1, self.wide);
        let stay = self.below[at];
        let (without, with) = values.split_at(stay * wide);
        made.copy_from_slice(without);
        let targets = &self.without[stay..self.below[left]];
        for (with, &target) in with.chunks_exact(wide).zip(targets) {
            add(&mut made[target * wide..][..wide], 1.0, with);
        }
        self.decide(at, made, set | 1 << at, deeper, visit);
        self.decide(at, without, set, deeper, visit);
    }
}

fn add(sums: &mut [f64], factor: f64, parts: &[f64]) {
    for (sum, part) in sums.iter_mut().zip(parts) {
        *sum += factor * part;
    }
}

fn bits(answers: &Answers) -> usize {
    answers.iter().fold(0, |bits, (at, _)| bits | 1 << at)
}

/// Every subset of a set, the set itself and the empty one among them.
fn subsets(all: usize, take: &mut dyn FnMut(usize)) {
    let mut set = all;
    loop {
        take(set);
        if set == 0 {
            return;
        }
        set = (set - 1) & all;
    }
}
