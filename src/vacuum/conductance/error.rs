//! What keeps a conductance from being computed.

use crate::vacuum::gas::Gas;
use crate::vacuum::units::UnitError;

/// A conductance that cannot be given, since a formula would be outside its range.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ConductanceError {
    /// The tube is longer than the formula was checked for.
    #[error("a length of {ratio:.0} radii is beyond the formula, which holds up to {most:.0}")]
    TooLong {
        /// Length over radius.
        ratio: f64,
        /// The longest it holds for, in radii.
        most: f64,
    },
    /// A diameter of no part of a vacuum system.
    #[error("a diameter must be from 1 µm to 100 m, not {metres:e} m")]
    Diameter {
        /// The diameter given.
        metres: f64,
    },
    /// The gas is no gas of a chamber at this temperature.
    #[error(
        "{} is a gas here from {} K to {} K, not at {kelvin} K",
        gas.name(), gas.temperatures().start(), gas.temperatures().end()
    )]
    Temperature {
        /// The gas.
        gas: Gas,
        /// The temperature asked for.
        kelvin: f64,
    },
    /// A pressure at which there is no mean free path to be had.
    #[error(
        "the pressure must be above zero (1e-15 Pa) and up to 1e6 Pa, where the gas is dilute, not {pascals:e} Pa"
    )]
    Pressure {
        /// The pressure given.
        pascals: f64,
    },
    /// The tube is too short for a formula of long tubes.
    #[error(
        "a length of {ratio:.1} diameters is too short for {formula}, which needs at least {least}"
    )]
    TooShort {
        /// Length over diameter.
        ratio: f64,
        /// The formula.
        formula: &'static str,
        /// The shortest length it holds for, in diameters.
        least: f64,
    },
    /// The upstream pressure is not above the downstream one.
    #[error("the pressure at the inlet must be above the one at the outlet")]
    NoPressureDrop,
    /// The flow is not laminar.
    #[error(
        "the flow would be turbulent (Reynolds number {reynolds:.0}); the formula for viscous flow holds up to 2000"
    )]
    Turbulent {
        /// Reynolds number by the formula.
        reynolds: f64,
    },
    /// The gas would leave a part nearly at the speed of sound.
    #[error(
        "the gas would leave part {part} {} by the formula for viscous flow, which holds up to 0.3 times the speed of sound, and {}", how_fast(*.mach), no_bounds(*.branches)
    )]
    TooFast {
        /// The part, counted from 1 in the order of the chain.
        part: usize,
        /// Speed at its outlet over the speed of sound.
        mach: f64,
        /// Whether the path has branches, for which there are no bounds.
        branches: bool,
    },
    /// Speeding up the gas takes too much of the pressure drop.
    #[error(
        "speeding up the gas at entrances and bends would take {percent:.0} % of the pressure drop; the formula for denser flow holds up to 10 %"
    )]
    SpeedsUp {
        /// Its share, per cent.
        percent: f64,
    },
    /// The pressures between the parts did not settle.
    #[error(
        "the pressures between the parts do not settle; give a smaller pressure drop or fewer parts"
    )]
    Unsettled,
    /// The viscosity is not known at this temperature.
    #[error("the viscosity of the gas is known from 250 K to 400 K, not at {kelvin} K")]
    NoViscosity {
        /// The temperature asked for.
        kelvin: f64,
    },
    /// A chain of no parts.
    #[error("there is no part to compute; give at least one")]
    NoParts,
    /// The elbow's angle is not one.
    #[error(
        "the angle of an elbow must be above 0° and at most 120°, not {degrees}°; give a sharper turn as two elbows"
    )]
    Angle {
        /// The angle given.
        degrees: f64,
    },
    /// The elbow's legs do not reach past its mitre.
    #[error(
        "an elbow of {degrees}° must be at least {least:.2} radii long along its axis, or its openings cut into the bend; this one has {ratio:.2}"
    )]
    ShortLegs {
        /// The angle given.
        degrees: f64,
        /// Length along the axis over radius.
        ratio: f64,
        /// The shortest there is.
        least: f64,
    },
    /// The pump is faster than its own inlet lets gas in.
    #[error(
        "a pump of {pump:.4} m³/s cannot be faster than its inlet, which passes {inlet:.4} m³/s of this gas"
    )]
    FasterThanInlet {
        /// The pump's speed.
        pump: f64,
        /// Conductance of its inlet.
        inlet: f64,
    },
    /// A stated conductance above what the opening passes.
    #[error(
        "a conductance of {stated:.4} m³/s is above the {opening:.4} m³/s that an opening of this diameter passes; check the diameter"
    )]
    AboveOpening {
        /// The conductance stated.
        stated: f64,
        /// The conductance of the opening.
        opening: f64,
    },
    /// A conductance of zero, through which nothing is pumped.
    #[error("a conductance or speed of zero lets nothing through")]
    Nothing,
    /// A conductance next to nothing beside its opening.
    #[error(
        "a conductance or speed of {stated:e} m³/s is less than a billionth of what its opening passes, or less than a hole of one atom does, so it is as good as shut"
    )]
    Shut {
        /// The conductance or speed stated.
        stated: f64,
    },
    /// A number out of range.
    #[error(transparent)]
    Unit(#[from] UnitError),
}

/// A speed over that of sound in words; behind a path into nothing the formula gives any.
fn how_fast(mach: f64) -> String {
    if mach < 100.0 {
        format!("at {mach:.1} times the speed of sound")
    } else {
        "at far more than the speed of sound".to_owned()
    }
}

fn no_bounds(branches: bool) -> &'static str {
    if branches {
        "beyond it bounds are known for a path without branches only"
    } else {
        "the bounds that hold beyond it lie too far apart here"
    }
}
