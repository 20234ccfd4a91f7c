//! The same leak between other pressures.

use super::LeakError;
use crate::vacuum::gas::Gas;
use crate::vacuum::units::{Pressure, Temperature};

/// Above this, Pa, a gas is not dilute.
pub(super) const HIGHEST: f64 = 1e6;

/// Below this, Pa, there is no telling two pressures apart, and ratios leave the range of numbers.
const LEAST_DROP: f64 = 1e-30;

/// The pressures on both sides of a leak.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Across {
    upstream: Pressure,
    downstream: Pressure,
}

impl Across {
    /// Both sides, with more pressure upstream, by 1e-30 Pa at least and up to 1e6 Pa (10 bar), in which
    /// a gas is dilute; an error otherwise. The limits are common practice, no source.
    pub fn new(upstream: Pressure, downstream: Pressure) -> Result<Self, LeakError> {
        if upstream.pascals() > HIGHEST {
            Err(LeakError::Upstream {
                pascals: upstream.pascals(),
            })
        } else if upstream.pascals() - downstream.pascals() >= LEAST_DROP {
            Ok(Self {
                upstream,
                downstream,
            })
        } else {
            Err(LeakError::NoDrop {
                upstream: upstream.pascals(),
                downstream: downstream.pascals(),
            })
        }
    }

    /// Refuses a gas that would be liquid where it comes from, as `share` of the pressure there.
    pub(super) fn gaseous(self, gas: Gas, share: f64, at: Temperature) -> Result<(), LeakError> {
        gaseous(gas, share * self.upstream.pascals(), at)
    }

    /// The side the gas comes from.
    pub fn upstream(self) -> Pressure {
        self.upstream
    }

    /// How much more passes between `wanted` than between these pressures if the leak is
    /// molecular: each molecule goes its own way, so the rate follows p₁ − p₂.
    ///
    /// For any two that [`Across::new`] takes; an error there. Source: kinetic theory.
    pub fn molecular_ratio(self, wanted: Self) -> f64 {
        wanted.difference() / self.difference()
    }

    /// The same if the leak is viscous and laminar: the rate follows p₁² − p₂², for any pressures
    /// at which the flow stays so (not choked, no turbulence)
    /// that [`Across::new`] takes; an error there.
    ///
    /// Source: Poiseuille's law for a gas that expands on its way at one temperature, as
    /// O'Hanlon, A User's Guide to Vacuum Technology, and EN 1779 use it, both from memory.
    pub fn viscous_ratio(self, wanted: Self) -> f64 {
        let mean = |across: Self| across.upstream.pascals() + across.downstream.pascals();
        self.molecular_ratio(wanted) * mean(wanted) / mean(self)
    }

    fn difference(self) -> f64 {
        self.upstream.pascals() - self.downstream.pascals()
    }
}

/// Refuses a gas that is liquid at this pressure, Pa.
pub(super) fn gaseous(gas: Gas, pascals: f64, at: Temperature) -> Result<(), LeakError> {
    match gas.vapour_pressure(at).map(Pressure::pascals) {
        Some(most) if pascals > most => Err(LeakError::Liquid {
            gas,
            pascals,
            most,
            kelvin: at.kelvin(),
        }),
        _ => Ok(()),
    }
}
