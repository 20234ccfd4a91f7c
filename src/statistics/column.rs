//! Numbers not below 0 of a few cases, in order of size, each with the place of its case among
//! the others: so many columns taken together, or the cases from one place to another of each,
//! give their order statistics without sorting, and without looking at most of them.
//!
//! Numbers with at most three decimals, as people write them, are held as whole thousandths.

use std::iter::zip;

/// How many cases a column holds at most.
pub(super) const MOST: usize = 128;

const BUCKETS: usize = 128;

/// So many numbers are told apart anew each time, which takes no room.
const FEW: usize = 24;

/// Parts of a bucket, of which one is looked into.
const BINS: usize = 256;

/// Up to so many numbers are sorted at once.
const SORTED: usize = 48;

/// The largest number of thousandths whose sums of [`MOST`] powers fit 64 bits.
const SMALL: u32 = 1 << 25;

#[derive(Clone, Debug, Default)]
pub(super) struct Column {
    /// In order of size.
    values: Values,
    /// Whose each value is: the place of its case.
    of: Vec<u8>,
    /// Where each bucket ends, once there are many.
    ends: Option<Box<[u8; BUCKETS]>>,
}

/// Whole thousandths as long as they hold every number as it is.
#[derive(Clone, Debug)]
enum Values {
    Short(Vec<u32>),
    Long(Vec<f64>),
}

/// Sum, sum of squares and sum of cubes, in whole millionths, their squares, and whole tenths
/// cubed, so that taking a number out leaves no trace.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Powers {
    pub(super) sum: i128,
    pub(super) squares: i128,
    pub(super) cubes: i128,
}

/// The numbers of the cases of a column from one place to before another.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stretch<'c> {
    column: &'c Column,
    from: usize,
    to: usize,
}

impl Default for Values {
    fn default() -> Self {
        Self::Short(Vec::new())
    }
}

impl Values {
    /// Puts a value in its order, and gives where.
    fn insert(&mut self, value: f64) -> usize {
        self.hold(value);
        match self {
            Self::Short(values) => {
                let value = whole_thousandths(value);
                let at = values.partition_point(|own| *own < value);
                insert(values, at, value);
                at
            }
            Self::Long(values) => {
                let at = values.partition_point(|own| *own < value);
                insert(values, at, value);
                at
            }
        }
    }

    fn remove(&mut self, at: usize) -> f64 {
        match self {
            Self::Short(values) => of_thousandths(values.remove(at)),
            Self::Long(values) => values.remove(at),
        }
    }

    fn get(&self, at: usize) -> f64 {
        match self {
            Self::Short(values) => of_thousandths(values[at]),
            Self::Long(values) => values[at],
        }
    }

    /// Holds another value as it is, at the end.
    fn push(&mut self, value: f64) {
        self.hold(value);
        match self {
            Self::Short(values) => insert(values, values.len(), whole_thousandths(value)),
            Self::Long(values) => insert(values, values.len(), value),
        }
    }

    /// Puts one of the values, or one that was held before, to a place.
    fn set(&mut self, at: usize, value: f64) {
        match self {
            Self::Short(values) => values[at] = whole_thousandths(value),
            Self::Long(values) => values[at] = value,
        }
    }

    /// Makes itself able to hold a value as it is.
    fn hold(&mut self, value: f64) {
        if let Self::Short(values) = self
            && thousandths(value).is_none()
        {
            *self = Self::Long(values.iter().copied().map(of_thousandths).collect());
        }
    }

    fn len(&self) -> usize {
        match self {
            Self::Short(values) => values.len(),
            Self::Long(values) => values.len(),
        }
    }

    fn tell(&self, (start, end): (usize, usize), told: &mut Vec<f64>) {
        match self {
            Self::Short(values) => {
                told.extend(values[start..end].iter().copied().map(of_thousandths));
            }
            Self::Long(values) => told.extend_from_slice(&values[start..end]),
        }
    }
}

