//! What tells a lower pumping speed from a gauge that reads wrong, where both make the pressure a
//! multiple of the healthy one.
//!
//! A gauge or a log whose scale is off multiplies every reading, those at atmosphere too, and leaves
//! every rate as it was. Less speed lets the chamber's own air go more slowly, where the log is fast
//! enough to see it go: below the volume phase, where the high-vacuum pump works.

use super::fall::{Fall, fall};
use super::late::steep_until;
use super::pumping_begins;
use super::volume::{VOLUME_PHASE_ENDS, VolumePhase};
use crate::vacuum::log::TidyRecord;
use crate::vacuum::rise::Interval;

/// Standard deviation of the air pressure at one place from day to day, as a share (common practice,
/// no source).
const WEATHER: f64 = 0.015;
/// Rates and levels within this factor of one count as the healthy ones.
const ALIKE: f64 = 1.18;
/// A multiple and what it predicts agree within this factor beyond both intervals.
const AGREE: f64 = 1.1;
/// A rate that changes by more than this within its stretch is no rate.
const CHANGES: f64 = 1.6;
/// The fall is fitted down to this many times the pressure at which it ends, so that gas from the
/// walls does not count yet.
const ABOVE_WALLS: f64 = 10.0;

/// How the record compares with the healthy one where the two explanations differ.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Evidence {
    /// Readings at atmosphere over the healthy ones, 95 %; none if one record does not begin there.
    pub atmosphere: Option<Interval>,
    /// Rate at which the chamber's own air leaves below [`VOLUME_PHASE_ENDS`] over the healthy one,
    /// 95 %; none if one log is too slow to see it.
    pub fall: Option<Interval>,
}

impl Evidence {
    /// Compares both records.
    pub(super) fn of(
        (record, volume): (&TidyRecord, Option<&VolumePhase>),
        (healthy, healthy_volume): (&TidyRecord, Option<&VolumePhase>),
    ) -> Self {
        let level = |record, volume: Option<&VolumePhase>| atmosphere(record, volume?);
        Self {
            atmosphere: level(record, volume)
                .zip(level(healthy, healthy_volume))
                .map(|(now, then)| now.over(then)),
            fall: high_vacuum_fall(record)
                .zip(high_vacuum_fall(healthy))
                .and_then(|(now, then)| quotient(now.rate, then.rate)),
        }
    }

    /// Why less speed cannot be why the pressure is `factor` times the healthy one.
    pub(super) fn against_speed(&self, factor: Interval) -> Option<&'static str> {
        if factor.high < 1.0 {
            Some("the pressure is below the healthy one")
        } else if self.scale_shown(factor) {
            Some(OFF_AT_ATMOSPHERE)
        } else if self
            .fall
            .is_some_and(|fall| fall.low > ALIKE.recip() && !agree(fall, inverse(factor)))
        {
            Some("the chamber's own air leaves as fast as on the healthy tool")
        } else {
            None
        }
    }

    /// Why a gauge's scale cannot be why.
    pub(super) fn against_scale(&self) -> Option<&'static str> {
        self.fall
            .is_some_and(|fall| fall.high < ALIKE.recip())
            .then_some(AIR_IS_SLOWER)
    }

    /// Why gas or the zero of a gauge cannot be why, where a multiple by `factor` would be.
    pub(super) fn against_gas(&self, factor: Interval) -> Option<&'static str> {
        let slower = |fall: Interval| fall.high < ALIKE.recip() && agree(fall, inverse(factor));
        if self.fall.is_some_and(slower) {
            Some(AIR_IS_SLOWER)
        } else {
            self.scale_shown(factor).then_some(OFF_AT_ATMOSPHERE)
        }
    }

    fn scale_shown(&self, factor: Interval) -> bool {
        self.atmosphere.is_some_and(|level| {
            (level.low > ALIKE || level.high < ALIKE.recip()) && agree(level, factor)
        })
    }
}

const OFF_AT_ATMOSPHERE: &str = "the readings at atmosphere are off by the same factor";
const AIR_IS_SLOWER: &str = "the chamber's own air leaves more slowly, which is a matter of speed";

