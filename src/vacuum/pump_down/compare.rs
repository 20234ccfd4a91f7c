//! A pump-down against the same tool's healthy one: where it leaves, and what explains it.

use super::course::Course;
use super::interruption::Interruption;
use super::late::{Part, part};
use super::limit::Stop;
use super::speed_or_gauge::{Evidence, LEAST_ZERO, quotient};
use super::track::Track;
use super::{begins_late, pumping_begins, volume_phase};
use crate::vacuum::log::TidyRecord;
use crate::vacuum::rise::Interval;
use crate::vacuum::rise::drift::{self, Noise, Whitener};
use crate::vacuum::rise::fit::{
    Curve, Fit, Free, PARAMETERS, Parameters, Problem, lowest_of, profile,
};
use crate::vacuum::rise::reduce::Block;

/// What can explain that a curve is not the healthy one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum ExplanationKind {
    /// Nothing: the curve is the healthy one.
    AsHealthy,
    /// Less pumping speed: the pressure is a multiple of the healthy one.
    LowerSpeed,
    /// A gauge or log whose scale is off: the reading is a multiple of the healthy one.
    GaugeScale,
    /// A steady gas load, such as a leak.
    SteadyLoad,
    /// A gauge whose zero is off: as much is added to every reading.
    GaugeZero,
    /// Gas from inside that falls with time: water, a trapped volume, new surfaces.
    MoreOutgassing,
}

/// One explanation fitted to the outgassing phase.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Explanation {
    /// Which one.
    pub kind: ExplanationKind,
    /// Information criterion above that of the best explanation. Less speed and the gauge's scale
    /// have the same shape there, and so have a steady load and the gauge's zero.
    pub criterion_above_best: f64,
    /// Its size, 95 %: the multiple for less speed and the gauge's scale, otherwise the extra
    /// pressure in Pa at the end of the common time; none for [`ExplanationKind::AsHealthy`].
    pub size: Option<Interval>,
    /// What elsewhere in the records speaks against it, in words.
    pub against: Option<&'static str>,
    /// Whether it explains the curve about as well as the best, and nothing speaks against it.
    pub fits: bool,
}

/// Where a curve leaves the healthy one for good.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Leaves {
    /// Seconds since pumping began.
    pub seconds: f64,
    /// Pressure there, Pa.
    pub pascals: f64,
    /// Pressure over the healthy one at the end of the common time.
    pub factor_at_end: f64,
}

/// Where a curve stood above the healthy one and came back to it or below.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CameBack {
    /// Seconds since pumping began of the first and the last point above.
    pub between: (f64, f64),
    /// The most that the pressure was over the healthy one.
    pub factor: f64,
}

/// A floor above the healthy one that would not show in the common time, since the healthy record falls on after it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FloorUnseen {
    /// Seconds since pumping began to which both records were compared.
    pub until: f64,
    /// The floor that would not show, Pa: the healthy pressure at its end and the largest steady load that fits.
    pub up_to: f64,
    /// Seconds since pumping began at which the healthy record ends.
    pub healthy_until: f64,
}

/// A comparison with the healthy record.
#[derive(Clone, Debug)]
pub struct Comparison {
    /// Where the curve leaves the healthy one; `None` if it does not.
    pub leaves: Option<Leaves>,
    /// Where it stood above it in the healthy one's outgassing phase and came back.
    pub came_back: Option<CameBack>,
    /// Speed over volume against the healthy one in the volume phase, with its interval.
    pub volume_speed_ratio: Option<Interval>,
    /// What tells less speed from a gauge.
    pub evidence: Evidence,
    /// Explanations of the outgassing phase, best first; empty if the records share none.
    pub explanations: Vec<Explanation>,
    /// Seconds since pumping began over which both records have an outgassing phase.
    pub common: Option<(f64, f64)>,
    /// A floor above the healthy one that these records do not exclude.
    pub floor_unseen: Option<FloorUnseen>,
    /// From where on the reading stands still, as that of a gauge at its limit; then there are no explanations and no
    /// leaving.
    pub stands_still: Option<Stop>,
    /// The same of the healthy record.
    pub healthy_stands_still: Option<Stop>,
    /// Where the pressure rose in high vacuum and fell again, unless both records rose alike; then there are no
    /// explanations and no leaving.
    pub interrupted: Option<Interruption>,
    /// The same of the healthy record.
    pub healthy_interrupted: Option<Interruption>,
    /// Where a heat-loss gauge rested at its limit before the end, and until when.
    pub rested: Option<(Stop, f64)>,
    /// Whether the times of both records count from the same: from where pumping began, or from about the
    /// same pressure on the way down. Without it there are no explanations and no leaving.
    pub same_start: bool,
}