/// Inserts; grows by an eighth, since doubling would leave a quarter of the room empty.
pub(super) fn insert<T>(all: &mut Vec<T>, at: usize, one: T) {
    if all.len() == all.capacity() {
        all.reserve_exact(all.len() / 8 + 2);
    }
    all.insert(at, one);
}

impl Column {
    /// Puts in the number of a case that comes at a place, moving the later ones up.
    pub(super) fn insert(&mut self, place: usize, value: f64) {
        for own in &mut self.of {
            *own += u8::from(usize::from(*own) >= place);
        }
        let at = self.values.insert(value);
        insert(&mut self.of, at, place as u8);
        match &mut self.ends {
            Some(ends) => ends[bucket(value)..].iter_mut().for_each(|end| *end += 1),
            None if self.of.len() > FEW => {
                let mut ends = Box::new([0; BUCKETS]);
                for at in 0..self.of.len() {
                    let of = bucket(self.values.get(at));
                    ends[of..].iter_mut().for_each(|end| *end += 1);
                }
                self.ends = Some(ends);
            }
            None => {}
        }
    }

    /// Takes out the number of the case at a place, moving the later ones down.
    pub(super) fn remove(&mut self, place: usize) {
        let Some(at) = self.of.iter().position(|own| usize::from(*own) == place) else {
            return;
        };
        self.of.remove(at);
        for own in &mut self.of {
            *own -= u8::from(usize::from(*own) > place);
        }
        let value = self.values.remove(at);
        if let Some(ends) = &mut self.ends {
            ends[bucket(value)..].iter_mut().for_each(|end| *end -= 1);
        }
    }

    pub(super) fn between(&self, from: usize, to: usize) -> Stretch<'_> {
        Stretch {
            column: self,
            from,
            to,
        }
    }

    /// Where the numbers of a bucket lie.
    fn place(&self, wanted: usize) -> (usize, usize) {
        if let Some(ends) = &self.ends {
            let start = wanted.checked_sub(1).map_or(0, |before| ends[before]);
            return (start.into(), ends[wanted].into());
        }
        let before = |limit: usize| match &self.values {
            Values::Short(values) => {
                values.partition_point(|own| bucket(of_thousandths(*own)) < limit)
            }
            Values::Long(values) => values.partition_point(|own| bucket(*own) < limit),
        };
        (before(wanted), before(wanted + 1))
    }
}

impl Stretch<'_> {
    fn len(&self) -> usize {
        self.to - self.from
    }

    /// Every number, the smallest first.
    pub(super) fn values(&self) -> impl Iterator<Item = f64> + '_ {
        let ours = |at: &usize| self.holds(self.column.of[*at]);
        let all = (0..self.column.of.len()).filter(ours);
        all.map(|at| self.column.values.get(at))
    }

    pub(super) fn powers(&self) -> Powers {
        if let Values::Short(values) = &self.column.values
            && values.last().is_none_or(|last| *last < SMALL)
        {
            let (mut sum, mut squares, mut cubes) = (0, 0, 0);
            for (value, _) in zip(values, &self.column.of).filter(|(_, of)| self.holds(**of)) {
                let (value, tenths) = (u64::from(*value), u64::from(whole_tenths(*value)));
                sum += value;
                squares += value * value;
                cubes += tenths * tenths * tenths;
            }
            return Powers {
                sum: 1000 * i128::from(sum),
                squares: 1_000_000 * i128::from(squares),
                cubes: cubes.into(),
            };
        }
        let mut all = Powers::default();
        self.values().for_each(|value| all.add(&Powers::of(value)));
        all
    }

    fn is_whole(&self) -> bool {
        self.len() == self.column.of.len()
    }

    fn holds(&self, of: u8) -> bool {
        (self.from..self.to).contains(&of.into())
    }

    /// Puts the numbers of a bucket behind those told before.
    fn tell(&self, bucket: usize, told: &mut Vec<f64>) {
        let (start, end) = self.column.place(bucket);
        let whole = self.is_whole();
        let of = &self.column.of[start..end];
        let ours = |of: &u8| whole || self.holds(*of);
        match &self.column.values {
            Values::Short(values) => {
                let values = zip(&values[start..end], of).filter(|(_, of)| ours(of));
                told.extend(values.map(|(value, _)| of_thousandths(*value)));
            }
            Values::Long(values) => {
                let values = zip(&values[start..end], of).filter(|(_, of)| ours(of));
                told.extend(values.map(|(value, _)| *value));
            }
        }
    }
}

