//! Lives of parts, some still running: the share that outlives an age.

use super::{Interval, StatisticsError, error::within, interval::normal_quantile};

/// One life: in hours, days or runs, as the caller likes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Life {
    /// How long it has lasted.
    pub time: f64,
    /// Whether it ended in failure; else it was still running, or replaced by plan.
    pub failed: bool,
}

/// The share that outlives a time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SurvivalStep {
    /// Time of one or more failures.
    pub time: f64,
    /// Lives at risk just before.
    pub at_risk: u64,
    /// Failures at this time.
    pub failures: u64,
    /// Share that outlives it.
    pub survival: f64,
    /// 95 % interval; none once nothing outlives it.
    pub interval: Option<Interval>,
}

/// Product-limit estimate with 95 % intervals by Greenwood's variance on the log-minus-log
/// scale.
///
/// Source: Kaplan and Meier, J. Am. Stat. Assoc. 53 (1958) 457; Kalbfleisch and Prentice
/// (1980) for the interval; NIST/SEMATECH e-Handbook 8.2.1.5.
///
/// # Errors
/// No life, or a time that is not above 0.
pub fn kaplan_meier(lives: &[Life]) -> Result<Vec<SurvivalStep>, StatisticsError> {
    let mut lives = accepted("a survival curve", lives, 1)?;
    lives.sort_by(|a, b| a.time.total_cmp(&b.time).then(b.failed.cmp(&a.failed)));
    let z = normal_quantile(0.975);
    let mut steps = Vec::new();
    let (mut survival, mut variance) = (1.0, 0.0);
    let mut at = 0;
    while at < lives.len() {
        let time = lives[at].time;
        let at_risk = (lives.len() - at) as u64;
        let same = lives[at..].iter().take_while(|life| life.time == time);
        let (count, failures) = same.fold((0, 0), |(count, failures), life| {
            (count + 1, failures + u64::from(life.failed))
        });
        at += count;
        if failures == 0 {
            continue;
        }
        let (risk, failed) = (at_risk as f64, failures as f64);
        survival *= 1.0 - failed / risk;
        let interval = (at_risk > failures).then(|| {
            variance += failed / (risk * (risk - failed));
            let ln: f64 = f64::ln(survival);
            let width = z * variance.sqrt() / ln;
            Interval {
                low: survival.powf((-width).exp()),
                high: survival.powf(width.exp()),
            }
        });
        steps.push(SurvivalStep {
            time,
            at_risk,
            failures,
            survival,
            interval,
        });
    }
    Ok(steps)
}

pub(super) fn accepted(
    what: &'static str,
    lives: &[Life],
    needed: usize,
) -> Result<Vec<Life>, StatisticsError> {
    if lives.len() < needed {
        return Err(StatisticsError::TooFew {
            what,
            needed,
            given: lives.len(),
        });
    }
    for life in lives {
        within(
            "a life",
            life.time,
            f64::MIN_POSITIVE,
            1e12,
            "above 0, to 1e12",
        )?;
    }
    Ok(lives.to_vec())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::reference::{close, lives, reference};

    /// NIST/SEMATECH e-Handbook 8.2.1.5, its data; estimates recomputed.
    #[test]
    fn the_curve_agrees_with_the_handbook() {
        let life = |time: f64, failed: bool| Life { time, failed };
        let mut lives = Vec::from([10.0, 32.0, 56.0, 98.0, 122.0, 181.0].map(|t| life(t, true)));
        lives.extend([50.0, 100.0, 125.0, 150.0].map(|t| life(t, false)));
        lives.extend([200.0; 10].map(|t| life(t, false)));
        let curve = kaplan_meier(&lives).unwrap();
        let want = [0.95, 0.90, 0.84706, 0.79412, 0.73739, 0.67036];
        for (step, want) in curve.iter().zip(want) {
            assert!((step.survival - want).abs() < 1e-5, "{step:?}");
        }
        assert_eq!(curve.len(), 6);
    }

    #[test]
    fn the_curve_agrees_with_lifelines() {
        for case in reference()["lives"].as_array().unwrap() {
            let curve = kaplan_meier(&lives(case)).unwrap();
            let want = case["kaplan_meier"].as_array().unwrap();
            assert_eq!(curve.len(), want.len());
            for (step, want) in curve.iter().zip(want) {
                close(step.time, &want["time"], 1e-12);
                close(step.survival, &want["survival"], 1e-9);
                if let Some(interval) = step.interval {
                    close(interval.low, &want["low"], 1e-9);
                    close(interval.high, &want["high"], 1e-9);
                }
            }
        }
    }

    #[test]
    fn nonsense_is_refused() {
        assert!(kaplan_meier(&[]).is_err());
        assert!(
            kaplan_meier(&[Life {
                time: -1.0,
                failed: true
            }])
            .is_err()
        );
        let all = kaplan_meier(&[Life {
            time: 1.0,
            failed: true,
        }])
        .unwrap();
        assert_eq!((all[0].survival, all[0].interval), (0.0, None));
    }
}
