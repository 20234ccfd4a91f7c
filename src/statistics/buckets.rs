//! A multiset of numbers not below 0 that gives order statistics without sorting all of
//! it: numbers lie in half-octave buckets, and only the one bucket asked for is searched.
//! The buckets lie one behind the other, so that many small multisets stay small and the
//! counts of many add up quickly.

const BUCKETS: usize = 64;

#[derive(Clone, Debug)]
pub(crate) struct Buckets {
    values: Vec<f64>,
    /// Where each bucket ends.
    ends: [u32; BUCKETS],
}

impl Default for Buckets {
    fn default() -> Self {
        Self {
            values: Vec::new(),
            ends: [0; BUCKETS],
        }
    }
}

impl Buckets {
    /// Takes many at once, which is quicker than one by one.
    pub(crate) fn of_all(values: &[f64]) -> Self {
        let mut ends = [0u32; BUCKETS];
        values.iter().for_each(|value| ends[bucket(*value)] += 1);
        let mut so_far = 0;
        for end in &mut ends {
            // For now the start of the bucket; filling moves it to its end.
            so_far += std::mem::replace(end, so_far);
        }
        let mut placed = vec![0.0; values.len()];
        for &value in values {
            let at = &mut ends[bucket(value)];
            placed[*at as usize] = value;
            *at += 1;
        }
        Self {
            values: placed,
            ends,
        }
    }

    pub(crate) fn add(&mut self, value: f64) {
        let bucket = bucket(value);
        self.values.push(value);
        // The first of each later bucket makes room by going to its end.
        for later in (bucket + 1..BUCKETS).rev() {
            let (start, end) = (self.ends[later - 1] as usize, self.ends[later] as usize);
            self.values[end] = self.values[start];
            self.ends[later] += 1;
        }
        self.values[self.ends[bucket] as usize] = value;
        self.ends[bucket] += 1;
    }

    /// Takes one occurrence out.
    pub(crate) fn remove(&mut self, value: f64) {
        let bucket = bucket(value);
        let (start, end) = self.place(bucket);
        let held = &self.values[start..end];
        let Some(at) = held
            .iter()
            .position(|held| held.to_bits() == value.to_bits())
        else {
            return;
        };
        let mut hole = start + at;
        // The last of this and of each later bucket fills the hole before it.
        for later in bucket..BUCKETS {
            let last = self.ends[later] as usize - 1;
            self.values[hole] = self.values[last];
            hole = last;
            self.ends[later] -= 1;
        }
        self.values.pop();
    }

    /// The values at the given ranks (from 0, ascending order of size) of several
    /// multisets taken together; a rank beyond the last gives the largest.
    pub(crate) fn ranks(sets: &[&Self], ranks: &[usize]) -> Vec<f64> {
        let mut ends = [0usize; BUCKETS];
        for set in sets {
            for (sum, end) in ends.iter_mut().zip(&set.ends) {
                *sum += *end as usize;
            }
        }
        let total = ends[BUCKETS - 1];
        let mut open: Option<(usize, Bins)> = None;
        ranks
            .iter()
            .map(|&rank| {
                let rank = rank.min(total.saturating_sub(1));
                let index = ends.partition_point(|end| *end <= rank);
                if index == BUCKETS {
                    return 0.0;
                }
                let start = if index == 0 { 0 } else { ends[index - 1] };
                if open.as_ref().is_none_or(|(at, _)| *at != index) {
                    open = Some((index, Bins::of(sets, index, ends[index] - start)));
                }
                open.as_mut()
                    .map_or(0.0, |(_, bins)| bins.rank(rank - start))
            })
            .collect()
    }

    /// Every value, in no order.
    pub(crate) fn iter(&self) -> impl Iterator<Item = f64> + '_ {
        self.values.iter().copied()
    }

    fn place(&self, bucket: usize) -> (usize, usize) {
        let start = if bucket == 0 {
            0
        } else {
            self.ends[bucket - 1]
        };
        (start as usize, self.ends[bucket] as usize)
    }

    fn of(&self, bucket: usize) -> &[f64] {
        let (start, end) = self.place(bucket);
        &self.values[start..end]
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
        let held = || sets.iter().flat_map(|set| set.of(index)).copied();
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
            let (one, other) = values.split_at(values.len() / 3);
            sets[0] = Buckets::of_all(one);
            other
                .iter()
                .enumerate()
                .for_each(|(at, value)| sets[at % 2].add(*value));
            values.sort_by(f64::total_cmp);
            let ranks: Vec<usize> = (0..40).map(|_| rng.random_range(0..size)).collect();
            let got = Buckets::ranks(&[&sets[0], &sets[1]], &ranks);
            let want: Vec<f64> = ranks.iter().map(|&rank| values[rank]).collect();
            assert_eq!(got, want);
            // Half of them taken out again, in another order than they came in.
            let mut left = Vec::new();
            for (at, value) in values.iter().enumerate() {
                if at % 3 == 0 {
                    left.push(*value);
                } else if sets[0].iter().any(|held| held == *value) {
                    sets[0].remove(*value);
                } else {
                    sets[1].remove(*value);
                }
            }
            sets[0].remove(-7.5);
            let ranks: Vec<usize> = (0..left.len()).collect();
            assert_eq!(Buckets::ranks(&[&sets[0], &sets[1]], &ranks), left);
        }
        assert_eq!(Buckets::ranks(&[], &[3]), [0.0]);
    }
}
