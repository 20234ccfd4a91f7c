//! The outgassing phase and the floor: `p = C t^-alpha + floor` from the start of pumping.

use super::course::Course;
use super::interruption::Interruption;
use super::limit::Stop;
use super::{begins_late, pumping_begins};
use crate::vacuum::log::TidyRecord;
use crate::vacuum::rise::Interval;
use crate::vacuum::rise::drift::{self, Noise, Slow, Whitener};
use crate::vacuum::rise::fit::{
    Curve, Fit, Free, PARAMETERS, Parameters, Problem, lowest_of, profile,
};
use crate::vacuum::rise::reduce::{Block, blocks};

/// Highest pressure in Pa of the outgassing phase: 0.01 mbar.
pub(super) const LATE_BEGINS: f64 = 1.0;

/// The outgassing phase of a record.
#[derive(Clone, Debug)]
pub struct LatePhase {
    /// Exponent of the fall with time, 95 %.
    pub exponent: Interval,
    /// Floor in Pa, 95 %; a lower end of zero says that none is seen yet.
    pub floor: Interval,
    /// Part that falls with time, in Pa, at the end of the record.
    pub falling_at_end: f64,
    /// Seconds from the first reading at which the fitted part begins and ends.
    pub between: (f64, f64),
    /// Seconds from the first reading at which pumping begins, the origin of the power law.
    pub origin: f64,
    fit: Fit<Settling>,
    scale: f64,
}

impl LatePhase {
    /// The fitted pressure in Pa, `seconds` after the first reading; `None` outside the fitted part.
    /// Source: that of [`late_phase`].
    pub fn pascals_at(&self, seconds: f64) -> Option<f64> {
        let length = self.between.1 - self.between.0;
        let x = (seconds - self.between.0) / length;
        (0.0..=1.0)
            .contains(&x)
            .then(|| self.fit.log_pressure(x).exp() * self.scale)
    }
}

/// The part of a record in the outgassing phase, as block means.
pub(super) struct Part {
    pub(super) blocks: Vec<Block>,
    /// Seconds from the first reading of the record.
    pub(super) between: (f64, f64),
    pub(super) origin: f64,
    pub(super) log_scale: f64,
}

/// Steepest fall `-d ln p / d ln t` of gas from walls; a steeper one is the chamber's air leaving.
const STEEPEST: f64 = 3.0;

/// Finds the part below [`LATE_BEGINS`] in which the pressure no longer falls more steeply than
/// [`STEEPEST`].
pub(super) fn part(record: &TidyRecord) -> Option<Part> {
    let begins = pumping_begins(record);
    let origin = *record.seconds.get(begins)?;
    let below = record
        .pascals
        .iter()
        .rposition(|pressure| *pressure >= LATE_BEGINS)
        .map_or(begins, |index| index + 1);
    let crossed = *record.seconds.get(below)? - origin;
    let settled = steep_until(record, begins).max(crossed);
    let from = record
        .seconds
        .partition_point(|time| *time < origin + (1.1 * settled).max(1.0))
        .max(below);
    between(record, origin, from..record.seconds.len())
}

/// The part of these readings; `None` for fewer than 20, or where the time since `origin` does not grow by half.
fn between(record: &TidyRecord, origin: f64, readings: std::ops::Range<usize>) -> Option<Part> {
    let seconds = record.seconds.get(readings.clone())?;
    if seconds.len() < 20 {
        return None;
    }
    let between = (seconds[0], seconds[seconds.len() - 1]);
    if between.1 - origin < 1.5 * (between.0 - origin) {
        return None;
    }
    let blocks = blocks(seconds, &record.pascals[readings]);
    let log_scale = blocks.last()?.log_pressure;
    Some(Part {
        blocks,
        between,
        origin,
        log_scale,
    })
}

/// The chamber's own air, of which some is left where the part begins, is gone after this multiple of the time.
const AIR_IS_GONE: f64 = 1.5;

/// The earlier and the later half of a part in the logarithm of time, without the air at its beginning.
fn halves(record: &TidyRecord, part: &Part) -> Option<[Part; 2]> {
    let (first, last) = (part.between.0 - part.origin, part.between.1 - part.origin);
    let first = AIR_IS_GONE * first;
    let middle = part.origin + (first * last).sqrt();
    let index = |time: f64| record.seconds.partition_point(|at| *at < time);
    let (from, middle) = (index(part.origin + first), index(middle));
    Some([
        between(record, part.origin, from..middle)?,
        between(record, part.origin, middle..record.seconds.len())?,
    ])
}

