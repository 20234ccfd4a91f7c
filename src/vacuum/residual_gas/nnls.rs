//! Non-negative least squares: minimises |Ax − b| under x ≥ 0. Imports nothing of the project.

use nalgebra::{DMatrix, DVector};

/// Why no solution could be given.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NnlsError {
    /// The sizes do not fit, or a number is not finite.
    #[error("the matrix and the vector must be finite and of as many rows as each other")]
    Input,
    /// The active set did not settle.
    #[error("the active set did not settle within {0} steps")]
    NoConvergence(usize),
}

/// Solves min |Ax − b| for x ≥ 0 by the active-set method of Lawson and Hanson, Solving Least
/// Squares Problems (1974), algorithm NNLS (23.10), with columns scaled to unit length.
///
/// `a` is m × n, `b` of length m, the result of length n. A column of zeros, or one that the
/// chosen ones already span, gets 0. Errors: sizes that differ, numbers not finite, or no
/// settlement within 10 n + 30 steps.
pub fn non_negative_least_squares(
    a: &DMatrix<f64>,
    b: &DVector<f64>,
) -> Result<DVector<f64>, NnlsError> {
    if a.nrows() != b.len() || !a.iter().chain(b.iter()).all(|v| v.is_finite()) {
        return Err(NnlsError::Input);
    }
    let n = a.ncols();
    let norms: Vec<f64> = a.column_iter().map(|column| column.norm()).collect();
    let mut scaled = a.clone();
    for (mut column, &norm) in scaled.column_iter_mut().zip(&norms) {
        if norm > 0.0 {
            column /= norm;
        }
    }
    let enough = 1e-12 * b.norm();
    let mut x = DVector::zeros(n);
    let mut passive = vec![false; n];
    let mut barred: Vec<bool> = norms.iter().map(|&norm| norm == 0.0).collect();
    let limit = 10 * n + 30;
    for _ in 0..limit {
        let gradient = scaled.transpose() * (b - &scaled * &x);
        let Some(enter) = (0..n)
            .filter(|&j| !passive[j] && !barred[j] && gradient[j] > enough)
            .max_by(|&i, &j| gradient[i].total_cmp(&gradient[j]))
        else {
            return Ok(DVector::from_fn(n, |j, _| {
                if norms[j] > 0.0 { x[j] / norms[j] } else { 0.0 }
            }));
        };
        passive[enter] = true;
        match settle(&scaled, b, &mut passive, x.clone()) {
            Some(next) if next[enter] > 0.0 => {
                x = next;
                barred
                    .iter_mut()
                    .zip(&norms)
                    .for_each(|(bar, &norm)| *bar = norm == 0.0);
            }
            _ => {
                passive = x.iter().map(|&v| v > 0.0).collect();
                barred[enter] = true;
            }
        }
    }
    Err(NnlsError::NoConvergence(limit))
}

/// Solves on the passive set, shedding variables that would turn negative, from a feasible `x`.
/// `None` if the passive columns depend on each other.
fn settle(
    a: &DMatrix<f64>,
    b: &DVector<f64>,
    passive: &mut [bool],
    mut x: DVector<f64>,
) -> Option<DVector<f64>> {
    loop {
        let chosen: Vec<usize> = (0..a.ncols()).filter(|&j| passive[j]).collect();
        let mut trial = DVector::zeros(a.ncols());
        for (&j, value) in chosen.iter().zip(unconstrained(a, b, &chosen)?.iter()) {
            trial[j] = *value;
        }
        let step = chosen
            .iter()
            .filter(|&&j| trial[j] <= 0.0)
            .map(|&j| (x[j] / (x[j] - trial[j]), j))
            .map(|(step, j)| (if step.is_finite() { step } else { 0.0 }, j))
            .min_by(|p, q| p.0.total_cmp(&q.0));
        let Some((step, leaves)) = step else {
            return Some(trial);
        };
        x += (trial - &x) * step;
        x[leaves] = 0.0;
        for j in chosen {
            if x[j] <= 0.0 {
                x[j] = 0.0;
                passive[j] = false;
            }
        }
    }
}

fn unconstrained(a: &DMatrix<f64>, b: &DVector<f64>, chosen: &[usize]) -> Option<DVector<f64>> {
    if chosen.is_empty() {
        return Some(DVector::zeros(0));
    }
    if chosen.len() > a.nrows() {
        return None;
    }
    let qr = a.select_columns(chosen).qr();
    let r = qr.r();
    if r.diagonal().iter().any(|d| d.abs() < 1e-10) {
        return None;
    }
    r.solve_upper_triangular(&(qr.q().transpose() * b))
}