impl Powers {
    pub(super) fn of(value: f64) -> Self {
        let (millionths, tenths) = match thousandths(value) {
            Some(value) => (1000 * i128::from(value), whole_tenths(value).into()),
            None => (
                (value * 1e6).round() as i128,
                (value * 10.0).round() as i128,
            ),
        };
        Self {
            sum: millionths,
            squares: millionths * millionths,
            cubes: tenths.pow(3),
        }
    }

    pub(super) fn add(&mut self, other: &Self) {
        self.sum += other.sum;
        self.squares += other.squares;
        self.cubes += other.cubes;
    }

    pub(super) fn remove(&mut self, other: &Self) {
        self.sum -= other.sum;
        self.squares -= other.squares;
        self.cubes -= other.cubes;
    }
}

/// How many numbers lie in each bucket and those before it.
#[derive(Clone, Copy, Debug)]
struct Ends([u32; BUCKETS]);

impl Default for Ends {
    fn default() -> Self {
        Self([0; BUCKETS])
    }
}

impl Ends {
    fn add(&mut self, other: &Self) {
        zip(&mut self.0, &other.0).for_each(|(sum, end)| *sum += end);
    }

    /// Adds those of a stretch.
    fn count(&mut self, stretch: &Stretch<'_>) {
        let column = stretch.column;
        if stretch.is_whole()
            && let Some(own) = &column.ends
        {
            zip(&mut self.0, own.iter()).for_each(|(sum, end)| *sum += u32::from(*end));
            return;
        }
        let mut counts = [0u32; BUCKETS];
        match &column.ends {
            Some(own) => {
                let mut start = 0;
                for (count, end) in zip(&mut counts, own.iter()).filter(|(_, end)| **end > 0) {
                    let of = &column.of[usize::from(start)..usize::from(*end)];
                    *count = of.iter().map(|of| u32::from(stretch.holds(*of))).sum();
                    start = *end;
                }
            }
            None => stretch
                .values()
                .for_each(|value| counts[bucket(value)] += 1),
        }
        let mut so_far = 0;
        for (end, count) in zip(&mut self.0, counts) {
            so_far += count;
            *end += so_far;
        }
    }

    fn total(&self) -> usize {
        self.0[BUCKETS - 1] as usize
    }

    /// The bucket of a rank, and how many numbers lie before it.
    fn at(&self, rank: usize) -> (usize, usize) {
        let bucket = self.0.partition_point(|end| *end as usize <= rank);
        (bucket, self.place(bucket).0)
    }

    fn place(&self, bucket: usize) -> (usize, usize) {
        let start = bucket.checked_sub(1).map_or(0, |before| self.0[before]);
        (start as usize, self.0[bucket] as usize)
    }

    fn count_of(&self, bucket: usize) -> usize {
        let (start, end) = self.place(bucket);
        end - start
    }
}

/// The numbers of many cases, bucket behind bucket, in no order within one.
#[derive(Clone, Debug, Default)]
pub(super) struct Pile {
    values: Values,
    ends: Ends,
}

