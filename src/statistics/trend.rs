//! Does it happen more often than before? Tests on the times of events in one tool or
//! class, counted in running time or days in service from 0 to `end`.
//!
//! Directions: for all tests `p_rising` small speaks for events coming faster (getting
//! worse), `p_falling` small for events coming more slowly.

use statrs::{
    distribution::{ContinuousCDF, Normal},
    function::gamma::{gamma_lr, gamma_ur, ln_gamma},
};

use super::{Interval, StatisticsError, error::within};

/// The outcome of a test against a constant rate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrendTest {
    /// Events.
    pub events: usize,
    /// The statistic: z of Laplace's test, chi-square of the power-law test, the number of
    /// reversals of the reverse-arrangement test.
    pub statistic: f64,
    /// Chance of a statistic at least as far towards rising, if the rate is constant.
    pub p_rising: f64,
    /// Chance of one at least as far towards falling.
    pub p_falling: f64,
}

impl TrendTest {
    /// Two-sided chance.
    pub fn p(&self) -> f64 {
        (2.0 * self.p_rising.min(self.p_falling)).min(1.0)
    }
}

/// Laplace's test for events observed to a fixed `end`; valid from about 4 events.
/// Positive z: rising.
///
/// Source: Cox and Lewis, The Statistical Analysis of Series of Events (1966), chapter 3
/// (from memory); NIST/SEMATECH e-Handbook 8.2.3.4.
///
/// # Errors
/// Fewer than 4 events, or a time outside 0 to `end`.
pub fn laplace(times: &[f64], end: f64) -> Result<TrendTest, StatisticsError> {
    accept("Laplace's test", times, end, 4)?;
    let count = times.len() as f64;
    let mean = times.iter().sum::<f64>() / count;
    let z = (mean - end / 2.0) / (end / (12.0 * count).sqrt());
    let normal = Normal::standard();
    Ok(TrendTest {
        events: times.len(),
        statistic: z,
        p_rising: normal.sf(z),
        p_falling: normal.cdf(z),
    })
}

/// The test of MIL-HDBK-189 against a power-law process, time-truncated: chi-square with
/// `2 n` degrees. Large: falling.
///
/// Source: MIL-HDBK-189; NIST/SEMATECH e-Handbook 8.2.3.4.
///
/// # Errors
/// Fewer than 2 events, or a time that is not above 0 and at most `end`.
pub fn power_law_test(times: &[f64], end: f64) -> Result<TrendTest, StatisticsError> {
    let logs = logs("the power-law test", times, end)?;
    let half_degrees = times.len() as f64;
    Ok(TrendTest {
        events: times.len(),
        statistic: 2.0 * logs,
        p_rising: gamma_lr(half_degrees, logs),
        p_falling: gamma_ur(half_degrees, logs),
    })
}

/// A power-law process: the rate at time t is `a b t^(b-1)`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PowerLaw {
    /// Shape: above 1 rising, below 1 falling.
    pub shape: f64,
    /// The same without the bias of maximum likelihood.
    pub shape_unbiased: f64,
    /// Mean time between events at the end of the observation, from the unbiased shape.
    pub mean_time_at_end: f64,
}

/// Fits a power-law process, time-truncated.
///
/// Source: NIST/SEMATECH e-Handbook 8.4.5.2 (its growth slope is `1 - shape`).
///
/// # Errors
/// As [`power_law_test`]; all events at `end`.
pub fn power_law(times: &[f64], end: f64) -> Result<PowerLaw, StatisticsError> {
    let logs = logs("the power law", times, end)?;
    if logs <= 0.0 {
        return Err(StatisticsError::NotSettled {
            what: "the power law",
        });
    }
    let count = times.len() as f64;
    let shape_unbiased = (count - 1.0) / logs;
    Ok(PowerLaw {
        shape: count / logs,
        shape_unbiased,
        mean_time_at_end: end / (count * shape_unbiased),
    })
}