/// Seconds since pumping began after which no fall over a quarter more time is steeper than [`STEEPEST`].
pub(super) fn steep_until(record: &TidyRecord, begins: usize) -> f64 {
    let seconds = &record.seconds[begins..];
    let (Some(start), Some(end)) = (seconds.first(), seconds.last()) else {
        return 0.0;
    };
    let blocks = blocks(seconds, &record.pascals[begins..]);
    let mut last = 0.0f64;
    let mut later = 0;
    for block in &blocks {
        while blocks
            .get(later)
            .is_some_and(|next| next.at < 1.25 * block.at)
        {
            later += 1;
        }
        let Some(next) = blocks.get(later) else { break };
        let steep = (block.log_pressure - next.log_pressure) / (next.at / block.at).ln();
        if block.at > 0.0 && steep > STEEPEST {
            last = last.max(next.at);
        }
    }
    last * (end - start)
}

/// `parameter 0` (ln of the falling part at the end), `1` exponent, `2` floor; pressures over the last
/// reading.
#[derive(Clone, Copy, Debug)]
pub(super) struct Settling {
    /// Time from the start of pumping to that of the part, over the time to its end.
    start_share: f64,
    /// Whether parameter 2 is not a floor below the falling part but a limit at which the reading stops.
    stops: bool,
}

impl Settling {
    /// `ln` of the time since pumping began over that at the end of the part.
    fn log_time(self, x: f64) -> f64 {
        (self.start_share + (1.0 - self.start_share) * x)
            .max(1e-12)
            .ln()
    }
}

impl Curve for Settling {
    type Prepared = Parameters;

    fn bounds(&self) -> [(f64, f64); PARAMETERS] {
        [
            (-15.0, 5.0),
            (0.2, 4.0),
            (0.0, 10.0),
            (0.0, 0.0),
            (0.0, 0.0),
        ]
    }

    fn prepare(&self, _free: &Free, parameters: &Parameters) -> Parameters {
        *parameters
    }

    fn log_pressure(&self, x: f64, at: &Parameters) -> (f64, Parameters) {
        let log_time = self.log_time(x);
        let falling = (at[0] - at[1] * log_time).exp();
        if self.stops {
            let limit = at[2].max(1e-30);
            return if falling > limit {
                (falling.ln(), [1.0, -log_time, 0.0, 0.0, 0.0])
            } else {
                (limit.ln(), [0.0, 0.0, limit.recip(), 0.0, 0.0])
            };
        }
        let pressure = (falling + at[2]).max(1e-30);
        (
            pressure.ln(),
            [
                falling / pressure,
                -log_time * falling / pressure,
                pressure.recip(),
                0.0,
                0.0,
            ],
        )
    }
}

/// Cuts of the profiles for 95 % of exponent and floor, about the 3.84 of known noise; set on 6,000
/// tuning records of six gauges.
const CUT_EXPONENT: f64 = 3.5;
const CUT_FLOOR: f64 = 2.9;
/// Slow changes of a gauge's gain over the part that intervals allow for (common practice, no source).
const SLOW: Slow = Slow {
    steady: 0.015,
    swing: 0.01,
};

/// Exponents closer than this are one course: what is left of the air moves them too (common practice, no source).
const SAME_COURSE: f64 = 0.03;

/// Why a record has no exponent and no floor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum NoLatePhase {
    /// It is not [in order](TidyRecord::is_in_order), fewer than 20 readings lie in the outgassing phase, or the time
    /// since pumping began does not grow by half over them.
    TooShort,
    /// It begins below atmosphere, so that the time since pumping began is not known.
    BeginsLate,
    /// The pressure rose in high vacuum and fell again.
    Interrupted(Interruption),
    /// The reading stands still, as at a limit of the gauge.
    Stops(Stop),
    /// The earlier half falls otherwise than the later one.
    ChangesCourse,
}

