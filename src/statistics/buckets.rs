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
        let mut open: Option<(usize, Vec<f64>)> = None;
        ranks
            .iter()
            .map(|&rank| {
                let mut left = rank.min(total.saturating_sub(1));
                for (index, &count) in counts.iter().enumerate() {
                    if left < count {
                        if open.as_ref().map(|(at, _)| *at) != Some(index) {
                            let held = sets.iter().flat_map(|set| &set.values[index]);
                            open = Some((index, held.copied().collect()));
                        }
                        if let Some((_, values)) = &mut open {
                            let (_, value, _) = values.select_nth_unstable_by(left, f64::total_cmp);
                            return *value;
                        }
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

fn bucket(value: f64) -> usize {
    ((2.0 * (1.0 + value.max(0.0)).log2()) as usize).min(BUCKETS - 1)
}
