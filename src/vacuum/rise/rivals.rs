//! Curves that are asked before something is concluded, and that are none of the weighed shapes: gas from two
//! sources at their own paces, an inflow that stops, and one that quickens.
//!
//! With `x` from 0 to 1 over the record and `g(x, tau) = (1 - exp(-x/tau)) / (1 - exp(-1/tau))` as in
//! [`super::shape`]:
//!
//! - two sources: `p0 + a g(x, tau1) + b g(x, tau2)`, both time constants within the test; a pocket and the walls
//!   together can look like one source and a leak
//! - stopped: `p0 + a min(x / at, 1)`; no gas from inside has such a kink
//! - quickened: `p0 + b min(x, at) + a max(x - at, 0)` with `b < a`, as where a valve shuts in two steps
//!
//! Must not import I/O.

use super::fit::{Curve, Fit, Free, PARAMETERS, Parameters, Problem};
use super::shape::TAU;

/// Gas from two sources: `ln p0`, both amounts, `ln` of both time constants.
#[derive(Clone, Copy, Debug)]
struct TwoSources;

/// `g` at a time, and its derivative by `ln tau`.
fn part(x: f64, log_tau: f64) -> (f64, f64) {
    let rate = (-log_tau).exp();
    let left = (-rate).exp();
    let per_whole = (1.0 - left).recip();
    let left_here = (-rate * x).exp();
    let part = (1.0 - left_here) * per_whole;
    let slope = rate * per_whole * (part * left - x * left_here);
    (part, slope)
}

/// `ln` of a pressure, and the derivatives of it.
fn in_log(pressure: f64, slopes: Parameters) -> (f64, Parameters) {
    let pressure = pressure.max(1e-30);
    (pressure.ln(), slopes.map(|slope| slope / pressure))
}

impl Curve for TwoSources {
    type Prepared = Parameters;

    fn bounds(&self) -> [(f64, f64); PARAMETERS] {
        let tau = (TAU.0.ln(), TAU.1.ln());
        [(-25.0, 5.0), (0.0, 1e6), (0.0, 1e6), tau, tau]
    }

    fn prepare(&self, _free: &Free, parameters: &Parameters) -> Parameters {
        *parameters
    }

    fn log_pressure(&self, x: f64, at: &Parameters) -> (f64, Parameters) {
        let [start, first, second, first_tau, second_tau] = *at;
        let (one, by_one) = part(x, first_tau);
        let (other, by_other) = part(x, second_tau);
        let start = start.exp();
        in_log(
            start + first * one + second * other,
            [start, one, other, first * by_one, second * by_other],
        )
    }
}

/// The lowest deviance of gas from two sources, looked for from a leak and one source: its start, both amounts and
/// the `ln` of its time constant.
pub(super) fn two_sources(
    problem: &Problem<'_>,
    [start, leak, gas, log_tau, _]: Parameters,
) -> f64 {
    let slow = TAU.1.ln();
    [
        (leak, gas, slow, log_tau.min(-0.7)),
        (0.6 * (leak + gas), 0.4 * (leak + gas), -0.5, -3.0),
        (0.7 * (leak + gas), 0.3 * (leak + gas), -0.2, -1.6),
    ]
    .into_iter()
    .map(|(first, second, first_tau, second_tau)| {
        let at = [start, first, second, first_tau, second_tau];
        problem.fit(TwoSources, [true; PARAMETERS], at).deviance
    })
    .fold(f64::INFINITY, f64::min)
}

/// An inflow that stops: `ln p0`, the amount, and when, as a share of the record.
#[derive(Clone, Copy, Debug)]
struct Stopped;

impl Curve for Stopped {
    type Prepared = Parameters;

    fn bounds(&self) -> [(f64, f64); PARAMETERS] {
        [
            (-25.0, 5.0),
            (0.0, 1e6),
            (0.0, 0.0),
            (0.1, 0.95),
            (0.0, 0.0),
        ]
    }

    fn prepare(&self, _free: &Free, parameters: &Parameters) -> Parameters {
        *parameters
    }

