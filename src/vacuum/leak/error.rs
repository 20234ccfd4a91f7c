//! What keeps a leak from being computed.

use crate::vacuum::gas::Gas;
use crate::vacuum::units::UnitError;

/// A figure of a leak that cannot be given, since a formula would be outside its range.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LeakError {
    /// A share that is none, or less test gas than the air itself holds.
    #[error(
        "the share of test gas at the leak must be at least a millionth and at most 1 (100 %), not {share}"
    )]
    Share {
        /// The share given.
        share: f64,
    },
    /// A leak rate of nothing.
    #[error("a leak rate must be above zero (1e-20 Pa·m³/s)")]
    NoLeak,
    /// A leak rate of no leak.
    #[error("a leak of {rate} Pa·m³/s is above 1000 Pa·m³/s, an open port and not a leak")]
    NotALeak {
        /// The rate, Pa·m³/s.
        rate: f64,
    },
    /// A pressure at which the gas is not dilute, or is none.
    #[error("the pressure upstream must be above zero and up to 1e6 Pa (10 bar), not {pascals} Pa")]
    Upstream {
        /// The pressure given.
        pascals: f64,
    },
    /// A vapour above its saturation: a liquid.
    #[error(
        "{} at {kelvin} K is a vapour up to {most:.4e} Pa; at {pascals:e} Pa it is liquid, which passes a leak by other laws",
        gas.name()
    )]
    Liquid {
        /// What would be liquid.
        gas: Gas,
        /// Its pressure upstream.
        pascals: f64,
        /// The pressure of its saturated vapour.
        most: f64,
        /// The temperature.
        kelvin: f64,
    },
    /// An opening that is no small hole.
    #[error("an opening must be at most 1 m wide, not {metres} m")]
    TooWide {
        /// Its diameter.
        metres: f64,
    },
    /// A time constant of no chamber.
    #[error(
        "volume over helium speed gives a time constant of {seconds:e} s; it must be from 1e-6 s to 1e9 s"
    )]
    TimeConstant {
        /// The time constant.
        seconds: f64,
    },
    /// No more pressure on the side the gas comes from.
    #[error(
        "a leak needs more pressure upstream than downstream, not {upstream} Pa and {downstream} Pa"
    )]
    NoDrop {
        /// Upstream, Pa.
        upstream: f64,
        /// Downstream, Pa.
        downstream: f64,
    },
    /// The opening is not wide against the mean free path.
    #[error(
        "an opening of {micrometres:.1e} µm is too narrow for choked flow, which needs at least 10 mean free paths ({least:.2} µm here)"
    )]
    TooNarrow {
        /// Its diameter by the formula of choked flow.
        micrometres: f64,
        /// The narrowest it holds for.
        least: f64,
    },
    /// The viscosity is not known at this temperature.
    #[error("the viscosity of the gas is known from 250 K to 400 K, not at {kelvin} K")]
    NoViscosity {
        /// The temperature asked for.
        kelvin: f64,
    },
    /// No pumping of helium, so that no steady reading comes about.
    #[error("the pumping speed for helium must be above zero; with none the helium only builds up")]
    NoHeliumSpeed,
    /// A number out of range.
    #[error(transparent)]
    Unit(#[from] UnitError),
}
