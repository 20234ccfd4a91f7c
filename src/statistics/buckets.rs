//! A multiset of numbers not below 0 that gives order statistics without sorting all of
//! it: numbers lie in half-octave buckets, and only the one bucket asked for is searched.

const BUCKETS: usize = 64;

#[derive(Clone, Debug)]
pub(crate) struct Buckets {
    values: Vec<Vec<f64>>,
}

impl Default for Buckets {
    fn default() -> Self {
        Self {
            values: vec![Vec::new(); BUCKETS],
        }
    }
}

impl Buckets {
    pub(crate) fn add(&mut self, value: f64) {
        self.values[bucket(value)].push(value);
    }

    /// Takes one occurrence out.
    pub(crate) fn remove(&mut self, value: f64) {
        let values = &mut self.values[bucket(value)];
        if let Some(at) = values
            .iter()
            .position(|held| held.to_bits() == value.to_bits())
        {
            values.swap_remove(at);
        }
    }

    /// The values at the given ranks (from 0, ascending order of size) of several
    /// multisets taken together; a rank beyond the last gives the largest.
    pub(crate) fn ranks(sets: &[&Self], ranks: &[usize]) -> Vec<f64> {
        let mut counts = [0usize; BUCKETS];
        for set in sets {
            for (count, values) in counts.iter_mut().zip(&set.values) {
                *count += values.len();
            }
        }
        let total: usize = counts.iter().sum();
        let mut open: Option<(usize, Bins)> = None;
        ranks
            .iter()
            .map(|&rank| {
                let mut left = rank.min(total.saturating_sub(1));
                for (index, &count) in counts.iter().enumerate() {
                    if left < count {
                        if open.as_ref().is_none_or(|(at, _)| *at != index) {
                            open = Some((index, Bins::of(sets, index, count)));
                        }
                        return open.as_mut().map_or(0.0, |(_, bins)| bins.rank(left));
                    }
                    left -= count;
                }
                0.0
            })
            .collect()
    }

    /// Every value, in no order.
    pub(crate) fn iter(&self) -> impl Iterator<Item = f64> + '_ {
        self.values.iter().flatten().copied()
    }
}

/// The values of one bucket, parted further so that a rank looks at few of them.
struct Bins {
    values: Vec<f64>,
    /// Where each part ends.
    ends: Vec<usize>,
}

impl Bins {
    fn of(sets: &[&Buckets], index: usize, count: usize) -> Self {
        let held = || sets.iter().flat_map(|set| &set.values[index]).copied();
        let low = held().fold(f64::INFINITY, f64::min);
        let high = held().fold(low, f64::max);
        let parts = (count / 16).clamp(1, 1024);
        let scale = if high > low {
            parts as f64 / (high - low)
        } else {
            0.0
        };
        let part = |value: f64| (((value - low) * scale) as usize).min(parts - 1);
        let mut ends = vec![0; parts];
        held().for_each(|value| ends[part(value)] += 1);
        let mut so_far = 0;
        for end in &mut ends {
            // For now the start of the part; filling moves it to its end.
            so_far += std::mem::replace(end, so_far);
        }
        let mut values = vec![0.0; count];
        for value in held() {
            let at = &mut ends[part(value)];
            values[*at] = value;
            *at += 1;
        }
        Self { values, ends }
    }

    fn rank(&mut self, rank: usize) -> f64 {
        let part = self.ends.partition_point(|end| *end <= rank);
        let start = if part == 0 { 0 } else { self.ends[part - 1] };
        let few = &mut self.values[start..self.ends[part]];
        *few.select_nth_unstable_by(rank - start, f64::total_cmp).1
    }
}

fn bucket(value: f64) -> usize {
    ((2.0 * (1.0 + value.max(0.0)).log2()) as usize).min(BUCKETS - 1)
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    use super::*;

    #[test]
    fn ranks_are_those_of_the_sorted_values() {
        let mut rng = ChaCha8Rng::seed_from_u64(12);
        for size in [1, 2, 17, 400, 5000] {
            let mut sets = [Buckets::default(), Buckets::default()];
            let mut values: Vec<f64> = (0..size)
                .map(|_| match rng.random_range(0..3) {
                    0 => f64::from(rng.random_range(0..5)),
                    1 => 100.0 * rng.random::<f64>(),
                    _ => 1e9 * rng.random::<f64>().powi(20),
                })
                .collect();
            values
                .iter()
                .enumerate()
                .for_each(|(at, value)| sets[at % 2].add(*value));
            values.sort_by(f64::total_cmp);
            let ranks: Vec<usize> = (0..40).map(|_| rng.random_range(0..size)).collect();
            let got = Buckets::ranks(&[&sets[0], &sets[1]], &ranks);
            let want: Vec<f64> = ranks.iter().map(|&rank| values[rank]).collect();
            assert_eq!(got, want);
        }
    }
}