    fn log_pressure(&self, x: f64, at: &Parameters) -> (f64, Parameters) {
        let [start, amount, _, end, _] = *at;
        let start = start.exp();
        let part = (x / end).min(1.0);
        let by_end = if x < end { -amount * part / end } else { 0.0 };
        in_log(start + amount * part, [start, part, 0.0, by_end, 0.0])
    }
}

/// How much better than every shape an inflow that stops has to fit, in deviance, before it is believed.
const BETTER: f64 = 12.0;

/// When an inflow stopped, as a share of the record, where that fits far better than the `lowest` deviance of all
/// shapes; `start` and `rise` are `ln` of the pressure at the start and the whole rise.
pub(super) fn stops(problem: &Problem<'_>, lowest: f64, start: f64, rise: f64) -> Option<f64> {
    let free = [true, true, false, true, false];
    let fits: Vec<Fit<Stopped>> = [0.2, 0.35, 0.5, 0.65, 0.8]
        .into_iter()
        .map(|at| problem.fit(Stopped, free, [start, rise, 0.0, at, 0.0]))
        .collect();
    let best = super::fit::lowest_of(&fits);
    (best.deviance + BETTER < lowest).then_some(best.parameters[3])
}

/// An inflow that quickens: `ln p0`, its rise a record after and before, and when, as a share of the record.
#[derive(Clone, Copy, Debug)]
struct Quickened;

impl Curve for Quickened {
    type Prepared = Parameters;

    fn bounds(&self) -> [(f64, f64); PARAMETERS] {
        [
            (-25.0, 5.0),
            (0.0, 1e6),
            (0.0, 1e6),
            (0.02, 0.5),
            (0.0, 0.0),
        ]
    }

    fn prepare(&self, _free: &Free, parameters: &Parameters) -> Parameters {
        *parameters
    }

    fn log_pressure(&self, x: f64, at: &Parameters) -> (f64, Parameters) {
        let [start, after, before, turn, _] = *at;
        let start = start.exp();
        let (early, late) = (x.min(turn), (x - turn).max(0.0));
        let by_turn = if x > turn { before - after } else { 0.0 };
        in_log(
            start + before * early + after * late,
            [start, late, early, by_turn, 0.0],
        )
    }
}

/// The most of the later inflow that one before makes which is said to quicken.
const SLOWER: f64 = 0.8;

/// Whether an inflow that quickens fits far better than the `lowest` deviance of all shapes, which all rise sooner
/// rather than later.
pub(super) fn quickens(problem: &Problem<'_>, lowest: f64, start: f64, rise: f64) -> bool {
    let free = [true, true, true, true, false];
    let fits =
        [0.06, 0.2].map(|turn| problem.fit(Quickened, free, [start, rise, 0.5 * rise, turn, 0.0]));
    let best = super::fit::lowest_of(&fits);
    let [_, after, before, ..] = best.parameters;
    best.deviance + BETTER < lowest && before < SLOWER * after
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Derivatives against differences.
    #[test]
    fn derivatives_are_those_of_the_curves() {
        fn check<C: Curve>(curve: C, at: Parameters) {
            let free = [true; PARAMETERS];
            for x in [0.0, 0.03, 0.31, 0.77, 1.0] {
                let value = |at: &Parameters| curve.log_pressure(x, &curve.prepare(&free, at)).0;
                let (_, slopes) = curve.log_pressure(x, &curve.prepare(&free, &at));
                for (index, slope) in slopes.into_iter().enumerate() {
                    let mut above = at;
                    let mut below = at;
                    above[index] += 1e-6;
                    below[index] -= 1e-6;
                    let by_difference = (value(&above) - value(&below)) / 2e-6;
                    assert!((slope - by_difference).abs() < 1e-6, "{index} at {x}");
                }
            }
        }
        check(TwoSources, [-2.0, 0.3, 0.6, -2.5, -0.3]);
        check(Stopped, [-2.0, 0.9, 0.0, 0.5, 0.0]);
        check(Quickened, [-2.0, 0.9, 0.4, 0.2, 0.0]);
    }
}