impl Pile {
    pub(super) fn insert(&mut self, value: f64) {
        let (bucket, ends) = (bucket(value), &mut self.ends.0);
        self.values.push(value);
        // The first of each later bucket makes room by going to its end.
        for later in (bucket + 1..BUCKETS).rev() {
            let (start, end) = (ends[later - 1] as usize, ends[later] as usize);
            if start < end {
                self.values.set(end, self.values.get(start));
            }
            ends[later] += 1;
        }
        self.values.set(ends[bucket] as usize, value);
        ends[bucket] += 1;
    }

    /// Takes one occurrence out.
    pub(super) fn remove(&mut self, value: f64) {
        let bucket = bucket(value);
        let (start, end) = self.ends.place(bucket);
        let is = |at: &usize| self.values.get(*at).to_bits() == value.to_bits();
        let Some(mut hole) = (start..end).find(is) else {
            return;
        };
        // The last of this and of each later bucket fills the hole before it.
        for end in &mut self.ends.0[bucket..] {
            let last = (*end as usize).saturating_sub(1);
            if hole < last {
                self.values.set(hole, self.values.get(last));
            }
            hole = last;
            *end -= 1;
        }
        self.values.remove(self.values.len() - 1);
    }
}

/// The numbers of several stretches and piles, taken together.
#[derive(Clone, Debug, Default)]
pub(crate) struct Numbers<'c> {
    stretches: Vec<Stretch<'c>>,
    piles: Vec<&'c Pile>,
    ends: Ends,
}

impl<'c> Numbers<'c> {
    pub(super) fn push(&mut self, stretch: Stretch<'c>) {
        self.ends.count(&stretch);
        self.stretches.push(stretch);
    }

    pub(super) fn pile(&mut self, pile: &'c Pile) {
        self.ends.add(&pile.ends);
        self.piles.push(pile);
    }

    pub(super) fn add(&mut self, other: &Self) {
        self.stretches.extend(&other.stretches);
        self.piles.extend(&other.piles);
        self.ends.add(&other.ends);
    }

    /// How many numbers.
    pub(crate) fn len(&self) -> usize {
        self.ends.total()
    }

    /// Every number, in no order.
    pub(crate) fn values(&self) -> impl Iterator<Item = f64> + '_ {
        let piles = self.piles.iter();
        let piled = piles.flat_map(|pile| (0..pile.values.len()).map(|at| pile.values.get(at)));
        self.stretches.iter().flat_map(Stretch::values).chain(piled)
    }

    /// The numbers of a bucket.
    fn told(&self, bucket: usize) -> Vec<f64> {
        let mut told = Vec::with_capacity(self.ends.count_of(bucket));
        for stretch in &self.stretches {
            stretch.tell(bucket, &mut told);
        }
        for pile in &self.piles {
            pile.values.tell(pile.ends.place(bucket), &mut told);
        }
        told
    }

    /// Sum of the cubes of the numbers about a mean.
    pub(crate) fn cubes_about(&self, mean: f64) -> f64 {
        self.values().map(|value| (value - mean).powi(3)).sum()
    }

    /// The numbers at the given ranks (from 0, ascending order of size); a rank beyond the last
    /// gives the largest, of none 0.
    pub(crate) fn ranks(&self, ranks: &[usize]) -> Vec<f64> {
        let Some(last) = self.len().checked_sub(1) else {
            return vec![0.0; ranks.len()];
        };
        let mut open: Option<Bins> = None;
        ranks
            .iter()
            .map(|&rank| {
                let rank = rank.min(last);
                let (bucket, start) = self.ends.at(rank);
                if open.as_ref().is_none_or(|bins| bins.bucket != bucket) {
                    open = Some(Bins::of(bucket, self.told(bucket)));
                }
                let opened = open.as_mut();
                opened.map_or(0.0, |bins| bins.rank(rank - start))
            })
            .collect()
    }
}

