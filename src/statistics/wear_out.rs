//! Do parts wear out, and when is it cheapest to replace them by plan?

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use statrs::{
    distribution::{ContinuousCDF, Normal},
    function::gamma::{digamma, gamma_lr, ln_gamma},
};

use super::{
    Interval, StatisticsError,
    error::within,
    interval::normal_quantile,
    survival::{Life, accepted},
};

/// A Weibull distribution fitted to lives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weibull {
    /// Shape: above 1 wear-out, 1 random, below 1 early failures.
    pub shape: f64,
    /// Characteristic life: 63.2 % have failed by then.
    pub scale: f64,
    /// 95 % interval of the shape.
    pub shape_interval: Interval,
    /// 95 % interval of the scale.
    pub scale_interval: Interval,
    /// Log-likelihood.
    pub ln_likelihood: f64,
    /// Failures.
    pub failures: usize,
    /// Lives, failed or not.
    pub lives: usize,
    /// Covariance of ln shape and ln scale: variances, then covariance.
    covariance: [f64; 3],
}

impl Weibull {
    /// Mean life.
    pub fn mean(&self) -> f64 {
        self.scale * ln_gamma(1.0 + 1.0 / self.shape).exp()
    }

    /// 95 % interval of the mean life: the delta method on its logarithm, from the observed
    /// information of the fit.
    pub fn mean_interval(&self) -> Interval {
        let [shape, scale, both] = self.covariance;
        // How the logarithm of the mean moves with that of the shape; with that of the scale by 1.
        let slope = -digamma(1.0 + 1.0 / self.shape) / self.shape;
        let variance = (scale + slope * slope * shape + 2.0 * slope * both).max(0.0);
        let factor = (normal_quantile(0.975) * variance.sqrt()).exp();
        Interval {
            low: self.mean() / factor,
            high: self.mean() * factor,
        }
    }

    /// Standard deviation of lives.
    pub fn deviation(&self) -> f64 {
        let (one, two) = (1.0 / self.shape, 2.0 / self.shape);
        let square = (ln_gamma(1.0 + two).exp() - (2.0 * ln_gamma(1.0 + one)).exp()).max(0.0);
        self.scale * square.sqrt()
    }

    /// Chance of a shape at least as far from 1 on either side if failures were random, by
    /// the normal approximation of its logarithm.
    pub fn p_random(&self) -> f64 {
        let deviation = self.covariance[0].sqrt();
        let z = self.shape.ln() / deviation;
        (2.0 * Normal::standard().sf(z.abs())).min(1.0)
    }

    /// Share that outlives a time.
    pub fn survival(&self, time: f64) -> f64 {
        survival(self.shape, self.scale, time)
    }
}

/// Maximum likelihood with lives that have not ended (right-censored); intervals by the
/// observed information on the logarithms.
///
/// Source: NIST/SEMATECH e-Handbook 8.4.1.3.
///
/// # Errors
/// Fewer than 2 failures, a time that is not above 0, or lives without spread, for which
/// the shape has no maximum.
pub fn fit(lives: &[Life]) -> Result<Weibull, StatisticsError> {
    const WHAT: &str = "a Weibull fit";
    let lives = accepted(WHAT, lives, 2)?;
    let failed: Vec<f64> = lives
        .iter()
        .filter(|life| life.failed)
        .map(|life| life.time)
        .collect();
    if failed.len() < 2 {
        return Err(StatisticsError::TooFew {
            what: WHAT,
            needed: 2,
            given: failed.len(),
        });
    }
    let failures = failed.len() as f64;
    let longest = lives.iter().map(|life| life.time).fold(0.0, f64::max);
    let mean_ln = failed.iter().map(|time| (time / longest).ln()).sum::<f64>() / failures;
    // Times relative to the longest, so that powers neither over- nor underflow.
    let sums = |shape: f64| {
        lives.iter().fold([0.0; 3], |[zero, one, two], life| {
            let ln = (life.time / longest).ln();
            let power = (shape * ln).exp();
            [zero + power, one + power * ln, two + power * ln * ln]
        })
    };
    let slope = |shape: f64| {
        let [zero, one, _] = sums(shape);
        one / zero - 1.0 / shape - mean_ln
    };
    let (mut low, mut high) = (1e-3, 1e3);
    if slope(low) >= 0.0 || slope(high) <= 0.0 {
        return Err(StatisticsError::NotSettled { what: WHAT });
    }
    while high > low * (1.0 + 1e-14) {
        let middle = f64::sqrt(low * high);
        if middle <= low || middle >= high {
            break;
        }
        if slope(middle) < 0.0 {
            low = middle
        } else {
            high = middle
        }
    }
    let shape = f64::sqrt(low * high);
    let [zero, one, two] = sums(shape);
    let scale = longest * (zero / failures).powf(1.0 / shape);
    // Second derivatives in ln shape (a) and ln scale (b); at the maximum the powers
    // (t/scale)^shape add up to the number of failures.
    let shift = (scale / longest).ln();
    let factor = failures / zero;
    let first = factor * (one - shift * zero);
    let second = factor * (two - 2.0 * shift * one + shift * shift * zero);
    let failed_ln = failures * (mean_ln - shift);
    let aa = shape * (first - failed_ln) + shape * shape * second;
    let bb = shape * shape * failures;
    let ab = -shape * shape * first;
    let determinant = aa * bb - ab * ab;
    if !(determinant.is_finite() && determinant > 0.0) {
        return Err(StatisticsError::NotSettled { what: WHAT });
    }
    let covariance = [bb / determinant, aa / determinant, -ab / determinant];
    let z = normal_quantile(0.975);
    let around = |value: f64, variance: f64| {
        let factor = (z * variance.sqrt()).exp();
        Interval {
            low: value / factor,
            high: value * factor,
        }
    };
    let ln_likelihood = failures * (shape.ln() - shape * scale.ln())
        + (shape - 1.0) * failed.iter().map(|time| time.ln()).sum::<f64>()
        - failures;
    Ok(Weibull {
        shape,
        scale,
        shape_interval: around(shape, covariance[0]),
        scale_interval: around(scale, covariance[1]),
        ln_likelihood,
        failures: failed.len(),
        lives: lives.len(),
        covariance,
    })
}

