//! A reading that stops falling at a sharp corner, as that of a gauge at its limit.
//!
//! A gauge that rests reads `max(p, limit)`; gas reads `p + floor`, which comes to its floor slowly. Where the fall
//! is a power of time or an exponential, the time from twice the level to 1.1 times it is, by the time from four times
//! to twice, at least 1.5 times as long as with a sharp corner (worked out from the three curves).

use super::interruption::{READINGS, middle};
use super::late::{LATE_BEGINS, fitted, part};
use super::pumping_begins;
use super::track::Track;
use crate::vacuum::gauge::PIRANI_LIMIT;
use crate::vacuum::log::{StoodStill, TidyRecord};

/// Where a reading stops.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stop {
    /// Seconds since pumping began.
    pub seconds: f64,
    /// The reading there, Pa.
    pub pascals: f64,
}

impl Stop {
    /// Whether the reading is where a heat-loss gauge that reads alone rests, as
    /// [`crate::vacuum::gauge::judge`] takes it.
    pub fn is_at_heat_loss_limit(&self) -> bool {
        PIRANI_LIMIT.contains(&self.pascals)
    }
}

/// Least `ln` of the time over which the reading stands, by the time since pumping began.
const STANDS: f64 = 0.4;
/// A corner is sharper than this: a gauge's has 1, gas comes to its floor at 1.5 or more.
const SHARP: f64 = 1.4;
/// A corner that is told apart lies over this many block means.
const BLOCKS: usize = 4;
/// The deviance by which the fit with a corner is better than that with a floor.
const BETTER: f64 = 10.0;

/// From where on the reading of a record in order stands at a limit; `None` where it comes to its level as gas does.
pub(super) fn stops_at_limit(record: &TidyRecord) -> Option<Stop> {
    let corner = corner(record)?;
    let stop = Stop {
        seconds: corner.seconds,
        pascals: corner.level,
    };
    if corner.level >= LATE_BEGINS || corner.sharpness > SHARP {
        return None;
    }
    // Where it falls to its level within a few readings, gas and a gauge look alike but for where they end.
    let part = part(record)?;
    let begins_at = part.between.0 - part.origin;
    if corner.blocks < BLOCKS || corner.seconds < 1.3 * begins_at {
        return stop.is_at_heat_loss_limit().then_some(stop);
    }
    (fitted(&part).corner_better_by >= BETTER).then_some(stop)
}

/// How a record comes to its last level.
struct Corner {
    level: f64,
    /// Seconds since pumping began from which it stays within 1.1 times the level.
    seconds: f64,
    /// By how much longer it takes from twice to 1.1 times the level than with a sharp corner.
    sharpness: f64,
    /// Block means from four times the level to 1.1 times.
    blocks: usize,
}

fn corner(record: &TidyRecord) -> Option<Corner> {
    let track = Track::whole(record)?;
    let points: Vec<(f64, f64)> = track
        .points
        .into_iter()
        .filter(|(time, _)| *time > 0.0)
        .map(|(time, log)| (time.ln(), log))
        .collect();
    let end = points.last()?.0;
    let tail: Vec<f64> = points
        .iter()
        .filter(|(time, _)| *time > end - STANDS)
        .map(|(_, log)| *log)
        .collect();
    if tail.len() < 5 {
        return None;
    }
    let level = tail.iter().sum::<f64>() / tail.len() as f64;
    let mut crossings = Crossings::of(&points, level)?;
    let blocks = crossings.last - crossings.first;
    if blocks < BLOCKS {
        // Block means are too wide for a fall as quick as that.
        let from = points[crossings.first.saturating_sub(1)].0;
        let to = points[(crossings.last + 2).min(points.len() - 1)].0;
        crossings = Crossings::of(&middles(record, from..=to), level).unwrap_or(crossings);
    }
    let Crossings {
        four, two, near, ..
    } = crossings;
    if end - near < STANDS || two <= four {
        return None;
    }
    Some(Corner {
        level: level.exp(),
        seconds: near.exp(),
        sharpness: (near - two) / ((two - four) * (2.0f64 / 1.1).ln() / 2.0f64.ln()),
        blocks,
    })
}

