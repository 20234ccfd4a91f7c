//! Bootstrap intervals for means and medians of skewed times.
//!
//! A bootstrap asks what would have come out had the cases been drawn anew from those there
//! are. For few cases they are drawn, with a fixed stream of random numbers. For more, what
//! endless drawing would give is worked out: the distribution of the mean of a resample by
//! the saddlepoint approximation (Davison and Hinkley, Biometrika 75 (1988) 417; Lugannani
//! and Rice, Adv. Appl. Prob. 12 (1980) 475; formulas from memory) or, of more, from three
//! moments, and that of the median
//! exactly, since its rank is binomial. So no interval depends on luck, and a million cases
//! are no slower than a few thousand.
//!
//! Intervals of a mean are bias-corrected and accelerated (BCa; Efron, J. Am. Stat. Assoc. 82
//! (1987) 171), those of a median are percentiles.

use std::sync::OnceLock;

use statrs::function::{beta::beta_reg, erf::erfc};

use super::{Interval, column::Numbers, interval::normal_quantile};

/// Fewer values have no interval: of a median none reaches 95 %, whatever is done, and a mean is
/// drawn from so few that its interval holds the truth far less often than it says.
const FEWEST: usize = 6;
/// Up to this many values resamples are drawn; the mean of more has a smooth distribution.
const DRAWN_UP_TO: usize = 12;
const RESAMPLES: usize = 2_000;
/// From this many values on, three moments say all of the distribution of their mean, to a few
/// thousandths of the interval's width.
const EXPANDED_FROM: usize = 64;
/// Unless the mean itself is skewed more than this.
const MOST_SKEWED: f64 = 0.2;
/// From this deviation on, and this share of the mean, what the cubes kept lack, being of values
/// to a tenth, moves no limit by a hundredth of the width.
const WIDE: f64 = 5.0;
const WIDE_SHARE: f64 = 0.1;
/// Ranks of a median are worked out up to this many values; above, the normal approximation
/// of the binomial distribution is off by less than a rank.
const EXACT_RANKS: usize = 1_000;

/// 95 % interval of the mean of numbers, from six values on; of
/// their mean, their variance and the sum of their cubes, which may be off as if each value were
/// by 0.05.
pub(crate) fn interval(
    numbers: &Numbers<'_>,
    mean: f64,
    variance: f64,
    cubes: f64,
) -> Option<Interval> {
    let sample = numbers.len();
    if sample < FEWEST {
        return None;
    }
    if sample >= EXPANDED_FROM
        && let Some(found) = expanded(numbers, sample as f64, mean, variance, cubes)
    {
        return Some(found);
    }
    // What comes out must not depend on the order in which the values came in.
    let mut values: Vec<f64> = numbers.values().collect();
    values.sort_unstable_by(f64::total_cmp);
    let drawn = Drawn::of(&values);
    if drawn.deviation <= 1e-12 * drawn.mean.abs() {
        let (low, high) = (drawn.mean, drawn.mean);
        return Some(Interval { low, high });
    }
    if sample <= DRAWN_UP_TO {
        Some(resampled(&values, &drawn))
    } else {
        let [low, high] = [-1.0, 1.0].map(|side| drawn.quantile(side * normal_quantile(0.975)));
        Some(Interval { low, high })
    }
}

/// The interval from the first three moments (Cornish and Fisher, Rev. Int. Stat. Inst. 5
/// (1938) 307; from memory), which so many values leave nothing to add to, unless a few of them
/// outweigh the others.
fn expanded(
    numbers: &Numbers<'_>,
    sample: f64,
    mean: f64,
    variance: f64,
    cubes: f64,
) -> Option<Interval> {
    let deviation = (variance.max(0.0) * (sample - 1.0) / sample).sqrt();
    if deviation <= 1e-12 * mean.abs() {
        return Some(Interval {
            low: mean,
            high: mean,
        });
    }
    let about_mean = if deviation > WIDE && deviation > WIDE_SHARE * mean {
        cubes - 3.0 * mean * sample * deviation * deviation - sample * mean.powi(3)
    } else {
        numbers.cubes_about(mean)
    };
    // Rounded, so that it does not depend on the order of the values.
    let skewness = (about_mean / sample / deviation.powi(3) * 1e6).round() / 1e6;
    let of_mean = skewness / sample.sqrt();
    if of_mean.abs() > MOST_SKEWED {
        return None;
    }
    let at = |side: f64| {
        let z = corrected(of_mean / 6.0, side * normal_quantile(0.975));
        let bent = z + of_mean * (z * z - 1.0) / 6.0
            - of_mean * of_mean * (2.0 * z.powi(3) - 5.0 * z) / 36.0;
        mean + deviation / sample.sqrt() * bent
    };
    Some(Interval {
        low: at(-1.0).max(0.0),
        high: at(1.0),
    })
}

