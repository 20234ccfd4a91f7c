//! A pump-down against the same tool's healthy one: where it leaves, and what explains it.

use super::late::{Part, part};
use super::{VolumePhase, pumping_begins, volume_phase};
use crate::vacuum::log::TidyRecord;
use crate::vacuum::rise::Interval;
use crate::vacuum::rise::drift::{self, Noise, Whitener};
use crate::vacuum::rise::fit::{
    Curve, Fit, Free, PARAMETERS, Parameters, Problem, lowest_of, profile,
};
use crate::vacuum::rise::reduce::{Block, blocks};

/// What can explain that a curve lies above the healthy one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum ExplanationKind {
    /// Nothing: the curve is the healthy one.
    AsHealthy,
    /// Less pumping speed, or a gauge that reads high: the pressure is a multiple of the healthy one.
    LowerSpeedOrGauge,
    /// A steady gas load: a leak, or a gauge at its limit.
    SteadyLoad,
    /// Gas from inside that falls with time: water, a trapped volume, new surfaces.
    MoreOutgassing,
}

/// One explanation fitted to the outgassing phase.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Explanation {
    /// Which one.
    pub kind: ExplanationKind,
    /// Information criterion above that of the best explanation.
    pub criterion_above_best: f64,
    /// Its size, 95 %: the multiple for [`ExplanationKind::LowerSpeedOrGauge`], otherwise the extra
    /// pressure in Pa at the end of the common time; none for [`ExplanationKind::AsHealthy`].
    pub size: Option<Interval>,
    /// Whether it explains the curve about as well as the best.
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

/// A comparison with the healthy record.
#[derive(Clone, Debug)]
pub struct Comparison {
    /// Where the curve leaves the healthy one; `None` if it does not.
    pub leaves: Option<Leaves>,
    /// Speed over volume against the healthy one in the volume phase, with its interval.
    pub volume_speed_ratio: Option<Interval>,
    /// Explanations of the outgassing phase, best first; empty if the records share none.
    pub explanations: Vec<Explanation>,
    /// Seconds since pumping began over which both records have an outgassing phase.
    pub common: Option<(f64, f64)>,
    /// Whether the reading stands still at the end, as that of a gauge at its limit.
    pub stands_still: bool,
}

/// Two healthy pump-downs of one tool differ by about this share (common practice, no source).
const USUAL_DIFFERENCE: f64 = 0.15;
/// Correlation time of that difference over the common time: it lasts as long as the pump-down.
const LONG_MEMORY: f64 = 4.0;
/// A curve has left the healthy one where it lies above by this factor for good.
const LEFT: f64 = 1.35;
/// An explanation this far above the best does not fit.
const MUCH_WORSE: f64 = 6.0;
const CUT: f64 = 5.0;

/// Compares a record with a healthy one of the same tool.
pub fn compare(record: &TidyRecord, healthy: &TidyRecord) -> Comparison {
    let mut comparison = Comparison {
        leaves: leaves(record, healthy),
        volume_speed_ratio: ratio(volume_phase(record), volume_phase(healthy)),
        explanations: Vec::new(),
        common: None,
        stands_still: stands_still(record),
    };
    let (Some(now), Some(then)) = (part(record), part(healthy)) else {
        return comparison;
    };
    let (track, healthy) = (Track::of(&now), Track::of(&then).smoothed(&then.blocks));
    let from = track.from().max(healthy.from());
    let to = track.to().min(healthy.to());
    if to < 1.5 * from {
        return comparison;
    }
    comparison.common = Some((from, to));
    comparison.explanations = explanations(&now, &healthy, from, to).unwrap_or_default();
    comparison
}

/// Speeds over one another; volumes are the same. The ends are those of the quotient of independent
/// intervals.
fn ratio(now: Option<VolumePhase>, then: Option<VolumePhase>) -> Option<Interval> {
    let (now, then) = (now?.speed_over_volume, then?.speed_over_volume);
    if now.low <= 0.0 || then.low <= 0.0 {
        return None;
    }
    let best = now.best / then.best;
    let below = ((now.best / now.low).ln().powi(2) + (then.high / then.best).ln().powi(2)).sqrt();
    let above = ((now.high / now.best).ln().powi(2) + (then.best / then.low).ln().powi(2)).sqrt();
    Some(Interval {
        best,
        low: best * (-below).exp(),
        high: best * above.exp(),
    })
}