/// Whether to replace by plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Replacement {
    /// Do not plan: the shape does not stand clear of 1, so failures look random and a
    /// planned service prevents none of them.
    Random {
        /// The shape's interval, which holds 1.
        shape: Interval,
    },
    /// Do not plan: the part fails most often just after it was renewed, so that a planned
    /// service adds failures.
    Early {
        /// The shape's interval, which lies below 1.
        shape: Interval,
    },
    /// Replace at this age.
    Planned {
        /// Age at which the long-run cost is least.
        age: f64,
        /// 95 % interval of it, from the uncertainty of the fit.
        interval: Interval,
        /// Cost for each unit of time when replaced at this age.
        cost_rate: f64,
        /// The same when replaced only at failure.
        cost_rate_unplanned: f64,
        /// 95 % intervals of both and of what the plan saves, from the uncertainty of the fit.
        costs: CostSpread,
    },
}

/// 95 % intervals of costs for each unit of time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CostSpread {
    /// When replaced at the age planned.
    pub planned: Interval,
    /// When replaced only at failure.
    pub unplanned: Interval,
    /// What the plan saves; below 0 it costs more.
    pub saved: Interval,
}

/// Age replacement of least long-run cost; costs in any one unit.
///
/// Source: Barlow and Proschan, Mathematical Theory of Reliability (1965), chapter 4 (from
/// memory): cost over time is `(planned R + failure (1 - R)) / ∫R`.
///
/// # Errors
/// A cost that is not above 0; a failure that costs no more than a planned service, for
/// which planning never pays.
pub fn age_replacement(
    weibull: &Weibull,
    planned_cost: f64,
    failure_cost: f64,
) -> Result<Replacement, StatisticsError> {
    within(
        "the cost of a planned service",
        planned_cost,
        f64::MIN_POSITIVE,
        1e12,
        "above 0, to 1e12",
    )?;
    within(
        "the cost of a failure",
        failure_cost,
        planned_cost * (1.0 + 1e-9),
        1e12,
        "above the cost of a planned service",
    )?;
    let shape = weibull.shape_interval;
    if shape.high < 1.0 {
        return Ok(Replacement::Early { shape });
    }
    if shape.low <= 1.0 {
        return Ok(Replacement::Random { shape });
    }
    let ratio = planned_cost / (failure_cost - planned_cost);
    let age = best_age(weibull.shape, weibull.scale, ratio);
    let unsettled = || StatisticsError::NotSettled {
        what: "an interval of the age of least cost",
    };
    let draws = drawn(weibull);
    let ages = draws
        .iter()
        .filter(|(shape, _)| *shape > 1.0)
        .map(|(shape, scale)| best_age(*shape, *scale, ratio));
    let costs = (planned_cost, failure_cost);
    let drawn_rates: Vec<(f64, f64)> = draws
        .iter()
        .map(|(shape, scale)| rates(*shape, *scale, age, costs))
        .collect();
    let (cost_rate, cost_rate_unplanned) = rates(weibull.shape, weibull.scale, age, costs);
    Ok(Replacement::Planned {
        age,
        interval: central(ages.collect()).ok_or_else(unsettled)?,
        cost_rate,
        cost_rate_unplanned,
        costs: spread_of(&drawn_rates).ok_or_else(unsettled)?,
    })
}