/// The normal quantile that Efron's correction makes of another; `lean` is the skewness of the
/// mean over 6: both the bias and the acceleration.
fn corrected(lean: f64, z: f64) -> f64 {
    let moved = lean + z;
    lean + moved / (1.0 - lean * moved)
}

/// What means are drawn from: values in units of their deviation, about their mean.
struct Drawn {
    values: Vec<f64>,
    sample: f64,
    mean: f64,
    deviation: f64,
    /// Skewness of the mean over 6: both the bias and the acceleration of Efron.
    lean: f64,
}

impl Drawn {
    fn of(values: &[f64]) -> Self {
        let sample = values.len() as f64;
        let mean = values.iter().sum::<f64>() / sample;
        let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
        let deviation = (squares / sample).sqrt();
        let scale = deviation.max(f64::MIN_POSITIVE);
        let values: Vec<f64> = values.iter().map(|value| (value - mean) / scale).collect();
        let skewness = values.iter().map(|value| value.powi(3)).sum::<f64>() / sample;
        Self {
            values,
            sample,
            mean,
            deviation,
            lean: skewness / (6.0 * sample.sqrt()),
        }
    }

    /// Where the corrected percentile of a normal quantile lies among the means.
    fn quantile(&self, z: f64) -> f64 {
        self.mean + self.deviation * self.tilted(corrected(self.lean, z))
    }

    /// The mean, in deviations, below which a resample falls as often as a normal variable
    /// below `z`: where the signed root of the likelihood ratio, as corrected by Barndorff-
    /// Nielsen, is `z`; found by the secant rule.
    fn tilted(&self, z: f64) -> f64 {
        let root = self.sample.sqrt();
        let mut before = (0.0, -self.lean);
        let mut tilt = z / root;
        let mut mean = tilt;
        for _ in 0..20 {
            let (at, reached) = self.reached(tilt);
            mean = at;
            if (reached - z).abs() < 1e-7 || (reached - before.1).abs() < 1e-12 {
                break;
            }
            let next = tilt + (z - reached) * (tilt - before.0) / (reached - before.1);
            before = (tilt, reached);
            tilt = next.clamp(-20.0, 20.0);
        }
        mean
    }

    /// The mean under a tilt other than 0, and the normal quantile it stands at.
    fn reached(&self, tilt: f64) -> (f64, f64) {
        let (mut sum, mut first, mut second) = (0.0, 0.0, 0.0);
        for value in &self.values {
            let part = (tilt * value).exp();
            sum += part;
            first += part * value;
            second += part * value * value;
        }
        let mean = first / sum;
        let curve = (second / sum - mean * mean).max(f64::MIN_POSITIVE);
        let ratio = (2.0 * self.sample * (tilt * mean - (sum / self.sample).ln())).max(0.0);
        let signed = tilt.signum() * ratio.sqrt();
        let plain = tilt * (self.sample * curve).sqrt();
        (mean, signed + (plain / signed).ln() / signed)
    }
}

/// The interval from means that are drawn.
fn resampled(values: &[f64], drawn: &Drawn) -> Interval {
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
    let slip = 1e-9 * drawn.deviation;
    let under = means.partition_point(|mean| *mean < drawn.mean - slip);
    let up_to = means.partition_point(|mean| *mean <= drawn.mean + slip);
    let share = (under + up_to) as f64 / (2 * RESAMPLES) as f64;
    let bias = normal_quantile(share.clamp(0.01, 0.99));
    let at = |side: f64| {
        let moved = bias + side * normal_quantile(0.975);
        let share = below(bias + moved / (1.0 - drawn.lean * moved));
        let place = share * (RESAMPLES - 1) as f64;
        let (low, part) = (place.floor() as usize, place.fract());
        means[low] + part * (means[(low + 1).min(RESAMPLES - 1)] - means[low])
    };
    Interval {
        low: at(-1.0),
        high: at(1.0),
    }
}

