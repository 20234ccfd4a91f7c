//! Intervals for shares and for mean times between failures.
//!
//! `level` is the two-sided confidence (0.95 for 95 %), between 0.5 and 0.9999.
//! Quantiles are bisected to the last bits of an `f64`, so that they hold in the tails.

use statrs::{
    distribution::{ContinuousCDF, Normal},
    function::{beta::beta_reg, gamma::gamma_lr},
};

use super::{StatisticsError, error::within};

/// A closed interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
}

/// A share with its 95 % Wilson interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Share {
    /// How many.
    pub count: u64,
    /// Out of how many.
    pub sample: u64,
    /// `count / sample`, none without a sample.
    pub value: Option<f64>,
    /// 95 % Wilson score interval, none without a sample.
    pub interval: Option<Interval>,
}

impl Share {
    /// The share of `count` in `sample`; a count above the sample is taken as the sample.
    pub fn of(count: u64, sample: u64) -> Self {
        let count = count.min(sample);
        Self {
            count,
            sample,
            value: (sample > 0).then(|| count as f64 / sample as f64),
            interval: wilson(count, sample, 0.95).ok(),
        }
    }
}

/// Wilson score interval without continuity correction.
///
/// Source: Wilson, J. Am. Stat. Assoc. 22 (1927) 209; NIST/SEMATECH e-Handbook 7.2.4.1.
///
/// # Errors
/// A sample of none, a count above the sample, or a level outside 0.5..=0.9999.
pub fn wilson(count: u64, sample: u64, level: f64) -> Result<Interval, StatisticsError> {
    let (count, sample) = counts(count, sample)?;
    let z = normal_quantile(0.5 + confidence(level)? / 2.0);
    let share = count / sample;
    let shrink = 1.0 + z * z / sample;
    let centre = (share + z * z / (2.0 * sample)) / shrink;
    let half =
        z / shrink * (share * (1.0 - share) / sample + z * z / (4.0 * sample * sample)).sqrt();
    Ok(Interval {
        low: if count == 0.0 {
            0.0
        } else {
            (centre - half).max(0.0)
        },
        high: if count == sample {
            1.0
        } else {
            (centre + half).min(1.0)
        },
    })
}

/// Clopper-Pearson ("exact") interval; 0 and 1 at the ends.
///
/// Source: Clopper and Pearson, Biometrika 26 (1934) 404; NIST/SEMATECH e-Handbook 7.2.4.1.
///
/// # Errors
/// As [`wilson`].
pub fn clopper_pearson(count: u64, sample: u64, level: f64) -> Result<Interval, StatisticsError> {
    let (count, sample) = counts(count, sample)?;
    let tail = (1.0 - confidence(level)?) / 2.0;
    let clear = sample - count;
    Ok(Interval {
        low: if count == 0.0 {
            0.0
        } else {
            quantile_of_beta(count, clear + 1.0, tail)
        },
        high: if clear == 0.0 {
            1.0
        } else {
            quantile_of_beta(count + 1.0, clear, 1.0 - tail)
        },
    })
}

/// Equal-tailed posterior interval under Jeffreys' prior, Beta(½, ½). The limits are the
/// plain quantiles, also at a count of none or all: no limit is moved to 0 or 1.
///
/// Source: Brown, Cai and DasGupta, Stat. Sci. 16 (2001) 101.
///
/// # Errors
/// As [`wilson`].
pub fn jeffreys(count: u64, sample: u64, level: f64) -> Result<Interval, StatisticsError> {
    let (count, sample) = counts(count, sample)?;
    beta(count + 0.5, sample - count + 0.5, level)
}

/// Equal-tailed interval of a Beta(`a`, `b`) chance.
///
/// # Errors
/// A parameter that is not between 10⁻⁶ and 10¹², or a level outside 0.5..=0.9999.
pub fn beta(a: f64, b: f64, level: f64) -> Result<Interval, StatisticsError> {
    for parameter in [a, b] {
        within(
            "a parameter of the beta distribution",
            parameter,
            1e-6,
            1e12,
            "1e-6 to 1e12",
        )?;
    }
    let tail = (1.0 - confidence(level)?) / 2.0;
    Ok(Interval {
        low: quantile_of_beta(a, b, tail),
        high: quantile_of_beta(a, b, 1.0 - tail),
    })
}

/// A mean time between failures with its interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeanTime {
    /// Running time over failures; none without a failure.
    pub estimate: Option<f64>,
    /// Lower limit; without a failure one-sided at the level itself.
    pub low: f64,
    /// Upper limit; none without a failure.
    pub high: Option<f64>,
}