/// Reverse-arrangement test on the times between events, exact up to 100 events and by the
/// normal approximation beyond. A reversal is a later gap longer than an earlier one; few:
/// rising. Equal gaps are no reversal, as in the handbook's example.
///
/// Source: NIST/SEMATECH e-Handbook 8.2.3.4; Kendall's distribution of inversions.
///
/// # Errors
/// Fewer than 4 events, or times that are negative.
pub fn reverse_arrangements(times: &[f64]) -> Result<TrendTest, StatisticsError> {
    let mut times = times.to_vec();
    times.sort_by(f64::total_cmp);
    let end = times.last().copied().unwrap_or(0.0);
    accept("the reverse-arrangement test", &times, end, 4)?;
    let gaps: Vec<f64> = times
        .iter()
        .scan(0.0, |before, &time| {
            let gap = time - *before;
            *before = time;
            Some(gap)
        })
        .collect();
    let reversals: usize = gaps
        .iter()
        .enumerate()
        .map(|(at, gap)| gaps[at + 1..].iter().filter(|later| *later > gap).count())
        .sum();
    let (p_rising, p_falling) = if gaps.len() <= 100 {
        let chances = inversions(gaps.len());
        (
            chances[..=reversals].iter().sum(),
            chances[reversals..].iter().sum(),
        )
    } else {
        let n = gaps.len() as f64;
        let deviation = ((2.0 * n + 5.0) * (n - 1.0) * n / 72.0).sqrt();
        let z = (reversals as f64 - n * (n - 1.0) / 4.0) / deviation;
        let normal = Normal::standard();
        (normal.cdf(z), normal.sf(z))
    };
    Ok(TrendTest {
        events: gaps.len(),
        statistic: reversals as f64,
        p_rising,
        p_falling,
    })
}

/// Chances adjusted for many tests: the largest false-discovery rate at which each would
/// still be called. In the order given.
///
/// Source: Benjamini and Hochberg, J. R. Stat. Soc. B 57 (1995) 289.
///
/// # Errors
/// A chance outside 0 to 1.
pub fn benjamini_hochberg(chances: &[f64]) -> Result<Vec<f64>, StatisticsError> {
    for &chance in chances {
        within("a chance", chance, 0.0, 1.0, "0 to 1")?;
    }
    let count = chances.len();
    let mut order: Vec<usize> = (0..count).collect();
    order.sort_by(|&a, &b| chances[b].total_cmp(&chances[a]));
    let mut adjusted = vec![0.0; count];
    let mut least: f64 = 1.0;
    for (from_last, &at) in order.iter().enumerate() {
        let rank = (count - from_last) as f64;
        least = least.min(chances[at] * count as f64 / rank);
        adjusted[at] = least;
    }
    Ok(adjusted)
}

/// Where a rate may have changed once.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChangePoint {
    /// Chance that the rate changed at all, even odds before looking.
    pub chance: f64,
    /// Median of the posterior time of the change, if it did: within the interval, which the
    /// likeliest time need not be.
    pub time: f64,
    /// Central 95 % posterior interval of that time.
    pub interval: Interval,
    /// Rate before the median time.
    pub rate_before: f64,
    /// Rate after it.
    pub rate_after: f64,
}

/// One change of the rate of a Poisson process between 0 and `end`, flat prior for its
/// time, gamma priors worth half an event for the rates.
///
/// Source: Raftery and Akman, Biometrika 73 (1986) 85.
///
/// # Errors
/// Fewer than 4 events, or a time outside 0 to `end`.
pub fn change_point(times: &[f64], end: f64) -> Result<ChangePoint, StatisticsError> {
    const POINTS: usize = 1000;
    const PRIOR_EVENTS: f64 = 0.5;
    accept("a change point", times, end, 4)?;
    let mut times = times.to_vec();
    times.sort_by(f64::total_cmp);
    let total = times.len() as f64;
    let prior_time = PRIOR_EVENTS * end / total;
    let ln_marginal = |events: f64, time: f64| {
        PRIOR_EVENTS * prior_time.ln() - ln_gamma(PRIOR_EVENTS) + ln_gamma(events + PRIOR_EVENTS)
            - (events + PRIOR_EVENTS) * (time + prior_time).ln()
    };
    let place = |at: usize| end * (at as f64 + 0.5) / POINTS as f64;
    let before = |time: f64| times.partition_point(|&event| event <= time) as f64;
    let logs: Vec<f64> = (0..POINTS)
        .map(|at| {
            let (time, early) = (place(at), before(place(at)));
            ln_marginal(early, time) + ln_marginal(total - early, end - time)
        })
        .collect();
    let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let shares: Vec<f64> = logs.iter().map(|ln| (ln - most).exp()).collect();
    let sum: f64 = shares.iter().sum();
    let odds = most + (sum / POINTS as f64).ln() - ln_marginal(total, end);
    let limit = |chance: f64| {
        let mut so_far = 0.0;
        let reached = shares.iter().position(|share| {
            so_far += share;
            so_far >= chance * sum
        });
        place(reached.unwrap_or(POINTS - 1))
    };
    let time = limit(0.5);
    Ok(ChangePoint {
        chance: 1.0 / (1.0 + (-odds).exp()),
        time,
        interval: Interval {
            low: limit(0.025),
            high: limit(0.975),
        },
        rate_before: before(time) / time,
        rate_after: (total - before(time)) / (end - time),
    })
}