/// Two healthy pump-downs of one tool differ by about this share throughout (common practice, no
/// source), and by about this much in the exponent of their fall.
const USUAL_DIFFERENCE: f64 = 0.15;
const USUAL_TILT: f64 = 0.05;
/// Least drift between the two gauges' readings beside that, as a share, and its least memory as a share
/// of the common time.
const LEAST_DRIFT: f64 = 0.03;
const LEAST_MEMORY: f64 = 0.1;
/// Records that begin below atmosphere begin alike within this factor of their first pressure.
const ALIKE_AT_FIRST: f64 = 2.0;
/// The time by which the start of a record may be missed, as a share of that to the outgassing phase: it moves the
/// pressure of a curve that falls as one over the time by as much, well within what two healthy ones differ by.
const SOON: f64 = 0.05;
/// A curve has left the healthy one where it lies above by this factor for good.
const LEFT: f64 = 1.35;
/// A curve stood above the healthy one where it lay above by this factor over this multiple of the time
/// (common practice, no source).
const ABOVE: f64 = 1.5;
const ABOVE_FOR: f64 = 1.25;
/// The volume phase is slower than the healthy one below this ratio of speeds (common practice, no source).
pub(crate) const SLOWER_VOLUME: f64 = 0.85;
/// An explanation this far above the best does not fit.
const MUCH_WORSE: f64 = 10.0;
/// Cuts of the profiles for 95 % of a multiple, a steady and a falling part, below the 3.84 of known noise
/// since more drift is allowed for than most gauges have; set on 8,000 tuning pairs of records.
const CUT_MULTIPLE: f64 = 3.6;
const CUT_STEADY: f64 = 3.0;
const CUT_FALLING: f64 = 2.4;

/// Compares a record with a healthy one of the same tool.
///
/// What cannot be compared is left out: records not [in order](TidyRecord::is_in_order), or without a
/// phase in common (see [`volume_phase`] and [`super::late_phase`]). Errors are shares of the reading;
/// intervals allow for what two healthy pump-downs differ by, [`Explanation::size`] says of what. Each record comes
/// with its own course.
pub fn compare(
    (record, course): (&TidyRecord, &Course),
    (healthy, healthy_course): (&TidyRecord, &Course),
) -> Comparison {
    if !(record.is_in_order() && healthy.is_in_order()) {
        let none = (&TidyRecord::default(), &Course::default());
        return compare(none, none);
    }
    let (volume, healthy_volume) = (volume_phase(record), volume_phase(healthy));
    let evidence = Evidence::of(
        (record, volume.as_ref()),
        (healthy, healthy_volume.as_ref()),
    );
    let same_start = same_start(record, healthy);
    let mut comparison = Comparison {
        leaves: same_start
            .then(|| leaves(record, healthy, course.rested.map_or(0.0, |(_, to)| to)))
            .flatten(),
        rested: course.rested,
        came_back: None,
        // Volumes are the same.
        volume_speed_ratio: volume
            .zip(healthy_volume)
            .and_then(|(now, then)| quotient(now.speed_over_volume, then.speed_over_volume)),
        evidence,
        explanations: Vec::new(),
        common: None,
        floor_unseen: None,
        stands_still: course.stands_still,
        healthy_stands_still: healthy_course.stands_still,
        interrupted: course.interrupted,
        healthy_interrupted: healthy_course.interrupted,
        same_start,
    };
    if !same_start {
        return comparison;
    }
    let (Some(now), Some(then)) = (part(record), part(healthy)) else {
        return comparison;
    };
    comparison.came_back = came_back(
        record,
        healthy,
        high_vacuum_from(&then, comparison.volume_speed_ratio),
    );
    if let (Some(now), Some(then)) = (&comparison.interrupted, &comparison.healthy_interrupted)
        && now.is_like(then)
    {
        comparison.interrupted = None;
        comparison.healthy_interrupted = None;
    }
    let interrupted = comparison.interrupted.or(comparison.healthy_interrupted);
    let stands = comparison.stands_still.or(comparison.healthy_stands_still);
    if interrupted.is_some() || stands.is_some() {
        comparison.leaves = None;
        return comparison;
    }
    let (track, healthy) = (Track::of(&now), Track::of(&then).smoothed(&then.blocks));
    let from = track.from().max(healthy.from());
    let to = track.to().min(healthy.to());
    if to < 1.5 * from {
        return comparison;
    }
    comparison.common = Some((from, to));
    let shapes = shapes(&now, &healthy, from, to).unwrap_or_default();
    comparison.explanations = explanations(&shapes, &evidence, is_below(&track, &healthy, to));
    comparison.floor_unseen = floor_unseen(&shapes, &healthy, to);
    comparison
}

