//! Weighs the shapes against one another: the amounts of leak and of gas from inside, each with
//! its interval, and the shape an information criterion chooses.
//!
//! The intervals come from the profile likelihood over all shapes at once, so that they do not
//! pretend the chosen shape to be known. Errors are shares of the reading with scatter and drift
//! (see [`super::drift`]). Must not import I/O.

use super::drift::{self, Noise, Slow, Whitener};
use super::fit::{Fit, Free, Parameters, Problem, lowest_of, profile};
use super::reduce::{Block, blocks};
use super::rivals;
use super::shape::{Gas, Shape, Split};
use crate::vacuum::log::{SHORTEST_SPAN, in_order};

/// A value with the interval that holds it with the stated chance.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Interval {
    /// The likeliest value.
    pub best: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Interval {
    /// The interval with every value multiplied by a positive number.
    pub fn scaled(self, factor: f64) -> Self {
        Self {
            best: self.best * factor,
            low: self.low * factor,
            high: self.high * factor,
        }
    }
}

/// A shape that a rise can follow.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum RiseShape {
    /// A straight rise: `p0 + a t`.
    Straight,
    /// A rise that flattens: `p0 + b (1 - exp(-t/tau))`.
    Flattening,
    /// Power-law outgassing: `p0 + c ((t + t0)^(1-alpha) - t0^(1-alpha)) / (1 - alpha)`.
    PowerLaw,
    /// Straight and flattening together.
    StraightAndFlattening,
    /// Straight and power law together.
    StraightAndPowerLaw,
}

impl RiseShape {
    const ALL: [Self; 5] = [
        Self::Straight,
        Self::Flattening,
        Self::PowerLaw,
        Self::StraightAndFlattening,
        Self::StraightAndPowerLaw,
    ];

    /// The shape in words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Straight => "straight rise",
            Self::Flattening => "rise that flattens",
            Self::PowerLaw => "power-law outgassing",
            Self::StraightAndFlattening => "straight rise and one that flattens",
            Self::StraightAndPowerLaw => "straight rise and power-law outgassing",
        }
    }

    /// Whether a steady inflow is part of it.
    pub fn has_leak(self) -> bool {
        matches!(
            self,
            Self::Straight | Self::StraightAndFlattening | Self::StraightAndPowerLaw
        )
    }

    /// Whether gas from inside is part of it.
    pub fn has_gas(self) -> bool {
        self != Self::Straight
    }

    fn gas(self) -> Gas {
        match self {
            Self::PowerLaw | Self::StraightAndPowerLaw => Gas::Power,
            _ => Gas::Saturating,
        }
    }

    fn free(self) -> Free {
        [
            true,
            self.has_leak(),
            self.has_gas(),
            self.has_gas(),
            self.has_gas() && self.gas() == Gas::Power,
        ]
    }
}

/// One shape fitted to a record.
#[derive(Clone, Debug)]
pub struct ShapeFit {
    /// The shape.
    pub shape: RiseShape,
    /// Bayesian information criterion with the effective number of readings; lower is better and
    /// only differences have meaning.
    pub criterion: f64,
    /// Pressure at the start, Pa.
    pub start: f64,
    /// Rise by the straight part over the record, Pa.
    pub straight: f64,
    /// Rise by the part that slows over the record, Pa.
    pub slowing: f64,
    /// Time constant of the flattening part in seconds.
    pub time_constant: Option<f64>,
    /// Exponent and age in seconds of the power law.
    pub power: Option<(f64, f64)>,
    fit: Fit<Shape>,
    scale: f64,
    length: f64,
}

impl ShapeFit {
    /// The fitted pressure in Pa, `seconds` after the start of the record; `None` outside it. Source: that of
    /// [`weigh`].
    pub fn pascals_at(&self, seconds: f64) -> Option<f64> {
        let x = seconds / self.length;
        (0.0..=1.0)
            .contains(&x)
            .then(|| self.fit.log_pressure(x).exp() * self.scale)
    }
}

/// What a record says about the sources of its rise.
#[derive(Clone, Debug)]
pub struct Weighed {
    /// Each shape, best first.
    pub shapes: Vec<ShapeFit>,
    /// Rise over the record by a steady inflow, Pa, 95 %.
    pub straight: Interval,
    /// Rise over the record by gas from inside, Pa, 95 %.
    pub slowing: Interval,
    /// The steady inflow's share of the rise, 95 %.
    pub share: Interval,
    /// Whether a leak of less than `LEAST_SHARE` fits too badly to be believed (see `STRICT_CUT`), and so do two
    /// sources of gas where one shows beside the leak.
    pub leak_shown: bool,
    /// Seconds from the start at which the inflow stopped, where that fits far better than any shape.
    pub stops: Option<f64>,
    /// Whether an inflow that quickens fits far better than any shape.
    pub quickens: bool,
    /// Whole rise over the record, Pa, 95 %.
    pub rise: Interval,
    /// Scatter of one reading, as a share.
    pub scatter: f64,
    /// Drift of the gauge, as a share.
    pub drift: f64,
    /// Correlation time of the drift in seconds.
    pub drift_memory: f64,
    /// Readings' worth of independent scatter.
    pub effective_count: f64,
    /// Length of the record in seconds.
    pub length: f64,
    /// Residuals of `ln p` about the best shape with a straight and a slowing part, by block:
    /// seconds from the start, residual, index of the first reading, readings.
    pub(crate) residuals: Vec<(f64, f64, usize, f64)>,
}