/// Costs for each unit of time: when replaced at an age, and only at failure.
fn rates(shape: f64, scale: f64, age: f64, (planned, failure): (f64, f64)) -> (f64, f64) {
    let outlive = survival(shape, scale, age);
    let mean = scale * ln_gamma(1.0 + 1.0 / shape).exp();
    (
        (planned * outlive + failure * (1.0 - outlive)) / running(shape, scale, age),
        failure / mean,
    )
}

/// The central 95 % of numbers; none without one.
fn central(mut numbers: Vec<f64>) -> Option<Interval> {
    let last = numbers.len().checked_sub(1)?;
    numbers.sort_by(f64::total_cmp);
    let at = |chance: f64| numbers[(chance * last as f64).round() as usize];
    Some(Interval {
        low: at(0.025),
        high: at(0.975),
    })
}

fn spread_of(rates: &[(f64, f64)]) -> Option<CostSpread> {
    let of = |rate: fn(&(f64, f64)) -> f64| central(rates.iter().map(rate).collect());
    Some(CostSpread {
        planned: of(|rates| rates.0)?,
        unplanned: of(|rates| rates.1)?,
        saved: of(|rates| rates.1 - rates.0)?,
    })
}

/// What a bootstrap says of the age of least cost.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AgeSpread {
    /// Resamples that could be fitted.
    pub fitted: usize,
    /// Lower limit of the central 95 %.
    pub low: f64,
    /// Upper limit; none where more than 2.5 % of the resamples do not plan at all.
    pub high: Option<f64>,
    /// Share of the resamples in which no planned service pays.
    pub never: f64,
    /// Spread of the costs when replaced at the age asked about.
    pub costs: CostSpread,
}

/// Resamples whole tools with their lives (percentile bootstrap; Efron and Tibshirani, An
/// Introduction to the Bootstrap (1993), chapter 13, from memory), fits each resample, and
/// gives the spread of the age of least cost, and of the costs at `age`. The draws are the same on every call. None
/// without two tools, above 3,000 lives (where the fit's own uncertainty is as good), or
/// where fewer than half of the resamples can be fitted.
pub fn bootstrap_age(
    tools: &[Vec<Life>],
    planned_cost: f64,
    failure_cost: f64,
    age: f64,
) -> Option<AgeSpread> {
    const RESAMPLES: usize = 200;
    const LIVES: usize = 3000;
    let lives: usize = tools.iter().map(Vec::len).sum();
    let sound = planned_cost > 0.0 && failure_cost > planned_cost && failure_cost <= 1e12;
    if tools.len() < 2 || lives > LIVES || !sound {
        return None;
    }
    let ratio = planned_cost / (failure_cost - planned_cost);
    let mut rng = ChaCha8Rng::seed_from_u64(1993);
    let fits: Vec<Weibull> = (0..RESAMPLES)
        .filter_map(|_| {
            let drawn: Vec<Life> = tools
                .iter()
                .flat_map(|_| tools[rng.random_range(0..tools.len())].iter().copied())
                .collect();
            fit(&drawn).ok()
        })
        .collect();
    if 2 * fits.len() < RESAMPLES {
        return None;
    }
    let ages = fits.iter().map(|fitted| {
        if fitted.shape > 1.0 {
            best_age(fitted.shape, fitted.scale, ratio)
        } else {
            f64::INFINITY
        }
    });
    let Interval { low, high } = central(ages.collect())?;
    let costs: Vec<_> = fits
        .iter()
        .map(|fitted| {
            rates(
                fitted.shape,
                fitted.scale,
                age,
                (planned_cost, failure_cost),
            )
        })
        .collect();
    let never = fits.iter().filter(|fitted| fitted.shape <= 1.0).count();
    Some(AgeSpread {
        fitted: fits.len(),
        low: Some(low).filter(|age| age.is_finite())?,
        high: Some(high).filter(|age| age.is_finite()),
        never: never as f64 / fits.len() as f64,
        costs: spread_of(&costs)?,
    })
}