/// The floor that would not show by `to`, where it is above what two healthy ones differ by, and so is the healthy
/// pressure there above that at its end.
fn floor_unseen(shapes: &[Weighed], healthy: &Track, to: f64) -> Option<FloorUnseen> {
    let end = healthy.to();
    let (here, at_end) = (healthy.at(to)?.exp(), healthy.at(end)?.exp());
    let steady = shapes.iter().find(|one| one.shape == Shape::Steady)?;
    let up_to = at_end + steady.size?.high;
    (here > LEFT * at_end && up_to > LEFT * at_end).then_some(FloorUnseen {
        until: to,
        up_to,
        healthy_until: end,
    })
}

/// Seconds since pumping began from which both curves should be in high vacuum: later by as much as the volume
/// phase was slower.
fn high_vacuum_from(healthy: &Part, volume_speed_ratio: Option<Interval>) -> f64 {
    let slower = volume_speed_ratio.filter(|ratio| ratio.high < SLOWER_VOLUME && ratio.low > 0.0);
    (healthy.between.0 - healthy.origin) / slower.map_or(1.0, |ratio| ratio.low)
}

/// Whether times of both records count from the same.
fn same_start(record: &TidyRecord, healthy: &TidyRecord) -> bool {
    match (begins_late(record), begins_late(healthy)) {
        (None, None) => true,
        (Some(now), Some(then)) => {
            (ALIKE_AT_FIRST.recip()..=ALIKE_AT_FIRST).contains(&(now / then))
        }
        (Some(first), None) if !healthy.seconds.is_empty() => passes_soon(healthy, first),
        (None, Some(first)) if !record.seconds.is_empty() => passes_soon(record, first),
        _ => true,
    }
}

/// Whether a record from atmosphere comes to this pressure so soon that times from there count from about the same,
/// as where the first readings of the other log were dropped.
fn passes_soon(record: &TidyRecord, first: f64) -> bool {
    let begins = pumping_begins(record);
    let below = |pressure: &f64| *pressure <= first;
    let passes = record.pascals[begins..].iter().position(below);
    passes.zip(part(record)).is_some_and(|(passes, part)| {
        let after = record.seconds[begins + passes] - part.origin;
        after <= SOON * (part.between.0 - part.origin)
    })
}

