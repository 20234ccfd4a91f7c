//! The true pressure behind a reading in another gas than the gauge is set for.
//!
//! Sources use two opposite conventions. Here there is one only: `true_over_reading`, by which the
//! reading is *multiplied*. An ion gauge shows too much in argon, so its number there is below one.

use super::{GaugeError, GaugeKind, Principle};
use crate::vacuum::gas::Gas;
use crate::vacuum::units::Pressure;

/// A gas factor with its spread.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correction {
    /// Multiply the reading by this to have the true pressure.
    pub true_over_reading: f64,
    /// Spread between gauges of a kind, as a share: never taken below 15 %.
    pub spread: f64,
    /// Where the factor is from.
    pub source: &'static str,
}

impl Correction {
    /// The true pressure of this reading: the product of both. In the range in which the factor was
    /// given, and from its [source](Correction::source).
    pub fn apply(self, reading: Pressure) -> Result<Pressure, GaugeError> {
        Ok(Pressure::from_pascals(
            reading.pascals() * self.true_over_reading,
        )?)
    }
}

/// The factor of this gas for a gauge set for nitrogen (or air), at this reading.
///
/// In the range of the kind of gauge ([`GaugeKind::range`]); Pirani and convection gauges only up to
/// 1 mbar, above which their reading bends differently for each gas but the one they are set for; capacitance gauges need none. An
/// error beyond, and for a gas without a published factor: for methane and the solvents no table was
/// found but those of makers, which differ from gauge to gauge. Each factor comes with its source.
pub fn correction(kind: GaugeKind, reading: Pressure, gas: Gas) -> Result<Correction, GaugeError> {
    let pascals = reading.pascals();
    let principle = kind.principle(pascals);
    let range = kind.range();
    if principle == Principle::Ion && pascals > 1.0 {
        return Err(GaugeError::TooHighForIon {
            millibars: pascals / 100.0,
        });
    }
    if !range.contains(&pascals) {
        return Err(GaugeError::OutsideRange {
            kind,
            pascals,
            low: *range.start(),
            high: *range.end(),
        });
    }
    match principle {
        Principle::Force => Ok(Correction {
            true_over_reading: 1.0,
            spread: 0.0,
            source: "reads force, the same for every gas",
        }),
        Principle::Ion => {
            let (sensitivity, spread, source) =
                ion_sensitivity(gas).ok_or(GaugeError::NoFactor { gas })?;
            Ok(Correction {
                true_over_reading: 1.0 / sensitivity,
                spread,
                source,
            })
        }
        Principle::Thermal if pascals > 100.0 && !matches!(gas, Gas::Air | Gas::Nitrogen) => {
            Err(GaugeError::TooHighForThermal {
                millibars: pascals / 100.0,
            })
        }
        Principle::Thermal => {
            let factor = thermal_factor(gas).ok_or(GaugeError::NoFactor { gas })?;
            Ok(Correction {
                true_over_reading: factor,
                spread: 0.3,
                source: "handbook values, from memory",
            })
        }
    }
}

/// Sensitivity of an ion gauge relative to nitrogen.
fn ion_sensitivity(gas: Gas) -> Option<(f64, f64, &'static str)> {
    const SUMMERS: &str = "Summers, NASA TN D-5285 (1969), in a secondary reprint";
    const MEMORY: &str = "handbook values, from memory";
    Some(match gas {
        Gas::Nitrogen | Gas::Air | Gas::Oxygen => (1.0, 0.15, SUMMERS),
        Gas::CarbonMonoxide => (1.05, 0.15, SUMMERS),
        Gas::CarbonDioxide => (1.4, 0.15, SUMMERS),
        Gas::Argon => (1.2, 0.15, SUMMERS),
        Gas::Neon => (0.23, 0.2, SUMMERS),
        Gas::Krypton => (1.7, 0.2, SUMMERS),
        Gas::Methane => (1.6, 0.2, SUMMERS),
        Gas::Methanol => (1.8, 0.2, SUMMERS),
        Gas::Acetone => (3.6, 0.2, SUMMERS),
        Gas::Hydrogen => (0.44, 0.2, MEMORY),
        Gas::Helium => (0.18, 0.2, MEMORY),
        Gas::Water => (1.0, 0.2, MEMORY),
    })
}

/// True pressure over reading of a heat-loss gauge set for nitrogen, up to 1 mbar.
fn thermal_factor(gas: Gas) -> Option<f64> {
    match gas {
        Gas::Nitrogen | Gas::Air | Gas::Oxygen | Gas::CarbonMonoxide => Some(1.0),
        Gas::Argon => Some(1.7),
        Gas::CarbonDioxide => Some(0.9),
        Gas::Helium => Some(0.9),
        Gas::Hydrogen => Some(0.55),
        Gas::Water => Some(0.6),
        Gas::Neon => Some(1.4),
        Gas::Krypton => Some(2.4),
        Gas::Methane | Gas::Methanol | Gas::Acetone => None,
    }
}
