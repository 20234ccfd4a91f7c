//! A spectrum as a non-negative sum of cracking patterns, with Monte-Carlo intervals.

use nalgebra::{DMatrix, DVector};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::nnls::{NnlsError, non_negative_least_squares};
use super::patterns::{Gas, Patterns};
use super::spectrum::Spectrum;

/// The weights are made anew from the fit until no gas moves by more than this share of the largest, and at
/// most so often.
const SETTLED: f64 = 1e-10;
const ROUNDS: usize = 200;
/// Relative noise of a measured ion current (assumed).
const CURRENT_NOISE: f64 = 0.05;
/// Relative uncertainty of a sensitivity, from the spread of gauge factors between authors.
const SENSITIVITY_SPREAD: f64 = 0.2;
/// The same up to [`LIGHT`], which a quadrupole passes up to ten times as well as its gauge factor says: common
/// practice, no source.
const LIGHT_SENSITIVITY_SPREAD: f64 = 1.0;
/// The heaviest mass that is called light.
const LIGHT: u16 = 4;
/// Draws of the Monte-Carlo.
const DRAWS: usize = 400;

/// An estimate with its 95 % interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Amount {
    /// Best estimate.
    pub value: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// How much of one gas the spectrum holds.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// The gas's id in the patterns.
    pub gas: String,
    /// Its name.
    pub name: String,
    /// Ion current of its highest peak, in the spectrum's unit.
    pub current: Amount,
    /// Its share of the total pressure, 0 to 1, by the sensitivities of the patterns.
    pub share: Amount,
}

/// One mass: what was measured and how the fit makes it up.
#[derive(Clone, Debug, PartialEq)]
pub struct PeakFit {
    /// The mass.
    pub mass: u16,
    /// Measured ion current.
    pub measured: f64,
    /// Fitted ion current.
    pub fitted: f64,
    /// Contribution of each gas that has one: id and ion current.
    pub parts: Vec<(String, f64)>,
}

/// A spectrum explained.
#[derive(Clone, Debug, PartialEq)]
pub struct Decomposition {
    /// Every gas tried, in the order of the patterns.
    pub gases: Vec<Part>,
    /// Every mass of the spectrum.
    pub peaks: Vec<PeakFit>,
    /// Sum of |measured − fitted| over the sum of the measured currents.
    pub unexplained: f64,
    /// Names of gases not tried, because their highest peak was not measured.
    pub untried: Vec<String>,
}

/// Why a spectrum cannot be decomposed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum DecompositionError {
    /// No pattern's highest peak was measured.
    #[error("no gas of the cracking patterns has its highest peak among the masses measured")]
    NothingToTry,
    /// The fit failed.
    #[error("the decomposition failed: {0}")]
    Fit(#[from] NnlsError),
}