/// Chance of each number of inversions among `count` things in random order.
fn inversions(count: usize) -> Vec<f64> {
    let mut chances = vec![1.0];
    for size in 2..=count {
        let mut next = vec![0.0; chances.len() + size - 1];
        for (at, chance) in chances.iter().enumerate() {
            for more in 0..size {
                next[at + more] += chance / size as f64;
            }
        }
        chances = next;
    }
    chances
}

fn logs(what: &'static str, times: &[f64], end: f64) -> Result<f64, StatisticsError> {
    accept(what, times, end, 2)?;
    // Many events of a large fleet fall on one day, and then lie side by side.
    let (mut sum, mut known) = (0.0, (f64::NAN, 0.0));
    for &time in times {
        if time != known.0 {
            within(
                "the time of an event",
                time,
                f64::MIN_POSITIVE,
                end,
                "above 0, to the end",
            )?;
            known = (time, (end / time).ln());
        }
        sum += known.1;
    }
    Ok(sum)
}

fn accept(
    what: &'static str,
    times: &[f64],
    end: f64,
    needed: usize,
) -> Result<(), StatisticsError> {
    if times.len() < needed {
        return Err(StatisticsError::TooFew {
            what,
            needed,
            given: times.len(),
        });
    }
    within(
        "the end of the observation",
        end,
        f64::MIN_POSITIVE,
        1e12,
        "above 0, to 1e12",
    )?;
    for &time in times {
        within("the time of an event", time, 0.0, end, "0 to the end")?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    use super::*;
    use crate::statistics::reference::{close, numbers, reference};

    /// NIST/SEMATECH e-Handbook 8.2.3.4 and 8.4.5.2 (data from memory).
    const REPAIRS: [f64; 10] = [
        5.0, 40.0, 43.0, 175.0, 389.0, 712.0, 747.0, 795.0, 1299.0, 1478.0,
    ];

    #[test]
    fn trend_tests_agree_with_the_handbook() {
        let test = power_law_test(&REPAIRS, 1500.0).unwrap();
        assert!((test.statistic - 37.228).abs() < 1e-3 && (test.p_falling - 0.01099).abs() < 1e-5);
        let law = power_law(&REPAIRS, 1500.0).unwrap();
        assert!((law.shape - 0.53723).abs() < 1e-5);
        assert!((law.shape_unbiased - 0.48351).abs() < 1e-5);
        assert!((law.mean_time_at_end - 310.23).abs() < 0.01);
        let reverse = reverse_arrangements(&REPAIRS).unwrap();
        assert_eq!(reverse.statistic, 33.0);
        assert!((reverse.p_falling - 0.03628).abs() < 1e-5);
    }

    #[test]
    fn trend_tests_agree_with_scipy() {
        for case in reference()["trends"].as_array().unwrap() {
            let (times, end) = (numbers(&case["times"]), case["end"].as_f64().unwrap());
            let test = laplace(&times, end).unwrap();
            close(test.statistic, &case["laplace_z"], 1e-9);
            close(test.p_rising, &case["laplace_p_rising"], 1e-9);
            let test = power_law_test(&times, end).unwrap();
            close(test.statistic, &case["power_law_chi_square"], 1e-9);
            close(test.p_falling, &case["power_law_p_falling"], 1e-9);
            let test = reverse_arrangements(&times).unwrap();
            close(test.p_falling, &case["reverse_p_falling"], 1e-9);
        }
    }

    #[test]
    fn adjusted_chances_agree_with_statsmodels() {
        for case in reference()["benjamini_hochberg"].as_array().unwrap() {
            let adjusted = benjamini_hochberg(&numbers(&case["p"])).unwrap();
            for (got, want) in adjusted.iter().zip(case["adjusted"].as_array().unwrap()) {
                close(*got, want, 1e-12);
            }
        }
        assert_eq!(benjamini_hochberg(&[]).unwrap(), Vec::<f64>::new());
    }

    /// Raftery and Akman (1986) date the change in British coal-mining explosions to 1890,
    /// 95 % between 1887 and 1895. Yearly counts 1851 to 1961 and dates from memory; events
    /// are spread evenly over their year.
    #[test]
    fn the_change_in_coal_mining_disasters_is_found() {
        const BY_YEAR: &str = "4 5 4 0 1 4 3 4 0 6 3 3 4 0 2 6 3 3 5 4 5 3 1 4 4 1 5 5 3 4 2 5 \
            2 2 3 4 2 1 3 2 2 1 1 1 1 3 0 0 1 0 1 1 0 0 3 1 0 3 2 2 0 1 1 1 0 1 0 1 0 0 0 2 1 0 \
            0 0 1 1 0 2 3 3 1 1 2 1 1 1 1 2 4 2 0 0 1 4 0 0 0 1 0 0 0 0 0 1 0 0 1 0 1";
        let mut times = Vec::new();
        for (year, count) in BY_YEAR.split_whitespace().enumerate() {
            let count: u32 = count.parse().unwrap();
            let place = |at: u32| year as f64 + (f64::from(at) + 0.5) / f64::from(count);
            times.extend((0..count).map(place));
        }
        let change = change_point(&times, 111.0).unwrap();
        assert!(change.chance > 0.999);
        assert!(
            (1889.0..1893.0).contains(&(1851.0 + change.time)),
            "{change:?}"
        );
        assert!(
            (1885.0..1889.0).contains(&(1851.0 + change.interval.low)),
            "{change:?}"
        );
        assert!(
            (1893.0..1898.0).contains(&(1851.0 + change.interval.high)),
            "{change:?}"
        );
        assert!((change.rate_before / change.rate_after - 3.3).abs() < 0.4);
        let steady: Vec<f64> = (0..40).map(|at| f64::from(at) * 2.5 + 1.0).collect();
        assert!(change_point(&steady, 100.0).unwrap().chance < 0.3);
    }

    /// Posterior of the time by quadrature with scipy between each two events; here it is a
    /// grid of a thousand points.
    #[test]
    fn a_change_agrees_with_quadrature() {
        for case in reference()["changes"].as_array().unwrap() {
            let end = case["end"].as_f64().unwrap();
            let change = change_point(&numbers(&case["times"]), end).unwrap();
            close(change.chance, &case["chance"], 2e-3);
            for (got, want) in [
                (change.interval.low, &case["low"]),
                (change.time, &case["middle"]),
                (change.interval.high, &case["high"]),
            ] {
                let want = want.as_f64().unwrap();
                assert!((got - want).abs() < 2e-3 * end, "{got} against {want}");
            }
        }
    }

    /// A rate that hardly changed: its likeliest time is an edge of the watch, outside of the
    /// interval; what is stated must lie inside, and has cases on either side.
    #[test]
    fn the_time_of_a_change_lies_within_its_interval() {
        let mut rng = ChaCha8Rng::seed_from_u64(3);
        for count in [4, 5, 8, 20] {
            for _ in 0..200 {
                let times: Vec<f64> = (0..count).map(|_| rng.random_range(0.0..100.0)).collect();
                let change = change_point(&times, 100.0).unwrap();
                let Interval { low, high } = change.interval;
                assert!(low <= change.time && change.time <= high, "{change:?}");
            }
        }
    }

    #[test]
    fn directions_are_as_stated_and_nonsense_is_refused() {
        let worse = [50.0, 70.0, 80.0, 88.0, 93.0, 97.0];
        for test in [
            laplace(&worse, 100.0).unwrap(),
            power_law_test(&worse, 100.0).unwrap(),
            reverse_arrangements(&worse).unwrap(),
        ] {
            assert!(test.p_rising < 0.05 && test.p_falling > 0.9, "{test:?}");
            assert!((0.0..=1.0).contains(&test.p()));
        }
        assert!(laplace(&[1.0, 2.0], 5.0).is_err());
        assert!(laplace(&[1.0, 2.0, 3.0, 9.0], 5.0).is_err());
        assert!(power_law_test(&[0.0, 1.0], 5.0).is_err());
        assert!(power_law(&[5.0, 5.0], 5.0).is_err());
        assert!(change_point(&[1.0, 2.0, f64::NAN, 3.0], 5.0).is_err());
        assert!(benjamini_hochberg(&[1.5]).is_err());
    }
}
