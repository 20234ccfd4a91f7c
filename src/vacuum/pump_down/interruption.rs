//! A pressure that rises in high vacuum and falls again: a pump that stopped, a valve that shut, gas let in.
//!
//! Such a record is no pump-down from one start, so no power law of the time holds over it.

use super::late::LATE_BEGINS;
use super::pumping_begins;
use crate::vacuum::log::TidyRecord;

/// A rise by at least three times in high vacuum that fell again by as much.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interruption {
    /// Seconds since pumping began of the first rise and the last fall.
    pub between: (f64, f64),
    /// The most that the pressure was over its lowest before.
    pub factor: f64,
    /// How many times it rose and fell.
    pub count: usize,
}

/// A rise by this factor is none of the usual pump-down (common practice, no source).
const ROSE: f64 = 3.0;
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
    found
}

/// The middle one of [`READINGS`] readings by size.
pub(super) fn middle(readings: &[f64]) -> f64 {
    let mut sorted = [0.0; READINGS];
    sorted.copy_from_slice(readings);
    sorted.sort_unstable_by(f64::total_cmp);
    sorted[READINGS / 2]
}