/// The numbers of a bucket, parted further so that a rank looks at few of them.
struct Bins {
    bucket: usize,
    numbers: Vec<f64>,
    lowest: f64,
    scale: f64,
    /// How many numbers lie in each part and those before it.
    ends: [u32; BINS],
    /// The part looked into last, in order.
    open: Option<(usize, Vec<f64>)>,
}

impl Bins {
    fn of(bucket: usize, numbers: Vec<f64>) -> Self {
        let [lowest, above] = [bucket, bucket + 1].map(least);
        let parts = if numbers.len() <= SORTED {
            1.0
        } else {
            BINS as f64
        };
        let mut bins = Self {
            bucket,
            numbers,
            lowest,
            scale: parts / (above - lowest),
            ends: [0; BINS],
            open: None,
        };
        let mut counts = [0; BINS];
        for number in &bins.numbers {
            counts[bins.bin(*number)] += 1;
        }
        let mut so_far = 0;
        for (end, count) in zip(&mut bins.ends, counts) {
            so_far += count;
            *end = so_far;
        }
        bins
    }

    fn bin(&self, number: f64) -> usize {
        // What is below the lowest, by rounding, comes to the first.
        (((number - self.lowest) * self.scale) as usize).min(BINS - 1)
    }

    fn rank(&mut self, rank: usize) -> f64 {
        let bin = self.ends.partition_point(|end| *end as usize <= rank);
        let start = bin.checked_sub(1).map_or(0, |before| self.ends[before]) as usize;
        if self.open.as_ref().is_none_or(|(at, _)| *at != bin) {
            let within = self.numbers.iter().copied();
            let mut held: Vec<f64> = within.filter(|number| self.bin(*number) == bin).collect();
            held.sort_unstable_by(f64::total_cmp);
            self.open = Some((bin, held));
        }
        let opened = self.open.as_ref();
        opened.map_or(0.0, |(_, held)| held[rank - start])
    }
}

fn whole_thousandths(value: f64) -> u32 {
    (value * 1e3).round() as u32
}

/// A number as whole thousandths, if they hold it as it is.
pub(super) fn thousandths(value: f64) -> Option<u32> {
    let whole = whole_thousandths(value);
    (of_thousandths(whole).to_bits() == value.to_bits()).then_some(whole)
}

pub(super) fn of_thousandths(value: u32) -> f64 {
    f64::from(value) / 1e3
}

/// Thousandths as the nearest whole tenths, since cubes of finer parts of the largest numbers
/// would not fit.
fn whole_tenths(thousandths: u32) -> u32 {
    thousandths / 100 + u32::from(thousandths % 100 >= 50)
}

/// Four times the logarithm to base 2 of one more than the value, about, rounded down.
fn bucket(value: f64) -> usize {
    let quarters = (1.0 + value.max(0.0)).to_bits() >> 50;
    (quarters.saturating_sub(1023 << 2) as usize).min(BUCKETS - 1)
}

/// About the least that a bucket holds.
fn least(bucket: usize) -> f64 {
    f64::from_bits(((1023 << 2) + bucket as u64) << 50) - 1.0
}

#[cfg(test)]
impl Column {
    fn whole(&self) -> Stretch<'_> {
        self.between(0, self.of.len())
    }
}

#[cfg(test)]
impl<'c> Numbers<'c> {
    pub(super) fn of(columns: &'c [Column]) -> Self {
        let mut all = Self::default();
        columns.iter().for_each(|column| all.push(column.whole()));
        all
    }
}

