//! The round opening that would pass a leak: a measure of size, not the hole itself.

use std::f64::consts::PI;

use super::LeakError;
use crate::vacuum::gas::{GAS_CONSTANT, Gas};
use crate::vacuum::units::{Length, Pressure, Temperature, Throughput};

/// The narrowest opening for choked flow, in mean free paths upstream.
const NARROWEST: f64 = 10.0;

/// Throughput of choked flow from `upstream` through a sharp round opening into vacuum, Pa·m³/s.
///
/// A·p·√(γRT/M)·(2/(γ+1))^((γ+1)/(2(γ−1))), discharge coefficient 1: about 20 L/s per cm² for air
/// at 20 °C. Holds when the pressure behind is below about half of that before, and for openings
/// of at least 10 mean free paths; an error for narrower ones. A long narrow path of the same
/// width passes orders less.
///
/// Source: isentropic nozzle flow, any text of gas dynamics (e.g. Shapiro 1953, chapter 4, from
/// memory); 20 L/s per cm² from handbooks, from memory.
pub fn flow_through_orifice(
    diameter: Length,
    upstream: Pressure,
    gas: Gas,
    at: Temperature,
) -> Result<Throughput, LeakError> {
    wide_enough(diameter, upstream, gas, at)?;
    let area = PI / 4.0 * diameter.metres().powi(2);
    Ok(Throughput::from_pascal_cubic_metres_per_second(
        area * flow_per_area(upstream, gas, at),
    )?)
}

/// The diameter of the opening that passes this leak by [`flow_through_orifice`], and its range.
pub fn equivalent_diameter(
    leak: Throughput,
    upstream: Pressure,
    gas: Gas,
    at: Temperature,
) -> Result<Length, LeakError> {
    if leak.pascal_cubic_metres_per_second() <= 0.0 || upstream.pascals() <= 0.0 {
        return Err(LeakError::NoLeak);
    }
    let area = leak.pascal_cubic_metres_per_second() / flow_per_area(upstream, gas, at);
    let diameter = Length::from_metres((4.0 * area / PI).sqrt())?;
    wide_enough(diameter, upstream, gas, at)?;
    Ok(diameter)
}

fn flow_per_area(upstream: Pressure, gas: Gas, at: Temperature) -> f64 {
    let ratio = gas.heat_capacity_ratio();
    let sound = (ratio * GAS_CONSTANT * at.kelvin() / gas.molar_mass()).sqrt();
    upstream.pascals() * sound * (2.0 / (ratio + 1.0)).powf((ratio + 1.0) / (2.0 * (ratio - 1.0)))
}

fn wide_enough(
    diameter: Length,
    upstream: Pressure,
    gas: Gas,
    at: Temperature,
) -> Result<(), LeakError> {
    let path = gas
        .mean_free_path(at, upstream)
        .ok_or(LeakError::NoViscosity {
            kelvin: at.kelvin(),
        })?;
    if diameter.metres() < NARROWEST * path {
        return Err(LeakError::TooNarrow {
            micrometres: diameter.metres() * 1e6,
            least: NARROWEST * path * 1e6,
        });
    }
    Ok(())
}
