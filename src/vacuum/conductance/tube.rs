//! Viscous flow through a round tube, and where it holds.

use std::f64::consts::PI;

use super::ConductanceError;
use crate::vacuum::gas::{GAS_CONSTANT, Gas};
use crate::vacuum::units::{Length, Pressure, Temperature};

/// Poiseuille's conductance of a round tube of this length in m at a mean pressure in Pa, m³/s:
/// π·d⁴·p̄/(128·η·L), viscosity in Pa·s, all above zero. A chain's flow checks that it is laminar.
pub(super) fn poiseuille_length(diameter: Length, length: f64, mean: f64, viscosity: f64) -> f64 {
    PI * diameter.metres().powi(4) * mean / (128.0 * viscosity * length)
}

/// What a gas brings to dense flow at one temperature.
pub(super) struct Gases {
    /// Pa·s.
    pub(super) viscosity: f64,
    /// Mean free path at 1 Pa, m.
    pub(super) path_at_one_pascal: f64,
    /// RT/M, m²/s².
    pub(super) per_mass: f64,
    /// m/s.
    sound: f64,
}

/// The highest speed at an outlet over that of sound for which the formula of viscous flow holds.
const SLOW: f64 = 0.3;

impl Gases {
    pub(super) fn new(gas: Gas, at: Temperature) -> Result<Self, ConductanceError> {
        let unknown = || ConductanceError::NoViscosity {
            kelvin: at.kelvin(),
        };
        let one = Pressure::from_pascals(1.0)?;
        Ok(Self {
            viscosity: gas.viscosity(at).ok_or_else(unknown)?,
            path_at_one_pascal: gas.mean_free_path(at, one).ok_or_else(unknown)?,
            per_mass: GAS_CONSTANT * at.kelvin() / gas.molar_mass(),
            sound: (gas.heat_capacity_ratio() * GAS_CONSTANT * at.kelvin() / gas.molar_mass())
                .sqrt(),
        })
    }

    /// Refuses a flow (Pa·m³/s) that is turbulent.
    pub(super) fn within_laminar(
        &self,
        diameter: Length,
        flow: f64,
    ) -> Result<(), ConductanceError> {
        let reynolds = 4.0 * flow / (PI * diameter.metres() * self.viscosity * self.per_mass);
        if reynolds > 2000.0 {
            return Err(ConductanceError::Turbulent { reynolds });
        }
        Ok(())
    }

    /// Speed over that of sound at which a flow (Pa·m³/s) leaves at an outlet (Pa).
    pub(super) fn mach(&self, diameter: Length, flow: f64, outlet: f64) -> f64 {
        let area = PI / 4.0 * diameter.metres().powi(2);
        flow / (outlet.max(1e-300) * area) / self.sound
    }

    /// The lowest pressure, Pa, in the mouth of a part up to which the formula holds for a flow: where
    /// the gas leaves at 0.3 of the speed of sound.
    pub(super) fn lowest_mouth(&self, diameter: Length, flow: f64) -> f64 {
        let area = PI / 4.0 * diameter.metres().powi(2);
        flow / (area * SLOW * self.sound)
    }

    /// Whether gas leaves a part too fast for the formula.
    pub(super) fn leaves_too_fast(&self, diameter: Length, flow: f64, outlet: f64) -> bool {
        outlet < self.lowest_mouth(diameter, flow) * (1.0 - 1e-9)
    }
}