/// `ln` of the last times above 4, 2 and 1.1 times a level, and the points at which the first and the last of them lie.
struct Crossings {
    four: f64,
    two: f64,
    near: f64,
    first: usize,
    last: usize,
}

impl Crossings {
    /// Of points in `ln t` and `ln p`.
    fn of(points: &[(f64, f64)], level: f64) -> Option<Self> {
        let last_above = |multiple: f64| {
            let limit = level + multiple.ln();
            let index = points.iter().rposition(|(_, log)| *log > limit)?;
            let (here, next) = (points[index], points.get(index + 1)?);
            let share = (here.1 - limit) / (here.1 - next.1);
            Some((index, here.0 + share * (next.0 - here.0)))
        };
        let (first, four) = last_above(4.0)?;
        let (_, two) = last_above(2.0)?;
        let (last, near) = last_above(1.1)?;
        Some(Self {
            four,
            two,
            near,
            first,
            last,
        })
    }
}

/// Middle ones of five neighbouring readings between two times, as points in `ln t` and `ln p`.
fn middles(record: &TidyRecord, log_times: std::ops::RangeInclusive<f64>) -> Vec<(f64, f64)> {
    let begins = pumping_begins(record);
    let origin = record.seconds[begins];
    record.pascals[begins..]
        .windows(READINGS)
        .zip(&record.seconds[begins + READINGS / 2..])
        .map(|(readings, time)| ((time - origin).ln(), middle(readings).ln()))
        .filter(|(log_time, _)| log_times.contains(log_time))
        .collect()
}

/// The share of the time since pumping began over which a reading that stood still to the end was left out.
const LEFT_OUT: f64 = 0.2;

/// From where on readings that stood still were left out to the end, where that is a fifth of the time and more: what
/// came then was not seen.
pub(super) fn left_out_at_end(record: &TidyRecord) -> Option<Stop> {
    let origin = *record.seconds.get(pumping_begins(record))?;
    let still = record.stood_still.last()?;
    let (end, last) = (still.between.1, *record.seconds.last()?);
    (end - last > LEFT_OUT * (end - origin)).then_some(Stop {
        seconds: last - origin,
        pascals: still.pascals,
    })
}

/// Fewest equal readings in which a gauge rests.
const RESTS: usize = 20;

/// Where a heat-loss gauge rested at its limit before the end, as one that reads alone until a cathode has struck: the
/// longest such time, in seconds since pumping began.
pub(super) fn rested(record: &TidyRecord) -> Option<(Stop, f64)> {
    let origin = *record.seconds.get(pumping_begins(record))?;
    let last = *record.seconds.last()?;
    let long = |still: &StoodStill| still.between.1 - still.between.0;
    let mut stood = record.stood_still.clone();
    let mut from = 0;
    for run in record.pascals.chunk_by(|one, next| one == next) {
        if run.len() >= RESTS {
            stood.push(StoodStill {
                between: (record.seconds[from], record.seconds[from + run.len() - 1]),
                pascals: run[0],
            });
        }
        from += run.len();
    }
    let still = stood
        .into_iter()
        .filter(|still| PIRANI_LIMIT.contains(&still.pascals) && still.between.1 < last)
        .max_by(|one, other| long(one).total_cmp(&long(other)))?;
    let stop = Stop {
        seconds: still.between.0 - origin,
        pascals: still.pascals,
    };
    Some((stop, still.between.1 - origin))
}

/// From where on the last fifth of the readings, 20 at least, are all the same.
pub(super) fn repeats_at_end(record: &TidyRecord) -> Option<Stop> {
    let count = (record.pascals.len() / 5).max(20);
    let from = record.pascals.len().checked_sub(count)?;
    let last = *record.pascals.last()?;
    if record.pascals[from..]
        .iter()
        .any(|pressure| *pressure != last)
    {
        return None;
    }
    let first = record
        .pascals
        .iter()
        .rposition(|pressure| *pressure != last)
        .map_or(0, |index| index + 1);
    let origin = record.seconds[pumping_begins(record)];
    Some(Stop {
        seconds: (record.seconds[first] - origin).max(0.0),
        pascals: last,
    })
}