/// The longest time, as a multiple, over which the curve stood above the healthy one after `from`, and came back.
fn came_back(record: &TidyRecord, healthy: &TidyRecord, from: f64) -> Option<CameBack> {
    let (now, then) = (Track::whole(record)?, Track::whole(healthy)?);
    let above: Vec<(f64, f64)> = now
        .points
        .iter()
        .filter(|(time, _)| *time >= from)
        .filter_map(|&(time, log)| Some((time, log - then.at(time)?)))
        .collect();
    let is_above = |(_, above): &(f64, f64)| *above > ABOVE.ln();
    above
        .chunk_by(|one, next| is_above(one) == is_above(next))
        .filter(|run| run.len() >= 3 && is_above(&run[0]))
        .map(|run| (run[0].0, run[run.len() - 1].0, run))
        .filter(|(first, last, _)| {
            *last >= ABOVE_FOR * first && Some(last) != above.last().map(|(time, _)| time)
        })
        .max_by(|a, b| (a.1 / a.0).total_cmp(&(b.1 / b.0)))
        .map(|(first, last, run)| CameBack {
            between: (first, last),
            factor: run
                .iter()
                .map(|(_, above)| *above)
                .fold(0.0, f64::max)
                .exp(),
        })
}

/// Whether the curve lies below the healthy one at the end of the common time, beyond what two healthy ones differ by.
fn is_below(now: &Track, healthy: &Track, to: f64) -> bool {
    let under: Vec<f64> = now
        .points
        .iter()
        .rev()
        .filter(|(time, _)| *time <= to)
        .filter_map(|(time, log)| Some(log - healthy.at(*time)?))
        .take(3)
        .collect();
    !under.is_empty() && under.iter().all(|under| *under < -LEFT.ln())
}

/// Where the record leaves the healthy one after `rested` seconds of pumping, until when its gauge rested.
fn leaves(record: &TidyRecord, healthy: &TidyRecord, rested: f64) -> Option<Leaves> {
    let now = Track::whole(record)?;
    let then = Track::whole(healthy)?;
    let from = now.from().max(then.from()).max(rested);
    let to = now.to().min(then.to());
    let above: Vec<(f64, f64, f64)> = now
        .points
        .iter()
        .filter(|(time, _)| (from..=to).contains(time))
        .filter_map(|&(time, log)| Some((time, log, log - then.at(time)?)))
        .collect();
    let stays = above.iter().rposition(|(.., above)| *above < LEFT.ln());
    let first = stays.map_or(0, |index| index + 1);
    // Leaving at the very last points is no leaving for good.
    if above.len() < first + 3 {
        return None;
    }
    let last = &above[above.len() - 3..];
    let at_end = last.iter().map(|(.., above)| above).sum::<f64>() / 3.0;
    Some(Leaves {
        seconds: above[first].0,
        pascals: above[first].1.exp(),
        factor_at_end: at_end.exp(),
    })
}

/// `p = k h t^-tilt + steady + falling t^-alpha`, with `h` the healthy pressure and `t` the time over that
/// at the end: parameter 0 is `ln k`, 1 the steady part, 2 the falling part at the end, 3 its exponent, 4
/// the tilt; pressures over the healthy end. What two healthy pump-downs differ by is a part of `k` and
/// the tilt: it acts on the tool's own gas and not on what came on top.
#[derive(Clone, Copy, Debug)]
struct Against<'a> {
    /// `ln` of the healthy pressure, at the blocks' `at`.
    healthy: &'a Track,
    /// First time of the part over its last.
    start_share: f64,
}

impl Curve for Against<'_> {
    type Prepared = Parameters;

    fn bounds(&self) -> [(f64, f64); PARAMETERS] {
        [
            (-5.0, 12.0),
            (0.0, 1e6),
            (0.0, 1e6),
            (0.3, 3.0),
            (-1.0, 1.0),
        ]
    }

    fn prepare(&self, _free: &Free, parameters: &Parameters) -> Parameters {
        *parameters
    }

    fn log_pressure(&self, x: f64, at: &Parameters) -> (f64, Parameters) {
        let log_time = (self.start_share + (1.0 - self.start_share) * x)
            .max(1e-12)
            .ln();
        let own = (at[0] - at[4] * log_time).exp();
        let healthy = self.healthy.at(x).map_or(0.0, f64::exp) * own;
        let form = (-at[3] * log_time).exp();
        let falling = at[2] * form;
        let pressure = (healthy + at[1] + falling).max(1e-30);
        (
            pressure.ln(),
            [
                healthy / pressure,
                pressure.recip(),
                form / pressure,
                -log_time * falling / pressure,
                -log_time * healthy / pressure,
            ],
        )
    }
}

