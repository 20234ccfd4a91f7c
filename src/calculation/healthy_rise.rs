//! A pressure rise held against that of the same tool when it was healthy.
//!
//! Two gas loads (whole rise times volume over time) are compared by their 95 % intervals. The
//! rule is `held_against`; its cuts are common practice, no source. Which test counts as the
//! healthy one is for whoever asks: the web takes the newest kept one made after a fix.

use serde::{Deserialize, Serialize};

use crate::vacuum::rise::Interval;
use crate::vacuum::units::{FlowTemperatures, Seconds, TimeUnit, Typed, TypedThroughput};

use super::FieldErrors;
use super::wet_walls::{LONGEST, SOONEST};

/// The widest interval, upper over lower end, that can agree with anything.
const WIDEST: f64 = 2.0;
/// How much longer one test may be than the other: gas from inside slows, so that a longer test
/// of the same tool gives less in the mean.
const LONGER: f64 = 2.0;
/// How many times the healthy gas load, beyond both intervals, is faster for certain: healthy
/// tests of one tool differ by more than their intervals.
const FASTER: f64 = 2.0;
/// The steepest fall of the gas of walls with the time of pumping, as an exponent (Dayton 1959; Chiggiato,
/// arXiv:1404.0960, have about 1; from memory).
const STEEPEST: f64 = 1.3;

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
    /// How long the chamber had been pumped before that test; walls give the less the longer.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pumped_for: Option<Typed<TimeUnit>>,
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
    /// Hours of pumping before it.
    hours: Option<f64>,
    given: HealthyRise,
}

impl HealthyRise {
    /// The ends in Pa·m³/s; none with the errors noted.
    pub(super) fn checked(self, errors: &mut FieldErrors) -> Option<Healthy> {
        let mut end = |field: &str, typed: TypedThroughput| {
            errors
                .made(field, typed, typed.throughput(FlowTemperatures::default()))
                .map(|rate| rate.pascal_cubic_metres_per_second())
        };
        let low = end("healthy.low", self.low);
        let high = end("healthy.high", self.high);
        let hours = match self.pumped_for {
            Some(time) => Some(errors.time("healthy.pumped_for", time)?.seconds() / 3600.0),
            None => None,
        };
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
            hours,
            given: self,
        })
    }
}

impl Healthy {
    /// Whether a rate in Pa·m³/s is faster, for certain, than all that came on the healthy tool, were it from
    /// walls that were pumped for a shorter time.
    pub(super) fn is_far_below(&self, rate: f64, pumped: Pumped) -> bool {
        rate > FASTER * self.high * self.walls_times(pumped)
    }

    /// Whether the walls of the healthy tool may give as much as a rate in Pa·m³/s, by what came there.
    pub(super) fn walls_may_give(&self, rate: f64, pumped: Pumped) -> bool {
        rate <= self.high * self.walls_times(pumped)
    }

    /// The same in words; `shape` says how the pressure rises.
    pub(super) fn walls_in_words(&self, shape: &str, pumped: Pumped) -> String {
        format!(
            "{shape}, but walls may give gas off as steadily: up to {:.1e} mbar·L/s came in on the healthy tool, so up to {:.1e} may come from walls that were pumped for a shorter time; what would decide: a test after as long a time of pumping as then, or nitrogen and argon in air's proportion in a mass spectrum",
            10.0 * self.high,
            10.0 * self.high * self.walls_times(pumped)
        )
    }

    /// How many times what they gave on the healthy tool its walls may give now. A time of pumping that is
    /// not known counts as what makes it most.
    fn walls_times(&self, pumped: Pumped) -> f64 {
        let now = pumped.at_least();
        let then = self.hours.unwrap_or(LONGEST);
        f64::max(1.0, then / now).powf(STEEPEST)
    }

    /// Whether the chamber was pumped for longer this time than a new leak would not hide in what walls give
    /// less; none where a time is not known.
    fn is_drier(&self, pumped: Pumped) -> Option<bool> {
        Some(pumped.hours? > LONGER * self.hours?)
    }
}