/// Excess of the deviance at the ends of a 95 % interval. Below the 3.84 of a chi-square of one degree,
/// since the truth may lie at a bound (2.71 there, as for a leak alone) and more drift is allowed for
/// than most gauges have; set on 19,200 and again on 10,800 tuning records of six gauges so that it holds the
/// truth for each of them, and tried on others in `held_out`.
const CUT: f64 = 1.75;
/// The same of the leak's share, which lies at a bound more often and whose interval ends there.
const CUT_SHARE: f64 = 3.2;
/// The same before a leak is named, set on tuning records so that pure outgassing is called a leak well
/// below once in 100, and leaks as often as that lets them.
const STRICT_CUT: f64 = 2.9;
/// The least share of the rise that is named a leak.
const LEAST_SHARE: f64 = 0.05;
/// Shortest memory of the drift that intervals allow for, as a share of the record: where quick drift
/// is seen, slower drift may hide beneath it.
const SLOWER: f64 = 0.3;
/// Slow changes of a gauge's gain over a test that intervals allow for (common practice, no source).
pub(crate) const SLOW: Slow = Slow {
    steady: 0.022,
    swing: 0.01,
};

/// Fewest readings that can be weighed.
pub const FEWEST: usize = 12;

/// Weighs the shapes on a clean record: times rise, pressures in Pa are above zero.
///
/// `None` if there are fewer than [`FEWEST`] readings, less than a microsecond passes, times fall, a pressure is not above
/// zero, or a number is not finite and within 1e-30 to 1e30. The shapes are those of `super::shape` with
/// their sources; intervals by profile likelihood (Venzon and Moolgavkar, Appl. Stat. 37 (1988) 87, from
/// memory).
pub fn weigh(seconds: &[f64], pascals: &[f64]) -> Option<Weighed> {
    if !in_order(seconds, pascals) {
        return None;
    }
    let length = seconds.last()? - seconds.first()?;
    weigh_blocks(&blocks(seconds, pascals), length)
}

/// The same of block means over `length` seconds.
pub(super) fn weigh_blocks(blocks: &[Block], length: f64) -> Option<Weighed> {
    if blocks.len() < FEWEST || length < SHORTEST_SPAN {
        return None;
    }
    let log_scale = blocks
        .iter()
        .map(|block| block.log_pressure)
        .fold(f64::NEG_INFINITY, f64::max);
    let scale = log_scale.exp();
    let (noise, started) = noise_of(blocks, log_scale);
    let effective_count = Whitener::new(&noise, blocks).effective_count(&noise);
    let allowed = Noise {
        memory: noise.memory.max(SLOWER),
        ..noise
    };
    let whitener = Whitener::with_slow(&allowed, blocks, SLOW);
    let problem = Problem::new(blocks, &whitener, log_scale);

    let fits = RiseShape::ALL.map(|shape| {
        let known = started.iter().find(|(known, _)| *known == shape);
        let fit = match known {
            Some((_, fit)) => problem.fit(fit.shape, fit.free, fit.parameters),
            None => best_fit(&problem, blocks, log_scale, shape),
        };
        (shape, fit)
    });
    let both: Vec<Fit<Shape>> = fits[3..].iter().map(|(_, fit)| *fit).collect();
    let lowest = fits
        .iter()
        .map(|(_, fit)| fit.deviance)
        .fold(f64::INFINITY, f64::min);
    let shared: Vec<Fit<Shape>> = both.iter().map(|fit| as_share(&problem, fit)).collect();
    let lowest = shared.iter().map(|fit| fit.deviance).fold(lowest, f64::min);
    let interval = |fits: &[Fit<Shape>], index: usize, cut: f64| {
        let (low, high) = profile(&problem, fits, index, lowest, cut);
        let best = lowest_of(fits).parameters[index];
        Interval { best, low, high }
    };
    let mut straight = interval(&both, 1, CUT).scaled(scale);
    let slowing = interval(&both, 2, CUT).scaled(scale);
    let rise = interval(&shared, 1, CUT).scaled(scale);
    let mut share = interval(&shared, 2, CUT_SHARE);
    let mut leak_shown = share.best > LEAST_SHARE
        && lowest_with_share(&problem, &shared, LEAST_SHARE) - lowest > STRICT_CUT;
    // Of a leak with gas from one source, gas from two may be all there is.
    if leak_shown
        && slowing.low > 0.0
        && rivals::two_sources(&problem, both[0].parameters) - lowest <= STRICT_CUT
    {
        leak_shown = false;
        (straight.low, share.low) = (0.0, 0.0);
    }
    let fullest = lowest_of(&both);
    let [start, leak, gas, ..] = fullest.parameters;
    let stops = (!leak_shown)
        .then(|| rivals::stops(&problem, lowest, start, leak + gas))
        .flatten()
        .map(|at| at * length);
    let quickens = leak_shown && rivals::quickens(&problem, lowest, start, leak + gas);

    let residuals = problem
        .residuals(&fullest)
        .into_iter()
        .zip(blocks)
        .map(|(residual, block)| (block.at * length, residual, block.first, block.count))
        .collect();

    let mut shapes: Vec<ShapeFit> = fits
        .into_iter()
        .map(|(shape, fit)| {
            let [start, straight, slowing, third, fourth] = fit.parameters;
            let gas = shape.has_gas();
            ShapeFit {
                shape,
                criterion: fit.deviance + fit.free_count() as f64 * effective_count.max(2.0).ln(),
                start: start.exp() * scale,
                straight: straight * scale,
                slowing: slowing * scale,
                time_constant: (gas && shape.gas() == Gas::Saturating)
                    .then(|| third.exp() * length),
                power: (shape.gas() == Gas::Power).then(|| (third, fourth.exp() * length)),
                fit,
                scale,
                length,
            }
        })
        .collect();
    shapes.sort_by(|a, b| a.criterion.total_cmp(&b.criterion));
    Some(Weighed {
        shapes,
        straight,
        slowing,
        share,
        leak_shown,
        stops,
        quickens,
        rise,
        scatter: noise.scatter,
        drift: noise.drift,
        drift_memory: noise.memory * length,
        effective_count,
        length,
        residuals,
    })
}

