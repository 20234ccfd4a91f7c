//! A pressure rise held against that of the same tool when it was healthy.
//!
//! Two gas loads (whole rise times volume over time) are compared by their 95 % intervals. The
//! rule is `held_against`; its cuts are common practice, no source. Which test counts as the
//! healthy one is for whoever asks: the web takes the newest kept one made after a fix.

use serde::{Deserialize, Serialize};

use crate::vacuum::rise::Interval;
use crate::vacuum::units::{FlowTemperatures, TypedThroughput};

use super::FieldErrors;

/// The widest interval, upper over lower end, that can agree with anything.
const WIDEST: f64 = 2.0;
/// How much longer one test may be than the other: gas from inside slows, so that a longer test
/// of the same tool gives less in the mean.
const LONGER: f64 = 2.0;
/// How many times the healthy gas load, beyond both intervals, is faster for certain: healthy
/// tests of one tool differ by more than their intervals.
const FASTER: f64 = 2.0;

/// The gas load of the same tool when it was healthy.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HealthyRise {
    /// Lower end of its interval.
    pub low: TypedThroughput,
    /// Upper end of its interval.
    pub high: TypedThroughput,
    /// How long that test was, in seconds; not compared unless given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub seconds: Option<f64>,
    /// The incident with which that test is kept, if it is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub incident: Option<i64>,
    /// Its number as a kept calculation, if it is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub calculation: Option<i64>,
}

/// The same as plain numbers: Pa·m³/s, the lower end above zero and not above the upper.
#[derive(Clone, Copy, Debug)]
pub(super) struct Healthy {
    low: f64,
    high: f64,
    given: HealthyRise,
}

impl HealthyRise {
    /// The ends in Pa·m³/s; none with the errors noted.
    pub(super) fn checked(self, errors: &mut FieldErrors) -> Option<Healthy> {
        let mut end = |field: &str, typed: TypedThroughput| {
            errors
                .take(
                    field,
                    "a finite number above zero",
                    typed.throughput(FlowTemperatures::default()),
                )
                .map(|rate| rate.pascal_cubic_metres_per_second())
        };
        let low = end("healthy.low", self.low);
        let high = end("healthy.high", self.high);
        let (low, high) = (low?, high?);
        if low <= 0.0 || low > high {
            errors.refuse(
                "healthy.low",
                "the lower end is zero or above the upper",
                "a number above zero, at most the upper end",
            );
            return None;
        }
        if self.seconds.is_some_and(|s| !(s.is_finite() && s > 0.0)) {
            errors.refuse(
                "healthy.seconds",
                "is no length of a test",
                "a finite number above zero",
            );
            return None;
        }
        Some(Healthy {
            low,
            high,
            given: self,
        })
    }
}

impl Healthy {
    /// Whether a rate in Pa·m³/s is faster, for certain, than all that came on the healthy tool.
    pub(super) fn is_far_below(&self, rate: f64) -> bool {
        rate > FASTER * self.high
    }
}

/// How a rise compares with that of the healthy tool.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Compared {
    /// Whether it is as on the healthy tool; none where that cannot be told.
    pub(super) as_healthy: Option<bool>,
    /// Whether it is above that of the healthy tool beyond both intervals.
    pub(super) above: bool,
    /// The reason in words.
    pub(super) words: String,
}

/// How the rise compares with that of the healthy tool.
///
/// `load` is the gas load of the test in Pa·m³/s, `seconds` its length. *As healthy* (true) if the
/// interval meets that of the healthy tool or lies below it, neither is wider than a factor of
/// two, and neither test is more than twice as long as the other. *Faster* (false) if its lower
/// end is more than twice the upper end of the healthy tool. Anything between says nothing.
pub(super) fn held_against(load: Interval, seconds: f64, healthy: &Healthy) -> Compared {
    let mut shown = format!(
        "gas load {:.2e} to {:.2e} mbar·L/s, {} {:.2e} to {:.2e} (95 %)",
        10.0 * load.low,
        10.0 * load.high,
        match (healthy.given.calculation, healthy.given.incident) {
            (Some(_), Some(incident)) =>
                format!("after the fix of incident {incident} of this tool"),
            _ => "of the healthy tool as given".to_owned(),
        },
        10.0 * healthy.low,
        10.0 * healthy.high,
    );
    let length = healthy.given.seconds.map_or(1.0, |other| {
        f64::max(seconds, other) / f64::min(seconds, other)
    });
    let wide = |low: f64, high: f64| low <= 0.0 || high > WIDEST * low;
    let (as_healthy, words) = if load.low > FASTER * healthy.high {
        (
            Some(false),
            "the rise is more than twice as fast as on the healthy tool",
        )
    } else if load.low > healthy.high {
        (
            None,
            "the rise is faster than on the healthy tool, but by less than the factor of two by which healthy tests may differ",
        )
    } else if wide(load.low, load.high) || wide(healthy.low, healthy.high) {
        (
            None,
            "too uncertain to be held against the healthy tool: an interval is wider than a factor of two",
        )
    } else if length > LONGER {
        (
            None,
            "not held against the healthy tool: one test is more than twice as long as the other, and gas from inside slows",
        )
    } else {
        (
            Some(true),
            "the rise is no faster than on the healthy tool, within both intervals",
        )
    };
    if as_healthy == Some(true) {
        // A small new leak may hide within both intervals.
        shown.push_str(&format!(
            "; a new leak above {:.2e} mbar·L/s is excluded",
            10.0 * (load.high - healthy.low).max(0.0)
        ));
    }
    Compared {
        as_healthy,
        above: load.low > healthy.high,
        words: format!("{words}: {shown}"),
    }
}
