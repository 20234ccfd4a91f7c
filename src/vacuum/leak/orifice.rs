//! The round opening that would pass a leak: a measure of size, not the hole itself.

use std::f64::consts::PI;

use super::LeakError;
use super::across::{HIGHEST, gaseous};
use super::conversion::LEAST;
use crate::vacuum::gas::{GAS_CONSTANT, Gas};
use crate::vacuum::units::{Length, Pressure, Temperature, Throughput};

/// The narrowest opening for choked flow, in mean free paths upstream.
const NARROWEST: f64 = 10.0;
/// The widest, m.
const WIDEST: f64 = 1.0;

/// Throughput of choked flow from `upstream` through a sharp round opening into vacuum, Pa·m³/s.
///
/// A·p·√(γRT/M)·(2/(γ+1))^((γ+1)/(2(γ−1))), discharge coefficient 1: about 20 L/s per cm² for air
/// at 20 °C. Holds when the pressure behind is below about half of that before, and for openings
/// of at least 10 mean free paths up to 1 m, from 250 K to 400 K and from above zero to 1e6 Pa, or to where a
/// vapour is saturated; an error outside. That the pressure behind is low enough is for the caller to know. A long narrow path of the same
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

/// The diameter of the opening that passes this leak by [`flow_through_orifice`], with its range and
/// source; an error for a leak of none.
pub fn equivalent_diameter(
    leak: Throughput,
    upstream: Pressure,
    gas: Gas,
    at: Temperature,
) -> Result<Length, LeakError> {
    if leak.pascal_cubic_metres_per_second() < LEAST {
        return Err(LeakError::NoLeak);
    }
    below_highest(upstream)?;
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

/// Refuses a pressure at which there is no gas, or gas that is not dilute.
fn below_highest(upstream: Pressure) -> Result<(), LeakError> {
    let pascals = upstream.pascals();
    if (1e-15..=HIGHEST).contains(&pascals) {
        Ok(())
    } else {
        Err(LeakError::Upstream { pascals })
    }
}

fn wide_enough(
    diameter: Length,
    upstream: Pressure,
    gas: Gas,
    at: Temperature,
) -> Result<(), LeakError> {
    below_highest(upstream)?;
    gaseous(gas, upstream.pascals(), at)?;
    if diameter.metres() > WIDEST {
        return Err(LeakError::TooWide {
            metres: diameter.metres(),
        });
    }
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