/// Shapes and scales drawn from the normal approximation of the fit, a fixed stream.
fn drawn(weibull: &Weibull) -> Vec<(f64, f64)> {
    const DRAWS: usize = 400;
    let [shape, scale, both] = weibull.covariance;
    let first = shape.sqrt();
    let mixed = both / first;
    let second = (scale - mixed * mixed).max(0.0).sqrt();
    let mut rng = ChaCha8Rng::seed_from_u64(189);
    let mut normal = || normal_quantile(rng.random_range(1e-9..1.0 - 1e-9));
    (0..DRAWS)
        .map(|_| {
            let (a, b) = (normal(), normal());
            (
                weibull.shape * (first * a).exp(),
                weibull.scale * (mixed * a + second * b).exp(),
            )
        })
        .collect()
}

/// Where hazard times mean running time less the chance of failure reaches `ratio`; the
/// left side rises from 0 without bound for a shape above 1.
fn best_age(shape: f64, scale: f64, ratio: f64) -> f64 {
    let excess = |age: f64| {
        let hazard = shape / scale * (age / scale).powf(shape - 1.0);
        hazard * running(shape, scale, age) - (1.0 - survival(shape, scale, age)) - ratio
    };
    let (mut low, mut high) = (scale * 1e-9, scale);
    while excess(high) < 0.0 && high < scale * 1e9 {
        high *= 2.0;
    }
    for _ in 0..200 {
        let middle = low + (high - low) / 2.0;
        if excess(middle) < 0.0 {
            low = middle
        } else {
            high = middle
        }
    }
    low + (high - low) / 2.0
}

fn survival(shape: f64, scale: f64, time: f64) -> f64 {
    (-(time.max(0.0) / scale).powf(shape)).exp()
}