/// Explains `spectrum` by `patterns`; `seed` fixes the intervals.
///
/// Least squares in which each mass weighs as little as it is known: its variance is that of the current
/// (5 % of it, and [`Spectrum::least_error`]) and that of every pattern's height there (its spread, of what
/// the gas gives by the fit itself; none at the gas's highest peak, by which it is measured). So an isotope
/// peak that the analyser does not show, or shows too small, takes no gas away that its highest peak shows.
/// A gas is tried only if its highest peak was measured. The 95 % intervals are quantiles, widened for the
/// bias of the bound at zero, of 400 fits in which currents, pattern heights and sensitivities (20 %, of hydrogen and helium a factor of two) are
/// drawn anew by the same errors.
///
/// Source: the propagation of errors; that patterns are good to some 30 % is common practice, no source.
pub fn decompose(
    spectrum: &Spectrum,
    patterns: &Patterns,
    seed: u64,
) -> Result<Decomposition, DecompositionError> {
    let (tried, untried): (Vec<&Gas>, Vec<&Gas>) = patterns
        .gases()
        .iter()
        .partition(|gas| spectrum.at(gas.base).is_some());
    if tried.is_empty() {
        return Err(DecompositionError::NothingToTry);
    }
    let masses: Vec<u16> = spectrum.currents().keys().copied().collect();
    let top = spectrum.highest().1;
    let measured = DVector::from_iterator(
        masses.len(),
        spectrum.currents().values().map(|current| current / top),
    );
    let least_error = spectrum.least_error() / top;
    let table = DMatrix::from_fn(masses.len(), tried.len(), |i, j| {
        tried[j].peaks.get(&masses[i]).copied().unwrap_or(0.0)
    });
    let spreads = DMatrix::from_fn(masses.len(), tried.len(), |i, j| {
        if masses[i] == tried[j].base {
            0.0
        } else {
            tried[j].spread * table[(i, j)]
        }
    });
    // The first errors are those of the most there can be of each gas, all of its highest peak. From less, a
    // companion that is missing would weigh the more the less of the gas there seems to be.
    let most = DVector::from_fn(tried.len(), |j, _| {
        spectrum.at(tried[j].base).unwrap_or(0.0) / top
    });
    let mut best = most;
    for _ in 0..ROUNDS {
        let next = weighted(
            &table,
            &measured,
            &errors(&measured, &spreads, &best, least_error),
        )?;
        if (&next - &best).amax() <= SETTLED * next.amax() {
            best = next;
            break;
        }
        // Half-way, since whole steps may swing between two fits for ever.
        best = 0.5 * (best + next);
    }
    let best_share = shares(&best, tried.iter().map(|gas| gas.sensitivity));

    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut currents = vec![Vec::with_capacity(DRAWS); tried.len()];
    let mut parts = currents.clone();
    for _ in 0..DRAWS {
        let mut drawn = table.clone();
        for (j, gas) in tried.iter().enumerate() {
            for (i, mass) in masses.iter().enumerate() {
                if drawn[(i, j)] > 0.0 && *mass != gas.base {
                    drawn[(i, j)] *= factor(&mut random, gas.spread);
                }
            }
        }
        let noisy = measured.map(|current| {
            (current * factor(&mut random, CURRENT_NOISE) + least_error * normal(&mut random))
                .max(0.0)
        });
        let fit = weighted(
            &drawn,
            &noisy,
            &errors(&noisy, &spreads, &best, least_error),
        )?;
        let sensitivities: Vec<f64> = tried
            .iter()
            .map(|gas| {
                let spread = match gas.base {
                    ..=LIGHT => LIGHT_SENSITIVITY_SPREAD,
                    _ => SENSITIVITY_SPREAD,
                };
                gas.sensitivity * factor(&mut random, spread)
            })
            .collect();
        let share = shares(&fit, sensitivities.into_iter());
        for j in 0..tried.len() {
            currents[j].push(fit[j] * top);
            parts[j].push(share[j]);
        }
    }

    let gases = tried
        .iter()
        .enumerate()
        .map(|(j, gas)| Part {
            gas: gas.id.clone(),
            name: gas.name.clone(),
            current: amount(best[j] * top, &mut currents[j], f64::INFINITY),
            share: amount(best_share[j], &mut parts[j], 1.0),
        })
        .collect();
    let fitted = &table * &best;
    let peaks = masses
        .iter()
        .enumerate()
        .map(|(i, &mass)| PeakFit {
            mass,
            measured: measured[i] * top,
            fitted: fitted[i] * top,
            parts: tried
                .iter()
                .enumerate()
                .map(|(j, gas)| (gas.id.clone(), table[(i, j)] * best[j] * top))
                .filter(|(_, current)| *current > 0.0)
                .collect(),
        })
        .collect();
    Ok(Decomposition {
        gases,
        peaks,
        unexplained: (&measured - &fitted).abs().sum() / measured.sum(),
        untried: untried.iter().map(|gas| gas.name.clone()).collect(),
    })
}

/// The standard error of each mass where the gases are those of `fit`.
fn errors(
    measured: &DVector<f64>,
    spreads: &DMatrix<f64>,
    fit: &DVector<f64>,
    least_error: f64,
) -> DVector<f64> {
    DVector::from_fn(measured.len(), |i, _| {
        let of_heights: f64 = spreads
            .row(i)
            .iter()
            .zip(fit.iter())
            .map(|(spread, current)| (spread * current).powi(2))
            .sum();
        (CURRENT_NOISE * measured[i])
            .hypot(least_error)
            .hypot(of_heights.sqrt())
    })
}

fn weighted(
    table: &DMatrix<f64>,
    measured: &DVector<f64>,
    errors: &DVector<f64>,
) -> Result<DVector<f64>, NnlsError> {
    let mut rows = table.clone();
    for (mut row, error) in rows.row_iter_mut().zip(errors.iter()) {
        row /= *error;
    }
    non_negative_least_squares(&rows, &measured.component_div(errors))
}

fn shares(fit: &DVector<f64>, sensitivities: impl Iterator<Item = f64>) -> Vec<f64> {
    let pressures: Vec<f64> = fit
        .iter()
        .zip(sensitivities)
        .map(|(current, sensitivity)| current / sensitivity)
        .collect();
    let total: f64 = pressures.iter().sum();
    pressures
        .iter()
        .map(|pressure| if total > 0.0 { pressure / total } else { 0.0 })
        .collect()
}

/// The 2.5 % and 97.5 % quantiles of the draws and their mirror image about the best value, the
/// wider of the two on each side, cut to 0 and `most`.
///
/// The bound x ≥ 0 pulls a gas down when its overlapping neighbour is near zero, and the draws
/// repeat that bias on the same side; the mirror image covers the other.
fn amount(value: f64, draws: &mut [f64], most: f64) -> Amount {
    draws.sort_by(f64::total_cmp);
    let at = |quantile: f64| draws[((draws.len() - 1) as f64 * quantile).round() as usize];
    let (low, high) = (at(0.025), at(0.975));
    Amount {
        value,
        low: low.min(2.0 * value - high).clamp(0.0, value),
        high: high.max(2.0 * value - low).min(most).max(value),
    }
}

fn factor(random: &mut ChaCha8Rng, spread: f64) -> f64 {
    (normal(random) * spread.ln_1p()).exp()
}

fn normal(random: &mut ChaCha8Rng) -> f64 {
    let radius: f64 = 1.0 - random.random::<f64>();
    let turn: f64 = random.random();
    (-2.0 * radius.ln()).sqrt() * (std::f64::consts::TAU * turn).cos()
}
