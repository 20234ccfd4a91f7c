//! The error model of a pressure record: independent scatter of each reading plus a slow drift.
//!
//! Both act on `ln p`, since a gauge errs by a share of its reading. The drift is a stationary
//! first-order autoregression in continuous time (correlation `exp(-dt / memory)`), so unequal
//! spacing needs no resampling. Whitening is a scalar Kalman filter: linear in the number of
//! blocks. Beside it the gain may change so slowly that a record cannot show it ([`Slow`]): steadily, or
//! in a swing of about the record's length. Known to be small only, such a change widens intervals
//! instead of being fitted.
//! The variance parts are found by restricted maximum likelihood (Patterson and Thompson,
//! Biometrika 58 (1971) 545, from memory). Must not import I/O.

use std::f64::consts::TAU;

use nalgebra::Matrix3;

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

/// Columns that are whitened together: a residual and the derivatives by up to five parameters. One
/// block of each makes a row.
pub(crate) const COLUMNS: usize = 6;
/// A residual and its derivatives at one block.
pub(crate) type Row<const K: usize> = [f64; K];
/// Sums of products of each two whitened columns.
pub(crate) type Products<const K: usize = COLUMNS> = [[f64; K]; K];

/// Turns residuals with the correlation of [`Noise`] into independent ones of unit variance.
#[derive(Clone, Debug)]
pub(crate) struct Whitener {
    steps: Vec<Step>,
    slow: Vec<[f64; SLOW]>,
}

/// Standard deviations of slow changes of a gauge's gain, as shares of the reading.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Slow {
    /// Of a steady change from the start of the record to its end.
    pub(crate) steady: f64,
    /// Of the cosine and of the sine of a swing whose period is the record.
    pub(crate) swing: f64,
}

/// Courses of slow changes: a ramp, a cosine and a sine.
const SLOW: usize = 3;

#[derive(Clone, Copy, Debug)]
struct Step {
    carry: f64,
    gain: f64,
    scale: f64,
}

impl Step {
    /// The step to a block whose mean has the variance `scatter` about the drift, and the variance of
    /// its surprise; `spread` is what is not known of the drift.
    fn next(carry: f64, scatter: f64, drift: f64, spread: &mut f64) -> (Self, f64) {
        let predicted = carry * carry * *spread + drift * (1.0 - carry * carry);
        let total = predicted + scatter;
        let gain = predicted / total;
        *spread = predicted * (1.0 - gain);
        let scale = total.sqrt().recip();
        (Self { carry, gain, scale }, total)
    }

    /// Whitens a row; `mean` is what is expected of the drift of each column.
    #[inline(always)]
    fn whiten<const K: usize>(&self, row: &Row<K>, mean: &mut Row<K>) -> Row<K> {
        let mut white = [0.0; K];
        for column in 0..K {
            let predicted = self.carry * mean[column];
            let surprise = row[column] - predicted;
            mean[column] = predicted + self.gain * surprise;
            white[column] = surprise * self.scale;
        }
        white
    }
}

/// Correlation of the drift at a block with that at the block before.
fn carry(before: Option<f64>, at: f64, memory: f64) -> f64 {
    before.map_or(0.0, |before| (-(at - before) / memory).exp())
}

/// Adds the products of a row to the upper half of `sums`, diagonal included; see [`whole`].
#[inline(always)]
fn add<const K: usize>(sums: &mut Products<K>, white: &Row<K>) {
    for row in 0..K {
        // From an even column on, so that they are added in pairs.
        for column in row & !1..K {
            sums[row][column] += white[row] * white[column];
        }
    }
}

/// Fills in the lower half of sums of products, which is the same as the upper.
fn whole<const K: usize>(sums: Products<K>) -> Products<K> {
    std::array::from_fn(|row| std::array::from_fn(|column| sums[row.min(column)][row.max(column)]))
}

impl Whitener {
    pub(crate) fn new(noise: &Noise, blocks: &[Block]) -> Self {
        let drift = noise.drift * noise.drift;
        let scatter = (noise.scatter * noise.scatter).max(1e-16);
        let mut spread = drift;
        let mut before: Option<f64> = None;
        let steps = blocks
            .iter()
            .map(|block| {
                let carry = carry(before.replace(block.at), block.at, noise.memory);
                Step::next(carry, scatter / block.count, drift, &mut spread).0
            })
            .collect();
        Self {
            steps,
            slow: Vec::new(),
        }
    }

    /// The same with a gain that also changes slowly.
    ///
    /// Slow changes `C`, whitened by the rest, add `C Cᵀ` to a covariance of unity, whose inverse is
    /// `1 - C (1 + CᵀC)⁻¹ Cᵀ` (Woodbury): with `(1 + CᵀC)⁻¹ = L Lᵀ`, the squares of projections on the
    /// columns of `C L` are taken away from every square.
    pub(crate) fn with_slow(noise: &Noise, blocks: &[Block], slow: Slow) -> Self {
        let mut whitener = Self::new(noise, blocks);
        let courses = [
            |slow: Slow, x: f64| slow.steady * x,
            |slow: Slow, x: f64| slow.swing * (TAU * x).cos(),
            |slow: Slow, x: f64| slow.swing * (TAU * x).sin(),
        ]
        .map(|course| {
            let mut course: Vec<f64> = blocks.iter().map(|block| course(slow, block.at)).collect();
            whitener.whiten(&mut course);
            course
        });
        let grown = Matrix3::from_fn(|row, column| dot(&courses[row], &courses[column]));
        let grown = (grown + Matrix3::identity()).try_inverse();
        if let Some(root) = grown.and_then(Matrix3::cholesky) {
            let root = root.l();
            whitener.slow = (0..blocks.len())
                .map(|block| {
                    std::array::from_fn(|column| {
                        (0..SLOW)
                            .map(|row| courses[row][block] * root[(row, column)])
                            .sum()
                    })
                })
                .collect();
        }
        whitener
    }