/// How long the chamber was pumped before a test, in hours, and how long the test took.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pumped {
    hours: Option<f64>,
    length: f64,
}

impl Pumped {
    /// Before a test of `length` seconds.
    pub(super) fn before(pumped: Option<Seconds>, length: f64) -> Self {
        Self {
            hours: pumped.map(|pumped| pumped.seconds() / 3600.0),
            length: length / 3600.0,
        }
    }

    /// The least hours there may have been.
    fn at_least(self) -> f64 {
        self.hours.unwrap_or(SOONEST.max(self.length)).max(0.1)
    }
}

/// How a rise compares with that of the healthy tool.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Compared {
    /// Whether it is as on the healthy tool; none where that cannot be told.
    pub(super) as_healthy: Option<bool>,
    /// Whether it is above that of the healthy tool beyond both intervals.
    pub(super) above: bool,
    /// Whether both tests are known to follow about as long a time of pumping, or this one a shorter.
    pub(super) pumped_alike: bool,
    /// The reason in words.
    pub(super) words: String,
}

/// How the rise compares with that of the healthy tool.
///
/// `load` is the gas load of the test in Pa·m³/s, `seconds` its length. *As healthy* (true) if the
/// interval meets that of the healthy tool or lies below it, neither is wider than a factor of
/// two, neither test is more than twice as long as the other, and the chamber was not pumped more than twice
/// as long. *Faster* (false) if its lower end is more than twice the upper end of the healthy tool, and of
/// what its walls may give after a shorter time of pumping. Anything between says nothing.
pub(super) fn held_against(
    load: Interval,
    seconds: f64,
    pumped: Option<Seconds>,
    healthy: &Healthy,
) -> Compared {
    let pumped = Pumped::before(pumped, seconds);
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
    let (as_healthy, words) = if healthy.is_far_below(load.low, pumped) {
        (
            Some(false),
            "the rise is more than twice as fast as on the healthy tool, even with walls pumped for no longer than now",
        )
    } else if load.low > FASTER * healthy.high {
        (
            None,
            if healthy.hours.is_some() && pumped.hours.is_some() {
                "the rise is more than twice as fast as on the healthy tool, but that was pumped for longer, and walls give more before"
            } else {
                "the rise is more than twice as fast as on the healthy tool, but how long both were pumped before is not known, and walls give the more the shorter that was"
            },
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
    } else if healthy.is_drier(pumped) == Some(true) {
        (
            None,
            "not held against the healthy tool: it was pumped more than twice as long this time, after which walls give less and a new leak may make up for it",
        )
    } else if load.high < healthy.low {
        (Some(true), "the rise is slower than on the healthy tool")
    } else {
        (
            Some(true),
            "the rise is no faster than on the healthy tool, within both intervals",
        )
    };
    if as_healthy == Some(true) {
        // A small new leak may hide within both intervals, and a larger one where walls give less than then.
        let as_wet = healthy.hours.zip(pumped.hours);
        let as_wet = as_wet.is_some_and(|(then, now)| now <= then) && load.high > healthy.low;
        let hidden = if as_wet {
            load.high - healthy.low
        } else {
            load.high
        };
        shown.push_str(&format!(
            "; a new leak above {:.2e} mbar·L/s is excluded",
            10.0 * hidden
        ));
        if FASTER * load.high < healthy.low {
            shown.push_str(
                "; it is less than half of it, so see whether volume, units and gauge are those of then",
            );
        }
        if healthy.hours.is_none() || pumped.hours.is_none() {
            shown.push_str(
                "; how long the chamber was pumped before both tests is not known, and it is taken to be about as long",
            );
        }
    }
    Compared {
        as_healthy,
        above: load.low > healthy.high,
        pumped_alike: healthy.is_drier(pumped) == Some(false),
        words: format!("{words}: {shown}"),
    }
}
