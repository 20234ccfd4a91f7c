//! A multiset of numbers not below 0 that gives order statistics without sorting all of
//! it: numbers lie in half-octave buckets, and only the one bucket asked for is searched.
//! The buckets lie one behind the other, so that many small multisets stay small and the
//! counts of many add up quickly.
//! Numbers are held in single precision where that holds them as they are.

const BUCKETS: usize = 64;

/// Up to so many numbers are told apart anew each time, which takes no room.
const FEW: usize = 64;

#[derive(Clone, Debug, Default)]
pub(crate) struct Buckets {
    values: Values,
    /// Where each bucket ends, once there are many; few lie in no order.
    ends: Option<Box<[u32; BUCKETS]>>,
}

/// Numbers in single precision as long as that holds every one of them.
#[derive(Clone, Debug)]
enum Values {
    Short(Vec<f32>),
    Long(Vec<f64>),
}

impl Default for Values {
    fn default() -> Self {
        Self::Short(Vec::new())
    }
}

impl Values {
    fn len(&self) -> usize {
        match self {
            Self::Short(values) => values.len(),
            Self::Long(values) => values.len(),
        }
    }

    fn get(&self, at: usize) -> f64 {
        match self {
            Self::Short(values) => f64::from(values[at]),
            Self::Long(values) => values[at],
        }
    }

    /// Makes room for a value, which is held as it is from then on.
    fn push(&mut self, value: f64) {
        if let Self::Short(values) = self
            && f64::from(value as f32).to_bits() != value.to_bits()
        {
            *self = Self::Long(values.iter().copied().map(f64::from).collect());
        }
        match self {
            Self::Short(values) => push(values, value as f32),
            Self::Long(values) => push(values, value),
        }
    }

    fn set(&mut self, at: usize, value: f64) {
        match self {
            Self::Short(values) => values[at] = value as f32,
            Self::Long(values) => values[at] = value,
        }
    }

    fn pop(&mut self) {
        match self {
            Self::Short(values) => values.truncate(values.len().saturating_sub(1)),
            Self::Long(values) => values.truncate(values.len().saturating_sub(1)),
        }
    }

    fn range(&self, start: usize, end: usize) -> impl Iterator<Item = f64> + '_ {
        (start..end).map(|at| self.get(at))
    }
}

/// Grows by an eighth: doubling would leave a quarter of the room empty.
fn push<T>(values: &mut Vec<T>, value: T) {
    if values.len() == values.capacity() {
        values.reserve_exact(values.len() / 8 + 2);
    }
    values.push(value);
}

impl Buckets {
    /// Takes many at once, which is quicker than one by one.
    pub(crate) fn of_all(values: &[f64]) -> Self {
        let mut all = Self::default();
        values.iter().for_each(|value| all.values.push(*value));
        if values.len() > FEW {
            all.arrange();
        }
        all
    }

    pub(crate) fn add(&mut self, value: f64) {
        self.values.push(value);
        let Some(ends) = &mut self.ends else {
            if self.values.len() > FEW {
                self.arrange();
            }
            return;
        };
        let bucket = bucket(value);
        // The first of each later bucket makes room by going to its end.
        for later in (bucket + 1..BUCKETS).rev() {
            let (start, end) = (ends[later - 1] as usize, ends[later] as usize);
            self.values.set(end, self.values.get(start));
            ends[later] += 1;
        }
        self.values.set(ends[bucket] as usize, value);
        ends[bucket] += 1;
    }

    /// Takes one occurrence out.
    pub(crate) fn remove(&mut self, value: f64) {
        let bucket = bucket(value);
        let (start, end) = self.place(bucket);
        let is = |at: &usize| self.values.get(*at).to_bits() == value.to_bits();
        let Some(mut hole) = (start..end).find(is) else {
            return;
        };
        match &mut self.ends {
            None => {
                let last = self.values.get(self.values.len() - 1);
                self.values.set(hole, last);
            }
            // The last of this and of each later bucket fills the hole before it.
            Some(ends) => {
                for end in &mut ends[bucket..] {
                    let last = *end as usize - 1;
                    self.values.set(hole, self.values.get(last));
                    hole = last;
                    *end -= 1;
                }
            }
        }
        self.values.pop();
    }

