//! Whether molecules meet each other or the wall.

use serde::Serialize;

use super::ConductanceError;
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
    /// The regime of a Knudsen number (limits: O'Hanlon, chapter 2, from memory).
    pub fn of(knudsen: f64) -> Self {
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

/// Mean free path over diameter. Valid from 250 K to 400 K; infinite at zero pressure.
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
    Ok(gas
        .mean_free_path(at, pressure)
        .map_or(f64::INFINITY, |path| path / diameter.metres()))
}
