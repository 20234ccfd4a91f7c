//! The volume phase: pressure falls as `exp(-t S/V)` while the chamber's own air is pumped out.

use super::fall::fall;
use super::pumping_begins;
use crate::vacuum::log::TidyRecord;
use crate::vacuum::rise::Interval;
use crate::vacuum::units::{Pressure, Seconds, Speed, UnitError, Volume};

/// Lowest pressure in Pa at which the volume phase is looked for: 0.1 mbar. Between this and a tenth
/// of it, walls begin to matter (Umrath, Fundamentals of Vacuum Technology, from memory).
pub const VOLUME_PHASE_ENDS: f64 = 10.0;

/// Why a time of pumping cannot be given.
#[derive(Debug, thiserror::Error)]
pub enum PumpDownError {
    /// Below the domain of the formula.
    #[error(
        "{pascals} Pa is below {VOLUME_PHASE_ENDS} Pa, where gas from the walls and not the volume sets the time; accepted: an end pressure of {VOLUME_PHASE_ENDS} Pa or more"
    )]
    TooLow {
        /// The end pressure.
        pascals: f64,
    },
    /// The pumps cannot reach the end pressure.
    #[error("{end} Pa is not above the lowest pressure of the pump, {lowest} Pa")]
    NotReached {
        /// The end pressure.
        end: f64,
        /// The pump's lowest pressure.
        lowest: f64,
    },
    /// The end is not below the start.
    #[error("the end pressure {end} Pa is not below the start {start} Pa")]
    NotFalling {
        /// The start pressure.
        start: f64,
        /// The end pressure.
        end: f64,
    },
    /// Above atmosphere.
    #[error("{pascals} Pa is above 2e5 Pa; a chamber is pumped from atmosphere or less")]
    TooHigh {
        /// The start pressure.
        pascals: f64,
    },
    /// No pumping.
    #[error("the pumping speed must be above zero (1e-15 m³/s)")]
    NoSpeed,
    /// The time is no quantity.
    #[error(transparent)]
    Unit(#[from] UnitError),
}

/// Time to pump `volume` from one pressure to another at constant `speed`:
/// `(V/S) ln((p1 - pu)/(p2 - pu))`.
///
/// Holds for an end of at least [`VOLUME_PHASE_ENDS`] and above `lowest`, the pressure the pump
/// tends to, from a start of at most 2e5 Pa, at a speed above zero (1e-15 m³/s); an error otherwise.
///
/// Source: the balance of an ideal gas, as in Umrath, Fundamentals of Vacuum Technology, chapter 2, from
/// memory.
pub fn time_to_pump(
    volume: Volume,
    speed: Speed,
    from: Pressure,
    to: Pressure,
    lowest: Pressure,
) -> Result<Seconds, PumpDownError> {
    let (from, to, lowest) = (from.pascals(), to.pascals(), lowest.pascals());
    if to < VOLUME_PHASE_ENDS * (1.0 - 1e-12) {
        return Err(PumpDownError::TooLow { pascals: to });
    }
    if to <= lowest {
        return Err(PumpDownError::NotReached { end: to, lowest });
    }
    if from <= to {
        return Err(PumpDownError::NotFalling {
            start: from,
            end: to,
        });
    }
    if from > 2e5 {
        return Err(PumpDownError::TooHigh { pascals: from });
    }
    if speed.cubic_metres_per_second() < 1e-15 {
        return Err(PumpDownError::NoSpeed);
    }
    let times = ((from - lowest) / (to - lowest)).ln();
    Ok(Seconds::from_seconds(
        volume.cubic_metres() / speed.cubic_metres_per_second() * times,
    )?)
}

/// The volume phase of a record.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VolumePhase {
    /// Speed over volume, per second, 95 %.
    pub speed_over_volume: Interval,
    /// Seconds from the first reading at which the fitted part begins and ends.
    pub between: (f64, f64),
    /// Speed in the later half over that in the earlier; far from one, the speed is not constant.
    pub later_over_earlier: f64,
    /// `ln` of the fitted pressure in Pa where the part begins.
    pub(super) log_at_start: f64,
}

/// Fits the volume phase: from half the start pressure down to [`VOLUME_PHASE_ENDS`].
///
/// `None` if the record is not [in order](TidyRecord::is_in_order), has fewer than 8 readings there over
/// a microsecond or more, or does not fall by a factor of 5. Source: as [`time_to_pump`].
pub fn volume_phase(record: &TidyRecord) -> Option<VolumePhase> {
    if !record.is_in_order() {
        return None;
    }
    let start = pumping_begins(record);
    let top = *record.pascals.get(start)?;
    let from = start
        + record.pascals[start..]
            .iter()
            .position(|p| *p < 0.5 * top)?;
    let length = record.pascals[from..]
        .iter()
        .position(|pressure| *pressure < VOLUME_PHASE_ENDS)
        .unwrap_or(record.pascals.len() - from);
    let seconds = &record.seconds[from..from + length];
    let fall = fall(seconds, &record.pascals[from..from + length])?;
    Some(VolumePhase {
        speed_over_volume: fall.rate,
        between: fall.between,
        later_over_earlier: fall.later_over_earlier,
        log_at_start: fall.log_at_start,
    })
}
