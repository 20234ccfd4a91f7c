//! The shapes a sealed chamber's pressure can follow, as functions of time with derivatives.
//!
//! Time `x` runs from 0 to 1 over the record and pressures are shares of a scale, so that all
//! parameters are of order one. Every shape is `p0 + leak x + gas g(x)` with `g(0) = 0`,
//! `g(1) = 1`: a steady inflow rises straight; gas from inside rises along `g`.
//!
//! - saturating: `g = (1 - exp(-x/tau)) / (1 - exp(-1/tau))`, `TAU.0 <= tau <= TAU.1` of the record
//! - power law: `g` is the integral of `(s + age)^-alpha` from 0 to `x` over that from 0 to 1,
//!   `ALPHA.0 <= alpha <= ALPHA.1`, `AGE.0 <= age <= AGE.1` of the record
//!
//! Power-law outgassing: Dayton (1959), exponent about 1 for metals and 0.5 for elastomers (from
//! memory). Must not import I/O.

use super::fit::{Course, Curve, Form, Free, PARAMETERS, Parameters};

/// Range of the time constant of a saturating rise, as shares of the record.
///
/// Gas from inside that takes longer than this to slow rises as straight as a leak and cannot be
/// told from one: the upper ends of [`TAU`] and [`AGE`] are the limit of every verdict.
pub(crate) const TAU: (f64, f64) = (0.02, 1.0);
/// Range of the outgassing exponent.
pub(crate) const ALPHA: (f64, f64) = (0.3, 1.5);
/// Range of the age of the outgassing surface at the start, as shares of the record.
pub(crate) const AGE: (f64, f64) = (0.01, 1.0);

/// How gas from inside comes off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Gas {
    /// Towards an equilibrium.
    Saturating,
    /// Ever slower, by a power of time.
    Power,
}

/// What the two amounts (parameters 1 and 2) mean.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Split {
    /// The rise over the record by the leak, and by gas from inside.
    Rates,
    /// The whole rise over the record, and the leak's share of it.
    Share,
}

/// A shape.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Shape {
    pub(crate) gas: Gas,
    pub(crate) split: Split,
}

impl Shape {
    /// A middle start for the two parameters of form.
    pub(crate) fn starts(self) -> &'static [(f64, f64)] {
        match self.gas {
            Gas::Saturating => &[(-2.3, 0.0), (-0.7, 0.0), (-0.1, 0.0)],
            Gas::Power => &[(1.0, -3.0), (0.7, -0.7)],
        }
    }
}

impl Curve for Shape {
    type Prepared = Prepared;

    fn bounds(&self) -> [(f64, f64); PARAMETERS] {
        let second = match self.split {
            Split::Rates => (0.0, 1e6),
            Split::Share => (0.0, 1.0),
        };
        let (third, fourth) = match self.gas {
            Gas::Saturating => ((TAU.0.ln(), TAU.1.ln()), (0.0, 0.0)),
            Gas::Power => (ALPHA, (AGE.0.ln(), AGE.1.ln())),
        };
        [(-25.0, 5.0), (0.0, 1e6), second, third, fourth]
    }

    fn prepare(&self, free: &Free, parameters: &Parameters) -> Prepared {
        let with_gas = free[2] || free[3] || parameters[2] != 0.0;
        Prepared::new(self.gas, with_gas, parameters)
    }

    fn log_pressure(&self, x: f64, at: &Prepared) -> (f64, Parameters) {
        self.log_pressure_along(x, at.part(x), at)
    }

    fn form(&self, at: &Prepared) -> Option<Form> {
        let [.., third, fourth] = at.parameters;
        match at.form {
            Inside::None => None,
            Inside::Saturating { .. } => Some([0.0, third, 0.0]),
            Inside::Power { .. } => Some([1.0, third, fourth]),
        }
    }

    fn course(&self, x: f64, at: &Prepared) -> Course {
        at.part(x)
    }