/// Mean time between failures at a constant rate, observed for a fixed running time.
/// Two-sided limits by chi-square with `2(failures + 1)` degrees for the lower and
/// `2 failures` for the upper; without a failure the one-sided lower limit
/// `-time / ln(1 - level)`.
///
/// The mean time is SEMI E10's productive time over failures where `time` is productive
/// time (definition as published there, from memory). Unit: that of `time`.
///
/// Source: NIST/SEMATECH e-Handbook 8.4.5.1.
///
/// # Errors
/// A time that is not above 0 or above 10¹², or a level outside 0.5..=0.9999.
pub fn mean_time_between_failures(
    time: f64,
    failures: u64,
    level: f64,
) -> Result<MeanTime, StatisticsError> {
    within(
        "the running time",
        time,
        f64::MIN_POSITIVE,
        1e12,
        "above 0, to 1e12",
    )?;
    let level = confidence(level)?;
    if failures == 0 {
        return Ok(MeanTime {
            estimate: None,
            low: -time / (1.0 - level).ln(),
            high: None,
        });
    }
    let tail = (1.0 - level) / 2.0;
    let degrees = 2.0 * failures as f64;
    Ok(MeanTime {
        estimate: Some(time / failures as f64),
        low: 2.0 * time / chi_square_quantile(degrees + 2.0, 1.0 - tail),
        high: Some(2.0 * time / chi_square_quantile(degrees, tail)),
    })
}

/// A rate of events with its exact interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rate {
    /// Events.
    pub events: u64,
    /// What they are counted over, in the unit of the rate.
    pub exposure: f64,
    /// Events over exposure.
    pub value: f64,
    /// Its interval.
    pub interval: Interval,
}

/// Exact interval of a Poisson rate by chi-square with `2 events` degrees for the lower
/// and `2(events + 1)` for the upper limit; the lower limit without an event is 0.
///
/// Source: Garwood, Biometrika 28 (1936) 437.
///
/// # Errors
/// An exposure that is not above 0 or above 10¹², or a level outside 0.5..=0.9999.
pub fn poisson_rate(events: u64, exposure: f64, level: f64) -> Result<Rate, StatisticsError> {
    within(
        "the exposure",
        exposure,
        f64::MIN_POSITIVE,
        1e12,
        "above 0, to 1e12",
    )?;
    let tail = (1.0 - confidence(level)?) / 2.0;
    let degrees = 2.0 * events as f64;
    Ok(Rate {
        events,
        exposure,
        value: events as f64 / exposure,
        interval: Interval {
            low: if events == 0 {
                0.0
            } else {
                chi_square_quantile(degrees, tail) / 2.0 / exposure
            },
            high: chi_square_quantile(degrees + 2.0, 1.0 - tail) / 2.0 / exposure,
        },
    })
}

/// Quantile of the standard normal distribution.
pub(crate) fn normal_quantile(chance: f64) -> f64 {
    Normal::standard().inverse_cdf(chance)
}

/// Quantile of chi-square.
pub(crate) fn chi_square_quantile(degrees: f64, chance: f64) -> f64 {
    let mut high = degrees.max(1.0);
    while gamma_lr(degrees / 2.0, high / 2.0) < chance && high < 1e15 {
        high *= 2.0;
    }
    bisected(0.0, high, |x| gamma_lr(degrees / 2.0, x / 2.0) < chance)
}

fn quantile_of_beta(a: f64, b: f64, chance: f64) -> f64 {
    bisected(0.0, 1.0, |x| beta_reg(a, b, x) < chance)
}

fn bisected(mut low: f64, mut high: f64, below: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..200 {
        let middle = low + (high - low) / 2.0;
        if middle <= low || middle >= high {
            break;
        }
        if below(middle) {
            low = middle;
        } else {
            high = middle;
        }
        if high - low <= 1e-15 * high {
            break;
        }
    }
    low + (high - low) / 2.0
}

fn confidence(level: f64) -> Result<f64, StatisticsError> {
    within("the confidence level", level, 0.5, 0.9999, "0.5 to 0.9999")
}