/// Fits the outgassing phase; an error with the reason if the record is not [in order](TidyRecord::is_in_order), fewer than
/// 20 readings lie there, the time since pumping began does not grow by half, the record begins
/// below atmosphere, so that this time is not known, or its course is not that of one power law on a floor.
///
/// Sources: those of [`crate::vacuum::pump_down`] for the power law, of [`crate::vacuum::rise`] for the
/// intervals; pressures below 1 Pa (0.01 mbar), above which the chamber's own air still leaves. `course` is that of
/// the record.
pub fn late_phase(record: &TidyRecord, course: &Course) -> Result<LatePhase, NoLatePhase> {
    if !record.is_in_order() {
        return Err(NoLatePhase::TooShort);
    }
    if begins_late(record).is_some() {
        return Err(NoLatePhase::BeginsLate);
    }
    let part = part(record).ok_or(NoLatePhase::TooShort)?;
    if let Some(interruption) = course.interrupted {
        return Err(NoLatePhase::Interrupted(interruption));
    }
    if let Some(stop) = course.stands_still {
        return Err(NoLatePhase::Stops(stop));
    }
    let whole = fitted(&part);
    if let Some([earlier, later]) = halves(record, &part) {
        let [earlier, later] = [fitted(&earlier).exponent, fitted(&later).exponent];
        let differ = |one: Interval, other: Interval| {
            let disjoint = one.low > other.high || other.low > one.high;
            disjoint && (one.best - other.best).abs() > SAME_COURSE
        };
        if differ(earlier, later) || differ(whole.exponent, later) {
            return Err(NoLatePhase::ChangesCourse);
        }
    }
    Ok(LatePhase {
        exponent: whole.exponent,
        floor: whole.floor,
        falling_at_end: whole.fit.parameters[0].exp() * whole.scale,
        between: part.between,
        origin: part.origin,
        fit: whole.fit,
        scale: whole.scale,
    })
}

/// A part as fitted.
pub(super) struct Fitted {
    exponent: Interval,
    floor: Interval,
    /// The deviance by which a reading that stops at a limit fits better.
    pub(super) corner_better_by: f64,
    fit: Fit<Settling>,
    scale: f64,
}

pub(super) fn fitted(part: &Part) -> Fitted {
    let start_share = (part.between.0 - part.origin) / (part.between.1 - part.origin);
    let free = [true, true, true, false, false];
    let settling: [Parameters; 3] = [
        [-0.1, 1.0, 0.1, 0.0, 0.0],
        [-2.0, 1.0, 0.9, 0.0, 0.0],
        [-0.1, 0.5, 0.01, 0.0, 0.0],
    ];
    // A limit that is met at another time each.
    let stopping = [-0.5, -1.0, -2.0, -4.0].map(|falling| [falling, 1.0, 1.0, 0.0, 0.0]);
    let fit_all = |problem: &Problem<'_>, stops: bool| {
        let curve = Settling { start_share, stops };
        let starts: &[Parameters] = if stops { &stopping } else { &settling };
        let fits: Vec<_> = starts
            .iter()
            .map(|start| problem.fit(curve, free, *start))
            .collect();
        lowest_of(&fits)
    };
    let mut noise = Noise {
        scatter: 0.05,
        drift: 0.02,
        memory: 0.1,
    };
    for _ in 0..2 {
        let whitener = Whitener::new(&noise, &part.blocks);
        let problem = Problem::new(&part.blocks, &whitener, part.log_scale);
        let fit = fit_all(&problem, false);
        noise = drift::estimate(
            &part.blocks,
            &problem.residuals(&fit),
            &problem.columns(&fit),
        );
    }
    let whitener = Whitener::with_slow(&noise, &part.blocks, SLOW);
    let problem = Problem::new(&part.blocks, &whitener, part.log_scale);
    let fit = fit_all(&problem, false);
    let scale = part.log_scale.exp();
    let interval = |index: usize, cut: f64| {
        let (low, high) = profile(&problem, &[fit], index, fit.deviance, cut);
        Interval {
            best: fit.parameters[index],
            low,
            high,
        }
    };
    Fitted {
        exponent: interval(1, CUT_EXPONENT),
        floor: interval(2, CUT_FLOOR).scaled(scale),
        corner_better_by: fit.deviance - fit_all(&problem, true).deviance,
        fit,
        scale,
    }
}
