//! The error model of a pressure record: independent scatter of each reading plus a slow drift.
//!
//! Both act on `ln p`, since a gauge errs by a share of its reading. The drift is a stationary
//! first-order autoregression in continuous time (correlation `exp(-dt / memory)`), so unequal
//! spacing needs no resampling. Whitening is a scalar Kalman filter: linear in the number of
//! blocks. Beside it the gain may change steadily over the record, by a share known only to be of the
//! order of [`GAIN`]: a record cannot show it, so it widens intervals instead of being fitted.
//! The variance parts are found by restricted maximum likelihood (Patterson and Thompson,
//! Biometrika 58 (1971) 545, from memory). Must not import I/O.

use super::reduce::Block;

/// Scatter and drift of one record.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Noise {
    /// Standard deviation of one reading about the drift, as a share of the reading.
    pub(crate) scatter: f64,
    /// Standard deviation of the drift, as a share of the reading.
    pub(crate) drift: f64,
    /// Correlation time of the drift, as a share of the record.
    pub(crate) memory: f64,
}

/// Turns residuals with the correlation of [`Noise`] into independent ones of unit variance.
#[derive(Clone, Debug)]
pub(crate) struct Whitener {
    steps: Vec<Step>,
    log_determinant: f64,
    slope: Option<Slope>,
}

/// A steady change of gain: its whitened course, and how much of a projection on it is taken away.
#[derive(Clone, Debug)]
struct Slope {
    course: Vec<f64>,
    taken: f64,
}

/// Standard deviation of the steady change of a gauge's gain over a test, as a share (common
/// practice, no source).
pub(crate) const GAIN: f64 = 0.015;

#[derive(Clone, Copy, Debug)]
struct Step {
    carry: f64,
    gain: f64,
    scale: f64,
}

impl Whitener {
    pub(crate) fn new(noise: &Noise, blocks: &[Block]) -> Self {
        let drift = noise.drift * noise.drift;
        let scatter = (noise.scatter * noise.scatter).max(1e-16);
        let mut spread = drift;
        let mut before: Option<f64> = None;
        let mut log_determinant = 0.0;
        let steps = blocks
            .iter()
            .map(|block| {
                let carry = match before {
                    Some(at) => (-(block.at - at) / noise.memory).exp(),
                    None => 0.0,
                };
                before = Some(block.at);
                let predicted = carry * carry * spread + drift * (1.0 - carry * carry);
                let total = predicted + scatter / block.count;
                let gain = predicted / total;
                spread = predicted * (1.0 - gain);
                log_determinant += total.ln();
                Step {
                    carry,
                    gain,
                    scale: total.sqrt().recip(),
                }
            })
            .collect();
        Self {
            steps,
            log_determinant,
            slope: None,
        }
    }

    /// The same with a gain that changes steadily from the start of the record, by a share of
    /// standard deviation `gain` at its end.
    ///
    /// The covariance grows by `gain² x xᵀ`, whose inverse root is that of a rank-one update: of a
    /// whitened course `u`, the share `1 - (1 + gain² |u|²)^-1/2` of every projection is taken away.
    pub(crate) fn with_gain(noise: &Noise, blocks: &[Block], gain: f64) -> Self {
        let mut whitener = Self::new(noise, blocks);
        let mut course: Vec<f64> = blocks.iter().map(|block| block.at).collect();
        whitener.whiten(&mut course);
        let square = dot(&course, &course);
        if square > 0.0 {
            let grown = 1.0 + gain * gain * square;
            whitener.log_determinant += grown.ln();
            whitener.slope = Some(Slope {
                course,
                taken: (1.0 - grown.sqrt().recip()) / square,
            });
        }
        whitener
    }

    /// Whitens `values` in place.
    pub(crate) fn whiten(&self, values: &mut [f64]) {
        let mut mean = 0.0;
        for (value, step) in values.iter_mut().zip(&self.steps) {
            let predicted = step.carry * mean;
            let surprise = *value - predicted;
            mean = predicted + step.gain * surprise;
            *value = surprise * step.scale;
        }
        if let Some(slope) = &self.slope {
            let taken = slope.taken * dot(&slope.course, values);
            for (value, course) in values.iter_mut().zip(&slope.course) {
                *value -= taken * course;
            }
        }
    }

    /// Logarithm of the determinant of the covariance of the blocks.
    pub(crate) fn log_determinant(&self) -> f64 {
        self.log_determinant
    }