/// A shape of the outgassing phase against the healthy one.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Shape {
    Same,
    Multiple,
    Steady,
    Falling,
}

const BELOW: &str = "the pressure is below the healthy one at the end";
const TOO_SMALL_A_ZERO: &str =
    "it is less than the zero of a heat-loss gauge can be off, and an ion gauge has none";

/// A shape as fitted.
struct Weighed {
    shape: Shape,
    criterion: f64,
    size: Option<Interval>,
}

/// What the shapes may come from, best first, with what speaks against it.
///
/// Gas on top cannot be why the pressure `is_below` the healthy one at the end.
fn explanations(shapes: &[Weighed], evidence: &Evidence, is_below: bool) -> Vec<Explanation> {
    let Some(lowest) = shapes
        .iter()
        .map(|one| one.criterion)
        .min_by(f64::total_cmp)
    else {
        return Vec::new();
    };
    let multiple = shapes
        .iter()
        .filter(|one| one.shape == Shape::Multiple && one.criterion - lowest < MUCH_WORSE)
        .find_map(|one| one.size);
    let against_gas = if is_below {
        Some(BELOW)
    } else {
        multiple.and_then(|factor| evidence.against_gas(factor))
    };
    let mut explanations = Vec::new();
    for weighed in shapes {
        let above = weighed.criterion - lowest;
        let mut explain = |kind, against: Option<&'static str>| {
            explanations.push(Explanation {
                kind,
                criterion_above_best: above,
                size: weighed.size,
                against,
                fits: above < MUCH_WORSE && against.is_none(),
            });
        };
        match (weighed.shape, weighed.size) {
            (Shape::Multiple, Some(factor)) => {
                explain(ExplanationKind::LowerSpeed, evidence.against_speed(factor));
                explain(ExplanationKind::GaugeScale, evidence.against_scale());
            }
            (Shape::Steady, Some(extra)) => {
                explain(ExplanationKind::SteadyLoad, against_gas);
                let too_small = (extra.high < LEAST_ZERO).then_some(TOO_SMALL_A_ZERO);
                explain(ExplanationKind::GaugeZero, too_small.or(against_gas));
            }
            (Shape::Falling, _) => explain(ExplanationKind::MoreOutgassing, against_gas),
            _ => explain(ExplanationKind::AsHealthy, None),
        }
    }
    explanations.sort_by(|a, b| a.criterion_above_best.total_cmp(&b.criterion_above_best));
    explanations
}