fn leaves(record: &TidyRecord, healthy: &TidyRecord) -> Option<Leaves> {
    let now = Track::whole(record)?;
    let then = Track::whole(healthy)?;
    let (from, to) = (now.from().max(then.from()), now.to().min(then.to()));
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

/// `ln p` of a record against the time since pumping began, as block means on a logarithmic scale.
#[derive(Debug)]
struct Track {
    points: Vec<(f64, f64)>,
}

impl Track {
    fn whole(record: &TidyRecord) -> Option<Self> {
        let begins = pumping_begins(record);
        let seconds = record.seconds.get(begins..)?;
        let start = *seconds.first()?;
        let length = seconds.last()? - start;
        let points: Vec<(f64, f64)> = blocks(seconds, &record.pascals[begins..])
            .iter()
            .map(|block| (block.at * length, block.log_pressure))
            .collect();
        (points.len() >= 3).then_some(Self { points })
    }

    fn of(part: &Part) -> Self {
        let length = part.between.1 - part.between.0;
        let start = part.between.0 - part.origin;
        Self {
            points: part
                .blocks
                .iter()
                .map(|block| (start + block.at * length, block.log_pressure))
                .collect(),
        }
    }

    /// The track with its scatter smoothed away: the healthy curve stands as given, and what scatters
    /// in it would count against the explanations that rest on it most.
    ///
    /// Each point becomes that of a straight line in `ln p` against `ln t` through its neighbours,
    /// weighted by the readings behind them.
    fn smoothed(self, blocks: &[Block]) -> Self {
        const NEAR: usize = 8;
        let points = (0..self.points.len())
            .map(|index| {
                let near = index.saturating_sub(NEAR)..(index + NEAR + 1).min(self.points.len());
                let log_here = self.points[index].0.max(1e-9).ln();
                let (mut weight, mut x, mut y, mut xx, mut xy) = (0.0, 0.0, 0.0, 0.0, 0.0);
                for neighbour in near {
                    let (time, log) = self.points[neighbour];
                    let (away, count) = (time.max(1e-9).ln() - log_here, blocks[neighbour].count);
                    weight += count;
                    x += count * away;
                    y += count * log;
                    xx += count * away * away;
                    xy += count * away * log;
                }
                let spread = weight * xx - x * x;
                let here = if spread > 1e-12 {
                    (xx * y - x * xy) / spread
                } else {
                    y / weight
                };
                (self.points[index].0, here)
            })
            .collect();
        Self { points }
    }

    fn from(&self) -> f64 {
        self.points.first().map_or(0.0, |point| point.0)
    }

    fn to(&self) -> f64 {
        self.points.last().map_or(0.0, |point| point.0)
    }

    /// `ln p` by straight lines between the points; `None` outside them.
    fn at(&self, time: f64) -> Option<f64> {
        let next = self.points.partition_point(|point| point.0 < time);
        let (after, before) = (
            self.points.get(next)?,
            self.points.get(next.saturating_sub(1))?,
        );
        if after.0 <= before.0 {
            return (after.0 == time).then_some(after.1);
        }
        let share = (time - before.0) / (after.0 - before.0);
        Some(before.1 + share * (after.1 - before.1))
    }
}

/// `p = k h + steady + falling t^-alpha`, with `h` the healthy pressure: parameter 0 is `ln k`, 1 the
/// steady part, 2 the falling part at the end, 3 its exponent; pressures over the healthy end.
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
        [(-5.0, 12.0), (0.0, 1e6), (0.0, 1e6), (0.3, 3.0), (0.0, 0.0)]
    }

    fn prepare(&self, _free: &Free, parameters: &Parameters) -> Parameters {
        *parameters
    }

    fn log_pressure(&self, x: f64, at: &Parameters) -> (f64, Parameters) {
        let healthy = self.healthy.at(x).map_or(0.0, f64::exp) * at[0].exp();
        let log_time = (self.start_share + (1.0 - self.start_share) * x)
            .max(1e-12)
            .ln();
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
                0.0,
            ],
        )
    }
}

