//! A round tube between two pressures, in whichever regime they put it.

use std::f64::consts::PI;

use super::{ConductanceError, Regime, knudsen_number, short_or_long_tube};
use crate::vacuum::gas::{GAS_CONSTANT, Gas};
use crate::vacuum::units::{Conductance, Length, Pressure, Temperature};

/// The shortest tube, in diameters, to which the formula of viscous flow is put.
const SHORTEST_VISCOUS: f64 = 10.0;

/// A tube's conductance and the flow it was computed for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TubeFlow {
    /// Conductance at these pressures, m³/s.
    pub conductance: Conductance,
    /// The regime at the mean pressure.
    pub regime: Regime,
    /// Mean free path over diameter at the mean pressure.
    pub knudsen: f64,
}

/// Poiseuille's conductance of a long round tube, m³/s: π·d⁴·p̄/(128·η·L), viscosity in Pa·s.
///
/// Holds for laminar flow well below the speed of sound, which [`tube_between`] checks.
pub fn poiseuille(
    diameter: Length,
    length: Length,
    mean: Pressure,
    viscosity: f64,
) -> Result<Conductance, ConductanceError> {
    Ok(Conductance::from_cubic_metres_per_second(
        PI * diameter.metres().powi(4) * mean.pascals() / (128.0 * viscosity * length.metres()),
    )?)
}

/// Conductance of a tube between an inlet and an outlet pressure.
///
/// Molecular flow (Knudsen number above 0.5): transmission probability. Denser: Poiseuille plus
/// Knudsen's share of the molecular conductance, (1 + 2.507·r/λ)/(1 + 3.095·r/λ), which fades
/// against Poiseuille as the flow becomes viscous; good to some 10 %. The denser flows need at
/// least 10 diameters of length, a Reynolds number up to 2000 and an outlet speed up to 0.3 of
/// sound, and 250 K to 400 K; an error otherwise.
///
/// Sources: Knudsen, Ann. Phys. 28 (1909) 75, in the form of Guthrie and Wakerling, Vacuum
/// Equipment and Techniques (1949), from memory.
pub fn tube_between(
    diameter: Length,
    length: Length,
    inlet: Pressure,
    outlet: Pressure,
    gas: Gas,
    at: Temperature,
) -> Result<TubeFlow, ConductanceError> {
    if inlet <= outlet {
        return Err(ConductanceError::NoPressureDrop);
    }
    let mean = Pressure::from_pascals((inlet.pascals() + outlet.pascals()) / 2.0)?;
    let knudsen = knudsen_number(diameter, mean, gas, at)?;
    let regime = Regime::of(knudsen);
    if regime == Regime::Molecular {
        return Ok(TubeFlow {
            conductance: short_or_long_tube(diameter, length, gas, at)?,
            regime,
            knudsen,
        });
    }
    let ratio = length.metres() / diameter.metres();
    if ratio < SHORTEST_VISCOUS {
        return Err(ConductanceError::TooShort {
            ratio,
            formula: "viscous or transitional flow",
            least: SHORTEST_VISCOUS,
        });
    }
    let viscosity = gas.viscosity(at).ok_or(ConductanceError::NoViscosity {
        kelvin: at.kelvin(),
    })?;
    let viscous = poiseuille(diameter, length, mean, viscosity)?;
    let radius_over_path = 0.5 / knudsen;
    let share = (1.0 + 2.507 * radius_over_path) / (1.0 + 3.095 * radius_over_path);
    let molecular = short_or_long_tube(diameter, length, gas, at)?;
    let conductance = Conductance::from_cubic_metres_per_second(
        viscous.cubic_metres_per_second() + share * molecular.cubic_metres_per_second(),
    )?;
    let flow = conductance.cubic_metres_per_second() * (inlet.pascals() - outlet.pascals());
    within_laminar(diameter, flow, outlet, viscosity, gas, at)?;
    Ok(TubeFlow {
        conductance,
        regime,
        knudsen,
    })
}

/// Refuses a flow (Pa·m³/s) that is turbulent or near the speed of sound at the outlet.
fn within_laminar(
    diameter: Length,
    flow: f64,
    outlet: Pressure,
    viscosity: f64,
    gas: Gas,
    at: Temperature,
) -> Result<(), ConductanceError> {
    let per_mass = GAS_CONSTANT * at.kelvin() / gas.molar_mass();
    let reynolds = 4.0 * flow / (PI * diameter.metres() * viscosity * per_mass);
    if reynolds > 2000.0 {
        return Err(ConductanceError::Turbulent { reynolds });
    }
    let area = PI / 4.0 * diameter.metres().powi(2);
    let mach = flow / (outlet.pascals() * area) / (gas.heat_capacity_ratio() * per_mass).sqrt();
    if mach > 0.3 {
        return Err(ConductanceError::TooFast { mach });
    }
    Ok(())
}
