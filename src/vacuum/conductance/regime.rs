//! Whether molecules meet each other or the wall.

use serde::Serialize;

use super::ConductanceError;
use super::molecular::within_diameters;
use crate::vacuum::gas::Gas;
use crate::vacuum::units::{Length, Pressure, Temperature};

/// The kind of flow, by the Knudsen number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Regime {
    /// Knudsen number above 0.5: molecules meet only the wall.
    Molecular,
    /// From 0.01 to 0.5.
    Transitional,
    /// Below 0.01: molecules meet each other.
    Viscous,
}

impl Regime {
    /// The regime of a Knudsen number above zero (limits: O'Hanlon, chapter 2, from memory).
    pub(super) fn of(knudsen: f64) -> Self {
        if knudsen > 0.5 {
            Self::Molecular
        } else if knudsen >= 0.01 {
            Self::Transitional
        } else {
            Self::Viscous
        }
    }

    /// Its name in plain words.
    pub fn name(self) -> &'static str {
        match self {
            Self::Molecular => "molecular",
            Self::Transitional => "transitional",
            Self::Viscous => "viscous",
        }
    }
}

/// Mean free path over diameter. Valid from 250 K to 400 K, for pressures above zero (1e-30 Pa) up to
/// 1e6 Pa and diameters of 1 µm to 100 m; an error outside.
///
/// Source: the definition; [`Gas::mean_free_path`] for the path.
pub fn knudsen_number(
    diameter: Length,
    pressure: Pressure,
    gas: Gas,
    at: Temperature,
) -> Result<f64, ConductanceError> {
    if gas.viscosity(at).is_none() {
        return Err(ConductanceError::NoViscosity {
            kelvin: at.kelvin(),
        });
    }
    let path = gas
        .mean_free_path(at, pressure)
        .ok_or(ConductanceError::Pressure {
            pascals: pressure.pascals(),
        })?;
    Ok(path / within_diameters(diameter)?)
}