/// Upper bound below which no heat-loss gauge shows a zero that is off, Pa: below half of the lowest
/// reading of such gauges (1e-4 Torr); ion gauges have no such zero (common practice, no source).
pub(super) const LEAST_ZERO: f64 = 6e-3;

/// A mean of `ln p` with its standard deviation.
#[derive(Clone, Copy)]
struct Level {
    log: f64,
    deviation: f64,
}

impl Level {
    fn over(self, other: Self) -> Interval {
        let half = 1.96
            * (self.deviation.powi(2) + other.deviation.powi(2) + 2.0 * WEATHER.powi(2)).sqrt();
        let log = self.log - other.log;
        Interval {
            best: log.exp(),
            low: (log - half).exp(),
            high: (log + half).exp(),
        }
    }
}

/// The readings at atmosphere: those before the line of the volume phase leaves their mean, 3 at
/// least.
fn atmosphere(record: &TidyRecord, volume: &VolumePhase) -> Option<Level> {
    let begins = pumping_begins(record);
    let highest = record.pascals[..=begins]
        .iter()
        .copied()
        .fold(0.0, f64::max);
    let rate = volume.speed_over_volume.best;
    if highest < 1e4 || rate <= 0.0 {
        return None;
    }
    let mut log = highest.ln();
    let mut deviation = 0.0;
    for _ in 0..8 {
        let leaves = volume.between.0 - (log - volume.log_at_start) / rate;
        let before: Vec<f64> = record
            .seconds
            .iter()
            .zip(&record.pascals)
            .filter(|(time, pressure)| **time < leaves && **pressure > 0.5 * highest)
            .map(|(_, pressure)| pressure.ln())
            .collect();
        let count = before.len() as f64;
        if count < 3.0 {
            return None;
        }
        log = before.iter().sum::<f64>() / count;
        let squares: f64 = before.iter().map(|one| (one - log).powi(2)).sum();
        deviation = (squares / (count - 1.0) / count).sqrt();
    }
    Some(Level { log, deviation })
}

/// The fall from [`VOLUME_PHASE_ENDS`] to well above the pressure at which gas from the walls takes
/// over; `None` where the log is too slow for it or the rate changes.
fn high_vacuum_fall(record: &TidyRecord) -> Option<Fall> {
    let begins = pumping_begins(record);
    let start = *record.seconds.get(begins)?;
    let from = begins
        + record.pascals[begins..]
            .iter()
            .rposition(|pressure| *pressure >= VOLUME_PHASE_ENDS)?
        + 1;
    let ends = start + steep_until(record, begins);
    let end = record.seconds.partition_point(|time| *time < ends);
    let least = ABOVE_WALLS * record.pascals.get(end)?;
    let length = record
        .pascals
        .get(from..end)?
        .iter()
        .position(|pressure| *pressure < least)
        .unwrap_or(end - from);
    let fall = fall(
        &record.seconds[from..from + length],
        &record.pascals[from..from + length],
    )?;
    (CHANGES.recip()..=CHANGES)
        .contains(&fall.later_over_earlier)
        .then_some(fall)
}

/// One over the other, with the ends of the quotient of independent intervals.
pub(super) fn quotient(now: Interval, then: Interval) -> Option<Interval> {
    if now.low <= 0.0 || then.low <= 0.0 {
        return None;
    }
    let best = now.best / then.best;
    let below = ((now.best / now.low).ln().powi(2) + (then.high / then.best).ln().powi(2)).sqrt();
    let above = ((now.high / now.best).ln().powi(2) + (then.best / then.low).ln().powi(2)).sqrt();
    Some(Interval {
        best,
        low: best * (-below).exp(),
        high: best * above.exp(),
    })
}

fn inverse(interval: Interval) -> Interval {
    Interval {
        best: interval.best.recip(),
        low: interval.high.recip(),
        high: interval.low.recip(),
    }
}

fn agree(one: Interval, other: Interval) -> bool {
    one.low <= AGREE * other.high && other.low <= AGREE * one.high
}