fn counts(count: u64, sample: u64) -> Result<(f64, f64), StatisticsError> {
    if sample == 0 {
        return Err(StatisticsError::TooFew {
            what: "an interval for a share",
            needed: 1,
            given: 0,
        });
    }
    if count > sample {
        return Err(StatisticsError::OutOfRange {
            what: "the count",
            value: count as f64,
            accepted: "0 to the size of the sample",
        });
    }
    Ok((count as f64, sample as f64))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rates_agree_with_scipy_and_zero_exposure_is_refused() {
        let reference = crate::statistics::reference::reference();
        for case in reference["rates"].as_array().unwrap() {
            let exposure = case["exposure"].as_f64().unwrap();
            let rate = poisson_rate(case["count"].as_u64().unwrap(), exposure, 0.95).unwrap();
            crate::statistics::reference::close(rate.interval.low, &case["low"], 1e-9);
            crate::statistics::reference::close(rate.interval.high, &case["high"], 1e-9);
        }
        for nonsense in [0.0, -4.0, f64::NAN, f64::INFINITY] {
            let message = poisson_rate(3, nonsense, 0.95).unwrap_err().to_string();
            assert!(message.starts_with("the exposure is"), "{message}");
        }
    }

    /// Chi-square limits recomputed with scipy (NIST/SEMATECH e-Handbook 8.4.5.1).
    #[test]
    fn times_between_failures_agree_with_scipy() {
        let reference = crate::statistics::reference::reference();
        for case in reference["between"].as_array().unwrap() {
            let (events, days) = (
                case["events"].as_u64().unwrap(),
                case["days"].as_f64().unwrap(),
            );
            let time = mean_time_between_failures(days, events, 0.95).unwrap();
            crate::statistics::reference::close(time.low, &case["low"], 1e-9);
            assert_eq!(time.high.is_none(), case["high"].is_null());
            if let Some(high) = time.high {
                crate::statistics::reference::close(high, &case["high"], 1e-9);
            }
        }
    }

    type Method = fn(u64, u64, f64) -> Result<Interval, StatisticsError>;

    /// Newcombe, Stat. Med. 17 (1998) 857, Table I (data from memory; limits recomputed
    /// with scipy 1.17.1).
    #[test]
    fn shares_agree_with_newcombe_1998() {
        let rows: [(u64, u64, [[f64; 2]; 3]); 4] = [
            (
                15,
                148,
                [[0.0624, 0.1605], [0.0578, 0.1617], [0.0604, 0.1576]],
            ),
            (
                1,
                29,
                [[0.0061, 0.1718], [0.0009, 0.1776], [0.0037, 0.1501]],
            ),
            (
                9,
                10,
                [[0.5958, 0.9821], [0.5550, 0.9975], [0.6187, 0.9890]],
            ),
            (10, 10, [[0.7225, 1.0], [0.6915, 1.0], [0.7828, 1.0]]),
        ];
        let methods: [Method; 3] = [wilson, clopper_pearson, jeffreys];
        for (count, sample, limits) in rows {
            for (method, [low, high]) in methods.iter().zip(limits) {
                let got = method(count, sample, 0.95).unwrap();
                assert!((got.low - low).abs() < 1e-4, "{count}/{sample}: {got:?}");
                assert!((got.high - high).abs() < 1e-4, "{count}/{sample}: {got:?}");
            }
        }
    }

    #[test]
    fn shares_agree_with_statsmodels() {
        use crate::statistics::reference::{close, reference};

        let methods: [(&str, Method); 3] = [
            ("wilson", wilson),
            ("clopper_pearson", clopper_pearson),
            ("jeffreys", jeffreys),
        ];
        for case in reference()["shares"].as_array().unwrap() {
            let count = |name: &str| case[name].as_u64().unwrap();
            for (name, method) in methods {
                let got = method(count("count"), count("sample"), 0.95).unwrap();
                close(got.low, &case[name][0], 1e-9);
                close(got.high, &case[name][1], 1e-9);
            }
        }
    }

    /// NIST/SEMATECH e-Handbook 7.2.4.1, 4 of 20 at 90 % (example from memory).
    #[test]
    fn clopper_pearson_agrees_with_the_handbook() {
        let got = clopper_pearson(4, 20, 0.90).unwrap();
        assert!((got.low - 0.071354).abs() < 1e-5 && (got.high - 0.401028).abs() < 1e-5);
    }

    /// NIST/SEMATECH e-Handbook 8.4.5.1: 800 h, 2 failures, 90 %; factors of its table.
    #[test]
    fn mean_times_agree_with_the_handbook() {
        let got = mean_time_between_failures(800.0, 2, 0.90).unwrap();
        assert_eq!(got.estimate, Some(400.0));
        assert!((got.low / 127.07 - 1.0).abs() < 1e-4, "{got:?}");
        assert!((got.high.unwrap() / 2251.2 - 1.0).abs() < 1e-4, "{got:?}");
        for (failures, low, high) in [
            (1, 0.2108, 19.496),
            (3, 0.3869, 3.6689),
            (5, 0.4756, 2.5379),
            (10, 0.5895, 1.8432),
        ] {
            let got = mean_time_between_failures(failures as f64, failures, 0.90).unwrap();
            assert!((got.low / low - 1.0).abs() < 2e-4, "{failures}: {got:?}");
            assert!(
                (got.high.unwrap() / high - 1.0).abs() < 2e-4,
                "{failures}: {got:?}"
            );
        }
        for (level, low) in [(0.60, 1091.4), (0.90, 434.3), (0.95, 333.8)] {
            let got = mean_time_between_failures(1000.0, 0, level).unwrap();
            assert!((got.low / low - 1.0).abs() < 1e-4 && got.high.is_none());
        }
    }

    #[test]
    fn nonsense_is_refused_in_words() {
        assert!(wilson(0, 0, 0.95).is_err());
        assert!(wilson(3, 2, 0.95).is_err());
        assert!(wilson(1, 2, f64::NAN).is_err());
        let message = mean_time_between_failures(-1.0, 1, 0.9)
            .unwrap_err()
            .to_string();
        assert_eq!(
            message,
            "the running time is -1; accepted is above 0, to 1e12"
        );
        assert_eq!(Share::of(0, 0).value, None);
    }
}