/// Mean time in service up to an age: the integral of the survival.
fn running(shape: f64, scale: f64, age: f64) -> f64 {
    let power = (age / scale).powf(shape);
    scale * ln_gamma(1.0 + 1.0 / shape).exp() * gamma_lr(1.0 / shape, power)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::reference::{close, lives, reference};

    /// NIST/SEMATECH e-Handbook 8.4.1.3: 10 failures, 10 lives censored at 500.
    #[test]
    fn the_fit_agrees_with_the_handbook() {
        let failed = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386].map(f64::from);
        let mut lives = failed.map(|time| Life { time, failed: true }).to_vec();
        lives.extend(
            [Life {
                time: 500.0,
                failed: false,
            }; 10],
        );
        let fitted = fit(&lives).unwrap();
        assert!((fitted.scale / 606.528 - 1.0).abs() < 1e-4, "{fitted:?}");
        assert!((fitted.shape / 1.7208 - 1.0).abs() < 1e-4);
        assert!((fitted.ln_likelihood + 75.135).abs() < 1e-3);
        assert!((fitted.mean() / 540.737 - 1.0).abs() < 1e-4);
        assert!((fitted.deviation() / 323.806 - 1.0).abs() < 1e-4);
    }

    #[test]
    fn fits_agree_with_lifelines() {
        for case in reference()["lives"].as_array().unwrap() {
            let fitted = fit(&lives(case)).unwrap();
            let want = &case["weibull"];
            close(fitted.shape, &want["shape"], 1e-5);
            close(fitted.scale, &want["scale"], 1e-5);
            close(fitted.ln_likelihood, &want["ln_likelihood"], 1e-6);
            close(
                fitted.covariance[0].sqrt(),
                &want["deviation_ln_shape"],
                1e-3,
            );
            close(
                fitted.covariance[1].sqrt(),
                &want["deviation_ln_scale"],
                1e-3,
            );
            close(fitted.mean(), &want["mean"], 1e-5);
            close(fitted.mean_interval().low, &want["mean_low"], 1e-3);
            close(fitted.mean_interval().high, &want["mean_high"], 1e-3);
        }
    }

    #[test]
    fn ages_agree_with_a_minimisation_by_scipy() {
        for case in reference()["replacement"].as_array().unwrap() {
            let value = |name: &str| case[name].as_f64().unwrap();
            let (shape, scale) = (value("shape"), value("scale"));
            let weibull = Weibull {
                shape,
                scale,
                shape_interval: Interval {
                    low: 0.9 * shape,
                    high: 1.1 * shape,
                },
                scale_interval: Interval {
                    low: 0.9 * scale,
                    high: 1.1 * scale,
                },
                ln_likelihood: 0.0,
                failures: 50,
                lives: 50,
                covariance: [0.002, 0.002, 0.0],
            };
            let got = age_replacement(&weibull, value("planned"), value("failure")).unwrap();
            let Replacement::Planned {
                age,
                interval,
                cost_rate,
                cost_rate_unplanned,
                costs,
            } = got
            else {
                panic!("{got:?}");
            };
            close(age, &case["age"], 1e-5);
            close(cost_rate, &case["cost_rate"], 1e-9);
            assert!(cost_rate < cost_rate_unplanned);
            assert!(interval.low < age && age < interval.high);
            assert!(costs.planned.low < cost_rate && cost_rate < costs.planned.high);
            assert!(costs.saved.low < cost_rate_unplanned - cost_rate);
        }
    }

    /// Both ways to the uncertainty of the age have to agree where there are many lives.
    #[test]
    fn the_bootstrap_agrees_with_the_fit_and_knows_when_not_to_plan() {
        let tools = |shape: f64| -> Vec<Vec<Life>> {
            let life = |at: usize| Life {
                time: 1000.0 * (-(1.0 - (at as f64 + 0.5) / 150.0f64).ln()).powf(1.0 / shape),
                failed: !at.is_multiple_of(7),
            };
            // A step that shares no factor with 150 mixes short and long lives.
            (0..50)
                .map(|tool| (0..3).map(|n| life((tool * 3 + n) * 61 % 150)).collect())
                .collect()
        };
        let worn = tools(2.5);
        let lives: Vec<Life> = worn.iter().flatten().copied().collect();
        let plan = age_replacement(&fit(&lives).unwrap(), 1.0, 6.0).unwrap();
        let Replacement::Planned {
            age,
            interval,
            costs,
            ..
        } = plan
        else {
            panic!("{plan:?}");
        };
        let spread = bootstrap_age(&worn, 1.0, 6.0, age).unwrap();
        for (one, other) in [
            (spread.costs.planned, costs.planned),
            (spread.costs.unplanned, costs.unplanned),
            (spread.costs.saved, costs.saved),
        ] {
            let width = other.high - other.low;
            assert!(
                (one.low - other.low).abs() < 0.3 * width,
                "{one:?} {other:?}"
            );
            assert!(
                (one.high - other.high).abs() < 0.3 * width,
                "{one:?} {other:?}"
            );
        }
        assert!(spread.low < age && age < spread.high.unwrap());
        assert!(
            (spread.low / interval.low - 1.0).abs() < 0.1,
            "{spread:?} {interval:?}"
        );
        assert!((spread.high.unwrap() / interval.high - 1.0).abs() < 0.1);
        assert_eq!(spread.never, 0.0);
        let random = bootstrap_age(&tools(1.0), 1.0, 6.0, 400.0);
        assert!(random.is_none_or(|spread| spread.never > 0.1), "{random:?}");
        assert_eq!(bootstrap_age(&worn, 6.0, 1.0, 400.0), None);
        assert_eq!(bootstrap_age(&worn[..1], 1.0, 6.0, 400.0), None);
    }

    #[test]
    fn random_failures_are_not_planned_for_and_nonsense_is_refused() {
        // Quantiles of an exponential life.
        let lives: Vec<Life> = (1..40)
            .map(|at| Life {
                time: -100.0 * (1.0 - f64::from(at) / 40.0).ln(),
                failed: true,
            })
            .collect();
        let fitted = fit(&lives).unwrap();
        assert!((fitted.shape - 1.0).abs() < 0.1);
        let plan = age_replacement(&fitted, 1.0, 5.0).unwrap();
        assert!(matches!(plan, Replacement::Random { .. }));
        // The same with a shape of a half: the interval lies below 1.
        let early: Vec<Life> = lives
            .iter()
            .map(|life| Life {
                time: life.time.powi(2) / 100.0,
                ..*life
            })
            .collect();
        let plan = age_replacement(&fit(&early).unwrap(), 1.0, 5.0).unwrap();
        assert!(matches!(plan, Replacement::Early { shape } if shape.high < 1.0));
        assert!(age_replacement(&fitted, 5.0, 1.0).is_err());
        assert!(fit(&lives[..1]).is_err());
        let same = [Life {
            time: 5.0,
            failed: true,
        }; 4];
        assert!(fit(&same).is_err());
        assert!(
            fit(&[Life {
                time: 0.0,
                failed: true
            }; 4])
            .is_err()
        );
    }
}
