//! Intervals for means and medians of skewed times.

use super::{Interval, buckets::Buckets, interval::normal_quantile};

/// Up to this many values the interval of a mean is bootstrapped; above, the mean is close
/// enough to normal for Student's t, which needs no resampling.
const BOOTSTRAP_UP_TO: usize = 50;
const RESAMPLES: usize = 600;

/// 95 % interval of a mean from at least two values: percentile bootstrap (Efron, Ann.
/// Stat. 7 (1979) 1) with a fixed stream of random numbers, so that the same cases give
/// the same interval. It is somewhat narrow below ten values.
pub(crate) fn bootstrap(values: &[f64]) -> Option<Interval> {
    if values.len() < 2 || values.len() > BOOTSTRAP_UP_TO {
        return None;
    }
    let mut values = values.to_vec();
    values.sort_by(f64::total_cmp);
    let mut stream = 0x0c01_d72a_9000_0001_u64;
    let mut means: Vec<f64> = (0..RESAMPLES)
        .map(|_| {
            let sum: f64 = values
                .iter()
                .map(|_| values[draw(&mut stream, values.len())])
                .sum();
            sum / values.len() as f64
        })
        .collect();
    means.sort_by(f64::total_cmp);
    let last = RESAMPLES - 1;
    let at = |chance: f64| means[(chance * last as f64).round() as usize];
    Some(Interval {
        low: at(0.025),
        high: at(0.975),
    })
}

/// 95 % interval of a mean by Student's t, cut at 0 since times are not negative. The
/// quantile is expanded around the normal one (Abramowitz and Stegun 26.7.5), good to 10⁻⁵
/// from 40 values on; with fewer there is no interval.
pub(crate) fn student(sample: u64, mean: f64, variance: f64) -> Option<Interval> {
    if sample < 40 {
        return None;
    }
    let (z, degrees) = (normal_quantile(0.975), sample as f64 - 1.0);
    let first = (z.powi(3) + z) / 4.0;
    let second = (5.0 * z.powi(5) + 16.0 * z.powi(3) + 3.0 * z) / 96.0;
    let t = z + first / degrees + second / (degrees * degrees);
    let half = t * (variance.max(0.0) / sample as f64).sqrt();
    Some(Interval {
        low: (mean - half).max(0.0),
        high: mean + half,
    })
}

/// Median, and its distribution-free interval of at least 95 % from order statistics
/// (Conover, Practical Nonparametric Statistics, section 3.2, from memory; normal
/// approximation of the ranks above 100 values). Below six values no interval reaches
/// 95 % and none is given.
pub(crate) fn median(sets: &[&Buckets], sample: usize) -> Option<(f64, Option<Interval>)> {
    if sample == 0 {
        return None;
    }
    let low_rank = rank_of_lower_limit(sample);
    let mut ranks = vec![(sample - 1) / 2, sample / 2];
    if let Some(rank) = low_rank {
        ranks.extend([rank, sample - 1 - rank]);
    }
    let values = Buckets::ranks(sets, &ranks);
    let middle = values[0] / 2.0 + values[1] / 2.0;
    let interval = low_rank.map(|_| Interval {
        low: values[2],
        high: values[3],
    });
    Some((middle, interval))
}

/// The largest rank `r` with at most 2.5 % chance that fewer than `r + 1` values lie below
/// the median.
fn rank_of_lower_limit(sample: usize) -> Option<usize> {
    if sample > 100 {
        let n = sample as f64;
        return Some(((n / 2.0 - 0.98 * n.sqrt()).floor() - 1.0).max(0.0) as usize);
    }
    let mut term = 0.5f64.powi(sample as i32);
    let mut below = term;
    if below > 0.025 {
        return None;
    }
    let mut rank = 0;
    loop {
        term *= (sample - rank) as f64 / (rank + 1) as f64;
        if below + term > 0.025 {
            return Some(rank);
        }
        below += term;
        rank += 1;
    }
}

/// A number below `size` from a 64-bit mixing sequence (Steele, Lea and Flood 2014).
fn draw(stream: &mut u64, size: usize) -> usize {
    *stream = stream.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let mut mixed = *stream;
    mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    mixed ^= mixed >> 31;
    ((u128::from(mixed) * size as u128) >> 64) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Conover, Practical Nonparametric Statistics: for 10 values the 2nd and 9th order
    /// statistics hold the median with 97.9 %; for 6 the first and last with 96.9 %.
    #[test]
    fn the_median_lies_between_the_tabled_order_statistics() {
        let interval = |count: usize| {
            let mut set = Buckets::default();
            (1..=count).for_each(|value| set.add(value as f64));
            median(&[&set], count).and_then(|(_, interval)| interval)
        };
        assert_eq!(
            interval(10),
            Some(Interval {
                low: 2.0,
                high: 9.0
            })
        );
        assert_eq!(
            interval(6),
            Some(Interval {
                low: 1.0,
                high: 6.0
            })
        );
        assert_eq!(interval(5), None);
        assert_eq!(
            interval(20),
            Some(Interval {
                low: 6.0,
                high: 15.0
            })
        );
    }

    /// t for 40, 100 and 1000 degrees of freedom at 97.5 %: NIST/SEMATECH e-Handbook 1.3.6.7.2.
    #[test]
    fn the_expanded_quantile_agrees_with_the_table() {
        for (degrees, t) in [(40, 2.021), (100, 1.984), (1000, 1.962)] {
            let sample = degrees + 1;
            let interval = student(sample, 10.0, sample as f64).unwrap();
            assert!(
                (interval.high - 10.0 - t).abs() < 6e-4,
                "{degrees}: {interval:?}"
            );
        }
    }

    /// The mean of 50 equally spaced values is close to normal, where bootstrap and
    /// Student's t have to agree.
    #[test]
    fn bootstrap_and_student_agree_where_both_hold() {
        let values: Vec<f64> = (0..50).map(|value| f64::from(value) + 10.0).collect();
        let mean = values.iter().sum::<f64>() / 50.0;
        let variance = values
            .iter()
            .map(|value| (value - mean).powi(2))
            .sum::<f64>()
            / 49.0;
        let (boot, t) = (
            bootstrap(&values).unwrap(),
            student(50, mean, variance).unwrap(),
        );
        assert!((boot.low - t.low).abs() < 0.8 && (boot.high - t.high).abs() < 0.8);
    }
}