/// Columns of values in their order, for tests of what asks them.
#[cfg(test)]
pub(super) fn columns(values: &[f64]) -> Vec<Column> {
    let column = |values: &[f64]| {
        let mut column = Column::default();
        for (place, value) in values.iter().enumerate() {
            column.insert(place, *value);
        }
        column
    };
    values.chunks(MOST).map(column).collect()
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    use super::*;

    fn drawn(rng: &mut ChaCha8Rng, sort: usize) -> f64 {
        match sort {
            0 => f64::from(rng.random_range(0..5)),
            1 => f64::from(rng.random_range(0..400)) / 10.0,
            2 => 100.0 * rng.random::<f64>(),
            _ => 1e9 * rng.random::<f64>().powi(20),
        }
    }

    /// Columns after cases came and went, whole and in part, held to plain lists.
    #[test]
    fn ranks_and_powers_are_those_of_the_sorted_values() {
        let mut rng = ChaCha8Rng::seed_from_u64(12);
        for sorts in 1..=4 {
            let mut columns = vec![Column::default(); 30];
            let mut plain: Vec<Vec<f64>> = vec![Vec::new(); 30];
            for _ in 0..6_000 {
                let at = rng.random_range(0..30);
                let (column, own) = (&mut columns[at], &mut plain[at]);
                let most = [3, FEW, MOST][at % 3];
                if own.len() < most && (own.is_empty() || rng.random_bool(0.7)) {
                    let place = rng.random_range(0..=own.len());
                    let sort = rng.random_range(0..sorts);
                    let value = drawn(&mut rng, sort);
                    column.insert(place, value);
                    own.insert(place, value);
                } else {
                    let place = rng.random_range(0..own.len());
                    column.remove(place);
                    own.remove(place);
                }
            }
            let mut pile = Pile::default();
            for value in plain.iter().flatten() {
                pile.insert(*value);
                pile.insert(3.5);
                pile.remove(3.5);
                pile.insert(value + 0.1);
            }
            plain
                .iter()
                .flatten()
                .for_each(|value| pile.remove(value + 0.1));
            pile.remove(-7.5);
            let mut piled = Numbers::default();
            piled.pile(&pile);
            let mut values = plain.concat();
            values.sort_unstable_by(f64::total_cmp);
            let all: Vec<usize> = (0..values.len()).collect();
            assert_eq!((piled.len(), piled.ranks(&all)), (values.len(), values));
            for cut in [false, true] {
                let (mut numbers, mut values) = (Numbers::default(), Vec::new());
                for (column, own) in zip(&columns, &plain) {
                    let mut limits = [0, own.len()];
                    if cut {
                        limits = limits.map(|_| rng.random_range(0..=own.len()));
                        limits.sort_unstable();
                    }
                    let [from, to] = limits;
                    let stretch = column.between(from, to);
                    let mut powers = Powers::default();
                    let these = own[from..to].iter();
                    these.for_each(|value| powers.add(&Powers::of(*value)));
                    assert_eq!(format!("{:?}", stretch.powers()), format!("{powers:?}"));
                    assert_eq!(stretch.len(), to - from);
                    numbers.push(stretch);
                    values.extend(&own[from..to]);
                }
                values.sort_unstable_by(f64::total_cmp);
                let mut all: Vec<usize> = (0..values.len()).collect();
                assert_eq!(numbers.ranks(&all), values);
                all.reverse();
                values.reverse();
                assert_eq!(numbers.ranks(&all), values);
                assert_eq!(numbers.ranks(&[usize::MAX]), values[..1]);
            }
        }
        assert_eq!(Numbers::default().ranks(&[3]), [0.0]);
    }

    /// So many alike that a bucket has to be parted, and numbers of many decimals among them.
    #[test]
    fn large_buckets_are_parted() {
        let mut rng = ChaCha8Rng::seed_from_u64(5);
        let mut values: Vec<f64> = (0..9_000)
            .map(|at| match at % 50 {
                0 => 35.0 + rng.random::<f64>(),
                _ => 35.0 + f64::from(at % 4),
            })
            .collect();
        let columns = columns(&values);
        values.sort_unstable_by(f64::total_cmp);
        let all: Vec<usize> = (0..values.len()).step_by(7).collect();
        let want: Vec<f64> = all.iter().map(|rank| values[*rank]).collect();
        assert_eq!(Numbers::of(&columns).ranks(&all), want);
    }
}
