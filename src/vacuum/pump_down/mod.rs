//! Pump-down curves: the volume phase, the outgassing phase, the floor, and where a curve leaves
//! that of the same tool when it was healthy.
//!
//! The volume phase is an exponential, `t = (V/S) ln((p1 - pu)/(p2 - pu))`, and holds only above
//! [`VOLUME_PHASE_ENDS`]: below, gas from the walls sets the pace and the formula would promise
//! pressures that no chamber reaches. Later the pressure falls as `C t^-alpha + floor` with alpha about
//! 1 for metal walls and 0.5 for elastomers (Dayton 1959; Chiggiato, arXiv:1404.0960; from
//! memory). Errors are shares of the reading, as in [`crate::vacuum::rise`], whose fits are used.
//! Imports the log, the rise, the units and where a gauge rests only.

mod compare;
mod course;
mod end;
mod fall;
mod interruption;
mod late;
mod limit;
mod speed_or_gauge;
mod track;
mod volume;

#[cfg(test)]
mod held_out;
#[cfg(test)]
mod tests;

pub(crate) use compare::SLOWER_VOLUME;
pub use compare::{
    CameBack, Comparison, Explanation, ExplanationKind, FloorUnseen, Leaves, compare,
};
pub use course::Course;
pub(crate) use end::without_end;
pub use interruption::Interruption;
pub use late::{LatePhase, NoLatePhase, late_phase};
pub use limit::Stop;
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
    let first = *record.pascals.get(pumping_begins(record))?;
    (highest(record) < FROM_ATMOSPHERE).then_some(first)
}

fn highest(record: &TidyRecord) -> f64 {
    record.pascals.iter().copied().fold(0.0, f64::max)
}

/// A record that rises by this factor at first, to [`VOLUME_PHASE_ENDS`] or more, begins with readings of a gauge that
/// was off.
const OFF_AT_FIRST: f64 = 100.0;

/// Whether the record holds an earlier pump-down to high vacuum, before that which is judged.
pub(crate) fn holds_an_earlier(record: &TidyRecord) -> bool {
    let earlier = record.pascals.get(..pumping_begins(record));
    earlier.is_some_and(|earlier| earlier.iter().any(|pressure| *pressure < late::LATE_BEGINS))
}

/// Index of the last reading before the pressure falls from atmosphere, the origin of time; of a record that begins
/// below 70 kPa the first reading, or the highest if the first ones are far below it. For any record; the limits are
/// common practice, no source.
pub fn pumping_begins(record: &TidyRecord) -> usize {
    let highest = highest(record);
    let Some(first) = record.pascals.first() else {
        return 0;
    };
    if highest >= FROM_ATMOSPHERE {
        let near = |pressure: &f64| *pressure > 0.8 * highest;
        record.pascals.iter().rposition(near).unwrap_or(0)
    } else if highest >= VOLUME_PHASE_ENDS && highest > OFF_AT_FIRST * first {
        let there = |pressure: &f64| *pressure >= highest;
        record.pascals.iter().position(there).unwrap_or(0)
    } else {
        0
    }
}
