//! A leak rate measured with one gas, for another.

use serde::Serialize;

use super::{Across, LeakError};
use crate::vacuum::gas::Gas;
use crate::vacuum::units::{Temperature, Throughput};

/// Leak rates below this are taken as molecular, Pa·m³/s (1e-7 mbar·L/s).
const MOLECULAR_BELOW: f64 = 1e-8;
/// Least and most that counts as a leak, Pa·m³/s: below, single molecules; above, an open port.
pub(super) const LEAST: f64 = 1e-20;
const MOST: f64 = 1e3;
/// Leak rates above this are taken as viscous, Pa·m³/s (1e-4 mbar·L/s).
const VISCOUS_ABOVE: f64 = 1e-5;

/// The flow in a leak, judged by its size.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum LeakRegime {
    /// Below 1e-7 mbar·L/s.
    Molecular,
    /// Between, where either factor may hold.
    Between,
    /// Above 1e-4 mbar·L/s.
    Viscous,
}

impl LeakRegime {
    /// By the size of the leak.
    ///
    /// Limits of size only, from one atmosphere to vacuum (Umrath, from memory); many fine paths
    /// side by side stay molecular up to 1e-3 mbar·L/s.
    pub fn of(rate: Throughput) -> Self {
        let rate = rate.pascal_cubic_metres_per_second();
        if rate < MOLECULAR_BELOW {
            Self::Molecular
        } else if rate > VISCOUS_ABOVE {
            Self::Viscous
        } else {
            Self::Between
        }
    }
}

/// A leak rate carried over to another gas.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeakConversion {
    /// The regime judged by size.
    pub regime: LeakRegime,
    /// The rate if the leak were molecular.
    pub if_molecular: Throughput,
    /// The rate if the leak were viscous and laminar.
    pub if_viscous: Throughput,
    /// The lowest the rate may be in this regime.
    pub low: Throughput,
    /// The highest the rate may be in this regime.
    pub high: Throughput,
    /// The two gases, the share of the first at the leak, and their temperature.
    gases: (Gas, Gas),
    share: f64,
    at: Temperature,
}

/// The leak rate of gas `to` through a leak that passed `measured` of gas `from`.
///
/// `share` is the part of test gas at the leak, a millionth to 1: the rate at a full share is
/// `measured / share`, 1e-20 to 1000 Pa·m³/s. Molecular: √(M_from/M_to). Viscous: η_from/η_to. Between the regimes both
/// are given as the ends of a range. Takes the same pressures on both sides for both gases, at which
/// both are gases, which [`LeakConversion::across`] changes and checks; 250 K to 400 K. An error outside. (Tables that print 0.374 for helium to air and to nitrogen alike are up to 1 % off
/// the root.)
///
/// Source: kinetic theory; EN 1779 names the same rules, from memory.
pub fn convert(
    measured: Throughput,
    from: Gas,
    to: Gas,
    share: f64,
    at: Temperature,
) -> Result<LeakConversion, LeakError> {
    share_of_test_gas(share)?;
    let (Some(viscosity_from), Some(viscosity_to)) = (from.viscosity(at), to.viscosity(at)) else {
        return Err(LeakError::NoViscosity {
            kelvin: at.kelvin(),
        });
    };
    let full = measured.pascal_cubic_metres_per_second() / share;
    if full < LEAST {
        return Err(LeakError::NoLeak);
    }
    if full > MOST {
        return Err(LeakError::NotALeak { rate: full });
    }
    let times = |factor| Throughput::from_pascal_cubic_metres_per_second(full * factor);
    let if_molecular = times((from.molar_mass() / to.molar_mass()).sqrt())?;
    let if_viscous = times(viscosity_from / viscosity_to)?;
    let regime = LeakRegime::of(times(1.0)?);
    let (low, high) = ends(regime, if_molecular, if_viscous);
    Ok(LeakConversion {
        regime,
        if_molecular,
        if_viscous,
        low,
        high,
        gases: (from, to),
        share,
        at,
    })
}

/// The lowest and the highest that the rate may be.
fn ends(
    regime: LeakRegime,
    if_molecular: Throughput,
    if_viscous: Throughput,
) -> (Throughput, Throughput) {
    match regime {
        LeakRegime::Molecular => (if_molecular, if_molecular),
        LeakRegime::Viscous => (if_viscous, if_viscous),
        LeakRegime::Between if if_molecular < if_viscous => (if_molecular, if_viscous),
        LeakRegime::Between => (if_viscous, if_molecular),
    }
}

/// Refuses a share of test gas outside a millionth to 1.
pub(super) fn share_of_test_gas(share: f64) -> Result<(), LeakError> {
    if (1e-6..=1.0).contains(&share) {
        Ok(())
    } else {
        Err(LeakError::Share { share })
    }
}

impl LeakConversion {
    /// The same leak between the pressures `wanted`, where it was measured between `measured`.
    ///
    /// The regime stays that of the size measured. An error if a rate comes out above 1e30 Pa·m³/s, or if
    /// either gas would be liquid on its side ([`Gas::vapour_pressure`]).
    /// Sources: those of [`Across::molecular_ratio`] and [`Across::viscous_ratio`].
    pub fn across(self, measured: Across, wanted: Across) -> Result<Self, LeakError> {
        measured.gaseous(self.gases.0, self.share, self.at)?;
        wanted.gaseous(self.gases.1, 1.0, self.at)?;
        let times = |rate: Throughput, factor: f64| {
            Throughput::from_pascal_cubic_metres_per_second(
                rate.pascal_cubic_metres_per_second() * factor,
            )
        };
        let if_molecular = times(self.if_molecular, measured.molecular_ratio(wanted))?;
        let if_viscous = times(self.if_viscous, measured.viscous_ratio(wanted))?;
        let (low, high) = ends(self.regime, if_molecular, if_viscous);
        Ok(Self {
            if_molecular,
            if_viscous,
            low,
            high,
            ..self
        })
    }
}