fn shapes(now: &Part, then: &Track, from: f64, to: f64) -> Option<Vec<Weighed>> {
    let now = restricted(now, from, to);
    let log_scale = then.at(to)?;
    // The healthy curve on the same abscissa as the blocks.
    let healthy = Track {
        points: now
            .iter()
            .filter_map(|block| {
                let time = from + block.at * (to - from);
                Some((block.at, then.at(time)? - log_scale))
            })
            .collect(),
    };
    if healthy.points.len() != now.len() || now.len() < 8 {
        return None;
    }
    let curve = Against {
        healthy: &healthy,
        start_share: from / to,
    };
    let scale = log_scale.exp();
    let excess = (now.last()?.log_pressure - log_scale).exp() - 1.0;
    let start = excess.max(0.05);
    let log_factor = (1.0 + excess).max(0.5).ln();
    let starts = |level: f64, steady: f64, falling: f64, exponents: &[f64]| -> Vec<Parameters> {
        let start = |exponent: &f64| [level, steady, falling, *exponent, 0.0];
        exponents.iter().map(start).collect()
    };
    let cases: [(Shape, Free, Vec<Parameters>); 4] = [
        (Shape::Same, OWN, starts(0.0, 0.0, 0.0, &[1.0])),
        (Shape::Multiple, OWN, starts(log_factor, 0.0, 0.0, &[1.0])),
        (
            Shape::Steady,
            [true, true, false, false, true],
            starts(0.0, start, 0.0, &[1.0]),
        ),
        (
            Shape::Falling,
            [true, false, true, true, true],
            starts(0.0, 0.0, start, &[0.5, 1.0, 2.0]),
        ),
    ];
    let fit_all = |problems: &Problems<'_>| {
        cases.clone().map(|(shape, free, starts)| {
            let fits: Vec<Fit<Against<'_>>> = starts
                .into_iter()
                .map(|at| problems.of(shape).fit(curve, free, at))
                .collect();
            (shape, lowest_of(&fits))
        })
    };
    let mut noise = Noise {
        scatter: 0.05,
        drift: LEAST_DRIFT,
        memory: 1.0,
    };
    for _ in 0..2 {
        let whitener = Whitener::new(&noise, &now);
        let problems = Problems::new(&now, &whitener, log_scale);
        let fits = fit_all(&problems).map(|(_, fit)| fit);
        let best = lowest_of(&fits);
        let problem = problems.of(Shape::Same);
        noise = drift::estimate(&now, &problem.residuals(&best), &problem.columns(&best));
        noise.drift = noise.drift.max(LEAST_DRIFT);
        noise.memory = noise.memory.max(LEAST_MEMORY);
    }
    let whitener = Whitener::new(&noise, &now);
    let problems = Problems::new(&now, &whitener, log_scale);
    let effective = whitener.effective_count(&noise).max(2.0);
    let shapes = fit_all(&problems)
        .into_iter()
        .map(|(shape, fit)| {
            let sized = |index: usize, cut: f64| {
                let problem = problems.of(shape);
                let (low, high) = profile(problem, &[fit], index, fit.deviance, cut);
                Interval {
                    best: fit.parameters[index],
                    low,
                    high,
                }
            };
            let size = match shape {
                Shape::Same => None,
                Shape::Multiple => Some(multiple(sized(0, CUT_MULTIPLE))),
                Shape::Steady => Some(sized(1, CUT_STEADY).scaled(scale)),
                Shape::Falling => Some(sized(2, CUT_FALLING).scaled(scale)),
            };
            Weighed {
                shape,
                criterion: fit.deviance + shape.parameters() * effective.ln(),
                size,
            }
        })
        .collect();
    Some(shapes)
}

/// What two healthy pump-downs differ by, free in every shape.
const OWN: Free = [true, false, false, false, true];

impl Shape {
    /// Parameters of its own.
    fn parameters(self) -> f64 {
        match self {
            Self::Same => 0.0,
            Self::Multiple | Self::Steady => 1.0,
            Self::Falling => 2.0,
        }
    }
}

/// The same blocks for shapes whose level is that of a healthy pump-down, and for a multiple of it.
struct Problems<'a> {
    own: Problem<'a>,
    multiple: Problem<'a>,
}

impl<'a> Problems<'a> {
    fn new(blocks: &'a [Block], whitener: &'a Whitener, log_scale: f64) -> Self {
        let tilted = || Problem::new(blocks, whitener, log_scale).knowing(4, USUAL_TILT);
        Self {
            own: tilted().knowing(0, USUAL_DIFFERENCE),
            multiple: tilted(),
        }
    }

    fn of(&self, shape: Shape) -> &Problem<'a> {
        match shape {
            Shape::Multiple => &self.multiple,
            _ => &self.own,
        }
    }
}

/// A multiple from the interval of its logarithm, which does not hold yet what two healthy pump-downs
/// differ by.
fn multiple(log: Interval) -> Interval {
    let usual = CUT_MULTIPLE.sqrt() * USUAL_DIFFERENCE;
    Interval {
        best: log.best.exp(),
        low: (log.best - usual.hypot(log.best - log.low)).exp(),
        high: (log.best + usual.hypot(log.high - log.best)).exp(),
    }
}

/// The blocks of a part between two times since pumping began, with `at` from 0 to 1 between them.
fn restricted(part: &Part, from: f64, to: f64) -> Vec<Block> {
    let start = part.between.0 - part.origin;
    let length = part.between.1 - part.between.0;
    part.blocks
        .iter()
        .filter_map(|block| {
            let at = (start + block.at * length - from) / (to - from);
            (0.0..=1.0).contains(&at).then_some(Block { at, ..*block })
        })
        .collect()
}