/// Chance of a normal variable below `z`.
fn below(z: f64) -> f64 {
    erfc(-z / std::f64::consts::SQRT_2) / 2.0
}

/// Median, and its 95 % bootstrap interval, from six values on.
pub(crate) fn median(numbers: &Numbers<'_>) -> Option<(f64, Option<Interval>)> {
    let sample = numbers.len();
    if sample == 0 {
        return None;
    }
    let middle = [(sample - 1) / 2, sample / 2];
    let limits = (sample >= FEWEST).then(|| limits(sample));
    let ranks: Vec<usize> = middle
        .into_iter()
        .chain(limits.into_iter().flatten())
        .collect();
    let values = numbers.ranks(&ranks);
    let mean = |at: usize| values[at] / 2.0 + values[at + 1] / 2.0;
    let interval = limits.map(|_| Interval {
        low: mean(2),
        high: mean(4),
    });
    Some((mean(0), interval))
}

/// Ranks whose values lie around the low and the high limit of the median, two each.
fn limits(sample: usize) -> [usize; 4] {
    static EXACT: OnceLock<Vec<OnceLock<[usize; 4]>>> = OnceLock::new();
    let worked_out = || {
        let of_middle = |middle: usize| lowest(sample, middle);
        let low = [of_middle((sample - 1) / 2), of_middle(sample / 2)];
        // The distribution of ranks is the same from above.
        [low[0], low[1], sample - 1 - low[1], sample - 1 - low[0]]
    };
    if sample < EXACT_RANKS {
        let known = EXACT.get_or_init(|| vec![OnceLock::new(); EXACT_RANKS]);
        *known[sample].get_or_init(worked_out)
    } else {
        let n = sample as f64;
        let low = (n / 2.0 - normal_quantile(0.975) / 2.0 * n.sqrt()).floor() as usize;
        let low = low.saturating_sub(1);
        [low, low, sample - 1 - low, sample - 1 - low]
    }
}