    /// Readings' worth of independent scatter for a level: how many independent readings with the
    /// variance of one reading would fix a constant as well as these blocks do.
    pub(crate) fn effective_count(&self, noise: &Noise) -> f64 {
        let mut ones = vec![1.0; self.steps.len()];
        self.whiten(&mut ones);
        let information: f64 = ones.iter().map(|one| one * one).sum();
        information * (noise.scatter * noise.scatter + noise.drift * noise.drift)
    }
}

/// Estimates the noise from `residuals` about a fit whose derivative columns are `columns`.
///
/// A record is often too short to show its own slow drift, so the likelihood is multiplied by a
/// log-normal prior about [`PRIOR_DRIFT`]: without it, intervals are too narrow.
pub(crate) fn estimate(blocks: &[Block], residuals: &[f64], columns: &[Vec<f64>]) -> Noise {
    let readings: f64 = blocks.iter().map(|block| block.count).sum();
    let typical = readings / blocks.len() as f64;
    let mut best: Option<(f64, Noise)> = None;
    for memory in MEMORIES {
        for ratio in RATIOS {
            // `ratio` is the drift over the scatter of a block mean.
            let trial = Noise {
                scatter: 1.0,
                drift: ratio / typical.sqrt(),
                memory,
            };
            let Some((deviance, variance)) = restricted(blocks, residuals, columns, &trial) else {
                continue;
            };
            let scale = variance.sqrt();
            let drift = trial.drift * scale;
            let away = (drift / PRIOR_DRIFT).ln();
            let spread = if away < 0.0 {
                SPREAD_BELOW
            } else {
                SPREAD_ABOVE
            };
            let prior = (away / spread).powi(2);
            let score = deviance + prior;
            if best.as_ref().is_none_or(|(lowest, _)| score < *lowest) {
                best = Some((
                    score,
                    Noise {
                        scatter: scale,
                        drift,
                        memory,
                    },
                ));
            }
        }
    }
    best.map_or(
        Noise {
            scatter: 0.05,
            drift: PRIOR_DRIFT,
            memory: 0.25,
        },
        |(_, noise)| noise,
    )
}

const MEMORIES: [f64; 5] = [0.01, 0.03, 0.1, 0.3, 1.0];
const RATIOS: [f64; 12] = [
    0.1, 0.25, 0.5, 0.8, 1.2, 2.0, 3.0, 5.0, 8.0, 13.0, 20.0, 40.0,
];
/// Drift expected of a gauge within one test, as a share (common practice, no source).
const PRIOR_DRIFT: f64 = 0.02;
/// Spread of that expectation below and above, in `ln`: less drift is hardly believed, more is.
const SPREAD_BELOW: f64 = 0.3;
const SPREAD_ABOVE: f64 = 1.0;

/// Restricted deviance with the scale profiled out, and that scale's square.
fn restricted(
    blocks: &[Block],
    residuals: &[f64],
    columns: &[Vec<f64>],
    noise: &Noise,
) -> Option<(f64, f64)> {
    let whitener = Whitener::new(noise, blocks);
    let mut rest = residuals.to_vec();
    whitener.whiten(&mut rest);
    // Modified Gram-Schmidt: projects the fitted directions out and gives their determinant.
    let mut basis: Vec<Vec<f64>> = Vec::with_capacity(columns.len());
    let mut log_information = 0.0;
    for column in columns {
        let mut column = column.clone();
        whitener.whiten(&mut column);
        let before = dot(&column, &column);
        for unit in &basis {
            let share = dot(unit, &column);
            for (value, one) in column.iter_mut().zip(unit) {
                *value -= share * one;
            }
        }
        let left = dot(&column, &column);
        if left <= 1e-8 * before || left <= 0.0 {
            continue;
        }
        log_information += left.ln();
        let length = left.sqrt();
        for value in &mut column {
            *value /= length;
        }
        let share = dot(&column, &rest);
        for (value, one) in rest.iter_mut().zip(&column) {
            *value -= share * one;
        }
        basis.push(column);
    }
    let freedom = blocks.len() as f64 - basis.len() as f64;
    if freedom < 1.0 {
        return None;
    }
    let variance = (dot(&rest, &rest) / freedom).max(1e-12);
    let deviance = whitener.log_determinant() + log_information + freedom * variance.ln();
    (deviance.is_finite()).then_some((deviance, variance))
}

fn dot(left: &[f64], right: &[f64]) -> f64 {
    left.iter().zip(right).map(|(a, b)| a * b).sum()
}
