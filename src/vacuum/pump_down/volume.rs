//! The volume phase: pressure falls as `exp(-t S/V)` while the chamber's own air is pumped out.

use super::pumping_begins;
use crate::vacuum::log::TidyRecord;
use crate::vacuum::rise::Interval;
use crate::vacuum::rise::drift;
use crate::vacuum::rise::fit::{Curve, Free, PARAMETERS, Parameters, Problem, profile};
use crate::vacuum::rise::reduce::blocks;
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
    /// The time is no quantity.
    #[error(transparent)]
    Unit(#[from] UnitError),
}

/// Time to pump `volume` from one pressure to another at constant `speed`:
/// `(V/S) ln((p1 - pu)/(p2 - pu))`.
///
/// Holds for an end of at least [`VOLUME_PHASE_ENDS`] and above `lowest`, the pressure the pump
/// tends to.
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
}

/// Fits the volume phase: from half the start pressure down to [`VOLUME_PHASE_ENDS`].
///
/// `None` if the record has fewer than 8 readings there, or does not fall by a factor of 5.
pub fn volume_phase(record: &TidyRecord) -> Option<VolumePhase> {
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
    let pascals = &record.pascals[from..from + length];
    let (first, last) = (*seconds.first()?, *seconds.last()?);
    if length < 8 || last <= first || pascals[0] < 5.0 * pascals[length - 1] {
        return None;
    }
    let whole = fall(seconds, pascals)?;
    let half = seconds.partition_point(|time| *time < 0.5 * (first + last));
    let later_over_earlier = match (
        slope(&seconds[..half], &pascals[..half]),
        slope(&seconds[half..], &pascals[half..]),
    ) {
        (Some(earlier), Some(later)) if earlier < 0.0 => later / earlier,
        _ => 1.0,
    };
    Some(VolumePhase {
        speed_over_volume: whole.scaled((last - first).recip()),
        between: (first, last),
        later_over_earlier,
    })
}

/// A straight line in `ln p`: `parameter 0 - parameter 1 x`.
#[derive(Clone, Copy)]
struct Exponential;

impl Curve for Exponential {
    type Prepared = Parameters;

    fn bounds(&self) -> [(f64, f64); PARAMETERS] {
        [
            (-60.0, 60.0),
            (-100.0, 100.0),
            (0.0, 0.0),
            (0.0, 0.0),
            (0.0, 0.0),
        ]
    }

    fn prepare(&self, _free: &Free, parameters: &Parameters) -> Parameters {
        *parameters
    }

    fn log_pressure(&self, x: f64, at: &Parameters) -> (f64, Parameters) {
        (at[0] - at[1] * x, [1.0, -x, 0.0, 0.0, 0.0])
    }
}

const CUT: f64 = 5.0;

/// Fall of `ln p` over the part, 95 %.
fn fall(seconds: &[f64], pascals: &[f64]) -> Option<Interval> {
    let blocks = blocks(seconds, pascals);
    let free = [true, true, false, false, false];
    let start = [
        blocks.first()?.log_pressure,
        blocks.first()?.log_pressure - blocks.last()?.log_pressure,
        0.0,
        0.0,
        0.0,
    ];
    let mut noise = drift::Noise {
        scatter: 0.05,
        drift: 0.02,
        memory: 0.1,
    };
    for _ in 0..2 {
        let whitener = drift::Whitener::new(&noise, &blocks);
        let problem = Problem::new(&blocks, &whitener, 0.0);
        let fit = problem.fit(Exponential, free, start);
        noise = drift::estimate(&blocks, &problem.residuals(&fit), &problem.columns(&fit));
    }
    let whitener = drift::Whitener::new(&noise, &blocks);
    let problem = Problem::new(&blocks, &whitener, 0.0);
    let fit = problem.fit(Exponential, free, start);
    let (low, high) = profile(&problem, &[fit], 1, fit.deviance, CUT);
    Some(Interval {
        best: fit.parameters[1],
        low,
        high,
    })
}

/// Least-squares slope of `ln p`.
fn slope(seconds: &[f64], pascals: &[f64]) -> Option<f64> {
    let n = seconds.len() as f64;
    if n < 3.0 {
        return None;
    }
    let mean_time = seconds.iter().sum::<f64>() / n;
    let mean = pascals.iter().map(|pressure| pressure.ln()).sum::<f64>() / n;
    let (mut spread, mut product) = (0.0, 0.0);
    for (time, pressure) in seconds.iter().zip(pascals) {
        spread += (time - mean_time).powi(2);
        product += (time - mean_time) * (pressure.ln() - mean);
    }
    (spread > 0.0).then(|| product / spread)
}