/// The lowest rank (from 0) that the value of rank `middle` of a resample does not exceed
/// with a chance of 2.5 %: it does not where more than `middle` draws are no larger.
fn lowest(sample: usize, middle: usize) -> usize {
    let at_most = |rank: usize| {
        let share = (rank + 1) as f64 / sample as f64;
        if rank + 1 >= sample {
            1.0
        } else {
            beta_reg((middle + 1) as f64, (sample - middle) as f64, share)
        }
    };
    let (mut low, mut high) = (0, middle);
    while low < high {
        let rank = (low + high) / 2;
        if at_most(rank) >= 0.025 {
            high = rank;
        } else {
            low = rank + 1;
        }
    }
    low
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
    use crate::statistics::{
        column::columns,
        reference::{numbers, reference},
    };

    fn of(values: &[f64]) -> Option<Interval> {
        let count = values.len() as f64;
        let mean = values.iter().sum::<f64>() / count;
        let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
        let cubes = values.iter().map(|value| (10.0 * value).round().powi(3));
        let variance = squares / (count - 1.0).max(1.0);
        let columns = columns(values);
        interval(
            &Numbers::of(&columns),
            mean,
            variance,
            cubes.sum::<f64>() / 1e3,
        )
    }

    /// Means and medians against `scipy.stats.bootstrap` with 100,000 resamples. What differs
    /// is its luck, given in the file as the spread of its limits over ten runs, and the
    /// approximation, which gets 1 % of the interval's width; the luck of 2,000 resamples of
    /// a few values comes to 1.5 %, three times of which are allowed. A median can only lie
    /// at or between two values.
    #[test]
    fn intervals_agree_with_the_bootstrap_of_a_general_library() {
        let cases = reference();
        for case in cases["bootstrap"].as_array().unwrap() {
            let values = numbers(&case["values"]);
            let columns = columns(&values);
            let of_median = median(&Numbers::of(&columns));
            let found = [
                ("mean", of(&values).unwrap()),
                ("median", of_median.unwrap().1.unwrap()),
            ];
            for (what, found) in found {
                let (want, luck) = (numbers(&case[what]), numbers(&case[format!("{what}_luck")]));
                let width = want[1] - want[0];
                let part = match what {
                    "mean" if values.len() > DRAWN_UP_TO => 0.01,
                    "mean" => 0.045,
                    _ => 0.08,
                };
                for (got, (want, luck)) in [found.low, found.high].iter().zip(want.iter().zip(luck))
                {
                    let allowed = 4.0 * luck + part * width;
                    assert!(
                        (got - want).abs() <= allowed,
                        "{what} of {}: {got} against {want}, {allowed} allowed",
                        values.len()
                    );
                }
            }
        }
    }

    /// Where both can be had they have to agree: values drawn, and worked out.
    #[test]
    fn drawing_and_working_out_agree() {
        for size in [9, 12, 30] {
            let values: Vec<f64> = (0..size)
                .map(|at| (4.0 * f64::from(at) / f64::from(size)).exp())
                .collect();
            let drawn = Drawn::of(&values);
            let by_luck = resampled(&values, &drawn);
            let [low, high] = [-1.96, 1.96].map(|z| drawn.quantile(z));
            let width = high - low;
            assert!(
                (low - by_luck.low).abs() < 0.05 * width,
                "{size}: {low} {by_luck:?}"
            );
            assert!(
                (high - by_luck.high).abs() < 0.05 * width,
                "{size}: {high} {by_luck:?}"
            );
        }
    }

    #[test]
    fn three_moments_say_what_the_saddlepoint_says() {
        let drawn = |size: i32| -> Vec<f64> {
            let places = (0..size).map(|at| f64::from(at * 7919 % size) / f64::from(size));
            places.map(|place| (4.0 * place).exp()).collect()
        };
        // In one unit the cubes kept count, in the other they are too coarse and the values do.
        for (size, unit) in [(600, 1.0), (600, 0.01), (90, 1.0), (90, 0.01)] {
            let values: Vec<f64> = drawn(size).iter().map(|value| unit * value).collect();
            let found = of(&values).unwrap();
            let [low, high] =
                [-1.0, 1.0].map(|side| Drawn::of(&values).quantile(side * normal_quantile(0.975)));
            let width = high - low;
            let close = |one: f64, other: f64| (one - other).abs() < 2e-3 * width;
            assert!(close(found.low, low), "{size}: {found:?} {low}");
            assert!(close(found.high, high), "{size}: {found:?} {high}");
        }
    }

    #[test]
    fn odd_values_give_intervals_all_the_same() {
        assert_eq!(of(&[3.0]), None);
        assert_eq!(of(&[3.0, 1.0, 4.0, 1.0, 5.0]), None);
        for size in [6, 7, 13, 600] {
            let same = of(&vec![7.5; size]).unwrap();
            assert!((same.low - 7.5).abs() < 1e-9 && (same.high - 7.5).abs() < 1e-9);
            let mut lonely = vec![0.0; size];
            lonely[0] = 1e9;
            let found = of(&lonely).unwrap();
            assert!(found.low >= 0.0 && found.low <= found.high && found.high <= 1e9);
        }
        assert_eq!(median(&Numbers::default()), None);
        let five = columns(&[1.0, 2.0, 3.0, 4.0, 5.0]);
        assert_eq!(median(&Numbers::of(&five)), Some((3.0, None)));
    }

    /// The ranks of the normal approximation go on where the exact ones end.
    #[test]
    fn ranks_of_a_median_go_on_smoothly() {
        let (exact, near) = (limits(EXACT_RANKS - 1), limits(EXACT_RANKS));
        for (exact, near) in exact.iter().zip(near) {
            assert!(exact.abs_diff(near) <= 2, "{exact} {near}");
        }
        // Of 21 values, by binomial sums: at most the 6th smallest with 1.8 %, the 7th with 5.6 %.
        assert_eq!(limits(21), [6, 6, 14, 14]);
    }
}