/// Scatter and drift about the most flexible shapes, in three rounds, and the fits of those shapes.
fn noise_of(blocks: &[Block], log_scale: f64) -> (Noise, [(RiseShape, Fit<Shape>); 2]) {
    let mut noise = Noise {
        scatter: 0.05,
        drift: 0.0,
        memory: 0.1,
    };
    let whitener = Whitener::new(&noise, blocks);
    let problem = Problem::new(blocks, &whitener, log_scale);
    let mut fits = [
        RiseShape::StraightAndFlattening,
        RiseShape::StraightAndPowerLaw,
    ]
    .map(|shape| (shape, best_fit(&problem, blocks, log_scale, shape)));
    for round in 0..3 {
        let whitener = Whitener::new(&noise, blocks);
        let problem = Problem::new(blocks, &whitener, log_scale);
        if round > 0 {
            for (_, fit) in &mut fits {
                *fit = problem.fit(fit.shape, fit.free, fit.parameters);
            }
        }
        let flexible = lowest_of(&fits.map(|(_, fit)| fit));
        let before = noise;
        noise = drift::estimate(
            blocks,
            &problem.residuals(&flexible),
            &problem.columns(&flexible),
        );
        if noise.drift == before.drift && noise.memory == before.memory {
            break;
        }
    }
    (noise, fits)
}

fn best_fit(
    problem: &Problem<'_>,
    blocks: &[Block],
    log_scale: f64,
    rise: RiseShape,
) -> Fit<Shape> {
    let shape = Shape {
        gas: rise.gas(),
        split: Split::Rates,
    };
    let relative =
        |block: Option<&Block>| block.map_or(1.0, |block| (block.log_pressure - log_scale).exp());
    let start = relative(blocks.first());
    let rest = (relative(blocks.last()) - start).max(0.01);
    let (straight, slowing) = match (rise.has_leak(), rise.has_gas()) {
        (true, true) => (0.5 * rest, 0.5 * rest),
        (true, false) => (rest, 0.0),
        _ => (0.0, rest),
    };
    let forms: &[(f64, f64)] = if rise.has_gas() {
        shape.starts()
    } else {
        &[(0.0, 0.0)]
    };
    let fits: Vec<Fit<Shape>> = forms
        .iter()
        .map(|&(third, fourth)| {
            let at: Parameters = [start.max(1e-9).ln(), straight, slowing, third, fourth];
            problem.fit(shape, rise.free(), at)
        })
        .collect();
    lowest_of(&fits)
}

/// The same fit with the whole rise and the leak's share as its amounts.
fn as_share(problem: &Problem<'_>, fit: &Fit<Shape>) -> Fit<Shape> {
    let mut at = fit.parameters;
    at[1] = fit.parameters[1] + fit.parameters[2];
    at[2] = if at[1] > 0.0 {
        fit.parameters[1] / at[1]
    } else {
        0.5
    };
    let shape = Shape {
        split: Split::Share,
        ..fit.shape
    };
    problem.fit(shape, fit.free, at)
}

/// The lowest deviance with the leak's share held, looked for from each fit and afresh, since a fit that
/// went astray would name a leak that is none.
fn lowest_with_share(problem: &Problem<'_>, fits: &[Fit<Shape>], share: f64) -> f64 {
    let mut lowest = f64::INFINITY;
    for fit in fits {
        let mut free = fit.free;
        free[2] = false;
        let mut start = fit.parameters;
        start[2] = share;
        let [.., third, fourth] = start;
        for &(third, fourth) in [(third, fourth)].iter().chain(fit.shape.starts()) {
            (start[3], start[4]) = (third, fourth);
            lowest = lowest.min(problem.fit(fit.shape, free, start).deviance);
        }
    }
    lowest
}