    #[inline(always)]
    fn log_pressure_along(
        &self,
        x: f64,
        [part, by_third, by_fourth]: Course,
        at: &Prepared,
    ) -> (f64, Parameters) {
        let [_, first, second, ..] = at.parameters;
        let (straight, inside) = match self.split {
            Split::Rates => (first, second),
            Split::Share => (first * second, first * (1.0 - second)),
        };
        let pressure = at.start + straight * x + inside * part;
        let scale = pressure.max(1e-30).recip();
        let (by_first, by_second) = match self.split {
            Split::Rates => (x, part),
            Split::Share => (second * x + (1.0 - second) * part, first * (x - part)),
        };
        (
            pressure.max(1e-30).ln(),
            [
                at.start * scale,
                by_first * scale,
                by_second * scale,
                inside * by_third * scale,
                inside * by_fourth * scale,
            ],
        )
    }
}

/// A shape's parameters with what does not depend on `x` computed once.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Prepared {
    parameters: Parameters,
    start: f64,
    form: Inside,
}

/// How gas from inside comes off, with what does not depend on the time.
#[derive(Clone, Copy, Debug)]
enum Inside {
    Saturating {
        rate: f64,
        per_whole: f64,
        by_log_tau: f64,
    },
    Power {
        aged: Aged,
        whole: Integral,
        per_whole: f64,
    },
    None,
}

/// Outgassing of one exponent and age: the integral from 0 to `x` is `F = (exp(e L) - 1) / e` with
/// `e = 1 - alpha` and `L = ln(1 + x/age)`, which is `L` when alpha is 1.
#[derive(Clone, Copy, Debug)]
struct Aged {
    exponent: f64,
    per_exponent: f64,
    age: f64,
    per_age: f64,
}

/// An integral with its derivatives by the exponent `e` and by `ln` of the age.
#[derive(Clone, Copy, Debug)]
struct Integral {
    value: f64,
    by_exponent: f64,
    by_log_age: f64,
}

impl Aged {
    fn new(alpha: f64, log_age: f64) -> Self {
        let (exponent, age) = (1.0 - alpha, log_age.exp());
        Self {
            exponent,
            per_exponent: exponent.recip(),
            age,
            per_age: age.recip(),
        }
    }

    #[inline(always)]
    fn integral(&self, x: f64) -> Integral {
        let log = (x * self.per_age).ln_1p();
        let scaled = self.exponent * log;
        let grown = scaled.exp_m1();
        let (value, by_exponent) = if scaled.abs() < 1e-4 {
            (
                log * (1.0 + scaled * (0.5 + scaled / 6.0)),
                log * log * (0.5 + scaled * (1.0 / 3.0 + scaled / 8.0)),
            )
        } else {
            let value = grown * self.per_exponent;
            (value, (log * (1.0 + grown) - value) * self.per_exponent)
        };
        Integral {
            value,
            by_exponent,
            by_log_age: -(1.0 + grown) * x / (self.age + x),
        }
    }
}

impl Prepared {
    fn new(gas: Gas, with_gas: bool, parameters: &Parameters) -> Self {
        let form = match (with_gas, gas) {
            (false, _) => Inside::None,
            (true, Gas::Saturating) => {
                let rate = (-parameters[3]).exp();
                let left = (-rate).exp();
                let per_whole = (1.0 - left).recip();
                Inside::Saturating {
                    rate,
                    per_whole,
                    by_log_tau: rate * left * per_whole,
                }
            }
            (true, Gas::Power) => {
                let aged = Aged::new(parameters[3], parameters[4]);
                let whole = aged.integral(1.0);
                Inside::Power {
                    aged,
                    whole,
                    per_whole: whole.value.recip(),
                }
            }
        };
        Self {
            parameters: *parameters,
            start: parameters[0].exp(),
            form,
        }
    }

    /// `g(x)` and its derivatives by the two parameters of form.
    #[inline(always)]
    fn part(&self, x: f64) -> Course {
        match &self.form {
            Inside::Saturating {
                rate,
                per_whole,
                by_log_tau,
            } => {
                let left = (-rate * x).exp();
                let part = (1.0 - left) * per_whole;
                // d/d ln tau = -rate d/d rate.
                let slope = -rate * x * left * per_whole + part * by_log_tau;
                [part, slope, 0.0]
            }
            Inside::Power {
                aged,
                whole,
                per_whole,
            } => {
                let here = aged.integral(x);
                let part = here.value * per_whole;
                [
                    part,
                    // The exponent falls as alpha rises.
                    (part * whole.by_exponent - here.by_exponent) * per_whole,
                    (here.by_log_age - part * whole.by_log_age) * per_whole,
                ]
            }
            Inside::None => [0.0; 3],
        }
    }
}
