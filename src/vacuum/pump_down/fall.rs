//! A stretch of a record in which the pressure falls exponentially, `p ~ exp(-t S/V)`.

use crate::vacuum::log::SHORTEST_SPAN;
use crate::vacuum::rise::Interval;
use crate::vacuum::rise::drift;
use crate::vacuum::rise::fit::{Curve, Free, PARAMETERS, Parameters, Problem, profile};
use crate::vacuum::rise::reduce::blocks;

/// An exponential fall fitted to a stretch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Fall {
    /// Its rate, per second, 95 %.
    pub(super) rate: Interval,
    /// First and last time of the stretch.
    pub(super) between: (f64, f64),
    /// Rate in the later half over that in the earlier.
    pub(super) later_over_earlier: f64,
    /// `ln` of the fitted pressure in Pa at its first time.
    pub(super) log_at_start: f64,
}

/// Fits a fall; `None` for fewer than 8 readings, less than [`SHORTEST_SPAN`] or a fall by less than a
/// factor of 5.
pub(super) fn fall(seconds: &[f64], pascals: &[f64]) -> Option<Fall> {
    let (first, last) = (*seconds.first()?, *seconds.last()?);
    if seconds.len() < 8
        || last - first < SHORTEST_SPAN
        || pascals[0] < 5.0 * pascals[pascals.len() - 1]
    {
        return None;
    }
    let (whole, log_at_start) = line(seconds, pascals)?;
    let half = seconds.partition_point(|time| *time < 0.5 * (first + last));
    let later_over_earlier = match (
        slope(&seconds[..half], &pascals[..half]),
        slope(&seconds[half..], &pascals[half..]),
    ) {
        (Some(earlier), Some(later)) if earlier < 0.0 => later / earlier,
        _ => 1.0,
    };
    Some(Fall {
        rate: whole.scaled((last - first).recip()),
        between: (first, last),
        later_over_earlier,
        log_at_start,
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

/// Cut of the profile for 95 %, below the 3.84 of known noise since more drift is allowed for than most
/// gauges have; set on 3,600 tuning records of six gauges.
const CUT: f64 = 2.35;
/// Shortest memory of the drift that the interval allows for, as a share of the stretch: where quick drift
/// is seen, slower drift may hide beneath it.
const SLOWER: f64 = 0.3;

/// The line's fall of `ln p` over the part, 95 %, and its start.
fn line(seconds: &[f64], pascals: &[f64]) -> Option<(Interval, f64)> {
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
    noise.memory = noise.memory.max(SLOWER);
    let whitener = drift::Whitener::new(&noise, &blocks);
    let problem = Problem::new(&blocks, &whitener, 0.0);
    let fit = problem.fit(Exponential, free, start);
    let (low, high) = profile(&problem, &[fit], 1, fit.deviance, CUT);
    let fall = Interval {
        best: fit.parameters[1],
        low,
        high,
    };
    Some((fall, fit.parameters[0]))
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
