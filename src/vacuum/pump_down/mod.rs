//! Pump-down curves: the volume phase, the outgassing phase, the floor, and where a curve leaves
//! that of the same tool when it was healthy.
//!
//! The volume phase is an exponential, `t = (V/S) ln((p1 - pu)/(p2 - pu))`, and holds only above
//! [`VOLUME_PHASE_ENDS`]: below, gas from the walls sets the pace and the formula would promise
//! pressures that no chamber reaches. Later the pressure falls as `C t^-alpha + floor` with alpha about
//! 1 for metal walls and 0.5 for elastomers (Dayton 1959; Chiggiato, arXiv:1404.0960; from
//! memory). Errors are shares of the reading, as in [`crate::vacuum::rise`], whose fits are used.
//! Imports the log, the rise and the units only.

mod compare;
mod fall;
mod late;
mod speed_or_gauge;
mod volume;

#[cfg(test)]
mod held_out;
#[cfg(test)]
mod tests;

pub use compare::{CameBack, Comparison, Explanation, ExplanationKind, Leaves, compare};
pub use late::{LatePhase, late_phase};
pub use speed_or_gauge::Evidence;
pub use volume::{PumpDownError, VOLUME_PHASE_ENDS, VolumePhase, time_to_pump, volume_phase};

use crate::vacuum::log::TidyRecord;

/// Lowest pressure, Pa, at which a record of a pump-down begins that shows when pumping began: atmosphere at
/// 3,000 m. A record from a tenth of an atmosphere begins two time constants of the chamber late, which moves the
/// exponent of the fall by more than its interval.
const FROM_ATMOSPHERE: f64 = 7e4;

/// The first pressure, Pa, of a record that does not show when pumping began, since it begins below 70 kPa;
/// none of one that does. The limit is common practice, no source.
pub(crate) fn begins_late(record: &TidyRecord) -> Option<f64> {
    let highest = record.pascals.iter().copied().fold(0.0, f64::max);
    let first = record.pascals.first().copied()?;
    (highest < FROM_ATMOSPHERE).then_some(first)
}

/// Index of the last reading before the pressure falls from atmosphere, the origin of time; the first
/// reading if the record begins below 70 kPa. For any record; the limits are common practice, no source.
pub fn pumping_begins(record: &TidyRecord) -> usize {
    let highest = record.pascals.iter().copied().fold(0.0, f64::max);
    if highest < FROM_ATMOSPHERE {
        return 0;
    }
    record
        .pascals
        .iter()
        .rposition(|pressure| *pressure > 0.8 * highest)
        .unwrap_or(0)
}