fn explanations(now: &Part, then: &Track, from: f64, to: f64) -> Option<Vec<Explanation>> {
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
    let none = [false; PARAMETERS];
    let cases: [(ExplanationKind, Free, Vec<Parameters>); 4] = [
        (
            ExplanationKind::AsHealthy,
            none,
            vec![[0.0, 0.0, 0.0, 1.0, 0.0]],
        ),
        (
            ExplanationKind::LowerSpeedOrGauge,
            [true, false, false, false, false],
            vec![[log_factor, 0.0, 0.0, 1.0, 0.0]],
        ),
        (
            ExplanationKind::SteadyLoad,
            [false, true, false, false, false],
            vec![[0.0, start, 0.0, 1.0, 0.0]],
        ),
        (
            ExplanationKind::MoreOutgassing,
            [false, false, true, true, false],
            vec![[0.0, 0.0, start, 1.0, 0.0], [0.0, 0.0, start, 0.5, 0.0]],
        ),
    ];
    let fit_all = |problem: &Problem<'_>| {
        cases.clone().map(|(kind, free, starts)| {
            let fits: Vec<Fit<Against<'_>>> = starts
                .into_iter()
                .map(|at| problem.fit(curve, free, at))
                .collect();
            (kind, lowest_of(&fits))
        })
    };
    let mut noise = Noise {
        scatter: 0.05,
        drift: USUAL_DIFFERENCE,
        memory: LONG_MEMORY,
    };
    for _ in 0..2 {
        let whitener = Whitener::new(&noise, &now);
        let problem = Problem::new(&now, &whitener, log_scale);
        let fits = fit_all(&problem).map(|(_, fit)| fit);
        let best = lowest_of(&fits);
        noise = drift::estimate(&now, &problem.residuals(&best), &problem.columns(&best));
        // One pump-down differs from the next as a whole, which no record shows by itself.
        noise.drift = noise.drift.max(USUAL_DIFFERENCE);
        noise.memory = noise.memory.max(LONG_MEMORY);
    }
    let whitener = Whitener::new(&noise, &now);
    let problem = Problem::new(&now, &whitener, log_scale);
    let effective = whitener.effective_count(&noise).max(2.0);
    let mut explanations: Vec<Explanation> = fit_all(&problem)
        .into_iter()
        .map(|(kind, fit)| {
            let sized = |index: usize| {
                let (low, high) = profile(&problem, &[fit], index, fit.deviance, CUT);
                Interval {
                    best: fit.parameters[index],
                    low,
                    high,
                }
            };
            let size = match kind {
                ExplanationKind::AsHealthy => None,
                ExplanationKind::LowerSpeedOrGauge => {
                    let log = sized(0);
                    Some(Interval {
                        best: log.best.exp(),
                        low: log.low.exp(),
                        high: log.high.exp(),
                    })
                }
                ExplanationKind::SteadyLoad => Some(sized(1).scaled(scale)),
                ExplanationKind::MoreOutgassing => Some(sized(2).scaled(scale)),
            };
            Explanation {
                kind,
                criterion_above_best: fit.deviance + fit.free_count() as f64 * effective.ln(),
                size,
                fits: false,
            }
        })
        .collect();
    explanations.sort_by(|a, b| a.criterion_above_best.total_cmp(&b.criterion_above_best));
    let lowest = explanations[0].criterion_above_best;
    for explanation in &mut explanations {
        explanation.criterion_above_best -= lowest;
        explanation.fits = explanation.criterion_above_best < MUCH_WORSE;
    }
    Some(explanations)
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

/// Whether the last fifth of the readings, 20 at least, are all the same.
fn stands_still(record: &TidyRecord) -> bool {
    let count = (record.pascals.len() / 5).max(20);
    record
        .pascals
        .len()
        .checked_sub(count)
        .map(|from| &record.pascals[from..])
        .is_some_and(|last| last.windows(2).all(|pair| pair[0] == pair[1]))
}