    /// The values at the given ranks (from 0, ascending order of size) of several
    /// multisets taken together; a rank beyond the last gives the largest.
    pub(crate) fn ranks(sets: &[&Self], ranks: &[usize]) -> Vec<f64> {
        let mut counts = [0usize; BUCKETS];
        let mut ends = [0usize; BUCKETS];
        for set in sets {
            match &set.ends {
                Some(own) => {
                    for (sum, end) in ends.iter_mut().zip(own.iter()) {
                        *sum += *end as usize;
                    }
                }
                None => set.iter().for_each(|value| counts[bucket(value)] += 1),
            }
        }
        let mut few = 0;
        for (end, count) in ends.iter_mut().zip(counts) {
            few += count;
            *end += few;
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

    /// How many values.
    pub(crate) fn len(&self) -> usize {
        self.values.len()
    }

    /// Sum of the cubes of the values about a mean.
    pub(crate) fn cubes_about(&self, mean: f64) -> f64 {
        let cube = |value: f64| (value - mean) * (value - mean) * (value - mean);
        // Four sums beside each other, none of which waits for another.
        fn sum<T: Copy>(values: &[T], cube: impl Fn(T) -> f64) -> f64 {
            let (fours, rest) = values.as_chunks::<4>();
            let mut sums = [0.0; 4];
            for four in fours {
                for (sum, value) in sums.iter_mut().zip(four) {
                    *sum += cube(*value);
                }
            }
            sums.iter().sum::<f64>() + rest.iter().map(|value| cube(*value)).sum::<f64>()
        }
        match &self.values {
            Values::Short(values) => sum(values, |value| cube(f64::from(value))),
            Values::Long(values) => sum(values, cube),
        }
    }

    /// Every value, in no order.
    pub(crate) fn iter(&self) -> impl Iterator<Item = f64> + '_ {
        self.values.range(0, self.values.len())
    }

    /// Lays the values into their buckets.
    fn arrange(&mut self) {
        let mut ends = [0u32; BUCKETS];
        self.iter().for_each(|value| ends[bucket(value)] += 1);
        let mut so_far = 0;
        for end in &mut ends {
            // For now the start of the bucket; filling moves it to its end.
            so_far += std::mem::replace(end, so_far);
        }
        let mut placed = self.values.clone();
        for value in self.iter() {
            let at = &mut ends[bucket(value)];
            placed.set(*at as usize, value);
            *at += 1;
        }
        self.values = placed;
        self.ends = Some(Box::new(ends));
    }

    /// Where the values of a bucket lie; among few, where they may.
    fn place(&self, bucket: usize) -> (usize, usize) {
        let Some(ends) = &self.ends else {
            return (0, self.values.len());
        };
        let start = bucket.checked_sub(1).map_or(0, |before| ends[before]);
        (start as usize, ends[bucket] as usize)
    }

    /// Puts the values of a bucket behind those told before.
    fn tell(&self, index: usize, held: &mut Vec<f64>) {
        let (start, end) = self.place(index);
        let from = held.len();
        match &self.values {
            Values::Short(values) => held.extend(values[start..end].iter().map(|v| f64::from(*v))),
            Values::Long(values) => held.extend_from_slice(&values[start..end]),
        }
        if self.ends.is_none() {
            let mut kept = from;
            for at in from..held.len() {
                if bucket(held[at]) == index {
                    held.swap(kept, at);
                    kept += 1;
                }
            }
            held.truncate(kept);
        }
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
        let mut held = Vec::with_capacity(count);
        sets.iter().for_each(|set| set.tell(index, &mut held));
        let low = held.iter().copied().fold(f64::INFINITY, f64::min);
        let high = held.iter().copied().fold(low, f64::max);
        let parts = (count / 16).clamp(1, 1024);
        let scale = if high > low {
            parts as f64 / (high - low)
        } else {
            0.0
        };
        let part = |value: f64| (((value - low) * scale) as usize).min(parts - 1);
        let mut ends = vec![0; parts];
        held.iter().for_each(|value| ends[part(*value)] += 1);
        let mut so_far = 0;
        for end in &mut ends {
            // For now the start of the part; filling moves it to its end.
            so_far += std::mem::replace(end, so_far);
        }
        let mut values = vec![0.0; held.len()];
        for value in held {
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

/// Twice the logarithm to base 2 of one more than the value, rounded down.
fn bucket(value: f64) -> usize {
    let bits = (1.0 + value.max(0.0)).to_bits();
    let exponent = (bits >> 52).saturating_sub(1023) as usize;
    let upper_half = bits & ((1 << 52) - 1) >= std::f64::consts::SQRT_2.to_bits() & ((1 << 52) - 1);
    (2 * exponent + usize::from(upper_half)).min(BUCKETS - 1)
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
