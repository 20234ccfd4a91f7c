//! The fits, the profile intervals and the drift model against values made with scipy.
//!
//! `tests/reference/rise.py` made them; the file names the versions. The fits here run with the
//! scatter known and no drift, as there.

use serde::Deserialize;

use super::drift::{Noise, Whitener};
use super::fit::{Fit, Parameters, Problem, profile};
use super::reduce::{Block, blocks};
use super::shape::{Gas, Shape, Split};

#[derive(Deserialize)]
struct Reference {
    scatter: f64,
    cut: f64,
    fits: Vec<Case>,
    drift: Drift,
}

#[derive(Deserialize)]
struct Case {
    name: String,
    seconds: Vec<f64>,
    pascals: Vec<f64>,
    parameters: Vec<f64>,
    sum_of_squares: f64,
    interval_of_second: Option<[f64; 2]>,
}

#[derive(Deserialize)]
struct Drift {
    at: Vec<f64>,
    count: Vec<f64>,
    residual: Vec<f64>,
    scatter: f64,
    drift: f64,
    memory: f64,
    quadratic_form: f64,
    log_determinant: f64,
}

fn reference() -> Reference {
    serde_json::from_str(include_str!("../../../tests/reference/rise.json")).unwrap()
}

/// Fits the named case and hands the problem and the fit, with time and pressure scales, to `check`.
fn with_fit(
    name: &str,
    gas: Gas,
    free: [bool; 5],
    start: Parameters,
    check: impl Fn(&Case, &Reference, &Problem<'_>, &Fit<Shape>, f64, f64),
) {
    let reference = reference();
    let case = reference
        .fits
        .iter()
        .find(|case| case.name == name)
        .unwrap();
    let blocks = blocks(&case.seconds, &case.pascals);
    assert_eq!(
        blocks.len(),
        case.seconds.len(),
        "a short record is kept whole"
    );
    let noise = Noise {
        scatter: reference.scatter,
        drift: 0.0,
        memory: 1.0,
    };
    let whitener = Whitener::new(&noise, &blocks);
    let scale = 0.1f64;
    let problem = Problem::new(&blocks, &whitener, scale.ln());
    let shape = Shape {
        gas,
        split: Split::Rates,
    };
    let fit = problem.fit(shape, free, start);
    let expect = case.sum_of_squares / reference.scatter.powi(2);
    assert!(
        (fit.deviance - expect).abs() < 0.01,
        "{} {expect}",
        fit.deviance
    );
    let length = case.seconds[case.seconds.len() - 1];
    check(case, &reference, &problem, &fit, length, scale);
}

#[track_caller]
fn close(got: f64, expect: f64, relative: f64) {
    assert!((got / expect - 1.0).abs() < relative, "{got} for {expect}");
}

#[track_caller]
fn same_interval(got: (f64, f64), expect: [f64; 2]) {
    let width = expect[1] - expect[0];
    let off = (got.0 - expect[0]).abs().max((got.1 - expect[1]).abs());
    assert!(off < 0.02 * width, "{got:?} for {expect:?}");
}

#[test]
fn a_straight_rise_is_fitted_as_by_scipy() {
    let free = [true, true, false, false, false];
    with_fit(
        "straight",
        Gas::Saturating,
        free,
        [-4.0, 1.0, 0.0, 0.0, 0.0],
        |case, reference, problem, fit, length, scale| {
            close(fit.parameters[0].exp() * scale, case.parameters[0], 1e-3);
            let per_second = scale / length;
            close(fit.parameters[1] * per_second, case.parameters[1], 1e-4);
            let (low, high) = profile(problem, &[*fit], 1, fit.deviance, reference.cut);
            let expect = case.interval_of_second.unwrap();
            same_interval((low * per_second, high * per_second), expect);
        },
    );
}

#[test]
fn a_flattening_rise_is_fitted_as_by_scipy() {
    let free = [true, false, true, true, false];
    with_fit(
        "flattening",
        Gas::Saturating,
        free,
        [-4.0, 0.0, 0.5, -0.7, 0.0],
        |case, _, _, fit, length, scale| {
            let [start, amount, time_constant] = case.parameters[..] else {
                panic!("three parameters");
            };
            close(fit.parameters[0].exp() * scale, start, 2e-3);
            close(fit.parameters[3].exp() * length, time_constant, 2e-3);
            let rise = amount * (1.0 - (-length / time_constant).exp());
            close(fit.parameters[2] * scale, rise, 1e-3);
        },
    );
}

#[test]
fn a_leak_with_a_trapped_volume_is_fitted_as_by_scipy() {
    let free = [true, true, true, true, false];
    with_fit(
        "both",
        Gas::Saturating,
        free,
        [-4.0, 0.5, 0.5, -2.0, 0.0],
        |case, reference, problem, fit, length, scale| {
            let per_second = scale / length;
            close(fit.parameters[1] * per_second, case.parameters[1], 2e-3);
            close(fit.parameters[3].exp() * length, case.parameters[3], 5e-3);
            let (low, high) = profile(problem, &[*fit], 1, fit.deviance, reference.cut);
            let expect = case.interval_of_second.unwrap();
            same_interval((low * per_second, high * per_second), expect);
        },
    );
}

/// Exponent and age trade against each other, so the sum of squares (checked for every case) is the
/// sharper check.
#[test]
fn a_power_law_is_fitted_as_by_scipy() {
    let free = [true, false, true, true, true];
    with_fit(
        "power",
        Gas::Power,
        free,
        [-4.0, 0.0, 0.5, 1.0, -2.0],
        |case, _, _, fit, _, scale| {
            close(fit.parameters[0].exp() * scale, case.parameters[0], 0.02);
            assert!(
                (fit.parameters[3] - case.parameters[2]).abs() < 0.05,
                "{fit:?}"
            );
        },
    );
}

#[test]
fn the_drift_is_whitened_as_by_its_dense_covariance() {
    let Drift {
        at,
        count,
        residual,
        scatter,
        drift,
        memory,
        quadratic_form,
        log_determinant,
    } = reference().drift;
    let blocks: Vec<Block> = at
        .iter()
        .zip(&count)
        .map(|(&at, &count)| Block {
            at,
            log_pressure: 0.0,
            count,
            first: 0,
        })
        .collect();
    let noise = Noise {
        scatter,
        drift,
        memory,
    };
    let whitener = Whitener::new(&noise, &blocks);
    let mut white = residual;
    whitener.whiten(&mut white);
    let sum: f64 = white.iter().map(|value| value * value).sum();
    close(sum, quadratic_form, 1e-9);
    close(whitener.log_determinant(), log_determinant, 1e-9);
}
