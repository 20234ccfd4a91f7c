//! Molecular flow: conductance without regard to pressure.

use std::f64::consts::PI;

use super::{ConductanceError, transmission};
use crate::vacuum::gas::Gas;
use crate::vacuum::units::{Conductance, Length, Temperature};

/// Diameters of parts, m: from a fine leak to the widest chamber.
const DIAMETERS: std::ops::RangeInclusive<f64> = 1e-6..=100.0;

/// Conductance of a thin round opening, m³/s: area times a quarter of the mean speed.
///
/// Valid in molecular flow and for a wall thin against the diameter, for diameters of 1 µm to 100 m and
/// in the range of [`Gas::temperatures`]; an error outside.
/// Source: kinetic theory; 11.6 L/s per cm² for air at 20 °C in handbooks.
pub fn aperture(
    diameter: Length,
    gas: Gas,
    at: Temperature,
) -> Result<Conductance, ConductanceError> {
    let area = PI / 4.0 * within_diameters(diameter)?.powi(2);
    Ok(Conductance::from_cubic_metres_per_second(
        area * mean_speed(gas, at)? / 4.0,
    )?)
}

pub(super) fn within_diameters(diameter: Length) -> Result<f64, ConductanceError> {
    let metres = diameter.metres();
    if DIAMETERS.contains(&metres) {
        Ok(metres)
    } else {
        Err(ConductanceError::Diameter { metres })
    }
}

fn mean_speed(gas: Gas, at: Temperature) -> Result<f64, ConductanceError> {
    gas.mean_speed(at).ok_or(ConductanceError::Temperature {
        gas,
        kelvin: at.kelvin(),
    })
}

/// Conductance of a round tube of any length up to 1000 radii, between two wide volumes, m³/s.
///
/// Opening times transmission probability; within 1e-3 of the exact solution. Molecular flow only;
/// an error outside the ranges of [`aperture`] and [`transmission`], whose sources are its own.
pub fn short_or_long_tube(
    diameter: Length,
    length: Length,
    gas: Gas,
    at: Temperature,
) -> Result<Conductance, ConductanceError> {
    let opening = aperture(diameter, gas, at)?.cubic_metres_per_second();
    let share = transmission(2.0 * length.metres() / diameter.metres())?;
    Ok(Conductance::from_cubic_metres_per_second(opening * share)?)
}

/// Conductance of a round tube by the formula for *long* tubes, m³/s: (π/12)·v·d³/L.
///
/// Kept to show how far it is off: it gives 12 % too much at 20 diameters and 40 % too much
/// at 5. Holds from 20 to 100,000 diameters, for diameters of 1 µm to 100 m and in the range of
/// [`Gas::temperatures`]; an error outside. Molecular flow only.
/// Source: Knudsen 1909; 12.1·d³/L (cm, L/s) for air at 20 °C in handbooks.
pub fn long_tube(
    diameter: Length,
    length: Length,
    gas: Gas,
    at: Temperature,
) -> Result<Conductance, ConductanceError> {
    let ratio = length.metres() / diameter.metres();
    if ratio < 20.0 {
        return Err(ConductanceError::TooShort {
            ratio,
            formula: "the formula for long tubes",
            least: 20.0,
        });
    }
    if ratio > 1e5 {
        return Err(ConductanceError::TooLong {
            ratio: 2.0 * ratio,
            most: 2e5,
        });
    }
    let cube = within_diameters(diameter)?.powi(3);
    Ok(Conductance::from_cubic_metres_per_second(
        PI / 12.0 * mean_speed(gas, at)? * cube / length.metres(),
    )?)
}