    /// Whitens `values` in place, without slow changes.
    pub(crate) fn whiten(&self, values: &mut [f64]) {
        let mut mean = 0.0;
        for (value, step) in values.iter_mut().zip(&self.steps) {
            let predicted = step.carry * mean;
            let surprise = *value - predicted;
            mean = predicted + step.gain * surprise;
            *value = surprise * step.scale;
        }
    }

    /// Sums of products of the columns of `rows`, one a block, whitened, in one pass.
    pub(crate) fn products<const K: usize>(&self, rows: &[Row<K>]) -> Products<K> {
        let mut sums = [[0.0; K]; K];
        let mut mean = [0.0; K];
        if self.slow.is_empty() {
            for (row, step) in rows.iter().zip(&self.steps) {
                add(&mut sums, &step.whiten(row, &mut mean));
            }
            return whole(sums);
        }
        let mut along = [[0.0; K]; SLOW];
        for ((row, step), courses) in rows.iter().zip(&self.steps).zip(&self.slow) {
            let white = step.whiten(row, &mut mean);
            add(&mut sums, &white);
            for slow in 0..SLOW {
                for column in 0..K {
                    along[slow][column] += courses[slow] * white[column];
                }
            }
        }
        for along in &along {
            for (sums, left) in sums.iter_mut().zip(along) {
                for (sum, right) in sums.iter_mut().zip(along) {
                    *sum -= left * right;
                }
            }
        }
        whole(sums)
    }

    /// Logarithm of the determinant of the covariance of the blocks, without slow changes.
    #[cfg(test)]
    pub(crate) fn log_determinant(&self) -> f64 {
        self.steps.iter().map(|step| -2.0 * step.scale.ln()).sum()
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
    let rows: Vec<Row<COLUMNS>> = residuals
        .iter()
        .enumerate()
        .map(|(index, residual)| {
            let mut row = [0.0; COLUMNS];
            row[0] = *residual;
            for (value, column) in row[1..].iter_mut().zip(columns) {
                *value = column[index];
            }
            row
        })
        .collect();
    let mut best: Option<(f64, Noise)> = None;
    for memory in MEMORIES {
        let mut before = None;
        let carries: Vec<f64> = blocks
            .iter()
            .map(|block| carry(before.replace(block.at), block.at, memory))
            .collect();
        for ratio in RATIOS {
            // `ratio` is the drift over the scatter of a block mean.
            let trial = Noise {
                scatter: 1.0,
                drift: ratio / typical.sqrt(),
                memory,
            };
            let Some((deviance, variance)) = restricted(blocks, &rows, &carries, trial.drift)
            else {
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

/// Restricted deviance with the scale profiled out, and that scale's square; scatter is one.
fn restricted(
    blocks: &[Block],
    rows: &[Row<COLUMNS>],
    carries: &[f64],
    drift: f64,
) -> Option<(f64, f64)> {
    let drift = drift * drift;
    let mut sums = [[0.0; COLUMNS]; COLUMNS];
    let mut mean = [0.0; COLUMNS];
    let mut spread = drift;
    let mut determinant = Product::default();
    for ((block, row), carry) in blocks.iter().zip(rows).zip(carries) {
        let (step, total) = Step::next(*carry, block.count.recip(), drift, &mut spread);
        determinant.times(total);
        add(&mut sums, &step.whiten(row, &mut mean));
    }
    let mut sums = whole(sums);
    // Takes the fitted directions out one after the other and multiplies what is left of each.
    let all: [f64; COLUMNS] = std::array::from_fn(|column| sums[column][column]);
    let mut information = Product::default();
    let mut taken = 0;
    for pivot in 1..COLUMNS {
        let left = sums[pivot][pivot];
        if left <= 1e-8 * all[pivot] || left <= 0.0 {
            continue;
        }
        information.times(left);
        taken += 1;
        let along = sums[pivot];
        for row in (0..COLUMNS).filter(|row| *row != pivot) {
            let share = along[row] / left;
            for column in 0..COLUMNS {
                sums[row][column] -= share * along[column];
            }
        }
    }
    let freedom = blocks.len() as f64 - f64::from(taken);
    if freedom < 1.0 {
        return None;
    }
    let variance = (sums[0][0] / freedom).max(1e-12);
    let deviance = determinant.ln() + information.ln() + freedom * variance.ln();
    (deviance.is_finite()).then_some((deviance, variance))
}

/// A product of numbers above zero that may leave the range of a float, for its logarithm.
struct Product {
    part: f64,
    log: f64,
}

impl Default for Product {
    fn default() -> Self {
        Self {
            part: 1.0,
            log: 0.0,
        }
    }
}

impl Product {
    fn times(&mut self, factor: f64) {
        self.part *= factor;
        if !(1e-100..1e100).contains(&self.part) {
            self.log += self.part.ln();
            self.part = 1.0;
        }
    }

    fn ln(&self) -> f64 {
        self.log + self.part.ln()
    }
}

fn dot(left: &[f64], right: &[f64]) -> f64 {
    left.iter().zip(right).map(|(a, b)| a * b).sum()
}
