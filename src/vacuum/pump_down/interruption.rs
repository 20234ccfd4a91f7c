//! A pressure that rises in high vacuum, and falls again or does not: a pump that stopped, a valve that shut, gas let in.
//!
//! Such a record is no pump-down from one start, so no power law of the time holds over it.

use super::late::LATE_BEGINS;
use super::pumping_begins;
use crate::vacuum::log::TidyRecord;

/// A rise by at least three times in high vacuum that fell again by as much, or by ten and more to the end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interruption {
    /// Seconds since pumping began of the first rise and the last fall, or the end.
    pub between: (f64, f64),
    /// The most that the pressure was over its lowest before.
    pub factor: f64,
    /// How many times it rose.
    pub count: usize,
    /// Whether it fell again after the last time; else it was up at the end of the record.
    pub is_over: bool,
}

/// A rise by this factor is none of the usual pump-down (common practice, no source).
const ROSE: f64 = 3.0;
/// A leak that opens or gas that is let in raises the pressure for good; where it does so by this factor, what was fitted
/// before is none of the end (common practice, no source).
const ROSE_FOR_GOOD: f64 = 10.0;
/// Readings whose middle one counts, so that up to two wild ones do not.
pub(super) const READINGS: usize = 5;
/// Two records that rose within this factor of the same times, and to within [`ROSE`] of each other, were treated
/// alike, as where both were baked (common practice, no source).
const ALIKE: f64 = 1.25;

impl Interruption {
    /// Whether both records rose at about the same times by about as much.
    pub(super) fn is_like(&self, other: &Self) -> bool {
        let within =
            |one: f64, other: f64, factor: f64| (factor.recip()..=factor).contains(&(one / other));
        within(self.between.0, other.between.0, ALIKE)
            && within(self.between.1, other.between.1, ALIKE)
            && within(self.factor, other.factor, ROSE)
            && self.is_over == other.is_over
    }
}

/// Where the pressure of a record in order rose below [`LATE_BEGINS`] and fell again.
pub(super) fn interruption(record: &TidyRecord) -> Option<Interruption> {
    let begins = pumping_begins(record);
    let start = *record.seconds.get(begins)?;
    let mut found: Option<Interruption> = None;
    let mut lowest = f64::INFINITY;
    // Where the present rise began, from which pressure, and its highest.
    let mut rise: Option<(f64, f64, f64)> = None;
    for (index, readings) in record.pascals[begins..].windows(READINGS).enumerate() {
        let pressure = middle(readings);
        let time = record.seconds[begins + index + READINGS / 2] - start;
        match &mut rise {
            None if lowest < LATE_BEGINS && pressure > ROSE * lowest => {
                rise = Some((time, lowest, pressure));
            }
            None => lowest = lowest.min(pressure),
            Some((first, from, highest)) => {
                *highest = highest.max(pressure);
                if pressure * ROSE <= *highest {
                    let factor = *highest / *from;
                    let whole = found.get_or_insert(Interruption {
                        between: (*first, time),
                        factor,
                        count: 0,
                        is_over: true,
                    });
                    whole.between.1 = time;
                    whole.factor = whole.factor.max(factor);
                    whole.count += 1;
                    lowest = pressure;
                    rise = None;
                }
            }
        }
    }
    let end = record.seconds.last()? - start;
    match rise {
        Some((first, from, highest)) if highest > ROSE_FOR_GOOD * from => {
            let factor = highest / from;
            let before = found.map_or((first, factor, 0), |one| {
                (one.between.0, one.factor, one.count)
            });
            Some(Interruption {
                between: (before.0, end),
                factor: factor.max(before.1),
                count: before.2 + 1,
                is_over: false,
            })
        }
        _ => found,
    }
}

/// The middle one of [`READINGS`] readings by size.
pub(super) fn middle(readings: &[f64]) -> f64 {
    let mut sorted = [0.0; READINGS];
    sorted.copy_from_slice(readings);
    sorted.sort_unstable_by(f64::total_cmp);
    sorted[READINGS / 2]
}
